//! Clusters of markers on one stiff part: exchanged markers are put back, markers that left their
//! place are rejected, hidden ones rebuilt from the others.
//!
//! The shape is the window's own: the frame whose distances are closest to their medians. How far a
//! marker may be from its place is the window's own too (`judge`). Markers of the body, in a cluster
//! or not, are first held against their own smoothness (`signal::swaps`).

mod judge;
pub mod noise;
mod whole;

use nalgebra::Point3;

use crate::body::pose::{self, Size};
use crate::landmark::Landmark;
use crate::signal::{order, swaps};
use crate::window::Window;

/// A cluster and how it may be judged.
#[derive(Debug, Clone, Copy)]
pub struct Cluster {
    /// Markers on one stiff part.
    pub landmarks: &'static [Landmark],
    /// Whether the size may change.
    pub size: Size,
    /// A marker farther than this from its place, metres, is rejected in any case.
    pub tolerance_m: f64,
    /// A marker no farther than this from its place, metres, is in order in any case.
    pub floor_m: f64,
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
        floor_m: 0.03,
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
        floor_m: 0.03,
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
        floor_m: 0.008,
    },
];

/// A marker farther out than this many times the seen markers' reach is placed by a long lever.
const LEVER_MAX: f64 = 3.0;

/// What was wrong with one marker in the window.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Fault {
    /// The marker.
    pub landmark: Landmark,
    /// Slots in which it was not seen.
    pub missing: usize,
    /// Slots in which it was seen out of its place and rejected.
    pub rejected: usize,
    /// Slots in which it had exchanged its label with another marker and was put back.
    pub exchanged: usize,
    /// The marker it exchanged with in most of them.
    pub with: Option<Landmark>,
}

/// What was done to each track, slot by slot.
#[derive(Debug, Clone)]
pub struct Repair {
    /// The marker was seen out of its place and rejected.
    pub rejected: Vec<Vec<bool>>,
    /// The marker had exchanged its label with this one and was put back.
    pub exchanged: Vec<Vec<Option<Landmark>>>,
    /// The marker was placed from others that lie far from it: good for a direction, too noisy for
    /// a speed.
    pub levered: Vec<Vec<bool>>,
}

/// Puts exchanged markers back and rejects those out of their place, on tracks as they were measured
/// (nothing bridged). [`rebuild`] comes after.
pub fn judge(window: &mut Window) -> Repair {
    let none = vec![vec![false; window.len()]; window.landmarks.len()];
    let mut repair = Repair {
        rejected: none.clone(),
        exchanged: vec![vec![None; window.len()]; window.landmarks.len()],
        levered: none,
    };
    whole::put_right(window, &mut repair);
    // The club's upper end moves like the hands that hold it, and a stiff fit hardly sees it go astray:
    // the whole club turns a little about its distant head.
    let hand_like = |l: &Landmark| {
        let grip = [Landmark::ClubButt, Landmark::ClubGripA, Landmark::ClubGripB];
        !l.is_club() || grip.contains(l)
    };
    let body: Vec<bool> = window.landmarks.iter().map(hand_like).collect();
    let done = swaps::sort_out(&mut window.tracks, &body, window.rate_hz);
    for exchange in done.exchanges {
        let [a, b] = exchange.tracks;
        for slot in exchange.slots {
            repair.note_exchange(window, [a, b], slot);
        }
    }
    for (track, slot) in done.rejected {
        repair.rejected[track][slot] = true;
    }
    for cluster in CLUSTERS {
        judge::cluster(window, cluster, &mut repair);
    }
    repair
}

impl Repair {
    fn note_exchange(&mut self, window: &Window, [a, b]: [usize; 2], slot: usize) {
        self.exchanged[a][slot] = Some(window.landmarks[b]);
        self.exchanged[b][slot] = Some(window.landmarks[a]);
    }
}

/// Places hidden cluster markers from the others.
pub fn rebuild(window: &mut Window, repair: &mut Repair) {
    for cluster in CLUSTERS {
        let members = members(window, cluster.landmarks);
        let mut hidden = vec![false; window.len()];
        for &track in &members {
            let points = hidden.iter_mut().zip(&window.tracks[track]);
            points.for_each(|(hidden, point)| *hidden |= point.is_none());
        }
        if !hidden.contains(&true) {
            continue;
        }
        let Some(shape) = typical_shape(window, &members) else {
            continue;
        };
        for slot in (0..window.len()).filter(|&i| hidden[i]) {
            let pairs = seen(window, slot, (&members, &shape));
            if pairs.len() >= 3
                && let Some(fit) = placement(&pairs, cluster)
            {
                place_hidden(window, slot, (&members, &shape), (&pairs, &fit), repair);
            }
        }
    }
}

