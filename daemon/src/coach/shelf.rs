//! What is found again in the archive: lessons, swings with everything about them, bands, the take-home
//! summary. How blocks compare is in `compare`.

use std::collections::BTreeMap;

use analysis::coaching::band;
use analysis::coaching::leaks::{self, Leak, Outcome, Setup};
use analysis::coaching::shot::Metric;
use analysis::metrics::catalogue::{self, CATALOGUE, HEAD_SPEED};
use protocol::lesson::{About, Band, Club, Said, Summary};
use protocol::screen::Replay;
use protocol::shelf::{
    Curves, Kept, MetricLine, Metrics, SessionLine, Sessions, SwingLine, Swings,
};

use super::again::Days;
use super::shots::{self, Blocked, Holds};
use super::{Coach, block, findings, judge, thresholds, view, words};
use crate::archive::rows::Session;
use crate::archive::store::{Among, Find, Found, PageEnd, Store};
use crate::archive::values::{self, Packed};
use crate::archive::{ArchiveError, again, date, filing};

/// Lessons and swings of a page.
const PAGE: u32 = 50;
/// Swings looked at for one page where a value must lie in a range.
const LOOKED_AT: usize = 20_000;

/// Which swings are asked for, beyond what the tables know.
#[derive(Debug, Clone, Default)]
pub struct Sought {
    /// By the tables.
    pub find: Find,
    /// With this tag.
    pub tag: Option<String>,
    /// With a metric's value in a range, in its unit.
    pub range: Option<(Metric, f64, f64)>,
    /// That shows this leak, with the student's thresholds and limits.
    pub leak: Option<Leak>,
    /// Metrics to list beside head speed.
    pub metrics: Vec<Metric>,
    /// Where the page before ended.
    pub before: Option<PageEnd>,
}

impl Coach {
    /// A page of lessons.
    ///
    /// # Errors
    /// When the store cannot be read; so of every question here.
    pub fn sessions(
        &self,
        student: Option<&str>,
        before_utc_ns: Option<u64>,
    ) -> Result<Sessions, ArchiveError> {
        self.ask(|archive| {
            let found = archive.store.lessons(student, before_utc_ns, PAGE)?;
            let full = found.len() == PAGE as usize;
            let next = found.last().filter(|_| full);
            let next = next.map(|(s, _)| s.began_utc_ns.to_string());
            let lines = found.into_iter().map(|s| line(&archive.store, s));
            Ok(Sessions {
                sessions: lines.collect::<Result<_, _>>()?,
                next,
            })
        })
    }

    /// A lesson.
    ///
    /// # Errors
    /// When there is none.
    pub fn session(&self, id: &str) -> Result<SessionLine, ArchiveError> {
        self.ask(|archive| line(&archive.store, archive.store.lesson(id)?))
    }

    /// A page of swings.
    ///
    /// # Errors
    /// See [`Coach::sessions`].
    pub fn swings(&self, sought: &Sought) -> Result<Swings, ArchiveError> {
        self.ask(|archive| page(&archive.store, sought))
    }

    /// A swing with everything about it.
    ///
    /// # Errors
    /// When there is none.
    pub fn swing(&self, id: &str) -> Result<Kept, ArchiveError> {
        self.ask(|archive| {
            let store = &archive.store;
            let results = store.results_of(id)?;
            let find = Find {
                swing: Some(id.to_owned()),
                ..Find::default()
            };
            let found = store.find(&find, None, 1)?.into_iter().next();
            let missing = || ArchiveError::Unknown {
                what: "swing",
                name: id.to_owned(),
            };
            let (found, newest) = found.zip(results.first()).ok_or_else(missing)?;
            let entries = store.holds(&found.student)?;
            let holds = Holds::new(&entries);
            let notes = match holds.of(&About::Swing(id.to_owned()), "notes") {
                Some(Said::Notes(notes)) => notes.clone(),
                _ => Vec::new(),
            };
            Ok(Kept {
                line: swing_line(found, &holds, &[])?,
                notes,
                report: again::report(&newest.report)?,
                analyses: results.iter().map(|r| r.analysis.clone()).collect(),
            })
        })
    }

