//! The sync tap: a marked object strikes a plate, markers and plate tell when, and the difference is how
//! late the plate is. One-way datagrams never show it, and cables and filters add their own.
//!
//! Both sides are read by the same mechanics: whatever a blow's shape, the lines of the movement before
//! and after it meet at the center in time of the force that turned one into the other. So the meeting
//! of two fitted lines is held against the center in time of the plate's pulse, which a zero-phase
//! low-pass does not move. Needs no size of object, force or plate.

use std::collections::VecDeque;

use nalgebra::{Point3, SMatrix, SVector};

use super::window::{GroundWindow, PlateWindow};
use crate::signal::order::median;

/// A tap comes down with this speed at least and 6 m/s at most, m/s: slower is laying down, faster a swing.
const DOWN_MPS: std::ops::RangeInclusive<f64> = 0.15..=6.0;
/// The blow takes away at least this share of it.
const TAKEN: f64 = 0.7;
/// Movement before and after that is fitted, seconds from the lowest frame, and what is left out around it.
const SIDE_S: f64 = 0.035;
const BLOW_S: f64 = 0.008;
/// Frames on each side at least.
const FRAMES_MIN: usize = 4;
/// The plate's pulse is looked for this far around, seconds: more than streams differ by.
const REACH_S: f64 = 0.12;
/// Its size behind the low-pass at least, N, and its half width that is weighed, seconds.
const PULSE_N: f64 = 8.0;
const HALF_S: f64 = 0.025;
/// The quiet before it that is the plate's level, seconds before its peak.
const LEVEL_S: std::ops::Range<f64> = 0.06..0.12;
/// What is kept of the movement, nanoseconds.
const KEPT_NS: i64 = 1_500_000_000;
/// How long a look waits for the plates' samples, nanoseconds.
pub const WAIT_NS: i64 = 700_000_000;
/// Two taps lie at least this far apart, nanoseconds.
const APART_NS: i64 = 250_000_000;

/// One tap as both sides saw it.
#[derive(Debug, Clone, PartialEq)]
pub struct Tap {
    /// When the markers say it was, device time in nanoseconds.
    pub time_ns: i64,
    /// The plate's name.
    pub plate: String,
    /// Place of the plate in the window.
    pub index: usize,
    /// How much later the plate says it was, seconds.
    pub late_s: f64,
}

/// Watches the path of a marked object for blows.
#[derive(Debug, Default)]
pub struct Watch {
    path: VecDeque<(i64, Point3<f64>)>,
    last_ns: Option<i64>,
}

impl Watch {
    /// Takes the object's next place (its lowest marker will do); a time that the plates' samples have
    /// reached is returned when a blow was seen there, device time in nanoseconds.
    pub fn push(&mut self, time_ns: i64, place: Point3<f64>) -> Option<i64> {
        if self.path.back().is_some_and(|(t, _)| time_ns <= *t) {
            self.path.clear();
        }
        self.path.push_back((time_ns, place));
        while self
            .path
            .front()
            .is_some_and(|(t, _)| time_ns - t > KEPT_NS)
        {
            self.path.pop_front();
        }
        let about = time_ns - WAIT_NS;
        let at = self
            .path
            .partition_point(|(t, _)| *t <= about)
            .checked_sub(1)?;
        let fresh = self.last_ns.is_none_or(|last| about - last > APART_NS);
        let lowest = self.is_lowest(at);
        let found = (fresh && lowest).then(|| self.blow(at)).flatten()?;
        self.last_ns = Some(found);
        Some(found)
    }

    /// Whether no place within reach of a blow is lower.
    fn is_lowest(&self, at: usize) -> bool {
        let (time, place) = self.path[at];
        let near = |t: i64| ((t - time) as f64 * 1e-9).abs() <= SIDE_S;
        self.path
            .iter()
            .filter(|(t, _)| near(*t))
            .all(|(_, p)| p.y >= place.y)
    }

    /// The meeting of the movement before and after the lowest place, where it is that of a blow.
    fn blow(&self, at: usize) -> Option<i64> {
        let time = self.path[at].0;
        let near = self.path.iter();
        let near = near.map(|(t, p)| ((t - time) as f64 * 1e-9, p.y));
        let near: Vec<(f64, f64)> = near
            .filter(|(t, _)| (BLOW_S..=SIDE_S).contains(&t.abs()))
            .collect();
        let after = near.iter().filter(|(t, _)| *t > 0.0).count();
        if after < FRAMES_MIN || near.len() - after < FRAMES_MIN {
            return None;
        }
        let [low, down, high, up, _] = two_lines(&near)?;
        let struck = DOWN_MPS.contains(&-down) && up - down > TAKEN * -down;
        let meeting_s = (high - low) / (down - up);
        (struck && meeting_s.abs() < SIDE_S).then_some(time + (meeting_s * 1e9).round() as i64)
    }
}

