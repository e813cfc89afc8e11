//! One swing in a window: from the fast pass of the club head backward to the top and the
//! takeaway, forward to the finish.
//!
//! Everything is relative to the pass that is asked about, so a window may hold other movements.
//! The exact instant of impact is `impact`'s work; body events other than the lead arm's are in
//! `metrics`. Expects the golfer frame (a left-handed golfer mirrored).

use std::ops::Range;

use nalgebra::{Point3, Vector3};

use super::event::{Event, Slots};
use super::found::{Extent, Followed, OF_THE_SHAFT, Paths, Swing};
use super::impact::{self, Impact};
use super::refusal::NotASwing;
use super::series;
use crate::signal::lowpass::DualPass;
use crate::signal::reading::Reading;

/// Slowest pass that may be a stroke, m/s: a short putt (common practice, no source); of the hands, whose
/// arms must have been level, 1.5 m/s; of hands while a trigger goes off those of a putt.
const CLUB_FLOOR_MPS: f64 = 0.7;
const HANDS_FLOOR_MPS: f64 = 1.5;
const HANDS_HEARD_FLOOR_MPS: f64 = 0.5;
/// Head speed below which a movement may take its time and must show that it passes through, m/s
/// (REFERENCES D: plausibility gate 8–65 m/s for swings).
pub const SLOW_MPS: f64 = 8.0;
/// A downswing may take longer than usual below this speed, m/s, by as much as it is slower, at most so
/// many times.
pub(super) const USUAL_MPS: f64 = 25.0;
const LONGER_MAX: f64 = 4.0;
/// The same of hands, which are fastest well before impact.
pub(super) const HANDS_USUAL_MPS: f64 = 14.0;
/// Slowest swing that may come out of another movement or out of the dark, m/s: what else the club does
/// without an address is slower.
const FLOWING_MPS: f64 = 12.0;
const UNSEEN_MPS: f64 = 8.0;
/// Slowest full swing, m/s: slow motion (common practice, no source).
const FULL_FLOOR_MPS: f64 = 2.0;
/// Head speed below which the club is still, m/s (REFERENCES D: 0.05–0.1 m/s).
const STILL_MPS: f64 = 0.1;
/// Head speed below which the follow-through is over, m/s.
const REST_MPS: f64 = 0.3;
/// Shortest stretch of stillness that counts as address, seconds (METRICS: at least 50 ms).
const QUIET_MIN_S: f64 = 0.05;
/// Longest stretch averaged for the reference posture, seconds.
const QUIET_MAX_S: f64 = 0.2;
/// Low-pass for the slow questions (top, takeaway), Hz: well above the club's motion there.
pub const COARSE_HZ: f64 = 15.0;
/// Low-pass for the instant of the top, Hz: the coarse one pulls it 0.8 ms early, more than noise
/// scatters it.
pub const TOP_HZ: f64 = 25.0;
/// How far the instant of the top may lie from where the coarse look finds it, seconds.
const TOP_REACH_S: f64 = 0.02;
/// Low-pass for the shaft's direction at level crossings, Hz.
const FINE_HZ: f64 = 40.0;
/// Farthest look back from the top for the takeaway, seconds.
const TAKEAWAY_REACH_S: f64 = 7.0;
/// A downswing's duration, seconds (REFERENCES D: 0.15–0.6, wider here for slow real swings).
const DOWNSWING_S: std::ops::RangeInclusive<f64> = 0.12..=0.9;
/// A backswing's duration, seconds (REFERENCES D: 0.4–2.0, with room for a stop at the top and slow motion).
const BACKSWING_S: std::ops::RangeInclusive<f64> = 0.3..=7.0;

/// Stretch on both sides over which the direction of a pass is read, seconds.
const DIRECTION_S: f64 = 0.06;
/// How far from the fastest instant of hands a trigger may go off for a stroke, seconds: a putt's is at the
/// ball, and hands of chips are fastest shortly before it.
const HEARD_S: f64 = 0.2;

/// Events that the head's path tells.
const OF_THE_HEAD: &[Event] = &[
    Event::Address,
    Event::TakeawayStart,
    Event::Impact,
    Event::Finish,
];

/// A look at one window.
pub(super) struct Search<'a> {
    pub(super) paths: &'a Paths,
    reading: Reading,
    /// Low-passed head.
    pub(super) head: Vec<Point3<f64>>,
    pub(super) speed: Vec<f64>,
    axis: Vec<Vector3<f64>>,
}

