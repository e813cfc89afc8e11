//! What golfers of the archive do who agreed to be part of it, and a student beside them.

use analysis::body::inertia::Sex;
use analysis::coaching::cohort::{self, DESCRIPTION, FEWEST_GOLFERS, Filter, Row};
use analysis::coaching::compare;
use analysis::coaching::order::Interval;
use analysis::coaching::shot::{Metric, Shot, values};
use analysis::handed::Handed;
use analysis::metrics::catalogue::HEAD_SPEED;
use protocol::shelf::{Cohort, CohortBand};

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
    /// Who is compared, and so is not in it.
    pub student: Option<String>,
    /// Metrics; every one when empty.
    pub metrics: Vec<Metric>,
}

impl Coach {
    /// What golfers of the archive do who agreed to be part of it.
    ///
    /// # Errors
    /// When the store cannot be read. Fewer than twenty golfers are an answer without bands, in words.
    pub fn cohort(&self, asked: &Golfers) -> Result<Cohort, ArchiveError> {
        let year = date::year(self.utc_ns());
        self.ask(|archive| cohort(&archive.store, asked, year))
    }
}

fn cohort(store: &Store, asked: &Golfers, year: i64) -> Result<Cohort, ArchiveError> {
    let metrics: Vec<Metric> = if asked.metrics.is_empty() {
        numbers().collect()
    } else {
        asked.metrics.clone()
    };
    let students = store.students()?;
    let mut rows = Vec::new();
    for (n, student) in students.iter().enumerate() {
        let consents = store.consents(&student.id)?;
        let given = |c: &Consent| c.scope == "research" && c.withdrawn_utc_ns.is_none();
        let consented = consents.iter().any(given);
        if consented || asked.student.as_ref() == Some(&student.id) {
            rows.extend(swings(store, (n as u64, student), (consented, year))?);
        }
    }
    let own = |id: &str| students.iter().position(|s| s.id == id);
    let filter = Filter {
        analysis: 1,
        marker_map: 0,
        club: asked.club.clone(),
        handed: asked.side.as_deref().and_then(Handed::from_name),
        sex: asked.sex.as_deref().and_then(sex),
        age: asked.age,
        head_speed: asked.head_speed,
        student: asked.student.as_deref().and_then(own).map(|n| n as u64),
    };
    let made = match cohort::Cohort::of(&rows, &filter, &metrics) {
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
    let own: Vec<&Shot> = rows
        .iter()
        .filter(|r| Some(r.golfer) == filter.student)
        .filter(with_club)
        .map(|r| &r.shot)
        .collect();
    Ok(Cohort {
        bands: metrics
            .iter()
            .filter_map(|m| band(&made, *m, &own))
            .collect(),
        golfers: made.len() as u32,
        words: DESCRIPTION.into(),
    })
}

/// The shots of a golfer. The version of today's program counts as one, every other as another.
fn swings(
    store: &Store,
    (golfer, student): (u64, &Student),
    (consented, year): (bool, i64),
) -> Result<Vec<Row>, ArchiveError> {
    let speed = Metric::of(&HEAD_SPEED);
    let found = store.struck_with_club(&student.id)?.into_iter();
    let rows = found.filter_map(|(struck, club)| {
        let analysis = u32::from(struck.analysis == env!("CARGO_PKG_VERSION"));
        let told = Told::new(struck, &Holds::new(&[]))?;
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
