//! The health of a bay as its screens show it: counters of every stream, and findings in plain
//! words with what to do. Computes nothing of the swing.

use std::collections::{BTreeMap, VecDeque};

use analysis::analyzer::{Analyzer, StreamStatus};
use protocol::screen::{Finding, Health, Queue, ReceiveBuffer, Refused, StreamHealth};

use crate::decode::{Decoder, LabelFindings};
use crate::errors::Code;
use crate::gate::Turned;

/// Above this a clock's line says nothing yet, milliseconds.
const CLOCK_KNOWN_MS: f64 = 50.0;
/// Span over which loss is given as a share, in health messages (one a second).
const LOSS_SPAN: usize = 10;
/// Share of loss from which a finding is made, percent.
const LOSS_FINDING_PERCENT: f64 = 0.1;
/// Share of doubled datagrams from which a finding is made: networks double some, two senders of one stream
/// all, percent.
const DOUBLED_FINDING_PERCENT: f64 = 25.0;
/// Silence of a stream, while others are heard, from which a finding is made, nanoseconds.
const SILENT_NS: u64 = 2_000_000_000;

/// Makes health messages, one a second, from counters that only grow.
#[derive(Debug)]
pub struct HealthBook {
    bay: String,
    receive_buffer: ReceiveBuffer,
    past: BTreeMap<u32, VecDeque<Point>>,
    /// The last fast pass that gave no swing, since the last one that did.
    missed: Option<String>,
    /// Passes of which the analysis failed.
    failed: u64,
    /// What the last swing said about the rig.
    rig: Vec<String>,
    /// What the archive says.
    archive: Vec<Finding>,
    /// What waits.
    queues: Vec<Queue>,
}

/// Counters of one stream at one moment.
#[derive(Debug, Clone, Copy)]
struct Point {
    now_ns: u64,
    received: u64,
    lost: u64,
    duplicate: u64,
    frames: u64,
}

/// Datagrams dropped inside this program.
#[derive(Debug, Clone, Copy, Default)]
pub struct Drops {
    /// On the way to the analysis.
    pub analysis: u64,
    /// On the way to the recording.
    pub recording: u64,
    /// Turned away by the gate, in the order of [`Turned::ALL`].
    pub turned_away: [u64; Turned::ALL.len()],
}

impl HealthBook {
    /// A book for one bay.
    #[must_use]
    pub fn new(bay: String, receive_buffer: ReceiveBuffer) -> Self {
        Self {
            bay,
            receive_buffer,
            past: BTreeMap::new(),
            missed: None,
            failed: 0,
            rig: Vec::new(),
            archive: Vec::new(),
            queues: Vec::new(),
        }
    }

    /// A fast pass gave no swing. A club that is carried back is daily life, so that it is shown as
    /// a hint only, and only until the next swing.
    pub fn missed(&mut self, time_ns: i64, reason: String) {
        self.missed = Some(format!(
            "The fast pass at {:.1} s was no swing: {reason}.",
            time_ns as f64 * 1e-9
        ));
    }

    /// The analysis of a swing failed: it is lost, and that stands until the program ends.
    pub fn failed(&mut self) {
        self.failed += 1;
    }

    /// A swing was found, and what its force plates beside its motion say about the rig (nothing where
    /// they agree or could not be compared).
    pub fn found(&mut self, rig: Vec<String>) {
        self.missed = None;
        self.rig = rig;
    }

    /// What the archive has to say.
    pub fn archive(&mut self, findings: Vec<Finding>) {
        self.archive = findings;
    }

    /// What waits before each thread.
    pub fn queues(&mut self, queues: Vec<Queue>) {
        self.queues = queues;
    }

    /// The health now.
    pub fn page(
        &mut self,
        now_ns: u64,
        analyzer: &Analyzer,
        decoder: &Decoder,
        drops: Drops,
    ) -> Health {
        let labels: BTreeMap<u32, &LabelFindings> = decoder.findings().collect();
        let mut findings = Vec::new();
        let mut streams = Vec::new();
        let heard_ns = analyzer.streams().map(|(_, s)| s.heard_ns).max();
        for (id, status) in analyzer.streams() {
            let health = self.stream(id, now_ns, &status);
            findings.extend(order_findings(&health, &status));
            findings.extend(heard_ns.and_then(|heard_ns| silence(id, &status, heard_ns)));
            findings.extend(self.doubled(id));
            findings.extend(stream_findings(
                &health,
                &status,
                labels.get(&id).copied(),
                &decoder.map().name,
            ));
            streams.push(health);
        }
        findings.extend(full(analyzer.refused_streams()));
        findings.extend(failed(self.failed));
        findings.extend(self.archive.iter().cloned());
        findings.extend(bay_findings(&self.receive_buffer, decoder, drops));
        findings.extend(
            self.missed
                .iter()
                .map(|text| finding(Code::SwingMissed, "info", text.clone())),
        );
        let rig = self.rig.iter();
        findings.extend(rig.map(|text| finding(Code::RigDisagrees, "warning", text.clone())));
        // Worst first; a stable sort keeps the order of streams.
        findings.sort_by_key(|f| match f.severity.as_str() {
            "error" => 0,
            "warning" => 1,
            _ => 2,
        });
        Health {
            bay: self.bay.clone(),
            streams,
            findings,
            receive_buffer: self.receive_buffer.clone(),
            dropped: drops.analysis,
            refused: turned_away(drops)
                .map(|(why, count)| (why.words(), count))
                .chain(decoder.refused())
                .map(|(reason, count)| Refused {
                    reason: reason.to_owned(),
                    count,
                })
                .collect(),
            queues: self.queues.clone(),
        }
    }

