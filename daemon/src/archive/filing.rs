//! From a report to what the store keeps of it: the swing with its place in a recording, the result of this
//! program's version. When it is filed is `writer`'s business.

use protocol::report::Report;
use protocol::screen::Replay;
use protocol::shelf::Curves;

use super::ArchiveError;
use super::ring::{Found, Ring};
use super::rows::{Outcome, Place, Swing, Take};
use super::values;

/// What is filed.
#[derive(Debug)]
pub enum Filed {
    /// A swing with the report of the whole of it.
    Swing(Box<Filing>),
    /// A later revision of a report.
    Revised(Box<Report>),
}

/// A swing with what finds its window.
#[derive(Debug)]
pub struct Filing {
    /// Its report.
    pub report: Report,
    /// Epoch of the sender.
    pub epoch: u32,
    /// Device time of the first frame of the window, nanoseconds.
    pub first_ns: i64,
    /// Device time of impact, nanoseconds.
    pub impact_ns: i64,
    /// What is drawn of it.
    pub take: Option<Box<(Replay, Curves)>>,
}

/// What is drawn of a swing, as the store keeps it.
///
/// # Errors
/// When it cannot be written, a fault of the program.
pub(super) fn take(filing: &Filing) -> Result<Option<Take>, String> {
    let Some(both) = &filing.take else {
        return Ok(None);
    };
    let (replay, curves) = &**both;
    let packed = |text: serde_json::Result<Vec<u8>>| {
        let text = text.map_err(|e| e.to_string())?;
        zstd::encode_all(&text[..], LEVEL).map_err(|e| e.to_string())
    };
    Ok(Some(Take {
        replay: packed(serde_json::to_vec(replay))?,
        curves: packed(serde_json::to_vec(curves))?,
    }))
}

/// Compression of what is drawn: a tenth of its size in some milliseconds.
const LEVEL: i32 = 3;

/// What was packed.
///
/// # Errors
/// When the bytes are damaged.
pub fn unpack<T: serde::de::DeserializeOwned>(bytes: &[u8]) -> Result<T, ArchiveError> {
    let damaged = |why: String| ArchiveError::Damaged(format!("what is drawn of a swing ({why})"));
    let text = zstd::decode_all(bytes).map_err(|e| damaged(e.to_string()))?;
    serde_json::from_slice(&text).map_err(|e| damaged(e.to_string()))
}

/// When the datagram that completed a report came, nanoseconds since arrival 0.
pub(super) fn completed_ns(report: &Report) -> u64 {
    report.transport.completed_at_ns.unwrap_or(0)
}

/// The window of a swing in the ring of what was recorded.
pub(super) fn window(ring: &Ring, filing: &Filing) -> Option<Found> {
    let device = (filing.first_ns, filing.impact_ns);
    ring.window(filing.epoch, device, completed_ns(&filing.report))
}

/// A swing with its place in a recording (session and row); `None` when its window is not whole there.
pub(super) fn placed(
    ring: &Ring,
    filing: &Filing,
    recording: (&str, i64),
    zero_utc_ns: u64,
) -> Option<Swing> {
    Some(window(ring, filing)?.swing(filing, recording, zero_utc_ns))
}

impl Found {
    /// The row of a swing.
    pub(super) fn swing(&self, filing: &Filing, recording: (&str, i64), zero_utc_ns: u64) -> Swing {
        let (datagrams, digest) = self.digest.read();
        Swing {
            row: 0,
            id: filing.report.id.clone(),
            session: recording.0.to_owned(),
            kind: filing.report.measurement.kind.clone(),
            handed: filing.report.measurement.handed.clone(),
            impact_utc_ns: zero_utc_ns.saturating_add(self.impact_ns),
            place: Place {
                recording: recording.1,
                from_ns: self.from_ns,
                to_ns: completed_ns(&filing.report),
                datagrams,
                digest,
            },
            block: None,
            calibration: None,
        }
    }
}

/// A report as a result of this program's version.
///
/// # Errors
/// When the report cannot be written as JSON, a fault of the program.
pub fn outcome(ids: &[String], report: &Report, utc_ns: u64) -> Result<Outcome, String> {
    Ok(Outcome {
        analysis: env!("CARGO_PKG_VERSION").into(),
        measured_utc_ns: utc_ns,
        catalogue: u32::try_from(ids.len()).unwrap_or(u32::MAX),
        report: serde_json::to_string(report).map_err(|e| e.to_string())?,
        metrics: values::pack(ids, &report.measurement),
    })
}
