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
/// each look is what may be spent till then: the distribution of the not yet decided is carried from look
/// to look on a grid (Armitage, McPherson & Rowe 1969). The sum that is followed grows by independent
/// normal parts whose variances are the gains of information.
fn spend(at: &[f64], level: f64) -> Vec<f64> {
    const HALF_GRID: usize = 80;
    let mut nominal = Vec::new();
    // Places and masses of the undecided; at the start all of it is at 0.
    let mut undecided = vec![(0.0, 1.0)];
    let (mut gone, mut before) = (0.0, 0.0);
    for t in at {
        let may = (spent(*t, level) - gone).max(0.0);
        let sd = (t - before).max(1e-12).sqrt();
        let beyond = |bound: f64| -> f64 {
            undecided
                .iter()
                .map(|(s, mass)| {
                    mass * (normal_above((bound - s) / sd) + normal_above((bound + s) / sd))
                })
                .sum()
        };
        let (mut low, mut high) = (0.0, 9.0);
        for _ in 0..50 {
            let middle = 0.5 * (low + high);
            if beyond(middle) > may {
                low = middle;
            } else {
                high = middle;
            }
        }
        let bound = high;
        nominal.push(two_sided(bound / t.sqrt()));
        let step = bound / HALF_GRID as f64;
        undecided = (0..=2 * HALF_GRID)
            .map(|n| {
                // Simpson's weights.
                let weight = match n {
                    0 => 1.0,
                    _ if n == 2 * HALF_GRID => 1.0,
                    _ if n % 2 == 1 => 4.0,
                    _ => 2.0,
                } / 3.0;
                let place = (n as f64 - HALF_GRID as f64) * step;
                let density: f64 = undecided
                    .iter()
                    .map(|(s, mass)| mass * (-0.5 * ((place - s) / sd).powi(2)).exp())
                    .sum();
                (
                    place,
                    weight * step * density / (sd * std::f64::consts::TAU.sqrt()),
                )
            })
            .collect();
        gone = spent(*t, level);
        before = *t;
    }
    nominal
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