/// A marker seen: its track, its place in the shape, its place measured.
type Pair = (usize, Point3<f64>, Point3<f64>);

fn members(window: &Window, landmarks: &[Landmark]) -> Vec<usize> {
    (0..window.landmarks.len())
        .filter(|&i| landmarks.contains(&window.landmarks[i]))
        .collect()
}

fn seen(window: &Window, slot: usize, (members, shape): (&[usize], &[Point3<f64>])) -> Vec<Pair> {
    members
        .iter()
        .zip(shape)
        .filter_map(|(&track, &model)| Some((track, model, window.tracks[track][slot]?)))
        .collect()
}

/// The placement that hidden markers are rebuilt by: stiff where that fits well, else of the size that
/// the cluster may have. `None` where the seen ones do not fit.
fn placement(pairs: &[Pair], cluster: &Cluster) -> Option<pose::Fit> {
    let size = if residual(pairs, Size::Fixed)? <= judge::WELL * cluster.tolerance_m {
        Size::Fixed
    } else {
        cluster.size
    };
    (residual(pairs, size)? <= cluster.tolerance_m).then(|| fit_pairs(pairs, size))?
}

fn place_hidden(
    window: &mut Window,
    slot: usize,
    (members, shape): (&[usize], &[Point3<f64>]),
    (pairs, fit): (&[Pair], &pose::Fit),
    repair: &mut Repair,
) {
    // A roll that the seen markers do not determine must not place hidden ones. The figure goes with
    // the square of the width: a cluster at least 2 % as wide as long will do.
    if fit.spread < 4e-4 {
        return;
    }
    let seen: Vec<Point3<f64>> = pairs.iter().map(|p| p.1).collect();
    let sum: nalgebra::Vector3<f64> = seen.iter().map(|p| p.coords).sum();
    let center = Point3::from(sum / seen.len() as f64);
    let reach = seen.iter().map(|p| (p - center).norm()).fold(0.0, f64::max);
    for (&track, &model) in members.iter().zip(shape) {
        if window.tracks[track][slot].is_none() {
            window.tracks[track][slot] = Some(fit.place(model));
            // Far outside the seen ones their noise is levered up.
            repair.levered[track][slot] = (model - center).norm() > LEVER_MAX * reach;
        }
    }
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
    let mut costs = vec![0.0; shapes.len()];
    for (i, j) in (0..members.len()).flat_map(|i| (i + 1..members.len()).map(move |j| (i, j))) {
        let distances: Vec<f64> = shapes.iter().map(|s| (s[i] - s[j]).norm()).collect();
        let usual = median(distances.clone());
        let off = distances.iter().map(|d| (d - usual).abs());
        costs
            .iter_mut()
            .zip(off)
            .for_each(|(cost, off)| *cost += off);
    }
    let best = (0..shapes.len()).min_by(|&a, &b| costs[a].total_cmp(&costs[b]))?;
    shapes.into_iter().nth(best)
}

fn median(mut values: Vec<f64>) -> f64 {
    order::median(&mut values).unwrap_or(0.0)
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
            arrived: vec![true; 100],
        }
    }

    fn repaired(window: &mut Window) -> Repair {
        let mut repair = judge(window);
        rebuild(window, &mut repair);
        repair
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
        let rejected = repaired(&mut w).rejected;
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
        assert_eq!(counts(&repaired(&mut w).rejected), [0, 0, 0]);
    }

    #[test]
    fn exchanged_markers_are_put_back() {
        let truth = club_window();
        for (a, b) in [(2, 3), (3, 4), (2, 4), (1, 2), (0, 1), (0, 4)] {
            for range in [0..12, 50..51, 60..90, 95..100] {
                let mut w = truth.clone();
                for slot in range.clone() {
                    let other = w.tracks[b][slot];
                    w.tracks[b][slot] = std::mem::replace(&mut w.tracks[a][slot], other);
                }
                let repair = repaired(&mut w);
                assert_eq!(w.tracks, truth.tracks, "{a} {b} {range:?}");
                assert!(
                    range
                        .clone()
                        .all(|s| repair.exchanged[a][s] == Some(w.landmarks[b])),
                    "{a} {b} {range:?}"
                );
            }
        }
    }
}
