//! The bay in numbers for whoever watches over many: Prometheus' text format, version 0.0.4. Names end as
//! that project's naming rules ask (`_total` counts up, base units). A counter of a stream begins anew with
//! its sender, as counters may. No name of a person is in it.
//!
//! | name | labels | |
//! |---|---|---|
//! | `whin_build_info` | `version` | 1 |
//! | `whin_bay_state` | `bay`, `state` | 1 for the state now |
//! | `whin_analysis_behind_seconds` | `bay` | age of what was last worked off |
//! | `whin_queue_length` | `bay`, `queue` | what waits before a thread |
//! | `whin_screens` | `bay` | screens that are connected and keep up |
//! | `whin_stream_rate_hertz` | `bay`, `stream`, `content` | as seen over the last second |
//! | `whin_datagrams_received_total`, `_lost_`, `_duplicate_`, `_late_`, `_reordered_` | same | of a stream |
//! | `whin_datagrams_dropped_total` | `bay` | for want of time of the analysis |
//! | `whin_datagrams_refused_total` | `bay`, `reason` | |
//! | `whin_swings_total` | `bay`, `kind` | whole swings since the start |
//! | `whin_swings_archived_total` | `bay`, `archived` (`true`, `false`) | |
//! | `whin_findings` | `bay`, `severity` | findings shown now |
//! | `process_resident_memory_bytes`, `process_cpu_seconds_total`, `process_open_fds` | | Linux only |

use std::fmt::Write as _;

use axum::extract::State;
use axum::http::header::CONTENT_TYPE;
use axum::response::{IntoResponse, Response};
use protocol::screen::{Health, StreamHealth};

use super::server::{Served, Serving, Shared};
use crate::hub::Counts;

/// Kinds of screen text are not for machines: this is the format's own type.
const TYPE: &str = "text/plain; version=0.0.4; charset=utf-8";

/// `GET /metrics`
pub(super) async fn metrics(State(site): State<Shared>) -> Response {
    ([(CONTENT_TYPE, TYPE)], page(&site)).into_response()
}

/// A metric with its samples.
struct Family<'a> {
    text: &'a mut String,
    name: &'static str,
}

impl<'a> Family<'a> {
    fn begin(text: &'a mut String, name: &'static str, kind: &str, help: &str) -> Self {
        // A String takes whatever is written.
        writeln!(text, "# HELP {name} {help}\n# TYPE {name} {kind}").ok();
        Self { text, name }
    }

    fn add(&mut self, labels: &[(&str, &str)], value: f64) {
        let quoted = |value: &str| {
            value
                .replace('\\', "\\\\")
                .replace('"', "\\\"")
                .replace('\n', "\\n")
        };
        let labels: Vec<_> = labels
            .iter()
            .map(|(key, value)| format!("{key}=\"{}\"", quoted(value)))
            .collect();
        let labels = if labels.is_empty() {
            String::new()
        } else {
            format!("{{{}}}", labels.join(","))
        };
        writeln!(self.text, "{}{labels} {value}", self.name).ok();
    }
}

/// A bay at this moment.
struct Now {
    id: String,
    state: String,
    screens: usize,
    behind_ns: u64,
    counts: Counts,
    health: Option<Health>,
}

impl Now {
    fn of(bay: &Served) -> Self {
        let now = bay.hub.now();
        let state = serde_json::to_value(now.state).unwrap_or_default();
        Self {
            id: now.bay.id,
            state: state.as_str().unwrap_or_default().to_owned(),
            screens: bay.hub.screens(),
            behind_ns: bay.pulse.behind_ns(),
            counts: bay.hub.counts(),
            health: now.health,
        }
    }
}

/// Takes a sample: labels beside the bay, and the value.
type Add<'a> = dyn FnMut(&[(&str, &str)], f64) + 'a;

