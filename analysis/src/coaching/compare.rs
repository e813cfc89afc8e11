//! One shot, block or student beside another: differences with intervals, and the shot that stands for a
//! block. Differences, not verdicts: those are `change`'s matter. Curves are in `curves`.

use super::chance::{RankSum, normal_quantile, student_quantile, two_sided};
use super::order::{self, Interval, differences, median, quantile, shift, shift_interval};
use super::scatter;
use super::shot::{Metric, Shot};

/// How often what is none may look like a difference.
const LEVEL: f64 = 0.05;

/// A difference, second − first, in the metric's inside unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Difference {
    /// The difference.
    pub difference: f64,
    /// Its interval at 95 %; `None` where nothing is known of it.
    pub interval: Option<Interval>,
    /// How likely a difference as large is where there is none (two-sided): at most 0.05 where the interval
    /// excludes 0, and only there; 1 where nothing is known.
    pub p: f64,
}

/// Which of many differences that were looked at together are real: of those, at most one in twenty is none
/// on average (Benjamini & Hochberg 1995). An interval that excludes 0 by itself does not say so much.
#[must_use]
pub fn real(differences: &[Difference]) -> Vec<bool> {
    let p: Vec<f64> = differences.iter().map(|d| d.p).collect();
    order::discovery(&p).iter().map(|p| *p <= LEVEL).collect()
}

/// Two shots: the interval is of the rig's noise only. How much this golfer's shots differ anyway is not
/// in it, so it never shows a change of the golfer.
#[must_use]
pub fn shots(first: &Shot, second: &Shot, metric: Metric) -> Option<Difference> {
    let (a, b) = (first.reading(metric)?, second.reading(metric)?);
    let difference = b.value - a.value;
    let noise = a.uncertainty.zip(b.uncertainty).map(|(a, b)| a.hypot(b));
    let half = noise.map(|noise| normal_quantile(0.5 * LEVEL) * noise);
    Some(Difference {
        difference,
        interval: half.map(|half| Interval {
            low: difference - half,
            high: difference + half,
        }),
        p: match noise {
            Some(noise) if noise > 0.0 => two_sided(difference / noise),
            Some(_) if difference.abs() > 0.0 => 0.0,
            _ => 1.0,
        },
    })
}

/// Two blocks: Hodges–Lehmann shift with the rank-inversion interval of dependent shots. Drift, other days
/// and looking often are not in it.
#[must_use]
pub fn blocks(first: &[f64], second: &[f64]) -> Option<Difference> {
    let difference = shift(first, second)?;
    let of_mean = |n: usize| scatter::inflation(n, scatter::AUTOCORRELATION) / n as f64;
    let (n, m) = (first.len(), second.len());
    let inflation = (of_mean(n) + of_mean(m)) / (1.0 / n as f64 + 1.0 / m as f64);
    let wider = inflation.sqrt();
    let level = two_sided(normal_quantile(0.5 * LEVEL) * wider);
    let differences = differences(first, second);
    let against = |wrong: fn(&f64) -> bool| differences.iter().filter(|d| wrong(d)).count();
    // As many differences must be cut off at an end before 0 is outside.
    let fewest = against(|d| *d <= 0.0).min(against(|d| *d >= 0.0));
    let one_sided = RankSum::new(n, m).at_most(fewest).min(0.5);
    Some(Difference {
        difference,
        interval: Some(shift_interval(first, second, level)),
        p: two_sided(normal_quantile(one_sided) / wider),
    })
}

/// A student beside a cohort.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Standing {
    /// Student's median − cohort's median.
    pub difference: Difference,
    /// Share of the cohort's golfers that lie below the student's median, half of the equal ones counted.
    pub share_below: f64,
}

/// A student's shots beside a cohort's medians, one a golfer. `cohort_median` is the interval of the cohort's
/// median from `cohort`. `None` where the student has fewer than two shots or the cohort is empty.
#[must_use]
pub fn student(shots: &[f64], golfers: &[f64], cohort_median: Interval) -> Option<Standing> {
    let (own, theirs) = (median(shots)?, median(golfers)?);
    let rho = scatter::AUTOCORRELATION;
    let level = scatter::of_level(shots, rho)?;
    let half = student_quantile(0.025, level.freedom) * level.variance.sqrt();
    let difference = own - theirs;
    // Both intervals joined in quadrature (Zou & Donner 2008).
    let interval = Interval {
        low: difference - half.hypot(cohort_median.high - theirs),
        high: difference + half.hypot(theirs - cohort_median.low),
    };
    let toward = match difference {
        d if d > 0.0 => difference - interval.low,
        _ => interval.high - difference,
    };
    let below: f64 = golfers
        .iter()
        .map(|g| 0.5 * f64::from(i8::from(*g < own) + i8::from(*g <= own)))
        .sum();
    Some(Standing {
        difference: Difference {
            difference,
            interval: Some(interval),
            // Where the interval's end would touch 0, as if it grew in proportion.
            p: two_sided(normal_quantile(0.5 * LEVEL) * difference / toward),
        },
        share_below: below / golfers.len() as f64,
    })
}

/// The shot that stands for a block: the one with the smallest sum of distances to all others over the
/// chosen metrics, each in units of its scatter (interquartile range). Of two shots those metrics count
/// that both show; a shot that shows fewer than half of the metrics cannot stand for the block. `None`
/// where no shot can.
#[must_use]
pub fn medoid(shots: &[&Shot], metrics: &[Metric]) -> Option<usize> {
    let scales: Vec<(Metric, f64)> = metrics
        .iter()
        .filter_map(|metric| {
            let values = super::shot::values(shots, *metric);
            let range = quantile(&values, 0.75)? - quantile(&values, 0.25)?;
            (range > 0.0).then_some((*metric, range))
        })
        .collect();
    let distance = |a: &Shot, b: &Shot| -> Option<f64> {
        let parts: Vec<f64> = scales
            .iter()
            .filter_map(|(metric, scale)| {
                Some(((a.value(*metric)? - b.value(*metric)?) / scale).abs())
            })
            .collect();
        (!parts.is_empty()).then(|| parts.iter().sum::<f64>() / parts.len() as f64)
    };
    let can = |shot: &Shot| {
        let shown = scales
            .iter()
            .filter(|(m, _)| shot.value(*m).is_some())
            .count();
        shown > 0 && 2 * shown >= scales.len()
    };
    let far = |n: usize| -> f64 {
        let distances: Vec<f64> = (0..shots.len())
            .filter(|other| *other != n && can(shots[*other]))
            .filter_map(|other| distance(shots[n], shots[other]))
            .collect();
        if distances.is_empty() {
            return f64::INFINITY;
        }
        distances.iter().sum::<f64>() / distances.len() as f64
    };
    (0..shots.len())
        .filter(|n| can(shots[*n]))
        .min_by(|a, b| far(*a).total_cmp(&far(*b)))
}
