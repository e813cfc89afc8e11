//! Short gaps in a track are bridged by a smooth curve; long ones stay gaps.
//!
//! The curve is a cubic Hermite piece with slopes taken from the samples on both sides. Whether a
//! gap may be bridged is the caller's decision (never across a collision).

use std::ops::Range;

use nalgebra::{Point3, Vector3};

use super::local_fit;
use crate::window::Track;

/// Bridges gaps of at most `longest` slots that have samples on both sides. Returns the slots filled.
pub fn bridge(track: &mut Track, longest: usize) -> usize {
    bridge_where(track, |_, start, end| end - start <= longest)
}

/// Bridges gaps of at most `longest` slots over which the marker moved by less than `across_m`
/// metres: slow motion, where a curve is safe for longer. Returns the slots filled.
pub fn bridge_slow(track: &mut Track, longest: usize, across_m: f64) -> usize {
    bridge_where(track, |track, start, end| {
        let ends = start
            .checked_sub(1)
            .and_then(|i| Some((track[i]?, track[end]?)));
        end - start <= longest && ends.is_some_and(|(a, b)| (b - a).norm() < across_m)
    })
}

/// Bridges gaps of at most `longest` slots where the curve is likely right within `error_m` metres, as
/// far as the bends on both sides tell, each taken from the samples of `reach` slots. Returns the slots
/// filled.
pub fn bridge_sure(track: &mut Track, longest: usize, (reach, error_m): (usize, f64)) -> usize {
    bridge_where(track, |track, start, end| {
        let likely = likely_error(track, (start, end), reach);
        end - start <= longest && likely.map_or(end - start <= reach / 2, |e| e < error_m)
    })
}

/// Bridges the gaps (first slot, slot after) that `may` allows.
fn bridge_where(track: &mut Track, may: impl Fn(&Track, usize, usize) -> bool) -> usize {
    let mut filled = 0;
    let mut at = 0;
    while let Some(start) = (at..track.len()).find(|&i| track[i].is_none()) {
        let end = (start..track.len())
            .find(|&i| track[i].is_some())
            .unwrap_or(track.len());
        at = end.max(start + 1);
        if start > 0 && end < track.len() && may(track, start, end) {
            bridge_one(track, start, end);
            filled += end - start;
        }
    }
    filled
}

/// The curve's likely error in the middle of a gap, metres. Over a gap `T` a cubic Hermite piece differs
/// from a smooth path of fourth derivative `D` by `D t² (T − t)² / 24`: its bend at the ends by
/// `D T² / 12`, its middle by `D T⁴ / 384`, so the middle is off by `T² / 32` of what the bends differ
/// by. `None` where a side has too few samples to tell its bend.
fn likely_error(track: &Track, (start, end): (usize, usize), reach: usize) -> Option<f64> {
    let span = (end - start + 1) as f64;
    let reach = reach.max(4);
    let before = bend(track, start - 1, start.saturating_sub(reach)..start)?;
    let after = bend(track, end, end..(end + reach).min(track.len()))?;
    let straight = (track[end]? - track[start - 1]?) / span;
    let m0 = slope(track, start - 1, -1).unwrap_or(straight);
    let m1 = slope(track, end, 1).unwrap_or(straight);
    let curve_before = (straight * 6.0 - m0 * 4.0 - m1 * 2.0) / span;
    let curve_after = (m0 * 2.0 + m1 * 4.0 - straight * 6.0) / span;
    let differ = (before - curve_before)
        .norm()
        .max((after - curve_after).norm());
    Some(differ * span * span / 32.0)
}

/// Second derivative at a slot, metres per slot², by a parabola through the samples of a range.
fn bend(track: &Track, at: usize, range: Range<usize>) -> Option<Vector3<f64>> {
    let mut bend = Vector3::zeros();
    for axis in 0..3 {
        let samples: Vec<_> = range
            .clone()
            .filter_map(|i| Some((i as f64, track[i]?[axis])))
            .collect();
        bend[axis] = 2.0 * local_fit::polynomial(&samples, 2, at as f64)?[2];
    }
    Some(bend)
}

