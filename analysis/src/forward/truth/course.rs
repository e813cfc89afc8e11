//! What belongs to a stretch of the swing or to a velocity: times, peaks, extents, the rotation
//! budget, the path of the head.
//!
//! How fast segments turn is in `turning`.

use super::state::State;
use super::{Scene, lead_arm, named};
use crate::forward::motion::Motion;
use crate::forward::posture::Dof;
use crate::forward::solve::{crossing, peak};
use nalgebra::{Matrix3, Vector3};

/// Times between events.
pub(super) fn timing(scene: &Scene) -> Vec<(String, f64)> {
    let (back, down) = (scene.top - scene.start, scene.impact - scene.top);
    named([
        ("backswing_time", back),
        ("downswing_time", down),
        ("tempo_ratio", back / down),
    ])
}

/// Every metric of a stretch except those of turning.
pub(super) fn metrics(scene: &Scene) -> Vec<(String, f64)> {
    let at_impact = velocities(&scene.motion, scene.impact);
    at_impact
        .into_iter()
        .map(|(id, value)| (format!("{id}@impact"), value))
        .chain(extremes(scene))
        .chain(separation(scene))
        .chain(reversals(scene))
        .chain(budget(scene))
        .chain(onsets(scene))
        .chain(plane(scene))
        .collect()
}

