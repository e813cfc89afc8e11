//! Checks of `rotation` by numbers worked out apart from it. The comparison with SciPy is in the
//! end-to-end tests (`rotations`).

use std::f64::consts::PI;

use super::*;

fn degrees<const N: usize>(a: [f64; N]) -> [f64; N] {
    a.map(f64::to_degrees)
}

fn radians(a: [f64; 3]) -> [f64; 3] {
    a.map(f64::to_radians)
}

fn near(a: &[f64], b: &[f64], tolerance: f64) {
    for (x, y) in a.iter().zip(b) {
        assert!((x - y).abs() <= tolerance, "{a:?} is not {b:?}");
    }
}

fn some() -> impl Iterator<Item = [f64; 3]> {
    (0..60).map(|k| {
        let k = f64::from(k);
        [
            (k * 1.7).sin() * 3.0,
            (k * 0.9).cos() * 1.4,
            (k * 2.3).sin() * 3.0,
        ]
    })
}

/// Worked example: (−62, 8, −14)° about Z, X, Y, product of the three elementary matrices by hand.
#[test]
fn the_joint_order_is_z_x_y() {
    let r = from_zxy(radians([-62.0, 8.0, -14.0]));
    let by_hand = Matrix3::new(
        0.425_798, 0.874_355, -0.232_808, -0.872_527, 0.464_903, 0.150_207, 0.239_568, 0.139_173,
        0.960_853,
    );
    assert!((r - by_hand).abs().max() < 1e-6);
    near(&degrees(zxy(&r)), &[-62.0, 8.0, -14.0], 1e-12);
}

#[test]
fn angles_come_back() {
    for a in some() {
        near(&zxy(&from_zxy(a)), &a, 1e-12);
        near(&yxz(&from_yxz(a)), &a, 1e-12);
    }
}

/// Grood & Suntay 1983 in vectors: e1 = femur's Z, e3 = tibia's Y, e2 = e3 × e1; the sine of the
/// flexion is the floating axis against the femur's long axis, adduction the angle between e1 and e3,
/// rotation the floating axis in the tibia. The same three numbers as the Cardan form.
#[test]
fn the_knee_is_grood_and_suntays() {
    for [a, b, c] in some() {
        let femur = from_zxy([c, 0.3, a]);
        let tibia = femur * from_zxy([-a.abs().min(1.5), b, 0.4 * c]);
        let (e1, e3) = (femur.column(2), tibia.column(1));
        let e2 = e3.cross(&e1).try_normalize(1e-9).unwrap();
        let angles = joint_angles(&femur, &tibia, Side::Right);
        let knee_flexion = -angles.forward;
        assert!((knee_flexion.sin() + e2.dot(&femur.column(1))).abs() < 1e-12);
        assert!((angles.adduction.sin() - e1.dot(&e3)).abs() < 1e-12);
        assert!((angles.internal.sin() - e2.dot(&tibia.column(2))).abs() < 1e-12);
    }
}

/// Signs from the right-hand rule: a shank swung back is a bent knee; a foot moved toward the middle
/// is adduction; toes turned in are internal rotation. A mirror image changes the side and nothing else.
#[test]
fn left_and_right_share_their_signs() {
    let thigh: Matrix3<f64> = Matrix3::identity();
    let mirror = Matrix3::from_diagonal(&Vector3::new(1.0, 1.0, -1.0));
    let down: Vector3<f64> = -Vector3::y();
    let right: Matrix3<f64> = thigh * from_zxy([-0.6, 0.0, 0.0]);
    assert!((right * down).x < 0.0, "the shank goes back");
    let right = thigh * from_zxy([0.0, 0.2, 0.0]);
    assert!(
        (right * down).z < 0.0,
        "the right foot goes left, to the middle"
    );
    let right = thigh * from_zxy([0.0, 0.0, 0.2]);
    assert!(
        (right * Vector3::<f64>::x()).z < 0.0,
        "the right toes turn left, in"
    );
    let right = from_zxy([-0.6, 0.2, 0.3]);
    let left = mirror * right * mirror;
    let (r, l) = (
        joint_angles(&thigh, &right, Side::Right),
        joint_angles(&thigh, &left, Side::Left),
    );
    near(
        &[r.forward, r.adduction, r.internal],
        &[l.forward, l.adduction, l.internal],
        1e-12,
    );
    near(
        &[r.forward, r.adduction, r.internal],
        &[-0.6, 0.2, 0.3],
        1e-12,
    );
}