/// A metric: name, type, what it is, and its samples of a bay, which are labelled beside the bay.
type Metric = (
    &'static str,
    &'static str,
    &'static str,
    fn(&Now, &mut Add<'_>),
);

const METRICS: &[Metric] = &[
    (
        "whin_bay_state",
        "gauge",
        "State of the bay now.",
        |bay, add| add(&[("state", &bay.state)], 1.0),
    ),
    (
        "whin_screens",
        "gauge",
        "Screens that are connected and keep up.",
        |bay, add| add(&[], bay.screens as f64),
    ),
    (
        "whin_swings_total",
        "counter",
        "Whole swings since the start.",
        |bay, add| {
            let kinds = bay.counts.swings.iter();
            kinds.for_each(|(kind, n)| add(&[("kind", kind)], *n as f64));
        },
    ),
    (
        "whin_swings_archived_total",
        "counter",
        "What became of them in the archive.",
        |bay, add| {
            add(&[("archived", "true")], bay.counts.archived as f64);
            add(&[("archived", "false")], bay.counts.unarchived as f64);
        },
    ),
    (
        "whin_stream_rate_hertz",
        "gauge",
        "As seen over the last second.",
        |bay, add| of_streams(bay, add, |stream| stream.seen_hz),
    ),
    (
        "whin_datagrams_received_total",
        "counter",
        "Datagrams received.",
        |bay, add| of_streams(bay, add, |stream| stream.received as f64),
    ),
    (
        "whin_datagrams_lost_total",
        "counter",
        "Datagrams that never came.",
        |bay, add| of_streams(bay, add, |stream| stream.lost as f64),
    ),
    (
        "whin_datagrams_duplicate_total",
        "counter",
        "Datagrams that came twice.",
        |bay, add| of_streams(bay, add, |stream| stream.duplicate as f64),
    ),
    (
        "whin_datagrams_late_total",
        "counter",
        "Datagrams that came after their place was given up.",
        |bay, add| of_streams(bay, add, |stream| stream.late as f64),
    ),
    (
        "whin_datagrams_reordered_total",
        "counter",
        "Datagrams out of order, in time.",
        |bay, add| of_streams(bay, add, |stream| stream.reordered as f64),
    ),
    (
        "whin_datagrams_dropped_total",
        "counter",
        "Datagrams that the analysis had no time for.",
        |bay, add| {
            let dropped = bay.health.iter().map(|health| health.dropped as f64);
            dropped.for_each(|n| add(&[], n));
        },
    ),
    (
        "whin_datagrams_refused_total",
        "counter",
        "Datagrams that cannot be read.",
        |bay, add| {
            let refused = bay.health.iter().flat_map(|health| &health.refused);
            refused.for_each(|r| add(&[("reason", &r.reason)], r.count as f64));
        },
    ),
    (
        "whin_queue_length",
        "gauge",
        "What waits before a thread.",
        |bay, add| {
            let queues = bay.health.iter().flat_map(|health| &health.queues);
            queues.for_each(|q| add(&[("queue", &q.name)], q.waiting as f64));
        },
    ),
    (
        "whin_findings",
        "gauge",
        "Findings that are shown now.",
        |bay, add| {
            let Some(health) = &bay.health else { return };
            for severity in ["error", "warning", "info"] {
                let shown = health.findings.iter().filter(|f| f.severity == severity);
                add(&[("severity", severity)], shown.count() as f64);
            }
        },
    ),
    (
        "whin_analysis_behind_seconds",
        "gauge",
        "Age of what the analysis has worked off last.",
        |bay, add| add(&[], bay.behind_ns as f64 * 1e-9),
    ),
];

fn of_streams(bay: &Now, add: &mut Add<'_>, value: fn(&StreamHealth) -> f64) {
    for stream in bay.health.iter().flat_map(|health| &health.streams) {
        let id = stream.stream.to_string();
        add(
            &[("stream", &id), ("content", &stream.content)],
            value(stream),
        );
    }
}

fn page(site: &Serving) -> String {
    let mut text = String::new();
    let out = &mut text;
    Family::begin(out, "whin_build_info", "gauge", "The program.")
        .add(&[("version", env!("CARGO_PKG_VERSION"))], 1.0);
    let bays: Vec<Now> = site.bays.iter().map(Now::of).collect();
    // The format asks for all samples of a metric in one group.
    for (name, kind, help, samples) in METRICS {
        let mut family = Family::begin(out, name, kind, help);
        for bay in &bays {
            samples(bay, &mut |labels, value| {
                family.add(&[&[("bay", bay.id.as_str())], labels].concat(), value);
            });
        }
    }
    process(out);
    text
}

fn process(out: &mut String) {
    let Some(taken) = crate::usage::now() else {
        return;
    };
    Family::begin(
        out,
        "process_resident_memory_bytes",
        "gauge",
        "Memory of the process.",
    )
    .add(&[], taken.resident_bytes as f64);
    Family::begin(
        out,
        "process_cpu_seconds_total",
        "counter",
        "Time on processors.",
    )
    .add(&[], taken.cpu_s);
    Family::begin(out, "process_open_fds", "gauge", "Open files.")
        .add(&[], taken.open_files as f64);
}
