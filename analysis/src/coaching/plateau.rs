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
/// White 1997, made for the initial transient of simulations), provided that what is cut stands off the
/// rest; at least eight shots stay. The rest must not trend (Kendall's test at 5 %, neighbours taken as
/// dependent as by default). A slow drift over few shots cannot be seen by any test: what may be left of
/// it is in `change`'s allowance.
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
        .filter(|start| stands_off(values, *start))
        .unwrap_or(0);
    if trends(&values[start..]) {
        Plateau::NotYet
    } else {
        Plateau::From(start)
    }
}

/// Whether the mean of the shots before `start` lies off the mean of the rest by more than chance would
/// have it in one of ten rows. Without this the rule cuts wherever the rest happens to be calm, and the
/// scatter looks smaller than it is.
fn stands_off(values: &[f64], start: usize) -> bool {
    let (cut, rest) = values.split_at(start);
    let Some((mean, variance)) = mean_variance(rest) else {
        return false;
    };
    let of_mean =
        |part: &[f64]| scatter::inflation(part.len(), scatter::AUTOCORRELATION) / part.len() as f64;
    let off = cut.iter().sum::<f64>() / cut.len().max(1) as f64 - mean;
    !cut.is_empty() && off.abs() > 1.645 * (variance * (of_mean(cut) + of_mean(rest))).sqrt()
}

/// Whether a row of values goes one way, by more than chance would have it in one of twenty rows.
#[must_use]
pub fn trends(values: &[f64]) -> bool {
    let places: Vec<f64> = (0..values.len()).map(|n| n as f64).collect();
    let inflation = scatter::inflation(values.len(), scatter::AUTOCORRELATION);
    theil_sen(&places, values, 0.05, inflation).is_some_and(|slope| slope.p < 0.05)
}

#[cfg(test)]
mod tests {
    use super::*;

    const WOBBLE: [f64; 12] = [
        0.3, -0.5, 0.1, 0.8, -0.2, -0.9, 0.6, -0.1, 0.4, -0.6, 0.2, -0.3,
    ];

    #[test]
    fn a_warm_up_is_cut_a_calm_row_is_not_and_a_climb_has_no_plateau() {
        assert_eq!(find(&WOBBLE), Plateau::From(0));
        let mut warming = WOBBLE;
        for (n, value) in warming.iter_mut().enumerate() {
            *value -= 8.0 * (-(n as f64)).exp();
        }
        let Plateau::From(start) = find(&warming) else {
            panic!("a plateau follows");
        };
        assert!((1..=3).contains(&start), "{start}");
        let climb: Vec<f64> = (0..12).map(|n| f64::from(n) + WOBBLE[n as usize]).collect();
        assert_eq!(find(&climb), Plateau::NotYet);
        assert_eq!(find(&WOBBLE[..7]), Plateau::TooShort);
    }
}
