//! From the analysis to the outside: measured swings become reports, poses become points. The one
//! place where SI and radians become the units of reports, and where both core crates meet on the
//! way out.

mod curves;
mod ground;

use std::collections::BTreeMap;

use analysis::club;
use analysis::landmark::Landmark;
use analysis::measure::Measured;
use analysis::metrics::catalogue::{CATALOGUE, Family};
use analysis::metrics::ground::on_plates;
use analysis::metrics::values::{Value, Values};
use analysis::swing::detector::State;
use analysis::swing::event::Event as SwingEvent;
use analysis::uncertainty::{Outcome, Summary};
use protocol::report::{
    Event, FIRST, MarkerFault, Measurement, Metric, REFINED, Report, Transport, Uncertainty, WHOLE,
};
use protocol::screen::{BayState, Replay};

pub use self::curves::curves;

/// Frames a second of a replay at most (ENGINEERING: ≤ 120 Hz).
const REPLAY_HZ_MAX: f64 = 120.0;
/// Stretch of a replay before address and after impact, seconds.
const REPLAY_BEFORE_S: f64 = 0.3;
const REPLAY_AFTER_S: f64 = 1.2;

/// The identifier of a swing, made of the bay, the sender's epoch and the device time of impact (as the
/// analyzer names the swing) in microseconds: derived from the data, the same in every replay.
#[must_use]
pub fn swing_id(bay: &str, epoch: u32, impact_ns: i64) -> String {
    format!("{bay}-{epoch:08x}-{:010.0}", impact_ns as f64 * 1e-3)
}

/// A report of a measured swing.
#[must_use]
pub fn report(id: String, measured: &Measured, transport: Transport) -> Report {
    let first = measured.prepared.swing.open;
    Report {
        id,
        revision: if first { FIRST } else { WHOLE },
        unrefined: None,
        measurement: measurement(measured),
        transport,
    }
}

/// The last revision of a report that stays without uncertainties, with the reason in words.
#[must_use]
pub fn unrefined(report: Report, why: &str) -> Report {
    Report {
        revision: REFINED,
        unrefined: Some(why.to_owned()),
        ..report
    }
}

/// The measured part of a report.
#[must_use]
pub fn measurement(measured: &Measured) -> Measurement {
    let faults = measured.faults.iter().map(|f| MarkerFault {
        landmark: f.landmark.name().to_owned(),
        missing_frames: u32::try_from(f.missing).unwrap_or(u32::MAX),
        rejected_frames: u32::try_from(f.rejected).unwrap_or(u32::MAX),
        exchanged_frames: u32::try_from(f.exchanged).unwrap_or(u32::MAX),
    });
    Measurement {
        kind: measured.kind.name().to_owned(),
        confidence: Some(measured.confidence),
        handed: measured.prepared.handed.name().to_owned(),
        events: SwingEvent::ALL
            .iter()
            .map(|&e| (e.name().to_owned(), event(measured, e)))
            .collect(),
        metrics: metrics(&measured.values),
        club_length_m: club::length_m(&measured.prepared.window).map(|m| rounded(m, 1e4)),
        markers: faults.collect(),
        notes: measured.notes.clone(),
    }
}

fn event(measured: &Measured, event: SwingEvent) -> Event {
    let window = &measured.prepared.window;
    match measured.prepared.swing.slots.get(event) {
        Some(slot) => Event {
            time_s: Some(rounded(window.seconds(slot), 1e6)),
            frame: Some(rounded(window.number(slot), 1e3)),
            uncertainty_s: None,
            reason: None,
        },
        None => Event {
            time_s: None,
            frame: None,
            uncertainty_s: None,
            reason: Some(measured.prepared.swing.reason(event)),
        },
    }
}

/// Writes what the draws say beside the values.
pub fn add_uncertainty(measurement: &mut Measurement, summary: &Summary) {
    for (event, &standard_s) in SwingEvent::ALL.iter().zip(&summary.events) {
        if let Some(event) = measurement.events.get_mut(event.name()) {
            event.uncertainty_s = standard_s.map(|s| rounded(s, 1e6));
        }
    }
    let each = |family: &'static Family| (0..family.len()).map(move |n| (family, n));
    for (family, n) in CATALOGUE.iter().flat_map(|f| each(f)) {
        if let Some(metric) = measurement.metrics.get_mut(&family.value_id(n)) {
            let outcome = summary
                .values
                .get(family.first + n)
                .and_then(Option::as_ref);
            metric.uncertainty = outcome.map(|o| uncertainty(family, o));
        }
    }
}