/// Adds the events of the lead arm: `height` is the vertical part of its direction. They need no
/// event of the club, which may be hidden.
pub fn add_arm_events(swing: &mut Swing, height: &[f64], known: &[bool]) {
    let (start, top) = (swing.quiet.end, swing.top.max(0.0) as usize + 1);
    let slots = &mut swing.slots;
    slots.set(
        Event::LeadArmLevelBack,
        series::first_rise(height, start, top),
    );
    slots.set(
        Event::LeadArmLevelDown,
        series::last_fall(height, start, swing.impact.before),
    );
    forget_hidden(
        slots,
        &[Event::LeadArmLevelBack, Event::LeadArmLevelDown],
        known,
    );
}

/// Finds the swing whose fastest pass is near slot `near`.
///
/// # Errors
/// Says why the movement is no swing.
pub fn find(paths: &Paths, near: usize, reading: Reading) -> Result<Swing, NotASwing> {
    let search = Search::new(paths, reading);
    let pass = search.fastest_near(near)?;
    let longer = match paths.of {
        Followed::Club => (USUAL_MPS / search.speed[pass]).clamp(1.0, LONGER_MAX),
        Followed::Hands => (HANDS_USUAL_MPS / search.speed[pass]).clamp(2.0, LONGER_MAX),
    };
    let (normal, turning) = turning(&search.axis, pass, search.slots(0.08));
    let top = search.top((pass, longer), (&normal, &turning))?;
    let takeaway = search.takeaway(top.0)?;
    let start = search.start(takeaway, top.1, pass)?;
    let quiet = match takeaway {
        Takeaway::Flowing(slot) => slot..slot,
        _ => search.quiet(start),
    };
    let reference = (!quiet.is_empty()).then(|| mean(&paths.head[quiet.clone()]));
    let place = search.ball_passed(pass, reference)?;
    let reach_s = search.plane_reach_s(pass);
    let impact = impact::find(paths, (pass, reach_s), reference).ok_or(NotASwing::Hidden)?;
    // The only passing of the ball's place lies before the downswing: the club came from beyond it.
    if impact.slot <= top.1 {
        return Err(NotASwing::ToAndFro);
    }
    let mut slots = Slots::default();
    let address = (!quiet.is_empty()).then_some(quiet.end as f64 - 1.0);
    slots.set(Event::Address, address);
    slots.set(
        Event::TakeawayStart,
        matches!(takeaway, Takeaway::Seen(_)).then_some(start),
    );
    slots.set(Event::Top, Some(top.1));
    slots.set(Event::Impact, Some(impact.slot));
    let full = search.level_events(&mut slots, (start, top.1), &impact);
    if full && search.speed[pass] < FULL_FLOOR_MPS && paths.of == Followed::Club {
        return Err(NotASwing::TooSlow);
    }
    if !full && let Some(place) = place {
        let heard = paths.of == Followed::Hands && impact.method == impact::Method::Trigger;
        search.strikes((pass, heard), start as usize, place)?;
    }
    search.after(&mut slots, &impact, pass);
    forget_hidden(&mut slots, OF_THE_SHAFT, &paths.axis_known);
    forget_hidden(&mut slots, OF_THE_HEAD, &paths.known);
    if impact.method == impact::Method::Trigger {
        slots.set(Event::Impact, Some(impact.slot));
    }
    let extent = match paths.of {
        Followed::Club if full => Extent::Full,
        Followed::Club => Extent::Partial,
        Followed::Hands if full => Extent::Arms,
        // Arms that were never level are in too many movements: only a trigger tells a stroke.
        Followed::Hands if impact.method == impact::Method::Trigger => Extent::SmallArms,
        Followed::Hands => return Err(NotASwing::NoTop),
    };
    if matches!(extent, Extent::Arms | Extent::SmallArms) {
        forget_club(&mut slots, &impact);
    }
    Ok(Swing {
        slots,
        quiet,
        impact,
        normal,
        top: top.1,
        extent,
        pass_mps: search.speed[pass],
        open: false,
    })
}

/// Where the movement to the top begins.
#[derive(Debug, Clone, Copy)]
enum Takeaway {
    /// At this slot.
    Seen(f64),
    /// Before what is known: the club was hidden, or the data begin in motion. The first known slot.
    Unseen(usize),
    /// In the movement before it: a swing out of a swing. The slot at which the club was down last.
    Flowing(usize),
}

/// Whether a duration is within a range whose upper end may be longer.
fn lasts(range: &std::ops::RangeInclusive<f64>, seconds: f64, longer: f64) -> bool {
    (*range.start()..=*range.end() * longer).contains(&seconds)
}

