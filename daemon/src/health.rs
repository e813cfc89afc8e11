//! The health of a bay as its screens show it: counters of every stream, and findings in plain
//! words with what to do. Computes nothing of the swing.

use std::collections::{BTreeMap, VecDeque};

use analysis::analyzer::{Analyzer, StreamStatus};
use analysis::ground::now::PlateNow;
use protocol::rig::{ClockHealth, PlateHealth, PlateZero};
use protocol::screen::{Finding, Health, Queue, ReceiveBuffer, Refused, StreamHealth};

use crate::decode::{Decoder, LabelFindings};
use crate::errors::Code;
use crate::gate::Turned;
use crate::outgoing::rounded;

pub use self::findings::buffer_words;
pub(crate) use self::findings::finding;
use self::findings::{
    bay_findings, failed, full, order_findings, silence, stream_findings, turned_away,
};

mod findings;

/// Span over which loss is given as a share, in health messages (one a second).
const LOSS_SPAN: usize = 10;
/// Share of doubled datagrams from which a finding is made: networks double some, two senders of one stream
/// all, percent.
const DOUBLED_FINDING_PERCENT: f64 = 25.0;

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
            clock: status.clock.map(|clock| ClockHealth {
                clock: status.clock_number,
                offset_s: clock.line.offset_ns as f64 * 1e-9,
                drift_ppm: rounded(clock.line.drift * 1e6, 1e2),
                uncertainty_ms: rounded(clock.line.uncertainty_ns * 1e-6, 1e3),
                delay_ms: rounded(clock.delay_ns as f64 * 1e-6, 1e2),
                sets: clock.resets,
            }),
            told_late_ms: status.late_ns as f64 * 1e-6,
        }
    }
}

/// What every plate reads now.
#[must_use]
pub fn plates(now_ns: u64, analyzer: &Analyzer) -> Vec<PlateHealth> {
    let plates = analyzer.plates(now_ns);
    plates.map(|(id, now)| plate(id, &now)).collect()
}

/// A plate as the page gets it, rounded to what it is known to.
fn plate(stream: u32, now: &PlateNow) -> PlateHealth {
    let metres = |p: &nalgebra::Point3<f64>| [p.x, p.y, p.z].map(|v| rounded(v, 1e4));
    let tenths = |v: nalgebra::Vector3<f64>| [v.x, v.y, v.z].map(|v| rounded(v, 1e1));
    PlateHealth {
        stream,
        name: now.name.clone(),
        corners: now.corners.map(|corners| corners.map(|p| metres(&p))),
        force_n: now.reads.map(|r| tenths(r.force)),
        scatter_n: now.reads.map(|r| rounded(r.scatter_n, 1e2)),
        center: now.reads.and_then(|r| r.center).map(|p| metres(&p)),
        stood_on: now.reads.is_some_and(|r| r.stood_on),
        zero: now.zero.map(|zero| PlateZero {
            force_n: tenths(zero.offset.force),
            moment_nm: {
                let m = zero.offset.moment;
                [m.x, m.y, m.z].map(|v| rounded(v, 1e2))
            },
            age_s: rounded(zero.age_s, 1e1),
            drift_n: rounded(zero.drift_n, 1e1),
        }),
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
