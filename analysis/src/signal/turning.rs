//! Least-squares motion of a point or a direction that turns fast: polynomials in a frame that
//! turns along.
//!
//! A club head turns by two right angles in the stretch that a fit near impact needs; coordinates
//! are then no polynomials (REFERENCES A3: cubic by axis is 2–4 % off), and lengths between frames
//! add up noise when the point is slow. In a frame that turns with the point about the centre of its
//! path what is left is slow and nearly straight: few coefficients, linear in the data, no bias
//! from chords. Where to cut is the caller's decision.

use std::array::from_fn;

use nalgebra::{Matrix3, Vector3};

use super::local_fit::{Normal, TERMS_MAX};
use crate::body::lanes::Lanes;

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
        let times = Times::new(samples.iter().map(|s| s.0).collect(), degree, center_s)?;
        Self::point_at(&times, |i| samples[i].1)
    }

    /// Fits a direction: the frame turns about the origin. `None` as for a point.
    #[must_use]
    pub fn direction(samples: &[Sample], degree: usize, center_s: f64) -> Option<Self> {
        let times = Times::new(samples.iter().map(|s| s.0).collect(), degree, center_s)?;
        Self::direction_at(&times, |i| samples[i].1)
    }

    /// Fits a fast point that was at `value(i)` at time `i`. `None` where there is no such motion.
    #[must_use]
    pub fn point_at(times: &Times, value: impl Fn(usize) -> Vector3<f64>) -> Option<Self> {
        Self::turned(times, value, State::circle)
    }

    /// The same for a direction.
    #[must_use]
    pub fn direction_at(times: &Times, value: impl Fn(usize) -> Vector3<f64>) -> Option<Self> {
        Self::turned(times, value, State::cone)
    }

    fn turned(
        times: &Times,
        value: impl Fn(usize) -> Vector3<f64>,
        frame: impl Fn(&State) -> Frame,
    ) -> Option<Self> {
        // Guessed at the middle, where a plain polynomial is surest.
        let middle_s = times.guess.center();
        let mut fit = Self {
            center_s: middle_s,
            frame: Frame::STILL,
            coefficients: times.solve(&times.guess, &Frame::STILL, &value)?,
        };
        for _ in 0..ROUNDS {
            let turning = Frame {
                zero_s: middle_s,
                ..frame(&fit.state(middle_s))
            };
            let circle = turning.rate * times.span_s() <= TURN_MAX;
            let frame = if circle { turning } else { Frame::STILL };
            fit = Self {
                center_s: times.normal.center(),
                frame,
                coefficients: times.solve(&times.normal, &frame, &value)?,
            };
            if !circle {
                break;
            }
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

    /// Vectors as the frame sees them after its turns.
    #[inline(always)]
    fn back(&self, v: &[Lanes<LANES>; 3], turns: Turns) -> [Lanes<LANES>; 3] {
        let along = |c: usize| {
            v[0] * self.axes[(0, c)] + v[1] * self.axes[(1, c)] + v[2] * self.axes[(2, c)]
        };
        let (x, y) = (along(0), along(1));
        [
            turns.cos * x + turns.sin * y,
            turns.cos * y - turns.sin * x,
            along(2),
        ]
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

    fn back(self) -> Self {
        Self {
            sin: -self.sin,
            ..self
        }
    }
}

/// A frame's turns at several samples side by side.
#[derive(Debug, Clone, Copy)]
struct Turns {
    cos: Lanes<LANES>,
    sin: Lanes<LANES>,
}

impl Turns {
    fn of(turns: [Turn; LANES]) -> Self {
        Self {
            cos: Lanes(turns.map(|t| t.cos)),
            sin: Lanes(turns.map(|t| t.sin)),
        }
    }

    #[inline(always)]
    fn then(self, next: Self) -> Self {
        Self {
            cos: self.cos * next.cos - self.sin * next.sin,
            sin: self.sin * next.cos + self.cos * next.sin,
        }
    }
}

/// A frame's turns at even steps: those of the next samples are the ones before turned on by a step
/// that itself turns on evenly, so that only the beginning costs a sine.
struct Even {
    turns: Turns,
    step: Turns,
    bend: Turns,
}

impl Even {
    fn new(frame: &Frame, first_s: f64, step_s: f64) -> Self {
        let angle = frame.angle(first_s);
        let mut step = Turn::of(frame.angle(first_s + step_s) - angle);
        let bend = Turn::of(frame.quickening * step_s * step_s);
        let mut turns = [Turn::of(angle); 2 * LANES];
        for i in 1..turns.len() {
            turns[i] = turns[i - 1].then(step);
            step = step.then(bend);
        }
        let group_s = step_s * LANES as f64;
        let bends = Turn::of(frame.quickening * group_s * group_s);
        Self {
            turns: Turns::of(from_fn(|i| turns[i])),
            step: Turns::of(from_fn(|i| turns[i + LANES].then(turns[i].back()))),
            bend: Turns::of([bends; LANES]),
        }
    }

    #[inline(always)]
    fn next(&mut self) -> Turns {
        let now = self.turns;
        self.turns = now.then(self.step);
        self.step = self.step.then(self.bend);
        now
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

/// Samples turned and summed side by side; those turned before they are summed.
const LANES: usize = 4;
const BLOCK: usize = 32;
/// Seconds by which a step may differ from the others and still count as even: what that turns a
/// frame at [`TURN_MAX`] is beyond the last digits.
const EVEN_S: f64 = 1e-12;

/// The times of samples, with all of a fit that depends on them alone: the same for every axis, every
/// round, and every path that was seen at these times.
#[derive(Debug, Clone)]
pub struct Times {
    seconds: Vec<f64>,
    /// The step between them, if they all have the same.
    step_s: Option<f64>,
    /// Of the fit and of its first guess.
    normal: Normal,
    guess: Normal,
}

impl Times {
    /// Times in rising order for fits of a degree about an instant, seconds. `None` when there are not
    /// more than coefficients or they do not determine them.
    #[must_use]
    pub fn new(seconds: Vec<f64>, degree: usize, center_s: f64) -> Option<Self> {
        if seconds.len() <= degree {
            return None;
        }
        let (first, last) = (*seconds.first()?, *seconds.last()?);
        let step_s = seconds.get(1)? - first;
        let even = |w: &[f64]| (w[1] - w[0] - step_s).abs() < EVEN_S;
        let normal = |degree, center_s| Normal::new(seconds.iter().copied(), degree, center_s);
        Some(Self {
            step_s: seconds.windows(2).all(even).then_some(step_s),
            normal: normal(degree, center_s)?,
            guess: normal(degree.min(3), 0.5 * (first + last))?,
            seconds,
        })
    }

    fn span_s(&self) -> f64 {
        let ends = self.seconds.first().zip(self.seconds.last());
        ends.map_or(0.0, |(first, last)| last - first)
    }

    /// The polynomial of the samples as the frame sees them.
    fn solve(
        &self,
        normal: &Normal,
        frame: &Frame,
        value: &impl Fn(usize) -> Vector3<f64>,
    ) -> Option<Coefficients> {
        // Of known length, so that the sums of a sample are taken side by side.
        let right = match normal.terms() {
            ..=4 => self.sums::<4>(normal, frame, value),
            5 => self.sums::<5>(normal, frame, value),
            6 => self.sums::<6>(normal, frame, value),
            _ => self.sums::<TERMS_MAX>(normal, frame, value),
        };
        let mut out = normal.solve(right);
        out[normal.terms()..].fill(Vector3::zeros());
        out.iter()
            .all(|c| c.iter().all(|v| v.is_finite()))
            .then_some(out)
    }

    fn sums<const N: usize>(
        &self,
        normal: &Normal,
        frame: &Frame,
        value: &impl Fn(usize) -> Vector3<f64>,
    ) -> [Vector3<f64>; TERMS_MAX] {
        let still = frame.rate <= 0.0;
        let step_s = self.step_s.filter(|_| !still);
        let mut even = step_s.map(|step_s| Even::new(frame, self.seconds[0], step_s));
        let mut sums = [[Lanes::<LANES>::all(0.0); N]; 3];
        let (mut places, mut seen) = ([0.0; BLOCK], [[0.0; BLOCK]; 3]);
        for (n, seconds) in self.seconds.chunks(BLOCK).enumerate() {
            let groups = seconds.len().div_ceil(LANES);
            // Beyond the last sample there is nothing to be summed.
            seen.iter_mut()
                .for_each(|axis| axis[seconds.len()..].fill(0.0));
            for (i, time_s) in seconds.iter().enumerate() {
                let at = value(n * BLOCK + i) - frame.pivot;
                places[i] = normal.scaled(*time_s);
                (0..3).for_each(|axis| seen[axis][i] = at[axis]);
            }
            for from in (0..groups * LANES).step_by(LANES).filter(|_| !still) {
                let turns = match &mut even {
                    Some(even) => even.next(),
                    None => Turns::of(from_fn(|i| {
                        let time_s = seconds.get(from + i).copied().unwrap_or_default();
                        Turn::of(frame.angle(time_s))
                    })),
                };
                let at = from_fn(|axis| Lanes::read(&seen[axis], from));
                let back = frame.back(&at, turns);
                (0..3).for_each(|axis| back[axis].write(&mut seen[axis], from));
            }
            for (sums, seen) in sums.iter_mut().zip(&seen) {
                for from in (0..groups * LANES).step_by(LANES) {
                    let place = Lanes::read(&places, from);
                    let mut power = Lanes::read(seen, from);
                    for sum in sums.iter_mut() {
                        *sum = *sum + power;
                        power = power * place;
                    }
                }
            }
        }
        let mut out = [Vector3::zeros(); TERMS_MAX];
        for (k, out) in out.iter_mut().enumerate().take(N) {
            let sum = |axis: usize| sums[axis][k].0.iter().sum::<f64>();
            *out = Vector3::new(sum(0), sum(1), sum(2));
        }
        out
    }
}

/// Times of stretches of slots about one after another of a path's instants: made anew only where a
/// stretch is another one about its instant, as at the ends.
#[derive(Debug, Clone)]
pub struct Stretches {
    rate_hz: f64,
    degree: usize,
    last: Option<(f64, usize, Option<Times>)>,
}

impl Stretches {
    /// For fits of a degree at so many slots a second.
    #[must_use]
    pub fn new(rate_hz: f64, degree: usize) -> Self {
        Self {
            rate_hz,
            degree,
            last: None,
        }
    }

    /// Times, in seconds from the instant at `slot`, of `count` slots from `begin` on. `None` as for
    /// [`Times::new`].
    pub fn about(&mut self, slot: f64, (begin, count): (usize, usize)) -> Option<&Times> {
        let first = begin as f64 - slot;
        let same = |l: &(f64, usize, _)| (l.0 - first).abs() <= 0.0 && l.1 == count;
        if !self.last.as_ref().is_some_and(same) {
            let seconds = (0..count).map(|i| (first + i as f64) / self.rate_hz);
            let times = Times::new(seconds.collect(), self.degree, 0.0);
            self.last = Some((first, count, times));
        }
        self.last.as_ref()?.2.as_ref()
    }
}

#[cfg(test)]
mod tests;
