//! Tracks that jump: a marker that was taken for another thing for a while (a ghost), and two markers
//! that exchanged their labels.
//!
//! A marker on a body moves on smoothly from frame to frame. Each track is sorted into runs: a sample
//! joins the open run that foretells it best, and begins a run of its own where none comes near. A
//! track without faults is one run. A short run that breaks off from its longer neighbors is exchanged
//! with the same slots of another track where that mends both, and is rejected otherwise. What stiff
//! clusters say about their markers lives in `body::cluster`.

use std::ops::RangeInclusive;

use nalgebra::{Point3, Vector3};

use super::order::median;
use crate::window::Track;

/// Least distance from the foretold place that breaks a run, metres.
const BREAK_M: f64 = 0.012;
/// The same in medians of the track's second differences (noise; median 3.8 standard deviations).
const BREAK_NOISE: f64 = 5.0;
/// Share of the travel since the last sample by which a prediction may be wrong.
const BREAK_TRAVEL: f64 = 0.5;
/// Acceleration that a body marker may take on unforetold, m/s².
const BREAK_ACCELERATION: f64 = 150.0;
/// Most that a hole may add to what is allowed, metres.
const HOLE_M: f64 = 0.08;
/// Fastest that a marker of the body moves, m/s: for a run of one sample, whose speed is not known.
const FASTEST: f64 = 15.0;
/// A run that was not continued for this long is closed, seconds.
const OPEN_S: f64 = 0.35;
/// A neighbor farther off than this does not show a break, seconds: much can happen in a hole.
const EVIDENCE_S: f64 = 0.03;
/// A run as long as this is no passing fault, seconds and slots.
const LONG_S: f64 = 0.7;
const LONG_SLOTS: usize = 75;
/// Stretch over which the speed of a run's end is taken, seconds.
const SPEED_S: f64 = 0.010;
/// Newest samples of a run that are looked at for it.
const RECENT: usize = 16;
/// An exchange must bring the partner's break down to this share.
const MENDED: f64 = 0.5;
/// Exchanges put right at most, for tracks that are beyond help.
const EXCHANGES_MAX: usize = 64;

/// Two tracks whose samples were exchanged back.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Exchange {
    /// The two tracks.
    pub tracks: [usize; 2],
    /// First and last slot.
    pub slots: RangeInclusive<usize>,
}

/// What was done to the tracks.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Outcome {
    /// Exchanges that were put right.
    pub exchanges: Vec<Exchange>,
    /// Samples that were taken out: track and slot.
    pub rejected: Vec<(usize, usize)>,
}

/// Puts exchanges right and takes ghosts out. Only the tracks with `judged` are held against their
/// smoothness; the others may be the partner of an exchange.
pub fn sort_out(tracks: &mut [Track], judged: &[bool], rate_hz: f64) -> Outcome {
    let mut outcome = Outcome::default();
    let own: Vec<usize> = (0..tracks.len())
        .filter(|&t| judged.get(t) == Some(&true))
        .collect();
    for &t in &own {
        while let Some(run) = fault(&tracks[t], rate_hz) {
            let slots = run[0]..=run[run.len() - 1];
            let partner = (outcome.exchanges.len() < EXCHANGES_MAX)
                .then(|| partner(tracks, t, &slots, rate_hz))
                .flatten();
            if let Some(u) = partner {
                exchange(tracks, [t, u], &slots);
                outcome.exchanges.push(Exchange {
                    tracks: [t, u],
                    slots,
                });
            } else {
                for &slot in &run {
                    tracks[t][slot] = None;
                    outcome.rejected.push((t, slot));
                }
            }
        }
    }
    outcome
}

fn exchange(tracks: &mut [Track], [t, u]: [usize; 2], slots: &RangeInclusive<usize>) {
    for slot in slots.clone() {
        let other = tracks[u][slot];
        tracks[u][slot] = std::mem::replace(&mut tracks[t][slot], other);
    }
}

/// Samples that belong together.
struct Run {
    slots: Vec<usize>,
    /// The newest samples, for the speed.
    recent: Vec<(usize, Point3<f64>)>,
}

impl Run {
    fn new(slot: usize, p: Point3<f64>) -> Self {
        Self {
            slots: vec![slot],
            recent: vec![(slot, p)],
        }
    }

