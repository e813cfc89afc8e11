//! Swings, blocks and lessons beside each other: differences, trends, ribbons, what moved together, and
//! what stayed since the last lesson.

use std::collections::BTreeMap;

use analysis::coaching::association::{self, ASSOCIATION};
use analysis::coaching::curves::{self as phases, PLACES};
use analysis::coaching::order;
use analysis::coaching::shot::{Metric, Shot, values};
use analysis::coaching::{compare, retention};
use analysis::metrics::catalogue::{HEAD_SPEED, Unit};
use protocol::lesson::{About, Block};
use protocol::shelf::{
    BlockPage, CarryOver, Compared, Comparison, Curves, Moved, Ribbon, Ribbons, Stayed, Together,
    Trend, TrendPoint,
};

use super::again::Days;
use super::shots::{Blocked, Holds, Told};
use super::{Coach, findings, judge, view, words};
use crate::archive::store::{Among, Store};
use crate::archive::{ArchiveError, date, filing};
use crate::outgoing::rounded;

/// Nanoseconds of a month of 30.4 days.
const MONTH_NS: f64 = 30.4 * 86_400e9;
/// Lessons among which the last one with swings is looked for.
const LOOKED_BACK: u32 = 20;

impl Coach {
    /// Two swings side by side, metric by metric.
    ///
    /// # Errors
    /// When one of them is not there; so of every question here.
    pub fn compare_swings(&self, a: &str, b: &str) -> Result<Comparison, ArchiveError> {
        self.ask(|archive| {
            let one = |id: &str| one_swing(&archive.store, id);
            let (first, second) = (one(a)?, one(b)?);
            let rows = numbers().filter_map(|metric| {
                let found = compare::shots(&first.shot, &second.shot, metric)?;
                Some((metric, first.shot.value(metric)?, found))
            });
            Ok(Comparison {
                of: "swings".into(),
                a: a.to_owned(),
                b: b.to_owned(),
                rows: compared(&rows.collect::<Vec<_>>()),
                words: "Two swings: a difference counts as real when it is more than the rig's noise, all of them looked at together (at most one real one in twenty is none). Shots of one golfer differ anyway, so it shows no change of the golfer.".into(),
            })
        })
    }

    /// Two blocks side by side, metric by metric.
    ///
    /// # Errors
    /// See [`Coach::compare_swings`].
    pub fn compare_blocks(&self, a: i64, b: i64) -> Result<Comparison, ArchiveError> {
        self.ask(|archive| {
            let (first, second) = (shots_of(&archive.store, a)?, shots_of(&archive.store, b)?);
            let (one, two) = (refs(&first), refs(&second));
            let rows = numbers().filter_map(|metric| {
                let (x, y) = (values(&one, metric), values(&two, metric));
                let found = compare::blocks(&x, &y)?;
                Some((metric, order::median(&x)?, found))
            });
            let rows = compared(&rows.collect::<Vec<_>>());
            let alone = rows.iter().filter(|r| excludes_zero(r)).count();
            Ok(Comparison {
                of: "blocks".into(),
                a: a.to_string(),
                b: b.to_string(),
                words: format!(
                    "{} metrics were looked at together: of those called real at most one in twenty is none. Each by itself, {alone} would look real. Drift and other days are not in it; only a check block confirms a change.",
                    rows.len()
                ),
                rows,
            })
        })
    }

    /// Metrics over the blocks of a club.
    ///
    /// # Errors
    /// See [`Coach::compare_swings`].
    pub fn trends(&self, club: &str, metrics: &[Metric]) -> Result<Vec<Trend>, ArchiveError> {
        self.ask(|archive| {
            let blocks = by_block(&archive.store, club)?;
            Ok(metrics.iter().map(|m| trend(&blocks, *m)).collect())
        })
    }

    /// Mean and scatter of a block's curves.
    ///
    /// # Errors
    /// See [`Coach::compare_swings`].
    pub fn ribbons(&self, block: i64, signals: &[String]) -> Result<Ribbons, ArchiveError> {
        self.ask(|archive| {
            let told = swings_of(&archive.store, block)?;
            let mut takes = Vec::new();
            for swing in told.iter().filter(|t| t.counts()) {
                if let Some(take) = archive.store.take(&swing.row.id)? {
                    takes.push(filing::unpack::<Curves>(&take.curves)?);
                }
            }
            Ok(Ribbons {
                block,
                places: PLACES as u32,
                signals: ribbons(&takes, signals),
            })
        })
    }

