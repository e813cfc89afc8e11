//! Blocks against each other: whether a change is real, as a verdict with words.

use analysis::coaching::block::{Baseline, Check, Role, Stretch, Unfit};
use analysis::coaching::change::{self, Allowed, More, NotCompared, Question, Scope, Wanted};
use analysis::coaching::leaks::Leak;
use analysis::coaching::looks::{Levels, Looks};
use analysis::coaching::order;
use analysis::coaching::shot::Metric;
use analysis::metrics::catalogue::{HEAD_SPEED, Unit};
use protocol::lesson::{About, Change, Verdict};

use super::again::Days;
use super::judge::{self, Held};
use super::shots::{Blocked, Holds};
use super::words;
use crate::outgoing::rounded;

/// What decides how two blocks of a club are compared.
pub(super) struct Between<'a> {
    pub(super) before: &'a Blocked<'a>,
    pub(super) after: &'a Blocked<'a>,
    pub(super) holds: &'a Holds<'a>,
    pub(super) club: Option<&'a About>,
    /// Metrics in focus.
    pub(super) focus: usize,
    /// What another day and marking do by themselves.
    pub(super) days: &'a Days,
}

/// One metric of two blocks.
pub(super) fn change(metric: Metric, between: &Between<'_>) -> Option<Change> {
    let (before, after) = (between.before, between.after);
    let (first, second) = before.block.zip(after.block)?;
    let band = judge::band(metric, (between.holds, between.club));
    let [b, a] = [before, after].map(|part| stretch(part, between).block(metric));
    let unit = metric.unit();
    let shown = |v: f64| v.is_finite().then(|| rounded(unit.shown(v), 1e6));
    let mut said = Change {
        metric: metric.id(),
        unit: unit.symbol().to_owned(),
        before: first.id,
        after: second.id,
        shots: [b.values.len() as u32, a.values.len() as u32],
        shift: order::shift(&b.values, &a.values).and_then(shown),
        low: None,
        high: None,
        detectable: None,
        verdict: Verdict::NotJudged,
        more_shots: None,
        words: String::new(),
    };
    let both = Baseline::of(&b).and_then(|baseline| Ok((baseline, Check::of(&a)?)));
    let (baseline, check) = match both {
        Ok(both) => both,
        Err(why) => {
            said.words = unfit(why);
            return Some(said);
        }
    };
    let wanted = wanted(metric, band.as_ref());
    let scope = scope(between);
    let looks = Looks::Every {
        planned: second.planned as usize,
    };
    let question = Question {
        wanted: wanted.unwrap_or(Wanted::Larger),
        matters: matters(metric, band.as_ref()),
        scope,
    };
    let levels = Levels::new(looks, baseline.block().values.len(), scope.level());
    let allowed = Allowed {
        again: between.days.again(metric),
        ..Allowed::default()
    };
    match change::change(&baseline, &check, &question, &levels, &allowed) {
        Err(why) => said.words = not_compared(why),
        Ok(found) => {
            said.shots = found.shots.map(|n| n as u32);
            said.shift = shown(found.shift);
            said.low = shown(found.interval.low);
            said.high = shown(found.interval.high);
            said.detectable = shown(found.detectable);
            (said.verdict, said.more_shots) = verdict(&found, wanted.is_some());
            said.words = sentence(metric, &found, said.verdict, &question);
        }
    }
    Some(said)
}

fn session<'a>(part: &Blocked<'a>) -> Option<&'a str> {
    part.block.map(|b| b.session.as_str())
}

fn stretch<'a>(part: &Blocked<'a>, between: &Between<'_>) -> Stretch<'a> {
    let counted = part.swings.iter().filter(|t| t.shows_change());
    Stretch {
        role: match part.block.map(|b| b.purpose.as_str()) {
            Some("baseline") => Role::Baseline,
            Some("check") => Role::Check,
            _ => Role::Practice,
        },
        chose_focus: chose_focus(part, between),
        session: u64::from(session(part) != session(between.before)),
        marking: part.marking(),
        first: part.first,
        shots: counted.map(|t| &t.shot).collect(),
    }
}

/// Whether what is in focus was chosen with the shots of this block in sight.
fn chose_focus(part: &Blocked<'_>, between: &Between<'_>) -> bool {
    let entry = between.club.and_then(|c| between.holds.entry(c, "focus"));
    let Some(at) = entry.map(|e| e.at_utc_ns) else {
        return false;
    };
    let ended = part.block.and_then(|b| b.ended_utc_ns).unwrap_or(u64::MAX);
    let first = part
        .swings
        .first()
        .map_or(u64::MAX, |t| t.row.impact_utc_ns);
    // Between two blocks the one before was in sight.
    let next = between.after.swings.first();
    let next = next.map_or(u64::MAX, |t| t.row.impact_utc_ns);
    let until = if part.block.map(|b| b.id) == between.after.block.map(|b| b.id) {
        ended
    } else {
        next
    };
    first <= at && at < until
}

