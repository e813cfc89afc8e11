//! Clusters of markers on one stiff part: markers that left their place are rejected, hidden ones
//! rebuilt from the others.
//!
//! The shape is the window's own: the frame whose distances are closest to their medians. Markers
//! that are not part of a cluster (elbows, knees …) are not judged here.

pub mod noise;

use nalgebra::Point3;

use crate::body::pose::{self, Size};
use crate::landmark::Landmark;
use crate::window::Window;

/// A cluster and how it may be judged.
#[derive(Debug, Clone, Copy)]
pub struct Cluster {
    /// Markers on one stiff part.
    pub landmarks: &'static [Landmark],
    /// Whether the size may change.
    pub size: Size,
    /// A marker farther than this from its place, metres, is rejected.
    pub tolerance_m: f64,
}

/// The stiff parts that our marker sets know. Skin moves by up to about two centimetres on the
/// trunk (common practice, no source); the club's tolerance leaves room for shaft bend and for
/// sources that strobe their markers in turn.
pub const CLUSTERS: &[Cluster] = &[
    Cluster {
        landmarks: &[
            Landmark::LeftAsis,
            Landmark::RightAsis,
            Landmark::LeftPsis,
            Landmark::RightPsis,
        ],
        size: Size::Fixed,
        tolerance_m: 0.05,
    },
    Cluster {
        landmarks: &[
            Landmark::C7,
            Landmark::T8,
            Landmark::SternalNotch,
            Landmark::Xiphoid,
        ],
        size: Size::Fixed,
        tolerance_m: 0.06,
    },
    Cluster {
        landmarks: &[
            Landmark::ClubButt,
            Landmark::ClubGripA,
            Landmark::ClubGripB,
            Landmark::ClubShaftMid,
            Landmark::ClubShaftLow,
            Landmark::ClubHeadHeel,
            Landmark::ClubHeadToe,
            Landmark::ClubHeadBack,
        ],
        size: Size::Free,
        tolerance_m: 0.06,
    },
];

/// A marker farther out than this many times the seen markers' reach is placed by a long lever.
const LEVER_MAX: f64 = 3.0;

/// Share of the tolerance within which the others must fit for a stray to be believed in a cluster
/// that may change its size.
const WELL: f64 = 0.35;

/// What was wrong with one marker in the window.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Fault {
    /// The marker.
    pub landmark: Landmark,
    /// Slots in which it was not seen.
    pub missing: usize,
    /// Slots in which it was seen out of its place and rejected.
    pub rejected: usize,
}

/// What was done to each track, slot by slot.
#[derive(Debug, Clone)]
pub struct Repair {
    /// The marker was seen out of its place and rejected.
    pub rejected: Vec<Vec<bool>>,
    /// The marker was placed from others that lie far from it: good for a direction, too noisy for
    /// a speed.
    pub levered: Vec<Vec<bool>>,
}

/// Rejects and rebuilds cluster markers in place.
pub fn repair(window: &mut Window) -> Repair {
    let none = vec![vec![false; window.len()]; window.landmarks.len()];
    let mut repair = Repair {
        rejected: none.clone(),
        levered: none,
    };
    for cluster in CLUSTERS {
        let members: Vec<usize> = (0..window.landmarks.len())
            .filter(|&i| cluster.landmarks.contains(&window.landmarks[i]))
            .collect();
        let Some(shape) = typical_shape(window, &members) else {
            continue;
        };
        for slot in 0..window.len() {
            repair_slot(window, slot, (&members, &shape, cluster), &mut repair);
        }
    }
    repair
}

type Judged<'a> = (&'a [usize], &'a [Point3<f64>], &'a Cluster);

/// A marker seen: its track, its place in the shape, its place measured.
type Pair = (usize, Point3<f64>, Point3<f64>);

/// A cluster in one slot after the strays were taken out.
struct Sorted {
    kept: Vec<Pair>,
    strays: Vec<usize>,
    fit: pose::Fit,
}