/// A track without gaps for filtering: long gaps bridged straight, ends held. `None` if empty.
#[must_use]
pub fn solid(track: &[Option<Point3<f64>>]) -> Option<Vec<Point3<f64>>> {
    let first = track.iter().flatten().next().copied()?;
    let mut out: Vec<Point3<f64>> = Vec::with_capacity(track.len());
    let mut last = (0, first);
    for (i, point) in track.iter().enumerate() {
        let Some(p) = *point else { continue };
        let from = if out.is_empty() { p } else { last.1 };
        for j in out.len()..i {
            out.push(from + (p - from) * ((j - last.0) as f64 / (i - last.0) as f64));
        }
        out.push(p);
        last = (i, p);
    }
    out.resize(track.len(), last.1);
    Some(out)
}

fn bridge_one(track: &mut Track, start: usize, end: usize) {
    let (Some(p0), Some(p1)) = (track[start - 1], track[end]) else {
        return;
    };
    let span = (end - start + 1) as f64;
    let straight = (p1 - p0) / span;
    let m0 = slope(track, start - 1, -1).unwrap_or(straight) * span;
    let m1 = slope(track, end, 1).unwrap_or(straight) * span;
    for (n, slot) in track[start..end].iter_mut().enumerate() {
        let s = (n + 1) as f64 / span;
        let (s2, s3) = (s * s, s * s * s);
        let v = p0.coords * (2.0 * s3 - 3.0 * s2 + 1.0)
            + m0 * (s3 - 2.0 * s2 + s)
            + p1.coords * (3.0 * s2 - 2.0 * s3)
            + m1 * (s3 - s2);
        *slot = Some(Point3::from(v));
    }
}

/// Slope per slot at `at`, from the sample up to three slots further in `direction`.
fn slope(track: &Track, at: usize, direction: isize) -> Option<Vector3<f64>> {
    let here = track[at]?;
    (1..=3).rev().find_map(|k| {
        let there = track.get(at.checked_add_signed(direction * k)?)?.as_ref()?;
        Some((there - here) / (k * direction) as f64)
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn quadratic(n: usize) -> Track {
        (0..n)
            .map(|i| Some(Point3::new(i as f64, (i * i) as f64 * 0.01, 1.0)))
            .collect()
    }

    #[test]
    fn a_short_gap_is_bridged_close_to_the_curve_and_a_long_one_is_left() {
        let truth = quadratic(60);
        let mut t = truth.clone();
        (10..14).for_each(|i| t[i] = None);
        (30..50).for_each(|i| t[i] = None);
        assert_eq!(bridge(&mut t, 8), 4);
        for i in 10..14 {
            assert!((t[i].unwrap() - truth[i].unwrap()).norm() < 0.15);
        }
        assert!(t[40].is_none());
    }

    /// A hand that turns back fast within the gap is not to be guessed; a slow sway is.
    #[test]
    fn a_gap_is_bridged_only_where_the_curve_is_likely_right() {
        let (rate, gap) = (360.0, 100..150);
        for (hz, bridged) in [(0.7, true), (4.0, false)] {
            let truth: Track = (0..300)
                .map(|i| std::f64::consts::TAU * hz * f64::from(i) / rate)
                .map(|a| Some(Point3::new(0.25 * a.sin(), 0.25 * a.cos(), 0.0)))
                .collect();
            let mut t = truth.clone();
            gap.clone().for_each(|i| t[i] = None);
            assert_eq!(bridge_sure(&mut t, 72, (14, 0.01)) > 0, bridged, "{hz} Hz");
            let mut forced = truth.clone();
            gap.clone().for_each(|i| forced[i] = None);
            bridge(&mut forced, 72);
            let error = (forced[125].unwrap() - truth[125].unwrap()).norm();
            assert_eq!(error < 0.01, bridged, "the judgment is right: {error}");
        }
    }

    #[test]
    fn gaps_at_the_ends_are_not_invented() {
        let mut t = quadratic(10);
        t[0] = None;
        t[9] = None;
        assert_eq!(bridge(&mut t, 8), 0);
    }

    #[test]
    fn solid_holds_the_ends_and_bridges_straight() {
        let mut t = quadratic(8);
        (0..2).for_each(|i| t[i] = None);
        t[4] = None;
        t[7] = None;
        let s = solid(&t).unwrap();
        assert_eq!(s.len(), 8);
        assert_eq!(s[0], t[2].unwrap());
        assert!((s[4].x - 4.0).abs() < 1e-12);
        assert_eq!(s[7], t[6].unwrap());
        assert!(solid(&[None; 3]).is_none());
    }
}
