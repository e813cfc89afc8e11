//! Smooth curves in time: minimum-jerk splines through via points, and the easing step.
//!
//! A hand that is told a few points moves through them with the least jerk (Flash & Hogan 1985,
//! J Neurosci 5:1688, recalled): piecewise quintics whose third and fourth derivatives are
//! continuous. What the curves *mean* is not known here.

use nalgebra::{DMatrix, DVector};

/// A point to pass: its time (s), value, and where wanted its velocity and acceleration.
#[derive(Debug, Clone, Copy)]
pub(super) struct Via {
    t: f64,
    x: f64,
    v: Option<f64>,
    a: Option<f64>,
}

impl Via {
    /// Passed at the velocity and acceleration of least jerk.
    pub(super) const fn at(t: f64, x: f64) -> Self {
        Self {
            t,
            x,
            v: None,
            a: None,
        }
    }

    /// At rest.
    pub(super) const fn rest(t: f64, x: f64) -> Self {
        Self {
            t,
            x,
            v: Some(0.0),
            a: Some(0.0),
        }
    }

    /// The same point passed at velocity `v`.
    pub(super) const fn moving(self, v: f64) -> Self {
        Self { v: Some(v), ..self }
    }

    /// The same point on a curve this many times as large.
    pub(super) fn scaled(&self, size: f64) -> Self {
        Self {
            t: self.t,
            x: size * self.x,
            v: self.v.map(|v| size * v),
            a: self.a.map(|a| size * a),
        }
    }

    /// The same point passed at acceleration `a`.
    pub(super) const fn accelerating(self, a: f64) -> Self {
        Self { a: Some(a), ..self }
    }
}

#[derive(Debug, Clone, Copy)]
struct Knot {
    t: f64,
    x: f64,
    v: f64,
    a: f64,
}

/// A twice continuously differentiable function of time, constant before and after its knots.
#[derive(Debug, Clone)]
pub(super) struct Curve {
    knots: Vec<Knot>,
}

impl Curve {
    /// The curve of least jerk through `vias`, which are in order of time; the first and the last
    /// are taken as given (a missing velocity or acceleration there is zero).
    pub(super) fn through(vias: &[Via]) -> Self {
        let mut knots: Vec<Knot> = vias
            .iter()
            .map(|p| Knot {
                t: p.t,
                x: p.x,
                v: p.v.unwrap_or(0.0),
                a: p.a.unwrap_or(0.0),
            })
            .collect();
        let free = free_derivatives(vias);
        if !free.is_empty() {
            let solution = least_jerk(&mut knots, &free);
            set(&mut knots, &free, &solution);
        }
        Self { knots }
    }

    /// The value at time `t`, s.
    pub(super) fn at(&self, t: f64) -> f64 {
        let next = self.knots.partition_point(|k| k.t <= t);
        match (
            next.checked_sub(1).and_then(|i| self.knots.get(i)),
            self.knots.get(next),
        ) {
            (Some(k0), Some(k1)) => hermite(k0, k1, t),
            (Some(k), None) | (None, Some(k)) => k.x,
            (None, None) => 0.0,
        }
    }
}

/// 0 before 0, 1 after 1, with zero velocity and acceleration at both ends.
pub(super) fn ease(u: f64) -> f64 {
    let u = u.clamp(0.0, 1.0);
    u * u * u * (10.0 + u * (6.0 * u - 15.0))
}