fn repair_slot(
    window: &mut Window,
    slot: usize,
    (members, shape, cluster): Judged<'_>,
    repair: &mut Repair,
) {
    let pairs: Vec<Pair> = members
        .iter()
        .zip(shape)
        .filter_map(|(&track, &model)| Some((track, model, window.tracks[track][slot]?)))
        .collect();
    if pairs.len() == shape.len() && distances_match(&pairs, cluster.tolerance_m) {
        return;
    }
    let Some(sorted) = sort(pairs, cluster) else {
        return;
    };
    for &track in &sorted.strays {
        repair.rejected[track][slot] = true;
        window.tracks[track][slot] = None;
    }
    place_hidden(window, slot, (members, shape), &sorted, repair);
}

/// Takes out strays. A cluster of free size is first taken for a stiff one with one stray, if the
/// others then fit really well: a free size would bend itself to the stray.
fn sort(pairs: Vec<Pair>, cluster: &Cluster) -> Option<Sorted> {
    let tolerance_m = cluster.tolerance_m;
    if cluster.size == Size::Free
        && let Some(stiff) = sort_as(pairs.clone(), Size::Fixed, tolerance_m)
        && (stiff.strays.is_empty()
            || (stiff.strays.len() == 1
                && residual(&stiff.kept, Size::Fixed)? < WELL * tolerance_m))
    {
        return Some(stiff);
    }
    sort_as(pairs, cluster.size, tolerance_m)
}

fn sort_as(mut pairs: Vec<Pair>, size: Size, tolerance_m: f64) -> Option<Sorted> {
    let mut strays = Vec::new();
    while residual(&pairs, size)? > tolerance_m {
        // With three left there is no majority to say which one is wrong.
        if pairs.len() <= 3 {
            return None;
        }
        strays.push(pairs.remove(most_disturbing(&pairs, size)).0);
    }
    let fit = fit_pairs(&pairs, size)?;
    Some(Sorted {
        kept: pairs,
        strays,
        fit,
    })
}

fn place_hidden(
    window: &mut Window,
    slot: usize,
    (members, shape): (&[usize], &[Point3<f64>]),
    sorted: &Sorted,
    repair: &mut Repair,
) {
    // A roll that the seen markers do not determine must not place hidden ones. The figure goes with
    // the square of the width: a cluster at least 2 % as wide as long will do.
    if sorted.fit.spread < 4e-4 {
        return;
    }
    let seen: Vec<Point3<f64>> = sorted.kept.iter().map(|p| p.1).collect();
    let sum: nalgebra::Vector3<f64> = seen.iter().map(|p| p.coords).sum();
    let center = Point3::from(sum / seen.len() as f64);
    let reach = seen.iter().map(|p| (p - center).norm()).fold(0.0, f64::max);
    for (&track, &model) in members.iter().zip(shape) {
        if window.tracks[track][slot].is_none() {
            window.tracks[track][slot] = Some(sorted.fit.place(model));
            // Far outside the seen ones their noise is levered up.
            repair.levered[track][slot] = (model - center).norm() > LEVER_MAX * reach;
        }
    }
}

/// The cheap question that spares most frames the fit: is every distance as in the shape?
fn distances_match(pairs: &[Pair], tolerance_m: f64) -> bool {
    pairs.iter().enumerate().all(|(i, a)| {
        pairs[i + 1..]
            .iter()
            .all(|b| ((a.1 - b.1).norm() - (a.2 - b.2).norm()).abs() <= 0.5 * tolerance_m)
    })
}

fn fit_pairs(pairs: &[Pair], size: Size) -> Option<pose::Fit> {
    let points: Vec<_> = pairs.iter().map(|p| (p.1, p.2)).collect();
    pose::fit(&points, size)
}

