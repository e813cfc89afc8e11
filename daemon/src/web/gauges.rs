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

use super::server::{Serving, Shared};
use crate::hub::Hub;

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

    fn of_streams(
        &mut self,
        bay: (&str, &str),
        health: &Health,
        value: impl Fn(&StreamHealth) -> f64,
    ) {
        for stream in &health.streams {
            let id = stream.stream.to_string();
            let labels = [bay, ("stream", &id), ("content", &stream.content)];
            self.add(&labels, value(stream));
        }
    }
}

fn page(site: &Serving) -> String {
    let mut text = String::new();
    let out = &mut text;
    Family::begin(out, "whin_build_info", "gauge", "The program.")
        .add(&[("version", env!("CARGO_PKG_VERSION"))], 1.0);
    bay(out, &site.hub);
    Family::begin(
        out,
        "whin_analysis_behind_seconds",
        "gauge",
        "Age of what the analysis has worked off last.",
    )
    .add(
        &[("bay", &site.hub.bay().id)],
        site.pulse.behind_ns() as f64 * 1e-9,
    );
    process(out);
    text
}

fn bay(out: &mut String, hub: &Hub) {
    let now = hub.now();
    let bay = ("bay", now.bay.id.as_str());
    let state = serde_json::to_value(now.state).unwrap_or_default();
    let state = ("state", state.as_str().unwrap_or_default());
    Family::begin(out, "whin_bay_state", "gauge", "State of the bay now.").add(&[bay, state], 1.0);
    Family::begin(
        out,
        "whin_screens",
        "gauge",
        "Screens that are connected and keep up.",
    )
    .add(&[bay], hub.screens() as f64);
    let counts = hub.counts();
    let mut family = Family::begin(
        out,
        "whin_swings_total",
        "counter",
        "Whole swings since the start.",
    );
    counts
        .swings
        .iter()
        .for_each(|(kind, n)| family.add(&[bay, ("kind", kind)], *n as f64));
    let mut family = Family::begin(
        out,
        "whin_swings_archived_total",
        "counter",
        "What became of them in the archive.",
    );
    for (archived, n) in [("true", counts.archived), ("false", counts.unarchived)] {
        family.add(&[bay, ("archived", archived)], n as f64);
    }
    if let Some(health) = &now.health {
        streams(out, bay, health);
    }
}

/// A counter of a stream: name, help, value.
type Counter = (&'static str, &'static str, fn(&StreamHealth) -> u64);

const COUNTERS: [Counter; 5] = [
    (
        "whin_datagrams_received_total",
        "Datagrams received.",
        |s| s.received,
    ),
    (
        "whin_datagrams_lost_total",
        "Datagrams that never came.",
        |s| s.lost,
    ),
    (
        "whin_datagrams_duplicate_total",
        "Datagrams that came twice.",
        |s| s.duplicate,
    ),
    (
        "whin_datagrams_late_total",
        "Datagrams that came after their place was given up.",
        |s| s.late,
    ),
    (
        "whin_datagrams_reordered_total",
        "Datagrams out of order, in time.",
        |s| s.reordered,
    ),
];

fn streams(out: &mut String, bay: (&str, &str), health: &Health) {
    let mut family = Family::begin(
        out,
        "whin_stream_rate_hertz",
        "gauge",
        "As seen over the last second.",
    );
    family.of_streams(bay, health, |stream| stream.seen_hz);
    for (name, help, value) in COUNTERS {
        let mut family = Family::begin(out, name, "counter", help);
        family.of_streams(bay, health, |stream| value(stream) as f64);
    }
    Family::begin(
        out,
        "whin_datagrams_dropped_total",
        "counter",
        "Datagrams that the analysis had no time for.",
    )
    .add(&[bay], health.dropped as f64);
    let mut family = Family::begin(
        out,
        "whin_datagrams_refused_total",
        "counter",
        "Datagrams that cannot be read.",
    );
    health
        .refused
        .iter()
        .for_each(|r| family.add(&[bay, ("reason", &r.reason)], r.count as f64));
    let mut family = Family::begin(
        out,
        "whin_queue_length",
        "gauge",
        "What waits before a thread.",
    );
    health
        .queues
        .iter()
        .for_each(|q| family.add(&[bay, ("queue", &q.name)], q.waiting as f64));
    let mut family = Family::begin(
        out,
        "whin_findings",
        "gauge",
        "Findings that are shown now.",
    );
    for severity in ["error", "warning", "info"] {
        let count = health
            .findings
            .iter()
            .filter(|f| f.severity == severity)
            .count();
        family.add(&[bay, ("severity", severity)], count as f64);
    }
}

/// What the kernel says of this process, under the names that Prometheus' own clients use.
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
