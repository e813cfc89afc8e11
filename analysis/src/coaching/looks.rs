//! How often a check block is looked at, and what each look may cost of the 5 %: one look at the planned
//! end, or one after every shot under a spending function. What is looked at is `change`'s matter.

use super::chance::{normal_above, normal_quantile, two_sided};

/// Fewest shots of a check block that are judged: with fewer nothing but scatter is seen.
pub const FEWEST_CHECK: usize = 5;

/// When a check block is looked at. Fixed before its first shot.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Looks {
    /// Once, when so many shots are there.
    Once {
        /// Shots of the check block.
        planned: usize,
    },
    /// After every shot from the fifth on.
    Every {
        /// Shots of the check block at its end: what comes after is not counted.
        planned: usize,
    },
}

/// The two-sided level of each look.
#[derive(Debug, Clone, PartialEq)]
pub struct Levels {
    /// By number of shots from the first look on; `None`: not looked at.
    by_shots: Vec<Option<f64>>,
    planned: usize,
}

impl Levels {
    /// Levels that together make at most `level` (0.05) false verdicts, against a baseline of so many
    /// shots. Looking after every shot spends like Lan & DeMets 1983 with the bounds of O'Brien & Fleming
    /// 1979 in mind: next to nothing early, nearly all at the end. Spent is by information, which grows
    /// as 1/(1/baseline + 1/check).
    #[must_use]
    pub fn new(looks: Looks, baseline: usize, level: f64) -> Self {
        let (planned, every) = match looks {
            Looks::Once { planned } => (planned, false),
            Looks::Every { planned } => (planned, true),
        };
        let planned = planned.max(FEWEST_CHECK);
        let mut by_shots = vec![None; planned + 1];
        if every {
            let information =
                |check: usize| 1.0 / (1.0 / baseline.max(1) as f64 + 1.0 / check as f64);
            let last = information(planned);
            let at: Vec<f64> = (FEWEST_CHECK..=planned)
                .map(|check| information(check) / last)
                .collect();
            for (n, nominal) in spend(&at, level).into_iter().enumerate() {
                by_shots[FEWEST_CHECK + n] = Some(nominal);
            }
        } else {
            by_shots[planned] = Some(level);
        }
        Self { by_shots, planned }
    }

    /// The level of the look after so many shots; `None` where no look is planned then.
    #[must_use]
    pub fn at(&self, shots: usize) -> Option<f64> {
        self.by_shots.get(shots).copied().flatten()
    }

    /// Shots of the check block at its planned end.
    #[must_use]
    pub const fn planned(&self) -> usize {
        self.planned
    }

    /// The level of the last look.
    #[must_use]
    pub fn last(&self) -> f64 {
        self.at(self.planned).unwrap_or(0.0)
    }
}

/// What may be spent until a share `t` of the information is there, half of it on either side.
fn spent(t: f64, level: f64) -> f64 {
    2.0 * two_sided(normal_quantile(0.25 * level) / t.sqrt())
}

/// Nominal levels at growing shares of information, such that the chance to have crossed any bound up to
/// each look is what may be spent till then.
fn spend(at: &[f64], level: f64) -> Vec<f64> {
    let mut nominal = Vec::new();
    let (mut walk, mut gone) = (Walk::new(0.0), 0.0);
    for t in at {
        let may = (spent(*t, level) - gone).max(0.0);
        let (mut low, mut high) = (0.0, 9.0);
        for _ in 0..50 {
            let middle = 0.5 * (low + high);
            if walk.beyond(*t, middle) > may {
                low = middle;
            } else {
                high = middle;
            }
        }
        nominal.push(two_sided(high / t.sqrt()));
        walk.go(*t, high);
        gone = spent(*t, level);
    }
    nominal
}

/// A sum that is looked at again and again until it crosses a bound, and grows between the looks by
/// independent normal parts whose variances are the gains of information: the distribution of what is not
/// yet decided, carried from look to look on a grid (Armitage, McPherson & Rowe 1969).
pub(super) struct Walk {
    /// Places and masses.
    undecided: Vec<(f64, f64)>,
    /// Information at the last look.
    information: f64,
    /// Growth of the mean by information.
    drift: f64,
}

impl Walk {
    const HALF_GRID: usize = 60;

    pub(super) fn new(drift: f64) -> Self {
        Self {
            undecided: vec![(0.0, 1.0)],
            information: 0.0,
            drift,
        }
    }

    /// Mean and standard deviation of what is added till this information.
    fn step(&self, information: f64) -> (f64, f64) {
        let gain = (information - self.information).max(1e-12);
        (self.drift * gain, gain.sqrt())
    }

    /// The chance that it is beyond ±bound at the look with this information, not having crossed before.
    pub(super) fn beyond(&self, information: f64, bound: f64) -> f64 {
        let (mean, sd) = self.step(information);
        let each = |(s, mass): &(f64, f64)| {
            let at = s + mean;
            mass * (normal_above((bound - at) / sd) + normal_above((bound + at) / sd))
        };
        self.undecided.iter().map(each).sum()
    }

    /// On to this look; what is within ±bound stays undecided.
    pub(super) fn go(&mut self, information: f64, bound: f64) {
        let (mean, sd) = self.step(information);
        let step = bound / Self::HALF_GRID as f64;
        let last = 2 * Self::HALF_GRID;
        let scale = step / (3.0 * sd * std::f64::consts::TAU.sqrt());
        self.undecided = (0..=last)
            .map(|n| {
                // Simpson's weights.
                let weight = if n == 0 || n == last {
                    1.0
                } else {
                    f64::from(2 + 2 * (n as u32 % 2))
                };
                let place = (n as f64 - Self::HALF_GRID as f64) * step;
                let density: f64 = self
                    .undecided
                    .iter()
                    .map(|(s, mass)| mass * (-0.5 * ((place - s - mean) / sd).powi(2)).exp())
                    .sum();
                (place, weight * scale * density)
            })
            .collect();
        self.information = information;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Five equally spaced looks at 5 %, two-sided: the bounds that the literature prints for this
    /// spending function (4.8769, 3.3569, 2.6803, 2.2898, 2.0310; from memory).
    #[test]
    fn five_looks_have_the_published_bounds() {
        let at: Vec<f64> = (1..=5).map(|n| f64::from(n) / 5.0).collect();
        for (nominal, bound) in spend(&at, 0.05)
            .iter()
            .zip([4.877, 3.357, 2.680, 2.290, 2.031])
        {
            let ours = normal_quantile(0.5 * nominal);
            assert!((ours - bound).abs() < 0.005, "{ours} {bound}");
        }
    }

    #[test]
    fn one_look_has_it_all_and_none_before() {
        let levels = Levels::new(Looks::Once { planned: 10 }, 8, 0.05);
        assert_eq!(levels.at(9), None);
        assert_eq!(levels.at(10), Some(0.05));
        let levels = Levels::new(Looks::Every { planned: 10 }, 8, 0.05);
        assert_eq!(levels.at(4), None);
        assert!(levels.at(5).unwrap() < 0.02);
        assert!((0.03..0.05).contains(&levels.last()));
    }
}
