//! The calibration trial judged: rigid bodies, joint centers found from its markers by plain
//! geometry, and the same person as in the swings.

use super::{CLEAN, near};
use crate::forward::{CalibrationTake, CaptureParams, GolferParams, calibration_trial, swing};
use crate::handed::Handed;
use crate::landmark::Landmark as L;
use nalgebra::{Matrix4, Point3, Vector3, Vector4};

fn trial(params: &GolferParams) -> CalibrationTake {
    let capture = CaptureParams {
        rate_hz: 100.0,
        ..CLEAN
    };
    calibration_trial(params, &capture)
}

fn point(take: &CalibrationTake, frame: usize, landmark: L) -> Point3<f64> {
    let i = take.landmarks.iter().position(|&l| l == landmark).unwrap();
    take.frames[frame][i].unwrap()
}

/// A point in the pelvis frame (ISB axes) of a frame.
fn in_pelvis(take: &CalibrationTake, frame: usize, p: Point3<f64>) -> Vector3<f64> {
    let at = |l| point(take, frame, l);
    let origin = nalgebra::center(&at(L::LeftAsis), &at(L::RightAsis));
    let z = (at(L::RightAsis) - at(L::LeftAsis)).normalize();
    let back = nalgebra::center(&at(L::LeftPsis), &at(L::RightPsis));
    let y = z.cross(&(origin - back)).normalize();
    let x = y.cross(&z);
    let d = p - origin;
    Vector3::new(d.dot(&x), d.dot(&y), d.dot(&z))
}

/// Center of the sphere that points lie on (linear least squares on |p|² = 2 p·c + k).
fn center(points: &[Vector3<f64>]) -> Vector3<f64> {
    let mut matrix = Matrix4::zeros();
    let mut right = Vector4::zeros();
    for p in points {
        let row = Vector4::new(2.0 * p.x, 2.0 * p.y, 2.0 * p.z, 1.0);
        matrix += row * row.transpose();
        right += row * p.norm_squared();
    }
    matrix.lu().solve(&right).unwrap().xyz()
}

/// The middle of the epicondyles moves on a sphere about the hip: its center is the true one.
#[test]
fn the_knee_circles_about_the_true_hip() {
    for seed in 0..6 {
        let handed = if seed % 2 == 0 {
            Handed::Right
        } else {
            Handed::Left
        };
        let params = GolferParams {
            handed,
            ..GolferParams::from_seed(seed)
        };
        let take = trial(&params);
        let sides = [
            (L::LeftKnee, L::LeftKneeMedial),
            (L::RightKnee, L::RightKneeMedial),
        ];
        for (side, (lateral, medial)) in sides.into_iter().enumerate() {
            let (from, to) = take.truth.moving[side];
            let knees: Vec<_> = (0..take.frames.len())
                .filter(|&i| (from..to).contains(&(i as f64 / 100.0)))
                .map(|i| {
                    let knee =
                        nalgebra::center(&point(&take, i, lateral), &point(&take, i, medial));
                    in_pelvis(&take, i, knee)
                })
                .collect();
            let found = center(&knees);
            assert!(
                (found - take.truth.hips[side].coords).norm() < 1e-6,
                "{found}"
            );
            let spread = |axis: usize| {
                let (low, high) = knees.iter().fold((f64::MAX, f64::MIN), |(l, h), p| {
                    (l.min(p[axis]), h.max(p[axis]))
                });
                high - low
            };
            assert!(
                spread(0) > 0.25 && spread(2) > 0.12,
                "{} {}",
                spread(0),
                spread(2)
            );
            let right = take.truth.hips[side].z;
            assert!(
                (right > 0.06) == (side == 1) && right.abs() < 0.11,
                "{right}"
            );
        }
    }
}

#[test]
fn half_widths_are_those_of_the_markers_and_feet_stay_above_the_floor() {
    let take = trial(&GolferParams::from_seed(4));
    let truth = &take.truth;
    for frame in (0..take.frames.len()).step_by(20) {
        for (lateral, medial, half) in [
            (L::LeftKnee, L::LeftKneeMedial, truth.knee_half_width),
            (L::RightAnkle, L::RightAnkleMedial, truth.ankle_half_width),
            (L::RightElbow, L::RightElbowMedial, truth.elbow_half_width),
        ] {
            let width = (point(&take, frame, lateral) - point(&take, frame, medial)).norm();
            near("half width", 0.5 * width, half, 1e-9);
        }
        for foot in [L::LeftHeel, L::RightHeel, L::LeftToe, L::RightToe] {
            let height = point(&take, frame, foot).y;
            assert!(
                (-0.005..0.6).contains(&height),
                "{foot:?} {frame}: {height}"
            );
        }
        assert!(point(&take, frame, L::C7).y > 1.2, "upright");
    }
}

#[test]
fn it_is_the_same_person_as_in_the_swings_whatever_the_shot() {
    let params = GolferParams::from_seed(9);
    let still = trial(&params);
    let shot = swing(
        &params,
        &CaptureParams {
            rate_hz: 50.0,
            ..CLEAN
        },
    );
    let apart = |frames: &[Vec<Option<Point3<f64>>>], all: &[L], a: L, b: L| {
        let at = |l| frames[5][all.iter().position(|&m| m == l).unwrap()].unwrap();
        (at(a) - at(b)).norm()
    };
    for (a, b) in [
        (L::LeftAsis, L::RightPsis),
        (L::C7, L::Xiphoid),
        (L::HeadFront, L::HeadLeft),
        (L::LeftHeel, L::LeftToe),
        (L::LeftRadialStyloid, L::LeftUlnarStyloid),
    ] {
        let calibrated = apart(&still.frames, &still.landmarks, a, b);
        near(
            "rigid",
            calibrated,
            apart(&shot.frames, &shot.landmarks, a, b),
            1e-9,
        );
    }
    let other = GolferParams { shot: 5, ..params };
    assert_eq!(trial(&other).frames, still.frames);
    assert_eq!(still.landmarks.len(), 33);
}

#[test]
fn standing_is_quiet_and_nothing_jerks() {
    let take = trial(&GolferParams::from_seed(2));
    let speed = |i: usize, l| (point(&take, i + 1, l) - point(&take, i, l)).norm() * 100.0;
    for (from, to) in take.truth.standing {
        for i in (0..take.frames.len() - 1).filter(|&i| {
            let t = i as f64 / 100.0;
            t >= from && t + 0.011 < to
        }) {
            for l in [L::LeftAsis, L::C7, L::RightToe] {
                assert!(speed(i, l) < 0.03, "{i} {l:?} {}", speed(i, l));
            }
        }
    }
    for &l in &take.landmarks {
        for i in 1..take.frames.len() - 1 {
            let p = [i - 1, i, i + 1].map(|n| point(&take, n, l));
            let acceleration = (p[0] - p[1] + (p[2] - p[1])).norm() * 1e4;
            assert!(acceleration < 60.0, "{l:?} {i}: {acceleration} m/s²");
        }
    }
}
