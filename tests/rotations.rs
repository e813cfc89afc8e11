//! Poses and rotations of segments against SciPy's `Rotation`, case by case, and the screw axis
//! against the motion it stands for.

use analysis::body::pose::{self, Size};
use analysis::body::rotation;
use nalgebra::{Matrix3, Point3, Rotation3, Vector3};
use serde_json::Value;

use crate::support::python;

fn cases() -> Value {
    serde_json::from_str(&python("reference/rotations.py", &[])).unwrap()
}

fn vector(v: &Value) -> Vector3<f64> {
    Vector3::from_fn(|i, _| v[i].as_f64().unwrap())
}

fn matrix(v: &Value) -> Matrix3<f64> {
    Matrix3::from_fn(|i, j| v[i][j].as_f64().unwrap())
}

fn pairs(case: &Value) -> Vec<(Point3<f64>, Point3<f64>)> {
    let points = |v: &Value| -> Vec<_> {
        let rows = v.as_array().unwrap();
        rows.iter().map(|p| Point3::from(vector(p))).collect()
    };
    points(&case["model"])
        .into_iter()
        .zip(points(&case["measured"]))
        .collect()
}

/// Largest difference between two triples of angles; angles a whole turn apart are the same.
fn apart(a: [f64; 3], b: &Value) -> f64 {
    (0..3)
        .map(|i| rotation::wrap(a[i] - b[i].as_f64().unwrap()).abs())
        .fold(0.0, f64::max)
}

/// `Rotation.align_vectors`: the same rotation to 1e-9 for three to six markers, flat or not, clean,
/// noisy or measured in a mirror (where a fit without the guard would return the reflection).
#[test]
fn cluster_poses_equal_scipys() {
    let cases = cases();
    for (kind, least) in [("fits", 200), ("mirrors", 90)] {
        let all = cases[kind].as_array().unwrap();
        assert!(all.len() >= least, "{kind}: {}", all.len());
        for case in all {
            let pairs = pairs(case);
            let fit = pose::fit(&pairs, Size::Fixed).unwrap();
            assert!((fit.rotation - matrix(&case["rotation"])).abs().max() < 1e-9);
            assert!((fit.rotation.determinant() - 1.0).abs() < 1e-12, "{kind}");
            let left: f64 = pairs
                .iter()
                .map(|(m, x)| (fit.place(*m) - x).norm_squared())
                .sum();
            let scipys = case["left"].as_f64().unwrap();
            // SciPy takes the rest from a difference of squares: half the digits are left.
            assert!(
                (left.sqrt() - scipys).abs() < 1e-7,
                "{kind}: {} {scipys}",
                left.sqrt()
            );
            if kind == "mirrors" {
                assert!(left.sqrt() > 1e-3, "a mirror image does not fit");
            }
        }
    }
}

/// The same answers for many slots at once, four of them side by side or fewer at the end, and for
/// clusters up to twenty times as long as wide, whose roll rests on little.
#[test]
fn clusters_placed_side_by_side_equal_scipys() {
    let cases = cases();
    for (kind, least) in [("fits", 200), ("mirrors", 90), ("long", 100)] {
        let all = cases[kind].as_array().unwrap();
        assert!(all.len() >= least, "{kind}: {}", all.len());
        for case in all {
            let (model, measured): (Vec<_>, Vec<_>) = pairs(case).into_iter().unzip();
            let truth = matrix(&case["rotation"]);
            // Each slot is turned a little further, so that no lane can pass for another.
            let further = |slot: usize| Rotation3::new(Vector3::new(0.2, -0.1, 0.3) * slot as f64);
            let slots = [0, 1, 2, 3, 4, 5];
            let at = |marker: usize, slot: usize| further(slot) * measured[marker];
            let placed = pose::place_each(&model, &slots, at, 0.0);
            assert_eq!(placed.len(), slots.len());
            for (slot, frame) in placed.into_iter().enumerate() {
                let frame = frame.unwrap();
                let turned = further(slot).matrix() * truth;
                let off = (frame.rotation - turned).abs().max();
                assert!(off < 1e-9, "{kind} {slot}: {off}");
                let (center, placed) = (mean(&model), mean(&measured));
                assert!((frame.lab(center) - further(slot) * placed).norm() < 1e-9);
            }
        }
    }
}

