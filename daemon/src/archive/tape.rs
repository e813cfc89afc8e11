//! A recording that runs, and what of the arrivals goes into it: everything, or only what is around
//! swings. When it begins and stops is `writer`'s business.

use protocol::report::Report;

use super::disk::Watch;
use super::held::Held;
use crate::receive::Arrival;
use crate::record;
use crate::recording::{Recorder, RecordingError};

/// A recording that runs.
pub(super) struct Running {
    pub(super) recorder: Recorder,
    /// Its name.
    pub(super) file: String,
    /// Its row in the store.
    pub(super) row: i64,
    pub(super) watch: Watch,
    /// When it was last brought to the disk.
    pub(super) synced_ns: u64,
    /// What waits for a swing, where only swings are recorded.
    pub(super) held: Option<Held>,
}

impl Running {
    /// Writes an arrival, or lets it wait for a swing.
    pub(super) fn take(&mut self, arrival: &Arrival, now_ns: u64) -> Result<(), RecordingError> {
        match &mut self.held {
            Some(held) if !held.is_open(now_ns) => held.push(arrival),
            _ => record::write(&mut self.recorder, arrival)?,
        }
        Ok(())
    }

    /// Whether everything from this arrival on is written or waits.
    pub(super) fn has_since(&self, from_ns: u64) -> bool {
        self.held
            .as_ref()
            .is_none_or(|held| held.has_since(from_ns))
    }

    /// Brings a swing to the disk: what waited for it, what it was found to be.
    pub(super) fn keep(&mut self, report: &Report, complete_ns: u64) -> Result<(), RecordingError> {
        let waited = self.held.as_mut().map(|held| held.open(complete_ns));
        for arrival in waited.iter().flatten() {
            record::write(&mut self.recorder, arrival)?;
        }
        self.recorder.note(report, complete_ns)?;
        self.recorder.sync()
    }
}