impl<'a> Search<'a> {
    fn new(paths: &'a Paths, reading: Reading) -> Self {
        let filter = DualPass::butterworth(paths.rate_hz, reading.cutoff(COARSE_HZ));
        let pad = (paths.rate_hz * 0.25) as usize;
        let head = series::smooth(&paths.head, &filter, pad);
        let velocity = series::velocity(&head, paths.rate_hz);
        let speed = velocity.iter().map(Vector3::norm).collect();
        Self {
            paths,
            reading,
            head,
            speed,
            axis: smooth_axis(&paths.axis, &filter, pad),
        }
    }

    pub(super) fn slots(&self, seconds: f64) -> usize {
        ((seconds * self.paths.rate_hz).round() as usize).max(1)
    }

    fn fastest_near(&self, near: usize) -> Result<usize, NotASwing> {
        let reach = self.slots(0.15);
        let last = self.speed.len().saturating_sub(1);
        let (from, to) = (
            near.saturating_sub(reach).min(last),
            (near + reach).min(last),
        );
        let (slot, speed) = match self.paths.of {
            Followed::Club => series::peak(&self.speed, from, to),
            Followed::Hands => self.hands_peak(from, to),
        }
        .ok_or(NotASwing::TooSlow)?;
        let pass = (slot.round() as usize).min(last);
        let floor = match self.paths.of {
            Followed::Club => CLUB_FLOOR_MPS,
            Followed::Hands if self.is_heard(pass) => HANDS_HEARD_FLOOR_MPS,
            Followed::Hands => HANDS_FLOOR_MPS,
        };
        if speed < floor {
            return Err(NotASwing::TooSlow);
        }
        // A short hole at the pass costs impact and speeds; a long one leaves nothing to go by.
        let reach = self.slots(0.15);
        let seen = |range: Range<usize>| range.into_iter().any(|i| self.paths.known[i]);
        if !seen(pass.saturating_sub(reach)..pass) || !seen(pass..(pass + reach).min(last + 1)) {
            return Err(NotASwing::Hidden);
        }
        if self.goes_to_target(pass) {
            return Ok(pass);
        }
        // A line drawn across a hole has no direction to go by.
        let reach = self.slots(DIRECTION_S);
        let around = pass.saturating_sub(reach)..(pass + reach).min(last + 1);
        Err(if around.clone().all(|i| self.paths.known[i]) {
            NotASwing::WrongWay
        } else {
            NotASwing::Hidden
        })
    }

    /// Whether what is followed moves toward the target: over a stretch, not at an instant, so that a hole at
    /// the pass does not decide the direction.
    fn goes_to_target(&self, slot: usize) -> bool {
        let (reach, last) = (self.slots(DIRECTION_S), self.head.len() - 1);
        let v = self.head[(slot + reach).min(last)] - self.head[slot.saturating_sub(reach)];
        v.x >= 0.5 * v.x.hypot(v.z)
    }

    /// The fastest slot of hands among those in which they go toward the target: seated or with still
    /// shoulders they are fastest while they still come straight down.
    fn hands_peak(&self, from: usize, to: usize) -> Option<(f64, f64)> {
        let ahead = (from..=to).filter(|&i| self.goes_to_target(i));
        let best = ahead.max_by(|&a, &b| self.speed[a].total_cmp(&self.speed[b]));
        let plain = || series::peak(&self.speed, from, to);
        best.map(|i| (i as f64, self.speed[i])).or_else(plain)
    }

    /// Whether a trigger went off near a slot.
    fn is_heard(&self, slot: usize) -> bool {
        let reach = self.slots(HEARD_S) as f64;
        let near = |p: &f64| (p - slot as f64).abs() < reach;
        self.paths.pulses.iter().any(near)
    }

    /// Where the movement begins, if it is fast enough for that and does not last too long.
    fn start(&self, takeaway: Takeaway, top: f64, pass: usize) -> Result<f64, NotASwing> {
        let (start, slowest) = match takeaway {
            Takeaway::Seen(slot) => (slot, 0.0),
            Takeaway::Unseen(slot) => (slot as f64, UNSEEN_MPS),
            Takeaway::Flowing(slot) => (slot as f64, FLOWING_MPS),
        };
        let lasts = lasts(&BACKSWING_S, (top - start) / self.paths.rate_hz, 1.0);
        if matches!(takeaway, Takeaway::Seen(_)) && !lasts {
            return Err(NotASwing::BackswingDuration);
        }
        if self.paths.of == Followed::Club && self.speed[pass] < slowest {
            return Err(NotASwing::NoTakeaway);
        }
        Ok(start)
    }