/// Largest distance of a marker from its place, metres.
fn residual(pairs: &[Pair], size: Size) -> Option<f64> {
    let fit = fit_pairs(pairs, size)?;
    Some(
        pairs
            .iter()
            .map(|p| (fit.place(p.1) - p.2).norm())
            .fold(0.0, f64::max),
    )
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

/// The cluster's shape in the frame whose distances are closest to their medians.
fn typical_shape(window: &Window, members: &[usize]) -> Option<Vec<Point3<f64>>> {
    if members.len() < 3 {
        return None;
    }
    let complete = |slot: usize| {
        members
            .iter()
            .map(|&t| window.tracks[t][slot])
            .collect::<Option<Vec<_>>>()
    };
    // Two hundred frames spread over the window say as much as all of them.
    let stride = (window.len() / 200).max(1);
    let shapes: Vec<Vec<Point3<f64>>> = (0..window.len())
        .step_by(stride)
        .filter_map(complete)
        .collect();
    let distances: Vec<Vec<f64>> = shapes.iter().map(|s| pairwise(s)).collect();
    let pairs = distances.first()?.len();
    let medians: Vec<f64> = (0..pairs)
        .map(|p| median(distances.iter().map(|d| d[p]).collect()))
        .collect();
    let cost = |d: &[f64]| {
        d.iter()
            .zip(&medians)
            .map(|(a, b)| (a - b).abs())
            .sum::<f64>()
    };
    let best =
        (0..shapes.len()).min_by(|&a, &b| cost(&distances[a]).total_cmp(&cost(&distances[b])))?;
    shapes.into_iter().nth(best)
}

fn pairwise(points: &[Point3<f64>]) -> Vec<f64> {
    let n = points.len();
    (0..n)
        .flat_map(|i| (i + 1..n).map(move |j| (i, j)))
        .map(|(i, j)| (points[i] - points[j]).norm())
        .collect()
}

fn median(mut values: Vec<f64>) -> f64 {
    values.sort_unstable_by(f64::total_cmp);
    values.get(values.len() / 2).copied().unwrap_or(0.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use nalgebra::Rotation3;

    fn club_window() -> Window {
        let model = [
            (Landmark::ClubButt, [0.0, 0.0, 0.0]),
            (Landmark::ClubShaftLow, [1.0, 0.0, 0.0]),
            (Landmark::ClubHeadHeel, [1.05, 0.02, 0.03]),
            (Landmark::ClubHeadToe, [1.06, 0.02, 0.12]),
            (Landmark::ClubHeadBack, [1.04, -0.05, 0.08]),
        ];
        let placed = |p: [f64; 3]| {
            (0..100)
                .map(|i| {
                    Some(
                        Rotation3::from_euler_angles(0.0, 0.03 * f64::from(i), 0.2)
                            * Point3::from(p),
                    )
                })
                .collect()
        };
        Window {
            first_number: 0,
            rate_hz: 100.0,
            time_ns: (0..100).map(|i| i * 10_000_000).collect(),
            landmarks: model.iter().map(|m| m.0).collect(),
            tracks: model.iter().map(|m| placed(m.1)).collect(),
            lost: 0,
        }
    }

    fn counts(rejected: &[Vec<bool>]) -> Vec<usize> {
        rejected
            .iter()
            .map(|r| r.iter().filter(|r| **r).count())
            .collect()
    }

    #[test]
    fn a_hidden_marker_is_rebuilt_and_a_stray_one_rejected() {
        let truth = club_window();
        let mut w = truth.clone();
        (20..40).for_each(|i| w.tracks[2][i] = None);
        for i in 60..70 {
            w.tracks[1][i] = truth.tracks[1][i].map(|p| p + nalgebra::Vector3::new(0.0, 0.3, 0.0));
        }
        let rejected = repair(&mut w).rejected;
        assert_eq!(counts(&rejected), [0, 10, 0, 0, 0]);
        for (a, b) in w.tracks.iter().flatten().zip(truth.tracks.iter().flatten()) {
            assert!((a.unwrap() - b.unwrap()).norm() < 1e-9);
        }
    }

    #[test]
    fn with_three_markers_nobody_is_accused() {
        let mut w = club_window();
        w.landmarks.truncate(3);
        w.tracks.truncate(3);
        w.tracks[1][50] = w.tracks[1][50].map(|p| p + nalgebra::Vector3::new(0.0, 0.3, 0.0));
        assert_eq!(counts(&repair(&mut w).rejected), [0, 0, 0]);
    }
}
