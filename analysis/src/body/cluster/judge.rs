//! Which markers of a cluster are out of their place, and which have exchanged their labels.
//!
//! The tolerance is the window's own: what is usual in it, and some. Skin, a bending shaft and sources
//! that strobe their markers in turn all widen the misfit gradually; a label that goes wrong widens it
//! from one frame to the next. Between what is usual and what is never right, only a sudden misfit
//! counts.

use nalgebra::Point3;

use super::{Cluster, Pair, Repair, median, members, residual, seen, typical_shape};
use crate::body::lanes::{self, Lanes, Vector};
use crate::body::pose::{self, Size};
use crate::window::Window;

/// Share of the tolerance within which the others must fit for a stray to be believed in a cluster
/// that may change its size.
pub(super) const WELL: f64 = 0.35;

/// The tolerance is this many (scaled) median deviations over the window's median misfit.
const DEVIATIONS: f64 = 6.0;
/// From the median deviation to the standard deviation of normal noise.
const SCALED: f64 = 1.4826;
/// An exchange must bring the misfit down to this share.
const EXPLAINED: f64 = 0.4;
/// Share of a stretch's largest misfit by which it must begin or end at once to be sudden.
const SUDDEN: f64 = 0.5;

/// A cluster as it is in this window.
struct Known<'a> {
    cluster: &'a Cluster,
    members: &'a [usize],
    shape: &'a [Point3<f64>],
    tolerance_m: f64,
}

/// Slots looked at side by side.
const LANES: usize = 4;

/// The square of the distance between two members that is right: from, to.
type Right = (usize, usize, std::ops::RangeInclusive<f64>);

/// Judges one cluster in every slot.
pub(super) fn cluster(window: &mut Window, cluster: &Cluster, repair: &mut Repair) {
    let members = members(window, cluster.landmarks);
    let Some(shape) = typical_shape(window, &members) else {
        return;
    };
    let usual = Usual::new(window, (&members, &shape));
    let cluster = &Cluster {
        size: usual.size(cluster),
        ..*cluster
    };
    let known = Known {
        cluster,
        members: &members,
        shape: &shape,
        tolerance_m: usual.tolerance_m(cluster),
    };
    let right = right(&known);
    let fine = distances_match(window, &members, &right);
    let misfits: Vec<Option<f64>> = (0..window.len())
        .map(|slot| {
            if fine[slot] {
                return Some(0.0);
            }
            let left = misfit(window, slot, &known)?;
            if left <= known.tolerance_m {
                return Some(left);
            }
            Some(put_back(window, slot, (&known, left), repair).unwrap_or(left))
        })
        .collect();
    for slot in 0..window.len() {
        let Some(left) = misfits[slot].filter(|&m| m > known.tolerance_m) else {
            continue;
        };
        if left > cluster.tolerance_m || sudden(&misfits, slot, known.tolerance_m) {
            reject(window, slot, &known, repair);
        }
    }
    if cluster.size == Size::Free {
        members
            .iter()
            .for_each(|&track| close(window, track, repair));
    }
}

/// Frames between two rejected ones for a marker that only seems in order there.
const BETWEEN: usize = 3;

/// A stray that crosses the line of a cluster of free size only makes it longer for a frame or two:
/// what lies between rejected frames is rejected with them.
fn close(window: &mut Window, track: usize, repair: &mut Repair) {
    let marks = &mut repair.rejected[track];
    let mut last: Option<usize> = None;
    for slot in 0..marks.len() {
        if !marks[slot] {
            continue;
        }
        if let Some(before) = last.filter(|&b| slot - b <= BETWEEN + 1) {
            let between = before + 1..slot;
            let hidden = window.tracks[track][between.clone()].iter_mut();
            for (mark, point) in marks[between].iter_mut().zip(hidden) {
                *mark |= point.take().is_some();
            }
        }
        last = Some(slot);
    }
}

/// Share of the frames that must be stiff for a cluster of free size to be judged as a stiff one.
const STIFF_SHARE: f64 = 0.9;

/// What stiff fits leave in a few slots of a window.
struct Usual<'a> {
    window: &'a Window,
    shape: (&'a [usize], &'a [Point3<f64>]),
    /// Largest distance of a marker from its place, metres.
    left_m: Vec<f64>,
}

impl<'a> Usual<'a> {
    fn slots(window: &Window) -> impl Iterator<Item = usize> {
        (0..window.len()).step_by((window.len() / 200).max(1))
    }