/// The metrics' signs: square is zero; turned toward the target is positive; the lead hip lower is
/// positive; bent forward is positive. The first angle is the heading of the mediolateral axis.
#[test]
fn lab_angles_have_the_metrics_signs() {
    let square = Matrix3::from_columns(&[Vector3::z(), Vector3::y(), -Vector3::x()]);
    let a = lab_angles(&square);
    near(&[a.axial, a.lateral, a.forward], &[0.0; 3], 1e-12);
    let open = about(&Vector3::y(), 0.5) * square;
    assert!((open * Vector3::<f64>::x()).x > 0.0, "faces the target");
    assert!((lab_angles(&open).axial - 0.5).abs() < 1e-12);
    let lead_low = square * about(&Vector3::x(), -0.2);
    assert!((lead_low * -Vector3::<f64>::z()).y < 0.0, "left side down");
    assert!((lab_angles(&lead_low).lateral - 0.2).abs() < 1e-12);
    let bent = square * about(&Vector3::z(), -0.3);
    assert!((bent * Vector3::<f64>::y()).z > 0.0, "head toward the ball");
    assert!((lab_angles(&bent).forward - 0.3).abs() < 1e-12);
    for a in some() {
        let r = from_yxz(a);
        let lead = -r.column(2);
        let heading = -lead.z.atan2(lead.x);
        assert!(wrap(lab_angles(&r).axial - heading).abs() < 1e-12);
    }
}

/// Cardan angles in any order, straight from the rotation's elements, as `[about X, about Y, about Z]`.
fn any_order(r: &Matrix3<f64>, order: [usize; 3]) -> [f64; 3] {
    let [i, j, k] = order;
    let even = if (j + 3 - i) % 3 == 1 { 1.0 } else { -1.0 };
    let mut out = [0.0; 3];
    out[i] = (-even * r[(j, k)]).atan2(r[(k, k)]);
    out[j] = (even * r[(i, k)]).asin();
    out[k] = (-even * r[(i, j)]).atan2(r[(i, i)]);
    degrees(out)
}

const X: usize = 0;
const Y: usize = 1;
const Z: usize = 2;

/// A thorax turned by 85° as at the top, built Z-X-Y (−35, 5, −85)°, read in all six orders: axial
/// first or last stays near the truth, axial in the middle fails (numbers computed apart).
#[test]
fn axial_rotation_is_never_the_middle_angle() {
    let thorax = from_zxy(radians([-35.0, 5.0, -85.0]));
    near(&degrees(zxy(&thorax)), &[-35.0, 5.0, -85.0], 1e-9);
    assert!((yxz(&thorax)[0].to_degrees() + 84.0).abs() < 0.06);
    for (order, axial) in [
        ([Z, X, Y], -85.0),
        ([X, Z, Y], -88.5),
        ([Y, X, Z], -84.0),
        ([Y, Z, X], -88.8),
    ] {
        assert!((any_order(&thorax, order)[Y] - axial).abs() < 0.06);
    }
    near(&any_order(&thorax, [Z, Y, X]), &[45.1, -82.9, -79.9], 0.06);
    near(&any_order(&thorax, [X, Y, Z]), &[-81.3, -55.1, -87.8], 0.06);
}

/// Pelvis (−20, −4, −42)° and thorax (−35, 3, −88)°: the separation by four definitions (numbers
/// computed apart). They differ by degrees, so one is fixed: the difference of headings.
#[test]
fn separation_depends_on_its_definition() {
    let pelvis = from_zxy(radians([-20.0, -4.0, -42.0]));
    let thorax = from_zxy(radians([-35.0, 3.0, -88.0]));
    let (p, t) = (yxz(&pelvis)[0].to_degrees(), yxz(&thorax)[0].to_degrees());
    near(&[p, t, p - t], &[-39.5, -87.6, 48.1], 0.06);
    let between = relative(&thorax, &pelvis);
    let axial = [[Z, X, Y], [Y, X, Z], [X, Y, Z]]
        .map(|order| any_order(&relative(&pelvis, &thorax), order)[Y]);
    near(&axial, &[-46.5, -44.9, -43.0], 0.06);
    assert!((zxy(&between)[2] + zxy(&relative(&pelvis, &thorax))[2]).abs() < 0.1);
}