    /// The pose of a swing over time.
    ///
    /// # Errors
    /// When there is no such swing, or it was filed by a program that kept none.
    pub fn replay(&self, id: &str) -> Result<Replay, ArchiveError> {
        self.take(id, |take| filing::unpack(&take.replay))
    }

    /// Derived signals of a swing: those asked for, all when none is, at no more than `rate_hz`.
    ///
    /// # Errors
    /// As [`Coach::replay`].
    pub fn curves(
        &self,
        id: &str,
        signals: &[String],
        rate_hz: Option<f64>,
    ) -> Result<Curves, ArchiveError> {
        let mut curves: Curves = self.take(id, |take| filing::unpack(&take.curves))?;
        if !signals.is_empty() {
            curves.signals.retain(|s| signals.contains(&s.id));
        }
        let most = rate_hz.filter(|r| *r > 0.0).unwrap_or(curves.rate_hz);
        let step = (curves.rate_hz / most).ceil().max(1.0) as usize;
        if step > 1 {
            for signal in &mut curves.signals {
                signal.values = signal.values.iter().step_by(step).copied().collect();
            }
            curves.rate_hz /= step as f64;
        }
        Ok(curves)
    }

    fn take<T>(
        &self,
        id: &str,
        read: impl FnOnce(&crate::archive::rows::Take) -> Result<T, ArchiveError>,
    ) -> Result<T, ArchiveError> {
        let take = self.ask(|archive| archive.store.take(id))?;
        let take = take.ok_or_else(|| ArchiveError::Unknown {
            what: "drawing of swing",
            name: format!("{id} (measure it again: whin archive reanalyze)"),
        })?;
        read(&take)
    }

    /// The bands of a club, defaults included.
    ///
    /// # Errors
    /// When there is no such club.
    pub fn bands(&self, club: &str) -> Result<Vec<Band>, ArchiveError> {
        self.ask(|archive| {
            let (_, student) = archive.store.club(club)?;
            let entries = archive.store.holds(&student)?;
            let holds = Holds::new(&entries);
            let about = About::Club(club.to_owned());
            let set = holds.all(&about, "band:").filter_map(|said| match said {
                Said::Band(told) => Metric::by_id(&told.metric),
                _ => None,
            });
            let mut metrics: Vec<Metric> = band::defaults().iter().map(|b| b.metric()).collect();
            metrics.extend(set);
            metrics.sort_unstable();
            metrics.dedup();
            let held = metrics
                .into_iter()
                .filter_map(|m| judge::band(m, (&holds, Some(&about))));
            Ok(held.map(|h| judge::shown(&h, None)).collect())
        })
    }

    /// What the student takes home of a lesson.
    ///
    /// # Errors
    /// When there is no such lesson.
    pub fn summary(&self, session: &str) -> Result<Summary, ArchiveError> {
        self.ask(|archive| summary(&archive.store, archive.store.lesson(session)?.0))
    }
}

/// Every metric with what it means.
#[must_use]
pub fn metrics() -> Metrics {
    let each = CATALOGUE
        .iter()
        .flat_map(|f| (0..f.len()).map(move |n| (*f, n)));
    let lines = each.filter_map(|(family, n)| {
        let metric = Metric::by_index(family.first + n)?;
        Some(MetricLine {
            id: metric.id(),
            words: words::metric(metric),
            unit: family.unit.symbol().to_owned(),
            sign: family.sign.to_owned(),
            definition: family.definition.to_owned(),
            source: family.source.to_owned(),
            event: metric.event().map(|e| e.name().to_owned()),
            has_default_band: band::default(metric).is_some(),
        })
    });
    Metrics {
        metrics: lines.collect(),
    }
}

