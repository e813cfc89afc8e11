//! Shots against bands: whose band holds, what it says of each shot, and the metrics in focus.

use analysis::coaching::band::{self, Source, Verdict};
use analysis::coaching::focus::Live;
use analysis::coaching::limits::Limits;
use analysis::coaching::shot::Metric;
use protocol::lesson::{About, Band, Focus, Mark, Said};

use super::shots::{Holds, Told};
use super::words;
use crate::outgoing::rounded;

/// Marks on a ruler.
const MARKS: usize = 6;

/// A band with who set it when.
pub(super) struct Held {
    pub(super) band: band::Band,
    since_utc_ns: Option<u64>,
    who: Option<String>,
}

/// The band of a metric with a club: the coach's, else the default. None where the coach took it away.
pub(super) fn band(metric: Metric, (holds, club): (&Holds<'_>, Option<&About>)) -> Option<Held> {
    let entry = club.and_then(|c| holds.entry(c, &format!("band:{}", metric.id())));
    let told = match entry.and_then(|e| e.said.as_ref()) {
        Some(Said::Band(told)) if !told.default => Some(told),
        _ => None,
    };
    let Some(told) = told else {
        return band::default(metric).map(|band| Held {
            band,
            since_utc_ns: None,
            who: None,
        });
    };
    let who = entry.map(|e| e.who.clone()).unwrap_or_default();
    let source = match &told.cohort {
        Some(words) => Source::Cohort(words.clone()),
        None => Source::Coach(who.clone()),
    };
    // Checked when it was entered: what fails here has no edges, the coach's way to take it away.
    let band = band::Band::from_shown(metric, [told.low, told.aim, told.high], source).ok()?;
    Some(Held {
        band,
        since_utc_ns: entry.map(|e| e.at_utc_ns),
        who: Some(who),
    })
}

/// A band as screens show it. `detectable`: the smallest difference of two shots that is one.
pub(super) fn shown(held: &Held, detectable: Option<f64>) -> Band {
    let metric = held.band.metric();
    let unit = metric.unit();
    let edge = |e: Option<f64>| e.map(|e| rounded(unit.shown(e), 1e6));
    let narrow = detectable.and_then(|d| held.band.too_narrow(d));
    Band {
        metric: metric.id(),
        unit: unit.symbol().to_owned(),
        low: edge(held.band.low()),
        aim: edge(held.band.aim()),
        high: edge(held.band.high()),
        from: match held.band.source() {
            Source::Published(_) | Source::CommonPractice => "default",
            Source::Cohort(_) => "cohort",
            Source::Coach(_) => "coach",
        }
        .into(),
        source: held.band.source().words(),
        since_utc_ns: held.since_utc_ns,
        who: held.who.clone(),
        warning: narrow.map(|n| {
            format!(
                "narrower ({}) than single shots can be told apart ({})",
                words::value(metric, n.width),
                words::value(metric, n.judgeable)
            )
        }),
    }
}

/// A shot against a band.
pub(super) fn mark(metric: Metric, told: &Told, band: Option<&band::Band>) -> Mark {
    let unit = metric.unit();
    let shown = |v: f64| rounded(unit.shown(v), 1e6);
    let reading = told.shot.reading(metric);
    let judged = band.map(|b| b.judge(&told.shot, told.missing(metric)).verdict);
    let missing = || told.missing(metric).map(str::to_owned);
    let (verdict, reason) = match judged {
        None => (None, missing()),
        Some(Verdict::In) => (Some("in"), None),
        Some(Verdict::Low) => (Some("low"), None),
        Some(Verdict::High) => (Some("high"), None),
        Some(Verdict::NotJudged(why)) => (Some("not_judged"), Some(why.words().to_owned())),
    };
    Mark {
        swing: told.row.id.clone(),
        value: reading.map(|r| shown(r.value)),
        standard: reading.and_then(|r| r.uncertainty).map(shown),
        verdict: verdict.map(str::to_owned),
        reason,
    }
}

/// The metrics in focus with a club.
pub(super) fn chosen(holds: &Holds<'_>, club: Option<&About>) -> Vec<Metric> {
    match club.and_then(|c| holds.of(c, "focus")) {
        Some(Said::Focus(ids)) => ids.iter().filter_map(|id| Metric::by_id(id)).collect(),
        _ => Vec::new(),
    }
}

/// A metric with its band and the last shots of the block. What a limit of the student names is shown
/// without a band.
pub(super) fn focus(
    metric: Metric,
    swings: &[&Told],
    (holds, club): (&Holds<'_>, Option<&About>),
    (limits, detectable): (&Limits, Option<f64>),
) -> Focus {
    let spared = limits.on_metric(metric).map(|l| l.note.clone());
    let held = band(metric, (holds, club)).filter(|_| spared.is_none());
    let counted = swings.iter().filter(|t| t.counts()).rev();
    let band = held.as_ref().map(|h| &h.band);
    Focus {
        metric: metric.id(),
        unit: metric.unit().symbol().to_owned(),
        marks: counted.take(MARKS).map(|t| mark(metric, t, band)).collect(),
        band: held.as_ref().map(|h| shown(h, detectable)),
        live: Live::of(metric).map(|live| match live {
            Live::PelvisShift => "pelvis_shift".to_owned(),
            Live::PelvisRotation => "pelvis_rotation".to_owned(),
        }),
        spared,
        change: None,
    }
}
