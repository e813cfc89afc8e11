//! Statistics by order: shifts, slopes and dominance that a single strange shot does not move, with
//! their intervals, and what is left of many p-values. What a change means is in `change`.

use super::chance::{RankSum, normal_quantile, student_quantile, two_sided};
use crate::signal::order::nth;

/// From low to high, both ends belong to it. An end may be infinite: the data bound it not at all.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Interval {
    /// Lower end.
    pub low: f64,
    /// Upper end.
    pub high: f64,
}

impl Interval {
    /// Whether a value lies in it.
    #[must_use]
    pub fn holds(&self, value: f64) -> bool {
        self.low <= value && value <= self.high
    }
}

/// The median, of an even number of values the mean of the middle two; `None` of none.
#[must_use]
pub fn median(values: &[f64]) -> Option<f64> {
    let (mut values, n) = (values.to_vec(), values.len());
    let upper = nth(&mut values, n / 2)?;
    if n % 2 == 1 {
        return Some(upper);
    }
    let lower = nth(&mut values, n / 2 - 1)?;
    Some(0.5 * (lower + upper))
}

/// A quantile by linear interpolation between places of the sorted list (type 7 of Hyndman & Fan 1996);
/// `share` from 0 to 1. `None` of none.
#[must_use]
pub fn quantile(values: &[f64], share: f64) -> Option<f64> {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let place = share.clamp(0.0, 1.0) * sorted.len().checked_sub(1)? as f64;
    let at = place as usize;
    let low = *sorted.get(at)?;
    let high = sorted.get(at + 1).copied().unwrap_or(low);
    Some(low + (place - at as f64) * (high - low))
}

/// Mean and sample variance; `None` of fewer than two values.
#[must_use]
pub fn mean_variance(values: &[f64]) -> Option<(f64, f64)> {
    if values.len() < 2 {
        return None;
    }
    let n = values.len() as f64;
    let mean = values.iter().sum::<f64>() / n;
    let squares: f64 = values.iter().map(|v| (v - mean).powi(2)).sum();
    Some((mean, squares / (n - 1.0)))
}

/// All differences after − before, in ascending order.
#[must_use]
pub fn differences(before: &[f64], after: &[f64]) -> Vec<f64> {
    let mut all: Vec<f64> = after
        .iter()
        .flat_map(|a| before.iter().map(move |b| a - b))
        .collect();
    all.sort_by(f64::total_cmp);
    all
}

/// The shift from one sample to the other: the median of all differences (Hodges & Lehmann 1963).
/// `None` where a sample is empty.
#[must_use]
pub fn shift(before: &[f64], after: &[f64]) -> Option<f64> {
    median(&differences(before, after))
}

/// The interval of the shift that the rank sum test does not reject (Moses; Lehmann 1975), from the
/// differences in order: `rejected` of them are cut at either end, none leaves it unbounded. Ties make it
/// wider, never too short, because its ends belong to it.
#[must_use]
pub fn inverted(differences: &[f64], rejected: usize) -> Interval {
    match rejected.checked_sub(1) {
        Some(k) if 2 * rejected <= differences.len() => Interval {
            low: differences[k],
            high: differences[differences.len() - rejected],
        },
        _ => Interval {
            low: f64::NEG_INFINITY,
            high: f64::INFINITY,
        },
    }
}

/// The rank-inversion interval of the shift between independent samples, at two-sided `level` (0.05).
#[must_use]
pub fn shift_interval(before: &[f64], after: &[f64], level: f64) -> Interval {
    let rejected = RankSum::new(before.len(), after.len()).rejected(0.5 * level);
    inverted(&differences(before, after), rejected)
}

/// A slope over something.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Slope {
    /// Median of the slopes of all pairs (Theil 1950).
    pub slope: f64,
    /// Median of y − slope · x.
    pub intercept: f64,
    /// Interval of the slope (Sen 1968).
    pub interval: Interval,
    /// Two-sided p-value of Kendall's test that there is no slope.
    pub p: f64,
}

/// Sum of f(size) over the groups of equal values.
fn over_ties(values: &[f64], f: impl Fn(f64) -> f64) -> f64 {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    sorted
        // In order, so that "not less" is "equal"; also of the two zeros.
        .chunk_by(|a, b| a >= b)
        .map(|group| f(group.len() as f64))
        .sum()
}

