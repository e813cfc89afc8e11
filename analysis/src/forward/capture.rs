//! The synthetic capture: samples the motion, shakes skin, adds noise and drop-outs, mirrors.
//!
//! Disturbances are made before the mirror, so that a left-handed take is the exact image of the
//! right-handed one. Truth is never touched here.

use super::momentum::Dynamics;
use super::noise::{Bursts, Colored, Purpose, Source};
use super::plates::{self, PlateParams, PlateTake};
use super::skin::MARKERS;
use super::truth::Truth;
use super::{GolferParams, plan};
use crate::handed::Handed;
use crate::landmark::Landmark;
use nalgebra::{Point3, Vector3};

/// The capture system.
#[derive(Debug, Clone)]
pub struct CaptureParams {
    /// Frames per second.
    pub rate_hz: f64,
    /// Standard deviation of the noise per coordinate, m: part white, part wandering.
    pub noise_m: f64,
    /// Share of the marker samples that are missing, in bursts; 0 to 0.9.
    pub dropout: f64,
    /// Whether skin markers swing behind the bone when it is accelerated.
    pub wobble: bool,
    /// Force plates under the feet, if there are any.
    pub plates: Option<PlateParams>,
}

/// One synthetic take.
#[derive(Debug, Clone)]
pub struct Take {
    /// What each position of a frame is.
    pub landmarks: Vec<Landmark>,
    /// Frames per second.
    pub rate_hz: f64,
    /// Positions in the bay frame, m; the first frame is at 0 s.
    pub frames: Vec<Vec<Option<Point3<f64>>>>,
    /// What the force plates say, where there are any.
    pub plates: Option<PlateTake>,
    /// What really happened.
    pub truth: Truth,
}

/// Swings once, from quiet address through the finish and back to address.
///
/// The same parameters give the same bytes. The first and the last frame, noise apart, are the
/// same posture.
#[must_use]
pub fn swing(params: &GolferParams, capture: &CaptureParams) -> Take {
    let (motion, masses) = plan::motion(params);
    let bones = |t: f64| motion.pose(t).markers.to_vec();
    let frames = captured(
        (&bones, motion.times.end),
        &MARKERS,
        (params.handed, capture),
        &mut Source::new(params.seed, Purpose::Capture(params.shot)),
    );
    let plates = capture.plates.as_ref().map(|plates| {
        let mut source = Source::new(params.seed, Purpose::Plates(params.shot));
        let dynamics = Dynamics::new(&motion, masses.clone());
        let span = (capture.rate_hz, frames.len());
        plates::sampled(&dynamics, params.handed, plates, span, &mut source)
    });
    Take {
        landmarks: MARKERS.to_vec(),
        rate_hz: capture.rate_hz,
        frames,
        plates,
        truth: Truth::of(params, &motion, masses),
    }
}

pub(super) type Frame = Vec<Option<Point3<f64>>>;

/// What a capture system sees of points on bones: function of time and its end, s.
pub(super) fn captured(
    (bones, end): (&dyn Fn(f64) -> Vec<Point3<f64>>, f64),
    landmarks: &[Landmark],
    (handed, capture): (Handed, &CaptureParams),
    source: &mut Source,
) -> Vec<Frame> {
    let times = (0_u32..)
        .map(|i| f64::from(i) / capture.rate_hz)
        .take_while(|&t| t <= end);
    let mut frames = if capture.wobble {
        wobbling(bones, times, landmarks, 1.0 / capture.rate_hz)
    } else {
        times
            .map(|t| bones(t).into_iter().map(Some).collect())
            .collect()
    };
    disturb(&mut frames, landmarks.len(), capture, source);
    if handed == Handed::Left {
        for frame in &mut frames {
            *frame = mirrored(frame, landmarks);
        }
    }
    frames
}

/// Soft tissue as a damped spring between bone and marker: its natural frequency and damping
/// ratio are invented, of the size seen in running (5–20 Hz).
const SKIN_HZ: f64 = 11.0;
const SKIN_DAMPING: f64 = 0.35;

/// Steps per second within which the springs are integrated at least.
pub(super) const SPRING_RATE_HZ: f64 = 2000.0;

fn wobbling(
    bones: &dyn Fn(f64) -> Vec<Point3<f64>>,
    times: impl Iterator<Item = f64>,
    landmarks: &[Landmark],
    frame_s: f64,
) -> Vec<Frame> {
    let steps = (SPRING_RATE_HZ * frame_s).ceil().max(1.0);
    let dt = frame_s / steps;
    let mut springs = vec![Spring::default(); landmarks.len()];
    let mut bone = bones(0.0);
    let mut frames = Vec::new();
    let mut step = 0.0_f64;
    for t in times {
        while step < t / dt - 0.5 {
            step += 1.0;
            let next = bones(step * dt);
            for (spring, (from, to)) in springs.iter_mut().zip(bone.iter().zip(&next)) {
                spring.advance((to - from) / dt, dt);
            }
            bone = next;
        }
        frames.push(
            bone.iter()
                .zip(landmarks)
                .zip(&springs)
                .map(|((p, m), s)| Some(s.marker(*p, *m)))
                .collect(),
        );
    }
    frames
}

/// Displacement of a marker from its bone, its velocity, and the bone's velocity before.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Spring {
    displacement: Vector3<f64>,
    velocity: Vector3<f64>,
    pub(super) bone_velocity: Vector3<f64>,
}

impl Spring {
    pub(super) fn advance(&mut self, bone_velocity: Vector3<f64>, dt: f64) {
        let w = std::f64::consts::TAU * SKIN_HZ;
        let push = -(bone_velocity - self.bone_velocity) / dt;
        self.bone_velocity = bone_velocity;
        self.velocity +=
            (push - self.displacement * (w * w) - self.velocity * (2.0 * SKIN_DAMPING * w)) * dt;
        self.displacement += self.velocity * dt;
    }

    pub(super) fn marker(&self, bone: Point3<f64>, landmark: Landmark) -> Point3<f64> {
        if landmark.is_club() {
            bone
        } else {
            bone + self.displacement
        }
    }
}

fn disturb(frames: &mut [Frame], markers: usize, capture: &CaptureParams, source: &mut Source) {
    let dt = 1.0 / capture.rate_hz;
    for marker in 0..markers {
        let mut noise: [Colored; 3] = std::array::from_fn(|_| Colored::new(source, dt));
        let mut bursts = Bursts::new(source, dt, capture.dropout);
        for sample in frames.iter_mut().filter_map(|frame| frame.get_mut(marker)) {
            let shake = Vector3::from_fn(|axis, _| capture.noise_m * noise[axis].next(source));
            *sample = sample.map(|p| p + shake);
            if bursts.next(source) {
                *sample = None;
            }
        }
    }
}

/// The frame of the mirror image: left and right change places.
pub(super) fn mirrored(frame: &Frame, landmarks: &[Landmark]) -> Frame {
    landmarks
        .iter()
        .map(|&landmark| {
            let twin = other_side(landmark);
            let index = landmarks.iter().position(|&m| m == twin)?;
            frame[index].map(|p| Handed::Left.mirror_point(p))
        })
        .collect()
}

/// The landmark's counterpart on the other side; itself on the midline and on the club.
pub(super) fn other_side(landmark: Landmark) -> Landmark {
    let name = landmark.name();
    let swapped = if name.contains("left") {
        name.replace("left", "right")
    } else {
        name.replace("right", "left")
    };
    Landmark::from_name(&swapped).unwrap_or(landmark)
}