    fn new(window: &'a Window, shape: (&'a [usize], &'a [Point3<f64>])) -> Self {
        let (members, places) = shape;
        let all = |slot: &usize| members.iter().all(|&t| window.tracks[t][*slot].is_some());
        let (whole, parts): (Vec<usize>, Vec<usize>) = Self::slots(window).partition(all);
        let sure = |m: usize, slot: usize| window.tracks[members[m]][slot].unwrap_or_default();
        let whole = pose::left_each(places, &whole, sure).into_iter().flatten();
        let parts = parts.into_iter();
        let parts = parts.filter_map(|slot| residual(&seen(window, slot, shape), Size::Fixed));
        Self {
            window,
            shape,
            left_m: whole.map(|l| l.largest_m2.sqrt()).chain(parts).collect(),
        }
    }

    /// The size by which a cluster is judged: one that may change it is stiff all the same in a window
    /// in which it nearly always is. A stray in line with a club would pass for a longer club otherwise.
    fn size(&self, cluster: &Cluster) -> Size {
        let stiff = self
            .left_m
            .iter()
            .filter(|r| **r <= cluster.floor_m)
            .count();
        if stiff as f64 >= STIFF_SHARE * self.left_m.len() as f64 {
            Size::Fixed
        } else {
            cluster.size
        }
    }

    /// What is usual in this window, and some, between the cluster's bounds.
    fn tolerance_m(&self, cluster: &Cluster) -> f64 {
        let usual = match cluster.size {
            Size::Fixed => self.left_m.clone(),
            Size::Free => Self::slots(self.window)
                .filter_map(|slot| residual(&seen(self.window, slot, self.shape), Size::Free))
                .collect(),
        };
        let middle = median(usual.clone());
        let spread = median(usual.iter().map(|r| (r - middle).abs()).collect());
        (middle + DEVIATIONS * SCALED * spread).clamp(cluster.floor_m, cluster.tolerance_m)
    }
}

/// Largest distance of a seen marker from its place; zero where all distances are in order.
fn misfit(window: &Window, slot: usize, known: &Known<'_>) -> Option<f64> {
    let pairs = seen(window, slot, (known.members, known.shape));
    let right = |(i, a): (usize, &Pair)| {
        let within = 0.5 * known.tolerance_m;
        let fits = |b: &Pair| ((a.1 - b.1).norm() - (a.2 - b.2).norm()).abs() <= within;
        pairs[i + 1..].iter().all(fits)
    };
    if pairs.len() > 3 && pairs.iter().enumerate().all(right) {
        return Some(0.0);
    }
    residual(&pairs, known.cluster.size)
}

/// What every pair's distance may be for the whole cluster to be in order: half the tolerance off.
/// Empty for clusters of three, which are fitted in any case.
fn right(known: &Known<'_>) -> Vec<Right> {
    let n = known.members.len();
    if n <= 3 {
        return Vec::new();
    }
    let pairs = (0..n).flat_map(|i| (i + 1..n).map(move |j| (i, j)));
    pairs
        .map(|(i, j)| {
            let distance = (known.shape[i] - known.shape[j]).norm();
            let within = 0.5 * known.tolerance_m;
            let (low, high) = ((distance - within).max(0.0), distance + within);
            (i, j, low * low..=high * high)
        })
        .collect()
}

/// The cheap question that spares most frames the fit: is the whole cluster seen, and every distance
/// as in the shape? Asked of several slots side by side.
fn distances_match(window: &Window, members: &[usize], right: &[Right]) -> Vec<bool> {
    let mut fine = vec![false; window.len()];
    if right.is_empty() {
        return fine;
    }
    let mut points: Vec<Vector<LANES>> = vec![[Lanes::all(0.0); 3]; members.len()];
    for (n, fine) in fine.chunks_mut(LANES).enumerate() {
        let slots = n * LANES..n * LANES + fine.len();
        let mut all = [true; LANES];
        for (point, &track) in points.iter_mut().zip(members) {
            let seen = window.tracks[track][slots.clone()].iter().enumerate();
            for (lane, p) in seen {
                all[lane] &= p.is_some();
                let p = p.unwrap_or_default();
                (0..3).for_each(|axis| point[axis].0[lane] = p[axis]);
            }
        }
        for (i, j, right) in right {
            let off = lanes::sub(&points[*i], &points[*j]);
            let square = lanes::dot(&off, &off);
            for (all, square) in all.iter_mut().zip(square.0) {
                *all &= (square >= *right.start()) & (square <= *right.end());
            }
        }
        fine.copy_from_slice(&all[..fine.len()]);
    }
    fine
}

