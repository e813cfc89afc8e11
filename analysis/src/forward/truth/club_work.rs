//! What the hands do to the club in the downswing: work of their force and of their couple at the
//! mid-grip point, by the inverse dynamics of the rigid club.

use super::{Scene, named};
use crate::forward::solve::peak;

/// Steps of the integrals over the downswing (even).
const STEPS: u32 = 400;

/// Power of the force and of the couple at time `t`, s; W.
fn powers(scene: &Scene, t: f64) -> [f64; 2] {
    let dynamics = &scene.dynamics;
    let hands = dynamics.hands(t);
    let grip = dynamics.motion.grip(t);
    let couple = hands.moment - grip.coords.cross(&hands.force);
    [
        hands.force.dot(&dynamics.motion.grip_velocity(t)),
        couple.dot(&dynamics.club(t).spin),
    ]
}

/// Every metric of the work on the club.
pub(super) fn metrics(scene: &Scene) -> Vec<(String, f64)> {
    let half = 0.5 * (scene.top + scene.impact);
    let early = work(scene, (scene.top, half));
    let late = work(scene, (half, scene.impact));
    let [linear, angular] = [0, 1].map(|i| early[i] + late[i]);
    let total = linear + angular;
    let power = |t: f64| powers(scene, t).iter().sum();
    let (time, most) = peak(scene.top, scene.impact, power);
    named([
        ("work_linear", linear),
        ("work_angular", angular),
        ("work_total", total),
        ("early_work_share", (early[0] + early[1]) / total),
        ("power_peak", most),
        ("power_peak_time", scene.impact - time),
    ])
}

/// Work of force and couple between two times, J (Simpson's rule).
fn work(scene: &Scene, (from, to): (f64, f64)) -> [f64; 2] {
    let step = (to - from) / f64::from(STEPS);
    let mut sum = [0.0; 2];
    for i in 0..=STEPS {
        let weight = match i {
            0 | STEPS => 1.0,
            i if i % 2 == 1 => 4.0,
            _ => 2.0,
        };
        let now = powers(scene, from + step * f64::from(i));
        sum = [0, 1].map(|k| sum[k] + weight * now[k]);
    }
    sum.map(|s| s * step / 3.0)
}
