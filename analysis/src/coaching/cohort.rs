//! Cohorts: what golfers of the archive are like, each golfer once, and what separates two groups of them.
//! Where the rows come from is not here.
//!
//! Fast golfers differ from others in height, sex and age too: what separates groups, and the places of a
//! cohort, are descriptions, not targets ([`DESCRIPTION`] says so).

use std::collections::BTreeMap;

use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng as _, SeedableRng as _};

use super::association::FALSE_FINDS;
use super::order::{Dominance, Interval, discovery, dominance, median, quantile};
use super::shot::{Metric, Shot};
use crate::body::inertia::Sex;
use crate::handed::Handed;
use crate::metrics::catalogue::Unit;

/// Fewer golfers make no cohort: single persons would show, and percentiles would be accidents.
pub const FEWEST_GOLFERS: usize = 20;

/// The words that stand beside a cohort's numbers.
pub const DESCRIPTION: &str = "What these golfers do, not what you should do: fast golfers also differ in \
     height, sex and age, so their numbers are no targets.";

/// The words that stand beside what separates two groups.
pub const ASSOCIATION: &str = "What separates these groups goes together with belonging to one of them, and is \
     no cause of it: fast golfers also differ in height, sex and age, so the numbers of a group are no targets.";

/// Draws of golfers for an interval.
const DRAWS: usize = 1_000;

/// One swing of the archive.
#[derive(Debug, Clone, PartialEq)]
pub struct Row {
    /// Number of the golfer.
    pub golfer: u64,
    /// Whether the golfer agreed to be part of cohorts.
    pub consented: bool,
    /// Club in words, as told.
    pub club: Option<String>,
    /// The golfer's side.
    pub handed: Option<Handed>,
    /// Sex, where told.
    pub sex: Option<Sex>,
    /// Age at the swing in years, where told.
    pub age: Option<u32>,
    /// Head speed at impact, m/s.
    pub head_speed: Option<f64>,
    /// Version of the analysis that computed the values.
    pub analysis: u32,
    /// Number of the marker map.
    pub marker_map: u64,
    /// The values.
    pub shot: Shot,
}

/// Which golfers. Whatever is `None` is not asked; what is asked and not told of a swing leaves it out.
#[derive(Debug, Clone, PartialEq)]
pub struct Filter {
    /// Version of the analysis: only one, or definitions would be mixed.
    pub analysis: u32,
    /// Marker map: only one.
    pub marker_map: u64,
    /// Club.
    pub club: Option<String>,
    /// Side.
    pub handed: Option<Handed>,
    /// Sex.
    pub sex: Option<Sex>,
    /// Age, both ends included.
    pub age: Option<(u32, u32)>,
    /// The golfer's median head speed in m/s, lower end included, upper end not: so that bands side by
    /// side share nobody.
    pub head_speed: Option<(f64, f64)>,
    /// The student who is compared, and so is not in it.
    pub student: Option<u64>,
}

impl Filter {
    fn takes(&self, row: &Row) -> bool {
        fn same<T: PartialEq>(asked: Option<&T>, told: Option<&T>) -> bool {
            asked.is_none() || asked == told
        }
        row.consented
            && Some(row.golfer) != self.student
            && row.analysis == self.analysis
            && row.marker_map == self.marker_map
            && same(self.club.as_ref(), row.club.as_ref())
            && same(self.handed.as_ref(), row.handed.as_ref())
            && same(self.sex.as_ref(), row.sex.as_ref())
            && self
                .age
                .is_none_or(|(from, to)| row.age.is_some_and(|age| (from..=to).contains(&age)))
    }
}

/// Too few golfers.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct TooFew {
    /// So many there were.
    pub golfers: usize,
}

/// Golfers, each with one number a metric.
#[derive(Debug, Clone, PartialEq)]
pub struct Cohort {
    /// Medians of each golfer's swings, by golfer.
    golfers: BTreeMap<u64, BTreeMap<Metric, f64>>,
}

/// A value of a cohort with its interval at 95 %, inside unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Place {
    /// The value.
    pub value: f64,
    /// What other golfers of the same kind would give: golfers are drawn anew, not swings.
    pub interval: Interval,
}

/// A cohort's band of one metric, usable as a default band.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CohortBand {
    /// Lower percentile.
    pub low: Place,
    /// Median.
    pub middle: Place,
    /// Upper percentile.
    pub high: Place,
    /// Golfers who show the metric.
    pub golfers: usize,
}

impl Cohort {
    /// The golfers whom a filter takes, with medians over their swings first so that frequent ones do not
    /// count more.
    ///
    /// # Errors
    /// [`TooFew`] golfers.
    pub fn of(rows: &[Row], filter: &Filter, metrics: &[Metric]) -> Result<Self, TooFew> {
        let mut swings: BTreeMap<u64, Vec<&Row>> = BTreeMap::new();
        for row in rows.iter().filter(|row| filter.takes(row)) {
            swings.entry(row.golfer).or_default().push(row);
        }
        if let Some((from, to)) = filter.head_speed {
            swings.retain(|_, rows| {
                let speeds: Vec<f64> = rows.iter().filter_map(|row| row.head_speed).collect();
                median(&speeds).is_some_and(|speed| from <= speed && speed < to)
            });
        }
        if swings.len() < FEWEST_GOLFERS {
            return Err(TooFew {
                golfers: swings.len(),
            });
        }
        let medians = |rows: &Vec<&Row>| -> BTreeMap<Metric, f64> {
            let numbers = metrics.iter().filter(|m| m.unit() != Unit::Code);
            numbers
                .filter_map(|metric| {
                    let values: Vec<f64> = rows
                        .iter()
                        .filter_map(|row| row.shot.value(*metric))
                        .collect();
                    Some((*metric, median(&values)?))
                })
                .collect()
        };
        Ok(Self {
            golfers: swings
                .iter()
                .map(|(id, rows)| (*id, medians(rows)))
                .collect(),
        })
    }