    fn stream(&mut self, id: u32, now_ns: u64, status: &StreamStatus) -> StreamHealth {
        let c = status.counters;
        let point = Point {
            now_ns,
            received: c.received,
            lost: c.lost,
            duplicate: c.duplicate,
            frames: status.frames,
        };
        let past = self.past.entry(id).or_default();
        // A restarted sender counts from zero.
        if past.back().is_some_and(|p| p.received > point.received) {
            past.clear();
        }
        let last = past.back().copied();
        past.push_back(point);
        while past.len() > LOSS_SPAN + 1 {
            past.pop_front();
        }
        let first = past.front().copied().unwrap_or(point);
        let (received, lost) = (
            point.received - first.received,
            point.lost.saturating_sub(first.lost),
        );
        let seen_hz = last.filter(|l| l.now_ns < now_ns).map_or(0.0, |l| {
            point.frames.saturating_sub(l.frames) as f64 * 1e9 / (now_ns - l.now_ns) as f64
        });
        StreamHealth {
            stream: id,
            content: status.content.to_owned(),
            rate_hz: status.rate_hz,
            seen_hz,
            received: c.received,
            lost: c.lost,
            duplicate: c.duplicate,
            late: c.late,
            reordered: c.reordered,
            loss_percent: if received + lost == 0 {
                0.0
            } else {
                100.0 * lost as f64 / (received + lost) as f64
            },
            hidden: status.hidden.iter().map(|l| l.name().to_owned()).collect(),
            landmarks: u32::try_from(status.landmarks.len()).unwrap_or(u32::MAX),
        }
    }
}

impl HealthBook {
    /// Two senders of one stream that number alike look like doubled datagrams.
    fn doubled(&self, id: u32) -> Option<Finding> {
        let past = self.past.get(&id)?;
        let (first, last) = past.front().zip(past.back())?;
        let (received, doubled) = (
            last.received - first.received,
            last.duplicate.saturating_sub(first.duplicate),
        );
        let percent = 100.0 * doubled as f64 / received.max(1) as f64;
        (percent >= DOUBLED_FINDING_PERCENT).then(|| {
            let text = format!(
                "{percent:.0} % of the datagrams of stream {id} came twice: two senders with one stream id, or a network that doubles."
            );
            finding(Code::StreamDoubled, "warning", text)
        })
    }
}

pub(crate) fn finding(code: Code, severity: &str, text: String) -> Finding {
    Finding {
        code: code.as_str().to_owned(),
        severity: severity.to_owned(),
        text,
    }
}

/// What is wrong with the order and completeness of a stream.
fn order_findings(health: &StreamHealth, status: &StreamStatus) -> Vec<Finding> {
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
fn silence(id: u32, status: &StreamStatus, others_ns: u64) -> Option<Finding> {
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

fn full(refused: u64) -> Option<Finding> {
    (refused > 0).then(|| {
        let text = format!(
            "{refused} datagrams came of more streams than a bay takes: find out who else sends here."
        );
        finding(Code::StreamsFull, "warning", text)
    })
}

fn failed(count: u64) -> Option<Finding> {
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
fn stream_findings(
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
        let times = times(u64::from(clock.resets));
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
                "Not sent by stream {id}, but in marker map `{map}`: {}.",
                labels.absent.join(", ")
            );
            out.push(finding(Code::MapLabelAbsent, "warning", text));
        }
        if !labels.unknown.is_empty() {
            let text = format!(
                "Sent by stream {id}, but not in marker map `{map}`: {}.",
                labels.unknown.join(", ")
            );
            out.push(finding(Code::MapLabelUnknown, "info", text));
        }
    }
    out
}

fn bay_findings(buffer: &ReceiveBuffer, decoder: &Decoder, drops: Drops) -> Vec<Finding> {
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
fn turned_away(drops: Drops) -> impl Iterator<Item = (Turned, u64)> {
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
    use crate::map::MarkerMap;
    use analysis::context::Context;

    #[test]
    fn what_the_last_swing_says_of_the_rig_stands_until_the_next() {
        let buffer = ReceiveBuffer {
            asked: 8_388_608,
            granted: 8_388_608,
        };
        let decoder = Decoder::new(MarkerMap::load("whin_32").unwrap());
        let analyzer = Analyzer::new(Context::default(), 0);
        let mut book = HealthBook::new("bay".into(), buffer);
        let mut codes = |said: &[&str]| -> Vec<String> {
            book.found(said.iter().map(|s| (*s).to_owned()).collect());
            let page = book.page(0, &analyzer, &decoder, Drops::default());
            page.findings.into_iter().map(|f| f.code).collect()
        };
        assert_eq!(codes(&["Plate 2 is about 20 ms late."]), ["rig.disagrees"]);
        assert!(codes(&[]).is_empty());
    }

    #[test]
    fn a_small_buffer_and_garbage_are_findings_with_a_remedy() {
        let buffer = ReceiveBuffer {
            asked: 8_388_608,
            granted: 212_992,
        };
        let mut decoder = Decoder::new(MarkerMap::load("whin_32").unwrap());
        assert!(
            decoder
                .decode(
                    b"not ours at all, but long enough to be read as a header?",
                    0
                )
                .is_none()
        );
        let analyzer = Analyzer::new(Context::default(), 0);
        let page =
            HealthBook::new("bay".into(), buffer).page(0, &analyzer, &decoder, Drops::default());
        let codes: Vec<_> = page.findings.iter().map(|f| f.code.as_str()).collect();
        assert_eq!(codes, ["udp.buffer_small", "udp.garbage"]);
        assert!(
            page.findings[0]
                .text
                .contains("sysctl -w net.core.rmem_max=8388608")
        );
    }
}