/// Least squares: height and slope at 0 before 0, the same after it, and a bend that both share (the
/// hand goes on pushing through the blow).
fn two_lines(samples: &[(f64, f64)]) -> Option<[f64; 5]> {
    let (mut normal, mut right) = (SMatrix::<f64, 5, 5>::zeros(), SVector::<f64, 5>::zeros());
    for &(t, y) in samples {
        let mut row = SVector::<f64, 5>::zeros();
        let side = if t < 0.0 { 0 } else { 2 };
        (row[side], row[side + 1], row[4]) = (1.0, t, t * t);
        normal += row * row.transpose();
        right += row * y;
    }
    let found = normal.cholesky()?.solve(&right);
    Some(found.into())
}

/// The plate that a blow at this device time of the markers was on, and how late it is; `None` where no
/// plate tells of one.
#[must_use]
pub fn on_plates(time_ns: i64, ground: &GroundWindow) -> Option<Tap> {
    let pulses = ground.plates.iter().enumerate();
    let pulses = pulses.filter_map(|(index, plate)| {
        let (size, late_s) = pulse(plate, time_ns)?;
        Some((size, index, late_s))
    });
    let (_, index, late_s) = pulses.max_by(|a, b| a.0.total_cmp(&b.0))?;
    Some(Tap {
        time_ns,
        plate: ground.plates[index].name.clone(),
        index,
        late_s,
    })
}

/// Size of a plate's pulse near a time, N, and how much later its center is, seconds.
fn pulse(plate: &PlateWindow, time_ns: i64) -> Option<(f64, f64)> {
    let series = plate.series.as_ref().ok()?;
    let samples = series.time_ns.iter().zip(&series.wrenches);
    let up: Vec<(f64, f64)> = samples
        .filter_map(|(t, w)| Some(((t - time_ns) as f64 * 1e-9, (*w)?.force.y)))
        .collect();
    let near = up.iter().filter(|(t, _)| t.abs() <= REACH_S);
    let &(peak_s, peak) = near.max_by(|a, b| a.1.total_cmp(&b.1))?;
    let before: Vec<f64> = up
        .iter()
        .filter(|(t, _)| LEVEL_S.contains(&(peak_s - t)))
        .map(|(_, f)| *f)
        .collect();
    let level = before.iter().sum::<f64>() / before.len().max(1) as f64;
    if before.len() < FRAMES_MIN || peak - level < PULSE_N {
        return None;
    }
    let above = up
        .iter()
        .filter(|(t, _)| (t - peak_s).abs() <= HALF_S)
        .map(|(t, f)| (*t, f - level));
    let (sum, moment) = above.fold((0.0, 0.0), |(s, m), (t, f)| (s + f, m + f * t));
    Some((peak - level, moment / sum))
}

/// What several taps say together.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Verdict {
    /// Median of how late the plates are, seconds.
    pub late_s: f64,
    /// Its standard uncertainty, seconds: from the scatter of the taps (median of the distances, ÷ √n).
    pub uncertainty_s: f64,
    /// Taps.
    pub taps: usize,
}

/// Taps that a verdict needs.
pub const TAPS_MIN: usize = 3;

/// The taps together; `None` for fewer than three.
#[must_use]
pub fn verdict(taps: &[Tap]) -> Option<Verdict> {
    if taps.len() < TAPS_MIN {
        return None;
    }
    let late_s = median(&mut taps.iter().map(|t| t.late_s).collect::<Vec<_>>())?;
    let off = median(
        &mut taps
            .iter()
            .map(|t| (t.late_s - late_s).abs())
            .collect::<Vec<_>>(),
    )?;
    Some(Verdict {
        late_s,
        // 1.4826: a normal distribution's standard deviation ÷ its median distance (mathematics).
        uncertainty_s: 1.4826 * off / (taps.len() as f64).sqrt(),
        taps: taps.len(),
    })
}

#[cfg(test)]
mod tests;
