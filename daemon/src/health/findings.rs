//! What the counters of a bay mean, in plain words with what to do. When it is asked is `health`'s business.

use analysis::analyzer::StreamStatus;
use protocol::screen::{Finding, ReceiveBuffer, StreamHealth};

use super::Drops;
use crate::decode::{Decoder, LabelFindings};
use crate::errors::Code;
use crate::gate::Turned;

/// Above this a clock's line says nothing yet, milliseconds.
const CLOCK_KNOWN_MS: f64 = 50.0;
/// Share of loss from which a finding is made, percent.
const LOSS_FINDING_PERCENT: f64 = 0.1;
/// Silence of a stream, while others are heard, from which a finding is made, nanoseconds.
const SILENT_NS: u64 = 2_000_000_000;

/// Names that a finding lists.
const NAMED: usize = 5;

pub(crate) fn finding(code: Code, severity: &str, text: String) -> Finding {
    Finding {
        code: code.as_str().to_owned(),
        severity: severity.to_owned(),
        text,
    }
}

/// What is wrong with the order and completeness of a stream.
pub(super) fn order_findings(health: &StreamHealth, status: &StreamStatus) -> Vec<Finding> {
    let mut out = Vec::new();
    let (id, counters) = (health.stream, status.counters);
    if health.loss_percent >= LOSS_FINDING_PERCENT {
        let text = format!(
            "Stream {id} lost {:.1} % of its datagrams: check cable, switch and receive buffer.",
            health.loss_percent
        );
        out.push(finding(Code::StreamLost, "warning", text));
    }
    if counters.strange > 0 {
        let text = format!(
            "{} datagrams of stream {id} fit no order: two senders with one stream id, or a sender that numbers wrongly.",
            counters.strange
        );
        out.push(finding(Code::StreamStrange, "warning", text));
    }
    if counters.late > 0 {
        let text = format!(
            "{} datagrams of stream {id} came too late to be used: the network delays them by more than markers.reorder_window_millis.",
            counters.late
        );
        out.push(finding(Code::StreamLate, "warning", text));
    }
    if status.pauses > 0 {
        let text = format!(
            "Stream {id} stood still {}: its sender slept, or nothing came through; swings of that time are not seen.",
            times(status.pauses)
        );
        out.push(finding(Code::StreamPaused, "warning", text));
    }
    if counters.restarts > 0 {
        let text = format!(
            "The sender of stream {id} began anew {}: a swing at that moment is not whole.",
            times(counters.restarts)
        );
        out.push(finding(Code::StreamRestarted, "info", text));
    }
    out
}

/// A stream that ended while others go on. A trigger is silent by nature.
pub(super) fn silence(id: u32, status: &StreamStatus, others_ns: u64) -> Option<Finding> {
    let silent_ns = others_ns.saturating_sub(status.heard_ns);
    let carries = matches!(status.content, "markers" | "forces");
    (carries && silent_ns >= SILENT_NS).then(|| {
        let text = format!(
            "Stream {id} ({}) has sent nothing for {:.0} s while others go on: look at its cable and its sender.",
            status.content,
            silent_ns as f64 * 1e-9
        );
        finding(Code::StreamSilent, "warning", text)
    })
}

pub(super) fn full(refused: u64) -> Option<Finding> {
    (refused > 0).then(|| {
        let text = format!(
            "{refused} datagrams came of more streams than a bay takes: find out who else sends here."
        );
        finding(Code::StreamsFull, "warning", text)
    })
}

pub(super) fn failed(count: u64) -> Option<Finding> {
    (count > 0).then(|| {
        let text = format!(
            "A fault of the program cost a swing {}: please report it.",
            times(count)
        );
        finding(Code::SwingFailed, "error", text)
    })
}

fn times(n: u64) -> String {
    match n {
        1 => "once".to_owned(),
        n => format!("{n} times"),
    }
}

