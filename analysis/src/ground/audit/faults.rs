//! Faults of a rig that are tried against the motion, and which of them explains a disagreement.

use nalgebra::{DMatrix, DVector, Matrix3, Vector3};

use super::{Bench, Left, Side, lowest};

/// What a healthy rig leaves over, body weights and body weights times metres: the model of the body and
/// its markers, not the plates.
const HEALTHY: Left = Left {
    force: 0.015 * 0.015,
    moment: 0.014 * 0.014,
};
/// How many times that (squared) must be left over before anything is looked for.
const ODD: f64 = 2.5;
/// Share of it (squared) that a fault must take away, and how much worse every other one must do.
const CLEAR: f64 = 0.5;
const NEXT: f64 = 1.3;

/// An axis of a plate.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Axis {
    /// The plate's x.
    X,
    /// The plate's y.
    Y,
}

/// What may be wrong with a rig; plates by their place in the window.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Fault {
    /// A horizontal axis points the other way.
    Reversed(usize, Axis),
    /// A plate is turned half round.
    Turned(usize),
    /// Two plates' channels are exchanged.
    Swapped(usize, usize),
    /// One plate's samples are late, seconds.
    Late(usize, f64),
    /// All plates' samples are late, seconds.
    AllLate(f64),
    /// A plate reads this many times what it carries.
    Gain(usize, f64),
    /// A plate reads so much too much, N (x, y, z of the golfer frame).
    Offset(usize, [f64; 3]),
}

/// The fault that clearly explains what is left over, if one does.
pub(super) fn explain(bench: &Bench<'_>, left: Left) -> (Option<Fault>, Vec<(Fault, f64)>) {
    if score(left) < ODD {
        return (None, Vec::new());
    }
    let mut tried = candidates(bench);
    tried.sort_by(|a, b| a.1.total_cmp(&b.1));
    let best = tried.first().copied().filter(|(best, least)| {
        let next = tried
            .iter()
            .find(|t| !alike(bench, &t.0, best))
            .map(|t| t.1);
        *least < CLEAR * score(left) && next.is_none_or(|n| n > NEXT * least)
    });
    (best.map(|b| b.0), tried)
}

/// Faults that are one to a coach. Without a told mass nothing says which of two plates is right.
fn alike(bench: &Bench<'_>, a: &Fault, b: &Fault) -> bool {
    match (a, b) {
        (Fault::Gain(..), Fault::Gain(..)) if !bench.motion.told => true,
        _ => a == b,
    }
}

/// What is left over in units of what a healthy rig leaves.
pub(super) fn score(left: Left) -> f64 {
    0.5 * (left.force / HEALTHY.force + left.moment / HEALTHY.moment)
}

/// Every fault with what it would leave over.
pub(super) fn candidates(bench: &Bench<'_>) -> Vec<(Fault, f64)> {
    let count = bench.plates.len();
    let own: Vec<&Side> = bench.plates.iter().map(|p| &p.wrenches).collect();
    let with = |n: usize, side: &Side| {
        let mut sides = own.clone();
        sides[n] = side;
        score(bench.left(&sides))
    };
    let mut tried = Vec::new();
    for n in 0..count {
        let [x, y] = bench.plates[n].surface.along;
        for (axis, along) in [(Axis::X, x), (Axis::Y, y)] {
            // The force's channel alone, or the whole axis: a moment mirrors as an axial vector does.
            let flip = Matrix3::identity() - along * along.transpose() * 2.0;
            let force = own[n].turned(&flip, &Matrix3::identity());
            let whole = own[n].turned(&flip, &-flip);
            tried.push((Fault::Reversed(n, axis), with(n, &force)));
            tried.push((Fault::Reversed(n, axis), with(n, &whole)));
        }
        let up = x.cross(&y);
        let half = up * up.transpose() * 2.0 - Matrix3::identity();
        tried.push((Fault::Turned(n), with(n, &own[n].turned(&half, &half))));
        tried.extend((0..n).map(|m| {
            let mut sides = own.clone();
            sides.swap(m, n);
            (Fault::Swapped(m, n), score(bench.left(&sides)))
        }));
        let late = bench.each_lag(|lag| {
            let mut sides = own.clone();
            sides[n] = bench.plates[n].late[lag].as_ref()?;
            Some(sides)
        });
        let late: Vec<(f64, f64)> = late.map(|(s, left)| (s, score(left))).collect();
        tried.extend(lowest(&late).map(|(by, left)| (Fault::Late(n, by), left)));
        tried.extend(gain(bench, n));
        tried.extend(offset(bench, n));
    }
    let all = bench.all_late();
    let all: Vec<(f64, f64)> = all.map(|(s, left)| (s, score(left))).collect();
    tried.extend(lowest(&all).map(|(by, left)| (Fault::AllLate(by), left)));
    tried
}

