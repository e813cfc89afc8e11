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
        let next = tried.iter().find(|t| !alike(&t.0, best)).map(|t| t.1);
        *least < CLEAR * score(left) && next.is_none_or(|n| n > NEXT * least)
    });
    (best.map(|b| b.0), tried)
}

/// Faults that are one to a coach.
fn alike(a: &Fault, b: &Fault) -> bool {
    match (a, b) {
        (Fault::Reversed(a, i), Fault::Reversed(b, j)) => a == b && i == j,
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
        let late = |late_s| {
            Some((
                late_s,
                with(n, &bench.read(bench.plates[n].series, late_s)?),
            ))
        };
        let late: Vec<(f64, f64)> = Bench::lags().filter_map(late).collect();
        tried.extend(lowest(&late).map(|(by, left)| (Fault::Late(n, by), left)));
        let reading = Reading { bench, plate: n };
        tried.extend(reading.gain());
        tried.extend(reading.offset());
    }
    let all = |late_s| {
        let sides = bench.plates.iter().map(|p| bench.read(p.series, late_s));
        let sides = sides.collect::<Option<Vec<_>>>()?;
        Some((late_s, score(bench.left(&sides.iter().collect::<Vec<_>>()))))
    };
    let all: Vec<(f64, f64)> = Bench::lags().filter_map(all).collect();
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

    fn scaled(&self, by: f64) -> Self {
        self.turned(
            &Matrix3::from_diagonal_element(by),
            &Matrix3::from_diagonal_element(by),
        )
    }
}

/// Faults of size: what fits one plate best by least squares.
struct Reading<'a> {
    bench: &'a Bench<'a>,
    plate: usize,
}

impl Reading<'_> {
    fn with(&self, side: &Side) -> f64 {
        let mut sides: Vec<&Side> = self.bench.plates.iter().map(|p| &p.wrenches).collect();
        sides[self.plate] = side;
        score(self.bench.left(&sides))
    }

    fn gain(&self) -> Option<(Fault, f64)> {
        let own = &self.bench.plates[self.plate].wrenches;
        let part = |i: usize, _| (own.force[i], own.moment[i]);
        let [too_much] = self.fit(part)?;
        let true_share = 1.0 - too_much;
        let fault = Fault::Gain(self.plate, 1.0 / true_share);
        (true_share > 0.2).then(|| (fault, self.with(&own.scaled(true_share))))
    }

    fn offset(&self) -> Option<(Fault, f64)> {
        let part = |_, axis: usize| (Vector3::ith(axis, 1.0), Vector3::zeros());
        let off: [f64; 3] = self.fit(part)?;
        let mut side = self.bench.plates[self.plate].wrenches.clone();
        side.force.iter_mut().for_each(|f| *f -= Vector3::from(off));
        Some((Fault::Offset(self.plate, off), self.with(&side)))
    }

    /// Coefficients of the parts (force, moment about the plate's middle) that together come nearest to
    /// what is left over, each in units of what a healthy rig leaves.
    fn fit<const N: usize>(
        &self,
        part: impl Fn(usize, usize) -> (Vector3<f64>, Vector3<f64>),
    ) -> Option<[f64; N]> {
        let bench = self.bench;
        let sides: Vec<&Side> = bench.plates.iter().map(|p| &p.wrenches).collect();
        let arm = bench.plates[self.plate].surface.center - bench.motion.about;
        let dot = |a: &(Vector3<f64>, Vector3<f64>), b: &(Vector3<f64>, Vector3<f64>)| {
            a.0.dot(&b.0) / HEALTHY.force + a.1.dot(&b.1) / HEALTHY.moment
        };
        let mut matrix = DMatrix::<f64>::zeros(N, N);
        let mut right = DVector::<f64>::zeros(N);
        for i in 0..bench.force.len() {
            let over = bench.over(&sides, i);
            let parts: [_; N] = std::array::from_fn(|k| {
                let (force, moment) = part(i, k);
                (force, moment + arm.cross(&force))
            });
            for (k, a) in parts.iter().enumerate() {
                right[k] += dot(a, &over);
                for (l, b) in parts.iter().enumerate() {
                    matrix[(k, l)] += dot(a, b);
                }
            }
        }
        let solved = matrix.lu().solve(&right)?;
        Some(std::array::from_fn(|k| solved[k]))
    }
}
