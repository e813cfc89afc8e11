//! What stayed of a change until today, and where a level goes over months. Whether a change is real is
//! `change`'s matter.

use super::chance::student_quantile;
use super::order::{Interval, Slope, shift, theil_sen};
use super::scatter::{self, Again, Part, between_days};

/// Fewer pairs of lessons say nothing of what another day does by itself (own choice: with four degrees of
/// freedom an interval is 1.4 times as wide as if it were known).
pub const FEWEST_PAIRS: usize = 4;

/// What stayed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Retention {
    /// Share of the change that is there today: 1 all of it, 0 nothing, above 1 more.
    pub share: f64,
    /// Interval of the share at 95 % (Fieller 1954).
    pub interval: Interval,
}

/// The share of the change from baseline to the last check that today's shots show. Shots in a row are
/// taken as dependent as by default; `again` is what days and markings do (each block counts as one of its
/// own, unless `None`). `None` where the change itself is not told from none: a share of it means nothing.
#[must_use]
pub fn retention(
    baseline: &[f64],
    check: &[f64],
    today: &[f64],
    again: Option<Again>,
) -> Option<Retention> {
    let rho = scatter::AUTOCORRELATION;
    let own = Part {
        variance: again.map_or(0.0, |a| a.sd.powi(2)),
        freedom: again.map_or(f64::INFINITY, |a| a.freedom),
    };
    let part = |values: &[f64]| Some(scatter::sum(&[scatter::of_level(values, rho)?, own]));
    let (before, then, now) = (part(baseline)?, part(check)?, part(today)?);
    let change = shift(baseline, check)?;
    let stayed = shift(baseline, today)?;
    let t = student_quantile(0.025, scatter::sum(&[before, then, now]).freedom);
    // Fieller: shares r with (stayed − r·change)² ≤ t² var(stayed − r·change); the baseline is in both.
    let square = t * t;
    let a = change * change - square * (then.variance + before.variance);
    let b = change * stayed - square * before.variance;
    let c = stayed * stayed - square * (now.variance + before.variance);
    let root = (b * b - a * c).sqrt();
    (a > 0.0).then(|| Retention {
        share: stayed / change,
        interval: Interval {
            low: (b - root) / a,
            high: (b + root) / a,
        },
    })
}

/// What another day and markers put on again do by themselves, from pairs of levels of one golfer: at the end
/// of a lesson and at the beginning of the next. What was forgotten or practiced between is in it, which errs
/// on the safe side. `None` with fewer than [`FEWEST_PAIRS`]: then it is not known, and nothing is assumed.
#[must_use]
pub fn another_day(pairs: &[[f64; 2]]) -> Option<Again> {
    let days: Vec<Vec<f64>> = pairs.iter().map(|p| p.to_vec()).collect();
    (pairs.len() >= FEWEST_PAIRS)
        .then(|| between_days(&days))
        .flatten()
}

/// Where a level goes over months: Theil–Sen over the medians of blocks, with its interval at 95 %.
/// `when` in any unit of time (the slope is per that unit). `None` with fewer than four blocks.
#[must_use]
pub fn trend(when: &[f64], medians: &[f64]) -> Option<Slope> {
    (when.len().min(medians.len()) >= 4)
        .then(|| theil_sen(when, medians, 0.05, 1.0))
        .flatten()
}