    fn push(&mut self, slot: usize, p: Point3<f64>) {
        self.slots.push(slot);
        if self.recent.len() == RECENT {
            self.recent.remove(0);
        }
        self.recent.push((slot, p));
    }

    fn last(&self) -> usize {
        self.recent[self.recent.len() - 1].0
    }

    /// Distance from where the run foretells its sample in `slot`, and the distance allowed.
    fn miss(&self, slot: usize, p: Point3<f64>, scale: Scale) -> (f64, f64) {
        foretell(&self.recent, slot, p, scale)
    }
}

/// What a track allows.
#[derive(Debug, Clone, Copy)]
struct Scale {
    rate_hz: f64,
    base_m: f64,
}

impl Scale {
    fn of(track: &Track, rate_hz: f64) -> Self {
        let mut bends: Vec<f64> = track
            .windows(3)
            .step_by((track.len() / 400).max(1))
            .filter_map(|w| Some((w[2]? - w[1]? - (w[1]? - w[0]?)).norm()))
            .collect();
        let noise = median(&mut bends).unwrap_or(0.0);
        Self {
            rate_hz,
            base_m: (BREAK_NOISE * noise).max(BREAK_M),
        }
    }
}

/// How far `p` is from where the samples (slots in either direction of time) foretell it, and how far
/// it may be, metres.
fn foretell(
    recent: &[(usize, Point3<f64>)],
    slot: usize,
    p: Point3<f64>,
    scale: Scale,
) -> (f64, f64) {
    let (last, newest) = recent[recent.len() - 1];
    let ahead = slot as f64 - last as f64;
    let seconds = ahead.abs() / scale.rate_hz;
    let reach = (SPEED_S * scale.rate_hz).max(1.0);
    let before = recent[..recent.len() - 1]
        .iter()
        .find(|s| (last as f64 - s.0 as f64).abs() <= reach)
        .or_else(|| recent.len().checked_sub(2).map(|i| &recent[i]));
    let Some(&(from, old)) = before else {
        return (
            (p - newest).norm(),
            scale.base_m + (FASTEST * seconds).min(2.0 * HOLE_M),
        );
    };
    let step: Vector3<f64> = (newest - old) / (last as f64 - from as f64);
    let at_once =
        |s: f64| BREAK_TRAVEL * step.norm() * scale.rate_hz * s + 0.5 * BREAK_ACCELERATION * s * s;
    let one = at_once(1.0 / scale.rate_hz);
    let allowed = scale.base_m + at_once(seconds).min(one.max(HOLE_M));
    ((p - (newest + step * ahead)).norm(), allowed)
}

/// The track's samples sorted into runs.
fn runs(track: &Track, scale: Scale) -> Vec<Run> {
    let open_slots = OPEN_S * scale.rate_hz;
    let mut runs: Vec<Run> = Vec::new();
    for (slot, p) in track.iter().enumerate() {
        let Some(p) = *p else { continue };
        let best = runs
            .iter_mut()
            .rev()
            .take(8)
            .filter(|r| (slot - r.last()) as f64 <= open_slots)
            .map(|r| (r.miss(slot, p, scale), r))
            .filter(|((miss, allowed), _)| miss <= allowed)
            .min_by(|a, b| a.0.0.total_cmp(&b.0.0));
        match best {
            Some((_, run)) => run.push(slot, p),
            None => runs.push(Run::new(slot, p)),
        }
    }
    runs
}

/// The cheap question that spares most tracks the sorting: is every sample within the least distance
/// that breaks a run of where those before it foretell it? Then all are one run, whatever the track's
/// noise allows besides.
fn is_one_run(track: &Track, rate_hz: f64) -> bool {
    let reach = ((SPEED_S * rate_hz).max(1.0) as usize).min(RECENT - 1);
    let open_slots = OPEN_S * rate_hz;
    if let Some(smooth) = is_smooth(track, reach) {
        return smooth;
    }
    let mut slots: Vec<usize> = Vec::with_capacity(track.len());
    for (slot, p) in track.iter().enumerate() {
        let Some(p) = *p else { continue };
        let Some(&last) = slots.last() else {
            slots.push(slot);
            continue;
        };
        // The earliest sample within reach, but the one before the last at least.
        let far = (1..slots.len().min(reach + 1))
            .rev()
            .find(|&k| last - slots[slots.len() - 1 - k] <= reach);
        let from = slots[slots.len() - 1 - far.unwrap_or(1).min(slots.len() - 1)];
        let (Some(newest), Some(old)) = (track[last], track[from]) else {
            return false;
        };
        let ahead = (slot - last) as f64;
        let step = (newest - old) / (last - from).max(1) as f64;
        let miss = p - (newest + step * ahead);
        if ahead > open_slots || miss.norm_squared() > BREAK_M * BREAK_M {
            return false;
        }
        slots.push(slot);
    }
    true
}