/// What is wrong with what a stream carries.
pub(super) fn stream_findings(
    health: &StreamHealth,
    status: &StreamStatus,
    labels: Option<&LabelFindings>,
    map: &str,
) -> Vec<Finding> {
    let mut out = Vec::new();
    let id = health.stream;
    if status.undescribed > 0 && status.landmarks.is_empty() && status.rate_hz.is_none() {
        let text = format!(
            "Stream {id} sends frames but has not said what they carry: the sender must send a description once a second."
        );
        out.push(finding(Code::StreamUndescribed, "error", text));
    }
    let odd = status.plates.iter();
    out.extend(odd.map(|words| finding(Code::PlateOdd, "warning", words.clone())));
    if let Some(clock) = status.clock.filter(|c| c.resets > 0) {
        let times = times(clock.resets);
        let known_ms = clock.line.uncertainty_ns * 1e-6;
        let known = if known_ms < CLOCK_KNOWN_MS {
            format!("known to {known_ms:.1} ms")
        } else {
            "not known yet, give it a minute".to_owned()
        };
        let text = format!("The times of stream {id} began anew {times}: its clock is {known}.");
        out.push(finding(Code::ClockSet, "info", text));
    }
    if let Some(labels) = labels {
        let space = [
            (&labels.unusable, Code::MapSpaceUnknown, "error"),
            (&labels.contradiction, Code::MapSpaceDisagrees, "warning"),
        ];
        for (words, code, severity) in space {
            out.extend(
                words
                    .iter()
                    .map(|w| finding(code, severity, format!("Stream {id}: {w}."))),
            );
        }
        if !labels.absent.is_empty() {
            let text = format!(
                "Not sent by stream {id}, but in marker map “{map}”: {}.",
                few(&labels.absent)
            );
            out.push(finding(Code::MapLabelAbsent, "warning", text));
        }
        if !labels.unknown.is_empty() {
            let text = format!(
                "Sent by stream {id}, but not in marker map “{map}”: {}.",
                few(&labels.unknown)
            );
            out.push(finding(Code::MapLabelUnknown, "info", text));
        }
    }
    out
}

/// The first of many names, and how many more there are.
fn few(names: &[String]) -> String {
    // One more name is as short as saying that there is one.
    if names.len() <= NAMED + 1 {
        return names.join(", ");
    }
    let (first, more) = names.split_at(NAMED);
    format!("{} and {} more", first.join(", "), more.len())
}

pub(super) fn bay_findings(
    buffer: &ReceiveBuffer,
    decoder: &Decoder,
    drops: Drops,
) -> Vec<Finding> {
    let mut out = Vec::new();
    if drops.analysis > 0 {
        let text = format!(
            "{} datagrams were dropped because the analysis could not keep up: close other programs on this computer.",
            drops.analysis
        );
        out.push(finding(Code::PipelineDropped, "error", text));
    }
    if drops.recording > 0 {
        let text = format!(
            "{} datagrams are missing in the recording: the disk is too slow.",
            drops.recording
        );
        out.push(finding(Code::RecordingIncomplete, "error", text));
    }
    if buffer.granted < buffer.asked {
        out.push(finding(
            Code::UdpBufferSmall,
            "warning",
            buffer_words(buffer),
        ));
    }
    for (why, count) in turned_away(drops) {
        let text = format!("{count} datagrams turned away: {}.", why.words());
        out.push(finding(why.code(), "warning", text));
    }
    for (reason, count) in decoder.refused() {
        out.push(finding(
            refusal_code(reason),
            "warning",
            format!("{count} datagrams refused: {reason}."),
        ));
    }
    out
}

/// What the gate turned away, where it did.
pub(super) fn turned_away(drops: Drops) -> impl Iterator<Item = (Turned, u64)> {
    let each = Turned::ALL.into_iter().zip(drops.turned_away);
    each.filter(|(_, count)| *count > 0)
}

/// What to set when the kernel grants less than asked.
#[must_use]
pub fn buffer_words(buffer: &ReceiveBuffer) -> String {
    format!(
        "The kernel grants {} of {} bytes of receive buffer, bursts may be lost. Set: sudo sysctl -w net.core.rmem_max={}",
        buffer.granted, buffer.asked, buffer.asked
    )
}

fn refusal_code(reason: &str) -> Code {
    match reason {
        r if r.starts_with("magic") => Code::UdpGarbage,
        r if r.starts_with("major version") => Code::UdpWrongVersion,
        r if r.starts_with("kind") => Code::UdpUnknownKind,
        _ => Code::UdpMalformed,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn of_many_names_a_finding_lists_the_first_and_how_many_more() {
        let labels = |n: usize| -> Vec<String> { (1..=n).map(|i| format!("m{i}")).collect() };
        assert_eq!(few(&labels(6)), "m1, m2, m3, m4, m5, m6");
        assert_eq!(few(&labels(32)), "m1, m2, m3, m4, m5 and 27 more");
    }
}
