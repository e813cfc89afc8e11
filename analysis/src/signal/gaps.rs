//! Short gaps in a track are bridged by a smooth curve; long ones stay gaps.
//!
//! The curve is a cubic Hermite piece with slopes taken from the samples on both sides. Whether a
//! gap may be bridged is the caller's decision (never across a collision).

use nalgebra::{Point3, Vector3};

use crate::window::Track;

/// Bridges gaps of at most `longest` slots that have samples on both sides. Returns the slots filled.
pub fn bridge(track: &mut Track, longest: usize) -> usize {
    bridge_where(track, |start, end, _| end - start <= longest)
}

/// Bridges gaps of at most `longest` slots over which the marker moved by less than `across_m`
/// metres: slow motion, where a curve is safe for longer. Returns the slots filled.
pub fn bridge_slow(track: &mut Track, longest: usize, across_m: f64) -> usize {
    bridge_where(track, |start, end, moved_m| {
        end - start <= longest && moved_m < across_m
    })
}

/// Bridges the gaps (first slot, slot after, metres between their ends) that `may` allows.
fn bridge_where(track: &mut Track, may: impl Fn(usize, usize, f64) -> bool) -> usize {
    let mut filled = 0;
    let mut at = 0;
    while let Some(start) = (at..track.len()).find(|&i| track[i].is_none()) {
        let end = (start..track.len())
            .find(|&i| track[i].is_some())
            .unwrap_or(track.len());
        at = end.max(start + 1);
        let ends = start
            .checked_sub(1)
            .and_then(|before| Some((track[before]?, (*track.get(end)?)?)));
        if ends.is_some_and(|(a, b)| may(start, end, (b - a).norm())) {
            bridge_one(track, start, end);
            filled += end - start;
        }
    }
    filled
}

/// A track without gaps for filtering: long gaps bridged straight, ends held. `None` if empty.
#[must_use]
pub fn solid(track: &Track) -> Option<Vec<Point3<f64>>> {
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
        assert!(solid(&vec![None; 3]).is_none());
    }
}