impl Side {
    fn turned(&self, force: &Matrix3<f64>, moment: &Matrix3<f64>) -> Self {
        Self {
            force: self.force.iter().map(|f| force * f).collect(),
            moment: self.moment.iter().map(|m| moment * m).collect(),
        }
    }
}

/// Force and moment about the motion's point, one entry a bell.
type Wrenches = Vec<(Vector3<f64>, Vector3<f64>)>;

fn gain(bench: &Bench<'_>, n: usize) -> Option<(Fault, f64)> {
    let own = &bench.plates[n].wrenches;
    let parts = own.force.iter().zip(&own.moment);
    let (found, left) = fit(bench, vec![moved(bench, n, parts.map(|(f, m)| (*f, *m)))])?;
    let true_share = 1.0 - found[0];
    (true_share > 0.2).then(|| (Fault::Gain(n, 1.0 / true_share), left))
}

fn offset(bench: &Bench<'_>, n: usize) -> Option<(Fault, f64)> {
    let even =
        |axis| (0..bench.force.len()).map(move |_| (Vector3::ith(axis, 1.0), Vector3::zeros()));
    let parts = [0, 1, 2].map(|axis| moved(bench, n, even(axis)));
    let (found, left) = fit(bench, parts.into())?;
    Some((Fault::Offset(n, [found[0], found[1], found[2]]), left))
}

/// Wrenches about the middle of a plate as ones about the motion's point.
fn moved(
    bench: &Bench<'_>,
    n: usize,
    of: impl Iterator<Item = (Vector3<f64>, Vector3<f64>)>,
) -> Wrenches {
    let arm = bench.plates[n].surface.center - bench.motion.about;
    of.map(|(force, moment)| (force, moment + arm.cross(&force)))
        .collect()
}

/// Faults of size: how much of each part comes nearest to what is left over, by least squares in units
/// of what a healthy rig leaves, and what is left then. A body that was weighed on these plates may weigh
/// something else.
fn fit(bench: &Bench<'_>, mut parts: Vec<Wrenches>) -> Option<(Vec<f64>, f64)> {
    if !bench.motion.told {
        let motion = bench.force.iter().zip(&bench.moment);
        parts.push(motion.map(|(f, m)| (*f, *m)).collect());
    }
    let sides: Vec<&Side> = bench.plates.iter().map(|p| &p.wrenches).collect();
    let bells = bench.force.len();
    let over: Wrenches = (0..bells).map(|i| bench.over(&sides, i)).collect();
    let dot = |a: &Wrenches, b: &Wrenches| -> f64 {
        let of = a.iter().zip(b);
        of.map(|(a, b)| a.0.dot(&b.0) / HEALTHY.force + a.1.dot(&b.1) / HEALTHY.moment)
            .sum()
    };
    let matrix = DMatrix::from_fn(parts.len(), parts.len(), |k, l| dot(&parts[k], &parts[l]));
    let right = DVector::from_fn(parts.len(), |k, _| dot(&parts[k], &over));
    let found = matrix.lu().solve(&right)?;
    // What a least-squares fit takes away is its product with the right side.
    let square = (dot(&over, &over) - found.dot(&right)).max(0.0);
    let weight = bench.motion.weight_n * bench.motion.weight_n * bells as f64;
    Some((found.iter().copied().collect(), 0.5 * square / weight))
}
