//! Where the mass of golfer and club is and how it moves: the mass center, its lever to the ground's
//! force, kinetic energies.

use super::{Scene, named};
use crate::forward::mass::GROUPS;
use crate::forward::solve::peak;
use nalgebra::Point3;

/// Metrics of an instant: the mass center against that of the address.
pub(super) fn moved(address: &Point3<f64>, center: &Point3<f64>) -> [(&'static str, f64); 2] {
    [
        ("mass_centre_shift", center.x - address.x),
        ("mass_centre_rise", center.y - address.y),
    ]
}

/// Every metric of a stretch.
pub(super) fn metrics(scene: &Scene) -> Vec<(String, f64)> {
    let height = |t: f64| scene.dynamics.mass_center(t).y;
    let lowest = -peak(scene.start, scene.impact, |t| -height(t)).1;
    let mut metrics = named([
        ("mass_centre_drop", scene.mass_center.y - lowest),
        (
            "frontal_moment_arm_peak",
            peak(scene.top, scene.impact, |t| lever(scene, t)).1,
        ),
    ]);
    for (group, bodies) in GROUPS {
        let energy = |t: f64| -> f64 {
            let moving = scene.dynamics.moving(t);
            moving[bodies.clone()].iter().map(|m| m.energy()).sum()
        };
        let most = peak(scene.top, scene.impact, energy).1;
        metrics.push((format!("kinetic_energy_peak.{group}"), most));
    }
    metrics
}

/// Distance at which the ground's force passes the mass center, seen along the line from golfer to
/// ball: positive where it tips the golfer away from the target.
fn lever(scene: &Scene, t: f64) -> f64 {
    let reaction = scene.dynamics.reaction(t);
    let force = reaction.total.force;
    let arm = reaction.common - scene.dynamics.mass_center(t);
    arm.cross(&force).z / force.x.hypot(force.y)
}
