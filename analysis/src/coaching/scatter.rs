//! How sure the level of a row of dependent shots is: effective sample size, standard error and degrees
//! of freedom. Also the published reliability figures from scatter (SEM, detectable change, ICC). What is
//! concluded is in `change`.

use super::chance::DETECTABLE;
use super::order::mean_variance;

/// How alike neighbouring shots are taken to be (lag-one autocorrelation): ten shots are too few to
/// estimate it, so it is assumed on the safe side.
pub const AUTOCORRELATION: f64 = 0.3;

/// By how much the variance of the mean of n shots in a row is larger than that of n independent ones,
/// when neighbours correlate by `rho` and the correlation fades with the distance (first-order
/// autoregression): 1 + 2 Σ (1 − k/n) ρᵏ.
#[must_use]
pub fn inflation(n: usize, rho: f64) -> f64 {
    let mut power = 1.0;
    let sum: f64 = (1..n)
        .map(|k| {
            power *= rho;
            (1.0 - k as f64 / n as f64) * power
        })
        .sum();
    1.0 + 2.0 * sum
}

/// The share of the variance that the sample variance of n such shots shows on average: (n − v)/(n − 1).
#[must_use]
pub fn shown(n: usize, rho: f64) -> f64 {
    let n_f = n as f64;
    (n_f - inflation(n, rho)) / (n_f - 1.0)
}

/// Degrees of freedom of the sample variance of n such shots: (n − 1)(1 − ρ²)/(1 + ρ²) (Bartlett 1935).
#[must_use]
pub fn freedom(n: usize, rho: f64) -> f64 {
    let square = rho * rho;
    (n as f64 - 1.0) * (1.0 - square) / (1.0 + square)
}

/// A variance and how well it is known.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Part {
    /// In the metric's unit squared.
    pub variance: f64,
    /// Degrees of freedom; infinite where it is known.
    pub freedom: f64,
}

/// The variance of a block's level; `None` of fewer than two shots.
#[must_use]
pub fn of_level(values: &[f64], rho: f64) -> Option<Part> {
    let n = values.len();
    let (_, variance) = mean_variance(values)?;
    Some(Part {
        variance: variance * inflation(n, rho) / (shown(n, rho).max(0.1) * n as f64),
        freedom: freedom(n, rho),
    })
}

/// The shots' own variance, corrected for what dependence hides; `None` of fewer than two.
#[must_use]
pub fn of_shots(values: &[f64], rho: f64) -> Option<f64> {
    let (_, variance) = mean_variance(values)?;
    Some(variance / shown(values.len(), rho).max(0.1))
}

/// Sum of independent parts, its degrees of freedom by Satterthwaite 1946.
#[must_use]
pub fn sum(parts: &[Part]) -> Part {
    let variance: f64 = parts.iter().map(|p| p.variance).sum();
    let spread: f64 = parts.iter().map(|p| p.variance.powi(2) / p.freedom).sum();
    Part {
        variance,
        freedom: if spread > 0.0 {
            variance * variance / spread
        } else {
            f64::INFINITY
        },
    }
}

/// Standard error of measurement from the standard deviation between persons and the intraclass
/// correlation: SD √(1 − ICC) (Weir 2005).
#[must_use]
pub fn standard_error(sd: f64, icc: f64) -> f64 {
    sd * (1.0 - icc).max(0.0).sqrt()
}

/// The smallest change between two measurements that is detectable at 95 %: 1.96 √2 SEM (Weir 2005).
#[must_use]
pub fn detectable_change(standard_error: f64) -> f64 {
    DETECTABLE * standard_error
}

/// How much a level moves from one marking or day to the next though nothing changed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Again {
    /// Standard deviation of the level of one marking, in the metric's unit: the standard error of
    /// measurement of a block's level between days.
    pub sd: f64,
    /// Degrees of freedom of it; infinite where it is known.
    pub freedom: f64,
}

/// From repeated days of golfers with whom nothing was changed: their block medians, one list a golfer.
/// The pooled variance within golfers; `None` where no golfer has two days. What the shots' scatter
/// leaves in each median is in it, which errs on the safe side.
#[must_use]
pub fn between_days(golfers: &[Vec<f64>]) -> Option<Again> {
    let (mut squares, mut freedom) = (0.0, 0.0);
    for days in golfers {
        if let Some((_, variance)) = mean_variance(days) {
            let own = (days.len() - 1) as f64;
            squares += variance * own;
            freedom += own;
        }
    }
    (freedom > 0.0).then(|| Again {
        sd: (squares / freedom).sqrt(),
        freedom,
    })
}

/// Intraclass correlations of a table (Shrout & Fleiss 1979): rows are persons, columns are occasions.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Intraclass {
    /// ICC(2,1): occasions as a random sample, their bias counts as error.
    pub agreement: f64,
    /// ICC(3,1): occasions fixed, their bias does not count.
    pub consistency: f64,
    /// Standard error of measurement √MSE.
    pub standard_error: f64,
}

/// Of at least two persons with the same number, two or more, of occasions; `None` otherwise.
#[must_use]
pub fn intraclass(persons: &[Vec<f64>]) -> Option<Intraclass> {
    let (n, k) = (persons.len(), persons.first()?.len());
    if n < 2 || k < 2 || persons.iter().any(|p| p.len() != k) {
        return None;
    }
    let (nf, kf) = (n as f64, k as f64);
    let grand = persons.iter().flatten().sum::<f64>() / (nf * kf);
    let rows: Vec<f64> = persons.iter().map(|p| p.iter().sum::<f64>() / kf).collect();
    let columns: Vec<f64> = (0..k)
        .map(|j| persons.iter().map(|p| p[j]).sum::<f64>() / nf)
        .collect();
    let about = |means: &[f64]| -> f64 { means.iter().map(|m| (m - grand).powi(2)).sum() };
    let between = kf * about(&rows) / (nf - 1.0);
    let occasion = nf * about(&columns) / (kf - 1.0);
    let mut rest = 0.0;
    for (person, row) in persons.iter().zip(&rows) {
        for (value, column) in person.iter().zip(&columns) {
            rest += (value - row - column + grand).powi(2);
        }
    }
    let error = rest / ((nf - 1.0) * (kf - 1.0));
    Some(Intraclass {
        agreement: (between - error)
            / (between + (kf - 1.0) * error + kf * (occasion - error) / nf),
        consistency: (between - error) / (between + (kf - 1.0) * error),
        standard_error: error.sqrt(),
    })
}
