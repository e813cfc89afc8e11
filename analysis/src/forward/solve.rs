//! Root finding of the generator itself: Newton in several unknowns, bisection and peaks in one.
//!
//! Shares nothing with the rest of the crate, whose results it judges.

use nalgebra::{DMatrix, DVector};

/// Unknowns that make `residual` zero, from `start`: damped Newton with a numerical Jacobian.
///
/// Where no root is near, the best point found is returned: the tests hold every golfer to the
/// wanted values.
pub(super) fn newton<const N: usize>(
    start: [f64; N],
    residual: impl Fn(&[f64; N]) -> [f64; N],
) -> [f64; N] {
    let mut x = start;
    let mut r = residual(&x);
    for _ in 0..40 {
        if norm(&r) < 1e-11 {
            break;
        }
        let Some(step) = jacobian(&x, &residual)
            .lu()
            .solve(&DVector::from_column_slice(&r))
        else {
            break;
        };
        let mut share = 1.0;
        let (next, at_next) = loop {
            let next: [f64; N] = std::array::from_fn(|i| x[i] - share * step[i]);
            let at_next = residual(&next);
            if norm(&at_next) < norm(&r) || share < 1e-3 {
                break (next, at_next);
            }
            share *= 0.5;
        };
        if norm(&at_next) >= norm(&r) {
            break;
        }
        (x, r) = (next, at_next);
    }
    x
}

fn jacobian<const N: usize>(
    x: &[f64; N],
    residual: &impl Fn(&[f64; N]) -> [f64; N],
) -> DMatrix<f64> {
    const STEP: f64 = 1e-5;
    let mut matrix = DMatrix::zeros(N, N);
    for column in 0..N {
        let shifted = |by: f64| {
            let mut moved = *x;
            moved[column] += by;
            residual(&moved)
        };
        let (above, below) = (shifted(STEP), shifted(-STEP));
        for row in 0..N {
            matrix[(row, column)] = (above[row] - below[row]) / (2.0 * STEP);
        }
    }
    matrix
}

/// Largest residual; not a number counts as infinitely bad.
fn norm<const N: usize>(r: &[f64; N]) -> f64 {
    r.iter().fold(0.0, |worst, v| {
        if v.is_finite() {
            f64::max(worst, v.abs())
        } else {
            f64::INFINITY
        }
    })
}

/// First time in `[from, to]` at which `f` changes sign.
pub(super) fn crossing(from: f64, to: f64, f: impl Fn(f64) -> f64) -> Option<f64> {
    let mut before = (from, f(from));
    for t in grid(from, to).skip(1) {
        let here = (t, f(t));
        if (before.1 < 0.0) != (here.1 < 0.0) {
            return Some(bisect(before.0, t, &f));
        }
        before = here;
    }
    None
}

/// Last time in `[from, to]` at which `f` changes sign.
pub(super) fn last_crossing(from: f64, to: f64, f: impl Fn(f64) -> f64) -> Option<f64> {
    crossing(-to, -from, |t| f(-t)).map(|t| -t)
}

/// Stretches of `[from, to]` in which `f` is positive.
pub(super) fn positive(from: f64, to: f64, f: impl Fn(f64) -> f64) -> Vec<(f64, f64)> {
    let mut stretches = Vec::new();
    let mut before = (from, f(from));
    let mut since = (before.1 > 0.0).then_some(from);
    for t in grid(from, to).skip(1) {
        let here = (t, f(t));
        if (before.1 > 0.0) != (here.1 > 0.0) {
            let change = bisect(before.0, t, &|t| -f(t));
            match since.take() {
                Some(start) => stretches.push((start, change)),
                None => since = Some(change),
            }
        }
        before = here;
    }
    stretches.extend(since.map(|start| (start, to)));
    stretches
}

/// Time and value of the largest `f` in `[from, to]`.
pub(super) fn peak(from: f64, to: f64, f: impl Fn(f64) -> f64) -> (f64, f64) {
    let coarse = grid(from, to)
        .map(|t| (t, f(t)))
        .fold((from, f64::NEG_INFINITY), higher);
    let (mut low, mut high) = ((coarse.0 - GRID_S).max(from), (coarse.0 + GRID_S).min(to));
    for _ in 0..40 {
        let third = (high - low) / 3.0;
        if f(low + third) < f(high - third) {
            low += third;
        } else {
            high -= third;
        }
    }
    let t = 0.5 * (low + high);
    [(t, f(t)), (from, f(from)), (to, f(to))]
        .into_iter()
        .fold(coarse, higher)
}

const GRID_S: f64 = 1e-3;

fn grid(from: f64, to: f64) -> impl Iterator<Item = f64> {
    std::iter::successors(Some(from), move |&t| (t < to).then(|| (t + GRID_S).min(to)))
}

fn higher(a: (f64, f64), b: (f64, f64)) -> (f64, f64) {
    if b.1 > a.1 { b } else { a }
}

fn bisect(mut low: f64, mut high: f64, f: &impl Fn(f64) -> f64) -> f64 {
    let low_side = f(low) < 0.0;
    for _ in 0..60 {
        let middle = 0.5 * (low + high);
        if (f(middle) < 0.0) == low_side {
            low = middle;
        } else {
            high = middle;
        }
    }
    0.5 * (low + high)
}

#[cfg(test)]
mod tests {
    use super::{crossing, last_crossing, newton, peak, positive};

    #[test]
    fn newton_meets_a_circle_and_a_hyperbola() {
        let [x, y] = newton([2.0, 0.3], |[x, y]| [x * x + y * y - 4.0, x * y - 1.0]);
        assert!((x * x + y * y - 4.0).abs() < 1e-10 && (x * y - 1.0).abs() < 1e-10);
    }

    #[test]
    fn first_and_last_crossing_of_a_sine() {
        use std::f64::consts::PI;
        let first = crossing(1.0, 9.0, f64::sin).unwrap();
        let last = last_crossing(1.0, 9.0, f64::sin).unwrap();
        assert!((first - PI).abs() < 1e-12 && (last - 2.0 * PI).abs() < 1e-12);
        assert!(crossing(0.5, 1.0, f64::sin).is_none());
    }

    #[test]
    fn a_sine_is_positive_in_two_of_three_half_turns() {
        use std::f64::consts::PI;
        let found = positive(0.5, 2.5 * PI, f64::sin);
        let wanted = [(0.5, PI), (2.0 * PI, 2.5 * PI)];
        assert_eq!(found.len(), 2);
        for (f, w) in found.iter().zip(wanted) {
            assert!((f.0 - w.0).abs() + (f.1 - w.1).abs() < 1e-10, "{found:?}");
        }
        assert!(positive(PI + 0.1, 6.0, f64::sin).is_empty());
    }

    #[test]
    fn peaks_inside_and_at_the_edge() {
        let inside = peak(0.0, 3.0, f64::sin);
        assert!((inside.0 - std::f64::consts::FRAC_PI_2).abs() < 1e-6);
        assert!((peak(0.0, 1.0, f64::sin).0 - 1.0).abs() < 1e-12);
    }
}
