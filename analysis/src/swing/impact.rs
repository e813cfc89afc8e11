//! The instant of impact and the club head's motion right before it.
//!
//! The path is split at the collision before anything is fitted (REFERENCES A3: filtering through
//! a collision reads club speed 12–22 % low). Lengths along the path are corrected from chord to
//! arc, so that a low frame rate does not read slow.

use nalgebra::{Point3, Vector3};

use super::found::{Followed, Paths};
use crate::signal::reading::Unresolved;
use crate::signal::{local_fit, turning};

/// How the instant of impact was found.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Method {
    /// The head loses speed within a frame: the two paths are extended to their meeting point.
    SpeedStep,
    /// The face's reference point reaches the ball's surface (the bay knows where the ball lies).
    BallPlane,
    /// The head passes the place it had at address.
    AddressPlane,
    /// A trigger noticed it (a microphone, a switch); no loss of speed shows.
    Trigger,
    /// Neither ball nor address is known: the fastest instant stands in.
    Fastest,
}

/// Impact.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Impact {
    /// Slot with its fraction.
    pub slot: f64,
    /// Last whole slot that belongs to the motion before impact.
    pub before: usize,
    /// How it was found.
    pub method: Method,
    /// Share of head speed lost in the collision; `None` when no collision shows.
    pub loss: Option<f64>,
    /// Whether the head was well seen to lose nothing where the ball would be: there was none.
    pub free: bool,
    /// Whether the path is cut here: at a collision, and also where holes keep one from being seen.
    pub cut: bool,
    /// Height of the head over its place at address, metres, where that was seen.
    pub clearance_m: Option<f64>,
    /// Difference between the speed step and the plane passed, seconds, when both were found.
    pub disagreement_s: Option<f64>,
    /// How much later than impact the nearest trigger's pulse came, seconds, when one came near.
    pub pulse_late_s: Option<f64>,
}

/// Radius of a ball, metres (Rules of Golf, equipment rules: diameter at least 42.67 mm, so the
/// ball's surface lies 21.335 mm before its centre).
pub const BALL_RADIUS_M: f64 = 0.021_335;
/// Least loss of speed that counts as a collision with a ball. A centred ball takes 20–35 %
/// (REFERENCES B7); a free swing loses under 5 % in the same frames.
const LOSS_MIN: f64 = 0.10;
/// Loss of speed below which no ball was met, and frames a second from which that can be told.
const FREE_LOSS: f64 = 0.06;
const FREE_RATE_MIN_HZ: f64 = 180.0;
/// Frames a second below which club speed near impact is not measured: a driver turns by more than
/// 25 degrees between frames.
pub const CLUB_RATE_MIN_HZ: f64 = 90.0;
/// Span of the path on each side that is fitted when a collision is looked for, seconds.
const SIDE_S: f64 = 0.015;
/// The two paths meet in the middle of the contact, which lasts 0.45–0.50 ms (REFERENCES B7);
/// impact is its beginning.
const HALF_CONTACT_S: f64 = 0.000_24;
/// How far from the plane's passing a collision may lie, seconds.
const STEP_REACH_S: f64 = 0.025;
/// How far from the passing a trigger's pulse may lie to be of this impact, seconds: sound needs 9 ms for
/// three metres, and a sender's clock is known to a few.
const PULSE_REACH_S: f64 = 0.03;
/// The same where only the hands are followed: they pass their place at address before impact.
const HANDS_REACH_S: f64 = 0.15;
/// A loss beyond this is a marker that strayed, no ball.
const LOSS_MAX: f64 = 0.55;
/// A hole in the head's path through which its height is still known, seconds: at 40 m/s on a circle of 1.6 m
/// the chord over it lies 1.3 cm inside the arc.
const SEEN_S: f64 = 0.010;
/// A collision this far above or below the head's place at address was not with the ball, metres.
pub(super) const STEP_CLEARANCE_M: f64 = 0.08;
/// A head that stands this far from the ball along the target line at address is not meant to meet it,
/// metres.
const BESIDE_M: f64 = 0.15;
/// A collision this far from the passing of the ball's place was not with the ball, seconds.
const STEP_DISAGREEMENT_S: f64 = 0.008;
/// Frames this close before the collision are not trusted to lie before it, in frames.
const AMBIGUOUS_FRAME: f64 = 0.15;
/// A known frame must lie this close to impact, in frames.
pub const CLOSE_FRAMES: f64 = 1.6;
/// Fewest frames of the path before impact that are fitted.
const FIT_FRAMES_MIN: usize = 7;