/// The same of a track without a hole; `None` for others.
fn is_smooth(track: &Track, reach: usize) -> Option<bool> {
    if track.iter().any(Option::is_none) {
        return None;
    }
    let near = |p: &Option<Point3<f64>>, [newest, old]: [&Option<Point3<f64>>; 2], share: f64| {
        let (p, newest, old) = ((*p)?, (*newest)?, (*old)?);
        let miss = (p - newest) - (newest - old) * share;
        Some(miss.norm_squared() <= BREAK_M * BREAK_M)
    };
    for last in 0..reach.min(track.len().saturating_sub(1)) {
        let share = 1.0 / last.max(1) as f64;
        if !near(&track[last + 1], [&track[last], &track[0]], share)? {
            return Some(false);
        }
    }
    // Of known length, so that nothing is asked of its ends.
    let share = 1.0 / reach as f64;
    let (newest, next) = (track.get(reach..)?, track.get(reach + 1..)?);
    for ((old, newest), next) in track.iter().zip(newest).zip(next) {
        if !near(next, [newest, old], share)? {
            return Some(false);
        }
    }
    Some(true)
}

/// The slots of the shortest run that breaks off from a longer neighbor, if there is one.
fn fault(track: &Track, rate_hz: f64) -> Option<Vec<usize>> {
    if is_one_run(track, rate_hz) {
        return None;
    }
    let mut runs = runs(track, Scale::of(track, rate_hz));
    if runs.len() < 2 {
        return None;
    }
    let near = (EVIDENCE_S * rate_hz).max(2.0);
    let long = ((LONG_S * rate_hz) as usize).max(LONG_SLOTS);
    let mut of_slot = vec![None; track.len()];
    for (r, run) in runs.iter().enumerate() {
        run.slots.iter().for_each(|&s| of_slot[s] = Some(r));
    }
    let breaks_off = |r: usize| {
        let run = &runs[r].slots;
        let (first, last) = (run[0], run[run.len() - 1]);
        let before = (0..first)
            .rev()
            .find_map(|s| Some((first - s, of_slot[s]?)));
        let after = (last + 1..track.len()).find_map(|s| Some((s - last, of_slot[s]?)));
        [before, after]
            .into_iter()
            .flatten()
            .any(|(far, other)| far as f64 <= near && runs[other].slots.len() > run.len())
    };
    let shortest = (0..runs.len())
        .filter(|&r| runs[r].slots.len() < long && breaks_off(r))
        .min_by_key(|&r| runs[r].slots.len())?;
    Some(runs.swap_remove(shortest).slots)
}

/// The track whose samples in these slots continue `t` on both sides while those of `t` continue it.
fn partner(
    tracks: &[Track],
    t: usize,
    slots: &RangeInclusive<usize>,
    rate_hz: f64,
) -> Option<usize> {
    let candidate = |u: usize| {
        let scale = Scale::of(&tracks[t], rate_hz);
        let mended = borders([&tracks[t], &tracks[u]], slots, scale)?;
        let partner = borders([&tracks[u], &tracks[t]], slots, scale);
        let as_is = borders([&tracks[u], &tracks[u]], slots, scale);
        let helps = match (partner, as_is) {
            (Some(new), Some(old)) => new.0 <= MENDED * old.0,
            _ => false,
        };
        (helps && mended.1).then_some((mended.0, u))
    };
    (0..tracks.len())
        .filter(|&u| u != t && slots.clone().any(|s| tracks[u][s].is_some()))
        .filter_map(candidate)
        .min_by(|a, b| a.0.total_cmp(&b.0))
        .map(|(_, u)| u)
}