    /// What moved together with head speed over the shots of a club.
    ///
    /// # Errors
    /// See [`Coach::compare_swings`].
    pub fn together(&self, club: &str) -> Result<Together, ArchiveError> {
        self.ask(|archive| {
            let store = &archive.store;
            let all = by_block(store, club)?;
            let blocks: Vec<Vec<&Shot>> = all.iter().map(|(_, told)| refs_told(told)).collect();
            let speed = Metric::of(&HEAD_SPEED);
            let metrics: Vec<Metric> = numbers().collect();
            let mut rows: Vec<Moved> = association::moved_with(&blocks, speed, &metrics)
                .into_iter()
                .map(moved)
                .collect();
            rows.sort_by_key(|r| !r.found);
            Ok(Together {
                rows,
                words: ASSOCIATION.into(),
            })
        })
    }

    /// With what the next lesson of a student opens.
    ///
    /// # Errors
    /// When there is no such student.
    pub fn carry_over(&self, student: &str) -> Result<CarryOver, ArchiveError> {
        self.ask(|archive| carry_over(&archive.store, student))
    }

    /// A block looked at afterwards.
    ///
    /// # Errors
    /// When there is none.
    pub fn block_page(&self, id: i64) -> Result<BlockPage, ArchiveError> {
        let year = date::year(self.utc_ns());
        self.ask(|archive| {
            let store = &archive.store;
            let block = store.block(id)?;
            let student = store.student(&store.student_of(&block.session)?)?;
            let entries = store.holds(&student.id)?;
            let holds = Holds::new(&entries);
            let limits = findings::limits(&holds, &student, year);
            let about = About::Student(student.id.clone());
            let club = block.club.clone().map(About::Club);
            let swings = view::told(store.struck(Among::Session(&block.session))?, &holds);
            let own = Blocked::of(&block, &swings);
            let shots = own.shots();
            let blocks = store.blocks(&block.session)?;
            let flags = findings::flags((&swings, &blocks), (&holds, &block.session));
            let mut metrics = judge::chosen(&holds, club.as_ref());
            let shot = own.stands_for(&metrics);
            metrics.push(Metric::of(&HEAD_SPEED));
            let told = (&holds, club.as_ref());
            let focus = metrics
                .iter()
                .map(|m| judge::focus(*m, &own.swings, told, (&limits, None)));
            Ok(BlockPage {
                focus: focus.collect(),
                leaks: findings::leaks(&shots, (&holds, &about), (&limits, &flags)),
                budget: findings::budgets(&shots),
                shot,
                cautions: findings::cautions(),
                block: block.clone(),
            })
        })
    }
}

/// Metrics that are numbers, the rig's own figures left out.
pub(super) fn numbers() -> impl Iterator<Item = Metric> {
    const OF_THE_RIG: [&str; 7] = [
        "marker_visibility",
        "gap_longest",
        "cluster_residual",
        "frame_loss_rate",
        "clock_uncertainty",
        "force_residual",
        "force_marker_lag",
    ];
    Metric::all().filter(|m| {
        let id = m.family().id;
        m.unit() != Unit::Code && !OF_THE_RIG.iter().any(|rig| id.starts_with(rig))
    })
}

fn one_swing(store: &Store, id: &str) -> Result<Told, ArchiveError> {
    let missing = || ArchiveError::Unknown {
        what: "swing",
        name: id.to_owned(),
    };
    let found = store.struck(Among::Swing(id))?.into_iter().next();
    Told::new(found.ok_or_else(missing)?, &Holds::new(&[])).ok_or_else(missing)
}

fn swings_of(store: &Store, block: i64) -> Result<Vec<Told>, ArchiveError> {
    let session = store.block(block)?.session;
    let entries = store.holds(&store.student_of(&session)?)?;
    Ok(view::told(
        store.struck(Among::Block(block))?,
        &Holds::new(&entries),
    ))
}

/// The blocks of a club with their swings, read in one go.
fn by_block(store: &Store, club: &str) -> Result<Vec<(Block, Vec<Told>)>, ArchiveError> {
    let student = store.club(club)?.1;
    let entries = store.holds(&student)?;
    let mut swings: BTreeMap<Option<i64>, Vec<Told>> = BTreeMap::new();
    for told in view::told(store.struck(Among::Club(club))?, &Holds::new(&entries)) {
        swings.entry(told.row.block).or_default().push(told);
    }
    let blocks = store.blocks_of_club(club)?.into_iter();
    Ok(blocks
        .map(|block| {
            let own = swings.remove(&Some(block.id)).unwrap_or_default();
            (block, own)
        })
        .collect())
}

/// The shots of a block that count.
fn shots_of(store: &Store, block: i64) -> Result<Vec<Shot>, ArchiveError> {
    let told = swings_of(store, block)?;
    let counted = told.into_iter().filter(Told::counts);
    Ok(counted.map(|t| t.shot).collect())
}