fn scope(between: &Between<'_>) -> Scope {
    if chose_focus(between.before, between) {
        return Scope::ChosenFromBaseline {
            among: Leak::ALL.len().max(between.focus),
        };
    }
    Scope::Lesson {
        metrics: between.focus.max(1),
    }
}

/// Which way is wanted; none where there is no band.
fn wanted(metric: Metric, held: Option<&Held>) -> Option<Wanted> {
    if metric == Metric::of(&HEAD_SPEED) {
        return Some(Wanted::Larger);
    }
    let band = &held?.band;
    Some(match (band.low(), band.high()) {
        (Some(low), Some(high)) => Wanted::Toward(band.aim().unwrap_or(0.5 * (low + high))),
        (Some(_), None) => Wanted::Larger,
        _ => Wanted::Smaller,
    })
}

/// The smallest change that matters: half of a band's width, else by unit (own choice).
fn matters(metric: Metric, held: Option<&Held>) -> f64 {
    let band = held.map(|h| &h.band);
    if let Some((low, high)) = band.and_then(|b| Some((b.low()?, b.high()?))) {
        return 0.5 * (high - low);
    }
    let shown = match metric.unit() {
        Unit::Degree | Unit::Percent | Unit::BodyWeight => 5.0,
        Unit::Metre => 0.010,
        Unit::Millimetre | Unit::Millisecond => 10.0,
        Unit::MetrePerSecond => 1.0,
        Unit::Second => 0.02,
        Unit::Ratio => 0.1,
        Unit::DegreePerSecond => 30.0,
        Unit::DegreePerSecondSquared => 500.0,
        Unit::Code | Unit::NewtonMetre | Unit::NewtonSecond | Unit::Joule => 10.0,
        Unit::BodyWeightPerSecond | Unit::Watt => 100.0,
    };
    metric.unit().inside(shown)
}

fn verdict(found: &change::Change, directed: bool) -> (Verdict, Option<u32>) {
    match found.verdict {
        change::Verdict::RealGain | change::Verdict::RealLoss if !directed => {
            (Verdict::RealChange, None)
        }
        change::Verdict::RealGain => (Verdict::RealGain, None),
        change::Verdict::RealLoss => (Verdict::RealLoss, None),
        change::Verdict::NotShownYet { more } => {
            let shots = match more {
                More::Shots(n) => Some(n as u32),
                More::OtherMeans | More::PastTheAim => None,
            };
            (Verdict::NotShownYet, shots)
        }
    }
}

fn sentence(
    metric: Metric,
    found: &change::Change,
    verdict: Verdict,
    question: &Question,
) -> String {
    let moved = format!(
        "{} moved by {} ({} to {})",
        words::metric(metric),
        words::difference(metric, found.shift),
        words::difference(metric, found.interval.low),
        words::difference(metric, found.interval.high)
    );
    let scope = found.scope.words();
    match verdict {
        Verdict::NotShownYet => {
            let size = words::value(metric, question.matters);
            let rest = match found.verdict {
                change::Verdict::NotShownYet { more } => match more {
                    More::Shots(0) => format!("a change of {size} would most likely have shown"),
                    More::Shots(n) => format!("{n} more check shots would show a change of {size}"),
                    More::OtherMeans => format!(
                        "more check shots alone would not show a change of {size}: the baseline is too short, or drift may do as much"
                    ),
                    More::PastTheAim => "it passed the aim: whether it is nearer is open".into(),
                },
                _ => String::new(),
            };
            format!("Not shown yet: {moved}; {rest} ({scope}).")
        }
        Verdict::RealGain => {
            format!("Real gain: {moved}, more than scatter and drift explain ({scope}).")
        }
        Verdict::RealLoss => {
            format!("Real loss: {moved}, more than scatter and drift explain ({scope}).")
        }
        _ => format!("Real change: {moved}, more than scatter and drift explain ({scope})."),
    }
}

fn unfit(why: Unfit) -> String {
    match why {
        Unfit::Role(Role::Baseline) => "Not judged: this block is a baseline.".into(),
        Unfit::Role(_) => {
            "Not judged: only a check block confirms a change, with the feedback hidden.".into()
        }
        Unfit::ChoseTheFocus => {
            "Not judged: the focus was chosen with this block in sight, so it cannot confirm it."
                .into()
        }
        Unfit::TooFew { measured, needed } => {
            format!("Not judged yet: {measured} of {needed} shots.")
        }
        Unfit::NotSettled => {
            "Not judged: the baseline still drifts, the warm-up has not ended in it.".into()
        }
    }
}

fn not_compared(why: NotCompared) -> String {
    match why {
        NotCompared::AgainUnknown => {
            "Not judged: another day or other markers, and how much that alone moves this metric is not known yet.".into()
        }
        NotCompared::NoLookNow { next } => format!("Not judged yet: the next look is after {next} shots."),
    }
}