fn line(store: &Store, (session, swings): (Session, u32)) -> Result<SessionLine, ArchiveError> {
    Ok(SessionLine {
        name: store.student(&session.student)?.name,
        blocks: store.blocks(&session.id)?,
        id: session.id,
        student: session.student,
        bay: session.bay,
        zone: session.zone,
        began_utc_ns: session.began_utc_ns,
        ended_utc_ns: session.ended_utc_ns,
        swings,
    })
}

fn page(store: &Store, sought: &Sought) -> Result<Swings, ArchiveError> {
    let mut swings = Vec::new();
    let mut entries = BTreeMap::new();
    let (mut before, mut looked_at) = (sought.before, 0);
    loop {
        let found = store.find(&sought.find, before, PAGE)?;
        let last = found.len() < PAGE as usize;
        for one in found {
            before = Some((one.impact_utc_ns, one.row));
            looked_at += 1;
            let student = one.student.clone();
            if !entries.contains_key(&student) {
                entries.insert(student.clone(), store.holds(&student)?);
            }
            let held = entries.get(&student).map_or(&[][..], Vec::as_slice);
            let holds = Holds::new(held);
            if let Some(leak) = sought.leak
                && !shows(store, (&one, leak), &holds)?
            {
                continue;
            }
            if let Some(line) = fitting(one, &holds, sought)? {
                swings.push(line);
            }
            if swings.len() == PAGE as usize {
                break;
            }
        }
        let enough = swings.len() == PAGE as usize || looked_at >= LOOKED_AT;
        if last || enough {
            let more = enough && !last || swings.len() == PAGE as usize;
            let next = before.filter(|_| more);
            return Ok(Swings {
                swings,
                next: next.map(|(at, row)| format!("{at}-{row}")),
            });
        }
    }
}

/// Whether a swing shows a leak, beyond the uncertainty.
fn shows(
    store: &Store,
    (found, leak): (&Found, Leak),
    holds: &Holds<'_>,
) -> Result<bool, ArchiveError> {
    let thresholds = thresholds::of(holds, &About::Student(found.student.clone()));
    let student = store.student(&found.student)?;
    let setup = Setup {
        thresholds: &thresholds,
        limits: &findings::limits(holds, &student, date::year(found.impact_utc_ns)),
        excess_detectable: None,
    };
    let damaged = || ArchiveError::Damaged(format!("the values of swing {}", found.id));
    let packed = values::unpack(&found.metrics, catalogue::len()).ok_or_else(damaged)?;
    let shot = shots::shot(&packed);
    Ok(leaks::in_shot(leak, &shot, &setup) == Some(Outcome::Yes))
}

/// The line of a swing, if its tags and values are as asked for.
fn fitting(
    found: Found,
    holds: &Holds<'_>,
    sought: &Sought,
) -> Result<Option<SwingLine>, ArchiveError> {
    let mut asked = sought.metrics.clone();
    asked.extend(sought.range.map(|(metric, ..)| metric));
    let line = swing_line(found, holds, &asked)?;
    let tagged = sought.tag.as_ref().is_none_or(|t| line.tags.contains(t));
    let within = sought.range.is_none_or(|(metric, low, high)| {
        let value = line.values.get(&metric.id()).copied().flatten();
        value.is_some_and(|v| low <= v && v <= high)
    });
    Ok((tagged && within).then_some(line))
}

