//! Which metrics changed between two blocks, and which move together with another one (head speed) from
//! shot to shot: many are looked at, so the false-discovery rate is controlled. All of it is association:
//! what moves with speed need not make speed, and [`ASSOCIATION`] says so wherever it is shown.

use super::block::{Baseline, Check, Stretch};
use super::change::{Allowed, NotCompared, evidence};
use super::order::{Interval, discovery, theil_sen};
use super::scatter;
use super::shot::{Metric, Shot};
use crate::metrics::catalogue::Unit;

/// The share of false finds among the finds that is allowed (Benjamini & Hochberg 1995).
pub const FALSE_FINDS: f64 = 0.05;

/// The words that stand beside every find.
pub const ASSOCIATION: &str = "These moved together. That does not say that one makes the other: both may \
     follow a third, such as effort or warming up. Of what is listed, one in twenty is expected to be \
     there by chance.";

/// Fewest shots over which two metrics are set beside each other.
const FEWEST: usize = 10;

/// A metric that was looked at between two blocks.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Scanned {
    /// Which.
    pub metric: Metric,
    /// Hodges–Lehmann shift, inside unit.
    pub shift: f64,
    /// Its interval at 95 % for this metric alone, widened as in `change`.
    pub interval: Interval,
    /// p-value adjusted for all metrics looked at.
    pub adjusted: f64,
    /// Whether it counts as found. A find is where to look next; only another check block confirms it.
    pub found: bool,
}

/// Which metrics changed between two blocks, in the catalogue's order. Metrics that the blocks cannot
/// show (too few values, still warming up, another day of unknown effect, codes) are left out. The check
/// block counts whole: this is for after it ended.
pub fn scan(
    baseline: &Stretch<'_>,
    check: &Stretch<'_>,
    metrics: &[Metric],
    allowed: impl Fn(Metric) -> Allowed,
) -> Vec<Scanned> {
    let seen = |metric: Metric| -> Option<(Scanned, f64)> {
        let before = Baseline::of(&baseline.block(metric)).ok()?;
        let after = Check::of(&check.block(metric)).ok()?;
        let evidence: Result<_, NotCompared> = evidence(&before, &after, &allowed(metric));
        let evidence = evidence.ok()?;
        let scanned = Scanned {
            metric,
            shift: evidence.shift,
            interval: evidence.interval,
            adjusted: 1.0,
            found: false,
        };
        Some((scanned, evidence.p))
    };
    let (mut rows, p): (Vec<Scanned>, Vec<f64>) = numbers(metrics).filter_map(seen).unzip();
    for (row, adjusted) in rows.iter_mut().zip(discovery(&p)) {
        row.adjusted = adjusted;
        row.found = adjusted <= FALSE_FINDS;
    }
    rows
}

/// A metric beside another one, over shots.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Together {
    /// Which.
    pub metric: Metric,
    /// Theil–Sen slope: inside unit of the other one for each inside unit of this.
    pub slope: f64,
    /// Interval of the slope at 95 %, for this metric alone.
    pub interval: Interval,
    /// Shots that show both.
    pub shots: usize,
    /// p-value adjusted for all metrics looked at.
    pub adjusted: f64,
    /// Whether it counts as found.
    pub found: bool,
}

/// Which metrics move together with another one (head speed) over the shots of one club, given block by
/// block. Within each block both are taken about their own straight course in time first: levels that
/// differ between blocks, and drifts that both share, are not association from shot to shot. Metrics with
/// fewer than ten such shots are left out.
#[must_use]
pub fn moved_with(blocks: &[Vec<&Shot>], other: Metric, metrics: &[Metric]) -> Vec<Together> {
    let seen = |metric: Metric| -> Option<(Together, f64)> {
        if metric == other {
            return None;
        }
        let (mut x, mut y) = (Vec::new(), Vec::new());
        for block in blocks {
            let pairs: Vec<(f64, f64, f64)> = block
                .iter()
                .enumerate()
                .filter_map(|(n, shot)| Some((n as f64, shot.value(metric)?, shot.value(other)?)))
                .collect();
            if pairs.len() >= 4 {
                let places: Vec<f64> = pairs.iter().map(|p| p.0).collect();
                x.extend(about_course(&places, pairs.iter().map(|p| p.1).collect()));
                y.extend(about_course(&places, pairs.iter().map(|p| p.2).collect()));
            }
        }
        if x.len() < FEWEST {
            return None;
        }
        // Two rows that each correlate by ρ from shot to shot: their product does by ρ².
        let inflation = scatter::inflation(x.len(), scatter::AUTOCORRELATION.powi(2));
        let slope = theil_sen(&x, &y, 0.05, inflation)?;
        let row = Together {
            metric,
            slope: slope.slope,
            interval: slope.interval,
            shots: x.len(),
            adjusted: 1.0,
            found: false,
        };
        Some((row, slope.p))
    };
    let (mut rows, p): (Vec<Together>, Vec<f64>) = numbers(metrics).filter_map(seen).unzip();
    for (row, adjusted) in rows.iter_mut().zip(discovery(&p)) {
        row.adjusted = adjusted;
        row.found = adjusted <= FALSE_FINDS;
    }
    rows
}

/// Codes are no numbers.
fn numbers(metrics: &[Metric]) -> impl Iterator<Item = Metric> {
    metrics.iter().copied().filter(|m| m.unit() != Unit::Code)
}

/// Values about their own Theil–Sen line.
fn about_course(places: &[f64], values: Vec<f64>) -> Vec<f64> {
    match theil_sen(places, &values, 0.05, 1.0) {
        Some(line) => places
            .iter()
            .zip(&values)
            .map(|(x, y)| y - line.intercept - line.slope * x)
            .collect(),
        None => values,
    }
}