/// How far the samples of `inside` in these slots are from where those of `outside` foretell them:
/// the sum over both borders, and whether each is within what is allowed. `None` when neither border
/// has samples near enough.
fn borders(
    [outside, inside]: [&Track; 2],
    slots: &RangeInclusive<usize>,
    scale: Scale,
) -> Option<(f64, bool)> {
    let (start, end) = (*slots.start(), *slots.end());
    let near = (EVIDENCE_S * scale.rate_hz).max(2.0) as usize;
    let seen = |track: &Track, s: usize| Some((s, track[s]?));
    let first = (start..=end).find_map(|s| seen(inside, s))?;
    let last = (start..=end).rev().find_map(|s| seen(inside, s))?;
    let before: Vec<_> = (start.saturating_sub(16)..start)
        .filter_map(|s| seen(outside, s))
        .collect();
    let after: Vec<_> = (end + 1..(end + 17).min(outside.len()))
        .rev()
        .filter_map(|s| seen(outside, s))
        .collect();
    let border = |side: &[(usize, Point3<f64>)], (slot, p): (usize, Point3<f64>)| {
        let close = side.last().is_some_and(|s| s.0.abs_diff(slot) <= near);
        close.then(|| foretell(side, slot, p, scale))
    };
    let both = [border(&before, first), border(&after, last)];
    let known: Vec<(f64, f64)> = both.into_iter().flatten().collect();
    (!known.is_empty()).then(|| {
        (
            known.iter().map(|b| b.0).sum(),
            known.iter().all(|b| b.0 <= b.1),
        )
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    const RATE: f64 = 240.0;

    /// A hand that sweeps, and a knee that hardly moves.
    fn tracks() -> Vec<Track> {
        let along = |f: &dyn Fn(f64) -> [f64; 3]| -> Track {
            (0..600)
                .map(|i| Some(Point3::from(f(f64::from(i) / RATE))))
                .collect()
        };
        vec![
            along(&|t| [(4.0 * t).sin(), 1.0 + 0.4 * (6.0 * t).cos(), 0.3]),
            along(&|t| [0.1, 0.5 + 0.02 * (3.0 * t).sin(), 0.2]),
            along(&|t| [-0.1, 0.5 + 0.02 * (2.0 * t).sin(), 0.2]),
        ]
    }

    #[test]
    fn clean_tracks_are_left_alone() {
        for step in [1, 2] {
            let mut t: Vec<Track> = tracks()
                .into_iter()
                .map(|t| t.into_iter().step_by(step).collect())
                .collect();
            (100..160).for_each(|i| t[0][i] = None);
            let before = t.clone();
            let done = sort_out(&mut t, &[true; 3], RATE / step as f64);
            assert_eq!(done, Outcome::default());
            assert_eq!(t, before);
        }
    }

    #[test]
    fn an_exchange_is_put_right_wherever_it_is() {
        let truth = tracks();
        for (a, b) in [(1, 2), (0, 1)] {
            for (from, len) in [(0, 30), (200, 1), (250, 60), (560, 40)] {
                let mut t = truth.clone();
                exchange(&mut t, [a, b], &(from..=from + len - 1));
                let done = sort_out(&mut t, &[true; 3], RATE);
                assert_eq!(done.exchanges.len(), 1, "{a} {b} {from} {len}: {done:?}");
                assert!(done.rejected.is_empty());
                assert_eq!(t, truth);
            }
        }
    }

    #[test]
    fn a_ghost_is_rejected() {
        let truth = tracks();
        for (marker, from, len) in [
            (0, 300, 1),
            (0, 400, 20),
            (1, 0, 10),
            (2, 590, 10),
            (1, 100, 60),
        ] {
            let mut t = truth.clone();
            for slot in &mut t[marker][from..from + len] {
                *slot = slot.map(|p| p + Vector3::new(0.0, 0.05, 0.04));
            }
            let done = sort_out(&mut t, &[true; 3], RATE);
            let expected: Vec<_> = (from..from + len).map(|s| (marker, s)).collect();
            assert_eq!(done.rejected, expected);
            assert!(t[marker][from].is_none());
        }
    }

    /// A partner that is not judged itself (a club marker that clusters judge) may be exchanged with.
    #[test]
    fn a_track_that_is_not_judged_can_be_the_partner() {
        let truth = tracks();
        let mut t = truth.clone();
        exchange(&mut t, [0, 2], &(220..=240));
        t[2][225] = None;
        let done = sort_out(&mut t, &[false, false, true], RATE);
        assert_eq!(done.exchanges.len(), 1);
        assert!(t[0][225].is_none() && t[2][225] == truth[2][225]);
    }
}
