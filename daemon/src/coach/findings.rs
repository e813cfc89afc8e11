//! Leaks, rotation budget, limits and load of a block, in words and units.

use analysis::coaching::band::Band;
use analysis::coaching::budget::{self, Middle, Segment};
use analysis::coaching::leaks::{self, Finding, Outcome, Setup, Status};
use analysis::coaching::limits::{Age, Area, Limit, Limits};
use analysis::coaching::load::{self, Allowed, Flag, Standing, Stroke};
use analysis::coaching::order;
use analysis::coaching::scatter;
use analysis::coaching::shot::{Metric, Shot};
use analysis::coaching::suggestion::{Asks, CAUTIONS, Suggestion};
use analysis::coaching::summary;
use analysis::metrics::catalogue::HEAD_SPEED;
use protocol::lesson::{About, Block, Budget, Evidence, Leak, Load, Said, Slope};

use super::shots::{Holds, Told, effort};
use super::told::RETURNING;
use super::{thresholds, words};
use crate::archive::rows::Student;
use crate::outgoing::rounded;

/// Why nothing is suggested while pain stands.
const PAINS: &str =
    "Pain was told: nothing to try is put to the student until the coach enters that it is over.";
/// Fewest shots for a slope against head speed.
const SLOPE_SHOTS: usize = 8;

/// What is always said with a suggestion.
pub(super) fn cautions() -> Vec<String> {
    CAUTIONS.iter().map(|c| (*c).to_owned()).collect()
}

/// Limits of a student.
pub(super) fn limits(holds: &Holds<'_>, student: &Student, year: i64) -> Limits {
    let told = match holds.of(&About::Student(student.id.clone()), "limits") {
        Some(Said::Limits(limits)) => limits.as_slice(),
        _ => &[],
    };
    let each = told.iter().filter_map(|l| {
        let area = Area::from_name(&l.movement)?;
        let why = l.reason.as_deref().unwrap_or("as told");
        Some(Limit {
            areas: vec![area],
            note: format!("{}: {why}", area.words()),
        })
    });
    Limits {
        each: each.collect(),
        age: Age::of(
            i32::try_from(student.born).unwrap_or(0),
            i32::try_from(year).unwrap_or(0),
        ),
        returning: told.iter().any(|l| l.movement == RETURNING),
    }
}

/// Limits in words, for lists.
pub(super) fn limit_words(holds: &Holds<'_>, student: &str) -> Vec<String> {
    let told = match holds.of(&About::Student(student.to_owned()), "limits") {
        Some(Said::Limits(limits)) => limits.as_slice(),
        _ => &[],
    };
    let words = told.iter().map(|l| {
        let movement = Area::from_name(&l.movement).map_or(l.movement.as_str(), |a| a.words());
        match &l.reason {
            Some(reason) => format!("{movement}: {reason}"),
            None => movement.to_owned(),
        }
    });
    words.collect()
}

