//! A report as a table for people at a terminal.

use analysis::metrics::catalogue::CATALOGUE;
use analysis::swing::event::Event;
use protocol::report::{Measurement, Metric, Uncertainty};

/// What every table that shows a movement ends with.
pub const CAUTION: &str = "Warm up first. Stop on pain and see a licensed clinician. Not medical advice. \
     Follow local rules and the equipment maker's instructions.";

/// One swing as text: events, then metrics in the catalogue's order, then what limits them.
#[must_use]
pub fn swing(number: usize, measurement: &Measurement) -> String {
    let mut lines = vec![format!(
        "Swing {number}: {}, {}-handed",
        measurement.kind, measurement.handed
    )];
    lines.push(format!(
        "\n  {:<24} {:>10} {:>10}",
        "event", "time s", "frame"
    ));
    lines.extend(
        Event::ALL
            .iter()
            .map(|e| format!("  {}", event_line(e.name(), measurement))),
    );
    lines.push(format!(
        "\n  {:<40} {:>10} {:>8} {:<6} {:>10}",
        "metric", "value", "±", "unit", "change"
    ));
    let mut reasons: Vec<&str> = Vec::new();
    for id in CATALOGUE
        .iter()
        .flat_map(|f| (0..f.len()).map(|n| f.value_id(n)))
    {
        let metric = measurement.metrics.get(&id);
        lines.extend(metric.map(|m| format!("  {}", metric_line(&id, m, &mut reasons))));
    }
    lines.extend(
        reasons
            .iter()
            .enumerate()
            .map(|(n, reason)| format!("  [{}] {reason}", n + 1)),
    );
    lines.extend(measurement.markers.iter().map(|fault| {
        let (missing, rejected) = (fault.missing_frames, fault.rejected_frames);
        let exchanged = match fault.exchanged_frames {
            0 => String::new(),
            frames => format!(", exchanged and put right in {frames}"),
        };
        format!(
            "  marker {}: missing in {missing} frames, rejected in {rejected}{exchanged}",
            fault.landmark
        )
    }));
    lines.extend(measurement.notes.iter().map(|note| format!("  {note}")));
    lines.join("\n") + "\n"
}

fn event_line(name: &str, measurement: &Measurement) -> String {
    match measurement.events.get(name).map(|e| (e.time_s, e.frame)) {
        Some((Some(time), Some(frame))) => format!("{name:<24} {time:>10.4} {frame:>10.2}"),
        _ => format!("{name:<24} {:>10} {:>10}", "—", "—"),
    }
}

/// A line with a number in brackets that points to the reason or limit below the table.
fn metric_line<'a>(id: &str, metric: &'a Metric, reasons: &mut Vec<&'a str>) -> String {
    let mark = metric
        .reason
        .as_deref()
        .or(metric.limited.as_deref())
        .map(|words| {
            let known = reasons.iter().position(|r| *r == words);
            known.unwrap_or_else(|| {
                reasons.push(words);
                reasons.len() - 1
            }) + 1
        });
    let mark = mark.map(|n| format!(" [{n}]")).unwrap_or_default();
    let value = metric
        .value
        .map_or_else(|| "—".to_owned(), |v| number(v, &metric.unit));
    let change = metric
        .change
        .map(|c| format!("{:+.1}", c))
        .unwrap_or_default();
    let spread = spread(metric);
    format!(
        "{id:<40} {value:>10} {spread:>8} {:<6} {change:>10}{mark}",
        metric.unit
    )
}

/// Half the 95 % interval, one decimal more than the value where it is small; the agreement of a code.
fn spread(metric: &Metric) -> String {
    match metric.uncertainty {
        Some(Uncertainty::Interval { low, high, .. }) => {
            let half = 0.5 * (high - low);
            let digits = if half < 0.01 {
                4
            } else if half < 1.0 {
                2
            } else {
                1
            };
            format!("{half:.digits$}")
        }
        Some(Uncertainty::Agreement { agreement }) => format!("{:.0} %", 100.0 * agreement),
        Some(Uncertainty::None { .. }) => "?".to_owned(),
        None => String::new(),
    }
}

/// As many decimals as the unit deserves.
fn number(value: f64, unit: &str) -> String {
    let decimals = match unit {
        "m" | "s" => 3,
        "ratio" | "m/s" => 2,
        _ => 1,
    };
    format!("{value:.decimals$}")
}
