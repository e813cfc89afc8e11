//! Check vectors of plates and wrenches. The four vectors were derived by hand from the formulas of
//! the C3D user guide and of published plate calculations, apart from this code.

use nalgebra::{Matrix3, Point3, Vector3};

use super::*;
use crate::ground::wrench::{LOAD_GATE_N, pressure, share, total};

/// A Z-up laboratory with x toward the target.
fn lab() -> BayFromSource {
    BayFromSource {
        metres_per_unit: 1.0,
        rotation: Matrix3::new(1.0, 0.0, 0.0, 0.0, 0.0, 1.0, 0.0, -1.0, 0.0),
        origin: Vector3::zeros(),
    }
}

/// Bay to the laboratory's numbers.
fn to_lab(v: Vector3<f64>) -> Vector3<f64> {
    lab().rotation.transpose() * v
}

/// Corners of vector 3: a floor plate of 0.6 m by 0.4 m.
const FLOOR: [[f32; 3]; 4] = [
    [0.6, 0.4, 0.0],
    [0.6, 0.0, 0.0],
    [0.0, 0.0, 0.0],
    [0.0, 0.4, 0.0],
];

fn plate(kind: PlateKind, origin: [f32; 3]) -> Plate {
    let told = PlateDescription {
        kind,
        corners: FLOOR,
        origin,
    };
    Plate::new(&told, &lab()).unwrap()
}

fn sample(values: &[f64]) -> Vec<Option<f32>> {
    values.iter().map(|v| Some(*v as f32)).collect()
}

/// Center of pressure in plate coordinates (mm) and the free moment about the plate's z.
fn acts(plate: &Plate, local: &Wrench) -> ([f64; 2], f64) {
    let p = pressure(plate, local, LOAD_GATE_N).unwrap();
    // The plate's z points down.
    (
        plate.surface().coordinates(&p.center).map(|v| v * 1e3),
        -p.free_moment,
    )
}

#[test]
fn vector_1_type_2_with_its_origin_and_with_the_origin_wrong() {
    let values = sample(&[50.0, -30.0, 800.0, -41.526, -82.890, 4.487]);
    let cases = [
        ([0.0011, -0.0004, -0.0402], [100.0, -50.0], false),
        // Turned round as a whole: read as it should be, and told.
        ([-0.0011, 0.0004, 0.0402], [100.0, -50.0], true),
        ([0.0, 0.0, 0.0], [103.6, -51.9], false),
    ];
    for (origin, cop, told) in cases {
        let plate = plate(PlateKind::Moments, origin);
        let local = plate.wrench(&values).unwrap();
        let (found, tz) = acts(&plate, &local);
        for (f, c) in found.iter().zip(cop) {
            assert!((f - c).abs() < 0.1, "{found:?}");
        }
        assert_eq!(plate.oddities == [Oddity::OriginAbove], told);
        if cop[0] < 101.0 {
            assert!((tz - 5.0).abs() < 0.01, "{tz}");
            let expected = Vector3::new(-40.0, -80.0, 4.5);
            assert!((local.moment - expected).amax() < 0.01, "{}", local.moment);
        }
    }
}

#[test]
fn vector_2_type_3() {
    let values = [30.0, 20.0, -18.0, -12.0, 180.0, 260.0, 210.0, 150.0];
    for depth in [-0.054, 0.054] {
        let plate = plate(PlateKind::Corners, [0.12, 0.20, depth]);
        assert_eq!(plate.oddities.len(), usize::from(depth > 0.0));
        let local = plate.wrench(&sample(&values)).unwrap();
        assert!((local.force - Vector3::new(50.0, -30.0, 800.0)).amax() < 1e-9);
        assert!((local.moment - Vector3::new(17.62, 19.50, -2.72)).amax() < 1e-3);
        let (cop, tz) = acts(&plate, &local);
        assert!(
            (cop[0] + 24.375).abs() < 0.1 && (cop[1] - 22.025).abs() < 0.1,
            "{cop:?}"
        );
        assert!((tz + 2.35).abs() < 0.01, "{tz}");
    }
}

#[test]
fn vector_3_a_plate_in_its_place_and_the_reaction_on_the_golfer() {
    let plate = plate(PlateKind::Moments, [0.0; 3]);
    let force = Vector3::new(50.0, -30.0, 800.0);
    let on_plate = Wrench {
        force,
        moment: Vector3::new(0.10, -0.05, 0.0).cross(&force) + Vector3::new(0.0, 0.0, 5.0),
    };
    let reaction = on_plate.opposite();
    let acts = pressure(&plate, &reaction, LOAD_GATE_N).unwrap();
    let place = to_lab(acts.center.coords);
    assert!(
        (place - Vector3::new(0.25, 0.30, 0.0)).amax() < 1e-4,
        "{place}"
    );
    let force = to_lab(plate.in_bay(&reaction).force);
    assert!(
        (force - Vector3::new(30.0, -50.0, 800.0)).amax() < 1e-9,
        "{force}"
    );
    assert!((acts.free_moment - 5.0).abs() < 0.01);
}

