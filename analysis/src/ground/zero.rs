//! What a plate reads without load: found while it is quiet and empty, followed as it drifts, and
//! never from a loaded plate. Wrenches in and out are in plate axes about the surface's middle.
//!
//! Half a second without movement that reads as good as nothing against the zero so far is empty. A
//! person who stands still is quiet too, but no person weighs 20 N; so an offset larger than that is
//! not taken off but told.

use std::collections::VecDeque;

use super::wrench::Wrench;

/// Length of the stretches that are judged, seconds.
pub(crate) const STRETCH_S: f64 = 0.5;
/// Standard deviation of each force within a quiet stretch, at most, N (plates of the trade have
/// about 1 N of noise; common practice, no source).
const QUIET_N: f64 = 2.5;
/// What an empty plate may read before it was ever zeroed, N.
pub(crate) const FIRST_N: f64 = 20.0;
/// What an empty plate may read beyond its last zero, N: drift between two stretches.
const STEP_N: f64 = 5.0;
/// Drift since the first zero from which it is told, N.
const DRIFT_N: f64 = 15.0;
/// A quiet load from which somebody stands on it, N: a foot of the lightest student carries more.
pub(super) const STANDS_N: f64 = 80.0;
/// Zeros remembered, a second apart at least, so that a window finds the one before it.
const ZEROS_MAX: usize = 16;
const APART_NS: i64 = 1_000_000_000;

/// What an empty plate read.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Zero {
    /// End of the stretch, device time in nanoseconds.
    pub time_ns: i64,
    /// Mean, which is taken off.
    pub offset: Wrench,
    /// Standard deviation of each number.
    pub noise: Wrench,
}

/// Why a plate has no fresh zero, or that its zero wanders.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Unsettled {
    /// Quiet, and it reads so many N upward: too much to be nothing, if nobody stands there.
    Reads(f64),
    /// Its zero has wandered by so many N since the first one.
    Drifted(f64),
}

impl Unsettled {
    /// What is so and what to do, as the end of a sentence about the plate.
    #[must_use]
    pub fn words(&self) -> String {
        match self {
            Self::Reads(n) => {
                format!(
                    "it is quiet and reads {n:.0} N: step off it once, and if it is empty, zero it at its amplifier"
                )
            }
            Self::Drifted(n) => format!(
                "its zero has wandered by {n:.0} N: let it warm up, or zero it at its amplifier"
            ),
        }
    }
}

/// The zero of one plate.
#[derive(Debug, Clone)]
pub struct Zeroing {
    stretch: usize,
    sum: [f64; 6],
    squares: [f64; 6],
    /// First sample of the stretch: sums are taken about it, so that nothing cancels.
    about: [f64; 6],
    n: usize,
    first: Option<Zero>,
    zeros: VecDeque<Zero>,
    unsettled: Option<Unsettled>,
}

impl Zeroing {
    /// For a plate of this rate.
    #[must_use]
    pub fn new(rate_hz: f64) -> Self {
        Self {
            stretch: ((STRETCH_S * rate_hz).round() as usize).clamp(10, 100_000),
            sum: [0.0; 6],
            squares: [0.0; 6],
            about: [0.0; 6],
            n: 0,
            first: None,
            zeros: VecDeque::new(),
            unsettled: None,
        }
    }

    /// Takes the next sample; `up` is the bay's upward direction in the wrench's axes. One that was
    /// not measured begins a new stretch.
    pub fn push(&mut self, time_ns: i64, sample: Option<Wrench>, up: &nalgebra::Vector3<f64>) {
        let Some(sample) = sample else {
            self.n = 0;
            return;
        };
        let numbers = sample.numbers();
        if self.n == 0 {
            (self.sum, self.squares, self.about) = ([0.0; 6], [0.0; 6], numbers);
        }
        for (i, number) in numbers.iter().enumerate() {
            let off = number - self.about[i];
            self.sum[i] += off;
            self.squares[i] += off * off;
        }
        self.n += 1;
        if self.n >= self.stretch {
            self.judge(time_ns, up);
            self.n = 0;
        }
    }

    /// The last zero found at or before a device time, nanoseconds.
    #[must_use]
    pub fn at(&self, time_ns: i64) -> Option<&Zero> {
        self.zeros.iter().rev().find(|z| z.time_ns <= time_ns)
    }

    /// The first zero: drift is counted from there.
    #[must_use]
    pub fn first(&self) -> Option<&Zero> {
        self.first.as_ref()
    }

    /// What is not as it should be, as of the last quiet stretch.
    #[must_use]
    pub fn unsettled(&self) -> Option<Unsettled> {
        self.unsettled
    }