/// Near nothing and near half a turn, where the trace formula loses all its digits.
#[test]
fn logarithm_and_exponential_are_exact_at_the_ends() {
    let axes = [
        Vector3::x(),
        Vector3::new(1.0, -2.0, 0.5),
        Vector3::new(-0.1, 0.0, -1.0),
    ];
    for axis in axes.map(|a: Vector3<f64>| a.try_normalize(1e-9).unwrap()) {
        for angle in [1e-12, 1e-9, 1e-5, 0.3, 2.0, PI - 1e-5, PI - 1e-9] {
            let v = log(&exp(axis * angle));
            assert!(
                (v - axis * angle).norm() < 1e-15 + 1e-14 * angle.max(0.01),
                "{angle}: {v}"
            );
        }
        let half = log(&exp(axis * PI));
        assert!((half.norm() - PI).abs() < 1e-12 && half.cross(&axis).norm() < 1e-12);
    }
    assert!(log(&Matrix3::identity()).norm() < f64::EPSILON);
}

/// Constant speed is found exactly, where differences of the matrices read low by sin θ/θ − 1 with θ
/// the angle a frame: −0.06, −0.35, −0.51, −0.12 % for these.
#[test]
fn angular_velocity_is_exact_where_differences_read_low() {
    for (speed, rate, low) in [
        (800.0_f64, 240.0, -0.0006),
        (2000.0, 240.0, -0.0035),
        (2400.0, 240.0, -0.0051),
        (2400.0, 500.0, -0.0012),
    ] {
        let omega = Vector3::new(0.6, -0.48, 0.64) * speed.to_radians();
        let series: Vec<_> = (0..9)
            .map(|k| exp(omega * (f64::from(k) / rate)) * from_zxy([0.4, -0.2, 1.0]))
            .collect();
        for w in angular_velocity(&series, 1.0 / rate) {
            assert!((w - omega).norm() < 1e-9 * omega.norm());
        }
        let spin = (series[5] - series[3]) * (rate / 2.0) * series[4].transpose();
        let plain = Vector3::new(spin[(2, 1)], spin[(0, 2)], spin[(1, 0)]).norm();
        assert!((plain / omega.norm() - 1.0 - low).abs() < 6e-5);
    }
    assert_eq!(
        angular_velocity(&[Matrix3::identity()], 0.1),
        [Vector3::zeros()]
    );
    assert!(angular_velocity(&[], 0.1).is_empty());
}

/// The film run backward turns the other way.
#[test]
fn time_reversal_turns_angular_velocity_round() {
    let mut series: Vec<_> = some().map(|a| from_yxz(a.map(|x| 0.1 * x))).collect();
    let forward = angular_velocity(&series, 0.01);
    series.reverse();
    for (a, b) in forward.iter().rev().zip(angular_velocity(&series, 0.01)) {
        assert!((a + b).norm() < 1e-9);
    }
}

/// Known screws come back, and do what the motion does.
#[test]
fn a_screw_is_the_motion() {
    for [a, b, c] in some() {
        let axis = Vector3::new(a, b, c).try_normalize(1e-9).unwrap();
        let on_axis = Vector3::new(b, c, -a);
        let (angle, shift) = (0.05 + a.abs(), 0.3 * b);
        let r = about(&axis, angle);
        let d = on_axis - r * on_axis + axis * shift;
        let s = screw(&r, &d).unwrap();
        assert!((s.axis - axis).norm() < 1e-9);
        near(&[s.angle, s.shift], &[angle, shift], 1e-9);
        assert!((s.point - on_axis).cross(&axis).norm() < 1e-9 && s.point.dot(&axis).abs() < 1e-9);
        let x = Vector3::new(c, 0.2, a);
        assert!((s.apply(&x) - (r * x + d)).norm() < 1e-9);
    }
    assert!(screw(&Matrix3::identity(), &Vector3::x()).is_none());
}

#[test]
fn a_mean_needs_a_direction() {
    let spread = [-0.4, 0.1, 0.3].map(|a| about(&Vector3::y(), PI + a));
    let m = mean(&spread).unwrap();
    assert!(wrap(yxz(&m)[0] - PI - 0.0).abs() < 0.01, "across the wrap");
    assert!((m.determinant() - 1.0).abs() < 1e-12);
    assert!(mean(&[]).is_none());
    let all_round = [0.0, 0.5, 1.0, 1.5].map(|q| about(&Vector3::y(), q * PI));
    assert!(mean(&all_round).is_none());
}

#[test]
fn angles_unwrap() {
    let truth: Vec<f64> = (0..50).map(|k| f64::from(k) * 0.4 - 3.0).collect();
    let mut wrapped: Vec<f64> = truth.iter().map(|&a| wrap(a)).collect();
    assert!(wrapped.iter().all(|a| *a > -PI && *a <= PI));
    unwrap(&mut wrapped);
    near(&wrapped, &truth, 1e-12);
    assert!((wrap(PI) - PI).abs() < 1e-15 && (wrap(-PI) - PI).abs() < 1e-15);
}
