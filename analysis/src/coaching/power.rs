//! How likely a change of a given size is to be called real, and how many check shots that takes. The rule
//! itself is in `change`; sizes are in standard deviations of the shots.

use super::chance::{normal_above, normal_places, spread_places, student_quantile};
use super::change::{Allowed, OTHER_DAY, drift_share};
use super::looks::{FEWEST_CHECK, Levels, Walk};
use super::scatter::{self, Part};

/// The share of cases in which a change that matters should be seen.
pub const WANTED: f64 = 0.8;

/// More check shots than anybody hits in a block.
const MOST: usize = 100;

/// What is compared with what.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Design {
    /// Settled shots of the baseline.
    pub baseline: usize,
    /// Shots between the blocks; `None`: another session.
    pub between: Option<usize>,
    /// Shots of the check block.
    pub check: usize,
    /// Two-sided level of the look.
    pub level: f64,
}

/// How it really is, beside what the rule allows for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Truth {
    /// Change of the level, drift included, in standard deviations of the shots.
    pub size: f64,
    /// Correlation of neighbouring shots.
    pub autocorrelation: f64,
}

/// That interval and detectable change both have to agree costs so many of the rule's standard errors,
/// divided by the number of shots of a block: an eighth of one at ten (measured, `tests/long/change`).
const BOTH: f64 = 1.4;

/// One look: how the rule's bound depends on the scatter that happens to be seen, and the true errors.
struct Look {
    /// Student's t of the rule.
    t: f64,
    /// Variance that the rule takes for the shift, on average, without another day's.
    taken: Part,
    /// Variance of another day or marking.
    again: f64,
    /// Drift allowed.
    drift: f64,
    /// What it costs that two conditions have to agree.
    both: f64,
    /// True variance of the shift without another day's.
    own: f64,
}

impl Look {
    fn of(design: &Design, allowed: &Allowed, really: f64) -> Self {
        let blocks = [design.baseline, design.check];
        let assumed = allowed.autocorrelation;
        let level = |n: usize, rho: f64| scatter::inflation(n, rho) / n as f64;
        let taken = scatter::sum(&blocks.map(|n| Part {
            variance: level(n, assumed) * scatter::shown(n, really) / scatter::shown(n, assumed),
            freedom: scatter::freedom(n, really),
        }));
        let again = Part {
            variance: allowed.again.map_or(0.0, |again| 2.0 * again.sd.powi(2)),
            freedom: allowed.again.map_or(f64::INFINITY, |again| again.freedom),
        };
        let [before, after] = blocks.map(|n| Part {
            variance: level(n, assumed),
            freedom: scatter::freedom(n, assumed),
        });
        let rule = scatter::sum(&[before, after, again]);
        let share = design.between.map_or(OTHER_DAY, |between| {
            let row = |from: usize, n: usize| -> Vec<f64> {
                (from..from + n).map(|place| place as f64).collect()
            };
            let (n, m) = (design.baseline, design.check);
            drift_share(&row(0, n), &row(n + between, m))
        });
        Self {
            t: student_quantile(0.5 * design.level, rule.freedom),
            taken,
            again: again.variance,
            drift: allowed.drift * share,
            both: BOTH
                * rule.variance.sqrt()
                * 0.5
                * blocks.iter().map(|n| 1.0 / *n as f64).sum::<f64>(),
            own: blocks.iter().map(|n| level(*n, really)).sum(),
        }
    }

    /// The shift from which on it is called real, where `spread` times the true scatter is seen.
    fn bound(&self, spread: f64) -> f64 {
        let stretch = self.t * (self.taken.variance * spread * spread + self.again).sqrt();
        stretch + self.drift * spread + self.both
    }
}

/// The probability that the change is called real when it is looked at once. `allowed.again` counts
/// wherever it is given, with its standard deviation in units of the shots'. Shots are taken as normal.
#[must_use]
pub fn power(design: &Design, allowed: &Allowed, truth: &Truth) -> f64 {
    let look = Look::of(design, allowed, truth.autocorrelation);
    let error = (look.own + look.again).sqrt();
    let places = spread_places(look.taken.freedom);
    let seen: f64 = places
        .iter()
        .map(|spread| {
            let bound = look.bound(*spread);
            normal_above((bound - truth.size) / error) + normal_above((bound + truth.size) / error)
        })
        .sum();
    seen / places.len() as f64
}

/// The probability that the change is called real at any of the looks of a plan (`design.level` does not
/// count): another day's part is the same at each look, the rest grows with the shots.
#[must_use]
pub fn power_watched(design: &Design, levels: &Levels, allowed: &Allowed, truth: &Truth) -> f64 {
    let looks: Vec<Look> = (FEWEST_CHECK..=levels.planned())
        .filter_map(|check| {
            let level = levels.at(check)?;
            let design = Design {
                check,
                level,
                ..*design
            };
            Some(Look::of(&design, allowed, truth.autocorrelation))
        })
        .collect();
    let Some(last) = looks.last() else {
        return 0.0;
    };
    let some = |all: Vec<f64>| -> Vec<f64> { all.into_iter().skip(4).step_by(8).collect() };
    let offsets = if last.again > 0.0 {
        some(normal_places().to_vec())
    } else {
        vec![0.0]
    };
    let spreads = some(spread_places(last.taken.freedom));
    let mut seen = 0.0;
    for offset in &offsets {
        for spread in &spreads {
            let mut walk = Walk::new(truth.size + offset * last.again.sqrt());
            for look in &looks {
                let information = 1.0 / look.own;
                let bound = look.bound(*spread) * information;
                seen += walk.beyond(information, bound);
                walk.go(information, bound);
            }
        }
    }
    seen / (offsets.len() * spreads.len()) as f64
}

/// The fewest check shots with which a change of `size` is seen in four of five cases; `None` where a
/// hundred are not enough.
#[must_use]
pub fn shots_needed(design: &Design, allowed: &Allowed, size: f64) -> Option<usize> {
    let truth = Truth {
        size,
        autocorrelation: allowed.autocorrelation,
    };
    let enough = |check: usize| power(&Design { check, ..*design }, allowed, &truth) >= WANTED;
    if !enough(MOST) {
        return None;
    }
    let (mut low, mut high) = (FEWEST_CHECK, MOST);
    while low < high {
        let middle = usize::midpoint(low, high);
        if enough(middle) {
            high = middle;
        } else {
            low = middle + 1;
        }
    }
    Some(low)
}
