//! Skin that moves on the bones, frame by frame through a whole lesson: the springs of single swings.

use nalgebra::{Point3, Vector3};

use super::super::capture::{SPRING_RATE_HZ, Spring};
use super::super::skin::MARKERS;

/// A bone that goes farther than this in a frame is another person's, m.
const JUMP_M: f64 = 0.3;
/// Frames farther apart than this have nothing to do with each other, s.
const PAUSE_S: f64 = 0.1;

/// Every marker's spring, and the bones as they were last.
#[derive(Debug, Default)]
pub(super) struct Tissue {
    springs: Vec<Spring>,
    bones: Vec<Point3<f64>>,
    at_s: f64,
}

impl Tissue {
    /// Moves the markers of time `t` (s) off their bones.
    pub(super) fn shake(&mut self, t: f64, markers: &mut [Point3<f64>; MARKERS.len()]) {
        let past_s = t - self.at_s;
        let moved = |(a, b): (&Point3<f64>, &Point3<f64>)| (a - b).norm() > JUMP_M;
        let new = self.bones.is_empty()
            || !(0.0..PAUSE_S).contains(&past_s)
            || self.bones.iter().zip(&*markers).any(moved);
        if new {
            self.springs = vec![Spring::default(); MARKERS.len()];
        } else if past_s > 0.0 {
            let steps = (SPRING_RATE_HZ * past_s).ceil().max(1.0);
            let ways = self.bones.iter().zip(&*markers);
            for (spring, (from, to)) in self.springs.iter_mut().zip(ways) {
                let velocities = [spring.bone_velocity, (to - from) / past_s];
                let mut step = 0.0;
                while step < steps {
                    step += 1.0;
                    let now: Vector3<f64> = velocities[0].lerp(&velocities[1], step / steps);
                    spring.advance(now, past_s / steps);
                }
            }
        }
        self.bones.clear();
        self.bones.extend_from_slice(&*markers);
        self.at_s = t;
        for ((marker, landmark), spring) in markers.iter_mut().zip(&MARKERS).zip(&self.springs) {
            *marker = spring.marker(*marker, *landmark);
        }
    }
}
