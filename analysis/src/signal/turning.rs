//! Least-squares motion of a point or a direction that turns fast: polynomials in a frame that
//! turns along.
//!
//! A club head turns by two right angles in the stretch that a fit near impact needs; coordinates
//! are then no polynomials (REFERENCES A3: cubic by axis is 2–4 % off), and lengths between frames
//! add up noise when the point is slow. In a frame that turns with the point about the centre of its
//! path what is left is slow and nearly straight: few coefficients, linear in the data, no bias
//! from chords. Where to cut is the caller's decision.

use nalgebra::{Matrix3, Vector3};

use super::local_fit::{Normal, TERMS_MAX};

/// Refinements of the frame's turning; the first guess is a plain polynomial.
const ROUNDS: usize = 3;
/// More turning than this within the stretch is no circle but noise or a reversal, rad.
const TURN_MAX: f64 = 4.0;

/// How a frame turns: about a fixed axis, evenly quickening.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Frame {
    /// Time at which it is aligned with its axes, seconds.
    zero_s: f64,
    /// Point about which it turns.
    pivot: Vector3<f64>,
    /// Two directions across the axis and the axis itself, as columns; a rotation.
    axes: Matrix3<f64>,
    /// Angular velocity then, rad/s, and its slope, rad/s².
    rate: f64,
    quickening: f64,
}

/// A fitted stretch of motion.
#[derive(Debug, Clone, PartialEq)]
pub struct Fit {
    center_s: f64,
    frame: Frame,
    coefficients: Coefficients,
}

/// Coefficients in the axes of the turning frame, from the constant up; zero beyond the degree.
type Coefficients = [Vector3<f64>; TERMS_MAX];

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
            frame: Frame::STILL,
            coefficients: solver.solve(&Frame::STILL)?,
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
            if frame.rate * (last - first) > TURN_MAX {
                return Self::plain(samples, degree, center_s);
            }
            fit = Self {
                center_s,
                frame,
                coefficients: solver.solve(&frame)?,
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
        let turn = Turn::of(frame.angle(time_s));
        let out = |v: Vector3<f64>| frame.axes * turn.forward(&v);
        let w = frame.rate + frame.quickening * (time_s - frame.zero_s);
        // Products of the axis (the third direction) with a vector turn it by a right angle.
        let across = |v: &Vector3<f64>| Vector3::new(-v.y, v.x, 0.0);
        let pushed =
            across(&across(&q)) * (w * w) + across(&dq) * (2.0 * w) + across(&q) * frame.quickening;
        State {
            value: frame.pivot + out(q),
            velocity: out(across(&q) * w + dq),
            acceleration: out(pushed + ddq),
        }
    }
}

impl Frame {
    const STILL: Self = Self {
        zero_s: 0.0,
        pivot: Vector3::new(0.0, 0.0, 0.0),
        axes: Matrix3::new(1.0, 0.0, 0.0, 0.0, 1.0, 0.0, 0.0, 0.0, 1.0),
        rate: 0.0,
        quickening: 0.0,
    };

    /// A frame about an axis: turning and the share by which it quickens a second.
    fn new(pivot: Vector3<f64>, turning: &Vector3<f64>, quickening: f64) -> Self {
        let rate = turning.norm();
        let still = Self {
            pivot,
            ..Self::STILL
        };
        if rate < 1e-9 {
            return still;
        }
        let axis = turning / rate;
        // Across the axis whichever way: from the direction that is least along it.
        let least = Vector3::ith(axis.iamin(), 1.0);
        let Some(first) = axis.cross(&least).try_normalize(0.0) else {
            return still;
        };
        Self {
            axes: Matrix3::from_columns(&[first, axis.cross(&first), axis]),
            rate,
            quickening: rate * quickening,
            ..still
        }
    }

    /// The angle by which it has turned at a time, seconds.
    fn angle(&self, time_s: f64) -> f64 {
        let dt = time_s - self.zero_s;
        (self.rate + self.quickening * (0.5 * dt)) * dt
    }
}

/// A turn about the third axis: cosine and sine.
#[derive(Debug, Clone, Copy)]
struct Turn {
    cos: f64,
    sin: f64,
}

impl Turn {
    fn of(angle: f64) -> Self {
        let (sin, cos) = angle.sin_cos();
        Self { cos, sin }
    }

    fn then(self, next: Self) -> Self {
        Self {
            cos: self.cos * next.cos - self.sin * next.sin,
            sin: self.sin * next.cos + self.cos * next.sin,
        }
    }

    fn forward(self, v: &Vector3<f64>) -> Vector3<f64> {
        let Self { cos, sin } = self;
        Vector3::new(cos * v.x - sin * v.y, sin * v.x + cos * v.y, v.z)
    }

    fn back(self, v: &Vector3<f64>) -> Vector3<f64> {
        let Self { cos, sin } = self;
        Vector3::new(cos * v.x + sin * v.y, cos * v.y - sin * v.x, v.z)
    }
}

/// A frame's turns at rising times: at an even step each is the one before turned on by a step that
/// itself turns on evenly, so that only a start and the end of a hole cost a sine.
struct Turns<'a> {
    frame: &'a Frame,
    step_s: f64,
    last_s: f64,
    turn: Turn,
    step: Turn,
    bend: Turn,
}