fn mean(points: &[Point3<f64>]) -> Point3<f64> {
    let sum: Vector3<f64> = points.iter().map(|p| p.coords).sum();
    Point3::from(sum / points.len() as f64)
}

/// `Rotation.as_euler` in the joints' order and in the lab's, `as_rotvec` from 1e-12 to half a turn.
#[test]
fn angles_and_rotation_vectors_equal_scipys() {
    let cases = cases();
    let turns = cases["turns"].as_array().unwrap();
    assert!(turns.len() > 200);
    for case in turns {
        let r = matrix(&case["matrix"]);
        assert!(apart(rotation::zxy(&r), &case["zxy"]) < 1e-9, "{case}");
        assert!(apart(rotation::yxz(&r), &case["yxz"]) < 1e-9, "{case}");
        let (v, scipys) = (rotation::log(&r), vector(&case["vector"]));
        assert!((v - scipys).norm() < 1e-9, "{v} {scipys}");
        assert!((rotation::exp(v) - r).abs().max() < 1e-12);
    }
}

/// `Rotation.mean` of sets from 1° to 60° wide.
#[test]
fn mean_rotations_equal_scipys() {
    for case in cases()["means"].as_array().unwrap() {
        let set: Vec<_> = case["set"].as_array().unwrap().iter().map(matrix).collect();
        let mean = rotation::mean(&set).unwrap();
        assert!((mean - matrix(&case["mean"])).abs().max() < 1e-9);
    }
}

/// A body whose angular velocity is a formula: the error of the three-point rule falls with the
/// square of the step and is below 0.1 % of the peak at 250 and 0.006 % at 1000 samples a second.
#[test]
fn angular_velocity_follows_the_formula() {
    for (case, limit) in cases()["spins"]
        .as_array()
        .unwrap()
        .iter()
        .zip([1e-3, 6e-5])
    {
        let rate_hz = case["rate"].as_f64().unwrap();
        let turns: Vec<_> = case["matrices"]
            .as_array()
            .unwrap()
            .iter()
            .map(matrix)
            .collect();
        let truth: Vec<_> = case["velocity"]
            .as_array()
            .unwrap()
            .iter()
            .map(vector)
            .collect();
        let ours = rotation::angular_velocity(&turns, 1.0 / rate_hz);
        assert_eq!(ours.len(), truth.len());
        let peak = truth.iter().map(Vector3::norm).fold(0.0, f64::max);
        let worst = (1..ours.len() - 1)
            .map(|k| (ours[k] - truth[k]).norm() / peak)
            .fold(0.0, f64::max);
        println!("{rate_hz} Hz: worst error of angular velocity {worst:.2e} of the peak");
        assert!(worst < limit, "{rate_hz} Hz: {worst}");
    }
}

/// Identity of the screw: turning about the axis found and shifting along it takes every marker where
/// the fitted motion takes it (Spoor & Veldpaus 1980).
#[test]
fn a_screw_reproduces_the_motion_of_a_cluster() {
    for case in cases()["fits"].as_array().unwrap() {
        let pairs = pairs(case);
        let fit = pose::fit(&pairs, Size::Fixed).unwrap();
        let screw = rotation::screw(&fit.rotation, &fit.translation).unwrap();
        for (model, _) in &pairs {
            let moved = screw.apply(&model.coords);
            assert!((moved - fit.place(*model).coords).norm() < 1e-9);
        }
        // The axis is the line that only shifts along itself.
        let on_axis = fit.place(Point3::from(screw.point)).coords - screw.point;
        assert!((on_axis - screw.axis * screw.shift).norm() < 1e-9);
    }
}