    /// The last change of the turning's sign before the pass: (slot before, exact slot). Looked for
    /// coarsely, so that a pause is one change; the instant is read off a finer axis.
    fn top(
        &self,
        (pass, longer): (usize, f64),
        (normal, coarse): (&Vector3<f64>, &[f64]),
    ) -> Result<(usize, f64), NotASwing> {
        let about = series::last_rise(coarse, 0, pass).ok_or(NotASwing::NoTop)?;
        let reach = self.slots(TOP_REACH_S);
        let room = 4 * reach;
        let slot = about as usize;
        let (from, to) = (slot.saturating_sub(room), (slot + room).min(pass + 1));
        let filter = DualPass::butterworth(self.paths.rate_hz, self.reading.cutoff(TOP_HZ));
        let axis = smooth_axis(&self.paths.axis[from..to], &filter, self.slots(0.1));
        let fine: Vec<f64> = (0..axis.len())
            .map(|i| spin(&axis, i).dot(normal))
            .collect();
        let near = slot - from;
        let read = series::last_rise(&fine, near.saturating_sub(reach), near + reach + 1);
        let exact = read.map_or(about, |s| s + from as f64);
        let down_s = (pass as f64 - exact) / self.paths.rate_hz;
        if lasts(&DOWNSWING_S, down_s, longer) {
            Ok((exact as usize, exact))
        } else {
            Err(NotASwing::DownswingDuration)
        }
    }

    /// Onset of the movement that leads to the top: the last still instant with the club down.
    fn takeaway(&self, top: usize) -> Result<Takeaway, NotASwing> {
        let reach = top.saturating_sub(self.slots(TAKEAWAY_REACH_S));
        let known = |i: usize| self.paths.known[i];
        let lowest = (reach..top)
            .filter(|&i| known(i))
            .map(|i| self.head[i].y)
            .fold(f64::INFINITY, f64::min);
        let down = |i: usize| self.axis[i].y < -0.4 && self.head[i].y < lowest + 0.35;
        // The top of a small stroke is still and low too: the takeaway lies before the way back to it.
        let moves = (reach..top)
            .rev()
            .find(|&i| self.speed[i] > 2.0 * STILL_MPS)
            .ok_or(NotASwing::NoTakeaway)?;
        let low = (reach..=moves)
            .rev()
            .find(|&i| down(i))
            .ok_or(NotASwing::NoTakeaway)?;
        let still = (reach..=low)
            .rev()
            .find(|&i| self.speed[i] < STILL_MPS && known(i));
        // A hole on the way back, or the very beginning of what is known: the onset is not in sight.
        let from = still.unwrap_or(reach);
        let margin = self.slots(QUIET_MIN_S);
        let holes = (from..=low).rev().take_while(|&i| known(i)).count() <= low - from;
        let begins = still.is_some_and(|i| i < margin || (i - margin..i).any(|k| !known(k)));
        if holes || begins || (still.is_none() && reach == 0) {
            let first = (from..=low)
                .rev()
                .take_while(|&i| known(i))
                .last()
                .unwrap_or(low);
            return Ok(Takeaway::Unseen(first));
        }
        let Some(i) = still else {
            // A swing without a pause: the slowest instant, if it is nearly one.
            let slowest = (reach..=low).min_by(|&a, &b| self.speed[a].total_cmp(&self.speed[b]));
            let nearly = slowest.filter(|&i| self.speed[i] < 4.0 * STILL_MPS && down(i));
            return Ok(nearly.map_or(Takeaway::Flowing(low), |i| Takeaway::Seen(i as f64)));
        };
        let (a, b) = (self.speed[i], self.speed[i + 1]);
        let fraction = if b > a {
            ((STILL_MPS - a) / (b - a)).clamp(0.0, 1.0)
        } else {
            0.0
        };
        Ok(Takeaway::Seen(i as f64 + fraction))
    }

    /// The last stretch of at least 50 ms of stillness before the takeaway, at most 200 ms of it.
    /// Empty where there is none in what is known.
    fn quiet(&self, start: f64) -> Range<usize> {
        let (min, max) = (self.slots(QUIET_MIN_S), self.slots(QUIET_MAX_S));
        let still = |i: usize| self.speed[i] < STILL_MPS && self.paths.known[i];
        let start = start as usize;
        let reach = start.saturating_sub(self.slots(2.0));
        let mut end = start + 1;
        while end > reach + min {
            let length = (reach..end).rev().take_while(|&i| still(i)).count();
            if length >= min {
                return end - length.min(max)..end;
            }
            end -= length.max(1);
        }
        start..start
    }

