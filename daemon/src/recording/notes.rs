//! What was found in the datagrams, beside them in the recording: events and reports as JSON on channels
//! of their own, so that any tool of the container shows them. Nobody here reads them again: the
//! datagrams and the store are what counts.

use std::collections::BTreeMap;
use std::io::{Seek, Write};

use mcap::{McapError, Writer};
use protocol::report::{REFINED, Report};
use serde_json::json;

/// Topic, number, name of the schema and the schema (JSON Schema) of each channel.
const CHANNELS: [(&str, u16, &str, &str); 2] = [
    (
        "events",
        EVENTS,
        "whin.Event",
        include_str!("event.schema.json"),
    ),
    (
        "reports",
        REPORTS,
        "whin.Report",
        include_str!("report.schema.json"),
    ),
];
pub(super) const EVENTS: u16 = 2;
pub(super) const REPORTS: u16 = 3;

/// A message: channel, device time in nanoseconds where it has one, JSON.
pub(super) type Note = (u16, Option<u64>, Vec<u8>);

pub(super) fn add_channels<W: Write + Seek>(writer: &mut Writer<W>) -> Result<(), McapError> {
    for (topic, number, name, text) in CHANNELS {
        let schema = writer.add_schema(name, "jsonschema", text.as_bytes())?;
        writer.add_channel_with_id(number, schema, topic, "json", &BTreeMap::new())?;
    }
    Ok(())
}

/// A report as a message; before that of the whole swing each of its events that has a time. A later
/// revision has the same ones.
pub(super) fn of(report: &Report) -> Vec<Note> {
    let events = report.measurement.events.iter().filter_map(|(name, event)| {
        let time_s = event.time_s.filter(|_| report.revision < REFINED)?;
        let note = json!({ "swing": report.id, "event": name, "time_s": time_s, "frame": event.frame });
        let device_ns = (time_s * 1e9).round();
        let device_ns = (device_ns >= 0.0).then_some(device_ns as u64);
        Some((EVENTS, device_ns, note.to_string().into_bytes()))
    });
    // Our own types with text keys: cannot fail.
    let whole = serde_json::to_vec(report).map(|json| (REPORTS, None, json));
    events.chain(whole.ok()).collect()
}