/// Theil–Sen slope of y over x with the interval at two-sided `level`; `None` with fewer than three pairs
/// or all x equal. `inflation` is by how much dependence between neighbours raises the variance of
/// Kendall's sum: 1 for independent pairs.
#[must_use]
pub fn theil_sen(x: &[f64], y: &[f64], level: f64, inflation: f64) -> Option<Slope> {
    let n = x.len().min(y.len());
    if n < 3 {
        return None;
    }
    let (x, y) = (&x[..n], &y[..n]);
    let (mut slopes, mut concordance) = (Vec::new(), 0.0);
    for i in 0..n {
        for j in 0..i {
            let (dx, dy) = (x[i] - x[j], y[i] - y[j]);
            if dx.abs() > 0.0 {
                slopes.push(dy / dx);
                if dy.abs() > 0.0 {
                    concordance += dx.signum() * dy.signum();
                }
            }
        }
    }
    slopes.sort_by(f64::total_cmp);
    let slope = median(&slopes)?;
    let count = n as f64;
    let ties = |k: f64| k * (k - 1.0) * (2.0 * k + 5.0);
    let variance = (ties(count) - over_ties(x, ties) - over_ties(y, ties)) / 18.0;
    let sd = (variance.max(0.0) * inflation).sqrt();
    let half = normal_quantile(0.5 * level) * sd;
    let place = |at: f64| at.round_ties_even().max(0.0) as usize;
    let last = slopes.len() - 1;
    let all = slopes.len() as f64;
    let low = place(0.5 * (all - half)).saturating_sub(1);
    let high = place(0.5 * (all + half)).min(last);
    let rest: Vec<f64> = x.iter().zip(y).map(|(x, y)| y - slope * x).collect();
    Some(Slope {
        slope,
        intercept: median(&rest)?,
        interval: Interval {
            low: slopes[low],
            high: slopes[high],
        },
        p: if sd > 0.0 {
            two_sided(concordance / sd)
        } else {
            1.0
        },
    })
}

/// How far one group lies above another.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Dominance {
    /// Cliff's delta (1993): P(second > first) − P(second < first), from −1 to 1.
    pub delta: f64,
    /// Its asymmetric interval (Cliff 1996, the form that Feng & Cliff 2004 recommend).
    pub interval: Interval,
    /// Two-sided p-value of the rank sum test, normal with ties corrected.
    pub p: f64,
}

/// Cliff's delta of two independent groups at two-sided `level`; `None` where a group has fewer than two.
#[must_use]
pub fn dominance(first: &[f64], second: &[f64], level: f64) -> Option<Dominance> {
    let (n, m) = (first.len(), second.len());
    if n < 2 || m < 2 {
        return None;
    }
    let sign = |a: f64, b: f64| f64::from(i8::from(b > a) - i8::from(b < a));
    let row = |b: f64| first.iter().map(|a| sign(*a, b)).sum::<f64>() / n as f64;
    let column = |a: f64| second.iter().map(|b| sign(a, *b)).sum::<f64>() / m as f64;
    let (nf, mf) = (n as f64, m as f64);
    let delta = second.iter().map(|b| row(*b)).sum::<f64>() / mf;
    let rows: f64 = second.iter().map(|b| (row(*b) - delta).powi(2)).sum();
    let columns: f64 = first.iter().map(|a| (column(*a) - delta).powi(2)).sum();
    let cells: f64 = second
        .iter()
        .flat_map(|b| first.iter().map(move |a| (sign(*a, *b) - delta).powi(2)))
        .sum();
    let unbiased =
        (nf * nf * rows + mf * mf * columns - cells) / (nf * mf * (nf - 1.0) * (mf - 1.0));
    // Never below what one dominance alone would leave (Cliff 1993).
    let variance = unbiased.max((1.0 - delta * delta) / (nf * mf - 1.0));
    let t = student_quantile(0.5 * level, nf + mf - 2.0);
    let (square, rest) = (t * t * variance, 1.0 - delta * delta);
    let interval = if rest > 0.0 {
        let half = t * variance.sqrt() * (rest * rest + square).sqrt();
        let end = |half: f64| ((delta - delta.powi(3) + half) / (rest + square)).clamp(-1.0, 1.0);
        Interval {
            low: end(-half),
            high: end(half),
        }
    } else {
        // Complete separation: the only form left (Feng & Cliff 2004, from the smaller group).
        let b = nf.min(mf);
        let end = (b - t * t) / (b + t * t);
        Interval {
            low: if delta > 0.0 { end } else { -1.0 },
            high: if delta > 0.0 { 1.0 } else { -end },
        }
    };
    let joined: Vec<f64> = first.iter().chain(second).copied().collect();
    let all = nf + mf;
    let ties = over_ties(&joined, |k| k.powi(3) - k);
    let sd = (nf * mf / 12.0 * (all + 1.0 - ties / (all * (all - 1.0)))).sqrt();
    let far = (0.5 * (delta * nf * mf)).abs();
    Some(Dominance {
        delta,
        interval,
        p: if sd > 0.0 {
            two_sided((far - 0.5).max(0.0) / sd)
        } else {
            1.0
        },
    })
}

/// p-values adjusted so that those at or below q have a false-discovery rate of at most q (Benjamini &
/// Hochberg 1995; holds for independent tests and for tests that go together), in the given order.
#[must_use]
pub fn discovery(p: &[f64]) -> Vec<f64> {
    let mut order: Vec<usize> = (0..p.len()).collect();
    order.sort_by(|a, b| p[*a].total_cmp(&p[*b]));
    let mut adjusted = vec![1.0; p.len()];
    let mut least = 1.0_f64;
    for (rank, at) in order.iter().enumerate().rev() {
        least = least.min(p[*at] * p.len() as f64 / (rank + 1) as f64);
        adjusted[*at] = least;
    }
    adjusted
}