fn uncertainty(family: &Family, outcome: &Outcome) -> Uncertainty {
    let shown = |v: f64| rounded(family.unit.shown(v), 1e6);
    match outcome {
        Outcome::Spread(s) => Uncertainty::Interval {
            standard: shown(s.standard),
            low: shown(s.low),
            high: shown(s.high),
        },
        Outcome::Agreement(share) => Uncertainty::Agreement {
            agreement: rounded(*share, 1e6),
        },
        Outcome::Unsure(reason) => Uncertainty::None {
            reason: reason.clone(),
        },
    }
}

/// Every metric of the catalogue by identifier, in the units of people.
#[must_use]
pub fn metrics(values: &Values) -> BTreeMap<String, Metric> {
    let each = |family: &'static Family| (0..family.len()).map(move |n| (family, n));
    CATALOGUE
        .iter()
        .flat_map(|f| each(f))
        .map(|(f, n)| (f.value_id(n), metric(f, values.get(f.first + n))))
        .collect()
}

fn metric(family: &Family, value: Value) -> Metric {
    let unit = family.unit.symbol().to_owned();
    let shown = |v: f64| rounded(family.unit.shown(v), 1e6);
    match value {
        Value::Measured {
            value,
            change,
            limited,
        } => Metric {
            value: Some(shown(value)),
            unit,
            change: change.map(shown),
            reason: None,
            limited,
            uncertainty: None,
        },
        Value::Missing(reason) => Metric {
            value: None,
            unit,
            change: None,
            reason: Some(reason),
            limited: None,
            uncertainty: None,
        },
    }
}

/// Identifiers of all values of the catalogue by index.
#[must_use]
pub fn value_ids() -> Vec<String> {
    let each = |family: &'static Family| (0..family.len()).map(move |n| (family, n));
    let mut ids: Vec<(usize, String)> = CATALOGUE
        .iter()
        .flat_map(|f| each(f))
        .map(|(f, n)| (f.first + n, f.value_id(n)))
        .collect();
    ids.sort_unstable();
    ids.into_iter().map(|(_, id)| id).collect()
}

/// A number rounded to a millionth (or `steps` a unit), so that reports read well and compare.
pub(crate) fn rounded(value: f64, steps: f64) -> f64 {
    // Adding zero turns a negative zero into a plain one.
    (value * steps).round() / steps + 0.0
}

/// The swing's pose from address to follow-through for the screens, in bay axes.
#[must_use]
pub fn replay(id: &str, measured: &Measured) -> Replay {
    let prepared = &measured.prepared;
    let window = &prepared.window;
    let step = (window.rate_hz / REPLAY_HZ_MAX).ceil().max(1.0) as usize;
    let from = prepared
        .swing
        .quiet
        .start
        .saturating_sub(window.slots(REPLAY_BEFORE_S));
    let to = (prepared.swing.impact.before + window.slots(REPLAY_AFTER_S)).min(window.len());
    let handed = prepared.handed;
    let slots = || (from..to).step_by(step);
    let times_ns: Vec<i64> = slots().map(|slot| window.time_ns[slot]).collect();
    let plates = prepared.ground.as_deref();
    let frames = slots().map(|slot| {
        let point =
            |track: &analysis::window::Track| Some(point_f32(handed.mirror_point(track[slot]?)));
        window.tracks.iter().map(point).collect()
    });
    Replay {
        id: id.to_owned(),
        handed: handed.name().to_owned(),
        rate_hz: window.rate_hz / step as f64,
        start_s: window.seconds(from as f64),
        landmarks: window
            .landmarks
            .iter()
            .map(|&l| own_side(l, handed).name().to_owned())
            .collect(),
        frames: frames.collect(),
        ground: plates.map(|g| ground::replay(g, handed, on_plates(prepared), &times_ns)),
    }
}

/// A landmark of the golfer frame as the golfer's own left and right again.
fn own_side(landmark: Landmark, handed: analysis::handed::Handed) -> Landmark {
    match handed {
        analysis::handed::Handed::Right => landmark,
        analysis::handed::Handed::Left => landmark.opposite(),
    }
}

/// A point for a screen: metres to a tenth of a millimetre.
#[must_use]
pub fn point_f32(p: nalgebra::Point3<f64>) -> [f32; 3] {
    [p.x, p.y, p.z].map(|v| rounded(v, 1e4) as f32)
}

/// The analysis' state in the screens' words.
#[must_use]
pub fn bay_state(state: State) -> BayState {
    match state {
        State::Waiting => BayState::Waiting,
        State::AtAddress => BayState::AtAddress,
        State::InMotion => BayState::InMotion,
        State::Measuring => BayState::Measuring,
        State::Result => BayState::Result,
    }
}
