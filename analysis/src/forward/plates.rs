//! The synthetic force plates: one under each foot, with noise, a clock of their own and faults.
//!
//! Channels as the C3D standard has them for plates of type 2: forces on the golfer and moments about
//! the sensor's origin, in plate axes with z down. What the ground gives is decided in `ground`.

use super::curve::ease;
use super::ground::{Reaction, soles};
use super::momentum::Dynamics;
use super::noise::Source;
use crate::handed::Handed;
use nalgebra::{Point3, Vector3};

/// The clock of the plates against that of the cameras.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct PlateClock {
    /// What it shows at the first frame, s.
    pub offset_s: f64,
    /// How much it runs fast, parts per million.
    pub drift_ppm: f64,
}

impl PlateClock {
    /// What it shows at a time since the first frame, s.
    #[must_use]
    pub fn shows(&self, t: f64) -> f64 {
        self.offset_s + t * (1.0 + 1e-6 * self.drift_ppm)
    }
}

/// Something wrong with the plates; plate 0 is the trail foot's, 1 the lead foot's.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum PlateFault {
    /// A channel (0–5: Fx Fy Fz Mx My Mz) of a plate has the wrong sign.
    Reversed {
        /// Which plate.
        plate: usize,
        /// Which channel.
        channel: usize,
    },
    /// Each plate's cables are plugged where the other's belong.
    Swapped,
    /// A plate's samples come late, s.
    Late {
        /// Which plate.
        plate: usize,
        /// By how much, s.
        by_s: f64,
    },
    /// A plate's amplifier is set wrong: every channel times this factor.
    Gain {
        /// Which plate.
        plate: usize,
        /// The factor.
        factor: f64,
    },
    /// The golfer stood on the plates all the time: their offset was never seen.
    NeverEmpty,
}

/// The force plates.
#[derive(Debug, Clone, PartialEq)]
pub struct PlateParams {
    /// Samples a second wanted; there are as many as make a whole number a frame.
    pub rate_hz: f64,
    /// Size of each channel's constant offset, N (moments: times 0.02 m).
    pub offset_n: f64,
    /// Standard deviation of the white noise, N (moments: times 0.02 m).
    pub noise_n: f64,
    /// How far each offset wanders within the take, N (moments: times 0.02 m).
    pub drift_n: f64,
    /// Nobody is on the plates for this long, s: an artifice, because the golfer of the frames
    /// stands there from the first one on; but plates have to be seen empty once.
    pub empty_s: f64,
    /// Their clock.
    pub clock: PlateClock,
    /// What is wrong with them.
    pub fault: Option<PlateFault>,
}

impl PlateParams {
    /// Good plates that share the cameras' clock (offset and noise: common practice, no source).
    pub const USUAL: Self = Self {
        rate_hz: 1000.0,
        offset_n: 6.0,
        noise_n: 1.0,
        drift_n: 0.5,
        empty_s: 0.7,
        clock: PlateClock {
            offset_s: 0.0,
            drift_ppm: 0.0,
        },
        fault: None,
    };
}

/// What two plates say.
#[derive(Debug, Clone, PartialEq)]
pub struct PlateTake {
    /// Samples a second, a whole number a frame; the first sample is at the first frame.
    pub rate_hz: f64,
    /// Their clock.
    pub clock: PlateClock,
    /// The trail foot's, the lead foot's.
    pub plates: [PlateView; 2],
}

/// One plate and its samples.
#[derive(Debug, Clone, PartialEq)]
pub struct PlateView {
    /// Corners of the top surface in the bay, in the plate's quadrants (+x,+y), (−x,+y), (−x,−y),
    /// (+x,−y), m.
    pub corners: [Point3<f64>; 4],
    /// From the sensor's origin to the middle of the surface, plate axes, m.
    pub origin: Vector3<f64>,
    /// Fx Fy Fz (N), Mx My Mz about the sensor's origin (N·m): of the ground on the golfer.
    pub samples: Vec<[f64; 6]>,
}

/// Depth of the sensors, and the largest half lengths of a plate, m.
pub(super) const DEPTH_M: f64 = 0.040;
const HALF_M: f64 = 0.30;

/// Space between the plates, m.
pub(super) const GAP_M: f64 = 0.010;

/// Time in which the weight comes on the plates, s.
const STEP_ON_S: f64 = 0.1;

/// Moment noise ÷ force noise, m.
pub(super) const MOMENT_M: f64 = 0.02;

