//! What golfers of the archive do who agreed to be part of it, a student beside them, and what separates two groups
//! of them.

use analysis::body::inertia::Sex;
use analysis::coaching::cohort::{
    self, ASSOCIATION, DESCRIPTION, Draws, FEWEST_GOLFERS, Filter, TooFew,
};
use analysis::coaching::compare;
use analysis::coaching::order::Interval;
use analysis::coaching::shot::Metric;
use analysis::metrics::catalogue;
use protocol::shelf::{Cohort, CohortBand, Separated, Separates};

use super::compare::{numbers, shown};
use super::{Coach, golfers};
use crate::archive::ArchiveError;
use crate::archive::store::{Played, Store};
use crate::archive::values as packed;

/// Percentiles of a cohort's band.
const SHARES: (f64, f64) = (0.1, 0.9);
/// Seed of the cohort's draws: the same question has the same answer.
const SEED: u64 = 20;

/// Which golfers a cohort is made of.
#[derive(Debug, Clone, Default)]
pub struct Golfers {
    /// Club in words.
    pub club: Option<String>,
    /// `right` or `left`.
    pub side: Option<String>,
    /// `female` or `male`.
    pub sex: Option<String>,
    /// Years, both ends included.
    pub age: Option<(u32, u32)>,
    /// Median head speed, m/s, upper end not included.
    pub head_speed: Option<(f64, f64)>,
}

/// Beside whom, and in what.
#[derive(Debug, Clone, Default)]
pub struct Beside {
    /// Who is compared, and so is in no group.
    pub student: Option<String>,
    /// Metrics; every one when empty.
    pub metrics: Vec<Metric>,
}

impl Coach {
    /// What golfers of the archive do who agreed to be part of it.
    ///
    /// # Errors
    /// When the store cannot be read. Fewer than twenty golfers are an answer without bands, in words.
    pub fn cohort(&self, asked: &Golfers, beside: &Beside) -> Result<Cohort, ArchiveError> {
        self.freshen(asked)?;
        self.ask(|archive| cohort(&archive.store, asked, beside))
    }

    /// Makes what golfers do in the middle anew where something changed, some golfers at a time, so that others
    /// are answered meanwhile.
    fn freshen(&self, asked: &Golfers) -> Result<(), ArchiveError> {
        while self.ask(|archive| golfers::freshen(&archive.store, asked))? {}
        Ok(())
    }

    /// What separates two groups of them.
    ///
    /// # Errors
    /// As [`Coach::cohort`].
    pub fn separates(
        &self,
        groups: [&Golfers; 2],
        beside: &Beside,
    ) -> Result<Separates, ArchiveError> {
        for asked in groups {
            self.freshen(asked)?;
        }
        self.ask(|archive| separates(&archive.store, groups, beside))
    }
}

impl Beside {
    fn metrics(&self) -> Vec<Metric> {
        match self.metrics.as_slice() {
            [] => numbers().collect(),
            some => some.to_vec(),
        }
    }
}

/// The golfers as asked for, and none of who is compared.
fn group(
    store: &Store,
    asked: &Golfers,
    beside: &Beside,
) -> Result<Result<cohort::Cohort, TooFew>, ArchiveError> {
    let (golfers, student) = golfers::golfers(store, asked, beside.student.as_deref())?;
    let filter = Filter {
        // Of these, the golfers' swings were asked for already.
        analysis: 0,
        marker_map: 0,
        club: None,
        handed: None,
        age: None,
        sex: asked.sex.as_deref().and_then(sex),
        head_speed: asked.head_speed,
        student,
    };
    Ok(cohort::Cohort::of_golfers(golfers, &filter))
}

fn cohort(store: &Store, asked: &Golfers, beside: &Beside) -> Result<Cohort, ArchiveError> {
    let made = match group(store, asked, beside)? {
        Ok(made) => made,
        Err(few) => {
            return Ok(Cohort {
                golfers: few.golfers as u32,
                bands: Vec::new(),
                words: format!(
                    "Too few: {} golfers are as asked for and agreed to it, {FEWEST_GOLFERS} make a cohort.",
                    few.golfers
                ),
            });
        }
    };
    let own = match &beside.student {
        Some(student) => own(store, student, asked.club.as_deref())?,
        None => Vec::new(),
    };
    let mut draws = Draws::new(SEED);
    let bands = beside.metrics().into_iter();
    Ok(Cohort {
        bands: bands
            .filter_map(|m| band(&made, m, (&own, &mut draws)))
            .collect(),
        golfers: made.len() as u32,
        words: DESCRIPTION.into(),
    })
}