/// Speeds and directions at time `t`, s.
pub(super) fn velocities(motion: &Motion, t: f64) -> [(&'static str, f64); 4] {
    let v = motion.face_velocity(t);
    [
        ("grip_speed", motion.grip_velocity(t).norm()),
        ("head_speed", v.norm()),
        ("attack_angle", v.y.atan2(v.x.hypot(v.z))),
        ("path_direction", v.z.atan2(v.x)),
    ]
}

fn extremes(scene: &Scene) -> Vec<(String, f64)> {
    let motion = &scene.motion;
    let down = |f: &dyn Fn(f64) -> f64| peak(scene.top, scene.impact, f);
    let (grip_time, grip) = down(&|t| motion.grip_velocity(t).norm());
    let (head_time, head) = down(&|t| motion.face_velocity(t).norm());
    let hinge = |t: f64| {
        let pose = motion.pose(t);
        (pose.wrists[0] - pose.elbows[0]).angle(&pose.club.shaft())
    };
    named([
        ("grip_speed_peak", grip),
        ("grip_speed_peak_time", scene.impact - grip_time),
        ("grip_path_length_down", grip_path(scene)),
        ("head_speed_peak", head),
        ("head_speed_peak_time", scene.impact - head_time),
        ("hinge_release_start", scene.impact - down(&hinge).0),
        (
            "pelvis_shift_range.backswing",
            shift_range(motion, scene.start, scene.top),
        ),
        (
            "pelvis_shift_range.downswing",
            shift_range(motion, scene.top, scene.impact),
        ),
    ])
}

/// The pelvis point is the middle of the hips, which a posture places directly.
fn shift_range(motion: &Motion, from: f64, to: f64) -> f64 {
    let shift = |t: f64| motion.posture(t)[Dof::PelvisX];
    peak(from, to, shift).1 + peak(from, to, |t| -shift(t)).1
}

fn grip_path(scene: &Scene) -> f64 {
    let points: Vec<_> = evenly(scene.top, scene.impact)
        .map(|t| scene.motion.grip(t))
        .collect();
    points.windows(2).map(|w| (w[1] - w[0]).norm()).sum()
}

/// 1001 instants from `from` to `to`.
fn evenly(from: f64, to: f64) -> impl Iterator<Item = f64> {
    (0..=1000_u32).map(move |i| from + (to - from) * f64::from(i) / 1000.0)
}

fn separation(scene: &Scene) -> Vec<(String, f64)> {
    let at = |t: f64| {
        let posture = scene.motion.posture(t);
        posture[Dof::PelvisTurn] - posture[Dof::ThoraxTurn]
    };
    let (time, most) = peak(scene.start, scene.impact, at);
    named([
        ("separation_peak", most),
        ("separation_peak_time", time - scene.top),
        ("separation_closed_at_impact", 1.0 - at(scene.impact) / most),
    ])
}

/// How long before the club the other segments reverse. The lead arm is followed about the normal
/// of the downswing plane.
fn reversals(scene: &Scene) -> Vec<(String, f64)> {
    let motion = &scene.motion;
    let plane = motion.downswing_plane();
    let arm = |t: f64| {
        let line = lead_arm(&motion.pose(t));
        (-line.dot(&plane.along)).atan2(-line.dot(&plane.up_slope))
    };
    let from = 0.5 * (scene.start + scene.top);
    let ahead = |f: &dyn Fn(f64) -> f64| scene.top - peak(from, scene.impact, f).0;
    let closed = |dof: Dof| move |t: f64| -motion.posture(t)[dof];
    named([
        ("reversal_lead.pelvis", ahead(&closed(Dof::PelvisTurn))),
        ("reversal_lead.thorax", ahead(&closed(Dof::ThoraxTurn))),
        ("reversal_lead.lead_arm", ahead(&arm)),
    ])
}

fn budget(scene: &Scene) -> Vec<(String, f64)> {
    let [top, impact] = [scene.top, scene.impact].map(|t| State::at(&scene.motion, t).headings());
    ["pelvis", "thorax", "shoulders"]
        .into_iter()
        .zip(top.into_iter().zip(impact))
        .flat_map(|(segment, (top, open))| {
            let closed = -top;
            let range = open + closed;
            [
                (format!("rotation_range_down.{segment}"), range),
                (
                    format!("rotation_rate_down.{segment}"),
                    range / (scene.impact - scene.top),
                ),
                (format!("rotation_balance.{segment}"), open / closed),
                (format!("rotation_excess.{segment}"), closed - open),
            ]
        })
        .collect()
}

/// Share of the backswing gone when a knee has first done a tenth of its change.
fn onsets(scene: &Scene) -> Vec<(String, f64)> {
    let motion = &scene.motion;
    let onset = |side: usize| {
        let before = scene.address.knee(side);
        let change = motion.pose(scene.top).knee_flexion(side) - before;
        let over = |t: f64| (motion.pose(t).knee_flexion(side) - before) / change - 0.1;
        let t = if over(scene.start) > 0.0 {
            scene.start
        } else {
            crossing(scene.start, scene.top, over)?
        };
        Some((t - scene.start) / (scene.top - scene.start))
    };
    [("knee_onset.lead", 0), ("knee_onset.trail", 1)]
        .into_iter()
        .filter_map(|(id, side)| Some((id.to_owned(), onset(side)?)))
        .collect()
}

/// The least-squares plane of the face's path from level shaft to impact: its normal is the
/// direction in which the points scatter least.
fn plane(scene: &Scene) -> Vec<(String, f64)> {
    let points: Vec<Vector3<f64>> = evenly(scene.level_down, scene.impact)
        .map(|t| scene.motion.face(t).coords)
        .collect();
    let count = points.iter().map(|_| 1.0).sum::<f64>();
    let middle = points.iter().sum::<Vector3<f64>>() / count;
    let scatter: Matrix3<f64> = points
        .iter()
        .map(|p| (p - middle) * (p - middle).transpose())
        .sum();
    let eigen = scatter.symmetric_eigen();
    let normal = eigen.eigenvectors.column(eigen.eigenvalues.imin());
    let normal = normal * normal.y.signum();
    // The level line toward the target: for a normal up and toward the ball, up × normal.
    let level = Vector3::new(normal.z, 0.0, -normal.x);
    named([
        ("downswing_plane_slope", normal.y.min(1.0).acos()),
        ("downswing_plane_direction", level.z.atan2(level.x)),
    ])
}