fn refs(shots: &[Shot]) -> Vec<&Shot> {
    shots.iter().collect()
}

fn refs_told(told: &[Told]) -> Vec<&Shot> {
    let counted = told.iter().filter(|t| t.counts());
    counted.map(|t| &t.shot).collect()
}

pub(super) fn shown(metric: Metric, inside: f64) -> f64 {
    rounded(metric.unit().shown(inside), 1e6)
}

/// An end of an interval; none where so few shots exclude nothing.
fn end(metric: Metric, inside: f64) -> Option<f64> {
    inside.is_finite().then(|| shown(metric, inside))
}

/// Differences as rows, real ones first: metric, what it differs from, by how much.
fn compared(found: &[(Metric, f64, compare::Difference)]) -> Vec<Compared> {
    let differences: Vec<compare::Difference> = found.iter().map(|f| f.2).collect();
    let rows = found.iter().zip(compare::real(&differences));
    let rows = rows.map(|((metric, from, found), real)| Compared {
        metric: metric.id(),
        unit: metric.unit().symbol().to_owned(),
        a: shown(*metric, *from),
        b: shown(*metric, from + found.difference),
        difference: shown(*metric, found.difference),
        low: found.interval.and_then(|i| end(*metric, i.low)),
        high: found.interval.and_then(|i| end(*metric, i.high)),
        real,
    });
    sorted(rows.collect())
}

fn excludes_zero(row: &Compared) -> bool {
    row.low.is_some_and(|low| low > 0.0) || row.high.is_some_and(|high| high < 0.0)
}

/// Real ones first, then by size against the width of the interval.
fn sorted(mut rows: Vec<Compared>) -> Vec<Compared> {
    let size = |r: &Compared| match (r.low, r.high) {
        (Some(low), Some(high)) if high > low => r.difference.abs() / (high - low),
        _ => 0.0,
    };
    rows.sort_by(|a, b| {
        let real = b.real.cmp(&a.real);
        real.then_with(|| size(b).total_cmp(&size(a)))
    });
    rows
}

fn trend(blocks: &[(Block, Vec<Told>)], metric: Metric) -> Trend {
    let mut points = Vec::new();
    let (mut when, mut medians) = (Vec::new(), Vec::new());
    for (block, told) in blocks {
        let all = values(&refs_told(told), metric);
        let Some(median) = order::median(&all) else {
            continue;
        };
        let at = |share| order::quantile(&all, share).map_or(f64::NAN, |v| shown(metric, v));
        points.push(TrendPoint {
            block: block.id,
            purpose: block.purpose.clone(),
            began_utc_ns: block.began_utc_ns,
            shots: all.len() as u32,
            median: shown(metric, median),
            low: at(0.25),
            high: at(0.75),
        });
        when.push(block.began_utc_ns as f64 / MONTH_NS);
        medians.push(median);
    }
    let slope = retention::trend(&when, &medians);
    let name = words::metric(metric);
    let sentence = match &slope {
        None => format!("{} blocks: too few for a trend of {name}.", points.len()),
        Some(s) if s.interval.holds(0.0) => format!("No trend of {name} is shown."),
        Some(s) => format!(
            "{name} went by {} a month ({} to {}).",
            words::difference(metric, s.slope),
            words::difference(metric, s.interval.low),
            words::difference(metric, s.interval.high)
        ),
    };
    let ends = slope.as_ref().map(|s| s.interval);
    Trend {
        metric: metric.id(),
        unit: metric.unit().symbol().to_owned(),
        points,
        slope_a_month: slope.map(|s| shown(metric, s.slope)),
        low: ends.and_then(|i| end(metric, i.low)),
        high: ends.and_then(|i| end(metric, i.high)),
        words: sentence,
    }
}

