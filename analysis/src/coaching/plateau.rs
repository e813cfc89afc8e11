//! Where the warm-up ends in a row of shots. What the rest is used for is in `change`.

use super::order::{mean_variance, theil_sen};
use super::scatter;

/// Fewest shots that a settled baseline has.
pub const FEWEST_SETTLED: usize = 8;

/// The end of the warm-up.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Plateau {
    /// From this shot on (0: from the start).
    From(usize),
    /// Not within these shots: the rest still goes one way.
    NotYet,
    /// Fewer shots than can be judged.
    TooShort,
}

/// Finds it. The cut is where the mean of what is left is surest (the marginal standard error rule of
/// White 1997, made for the initial transient of simulations); at least eight shots stay. The rest must
/// not trend (Kendall's test at 5 %, neighbours taken as dependent as by default). A slow drift over few
/// shots cannot be seen by any test: what may be left of it is in `change`'s allowance.
#[must_use]
pub fn find(values: &[f64]) -> Plateau {
    if values.len() < FEWEST_SETTLED {
        return Plateau::TooShort;
    }
    let unsure = |start: usize| -> f64 {
        let rest = &values[start..];
        mean_variance(rest).map_or(f64::INFINITY, |(_, variance)| variance / rest.len() as f64)
    };
    let start = (0..=values.len() - FEWEST_SETTLED)
        .min_by(|a, b| unsure(*a).total_cmp(&unsure(*b)))
        .unwrap_or(0);
    if trends(&values[start..]) {
        Plateau::NotYet
    } else {
        Plateau::From(start)
    }
}

/// Whether a row of values goes one way, by more than chance would have it in one of twenty rows.
#[must_use]
pub fn trends(values: &[f64]) -> bool {
    let places: Vec<f64> = (0..values.len()).map(|n| n as f64).collect();
    let inflation = scatter::inflation(values.len(), scatter::AUTOCORRELATION);
    theil_sen(&places, values, 0.05, inflation).is_some_and(|slope| slope.p < 0.05)
}
