//! What the archive's thread shows of its work: findings for the bay's health page, the recording as it
//! stands. It is written there and read elsewhere.

use std::sync::{Mutex, MutexGuard, PoisonError};

use protocol::rig::RecordingNow;
use protocol::screen::Finding;

/// What the bay's health page shows of the archive. Written by the archive's thread, read by the
/// analysis; nobody holds it while the disk works.
#[derive(Debug, Default)]
pub struct Board(Mutex<Shown>);

#[derive(Debug, Default)]
struct Shown {
    findings: Vec<Finding>,
    tape: TapeNow,
}

/// The recording as it stood when the disk was looked at last.
#[derive(Debug, Clone, Default)]
pub struct TapeNow {
    /// The one that runs.
    pub recording: Option<RecordingNow>,
    /// Minutes that fit on the disk, once a pace is known.
    pub minutes_left: Option<f64>,
    /// Why none runs.
    pub stopped: Option<String>,
    /// Reports that wait for it.
    pub waiting: usize,
}

impl Board {
    /// What is shown.
    #[must_use]
    pub fn findings(&self) -> Vec<Finding> {
        self.shown().findings.clone()
    }

    /// The recording now.
    #[must_use]
    pub fn tape(&self) -> TapeNow {
        self.shown().tape.clone()
    }

    pub(super) fn show(&self, findings: Vec<Finding>) {
        self.shown().findings = findings;
    }

    pub(super) fn show_tape(&self, tape: TapeNow) {
        self.shown().tape = tape;
    }

    fn shown(&self) -> MutexGuard<'_, Shown> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }
}