/// Seconds by which a step may differ from the others and still count as even: what that turns a
/// frame at [`TURN_MAX`] is beyond the last digits.
const EVEN_S: f64 = 1e-12;

impl<'a> Turns<'a> {
    fn new(frame: &'a Frame, first_s: f64, step_s: f64) -> Self {
        let mut turns = Self {
            frame,
            step_s,
            last_s: first_s,
            turn: Turn::of(0.0),
            step: Turn::of(0.0),
            bend: Turn::of(frame.quickening * step_s * step_s),
        };
        turns.start(first_s);
        turns
    }

    fn start(&mut self, time_s: f64) {
        let angle = self.frame.angle(time_s);
        self.turn = Turn::of(angle);
        self.step = Turn::of(self.frame.angle(time_s + self.step_s) - angle);
        self.last_s = time_s;
    }

    fn at(&mut self, time_s: f64) -> Turn {
        let on_s = time_s - self.last_s;
        if (on_s - self.step_s).abs() < EVEN_S {
            self.turn = self.turn.then(self.step);
            self.step = self.step.then(self.bend);
            self.last_s = time_s;
        } else if on_s.abs() > 0.0 {
            self.start(time_s);
        }
        self.turn
    }
}

impl State {
    /// The frame that goes along with a point on its circle.
    fn circle(&self) -> Frame {
        let square = self.velocity.norm_squared();
        let turning = self.velocity.cross(&self.acceleration) / square.max(1e-9);
        let rate_square = turning.norm_squared();
        if rate_square < 1e-2 {
            return Frame::STILL;
        }
        let pivot = self.value + turning.cross(&self.velocity) / rate_square;
        Frame::new(
            pivot,
            &turning,
            self.velocity.dot(&self.acceleration) / square,
        )
    }

    /// The frame that goes along with a direction.
    fn cone(&self) -> Frame {
        let spin = self.spin();
        let quickening = spin.dot(&self.spin_slope()) / spin.norm_squared().max(1.0);
        Frame::new(Vector3::zeros(), &spin, quickening)
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

    /// The polynomial of the samples as the frame sees them.
    fn solve(&self, frame: &Frame) -> Option<Coefficients> {
        // Of known length, so that the sums of a sample are taken side by side.
        let right = match self.terms {
            ..=4 => self.sums::<4>(frame),
            5 => self.sums::<5>(frame),
            6 => self.sums::<6>(frame),
            _ => self.sums::<TERMS_MAX>(frame),
        };
        let [x, y, z] = [0, 1, 2].map(|axis| self.normal.solve(right.map(|r| r[axis])));
        let mut out = [Vector3::zeros(); TERMS_MAX];
        for (k, c) in out.iter_mut().enumerate().take(self.terms) {
            *c = Vector3::new(x[k], y[k], z[k]);
        }
        out.iter()
            .all(|c| c.iter().all(|v| v.is_finite()))
            .then_some(out)
    }

    fn sums<const N: usize>(&self, frame: &Frame) -> [Vector3<f64>; TERMS_MAX] {
        let mut right = [Vector3::zeros(); N];
        let first_s = self.samples[0].0;
        let step_s = self.samples.get(1).map_or(0.0, |s| s.0 - first_s);
        let mut turns = Turns::new(frame, first_s, step_s);
        for (time_s, value) in self.samples {
            let seen = frame.axes.tr_mul(&(value - frame.pivot));
            let mut power = turns.at(*time_s).back(&seen);
            let x = self.normal.scaled(*time_s);
            for sum in &mut right {
                *sum += power;
                power *= x;
            }
        }
        let mut out = [Vector3::zeros(); TERMS_MAX];
        out[..N].copy_from_slice(&right);
        out
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use nalgebra::Rotation3;

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

    /// A hole in the samples, or uneven ones, change nothing of an exact circle (mathematics).
    #[test]
    fn a_hole_is_no_trouble() {
        let all = samples(circle);
        let whole = Fit::point(&all, 3, 0.0).unwrap().state(0.0);
        for gone in [5..8, 1..2, 0..3] {
            let mut rest = all.clone();
            rest.drain(gone);
            let state = Fit::point(&rest, 3, 0.0).unwrap().state(0.0);
            assert!((state.velocity - whole.velocity).norm() < 2e-3);
        }
    }

    /// Turned on from step to step or each by its own sine: the same.
    #[test]
    fn even_steps_turn_as_far_as_single_ones() {
        let frame = Frame::new(Vector3::zeros(), &Vector3::new(20.0, -10.0, 5.0), 3.0);
        let mut turns = Turns::new(&frame, -0.05, 0.001);
        for i in (0..100).filter(|i| !(40..44).contains(i)) {
            let time_s = -0.05 + 0.001 * f64::from(i);
            let (turn, exact) = (turns.at(time_s), Turn::of(frame.angle(time_s)));
            assert!((turn.cos - exact.cos).abs() < 1e-13 && (turn.sin - exact.sin).abs() < 1e-13);
        }
    }

    #[test]
    fn too_few_samples_give_nothing() {
        assert!(Fit::point(&samples(circle)[..3], 3, 0.0).is_none());
        assert!(Fit::point(&[(0.0, Vector3::x()); 6], 3, 0.0).is_none());
    }
}