    fn judge(&mut self, time_ns: i64, up: &nalgebra::Vector3<f64>) {
        let n = self.n as f64;
        let mean: [f64; 6] = std::array::from_fn(|i| self.about[i] + self.sum[i] / n);
        let sd: [f64; 6] = std::array::from_fn(|i| {
            let variance = (self.squares[i] - self.sum[i] * self.sum[i] / n) / (n - 1.0).max(1.0);
            variance.max(0.0).sqrt()
        });
        if sd[..3].iter().any(|s| *s > QUIET_N) {
            return;
        }
        let zero = Zero {
            time_ns,
            offset: Wrench::from_numbers(mean),
            noise: Wrench::from_numbers(sd),
        };
        let last = self.zeros.back();
        let (reference, limit) = last.map_or((Wrench::default(), FIRST_N), |z| (z.offset, STEP_N));
        let beyond = zero.offset.without(&reference).force;
        if beyond.norm() > limit {
            let read = beyond.dot(up);
            // On a plate that was seen empty somebody stands still.
            let stands = last.is_some() && read > STANDS_N;
            self.unsettled = (!stands).then_some(Unsettled::Reads(read));
            return;
        }
        let first = self.first.get_or_insert(zero);
        let drift = zero.offset.without(&first.offset).force.norm();
        self.unsettled = (drift > DRIFT_N).then_some(Unsettled::Drifted(drift));
        if last.is_some_and(|z| time_ns.saturating_sub(z.time_ns) < APART_NS) {
            return;
        }
        self.zeros.push_back(zero);
        if self.zeros.len() > ZEROS_MAX {
            self.zeros.pop_front();
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use nalgebra::Vector3;

    const RATE_HZ: f64 = 1000.0;

    /// Sways like a person who stands still, or hums like an empty plate.
    fn fed(zeroing: &mut Zeroing, from_s: f64, seconds: f64, vertical: impl Fn(f64) -> f64) {
        let n = (seconds * RATE_HZ) as i64;
        for i in 0..n {
            let t = from_s + i as f64 / RATE_HZ;
            let hum = 0.8 * (t * 311.0).sin();
            let up = vertical(t) + hum;
            let wrench = Wrench {
                force: Vector3::new(0.3 * hum, 0.2, -up),
                moment: Vector3::new(0.0, 0.01 * up, 0.0),
            };
            zeroing.push((t * 1e9).round() as i64, Some(wrench), &-Vector3::z());
        }
    }

    #[test]
    fn an_empty_plate_is_zeroed_and_what_is_taken_off_is_known() {
        let mut z = Zeroing::new(RATE_HZ);
        fed(&mut z, 0.0, 3.0, |_| 6.0);
        let zero = z.at(i64::MAX).unwrap();
        assert!(
            (zero.offset.force.z + 6.0).abs() < 0.05,
            "{:?}",
            zero.offset
        );
        assert!((zero.offset.moment.y - 0.06).abs() < 0.001);
        assert!((zero.noise.force.z - 0.8 / 2f64.sqrt()).abs() < 0.05);
        assert_eq!(z.unsettled(), None);
        assert!(z.at(0).is_none(), "no zero from the future");
    }

    #[test]
    fn a_loaded_plate_is_never_zeroed() {
        // Half of a light person, perfectly still; then a person on a plate that was zeroed.
        let mut z = Zeroing::new(RATE_HZ);
        fed(&mut z, 0.0, 5.0, |_| 200.0);
        assert!(z.at(i64::MAX).is_none());
        assert!(matches!(z.unsettled(), Some(Unsettled::Reads(n)) if (n - 200.0).abs() < 1.0));
        fed(&mut z, 5.0, 2.0, |_| 3.0);
        fed(&mut z, 7.0, 20.0, |_| 400.0);
        let zero = z.at(i64::MAX).unwrap();
        assert!(zero.time_ns <= 7_000_000_000);
        assert!((zero.offset.force.z + 3.0).abs() < 0.05);
        // A golf bag leaned on it is no drift.
        fed(&mut z, 27.0, 5.0, |_| 12.0);
        assert!((z.at(i64::MAX).unwrap().offset.force.z + 3.0).abs() < 0.05);
        assert!(z.unsettled().is_some());
    }

    #[test]
    fn somebody_who_moves_is_not_quiet() {
        let mut z = Zeroing::new(RATE_HZ);
        fed(&mut z, 0.0, 5.0, |t| 10.0 + 8.0 * (t * 9.0).sin());
        assert!(z.at(i64::MAX).is_none());
    }

    #[test]
    fn drift_is_followed_and_told() {
        let mut z = Zeroing::new(RATE_HZ);
        fed(&mut z, 0.0, 60.0, |t| 0.4 * t);
        let zero = z.at(60_000_000_000).unwrap();
        assert!(
            (-zero.offset.force.z - 24.0).abs() < 1.0,
            "{:?}",
            zero.offset
        );
        assert!(matches!(z.unsettled(), Some(Unsettled::Drifted(n)) if n > 20.0));
        let before = z.at(50_000_000_000).unwrap();
        assert!((-before.offset.force.z - 20.0).abs() < 1.0);
        assert!(z.first().unwrap().offset.force.z.abs() < 0.5);
    }

    #[test]
    fn holes_begin_a_new_stretch() {
        let mut z = Zeroing::new(RATE_HZ);
        for i in 0..3000i64 {
            let sample = (i % 400 != 0).then(Wrench::default);
            z.push(i * 1_000_000, sample, &Vector3::y());
        }
        assert!(z.at(i64::MAX).is_none());
    }
}
