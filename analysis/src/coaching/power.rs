//! How likely a change of a given size is to be called real, and how many check shots that takes. The rule
//! itself is in `change`; sizes are in standard deviations of the shots.

use super::chance::{normal_above, spread_places, student_quantile};
use super::change::{Allowed, OTHER_DAY, drift_share};
use super::looks::FEWEST_CHECK;
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

impl Design {
    /// Drift allowed between the blocks' levels, in standard deviations.
    fn drift(&self, allowed: &Allowed) -> f64 {
        let share = self.between.map_or(OTHER_DAY, |between| {
            let row = |from: usize, n: usize| -> Vec<f64> {
                (from..from + n).map(|place| place as f64).collect()
            };
            drift_share(
                &row(0, self.baseline),
                &row(self.baseline + between, self.check),
            )
        });
        allowed.drift * share
    }
}

/// The probability that the change is called real at this look. `allowed.again` counts wherever it is
/// given, with its standard deviation in units of the shots'. Shots are taken as normal; that both the
/// interval and the detectable change have to agree costs an eighth of a standard error (measured).
#[must_use]
pub fn power(design: &Design, allowed: &Allowed, truth: &Truth) -> f64 {
    const BOTH: f64 = 0.12;
    let blocks = [design.baseline, design.check];
    let (assumed, really) = (allowed.autocorrelation, truth.autocorrelation);
    // What the rule takes as the variance of each level, on average.
    let taken = blocks.map(|n| Part {
        variance: scatter::inflation(n, assumed) / n as f64 * scatter::shown(n, really)
            / scatter::shown(n, assumed),
        freedom: scatter::freedom(n, really),
    });
    let rule = scatter::sum(&blocks.map(|n| Part {
        variance: scatter::inflation(n, assumed) / n as f64,
        freedom: scatter::freedom(n, assumed),
    }));
    let again = allowed.again.map(|again| Part {
        variance: 2.0 * again.sd.powi(2),
        freedom: again.freedom,
    });
    let whole = match again {
        Some(again) => scatter::sum(&[rule, again]),
        None => rule,
    };
    let again = again.map_or(0.0, |part| part.variance);
    let level: f64 = blocks
        .iter()
        .map(|n| scatter::inflation(*n, really) / *n as f64)
        .sum();
    let error = (level + again).sqrt();
    let t = student_quantile(0.5 * design.level, whole.freedom);
    let drift = design.drift(allowed);
    let taken = scatter::sum(&taken);
    let places = spread_places(taken.freedom);
    let seen: f64 = places
        .iter()
        .map(|spread| {
            let stretch = t * (taken.variance * spread * spread + again).sqrt();
            let bound = stretch + drift * spread + BOTH * error;
            normal_above((bound - truth.size) / error) + normal_above((bound + truth.size) / error)
        })
        .sum();
    seen / places.len() as f64
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