/// Samples the plates under a golfer for a number of frames.
pub(super) fn sampled(
    dynamics: &Dynamics,
    handed: Handed,
    params: &PlateParams,
    (frames_hz, frames): (f64, usize),
    source: &mut Source,
) -> PlateTake {
    let a_frame = (params.rate_hz / frames_hz).round().max(1.0);
    let rate_hz = frames_hz * a_frame;
    let feet = soles(&dynamics.motion, 0.0).map(|s| s.middle);
    // Trail, then lead.
    let middles = [feet[1], feet[0]];
    let half = (0.5 * (feet[0].x - feet[1].x - GAP_M)).min(HALF_M);
    let count = frames as f64 * a_frame;
    let times = (0_u32..)
        .map(f64::from)
        .take_while(|&n| n < count)
        .map(|n| n / rate_hz);
    let late = |plate: usize| match params.fault {
        Some(PlateFault::Late { plate: p, by_s }) if p == plate => by_s,
        _ => 0.0,
    };
    let mut samples = [Vec::new(), Vec::new()];
    for t in times {
        let now = dynamics.reaction(t);
        for (plate, samples) in samples.iter_mut().enumerate() {
            let by = late(plate);
            let reaction = if by > 0.0 {
                dynamics.reaction(t - by)
            } else {
                now
            };
            let on = weight_on(params, t - by);
            let about = middles[plate];
            samples.push(channels(&reaction, 1 - plate, &about, handed).map(|v| v * on));
        }
    }
    for (plate, samples) in samples.iter_mut().enumerate() {
        disturb(samples, plate, params, source);
    }
    if params.fault == Some(PlateFault::Swapped) {
        samples.swap(0, 1);
    }
    let [trail, lead] = samples;
    let view = |middle: Point3<f64>, samples| PlateView {
        corners: corners(handed.mirror_point(middle), half),
        origin: Vector3::new(0.0, 0.0, -DEPTH_M),
        samples,
    };
    PlateTake {
        rate_hz,
        clock: params.clock,
        plates: [view(middles[0], trail), view(middles[1], lead)],
    }
}

/// The plate's x is the bay's, its y points from golfer to ball of a right-handed one, z down.
fn corners(middle: Point3<f64>, half: f64) -> [Point3<f64>; 4] {
    [(1.0, 1.0), (-1.0, 1.0), (-1.0, -1.0), (1.0, -1.0)]
        .map(|(x, y)| middle + Vector3::new(x * half, 0.0, y * HALF_M))
}

fn weight_on(params: &PlateParams, t: f64) -> f64 {
    if params.fault == Some(PlateFault::NeverEmpty) {
        1.0
    } else {
        ease((t - params.empty_s) / STEP_ON_S)
    }
}

/// The six channels of a foot (0 lead, 1 trail) on a plate about whose middle they are taken.
fn channels(reaction: &Reaction, foot: usize, about: &Point3<f64>, handed: Handed) -> [f64; 6] {
    let force = reaction.force[foot];
    let arm = reaction.center[foot] - about;
    let moment = arm.cross(&force) + Vector3::y() * reaction.free[foot];
    // A mirrored moment turns the other way round.
    let (force, moment) = match handed {
        Handed::Right => (force, moment),
        Handed::Left => (handed.mirror_vector(force), -handed.mirror_vector(moment)),
    };
    in_channels(force, moment)
}

/// Force and moment about the middle of a plate's surface, bay, as the channels of its sensor.
pub(super) fn in_channels(force: Vector3<f64>, moment: Vector3<f64>) -> [f64; 6] {
    let in_plate = |v: Vector3<f64>| Vector3::new(v.x, v.z, -v.y);
    let (force, moment) = (in_plate(force), in_plate(moment));
    let moment = moment + Vector3::new(0.0, 0.0, -DEPTH_M).cross(&force);
    [force.x, force.y, force.z, moment.x, moment.y, moment.z]
}

fn disturb(samples: &mut [[f64; 6]], plate: usize, params: &PlateParams, source: &mut Source) {
    let factor = match params.fault {
        Some(PlateFault::Gain { plate: p, factor }) if p == plate => factor,
        _ => 1.0,
    };
    let count = samples.iter().map(|_| 1.0).sum::<f64>();
    for channel in 0..6 {
        let size = if channel < 3 { 1.0 } else { MOMENT_M };
        let offset = params.offset_n * size * source.between(-1.0, 1.0);
        let drift = params.drift_n * size * source.between(-1.0, 1.0);
        let sign = match params.fault {
            Some(PlateFault::Reversed {
                plate: p,
                channel: c,
            }) if (p, c) == (plate, channel) => -1.0,
            _ => 1.0,
        };
        let mut gone = 0.0;
        for sample in samples.iter_mut() {
            let noise = params.noise_n * size * source.normal();
            let read = factor * sample[channel] + offset + drift * gone / count + noise;
            sample[channel] = sign * read;
            gone += 1.0;
        }
    }
}
