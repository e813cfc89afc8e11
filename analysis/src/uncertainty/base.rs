//! The motion of a take without its noise: what the draws disturb.
//!
//! The body is the smoothed body of the measurement. The club is cut at impact and each side smoothed
//! by local polynomials, so that the collision stays as sharp as it was.

use std::ops::Range;
use std::sync::Arc;

use nalgebra::Point3;

use super::{Draw, plates};
use crate::body::cluster;
use crate::ground::window::GroundWindow;
use crate::measure::{self, Again, Prepared};
use crate::signal::gaps;
use crate::signal::local_fit;
use crate::signal::lowpass::DualPass;
use crate::signal::noise::NoiseModel;
use crate::signal::reading::{Reading, Unresolved};
use crate::swing::event::Event;
use crate::swing::phases::{COARSE_HZ, TOP_HZ};
use crate::swing::series;
use crate::window::{Track, Window, crop};

/// Half the span of the club's local polynomials, seconds, at least so many frames, and their degree:
/// a club head's circle leaves less than a tenth of a millimetre.
const CLUB_HALF_S: f64 = 0.017;
const CLUB_HALF_FRAMES: usize = 4;
const CLUB_DEGREE: usize = 4;
/// Stretch over which the smoothing for the takeaway goes over to that for the top, seconds.
const CHANGE_S: f64 = 0.05;
/// Stretch after impact that a draw needs, seconds: the shaft level going through, and the filters'
/// ends.
const AFTER_S: f64 = 0.45;

/// What the draws of one swing start from.
#[derive(Debug, Clone)]
pub struct Base {
    /// The measurement that is refined, for what does not change between draws.
    pub(super) old: Prepared,
    /// The motion without noise, golfer frame, as long as draws need it.
    pub(super) window: Window,
    /// Slots in which each marker was really seen and believed.
    pub(super) seen: Vec<Vec<bool>>,
    /// Whether any marker that was not is known all the same: bridged or rebuilt.
    pub(super) holes: bool,
    /// The plates without their noise, golfer frame, as long as draws need them.
    pub(super) plates: Option<Arc<GroundWindow>>,
    /// Noise per coordinate.
    pub(super) noise: NoiseModel,
    /// What the motion's values are when it is read sharply: the truth of the draws.
    pub(super) truth: Option<Draw>,
}

impl Base {
    /// Takes the noise out of a measured swing and looks at it.
    ///
    /// # Errors
    /// Says in words why nothing can be told of the noise.
    pub fn new(prepared: &Prepared) -> Result<Self, &'static str> {
        if prepared.seen.len() != prepared.window.tracks.len() {
            return Err("which markers were really seen is not known");
        }
        let noise = noise(prepared).ok_or(
            "no three markers on one stiff part were seen long enough to show their noise",
        )?;
        let mut old = prepared.clone();
        let mut window = prepared.window.clone();
        let club = ClubBase::new(prepared);
        for (landmark, track) in window.landmarks.iter().zip(&mut window.tracks) {
            if landmark.is_club() {
                club.smooth(track);
            } else if let Some(smoothed) = prepared.body.track(*landmark) {
                let smoothed: Vec<_> = smoothed.points.iter().map(|p| p.coords).collect();
                let smoothed = prepared.body.grid.spread(&smoothed, track.len());
                for (point, smooth) in track.iter_mut().zip(smoothed) {
                    *point = point.map(|_| Point3::from(smooth));
                }
            }
        }
        let end = (prepared.swing.impact.before + window.slots(AFTER_S)).min(window.len());
        window.keep(0..end);
        let mut seen = std::mem::take(&mut old.seen);
        seen.iter_mut().for_each(|s| crop(s, 0..end));
        let holes = window
            .tracks
            .iter()
            .zip(&seen)
            .any(|(t, s)| t.iter().zip(s).any(|(p, s)| p.is_some() && !s));
        old.window.tracks.clear();
        let plates = plates::needed(prepared).map(Arc::new);
        // What is not asked again takes no room in the queue.
        old.ground = None;
        let how = Again {
            ground: plates.clone(),
            calibration: old.calibration.clone(),
            filled: None,
            reading: Reading::Sharp,
            unresolved: Unresolved::default(),
        };
        let truth = measure::remeasure(&old, window.clone(), how);
        let truth = truth.ok().map(|t| Draw::of(&t));
        Ok(Self {
            old,
            window,
            seen,
            holes,
            plates,
            noise,
            truth,
        })
    }

    /// Values and event times of the motion itself, which the draws scatter about; `None` where it
    /// could not be read.
    #[must_use]
    pub fn truth(&self) -> Option<&Draw> {
        self.truth.as_ref()
    }

    /// Noise of this take, per coordinate.
    #[must_use]
    pub fn noise(&self) -> NoiseModel {
        self.noise
    }
}