fn ribbons(takes: &[Curves], wanted: &[String]) -> Vec<Ribbon> {
    // By signal: its unit and its curve of each shot over the phases.
    let mut by_signal: BTreeMap<&str, (&str, Vec<phases::PhaseCurve>)> = BTreeMap::new();
    for take in takes {
        let event = |name: &str| take.events.get(name).copied();
        let end = take.signals.first().map_or(0, |s| s.values.len());
        let last = take.start_s + end.saturating_sub(1) as f64 / take.rate_hz;
        let finish = event("finish").unwrap_or(last).min(last);
        let events = [event("address"), event("top"), Some(0.0), Some(finish)];
        for signal in &take.signals {
            if !wanted.is_empty() && !wanted.contains(&signal.id) {
                continue;
            }
            let count = signal.values.len();
            let times: Vec<f64> = (0..count)
                .map(|n| take.start_s + n as f64 / take.rate_hz)
                .collect();
            let values: Vec<Option<f64>> = signal.values.iter().map(|v| v.map(f64::from)).collect();
            // Unwrapped when they were measured.
            let curve = phases::over_phases(&times, &values, &events, false);
            let entry = by_signal.entry(&signal.id);
            entry
                .or_insert_with(|| (&signal.unit, Vec::new()))
                .1
                .push(curve);
        }
    }
    let made = by_signal.into_iter().map(|(id, (unit, curves))| {
        let band = phases::ribbon(&curves, false);
        Ribbon {
            id: id.to_owned(),
            unit: unit.to_owned(),
            shots: curves.len() as u32,
            mean: band
                .iter()
                .map(|p| p.map(|p| rounded(p.mean, 1e4) as f32))
                .collect(),
            sd: band
                .iter()
                .map(|p| p.and_then(|p| p.sd).map(|sd| rounded(sd, 1e4) as f32))
                .collect(),
        }
    });
    made.collect()
}

fn moved(found: association::Together) -> Moved {
    let one = found.metric.unit().inside(1.0);
    let slope = |v: f64| rounded(v * one, 1e6);
    Moved {
        metric: found.metric.id(),
        unit: found.metric.unit().symbol().to_owned(),
        slope: slope(found.slope),
        low: slope(found.interval.low),
        high: slope(found.interval.high),
        shots: found.shots as u32,
        found: found.found,
    }
}

fn carry_over(store: &Store, student: &str) -> Result<CarryOver, ArchiveError> {
    store.student(student)?;
    let entries = store.holds(student)?;
    let holds = Holds::new(&entries);
    let lessons = store.lessons(Some(student), None, LOOKED_BACK)?;
    // The lesson that runs is today's. One without a swing was no lesson.
    let runs = lessons.first().filter(|(s, _)| s.ended_utc_ns.is_none());
    let mut before = lessons.iter().skip(usize::from(runs.is_some()));
    let last = before.find(|(_, swings)| *swings > 0);
    let Some((last, _)) = last else {
        return Ok(CarryOver {
            last: None,
            focus: Vec::new(),
            stayed: Vec::new(),
        });
    };
    let then = store.blocks(&last.id)?;
    let check = view::telling(then.iter().filter(|b| b.purpose == "check"));
    let before = check.and_then(|c| view::baseline(&then, c));
    let told = check.or_else(|| view::telling(then.iter()));
    let club = told.and_then(|b| b.club.clone());
    let club = club.map(About::Club);
    let metrics = judge::chosen(&holds, club.as_ref());
    let today = match runs {
        Some((session, _)) => store.blocks(&session.id)?,
        None => Vec::new(),
    };
    let today = today
        .iter()
        .find(|b| b.purpose == "baseline" && check.is_some_and(|c| c.club == b.club));
    let mut stayed = Vec::new();
    if let (Some(before), Some(check), Some(today)) = (before, check, today) {
        let all = |b: &Block| shots_of(store, b.id);
        let days = match &today.club {
            Some(club) => Days::of(store, (club, &today.session), &holds)?,
            None => Days::default(),
        };
        let (before, check, today) = (all(before)?, all(check)?, all(today)?);
        let found = metrics.iter().filter_map(|&metric| {
            let of = |shots: &[Shot]| values(&refs(shots), metric);
            let again = days.again(metric);
            let kept = retention::retention(&of(&before), &of(&check), &of(&today), again)?;
            let another = match again {
                Some(a) => format!(
                    "what another day does by itself, {} as seen between earlier lessons, is in it",
                    words::value(metric, a.sd)
                ),
                None => "what another day does by itself is not known yet and not in it".to_owned(),
            };
            Some(Stayed {
                metric: metric.id(),
                unit: metric.unit().symbol().to_owned(),
                share: rounded(kept.share, 1e3),
                low: rounded(kept.interval.low, 1e3),
                high: rounded(kept.interval.high, 1e3),
                another_day: again.map(|a| shown(metric, a.sd)),
                words: format!(
                    "Of the change in {} {:.0} % are there today ({:.0} to {:.0} %; {another}).",
                    words::metric(metric),
                    100.0 * kept.share,
                    100.0 * kept.interval.low,
                    100.0 * kept.interval.high
                ),
            })
        });
        stayed = found.collect();
    }
    Ok(CarryOver {
        focus: metrics.iter().map(|m| m.id()).collect(),
        last: Some(super::shelf::summary(store, last.clone())?),
        stayed,
    })
}
