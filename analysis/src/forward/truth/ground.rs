//! What the ground gives: forces under the feet, their sharing, turning and center of pressure.
//!
//! Peaks are looked for on a table a millisecond apart and then on the motion itself. How the feet
//! share what the motion takes is decided in `forward::ground`.

use super::{Scene, named};
use crate::forward::ground::Reaction;
use crate::forward::mass::G;
use nalgebra::{Point3, Vector3};

/// Chords of the way of the center of pressure, s.
const CHORD_S: f64 = 0.01;

/// Half the step over which a force's rate of rise is differenced, s.
const RISE_S: f64 = 1e-3;

/// What the ground gives at one instant, or the mean of a quiet stretch.
#[derive(Debug, Clone, Copy)]
pub(super) struct Standing {
    /// Vertical force of lead and trail foot ÷ body weight.
    up: [f64; 2],
    /// Place of the common center of pressure between the feet.
    place: f64,
}

impl Standing {
    /// At time `t`, s.
    pub(super) fn at(scene: &Scene, t: f64) -> Self {
        let reaction = scene.dynamics.reaction(t);
        Self {
            up: reaction.force.map(|f| f.y / weight(scene)),
            place: place(scene, &reaction.common),
        }
    }

    /// The mean of several.
    pub(super) fn mean(all: &[Self]) -> Self {
        let count = all.iter().map(|_| 1.0).sum::<f64>();
        let mean = |value: &dyn Fn(&Self) -> f64| all.iter().map(value).sum::<f64>() / count;
        Self {
            up: [0, 1].map(|i| mean(&|s: &Self| s.up[i])),
            place: mean(&|s: &Self| s.place),
        }
    }

    /// Every metric of an instant.
    pub(super) fn metrics(&self) -> [(&'static str, f64); 4] {
        let [lead, trail] = self.up;
        [
            ("vertical_force.lead", lead),
            ("vertical_force.trail", trail),
            ("vertical_share_lead", lead / (lead + trail)),
            ("cop_lead_share", self.place),
        ]
    }
}

/// Weight of the person without the club, N.
fn weight(scene: &Scene) -> f64 {
    scene.dynamics.masses.person_kg() * G
}

/// Where a point is on the level line from the trail foot's middle (0) to the lead foot's (1).
fn place(scene: &Scene, p: &Point3<f64>) -> f64 {
    let [lead, trail] = scene.feet.map(|f| Vector3::new(f.x, 0.0, f.z));
    let line = lead - trail;
    (Vector3::new(p.x, 0.0, p.z) - trail).dot(&line) / line.norm_squared()
}

/// Every metric of a stretch.
pub(super) fn metrics(scene: &Scene) -> Vec<(String, f64)> {
    let (start, top, impact) = (scene.start, scene.top, scene.impact);
    let bw = weight(scene);
    let up = |side: usize| move |r: &Reaction| r.force[side].y / bw;
    let [lead, trail] = [0, 1].map(|side| scene.largest((start, impact), &up(side)));
    let both = |r: &Reaction| (r.force[0] + r.force[1]).x / bw;
    let torque = scene.largest((start, impact), &|r| r.turning);
    let phase = |t: f64| {
        if t < top {
            1.0
        } else if t < 0.5 * (top + impact) {
            2.0
        } else {
            3.0
        }
    };
    named([
        ("vertical_force_peak.lead", lead.1),
        ("vertical_force_peak.trail", trail.1),
        ("vertical_force_peak_time.lead", impact - lead.0),
        ("vertical_force_peak_time.trail", impact - trail.0),
        ("vertical_force_peak_phase.lead", phase(lead.0)),
        ("vertical_force_peak_phase.trail", phase(trail.0)),
        (
            "unweighting_min",
            -scene
                .largest((start, impact), &|r| -(r.force[0] + r.force[1]).y / bw)
                .1,
        ),
        ("loading_rate.lead", steepest(scene)),
        (
            "lateral_force_peak.both",
            scene.largest((top, impact), &both).1,
        ),
        (
            "lateral_force_peak.lead",
            -scene.largest((top, impact), &|r| -r.force[0].x / bw).1,
        ),
        (
            "lateral_force_peak.trail",
            scene.largest((top, impact), &|r| r.force[1].x / bw).1,
        ),
        (
            "fore_aft_couple_peak",
            scene.largest((start, impact), &couple).1,
        ),
        (
            "free_moment_peak.lead",
            scene.largest((start, impact), &|r| r.free[0]).1,
        ),
        (
            "free_moment_peak.trail",
            scene.largest((start, impact), &|r| r.free[1]).1,
        ),
        ("ground_torque_vertical_peak", torque.1),
        ("ground_torque_vertical_peak_time", impact - torque.0),
        ("cop_path_length", path(scene)),
        ("vertical_impulse_down", impulse(scene)),
    ])
}

/// Moment about the vertical of the feet's forces toward and from the ball.
fn couple(r: &Reaction) -> f64 {
    (0..2)
        .map(|i| -(r.center[i].x - r.common.x) * r.force[i].z)
        .sum()
}

/// Largest rate of rise of the lead foot's vertical force, body weights a second.
fn steepest(scene: &Scene) -> f64 {
    let up = |t: f64| scene.dynamics.reaction(t).force[0].y / weight(scene);
    scene
        .table
        .windows(3)
        .filter(|w| w[0].0 >= scene.level_back)
        .map(|w| (w[2].1.force[0].y - w[0].1.force[0].y) / (w[2].0 - w[0].0) / weight(scene))
        .chain([(up(scene.impact + RISE_S) - up(scene.impact - RISE_S)) / (2.0 * RISE_S)])
        .fold(f64::NEG_INFINITY, f64::max)
}

/// The way of the common center of pressure in chords; the last one ends at impact.
fn path(scene: &Scene) -> f64 {
    let places: Vec<Point3<f64>> = (0_u32..)
        .map(|i| scene.start + CHORD_S * f64::from(i))
        .take_while(|&t| t < scene.impact)
        .chain([scene.impact])
        .map(|t| scene.dynamics.reaction(t).common)
        .collect();
    places.windows(2).map(|w| (w[1] - w[0]).norm()).sum()
}

/// Vertical momentum won from the top to impact: what the ground gave beyond the weight.
fn impulse(scene: &Scene) -> f64 {
    let up = |t: f64| scene.dynamics.momentum(t).y;
    up(scene.impact) - up(scene.top)
}
