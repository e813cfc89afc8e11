//! Least-squares motion of a point or a direction that turns fast: polynomials in a frame that
//! turns along.
//!
//! A club head turns by two right angles in the stretch that a fit near impact needs; coordinates
//! are then no polynomials (REFERENCES A3: cubic by axis is 2–4 % off), and lengths between frames
//! add up noise when the point is slow. In a frame that turns with the point about the centre of its
//! path what is left is slow and nearly straight: few coefficients, linear in the data, no bias
//! from chords. Where to cut is the caller's decision.

use nalgebra::{Rotation3, Vector3};

use super::local_fit::{Normal, TERMS_MAX};

/// Refinements of the frame's turning; the first guess is a plain polynomial.
const ROUNDS: usize = 3;
/// More turning than this within the stretch is no circle but noise or a reversal, rad.
const TURN_MAX: f64 = 4.0;

/// How a frame turns: about a fixed axis, evenly quickening.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
struct Frame {
    /// Time at which it is aligned with the bay, seconds.
    zero_s: f64,
    /// Point about which it turns.
    pivot: Vector3<f64>,
    /// Angular velocity then, rad/s, and its slope, rad/s², along the same axis.
    turning: Vector3<f64>,
    quickening: Vector3<f64>,
}

/// A fitted stretch of motion.
#[derive(Debug, Clone, PartialEq)]
pub struct Fit {
    center_s: f64,
    frame: Frame,
    /// Coefficients in the turning frame, from the constant up, about `center_s`.
    coefficients: Vec<Vector3<f64>>,
}

/// Motion at one instant; units of what was fitted, seconds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct State {
    /// Position (or direction).
    pub value: Vector3<f64>,
    /// First derivative.
    pub velocity: Vector3<f64>,
    /// Second derivative.
    pub acceleration: Vector3<f64>,
}

/// A sample: seconds, value.
pub type Sample = (f64, Vector3<f64>);

impl Fit {
    /// Fits a fast point: the frame turns about the centre of its path's circle. `None` when there
    /// are not more samples than coefficients or they do not determine them.
    #[must_use]
    pub fn point(samples: &[Sample], degree: usize, center_s: f64) -> Option<Self> {
        Self::turned(samples, degree, center_s, State::circle)
    }

    /// Fits a direction: the frame turns about the origin. `None` as for a point.
    #[must_use]
    pub fn direction(samples: &[Sample], degree: usize, center_s: f64) -> Option<Self> {
        Self::turned(samples, degree, center_s, State::cone)
    }

    /// Fits plain polynomials: for what turns little in the stretch. `None` as for a point.
    #[must_use]
    pub fn plain(samples: &[Sample], degree: usize, center_s: f64) -> Option<Self> {
        let solver = Solver::new(samples, degree, center_s)?;
        Some(Self {
            center_s,
            frame: Frame::default(),
            coefficients: solver.solve(samples.iter().map(|s| s.1))?,
        })
    }

    fn turned(
        samples: &[Sample],
        degree: usize,
        center_s: f64,
        frame: impl Fn(&State) -> Frame,
    ) -> Option<Self> {
        let solver = Solver::new(samples, degree, center_s)?;
        let (first, last) = (samples.first()?.0, samples.last()?.0);
        let middle = 0.5 * (first + last);
        // Guessed at the middle, where a plain polynomial is surest.
        let mut fit = Self::plain(samples, degree.min(3), middle)?;
        for _ in 0..ROUNDS {
            let frame = Frame {
                zero_s: middle,
                ..frame(&fit.state(middle))
            };
            if frame.turning.norm() * (last - first) > TURN_MAX {
                return Self::plain(samples, degree, center_s);
            }
            let turned = |(t, value): &Sample| frame.turn(*t).inverse() * (value - frame.pivot);
            fit = Self {
                center_s,
                frame,
                coefficients: solver.solve(samples.iter().map(turned))?,
            };
        }
        Some(fit)
    }

    /// The motion at a time, seconds.
    #[must_use]
    pub fn state(&self, time_s: f64) -> State {
        let dt = time_s - self.center_s;
        let [mut q, mut dq, mut ddq] = [Vector3::zeros(); 3];
        for c in self.coefficients.iter().rev() {
            ddq = ddq * dt + dq * 2.0;
            dq = dq * dt + q;
            q = q * dt + c;
        }
        let frame = &self.frame;
        let turn = frame.turn(time_s);
        let w = frame.turning + frame.quickening * (time_s - frame.zero_s);
        let pushed = w.cross(&w.cross(&q)) + w.cross(&dq) * 2.0 + frame.quickening.cross(&q);
        State {
            value: frame.pivot + turn * q,
            velocity: turn * (w.cross(&q) + dq),
            acceleration: turn * (pushed + ddq),
        }
    }
}

impl Frame {
    /// Its rotation at a time, seconds.
    fn turn(&self, time_s: f64) -> Rotation3<f64> {
        let dt = time_s - self.zero_s;
        Rotation3::new((self.turning + self.quickening * (0.5 * dt)) * dt)
    }

    /// A frame about an axis: turning and the share by which it quickens a second.
    fn new(pivot: Vector3<f64>, turning: Vector3<f64>, quickening: f64) -> Self {
        Self {
            zero_s: 0.0,
            pivot,
            turning,
            quickening: turning * quickening,
        }
    }
}