/// Finds impact near the fastest slot `pass`, at most `reach_s` seconds away; `reference` is the head's
/// place at address, where it was seen.
#[must_use]
pub fn find(
    paths: &Paths,
    (pass, reach_s): (usize, f64),
    reference: Option<Point3<f64>>,
) -> Option<Impact> {
    let plane_x = ball_x(paths, reference).map(|x| (x, Method::BallPlane));
    let plane_x = plane_x.or_else(|| reference.map(|r| (r.x, Method::AddressPlane)));
    let plane =
        plane_x.and_then(|(x, method)| Some((plane_crossing(paths, (pass, reach_s), x)?, method)));
    let center = plane.map_or(pass as f64, |p| p.0);
    let clearance = |slot: f64| {
        let height = || Some(point_at(&paths.head, slot)?.y - reference?.y);
        is_seen(paths, slot).then(height).flatten()
    };
    let low = |slot: f64| clearance(slot).is_none_or(|c| c.abs() < STEP_CLEARANCE_M);
    let believable = |s: &Step| {
        let agrees =
            plane.is_none_or(|p| (s.slot - p.0).abs() / paths.rate_hz < STEP_DISAGREEMENT_S);
        s.loss < LOSS_MAX && low(s.slot) && agrees
    };
    let step = speed_step(paths, center).filter(believable);
    let free = step.is_none() && low(center) && is_free(paths, center);
    let pulse_reach_s = match paths.of {
        Followed::Club => PULSE_REACH_S,
        Followed::Hands => HANDS_REACH_S,
    };
    let near = |slot: &f64| (slot - center).abs() / paths.rate_hz < pulse_reach_s && low(center);
    let pulses = paths.pulses.iter().copied().filter(near);
    let pulse = pulses.min_by(|a, b| (a - center).abs().total_cmp(&(b - center).abs()));
    let (slot, method) = match (&step, pulse, plane) {
        (Some(step), ..) => (step.slot, Method::SpeedStep),
        (None, Some(pulse), _) => (pulse, Method::Trigger),
        (None, None, Some(plane)) => plane,
        (None, None, None) => (pass as f64, Method::Fastest),
    };
    // Where the chord of the passing itself could not be judged, a collision may hide.
    let judged = Sides::fit(paths, slot.max(0.0) as usize, side_frames(paths.rate_hz)).is_some();
    let cut = step.is_some() || pulse.is_some() || !judged;
    Some(Impact {
        free,
        cut,
        slot,
        before: step
            .as_ref()
            .map_or_else(|| last_before(slot), |s| s.before),
        method,
        loss: step.as_ref().map(|s| s.loss),
        clearance_m: clearance(slot),
        pulse_late_s: pulse.map(|p| (p - slot) / paths.rate_hz),
        disagreement_s: step.and_then(|s| plane.map(|p| (s.slot - p.0) / paths.rate_hz)),
    })
}

/// Where the ball's surface is along the target line, unless the club was addressed beside it: a swing
/// beside the ball has a place of its own.
pub(super) fn ball_x(paths: &Paths, reference: Option<Point3<f64>>) -> Option<f64> {
    let beside = |x: &f64| reference.is_some_and(|r| (r.x - x).abs() > BESIDE_M);
    paths.ball_x.filter(|x| !beside(x))
}

/// A point's motion over the window.
#[derive(Debug, Clone, Copy)]
pub struct Motion<'a> {
    /// One point a slot, metres.
    pub points: &'a [Point3<f64>],
    /// Slots in which the point was measured.
    pub known: &'a [bool],
    /// Frames a second.
    pub rate_hz: f64,
}

/// Motion of a point right before impact, fitted on this side of the collision only.
#[derive(Debug, Clone)]
pub struct Before {
    fit: turning::Fit,
    impact_s: f64,
    /// Earliest time, relative to impact, that the fit covers, seconds.
    pub from_s: f64,
    /// Error given to the velocity, as shares of its size along it, up and to the side.
    error: [f64; 3],
}

