//! Two force plates under a lesson: who stands on them with what weight, and what they say. In strokes
//! the ground gives exactly what the motion takes, as in single swings; else a golfer is as heavy as at
//! rest, and the weight lies under his mass center. A seat, and the floor beside the plates, bear what they
//! bear and nobody reads it.

use std::f64::consts::TAU;

use nalgebra::{Point3, Vector3};

use super::super::curve::ease;
use super::super::ground::Reaction;
use super::super::mass::G;
use super::super::momentum::{Wrench, ground_of};
use super::super::noise::{Purpose, Source};
use super::super::plates::{DEPTH_M, GAP_M, MOMENT_M, PlateParams, in_channels};
use super::figure::{Figure, Stance};
use super::scene::Scene;
use super::{LessonParams, wavering};
use crate::handed::Handed;

/// Half lengths of a plate along X and Z, m, and the line between the two along X against the ball: between
/// the feet with every club.
const HALF_M: [f64; 2] = [0.30, 0.45];
const BETWEEN_M: f64 = -0.11;

/// A foot this high bears nothing, m.
const IN_THE_AIR_M: f64 = 0.01;

/// Farthest that a weight at rest lies beyond the feet along their line, as a share of their distance, and
/// beside it, m: who stands does not fall.
const WITHIN: f64 = 0.03;
const BESIDE_M: f64 = 0.09;

/// Period in which an offset wanders, s.
const WANDER_S: f64 = 1700.0;

/// Where a plate lies.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PlatePlace {
    /// In the order of the C3D standard, bay frame, m.
    pub corners: [Point3<f64>; 4],
    /// From the sensor's origin to the middle of the surface, plate axes, m.
    pub origin: Vector3<f64>,
}

/// One sample of both plates.
#[derive(Debug, Clone, PartialEq)]
pub struct PlateSample {
    /// Number since the plates' start; restarts of the sender do not change it.
    pub number: u64,
    /// Device time, ns.
    pub time_ns: i64,
    /// Of each plate Fx Fy Fz (N), Mx My Mz about the sensor's origin (N·m): of the ground on the golfer.
    pub channels: [[f64; 6]; 2],
}

impl PlateSample {
    /// Samples a second of the plates.
    pub const RATE_HZ: f64 = 1000.0;
}

/// When a sample was taken: its number and time of the lesson, s.
#[derive(Debug, Clone, Copy)]
pub(super) struct At {
    pub(super) number: u64,
    pub(super) t: f64,
}

/// The plates: under the trail foot, under the lead foot.
#[derive(Debug)]
pub(super) struct Floor {
    middles: [Point3<f64>; 2],
    offsets: [[f64; 6]; 2],
    /// Phases of the offsets' wandering, rad.
    phases: [f64; 2],
    number: u64,
    source: Source,
}

impl Floor {
    /// Under the address of the lesson's first golfer.
    pub(super) fn new(params: &LessonParams, figure: &Figure) -> Self {
        let mut source = Source::new(params.seed, Purpose::LessonPlates);
        let z = figure.home().z + 0.05;
        let middles = [-1.0, 1.0].map(|side| {
            let x = BETWEEN_M + side * (0.5 * GAP_M + HALF_M[0]);
            params.handed.mirror_point(Point3::new(x, 0.0, z))
        });
        let mut offset = |channel: usize| {
            let size = if channel < 3 { 1.0 } else { MOMENT_M };
            PlateParams::USUAL.offset_n * size * source.between(-1.0, 1.0)
        };
        let offsets = [0, 1].map(|_| [0, 1, 2, 3, 4, 5].map(&mut offset));
        Self {
            middles,
            offsets,
            phases: [0.0; 2].map(|_| source.between(0.0, TAU)),
            number: 0,
            source,
        }
    }

    pub(super) fn places(&self) -> [PlatePlace; 2] {
        let [x, z] = HALF_M;
        let around = [(1.0, 1.0), (-1.0, 1.0), (-1.0, -1.0), (1.0, -1.0)];
        self.middles.map(|m| PlatePlace {
            corners: around.map(|(a, b)| m + Vector3::new(a * x, 0.0, b * z)),
            origin: Vector3::new(0.0, 0.0, -DEPTH_M),
        })
    }

