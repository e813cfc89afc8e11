//! Golfers of the archive, each by the medians of the swings that are asked for, so that a question about many reads
//! golfers and not swings. Medians are made at the first question after something changed, and kept by the store.

use std::collections::BTreeSet;

use analysis::coaching::cohort::{Golfer, medians};
use analysis::coaching::shot::Metric;
use analysis::handed::Handed;
use analysis::metrics::catalogue::{self, HEAD_SPEED};
use protocol::lesson::{About, Said};

use super::cohort::{Golfers, sex};
use crate::archive::store::{Medians, Played, Store};
use crate::archive::{ArchiveError, date, values};

/// Golfers whose medians are made in one go, before the store is let go of for others.
const AT_ONCE: usize = 20;
/// Version whose values count: definitions of others may differ.
const ANALYSIS: &str = env!("CARGO_PKG_VERSION");

/// Every golfer who agreed and has swings that are asked for; the number of the compared one among them.
pub(super) fn golfers(
    store: &Store,
    asked: &Golfers,
    compared: Option<&str>,
) -> Result<(Vec<Golfer>, Option<u64>), ArchiveError> {
    let ever = Selection::of(asked);
    let mut found = store.golfers((&ever.key(), &analysis()), asked.club.as_deref())?;
    let mut missing: Vec<_> = found.iter_mut().filter(|g| g.kept.is_none()).collect();
    for some in missing.chunks_mut(AT_ONCE) {
        let students: Vec<&str> = some.iter().map(|g| g.student.as_str()).collect();
        let (made, _) = make(store, &students, &ever)?;
        for (golfer, made) in some.iter_mut().zip(made) {
            golfer.kept = Some(made);
        }
    }
    let student = found
        .iter()
        .zip(0..)
        .find(|(g, _)| Some(g.student.as_str()) == compared);
    let student = student.map(|(_, number)| number);
    let mut golfers = Vec::new();
    for (golfer, number) in found.into_iter().zip(0..) {
        let Some(kept) = golfer.kept else { continue };
        let own = (golfer.student.as_str(), golfer.born);
        let Some(kept) = of_age(store, own, kept, (asked.age, &ever))? else {
            continue;
        };
        let value = |v: f64| Some(v).filter(|v| !v.is_nan());
        let speed = kept.medians.get(Metric::of(&HEAD_SPEED).index());
        golfers.push(Golfer {
            number,
            consented: true,
            sex: golfer.sex.as_deref().and_then(sex),
            head_speed: speed.copied().and_then(value),
            medians: kept.medians.into_iter().map(value).collect(),
        });
    }
    Ok((golfers, student))
}

/// Makes medians of some golfers of whom none are kept. `true`: there are more of them.
pub(super) fn freshen(store: &Store, asked: &Golfers) -> Result<bool, ArchiveError> {
    let ever = Selection::of(asked);
    let club = asked.club.as_deref();
    let due = store.golfers_without((&ever.key(), &analysis()), club, AT_ONCE as u32)?;
    let students: Vec<&str> = due.iter().map(String::as_str).collect();
    // What could not be kept is made with the answer.
    Ok(make(store, &students, &ever)?.1 && due.len() == AT_ONCE)
}

/// The part of a golfer's swings that fell into the years of the age asked for; `None` of no swings. A golfer who
/// was of that age all along needs nothing new.
fn of_age(
    store: &Store,
    (student, born): (&str, i64),
    kept: Medians,
    (age, ever): (Option<(u32, u32)>, &Selection),
) -> Result<Option<Medians>, ArchiveError> {
    let (first, last) = kept.years;
    let (from, to) = age.map_or((first, last), |(from, to)| {
        (
            first.max(born + i64::from(from)),
            last.min(born + i64::from(to)),
        )
    });
    if kept.swings == 0 || from > to {
        return Ok(None);
    }
    if (from, to) == (first, last) {
        return Ok(Some(kept));
    }
    let part = Selection {
        years: Some((from, to)),
        ..ever.clone()
    };
    let kept = match store.medians(student, (&part.key(), &analysis()))? {
        Some(kept) => Some(kept),
        None => make(store, &[student], &part)?.0.pop(),
    };
    Ok(kept.filter(|k| k.swings > 0))
}

fn make(
    store: &Store,
    students: &[&str],
    selection: &Selection,
) -> Result<(Vec<Medians>, bool), ArchiveError> {
    store.make_medians((&selection.key(), &analysis()), students, |student| {
        Ok(of_swings(&played(store, student)?, selection))
    })
}

/// Under which version medians are kept: definitions of another one may differ, and a longer catalogue has more.
fn analysis() -> String {
    format!("{ANALYSIS}, {} values", catalogue::len())
}

/// Which swings of a golfer are taken together.
#[derive(Debug, Clone)]
struct Selection {
    club: Option<String>,
    handed: Option<Handed>,
    /// Years of the swings, both ends included.
    years: Option<(i64, i64)>,
}

impl Selection {
    /// Of swings of all years.
    fn of(asked: &Golfers) -> Self {
        Self {
            club: asked.club.clone(),
            handed: asked.side.as_deref().and_then(Handed::from_name),
            years: None,
        }
    }

    /// How it is written in the store: a club's name is that of the golfer's own club.
    fn key(&self) -> String {
        let side = self.handed.map(Handed::name);
        serde_json::json!([self.club, side, self.years]).to_string()
    }

    fn takes(&self, swing: &Played) -> bool {
        let year = date::year(swing.impact_utc_ns);
        (self.club.is_none() || swing.club == self.club)
            && (self.handed.is_none() || Handed::from_name(&swing.handed) == self.handed)
            && self
                .years
                .is_none_or(|(from, to)| from <= year && year <= to)
    }
}

/// A swing with its values in the catalogue's order.
type Valued = (Played, Vec<Option<f64>>);

/// A golfer's swings of today's analysis that count, with their values.
fn played(store: &Store, student: &str) -> Result<Vec<Valued>, ArchiveError> {
    let out = excluded(store, student)?;
    let counts = |swing: &Played| swing.analysis == ANALYSIS && !out.contains(&swing.id);
    let swings = store.played(student)?.into_iter().filter(counts);
    let read = |swing: Played| {
        let values = values::numbers(&swing.metrics, catalogue::len())?;
        Some((swing, values))
    };
    Ok(swings.filter_map(read).collect())
}

/// Swings of a student that the coach took out.
pub(super) fn excluded(store: &Store, student: &str) -> Result<BTreeSet<String>, ArchiveError> {
    let entries = store.holds(student)?;
    let out = entries.into_iter().filter_map(|e| match (e.about, e.said) {
        (About::Swing(id), Some(Said::Excluded(Some(_)))) if e.key == "excluded" => Some(id),
        _ => None,
    });
    Ok(out.collect())
}

/// Medians of the swings that a selection takes.
fn of_swings(swings: &[Valued], selection: &Selection) -> Medians {
    let taken: Vec<&Valued> = swings
        .iter()
        .filter(|(swing, _)| selection.takes(swing))
        .collect();
    let years = taken
        .iter()
        .map(|(swing, _)| date::year(swing.impact_utc_ns));
    let middle = medians(&taken, |(_, values), metric| {
        let shown = values.get(metric.index()).copied().flatten()?;
        Some(metric.unit().inside(shown))
    });
    Medians {
        swings: taken.len() as u32,
        years: (years.clone().min().unwrap_or(0), years.max().unwrap_or(0)),
        medians: middle.into_iter().map(|v| v.unwrap_or(f64::NAN)).collect(),
    }
}

#[cfg(test)]
mod tests;