fn swing_line(
    found: Found,
    holds: &Holds<'_>,
    metrics: &[Metric],
) -> Result<SwingLine, ArchiveError> {
    let damaged = || ArchiveError::Damaged(format!("the values of swing {}", found.id));
    let packed = values::unpack(&found.metrics, catalogue::len()).ok_or_else(damaged)?;
    let value = |metric: &Metric| match packed.get(metric.index()) {
        Some(Packed::Value { value, .. }) => Some(*value),
        _ => None,
    };
    let asked = [Metric::of(&HEAD_SPEED)];
    let values = asked.iter().chain(metrics).map(|m| (m.id(), value(m)));
    let swing = About::Swing(found.id.clone());
    Ok(SwingLine {
        values: values.collect(),
        excluded: match holds.of(&swing, "excluded") {
            Some(Said::Excluded(reason)) => reason.clone(),
            _ => None,
        },
        tags: match holds.of(&swing, "tags") {
            Some(Said::Tags(tags)) => tags.clone(),
            _ => Vec::new(),
        },
        id: found.id,
        session: found.session,
        student: found.student,
        kind: found.kind,
        handed: found.handed,
        impact_utc_ns: found.impact_utc_ns,
        block: found.block,
        purpose: found.purpose,
        club: found.club,
        calibration: found.calibration,
    })
}

pub(super) fn summary(store: &Store, session: Session) -> Result<Summary, ArchiveError> {
    let student = store.student(&session.student)?;
    let entries = store.holds(&session.student)?;
    let holds = Holds::new(&entries);
    let limits = findings::limits(&holds, &student, date::year(session.began_utc_ns));
    let about = About::Session(session.id.clone());
    let blocks = store.blocks(&session.id)?;
    let swings = view::told(store.struck(Among::Session(&session.id))?, &holds);
    // The last check tells what changed; without one the last block has nothing to confirm.
    let last = view::telling(blocks.iter().filter(|b| b.purpose == "check"));
    let last = last.or_else(|| view::telling(blocks.iter()));
    let club: Option<Club> = match last.and_then(|b| b.club.as_deref()) {
        Some(id) => Some(store.club(id)?.0),
        None => None,
    };
    let of_club = club.as_ref().map(|c| About::Club(c.id.clone()));
    let mut metrics = judge::chosen(&holds, of_club.as_ref());
    metrics.push(Metric::of(&HEAD_SPEED));
    let after = last.map(|b| Blocked::of(b, &swings));
    let before = last.and_then(|b| view::baseline(&blocks, b));
    let before = before.map(|b| Blocked::of(b, &swings));
    let marked_anew = before.as_ref().map(Blocked::marking) != after.as_ref().map(Blocked::marking);
    let days = match &club {
        Some(club) if marked_anew => Days::of(store, (&club.id, &session.id), &holds)?,
        _ => Days::default(),
    };
    let changes = before.as_ref().zip(after.as_ref()).map(|(before, after)| {
        let between = block::Between {
            before,
            after,
            holds: &holds,
            club: of_club.as_ref(),
            focus: metrics.len() - 1,
            days: &days,
        };
        let changes = metrics.iter().filter_map(|m| block::change(*m, &between));
        changes.collect()
    });
    let told = match holds.of(&about, "keep") {
        Some(Said::Keep(things)) => things.clone(),
        _ => Vec::new(),
    };
    let keep = match (&after, told.is_empty()) {
        (Some(after), true) => {
            let bands: Vec<band::Band> = metrics
                .iter()
                .filter_map(|m| judge::band(*m, (&holds, of_club.as_ref())))
                .map(|h| h.band)
                .collect();
            findings::keep((&after.shots(), &bands), &limits)
        }
        _ => told,
    };
    Ok(Summary {
        session: session.id,
        student: student.name,
        side: student.side,
        began_utc_ns: session.began_utc_ns,
        zone: session.zone,
        club: club.map(|c| c.name),
        shots: blocks.iter().map(|b| b.shots).sum(),
        changes: changes.unwrap_or_default(),
        keep,
        limits: findings::limit_words(&holds, &session.student),
        cautions: findings::cautions(),
        next: match holds.of(&about, "next") {
            Some(Said::Next(date)) => date.clone(),
            _ => None,
        },
        shot: after.as_ref().and_then(|a| a.stands_for(&metrics)),
    })
}
