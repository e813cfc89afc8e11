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

/// One golfer of the archive, by the swings that a filter takes.
#[derive(Debug, Clone, PartialEq)]
pub struct Golfer {
    /// Number.
    pub number: u64,
    /// Whether the golfer agreed to be part of cohorts.
    pub consented: bool,
    /// Sex, where told.
    pub sex: Option<Sex>,
    /// Median head speed at impact, m/s.
    pub head_speed: Option<f64>,
    /// Medians over the swings by the catalogue's order ([`medians`]).
    pub medians: Vec<Option<f64>>,
}

/// Medians of a golfer's swings in the catalogue's order, none of codes; `value` reads one of a swing.
pub fn medians<S>(swings: &[S], value: impl Fn(&S, Metric) -> Option<f64>) -> Vec<Option<f64>> {
    let of = |metric: Metric| {
        let values: Vec<f64> = swings.iter().filter_map(|s| value(s, metric)).collect();
        (metric.unit() != Unit::Code).then(|| median(&values))?
    };
    Metric::all().map(of).collect()
}

/// Which golfers, by which of their swings. Whatever is `None` is not asked; what is asked and not told of a swing leaves it out.
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
    /// Whether it takes a golfer; which of the swings it takes was asked before.
    fn takes(&self, golfer: &Golfer) -> bool {
        golfer.consented
            && Some(golfer.number) != self.student
            && same(self.sex.as_ref(), golfer.sex.as_ref())
            && self.head_speed.is_none_or(|(from, to)| {
                golfer
                    .head_speed
                    .is_some_and(|speed| from <= speed && speed < to)
            })
    }

    fn takes_swing(&self, row: &Row) -> bool {
        row.analysis == self.analysis
            && row.marker_map == self.marker_map
            && same(self.club.as_ref(), row.club.as_ref())
            && same(self.handed.as_ref(), row.handed.as_ref())
            && self
                .age
                .is_none_or(|(from, to)| row.age.is_some_and(|age| (from..=to).contains(&age)))
    }
}

fn same<T: PartialEq>(asked: Option<&T>, told: Option<&T>) -> bool {
    asked.is_none() || asked == told
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
    /// Medians of each golfer's swings in the catalogue's order, by golfer.
    golfers: BTreeMap<u64, Vec<Option<f64>>>,
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
    /// count more. From swing to cohort; an archive keeps its golfers' medians and asks [`Cohort::of_golfers`].
    ///
    /// # Errors
    /// [`TooFew`] golfers.
    pub fn of(rows: &[Row], filter: &Filter) -> Result<Self, TooFew> {
        let mut swings: BTreeMap<u64, Vec<&Row>> = BTreeMap::new();
        for row in rows.iter().filter(|row| filter.takes_swing(row)) {
            swings.entry(row.golfer).or_default().push(row);
        }
        let golfers = swings.into_iter().map(|(number, rows)| {
            let speeds: Vec<f64> = rows.iter().filter_map(|row| row.head_speed).collect();
            Golfer {
                number,
                consented: rows.iter().all(|row| row.consented),
                sex: rows.first().and_then(|row| row.sex),
                head_speed: median(&speeds),
                medians: medians(&rows, |row, metric| row.shot.value(metric)),
            }
        });
        Self::of_golfers(golfers, filter)
    }

    /// The golfers whom a filter takes, each by the swings that it takes.
    ///
    /// # Errors
    /// [`TooFew`] golfers.
    pub fn of_golfers(
        golfers: impl IntoIterator<Item = Golfer>,
        filter: &Filter,
    ) -> Result<Self, TooFew> {
        let taken = golfers.into_iter().filter(|golfer| filter.takes(golfer));
        let golfers: BTreeMap<u64, Vec<Option<f64>>> = taken
            .map(|golfer| (golfer.number, golfer.medians))
            .collect();
        if golfers.len() < FEWEST_GOLFERS {
            return Err(TooFew {
                golfers: golfers.len(),
            });
        }
        Ok(Self { golfers })
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
        let shown: Vec<f64> = all
            .filter_map(|g| g.get(metric.index()).copied().flatten())
            .collect();
        if shown.len() < FEWEST_GOLFERS {
            return Err(TooFew {
                golfers: shown.len(),
            });
        }
        Ok(shown)
    }

    /// Percentiles of a metric (shares from 0 to 1) with intervals from golfers drawn anew (percentile
    /// bootstrap), the same for the same seed of the draws.
    ///
    /// # Errors
    /// [`TooFew`] golfers who show it.
    pub fn band(
        &self,
        metric: Metric,
        shares: (f64, f64),
        draws: &mut Draws,
    ) -> Result<CohortBand, TooFew> {
        let golfers = self.medians(metric)?;
        let wanted = [shares.0, 0.5, shares.1];
        let drawn = draws.quantiles(&golfers, wanted);
        let place = |n: usize| {
            let value = quantile(&golfers, wanted[n]).unwrap_or(f64::NAN);
            Place {
                value,
                interval: Interval {
                    low: quantile(&drawn[n], 0.025).unwrap_or(value),
                    high: quantile(&drawn[n], 0.975).unwrap_or(value),
                },
            }
        };
        Ok(CohortBand {
            low: place(0),
            middle: place(1),
            high: place(2),
            golfers: golfers.len(),
        })
    }
}