/// Noise of what was really seen.
fn noise(prepared: &Prepared) -> Option<NoiseModel> {
    let mut raw = prepared.window.clone();
    for (track, seen) in raw.tracks.iter_mut().zip(&prepared.seen) {
        for (point, seen) in track.iter_mut().zip(seen) {
            *point = point.filter(|_| *seen);
        }
    }
    cluster::noise::estimate(&raw)
}

/// How the club is smoothed: as takeaway and top see it up to the early downswing, so that a draw
/// shows what their filters do, and by local polynomials near impact.
struct ClubBase {
    start: DualPass,
    top: DualPass,
    pad: usize,
    half: usize,
    /// Stretches over which the club moves smoothly; the second may be empty.
    sides: [Range<usize>; 2],
    /// Slots between which each smoothing goes over to the next.
    changes: [(f64, f64); 2],
}

impl ClubBase {
    fn new(prepared: &Prepared) -> Self {
        let (window, swing) = (&prepared.window, &prepared.swing);
        let (cut, len) = (swing.impact.before + 1, window.len());
        let down = swing.impact.slot - swing.top;
        let moving = swing.slots.get(Event::TakeawayEnd).unwrap_or(swing.top);
        Self {
            start: DualPass::butterworth(window.rate_hz, COARSE_HZ),
            top: DualPass::butterworth(window.rate_hz, TOP_HZ),
            pad: (window.rate_hz * 0.25) as usize,
            half: window.slots(CLUB_HALF_S).max(CLUB_HALF_FRAMES),
            sides: if swing.impact.cut {
                [0..cut.min(len), cut.min(len)..len]
            } else {
                [0..len, len..len]
            },
            changes: [
                (moving, moving + window.slots(CHANGE_S) as f64),
                (swing.top + 0.2 * down, swing.top + 0.5 * down),
            ],
        }
    }

    fn smooth(&self, track: &mut Track) {
        let Some(raw) = gaps::solid(track) else {
            return;
        };
        let [start, top] = [&self.start, &self.top].map(|f| series::smooth(&raw, f, self.pad));
        for side in &self.sides {
            smooth(&mut track[side.clone()], self.half);
        }
        for (i, point) in track.iter_mut().enumerate() {
            let [later, local] = self
                .changes
                .map(|(from, to)| ((i as f64 - from) / (to - from).max(1.0)).clamp(0.0, 1.0));
            let slow = start[i] + (top[i] - start[i]) * later;
            *point = point.map(|p| slow + (p - slow) * local);
        }
    }
}

/// Each known point replaced by the polynomial through its known neighbors; left where there are too
/// few.
fn smooth(track: &mut [Option<Point3<f64>>], half: usize) {
    let raw: Track = track.to_vec();
    for (i, point) in track.iter_mut().enumerate().filter(|(_, p)| p.is_some()) {
        // At an end the whole span lies on one side.
        let from = i
            .saturating_sub(half)
            .min(raw.len().saturating_sub(2 * half + 1));
        let to = (from + 2 * half + 1).min(raw.len());
        let fit = |axis: usize| {
            let known = (from..to).filter_map(|k| Some((k as f64, raw[k]?[axis])));
            let samples: Vec<(f64, f64)> = known.collect();
            (samples.len() > CLUB_DEGREE + 2)
                .then(|| local_fit::polynomial(&samples, CLUB_DEGREE, i as f64))?
                .map(|c| c[0])
        };
        if let (Some(x), Some(y), Some(z)) = (fit(0), fit(1), fit(2)) {
            *point = Some(Point3::new(x, y, z));
        }
    }
}