impl Before {
    /// Fits the last `span_s` seconds (at least seven frames) before impact in a frame that turns with the
    /// point; where no collision shows, as much after it too. `None` when too few frames are known,
    /// or none close to impact.
    #[must_use]
    pub fn fit(motion: Motion<'_>, impact: &Impact, span_s: f64) -> Option<Self> {
        let frames = ((span_s * motion.rate_hz).round() as usize).max(FIT_FRAMES_MIN);
        let first = impact.before.checked_sub(frames - 1)?;
        let last = if impact.cut {
            impact.before
        } else {
            (impact.before + frames).min(motion.points.len().checked_sub(1)?)
        };
        let degree = if impact.cut { 3 } else { 5 };
        let known: Vec<usize> = (first..=last).filter(|&i| motion.known[i]).collect();
        let close = known
            .iter()
            .any(|&i| (i as f64 - impact.slot).abs() <= CLOSE_FRAMES);
        let earlier = known.iter().filter(|&&i| i <= impact.before).count();
        if !close || earlier <= degree || known.len() * 3 < (last - first + 1) * 2 {
            return None;
        }
        let samples: Vec<_> = known
            .iter()
            .map(|&i| (i as f64 / motion.rate_hz, motion.points[i].coords))
            .collect();
        let impact_s = impact.slot / motion.rate_hz;
        Some(Self {
            fit: turning::Fit::point(&samples, degree, impact_s)?,
            impact_s,
            from_s: samples[0].0 - impact_s,
            error: [0.0; 3],
        })
    }

    /// Velocity, m/s, at a time relative to impact (seconds, negative before).
    #[must_use]
    pub fn velocity(&self, relative_s: f64) -> Vector3<f64> {
        let velocity = self.fit.state(self.impact_s + relative_s).velocity;
        let [along, up, side] = self.error;
        let across = velocity.cross(&Vector3::y());
        velocity * (1.0 + along) + Vector3::y() * (velocity.norm() * up) + across * side
    }

    /// The same with an error that few frames leave (zero where none was drawn).
    #[must_use]
    pub fn unresolved(self, drawn: Unresolved) -> Self {
        let span = (-self.from_s / Unresolved::VELOCITY_SPAN_S).powi(4);
        Self {
            error: drawn
                .velocity
                .map(|e| e * Unresolved::VELOCITY_SHARE * span),
            ..self
        }
    }

    /// Speed, m/s, at such a time.
    #[must_use]
    pub fn at(&self, relative_s: f64) -> f64 {
        self.velocity(relative_s).norm()
    }
}

/// Cumulative length along a path, metres, each chord corrected to the arc it cuts.
#[must_use]
pub fn arc_lengths(path: &[Point3<f64>]) -> Vec<f64> {
    let chords: Vec<Vector3<f64>> = path.windows(2).map(|w| w[1] - w[0]).collect();
    let turn = |i: usize| {
        let (a, b) = (chords.get(i.wrapping_sub(1)), chords.get(i + 1));
        let angle = |x: &Vector3<f64>, y: &Vector3<f64>| x.angle(y);
        match (a, b) {
            (Some(a), Some(b)) => angle(a, b) * 0.5,
            (Some(a), None) => angle(a, &chords[i]),
            (None, Some(b)) => angle(&chords[i], b),
            (None, None) => 0.0,
        }
    };
    let mut total = 0.0;
    let arcs = (0..chords.len()).map(|i| {
        // Noise turns short chords anywhere; a real club turns less than half a right angle a frame.
        let half = 0.5 * turn(i).min(std::f64::consts::FRAC_PI_4);
        total += chords[i].norm() * if half > 1e-6 { half / half.sin() } else { 1.0 };
        total
    });
    std::iter::once(0.0).chain(arcs).collect()
}

/// Upward passing of the plane X = `x` that is closest to the pass.
pub(super) fn plane_crossing(paths: &Paths, (pass, reach_s): (usize, f64), x: f64) -> Option<f64> {
    let reach = (reach_s * paths.rate_hz).ceil() as usize;
    let last = paths.head.len().checked_sub(2)?;
    (pass.saturating_sub(reach)..=(pass + reach).min(last))
        .filter(|&i| paths.head[i].x <= x && paths.head[i + 1].x > x)
        .map(|i| i as f64 + (x - paths.head[i].x) / (paths.head[i + 1].x - paths.head[i].x))
        .min_by(|a, b| (a - pass as f64).abs().total_cmp(&(b - pass as f64).abs()))
}