/// Golfers drawn anew. Who is drawn how often depends on how many there are and not on the metric, so it is drawn
/// once for all metrics that as many golfers show.
#[derive(Debug)]
pub struct Draws {
    seed: u64,
    /// By the number of golfers: how often each of them is drawn, draw after draw.
    counts: BTreeMap<usize, Vec<u16>>,
}

impl Draws {
    /// Numbers of golfers whose draws are kept at once: some megabytes each in a large archive.
    const KEPT: usize = 4;

    /// Draws of a seed.
    #[must_use]
    pub const fn new(seed: u64) -> Self {
        Self {
            seed,
            counts: BTreeMap::new(),
        }
    }

    fn counts(&mut self, golfers: usize) -> &[u16] {
        if !self.counts.contains_key(&golfers) && self.counts.len() == Self::KEPT {
            self.counts.clear();
        }
        let seed = self.seed;
        self.counts.entry(golfers).or_insert_with(|| {
            let mut luck = ChaCha8Rng::seed_from_u64(seed);
            let mut counts = vec![0_u16; DRAWS * golfers];
            for draw in counts.chunks_exact_mut(golfers.max(1)) {
                for _ in 0..golfers {
                    let pick = (u128::from(luck.next_u64()) * golfers as u128) >> 64;
                    draw[pick as usize] = draw[pick as usize].saturating_add(1);
                }
            }
            counts
        })
    }

    /// [`quantile`]s of each draw. Nothing is sorted but the golfers, once: where a place of a draw's sorted list
    /// lies among them is counted.
    fn quantiles<const N: usize>(&mut self, golfers: &[f64], shares: [f64; N]) -> [Vec<f64>; N] {
        let mut sorted: Vec<(f64, usize)> = golfers.iter().copied().zip(0..).collect();
        sorted.sort_by(|a, b| a.0.total_cmp(&b.0));
        let last = golfers.len().saturating_sub(1);
        let places = shares.map(|share| share.clamp(0.0, 1.0) * last as f64);
        // Both neighbours of each place, in ascending order.
        let mut ends: Vec<(usize, usize)> = places
            .iter()
            .flat_map(|place| [*place as usize, (*place as usize + 1).min(last)])
            .zip(0..)
            .collect();
        ends.sort_unstable();
        let mut drawn = [const { Vec::new() }; N];
        let mut found = vec![0.0; 2 * N];
        for draw in self
            .counts(golfers.len())
            .chunks_exact(golfers.len().max(1))
        {
            let (mut seen, mut value) = (0, f64::NAN);
            let mut rest = sorted.iter();
            for (end, slot) in &ends {
                while seen <= *end {
                    let Some((next, golfer)) = rest.next() else {
                        break;
                    };
                    seen += usize::from(draw[*golfer]);
                    value = *next;
                }
                found[*slot] = value;
            }
            for (n, (drawn, place)) in drawn.iter_mut().zip(places).enumerate() {
                let (low, high) = (found[2 * n], found[2 * n + 1]);
                drawn.push(low + (place - place.floor()) * (high - low));
            }
        }
        drawn
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