/// The same load as types 1, 2, 3 and 4 is one wrench.
#[test]
fn the_types_agree() {
    let as_2 = plate(PlateKind::Moments, [0.0, 0.0, -0.054]);
    let two = as_2
        .wrench(&sample(&[50.0, -30.0, 800.0, 16.0, 16.8, -2.72]))
        .unwrap();
    let as_3 = plate(PlateKind::Corners, [0.12, 0.20, -0.054]);
    let three = as_3
        .wrench(&sample(&[
            30.0, 20.0, -18.0, -12.0, 180.0, 260.0, 210.0, 150.0,
        ]))
        .unwrap();
    let mut matrix = [[0.0; 6]; 6];
    (0..6).for_each(|i| matrix[i][i] = 2.0);
    let as_4 = plate(PlateKind::Raw(matrix), [0.0, 0.0, -0.054]);
    let four = as_4
        .wrench(&sample(&[25.0, -15.0, 400.0, 8.0, 8.4, -1.36]))
        .unwrap();
    let as_1 = plate(PlateKind::Pressure, [0.0; 3]);
    let one = as_1
        .wrench(&sample(&[50.0, -30.0, 800.0, -0.024_375, 0.022_025, -2.35]))
        .unwrap();
    for (name, other) in [("1", one), ("3", three), ("4", four)] {
        let off = two.without(&other);
        assert!(
            off.force.amax() < 1e-4 && off.moment.amax() < 1e-2,
            "type {name}: {off:?}"
        );
    }
}

#[test]
fn vector_4_two_plates_as_one() {
    let rotation = lab().rotation;
    let part = |cop: [f64; 2], force: [f64; 3], free: f64| {
        let force = rotation * Vector3::from(force);
        // About a point that is not the center of pressure.
        let about = Point3::from(rotation * Vector3::new(0.5, 0.5, 0.0));
        let at = Point3::from(rotation * Vector3::new(cop[0], cop[1], 0.0));
        let moment = (at - about).cross(&force) + Vector3::y() * free;
        (about, Wrench { force, moment })
    };
    let parts = [
        part([-0.22, 0.03], [60.0, -20.0, 500.0], 4.0),
        part([0.20, -0.02], [-90.0, 40.0, 650.0], 7.0),
    ];
    let both = total(&parts, LOAD_GATE_N);
    let center = to_lab(both.center.unwrap().coords) * 1e3;
    assert!(
        (center - Vector3::new(17.39, 1.74, 0.0)).amax() < 0.1,
        "{center}"
    );
    assert!((both.vertical_moment.unwrap() - 19.4).abs() < 0.05);
    assert!((share(&parts[1].1, &parts[0].1, LOAD_GATE_N).unwrap() - 650.0 / 1150.0).abs() < 1e-12);
}

#[test]
fn below_the_gate_there_is_no_center() {
    let plate = plate(PlateKind::Moments, [0.0; 3]);
    let light = plate
        .wrench(&sample(&[1.0, 0.0, -19.0, 1.0, 1.0, 0.0]))
        .unwrap();
    assert_eq!(pressure(&plate, &light, LOAD_GATE_N), None);
    let both = total(&[(plate.center, plate.in_bay(&light))], LOAD_GATE_N);
    assert_eq!((both.center, both.vertical_moment), (None, None));
    assert_eq!(pressure(&plate, &Wrench::default(), 0.0), None);
    assert_eq!(plate.wrench(&[None; 6]), None);
    assert_eq!(plate.wrench(&sample(&[1.0; 5])), None, "too few channels");
}

#[test]
fn odd_descriptions_are_told() {
    let with = |corners: [[f32; 3]; 4]| {
        let told = PlateDescription {
            kind: PlateKind::Moments,
            corners,
            origin: [0.0, 0.0, -0.04],
        };
        Plate::new(&told, &lab()).map(|p| p.oddities)
    };
    assert_eq!(with(FLOOR), Ok(vec![]));
    let [a, b, c, d] = FLOOR;
    assert_eq!(with([a, d, c, b]), Ok(vec![Oddity::AxisUp]));
    assert!(with([a, b, d, c]).is_err(), "zigzag");
    assert!(with([a; 4]).is_err());
    assert!(with([[f32::NAN; 3]; 4]).is_err());
    let raised = [[a[0], a[1], 0.06], b, c, d];
    assert!(matches!(
        with(raised).unwrap()[..],
        [Oddity::NotFlat(_), ..]
    ));
    let mm = FLOOR.map(|c| c.map(|v| v * 1e3));
    assert!(matches!(with(mm).unwrap()[..], [Oddity::Side(_)]));
    let wall = FLOOR.map(|[x, y, _]| [x, 0.0, y]);
    assert!(matches!(with(wall).unwrap()[..], [Oddity::Tilted(_)]));
    assert!(Oddity::OriginAbove.words().contains("above the surface"));
}
