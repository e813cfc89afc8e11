//! What golfers of the archive do who agreed to be part of it, a student beside them, and what separates two groups
//! of them.

use analysis::body::inertia::Sex;
use analysis::coaching::cohort::{self, ASSOCIATION, DESCRIPTION, FEWEST_GOLFERS, Filter, Row};
use analysis::coaching::compare;
use analysis::coaching::order::Interval;
use analysis::coaching::shot::{Metric, Shot, values};
use analysis::handed::Handed;
use analysis::metrics::catalogue::HEAD_SPEED;
use protocol::shelf::{Cohort, CohortBand, Separated, Separates};

use super::Coach;
use super::compare::{numbers, shown};
use super::shots::{Holds, Told};
use crate::archive::rows::{Consent, Student};
use crate::archive::store::Store;
use crate::archive::{ArchiveError, date};

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
        self.ask(|archive| cohort(&archive.store, asked, beside))
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
        self.ask(|archive| separates(&archive.store, groups, beside))
    }
}

/// Swings of everybody who agreed, and of the student who is compared.
struct Rows {
    rows: Vec<Row>,
    student: Option<u64>,
    metrics: Vec<Metric>,
}

impl Rows {
    fn of(store: &Store, beside: &Beside) -> Result<Self, ArchiveError> {
        let mut rows = Vec::new();
        let mut own = None;
        for (n, student) in store.students()?.iter().enumerate() {
            let compared = beside.student.as_ref() == Some(&student.id);
            if compared {
                own = Some(n as u64);
            }
            let consents = store.consents(&student.id)?;
            let given = |c: &Consent| c.scope == "research" && c.withdrawn_utc_ns.is_none();
            let consented = consents.iter().any(given);
            if consented || compared {
                rows.extend(swings(store, (n as u64, student), consented)?);
            }
        }
        Ok(Self {
            rows,
            student: own,
            metrics: match beside.metrics.as_slice() {
                [] => numbers().collect(),
                some => some.to_vec(),
            },
        })
    }

    fn filter(&self, asked: &Golfers) -> Filter {
        Filter {
            analysis: 1,
            marker_map: 0,
            club: asked.club.clone(),
            handed: asked.side.as_deref().and_then(Handed::from_name),
            sex: asked.sex.as_deref().and_then(sex),
            age: asked.age,
            head_speed: asked.head_speed,
            student: self.student,
        }
    }
}

fn cohort(store: &Store, asked: &Golfers, beside: &Beside) -> Result<Cohort, ArchiveError> {
    let all = Rows::of(store, beside)?;
    let filter = all.filter(asked);
    let made = match cohort::Cohort::of(&all.rows, &filter, &all.metrics) {
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
    let with_club = |r: &&Row| filter.club.is_none() || r.club == filter.club;
    let own: Vec<&Shot> = all
        .rows
        .iter()
        .filter(|r| Some(r.golfer) == filter.student)
        .filter(with_club)
        .map(|r| &r.shot)
        .collect();
    Ok(Cohort {
        bands: all
            .metrics
            .iter()
            .filter_map(|m| band(&made, *m, &own))
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
    let mut all = Rows::of(store, beside)?;
    if groups.iter().any(|g| g.head_speed.is_some()) {
        // By what they were chosen, groups are apart anyhow.
        all.metrics
            .retain(|m| !m.family().id.starts_with("head_speed"));
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
    let made = groups.map(|asked| cohort::Cohort::of(&all.rows, &all.filter(asked), &all.metrics));
    let (a, b) = match made {
        [Ok(a), Ok(b)] => (a, b),
        made => {
            return Ok(few(made.map(|group| match group {
                Ok(group) => group.len(),
                Err(few) => few.golfers,
            })));
        }
    };
    let found = cohort::separates(&a, &b, &all.metrics);
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

/// The shots of a golfer that count. The version of today's program counts as one, every other as another.
fn swings(
    store: &Store,
    (golfer, student): (u64, &Student),
    consented: bool,
) -> Result<Vec<Row>, ArchiveError> {
    let entries = store.holds(&student.id)?;
    let holds = Holds::new(&entries);
    let speed = Metric::of(&HEAD_SPEED);
    let found = store.struck_with_club(&student.id)?.into_iter();
    let rows = found.filter_map(|(struck, club)| {
        let analysis = u32::from(struck.analysis == env!("CARGO_PKG_VERSION"));
        let year = date::year(struck.impact_utc_ns);
        let told = Told::new(struck, &holds).filter(|t| t.excluded.is_none())?;
        Some(Row {
            golfer,
            consented,
            club,
            handed: Handed::from_name(&told.row.handed),
            sex: student.sex.as_deref().and_then(sex),
            age: u32::try_from(year - student.born).ok(),
            head_speed: told.shot.value(speed),
            analysis,
            marker_map: 0,
            shot: told.shot,
        })
    });
    Ok(rows.collect())
}

/// A metric of a cohort; `None` where too few show it.
fn band(made: &cohort::Cohort, metric: Metric, own: &[&Shot]) -> Option<CohortBand> {
    let band = made.band(metric, SHARES, SEED).ok()?;
    let place =
        |p: cohort::Place| [p.value, p.interval.low, p.interval.high].map(|v| shown(metric, v));
    let golfers = made.medians(metric).ok()?;
    let standing = compare::student(&values(own, metric), &golfers, band.middle.interval);
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

fn sex(name: &str) -> Option<Sex> {
    match name {
        "female" => Some(Sex::Female),
        "male" => Some(Sex::Male),
        _ => None,
    }
}