fn separates(
    store: &Store,
    groups: [&Golfers; 2],
    beside: &Beside,
) -> Result<Separates, ArchiveError> {
    let mut metrics = beside.metrics();
    if groups.iter().any(|g| g.head_speed.is_some()) {
        // By what they were chosen, groups are apart anyhow.
        metrics.retain(|m| !m.family().id.starts_with("head_speed"));
    }
    let few = |golfers: [usize; 2]| Separates {
        golfers: golfers.map(|n| n as u32),
        rows: Vec::new(),
        words: format!(
            "Too few: {} golfers are in group A alone and {} in group B alone who agreed to it; {FEWEST_GOLFERS} \
             are needed in each.",
            golfers[0], golfers[1]
        ),
    };
    let [first, second] = groups.map(|asked| group(store, asked, beside));
    let (a, b) = match [first?, second?] {
        [Ok(a), Ok(b)] => (a, b),
        made => {
            return Ok(few(made.map(|group| match group {
                Ok(group) => group.len(),
                Err(few) => few.golfers,
            })));
        }
    };
    let found = cohort::separates(&a, &b, &metrics);
    let (a, b) = found.golfers;
    if a.min(b) < FEWEST_GOLFERS {
        return Ok(few([a, b]));
    }
    let row = |row: &cohort::Separation| Separated {
        metric: row.metric.id(),
        unit: row.metric.unit().symbol().to_owned(),
        medians: [row.medians.0, row.medians.1].map(|v| shown(row.metric, v)),
        golfers: [row.golfers.0, row.golfers.1].map(|n| n as u32),
        delta: row.dominance.delta,
        low: row.dominance.interval.low,
        high: row.dominance.interval.high,
        q: row.adjusted,
        found: row.found,
    };
    Ok(Separates {
        golfers: [a, b].map(|n| n as u32),
        rows: found.rows.iter().map(row).collect(),
        words: ASSOCIATION.into(),
    })
}

/// Values of the student's shots that count, of every version.
fn own(
    store: &Store,
    student: &str,
    club: Option<&str>,
) -> Result<Vec<Vec<Option<f64>>>, ArchiveError> {
    let out = golfers::excluded(store, student)?;
    let played = store.played(student)?.into_iter();
    let taken =
        played.filter(|p| !out.contains(&p.id) && (club.is_none() || p.club.as_deref() == club));
    let read = |p: Played| packed::numbers(&p.metrics, catalogue::len());
    Ok(taken.filter_map(read).collect())
}

/// A metric of a cohort; `None` where too few show it.
fn band(
    made: &cohort::Cohort,
    metric: Metric,
    (own, draws): (&[Vec<Option<f64>>], &mut Draws),
) -> Option<CohortBand> {
    let band = made.band(metric, SHARES, draws).ok()?;
    let place =
        |p: cohort::Place| [p.value, p.interval.low, p.interval.high].map(|v| shown(metric, v));
    let golfers = made.medians(metric).ok()?;
    let own = own
        .iter()
        .filter_map(|v| v.get(metric.index()).copied().flatten());
    let own: Vec<f64> = own.map(|shown| metric.unit().inside(shown)).collect();
    let standing = compare::student(&own, &golfers, band.middle.interval);
    Some(CohortBand {
        metric: metric.id(),
        unit: metric.unit().symbol().to_owned(),
        low: place(band.low),
        middle: place(band.middle),
        high: place(band.high),
        golfers: band.golfers as u32,
        student: standing.and_then(|s| {
            let Interval { low, high } = s.difference.interval?;
            Some([s.difference.difference, low, high].map(|v| shown(metric, v)))
        }),
    })
}

pub(super) fn sex(name: &str) -> Option<Sex> {
    match name {
        "female" => Some(Sex::Female),
        "male" => Some(Sex::Male),
        _ => None,
    }
}