/// What was told in a lesson and not taken back: pain and fatigue, of the lesson, a block or a shot.
pub(super) fn flags(
    (swings, blocks): (&[Told], &[Block]),
    (holds, session): (&Holds<'_>, &str),
) -> Vec<Flag> {
    // Also of shots that do not count: what was felt was felt.
    let felt = |key: &str| {
        let of = |about: &About| match holds.of(about, key) {
            Some(Said::Pain(told) | Said::Fatigue(told)) => told.is_some(),
            _ => false,
        };
        let mut blocks = blocks.iter().map(|b| About::Block(b.id));
        let mut swings = swings.iter().map(|t| About::Swing(t.row.id.clone()));
        of(&About::Session(session.to_owned())) || blocks.any(|b| of(&b)) || swings.any(|s| of(&s))
    };
    let told = [("pain", Flag::Pain), ("fatigue", Flag::Fatigue)];
    let told = told.into_iter().filter(|(key, _)| felt(key));
    told.map(|(_, flag)| flag).collect()
}

/// Every leak of a block that is there or could be, in the order in which they matter. Nothing is suggested
/// where pain is among what was told.
pub(super) fn leaks(
    shots: &[&Shot],
    (holds, student): (&Holds<'_>, &About),
    (limits, flags): (&Limits, &[Flag]),
) -> Vec<Leak> {
    let thresholds = thresholds::of(holds, student);
    let setup = Setup {
        thresholds: &thresholds,
        limits,
        excess_detectable: None,
    };
    let findings = leaks::find(shots, &setup);
    let shown: Vec<leaks::Leak> = leaks::shown(&findings).iter().map(|f| f.leak).collect();
    let pain = flags.contains(&Flag::Pain);
    let one = |f| {
        let made = leak(f, shots, (holds, student), (limits, &shown));
        if pain { without_movement(made) } else { made }
    };
    findings.iter().map(one).collect()
}

/// A leak with nothing to try, while pain stands.
fn without_movement(leak: Leak) -> Leak {
    let why = leak.suggestion.as_ref().map(|_| PAINS.to_owned());
    Leak {
        why: why.or(leak.why),
        suggestion: None,
        ..leak
    }
}

fn leak(
    finding: &Finding,
    shots: &[&Shot],
    (holds, student): (&Holds<'_>, &About),
    (limits, shown): (&Limits, &[leaks::Leak]),
) -> Leak {
    let id = finding.leak.name();
    let own = match holds.of(student, &format!("cue:{id}")) {
        Some(Said::Cue(cue)) => cue.text.clone(),
        _ => None,
    };
    let suggestion = match own {
        Some(text) => Suggestion::for_student(
            text,
            Asks {
                areas: finding.leak.asks_for(),
                full_effort: false,
            },
            limits,
        ),
        None => finding.suggestion(limits),
    };
    let (status, why) = match &finding.status {
        Status::Present => ("present", None),
        Status::Absent => ("absent", None),
        Status::NotJudged(why) => ("not_judged", Some(why.clone())),
        Status::Off => ("off", None),
        Status::Suppressed(note) => ("spared", Some(note.clone())),
    };
    let present = finding.status == Status::Present;
    Leak {
        id: id.to_owned(),
        name: id.replace('_', " "),
        status: status.to_owned(),
        why,
        sentence: if present {
            finding.sentence().to_owned()
        } else {
            String::new()
        },
        speed: finding.about_speed().to_owned(),
        shots: finding.shows as u32,
        judged: finding.of as u32,
        direction: finding.direction.map(|d| d.words().to_owned()),
        severity: rounded(finding.severity, 1e3),
        shown: shown.contains(&finding.leak),
        source: finding
            .standing()
            .unwrap_or("Common practice, no source.")
            .to_owned(),
        evidence: evidence(finding),
        slope: slope(finding, shots),
        suggestion: suggestion
            .filter(|_| present)
            .map(|s| protocol::lesson::Suggestion {
                text: s.text().to_owned(),
                cautions: s.cautions().iter().map(|c| (*c).to_owned()).collect(),
            }),
    }
}

/// Medians over the shots that show the leak, else over all.
fn evidence(finding: &Finding) -> Vec<Evidence> {
    let showing: Vec<_> = finding
        .shots
        .iter()
        .filter(|s| s.outcome == Outcome::Yes)
        .collect();
    let of: Vec<_> = if showing.is_empty() {
        finding.shots.iter().collect()
    } else {
        showing
    };
    let Some(first) = of.first() else {
        return Vec::new();
    };
    let metrics = first.evidence.iter().map(|e| (e.metric, e.threshold));
    metrics
        .filter_map(|(metric, threshold)| {
            let values: Vec<f64> = of
                .iter()
                .flat_map(|s| s.evidence.iter().filter(|e| e.metric == metric))
                .filter_map(|e| e.value)
                .collect();
            let median = order::median(&values)?;
            let unit = metric.unit();
            let words = match threshold {
                Some(t) => format!(
                    "{}: {} against {}",
                    words::metric(metric),
                    words::value(metric, median),
                    words::value(metric, t)
                ),
                None => format!(
                    "{}: {}",
                    words::metric(metric),
                    words::value(metric, median)
                ),
            };
            Some(Evidence {
                metric: metric.id(),
                unit: unit.symbol().to_owned(),
                value: rounded(unit.shown(median), 1e6),
                threshold: threshold.map(|t| rounded(unit.shown(t), 1e6)),
                event: metric.event().map(|e| e.name().to_owned()),
                words,
            })
        })
        .collect()
}

/// Head speed over the leak's own metric, within this block: an association.
fn slope(finding: &Finding, shots: &[&Shot]) -> Option<Slope> {
    let metric = finding.leak.slope_metric()?;
    let speed = Metric::of(&HEAD_SPEED);
    let pairs = shots
        .iter()
        .filter_map(|s| Some((s.value(metric)?, s.value(speed)?)));
    let (x, y): (Vec<f64>, Vec<f64>) = pairs.unzip();
    if x.len() < SLOPE_SHOTS {
        return None;
    }
    let inflation = scatter::inflation(x.len(), scatter::AUTOCORRELATION);
    let found = order::theil_sen(&x, &y, 0.05, inflation)?;
    let one = metric.unit().inside(1.0);
    let shown = |v: f64| rounded(v * one, 1e6);
    let clear = !found.interval.holds(0.0);
    Some(Slope {
        metric: metric.id(),
        slope: shown(found.slope),
        low: shown(found.interval.low),
        high: shown(found.interval.high),
        words: if clear {
            "In these shots head speed went along with it; that is no cause.".into()
        } else {
            "In these shots head speed shows no link with it; a constant pattern shows none.".into()
        },
    })
}

/// The rotation budget of a block.
pub(super) fn budgets(shots: &[&Shot]) -> Vec<Budget> {
    let deg = |v: f64| rounded(v.to_degrees(), 1e3);
    let ends = |m: Middle| m.interval.map(|i| [deg(i.low), deg(i.high)]);
    let one = |segment| {
        let found = budget::of(shots, segment)?;
        Some(Budget {
            segment: match segment {
                Segment::Pelvis => "pelvis",
                Segment::Thorax => "thorax",
                Segment::Shoulders => "shoulders",
            }
            .into(),
            shots: found.range.shots as u32,
            closed: deg(found.closed.value),
            open: deg(found.open.value),
            range: deg(found.range.value),
            range_interval: ends(found.range),
            rate: found.rate.map(|r| deg(r.value)),
            top_max: deg(found.top.value),
            excess: deg(found.excess.value),
            excess_interval: ends(found.excess),
        })
    };
    Segment::ALL.into_iter().filter_map(one).collect()
}

/// Things to keep, of bands in which most shots of a block lie.
pub(super) fn keep((shots, bands): (&[&Shot], &[Band]), limits: &Limits) -> Vec<String> {
    let summed = summary::summary(Vec::new(), (shots, bands), limits, None);
    let words = summed.keep.iter().map(|k| {
        let metric = words::metric(k.metric);
        format!("{metric}: {} of {} shots in the band", k.inside, k.judged)
    });
    words.collect()
}

/// Swings at full effort in a lesson and what to do about them.
pub(super) fn load(
    swings: &[Told],
    flags: &[Flag],
    (holds, student): (&Holds<'_>, &About),
    (limits, now_utc_ns): (&Limits, u64),
) -> Load {
    let speed = Metric::of(&HEAD_SPEED);
    let counted: Vec<&Told> = swings.iter().filter(|t| t.counts()).collect();
    let strokes: Vec<Stroke> = counted
        .iter()
        .map(|t| Stroke {
            time_s: t.row.impact_utc_ns as f64 * 1e-9,
            effort: t.effort.map(effort),
            head_speed: t.shot.value(speed),
        })
        .collect();
    let speeds: Vec<f64> = strokes.iter().filter_map(|s| s.head_speed).collect();
    let usual = order::median(&speeds);
    let mut allowed = Allowed::default_for(limits);
    if let Some(Said::FullEffortMax(Some(most))) = holds.of(student, "full_effort_max") {
        allowed.full_swings = *most as usize;
    }
    let standing = load::standing(&strokes, flags, (&allowed, usual), now_utc_ns as f64 * 1e-9);
    Load {
        full: load::full_swings(&strokes, usual) as u32,
        limit: Some(allowed.full_swings as u32),
        advice: match standing {
            Standing::Go { .. } => None,
            other => Some(other.words().to_owned()),
        },
        rest_s: match standing {
            Standing::Rest { seconds } => Some(seconds.ceil() as u32),
            _ => None,
        },
        pain: flags.contains(&Flag::Pain),
    }
}
