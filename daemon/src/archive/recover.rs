//! A torn or damaged recording → a new, whole one with every datagram and tick of the chunks that are
//! good. Events and reports beside them are not carried over: the store has them.

use std::path::Path;

use serde::Serialize;

use crate::offline;
use crate::receive::Arrival;
use crate::record;
use crate::recording::{self, Recorder, RecordingError};

/// What was saved and what was not.
#[derive(Debug, Default, PartialEq, Eq, Serialize)]
pub struct Recovered {
    /// Datagrams saved.
    pub datagrams: u64,
    /// First and last arrival among what was saved, nanoseconds of the recording's clock.
    pub arrivals_ns: Option<(u64, u64)>,
    /// Bytes of the old file that could not be used.
    pub lost_bytes: u64,
    /// Each part of the old file that could not be used, in words.
    pub losses: Vec<String>,
}

/// Reads `from` as far as it goes and writes `to`, which must not exist.
///
/// # Errors
/// When `from` is torn before its metadata, so that nothing tells what it was, or `to` cannot be
/// written.
pub fn recover(from: &Path, to: &Path) -> Result<Recovered, RecordingError> {
    let mut torn = recording::read(from)?;
    let mut whole = Recorder::create(to, torn.meta())?;
    let mut saved = Recovered::default();
    for entry in torn.by_ref() {
        let arrival = offline::arrival(entry);
        let time_ns = match &arrival {
            Arrival::Datagram { received_ns, .. } => {
                saved.datagrams += 1;
                *received_ns
            }
            Arrival::Tick { now_ns } => *now_ns,
        };
        let first_ns = saved.arrivals_ns.map_or(time_ns, |(first, _)| first);
        saved.arrivals_ns = Some((first_ns, time_ns));
        record::write(&mut whole, &arrival)?;
    }
    whole.finish()?;
    for loss in torn.losses() {
        saved.lost_bytes += loss.bytes;
        saved.losses.push(format!(
            "{} bytes at byte {}: {}",
            loss.bytes, loss.at_byte, loss.why
        ));
    }
    Ok(saved)
}