impl State {
    /// The frame that goes along with a point on its circle.
    fn circle(&self) -> Frame {
        let square = self.velocity.norm_squared();
        let turning = self.velocity.cross(&self.acceleration) / square.max(1e-9);
        let rate_square = turning.norm_squared();
        if rate_square < 1e-2 {
            return Frame::default();
        }
        let pivot = self.value + turning.cross(&self.velocity) / rate_square;
        Frame::new(
            pivot,
            turning,
            self.velocity.dot(&self.acceleration) / square,
        )
    }

    /// The frame that goes along with a direction.
    fn cone(&self) -> Frame {
        let spin = self.spin();
        let quickening = spin.dot(&self.spin_slope()) / spin.norm_squared().max(1.0);
        Frame::new(Vector3::zeros(), spin, quickening)
    }

    /// Angular velocity of a direction (need not have unit length), rad/s.
    #[must_use]
    pub fn spin(&self) -> Vector3<f64> {
        self.value.cross(&self.velocity) / self.value.norm_squared().max(1e-12)
    }

    /// Angular acceleration of a direction, rad/s².
    #[must_use]
    pub fn spin_slope(&self) -> Vector3<f64> {
        let square = self.value.norm_squared().max(1e-12);
        let drift = 2.0 * self.value.dot(&self.velocity) / square;
        self.value.cross(&self.acceleration) / square - self.spin() * drift
    }
}

/// The normal equations of the samples' times: the same for every axis and every round.
struct Solver<'a> {
    samples: &'a [Sample],
    normal: Normal,
    terms: usize,
}

impl<'a> Solver<'a> {
    fn new(samples: &'a [Sample], degree: usize, center_s: f64) -> Option<Self> {
        if samples.len() <= degree {
            return None;
        }
        Some(Self {
            samples,
            normal: Normal::new(samples.iter().map(|s| s.0), degree, center_s)?,
            terms: degree + 1,
        })
    }

    fn solve(&self, values: impl Iterator<Item = Vector3<f64>>) -> Option<Vec<Vector3<f64>>> {
        let mut right = [[0.0; TERMS_MAX]; 3];
        for (sample, value) in self.samples.iter().zip(values) {
            for (axis, right) in right.iter_mut().enumerate() {
                self.normal.add(sample.0, value[axis], right);
            }
        }
        let [x, y, z] = right.map(|r| self.normal.solve(r));
        let out: Vec<_> = (0..self.terms)
            .map(|k| Vector3::new(x[k], y[k], z[k]))
            .collect();
        out.iter()
            .all(|c| c.iter().all(|v| v.is_finite()))
            .then_some(out)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Angle 30 t + 40 t², radius 1.6 about (1, 2, 0) in a tilted plane.
    fn circle(t: f64) -> Vector3<f64> {
        let tilt = Rotation3::from_euler_angles(0.7, 0.2, -0.4);
        let a = 30.0 * t + 40.0 * t * t;
        Vector3::new(1.0, 2.0, 0.0) + tilt * Vector3::new(a.cos(), a.sin(), 0.0) * 1.6
    }

    fn samples(of: impl Fn(f64) -> Vector3<f64>) -> Vec<(f64, Vector3<f64>)> {
        (-14..=0)
            .map(|i| f64::from(i) / 360.0)
            .map(|t| (t, of(t)))
            .collect()
    }

    /// Speed on a circle is radius times rate, acceleration likewise (mathematics).
    #[test]
    fn a_quickening_circle_is_read_at_its_end() {
        let fit = Fit::point(&samples(circle), 3, 0.0).unwrap();
        let state = fit.state(0.0);
        assert!((state.velocity.norm() - 48.0).abs() < 1e-3, "{state:?}");
        let along = state
            .acceleration
            .dot(&(state.velocity / state.velocity.norm()));
        assert!((along - 128.0).abs() < 0.5, "{along}");
        assert!((state.value - circle(0.0)).norm() < 1e-5);
        let early = fit.state(-0.02).velocity.norm();
        assert!((early - 1.6 * (30.0 - 1.6)).abs() < 1e-3, "{early}");
    }

    #[test]
    fn a_directions_spin_and_its_slope_are_found() {
        let direction = |t: f64| circle(t) - Vector3::new(1.0, 2.0, 0.0);
        let state = Fit::direction(&samples(direction), 3, -0.01)
            .unwrap()
            .state(-0.01);
        assert!(
            (state.spin().norm() - 29.2).abs() < 0.01,
            "{:?}",
            state.spin()
        );
        assert!((state.spin_slope().norm() - 80.0).abs() < 1.0);
    }

    #[test]
    fn a_straight_line_needs_no_turning() {
        let fit = Fit::point(&samples(|t| Vector3::new(3.0 * t, 1.0, 0.0)), 3, 0.0).unwrap();
        assert!((fit.state(0.0).velocity - Vector3::new(3.0, 0.0, 0.0)).norm() < 1e-9);
    }

    /// At a reversal the path has no circle, a direction still has a spin.
    #[test]
    fn a_reversal_is_no_trouble() {
        let swung = |t: f64| {
            let a = 900.0 * (t + 0.02) * (t + 0.02) * 0.5;
            Vector3::new(a.cos(), a.sin(), 0.0)
        };
        let state = Fit::direction(&samples(swung), 3, -0.02)
            .unwrap()
            .state(-0.02);
        assert!(state.spin().norm() < 0.05 && (state.spin_slope().norm() - 900.0).abs() < 9.0);
    }

    #[test]
    fn too_few_samples_give_nothing() {
        assert!(Fit::point(&samples(circle)[..3], 3, 0.0).is_none());
        assert!(Fit::point(&[(0.0, Vector3::x()); 6], 3, 0.0).is_none());
    }
}