    /// How many golfers.
    #[must_use]
    pub fn len(&self) -> usize {
        self.golfers.len()
    }

    /// Never: fewer than twenty are no cohort.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.golfers.is_empty()
    }

    /// The golfers' medians of a metric, by golfer; an error where fewer than twenty show it.
    ///
    /// # Errors
    /// [`TooFew`] golfers.
    pub fn medians(&self, metric: Metric) -> Result<Vec<f64>, TooFew> {
        let all = self.golfers.values();
        let shown: Vec<f64> = all.filter_map(|g| g.get(&metric).copied()).collect();
        if shown.len() < FEWEST_GOLFERS {
            return Err(TooFew {
                golfers: shown.len(),
            });
        }
        Ok(shown)
    }

    /// Percentiles of a metric (shares from 0 to 1) with intervals from golfers drawn anew (percentile
    /// bootstrap), the same for the same seed.
    ///
    /// # Errors
    /// [`TooFew`] golfers who show it.
    pub fn band(
        &self,
        metric: Metric,
        shares: (f64, f64),
        seed: u64,
    ) -> Result<CohortBand, TooFew> {
        let golfers = self.medians(metric)?;
        let wanted = [shares.0, 0.5, shares.1];
        let at = |values: &[f64]| wanted.map(|share| quantile(values, share).unwrap_or(f64::NAN));
        let mut luck = ChaCha8Rng::seed_from_u64(seed);
        let mut draws = [const { Vec::new() }; 3];
        let mut drawn = golfers.clone();
        for _ in 0..DRAWS {
            for value in &mut drawn {
                let pick = (u128::from(luck.next_u64()) * golfers.len() as u128) >> 64;
                *value = golfers[pick as usize];
            }
            for (draws, value) in draws.iter_mut().zip(at(&drawn)) {
                draws.push(value);
            }
        }
        let values = at(&golfers);
        let place = |n: usize| Place {
            value: values[n],
            interval: Interval {
                low: quantile(&draws[n], 0.025).unwrap_or(values[n]),
                high: quantile(&draws[n], 0.975).unwrap_or(values[n]),
            },
        };
        Ok(CohortBand {
            low: place(0),
            middle: place(1),
            high: place(2),
            golfers: golfers.len(),
        })
    }
}

/// How far a metric separates two groups.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Separation {
    /// Which.
    pub metric: Metric,
    /// Medians of the first group's golfers and of the second's, inside unit.
    pub medians: (f64, f64),
    /// Golfers of the first and of the second group who show it.
    pub golfers: (usize, usize),
    /// Cliff's delta of the second group over the first, with its interval at 95 %.
    pub dominance: Dominance,
    /// p-value adjusted for all metrics looked at.
    pub adjusted: f64,
    /// Whether it counts as found, at a false-discovery rate of 5 %.
    pub found: bool,
}

/// What separates two groups.
#[derive(Debug, Clone, PartialEq)]
pub struct Separations {
    /// Golfers of the first group and of the second who are not in both.
    pub golfers: (usize, usize),
    /// The widest apart first; none where either group has fewer than twenty of its own.
    pub rows: Vec<Separation>,
}

/// What separates two groups of golfers, without those who are in both. Metrics that fewer than twenty of either
/// group show are left out.
#[must_use]
pub fn separates(first: &Cohort, second: &Cohort, metrics: &[Metric]) -> Separations {
    let alone = |group: &Cohort, other: &Cohort| Cohort {
        golfers: group
            .golfers
            .iter()
            .filter(|(id, _)| !other.golfers.contains_key(id))
            .map(|(id, values)| (*id, values.clone()))
            .collect(),
    };
    let (first, second) = (alone(first, second), alone(second, first));
    let (mut rows, p): (Vec<Separation>, Vec<f64>) = metrics
        .iter()
        .filter_map(|metric| {
            let (a, b) = (first.medians(*metric).ok()?, second.medians(*metric).ok()?);
            let dominance = dominance(&a, &b, 0.05)?;
            let row = Separation {
                metric: *metric,
                medians: (median(&a)?, median(&b)?),
                golfers: (a.len(), b.len()),
                dominance,
                adjusted: 1.0,
                found: false,
            };
            Some((row, dominance.p))
        })
        .unzip();
    for (row, adjusted) in rows.iter_mut().zip(discovery(&p)) {
        row.adjusted = adjusted;
        row.found = adjusted <= FALSE_FINDS;
    }
    let size = |row: &Separation| row.dominance.delta.abs();
    rows.sort_by(|a, b| size(b).total_cmp(&size(a)).then(a.metric.cmp(&b.metric)));
    Separations {
        golfers: (first.len(), second.len()),
        rows,
    }
}