    /// Where the shaft is level going back and coming down; whether it was both.
    fn level_events(&self, slots: &mut Slots, (start, top): (f64, f64), impact: &Impact) -> bool {
        let filter = DualPass::butterworth(self.paths.rate_hz, FINE_HZ);
        let before = impact.before + 1;
        let axis = smooth_axis(&self.paths.axis[..before], &filter, self.slots(0.1));
        let slope: Vec<f64> = axis.iter().map(|u| u.y).collect();
        let (start, top) = (start as usize, top as usize);
        let back = series::first_rise(&slope, start, top + 1);
        let down = back.and_then(|back| series::last_fall(&slope, back as usize + 1, before));
        slots.set(Event::TakeawayEnd, back);
        slots.set(Event::ShaftLevelDown, down);
        down.is_some()
    }

    fn after(&self, slots: &mut Slots, impact: &Impact, pass: usize) {
        let filter = DualPass::butterworth(self.paths.rate_hz, FINE_HZ);
        let first = (impact.before + 1).min(self.axis.len());
        let axis = smooth_axis(&self.paths.axis[first..], &filter, self.slots(0.1));
        let slope: Vec<f64> = axis.iter().map(|u| u.y).collect();
        let through = series::first_rise(&slope, 0, slope.len()).map(|s| s + first as f64);
        slots.set(Event::ShaftLevelThrough, through);
        let from = through.map_or(impact.before + self.slots(0.1), |s| s as usize);
        let end = self.speed.len();
        let still = (from.max(1)..end).find(|&i| self.speed[i] < REST_MPS);
        // A club that never rests before it is carried back: the slowest instant, if it is slow.
        let slowest = || {
            let i =
                (from.min(end)..end).min_by(|&a, &b| self.speed[a].total_cmp(&self.speed[b]))?;
            (self.speed[i] < 0.15 * self.speed[pass]).then_some(i)
        };
        let rest = still.or_else(slowest);
        slots.set(Event::Finish, rest.map(|i| i as f64));
    }
}

/// Normal of the late downswing's plane over the last `late` slots before the pass, and the shaft's
/// turn about it, rad a slot.
fn turning(axis: &[Vector3<f64>], pass: usize, late: usize) -> (Vector3<f64>, Vec<f64>) {
    let sum: Vector3<f64> = (pass.saturating_sub(late)..=pass)
        .map(|i| spin(axis, i))
        .sum();
    let normal = sum.try_normalize(1e-12).unwrap_or_else(Vector3::z);
    let about = |i: usize| spin(axis, i).dot(&normal);
    (normal, (0..axis.len()).map(about).collect())
}

/// How the shaft turns at a slot, rad a slot.
fn spin(axis: &[Vector3<f64>], i: usize) -> Vector3<f64> {
    let (a, b) = (i.saturating_sub(1), (i + 1).min(axis.len() - 1));
    axis[i].cross(&(axis[b] - axis[a])) / (b - a).max(1) as f64
}

/// An event that falls into a hole of its markers was not seen: a line drawn across the hole must
/// not invent it.
fn forget_hidden(slots: &mut Slots, events: &[Event], known: &[bool]) {
    for &event in events {
        let seen = |slot: f64| {
            (slot.floor() as usize..=slot.ceil() as usize).all(|i| known.get(i) == Some(&true))
        };
        slots.set(event, slots.get(event).filter(|&slot| seen(slot)));
    }
}

/// What the hands cannot tell: where the club was.
fn forget_club(slots: &mut Slots, impact: &Impact) {
    for &event in OF_THE_SHAFT {
        slots.set(event, None);
    }
    let noticed = impact.method == impact::Method::Trigger;
    slots.set(Event::Impact, noticed.then_some(impact.slot));
}

fn smooth_axis(axis: &[Vector3<f64>], filter: &DualPass, pad: usize) -> Vec<Vector3<f64>> {
    let points: Vec<Point3<f64>> = axis.iter().map(|u| Point3::from(*u)).collect();
    series::smooth(&points, filter, pad)
        .iter()
        .map(|p| p.coords.try_normalize(1e-6).unwrap_or(p.coords))
        .collect()
}

fn mean(points: &[Point3<f64>]) -> Point3<f64> {
    Point3::from(points.iter().map(|p| p.coords).sum::<Vector3<f64>>() / points.len().max(1) as f64)
}