    /// What is due up to time `t` of the lesson, s, in a scene that began at a time, s.
    pub(super) fn until(
        &mut self,
        t: f64,
        (scene, begun_s, sway): (&Scene, f64, &[f64; 3]),
    ) -> Vec<(At, [[f64; 6]; 2])> {
        let mut due = Vec::new();
        #[expect(clippy::cast_precision_loss, reason = "fewer than 2^52 samples")]
        while self.number as f64 / PlateSample::RATE_HZ <= t {
            let at = At {
                number: self.number,
                t: self.number as f64 / PlateSample::RATE_HZ,
            };
            self.number += 1;
            // A sample of the last moment of the scene before is taken in this one's first.
            let course = scene.smooth.as_ref().unwrap_or(&scene.course);
            let stance = |t: f64| wavering(course((t - begun_s).max(0.0)), t, sway);
            let borne = self.borne(at.t, scene, &stance);
            due.push((at, self.read(at.t, borne)));
        }
        due
    }

    /// Force and moment about its middle that each plate bears, bay.
    fn borne(
        &self,
        t: f64,
        scene: &Scene,
        stance: &dyn Fn(f64) -> Stance,
    ) -> [(Vector3<f64>, Vector3<f64>); 2] {
        let mut borne = [(Vector3::zeros(), Vector3::zeros()); 2];
        let now = stance(t);
        if scene.jacket || !self.is_near(&now, scene.handed) {
            return borne;
        }
        let figure = &scene.figure;
        let soles = figure.soles(&now);
        let contact = now.feet.map(|f| 1.0 - ease(f.lift / IN_THE_AIR_M));
        let standing = 1.0 - now.seat;
        let total = if scene.smooth.is_some() && standing > 0.99 {
            ground_of(t, &|t| figure.placed(&stance(t)))
        } else {
            at_rest(figure, &now, standing)
        };
        let reaction = Reaction::shared(total, &soles, contact);
        for foot in [0, 1] {
            let center = scene.handed.mirror_point(reaction.center[foot]);
            let force = scene.handed.mirror_vector(reaction.force[foot]);
            // A mirrored turn goes the other way round.
            let free = match scene.handed {
                Handed::Right => reaction.free[foot],
                Handed::Left => -reaction.free[foot],
            };
            let under = scene.handed.mirror_point(soles[foot].middle);
            let Some(plate) = self.middles.iter().position(|m| on(m, &under)) else {
                continue;
            };
            let arm = center - self.middles[plate];
            borne[plate].0 += force;
            borne[plate].1 += arm.cross(&force) + Vector3::y() * free;
        }
        borne
    }

    fn is_near(&self, stance: &Stance, handed: Handed) -> bool {
        let feet = stance.feet.iter();
        let mut places = feet.map(|f| handed.mirror_point(Point3::new(f.x, 0.0, f.z)));
        places.any(|p| self.middles.iter().any(|m| (p - m).norm() < 1.0))
    }

    fn read(&mut self, t: f64, borne: [(Vector3<f64>, Vector3<f64>); 2]) -> [[f64; 6]; 2] {
        let usual = PlateParams::USUAL;
        [0, 1].map(|plate| {
            let (force, moment) = borne[plate];
            let mut channels = in_channels(force, moment);
            let wander = usual.drift_n * (TAU * t / WANDER_S + self.phases[plate]).sin();
            for (channel, value) in channels.iter_mut().enumerate() {
                let size = if channel < 3 { 1.0 } else { MOMENT_M };
                let noise = usual.noise_n * self.source.normal();
                *value += self.offsets[plate][channel] + size * (wander + noise);
            }
            channels
        })
    }
}

/// Whether a foot whose middle is there stands on the plate.
fn on(plate: &Point3<f64>, foot: &Point3<f64>) -> bool {
    let off = foot - plate;
    // A foot over the narrow space between two plates stands on them, not on the floor.
    off.x.abs() <= HALF_M[0] + 0.5 * GAP_M && off.z.abs() <= HALF_M[1]
}

/// The weight of who does not move, or not much.
fn at_rest(figure: &Figure, stance: &Stance, share: f64) -> Wrench {
    let bodies = figure.placed(stance);
    let kg: f64 = bodies.iter().map(|b| b.mass).sum();
    let sum: Vector3<f64> = bodies.iter().map(|b| b.center.coords * b.mass).sum();
    let center = sum / kg;
    let [lead, trail] = figure.soles(stance).map(|s| s.middle);
    let line = lead - trail;
    let along = (Point3::from(center) - trail).dot(&line) / line.norm_squared();
    let within = trail + line * along.clamp(WITHIN, 1.0 - WITHIN);
    // Feet are never one above the other; if they were, no side would be across.
    let across = Vector3::y()
        .cross(&line)
        .try_normalize(1e-9)
        .unwrap_or_default();
    let beside = (Point3::from(center) - within).dot(&across);
    let under = within + across * beside.clamp(-BESIDE_M, BESIDE_M);
    let force = Vector3::y() * (share * kg * G);
    Wrench {
        force,
        moment: under.coords.cross(&force),
    }
}