struct Step {
    slot: f64,
    before: usize,
    loss: f64,
}

/// The path's length on both sides of one chord, fitted apart: a parabola each, in slots from the
/// chord's middle.
struct Sides {
    before: Vec<f64>,
    after: Vec<f64>,
}

impl Sides {
    /// `chord` is the piece from slot `chord` to the next.
    fn fit(paths: &Paths, chord: usize, frames: usize) -> Option<Self> {
        // Two frames more than needed: as many may be missing on each side.
        let span = frames + 2;
        let first = (chord + 1).checked_sub(span)?;
        let last = chord + span;
        if last >= paths.head.len() {
            return None;
        }
        let lengths = arc_lengths(&paths.head[first..=last]);
        let center = chord as f64 + 0.5;
        let known = |i: &usize| paths.known[*i];
        let side = |nearest_first: Vec<usize>| {
            let samples: Vec<_> = nearest_first
                .iter()
                .filter(|i| known(i))
                .take(frames)
                .map(|&i| (i as f64, lengths[i - first]))
                .collect();
            (samples.len() == frames).then(|| local_fit::polynomial(&samples, 2, center))?
        };
        let (before, after) = (
            (first..=chord).rev().collect(),
            (chord + 1..=last).collect(),
        );
        Some(Self {
            before: side(before)?,
            after: side(after)?,
        })
    }

    /// Share of speed lost between the sides, both extended to the middle of the chord.
    fn loss(&self) -> f64 {
        1.0 - self.after[1] / self.before[1].max(1e-9)
    }

    /// Where the two lengths meet, in slots from the chord's middle.
    fn meeting(&self) -> Option<f64> {
        let closing = self.before[1] - self.after[1];
        (closing > 1e-9).then(|| ((self.after[0] - self.before[0]) / closing).clamp(-1.0, 1.0))
    }
}

/// The sharpest loss of speed near `center`.
fn speed_step(paths: &Paths, center: f64) -> Option<Step> {
    // Below this rate the club turns so far between frames that nothing can be said.
    if paths.of != Followed::Club || paths.rate_hz < CLUB_RATE_MIN_HZ {
        return None;
    }
    let reach = (STEP_REACH_S * paths.rate_hz).ceil() as usize + 1;
    let frames = side_frames(paths.rate_hz);
    let middle = center.round() as usize;
    let sides = (middle.saturating_sub(reach)..=middle + reach)
        .filter_map(|i| Some((i, Sides::fit(paths, i, frames)?)));
    let (chord, sides) = sides.max_by(|a, b| a.1.loss().total_cmp(&b.1.loss()))?;
    if sides.loss() < LOSS_MIN {
        return None;
    }
    let slot = chord as f64 + 0.5 + sides.meeting()? - HALF_CONTACT_S * paths.rate_hz;
    let before = last_before(slot).clamp(chord.saturating_sub(1), chord + 1);
    Some(Step {
        slot,
        before,
        loss: sides.loss(),
    })
}

/// Whether every fit around the passing shows that no speed was lost. Few frames a second cannot tell.
fn is_free(paths: &Paths, center: f64) -> bool {
    if paths.of != Followed::Club || paths.rate_hz < FREE_RATE_MIN_HZ {
        return false;
    }
    let reach = (STEP_DISAGREEMENT_S * paths.rate_hz).ceil() as usize + 1;
    let (frames, middle) = (side_frames(paths.rate_hz), center.max(0.0) as usize);
    (middle.saturating_sub(reach)..=middle + reach)
        .all(|i| Sides::fit(paths, i, frames).is_some_and(|s| s.loss() < FREE_LOSS))
}

/// Whether the head was seen close to a slot: over a longer hole its arc is not known to a few centimetres.
fn is_seen(paths: &Paths, slot: f64) -> bool {
    let middle = slot.max(0.0) as usize;
    let known = |i: &usize| paths.known.get(*i).copied().unwrap_or(false);
    let reach = (SEEN_S * paths.rate_hz).ceil() as usize + 1;
    let below = (middle.saturating_sub(reach)..=middle).rev().find(known);
    let above = (middle + 1..=middle + 1 + reach).find(known);
    let hole = below.zip(above).map(|(a, b)| b - a);
    hole.is_some_and(|frames| frames == 1 || frames as f64 / paths.rate_hz <= SEEN_S)
}