/// Exchanges two markers where that explains the misfit: what is left of it then.
fn put_back(
    window: &mut Window,
    slot: usize,
    (known, misfit): (&Known<'_>, f64),
    repair: &mut Repair,
) -> Option<f64> {
    let pairs = seen(window, slot, (known.members, known.shape));
    // Three markers and a free size fit nearly anything.
    if pairs.len() < 4 && known.cluster.size == Size::Free {
        return None;
    }
    let exchanged = |(i, j): (usize, usize)| {
        let mut pairs = pairs.clone();
        (pairs[i].2, pairs[j].2) = (pairs[j].2, pairs[i].2);
        residual(&pairs, known.cluster.size)
    };
    let (left, (i, j)) = (0..pairs.len())
        .flat_map(|i| (i + 1..pairs.len()).map(move |j| (i, j)))
        .filter_map(|two| Some((exchanged(two)?, two)))
        .min_by(|a, b| a.0.total_cmp(&b.0))?;
    if left > known.tolerance_m || left > EXPLAINED * misfit {
        return None;
    }
    let (a, b) = (pairs[i].0, pairs[j].0);
    window.tracks[a][slot] = Some(pairs[j].2);
    window.tracks[b][slot] = Some(pairs[i].2);
    repair.note_exchange(window, [a, b], slot);
    Some(left)
}

/// Whether the stretch of misfits around a slot begins or ends from one seen frame to the next.
fn sudden(misfits: &[Option<f64>], slot: usize, tolerance_m: f64) -> bool {
    let bad = |i: usize| misfits[i].is_none_or(|m| m > tolerance_m);
    let start = (0..slot).rev().find(|&i| !bad(i));
    let end = (slot + 1..misfits.len()).find(|&i| !bad(i));
    let from = start.map_or(0, |s| s + 1);
    let stretch = &misfits[from..end.unwrap_or(misfits.len())];
    let largest = stretch.iter().flatten().fold(0.0, |m: f64, &v| m.max(v));
    let steps = |outside: Option<usize>, inside: Option<&f64>| match (
        outside.and_then(|i| misfits[i]),
        inside,
    ) {
        (Some(out), Some(&inside)) => inside - out > SUDDEN * largest,
        _ => false,
    };
    steps(start, stretch.iter().flatten().next())
        || steps(end, stretch.iter().rev().flatten().next())
}

/// Takes out the markers that are out of their place, if the others say which.
fn reject(window: &mut Window, slot: usize, known: &Known<'_>, repair: &mut Repair) {
    let pairs = seen(window, slot, (known.members, known.shape));
    for track in strays(pairs, known.cluster, known.tolerance_m).unwrap_or_default() {
        repair.rejected[track][slot] = true;
        window.tracks[track][slot] = None;
    }
}

/// The strays of one slot. A cluster of free size is first taken for a stiff one with one stray, if the
/// others then fit really well: a free size would bend itself to the stray.
fn strays(pairs: Vec<Pair>, cluster: &Cluster, tolerance_m: f64) -> Option<Vec<usize>> {
    if cluster.size == Size::Free
        && let Some((strays, kept)) = sort(pairs.clone(), Size::Fixed, tolerance_m)
        && (strays.is_empty()
            || (strays.len() == 1 && residual(&kept, Size::Fixed)? < WELL * cluster.tolerance_m))
    {
        return Some(strays);
    }
    sort(pairs, cluster.size, tolerance_m).map(|s| s.0)
}

fn sort(mut pairs: Vec<Pair>, size: Size, tolerance_m: f64) -> Option<(Vec<usize>, Vec<Pair>)> {
    let mut strays = Vec::new();
    while residual(&pairs, size)? > tolerance_m {
        // With three left there is no majority to say which one is wrong.
        if pairs.len() <= 3 {
            return None;
        }
        strays.push(pairs.remove(most_disturbing(&pairs, size)).0);
    }
    Some((strays, pairs))
}

/// The marker without which the others fit best.
fn most_disturbing(pairs: &[Pair], size: Size) -> usize {
    let without = |i: usize| {
        let mut rest = pairs.to_vec();
        rest.remove(i);
        residual(&rest, size).unwrap_or(f64::INFINITY)
    };
    (0..pairs.len())
        .min_by(|&a, &b| without(a).total_cmp(&without(b)))
        .unwrap_or(0)
}
