//! How pelvis, thorax, lead arm and club turn: angular speeds and accelerations, their peaks, the
//! order in which these come, and whether the arm is ahead.
//!
//! Angular velocities are differences of the exact orientations a hundredth of a millisecond apart,
//! accelerations differences of those; nothing is sampled or filtered.

use super::Scene;
use crate::forward::body::Axes;
use crate::forward::motion::{Motion, STEP_S};
use crate::forward::solve::{peak, positive};
use nalgebra::{Matrix3, Vector3};

/// The segments from the middle outward.
const SEGMENTS: [&str; 4] = ["pelvis", "thorax", "lead_arm", "club"];

/// Half the step over which angular speeds are differenced, s.
const SLOPE_S: f64 = 1e-4;

/// Angular speed and acceleration of every segment at time `t`, s.
pub(super) fn at(motion: &Motion, t: f64) -> impl Iterator<Item = (String, f64)> {
    let (speeds, slopes) = (speeds(motion, t), slope(t, |t| speeds(motion, t)));
    SEGMENTS.into_iter().enumerate().flat_map(move |(i, name)| {
        [
            (format!("angular_speed.{name}"), speeds[i]),
            (format!("angular_acceleration.{name}"), slopes[i]),
        ]
    })
}

/// Every metric of turning.
pub(super) fn metrics(scene: &Scene) -> Vec<(String, f64)> {
    let motion = &scene.motion;
    let down = |f: &dyn Fn(f64) -> f64| peak(scene.top, scene.impact, f);
    let fastest = [0, 1, 2, 3].map(|i| down(&|t| speeds(motion, t)[i]));
    let hardest = [0, 1, 2, 3].map(|i| down(&|t| slope(t, |t| speeds(motion, t))[i]));
    let mut metrics = Vec::new();
    for (peaks, id) in [
        (fastest, "angular_speed_peak"),
        (hardest, "angular_acceleration_peak"),
    ] {
        for (name, (time, value)) in SEGMENTS.into_iter().zip(peaks) {
            metrics.push((format!("{id}.{name}"), value));
            metrics.push((format!("{id}_time.{name}"), scene.impact - time));
        }
    }
    for i in 1..SEGMENTS.len() {
        let ratio = fastest[i].1 / fastest[i - 1].1;
        metrics.push((format!("peak_ratio.{}", SEGMENTS[i]), ratio));
    }
    metrics.extend(order(fastest.map(|p| p.0)));
    metrics.extend(arm_ahead(scene));
    metrics
}

/// The order of arrival as digits; of two that arrive together the inner one counts as first.
fn order(times: [f64; 4]) -> [(String, f64); 2] {
    let mut order = [0_usize, 1, 2, 3];
    order.sort_by(|&a, &b| times[a].total_cmp(&times[b]));
    let code = order
        .iter()
        .fold(0.0, |code, &i| 10.0 * code + [1.0, 2.0, 3.0, 4.0][i]);
    let outward = if order == [0, 1, 2, 3] { 1.0 } else { 0.0 };
    [
        ("arrival_order".to_owned(), code),
        ("arrival_proximal_to_distal".to_owned(), outward),
    ]
}

/// When the lead arm's angular acceleration about the normal of the shaft's downswing plane is the
/// largest of the four. There is no start where that never happens.
fn arm_ahead(scene: &Scene) -> Vec<(String, f64)> {
    let normal = scene.motion.downswing_plane().normal;
    let about = |t: f64| spins(&scene.motion, t).map(|spin| spin.dot(&normal));
    let lead = |t: f64| {
        let [pelvis, thorax, arm, club] = slope(t, about);
        arm - pelvis.max(thorax).max(club)
    };
    let stretches = positive(scene.top, scene.impact, lead);
    let start = stretches
        .first()
        .map(|s| ("arm_ahead.start".to_owned(), s.0 - scene.top));
    let duration = stretches.iter().map(|s| s.1 - s.0).sum();
    start
        .into_iter()
        .chain([("arm_ahead.duration".to_owned(), duration)])
        .collect()
}

/// Pelvis and thorax along their own long axis, lead arm and shaft as lines, rad/s.
fn speeds(motion: &Motion, t: f64) -> [f64; 4] {
    let axes = motion.axes(t);
    let [pelvis, thorax, arm, club] = spins(motion, t);
    [
        pelvis.dot(&axes.pelvis.column(1)),
        thorax.dot(&axes.thorax.column(1)),
        arm.norm(),
        club.norm(),
    ]
}

/// Angular velocity vectors; of a line, the part across it (d × ḋ).
fn spins(motion: &Motion, t: f64) -> [Vector3<f64>; 4] {
    let (a, b): (Axes, Axes) = (motion.axes(t - STEP_S), motion.axes(t + STEP_S));
    [
        turned(&a.pelvis, &b.pelvis),
        turned(&a.thorax, &b.thorax),
        a.lead_arm.cross(&b.lead_arm),
        a.shaft.cross(&b.shaft),
    ]
    .map(|turn| turn / (2.0 * STEP_S))
}

/// The small rotation vector between two orientations: the skew part of their quotient, whose
/// length is the sine of an angle below a thousandth.
fn turned(from: &Matrix3<f64>, to: &Matrix3<f64>) -> Vector3<f64> {
    let r = to * from.transpose();
    0.5 * Vector3::new(
        r[(2, 1)] - r[(1, 2)],
        r[(0, 2)] - r[(2, 0)],
        r[(1, 0)] - r[(0, 1)],
    )
}

fn slope(t: f64, f: impl Fn(f64) -> [f64; 4]) -> [f64; 4] {
    let (before, after) = (f(t - SLOPE_S), f(t + SLOPE_S));
    std::array::from_fn(|i| (after[i] - before[i]) / (2.0 * SLOPE_S))
}