/// The integral of [`ease`] from 0 to `u`.
pub(super) fn ease_integral(u: f64) -> f64 {
    let w = u.clamp(0.0, 1.0);
    w * w * w * w * (2.5 + w * (w - 3.0)) + (u - 1.0).max(0.0)
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Order {
    Velocity,
    Acceleration,
}

fn free_derivatives(vias: &[Via]) -> Vec<(usize, Order)> {
    let inner = 1..vias.len().saturating_sub(1);
    inner
        .flat_map(|i| {
            let p = vias[i];
            let v = p.v.is_none().then_some((i, Order::Velocity));
            let a = p.a.is_none().then_some((i, Order::Acceleration));
            v.into_iter().chain(a)
        })
        .collect()
}

fn set(knots: &mut [Knot], free: &[(usize, Order)], values: &DVector<f64>) {
    for (&(i, order), &value) in free.iter().zip(values.iter()) {
        match order {
            Order::Velocity => knots[i].v = value,
            Order::Acceleration => knots[i].a = value,
        }
    }
}

/// Free velocities make the fourth derivative continuous, free accelerations the third. Both
/// conditions are linear in the unknowns, so that their matrix is read off column by column.
fn least_jerk(knots: &mut [Knot], free: &[(usize, Order)]) -> DVector<f64> {
    let n = free.len();
    let mut residual_at = |values: &DVector<f64>| {
        set(knots, free, values);
        DVector::from_iterator(n, free.iter().map(|&(i, order)| jump(knots, i, order)))
    };
    let offset = residual_at(&DVector::zeros(n));
    let mut matrix = DMatrix::zeros(n, n);
    for column in 0..n {
        let mut one = DVector::zeros(n);
        one[column] = 1.0;
        matrix.set_column(column, &(residual_at(&one) - &offset));
    }
    matrix
        .lu()
        .solve(&-offset)
        .unwrap_or_else(|| DVector::zeros(n))
}

/// The step at knot `i` of the derivative that belongs to a free velocity or acceleration.
fn jump(knots: &[Knot], i: usize, order: Order) -> f64 {
    let (before, here, after) = (&knots[i - 1], &knots[i], &knots[i + 1]);
    let reversed = |k: &Knot| Knot {
        t: -k.t,
        v: -k.v,
        ..*k
    };
    let (jerk_after, snap_after) = start_derivatives(here, after);
    let (jerk_before, snap_before) = start_derivatives(&reversed(here), &reversed(before));
    match order {
        Order::Velocity => snap_after - snap_before,
        Order::Acceleration => jerk_after + jerk_before,
    }
}

/// Third and fourth derivative at the start of the quintic from `k0` to `k1`.
fn start_derivatives(k0: &Knot, k1: &Knot) -> (f64, f64) {
    let h = k1.t - k0.t;
    let [c3, c4, _] = coefficients(k0, k1);
    (6.0 * c3 / h.powi(3), 24.0 * c4 / h.powi(4))
}

/// Coefficients of u³, u⁴, u⁵ with u running from 0 to 1 between the knots.
fn coefficients(k0: &Knot, k1: &Knot) -> [f64; 3] {
    let h = k1.t - k0.t;
    let dx = k1.x - k0.x;
    let (v0, v1) = (k0.v * h, k1.v * h);
    let (a0, a1) = (k0.a * h * h / 2.0, k1.a * h * h / 2.0);
    [
        10.0 * dx - 6.0 * v0 - 4.0 * v1 - 3.0 * a0 + a1,
        -15.0 * dx + 8.0 * v0 + 7.0 * v1 + 3.0 * a0 - 2.0 * a1,
        6.0 * dx - 3.0 * (v0 + v1) - a0 + a1,
    ]
}

fn hermite(k0: &Knot, k1: &Knot, t: f64) -> f64 {
    let h = k1.t - k0.t;
    let u = (t - k0.t) / h;
    let [c3, c4, c5] = coefficients(k0, k1);
    k0.x + u * (k0.v * h + u * (k0.a * h * h / 2.0 + u * (c3 + u * (c4 + u * c5))))
}

#[cfg(test)]
mod tests {
    use super::{Curve, Via, ease, ease_integral};

    fn derivative(c: &Curve, t: f64, order: u32) -> f64 {
        let h = 1e-2;
        if order == 0 {
            return c.at(t);
        }
        (derivative(c, t + h / 2.0, order - 1) - derivative(c, t - h / 2.0, order - 1)) / h
    }

    #[test]
    fn rest_to_rest_is_the_minimum_jerk_polynomial() {
        // Flash & Hogan 1985, equation for a straight reach (recalled): 10u³ − 15u⁴ + 6u⁵.
        let c = Curve::through(&[Via::rest(1.0, 2.0), Via::rest(3.0, 5.0)]);
        for u in [0.1, 0.3, 0.5, 0.9_f64] {
            let expected = 2.0 + 3.0 * (10.0 * u.powi(3) - 15.0 * u.powi(4) + 6.0 * u.powi(5));
            assert!((c.at(1.0 + 2.0 * u) - expected).abs() < 1e-12);
        }
        assert_eq!((c.at(0.0), c.at(9.0)), (2.0, 5.0));
    }

    #[test]
    fn a_polynomial_of_fifth_degree_is_reproduced() {
        let f = |t: f64| 1.0 - t + 0.5 * t * t + 2.0 * t.powi(3) - t.powi(4) + 0.3 * t.powi(5);
        let v = |t: f64| -1.0 + t + 6.0 * t * t - 4.0 * t.powi(3) + 1.5 * t.powi(4);
        let a = |t: f64| 1.0 + 12.0 * t - 12.0 * t * t + 6.0 * t.powi(3);
        let full = |t: f64| Via::at(t, f(t)).moving(v(t)).accelerating(a(t));
        let c = Curve::through(&[
            full(0.0),
            Via::at(0.4, f(0.4)),
            Via::at(1.1, f(1.1)),
            full(2.0),
        ]);
        for i in 0..=40 {
            let t = f64::from(i) * 0.05;
            assert!((c.at(t) - f(t)).abs() < 1e-9, "{t}");
        }
    }

    #[test]
    fn the_fourth_derivative_is_continuous_at_a_free_point() {
        let c = Curve::through(&[Via::rest(0.0, 0.0), Via::at(1.0, 2.0), Via::rest(2.5, 1.0)]);
        let (before, after) = (derivative(&c, 0.97, 4), derivative(&c, 1.03, 4));
        assert!(
            (before - after).abs() < 0.1 * before.abs().max(10.0),
            "{before} {after}"
        );
    }

    #[test]
    fn the_easing_integral_differentiates_to_the_easing() {
        for u in [-0.2, 0.1, 0.5, 0.8, 1.3] {
            let d = (ease_integral(u + 1e-5) - ease_integral(u - 1e-5)) / 2e-5;
            assert!((d - ease(u)).abs() < 1e-8);
        }
    }
}