/// The last frame that surely lies before `slot`: one too close may lie behind a collision there.
fn last_before(slot: f64) -> usize {
    (slot - AMBIGUOUS_FRAME).max(0.0) as usize
}

/// Frames on each side that are fitted when a collision is looked for.
fn side_frames(rate_hz: f64) -> usize {
    ((SIDE_S * rate_hz).round() as usize).clamp(4, 12)
}

/// A path's point at a slot with its fraction.
#[must_use]
pub fn point_at(path: &[Point3<f64>], slot: f64) -> Option<Point3<f64>> {
    let below = slot.floor().max(0.0) as usize;
    let a = path.get(below)?;
    let b = path.get(below + 1).unwrap_or(a);
    Some(a + (b - a) * (slot - below as f64))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A head on a 1.6 m circle at 45 m/s that loses a third of its speed between frames, the case
    /// of the simulation in REFERENCES A3.
    fn circle(rate_hz: f64, loss: f64, phase: f64) -> (Paths, f64) {
        let (radius, speed, hit) = (1.6, 45.0, 0.1 + phase / rate_hz);
        let head: Vec<Point3<f64>> = (0..(0.2 * rate_hz) as usize)
            .map(|i| i as f64 / rate_hz - hit)
            .map(|t| {
                if t < 0.0 {
                    speed * t + 0.5 * 300.0 * t * t
                } else {
                    speed * (1.0 - loss) * t
                }
            })
            .map(|s| {
                Point3::new(
                    radius * (s / radius).sin(),
                    radius * (1.0 - (s / radius).cos()),
                    0.0,
                )
            })
            .collect();
        let n = head.len();
        let paths = Paths {
            rate_hz,
            head,
            axis: vec![-Vector3::y(); n],
            known: vec![true; n],
            axis_known: vec![true; n],
            ball_x: Some(0.0),
            pulses: Vec::new(),
            of: Followed::Club,
            upside_down: false,
        };
        (paths, hit * rate_hz)
    }

    #[test]
    fn a_collision_is_placed_between_the_frames_and_speed_read_before_it() {
        for rate in [120.0, 240.0, 360.0, 1000.0] {
            for phase in [0.05, 0.3, 0.5, 0.77, 0.95] {
                let (paths, truth) = circle(rate, 0.336, phase);
                let impact = find(
                    &paths,
                    (truth.round() as usize, 0.08),
                    Some(Point3::origin()),
                )
                .unwrap();
                assert_eq!(impact.method, Method::SpeedStep);
                let tolerance_s = if rate < 200.0 { 0.7e-3 } else { 0.3e-3 };
                assert!(
                    (impact.slot - truth).abs() / rate < tolerance_s,
                    "{rate} {phase}: {} {truth}",
                    impact.slot
                );
                let motion = Motion {
                    points: &paths.head,
                    known: &paths.known,
                    rate_hz: rate,
                };
                let speed = Before::fit(motion, &impact, 0.030).unwrap().at(0.0);
                assert!((speed - 45.0).abs() < 0.3, "{rate} {phase}: {speed}");
            }
        }
    }

    #[test]
    fn without_a_collision_the_plane_decides() {
        let (paths, truth) = circle(240.0, 0.0, 0.4);
        let impact = find(
            &paths,
            (truth.round() as usize, 0.08),
            Some(Point3::origin()),
        )
        .unwrap();
        assert_eq!((impact.method, impact.loss), (Method::BallPlane, None));
        assert!((impact.slot - truth).abs() < 0.02);
    }

    /// The length of an arc from its chords (mathematics).
    #[test]
    fn chords_of_a_circle_add_up_to_the_arc() {
        let path: Vec<_> = (0..10)
            .map(|i| f64::from(i) * 0.3)
            .map(|a| Point3::new(a.cos(), a.sin(), 0.0))
            .collect();
        let length = arc_lengths(&path)[9];
        assert!((length - 2.7).abs() < 1e-3, "{length}");
    }
}
