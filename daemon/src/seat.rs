//! Who stands in the bay from a moment on: the session that is kept and what is told about golfer and club.
//! A seat takes its turn among the arrivals, so that analysis and archive change at the same datagram; a
//! recording holds what belongs to one seat only. Who decides about it is `coach`.

use std::sync::atomic::{AtomicBool, Ordering};

use analysis::context::Context;

use crate::archive::rows::Session;

/// A seat.
#[derive(Debug, Default)]
pub struct Seat {
    /// The session that is kept; none: nothing is.
    pub session: Option<Session>,
    /// What is told about golfer and club.
    pub context: Context,
    /// Its text, for the recording.
    pub context_text: Option<String>,
    /// Row of the calibration that is told.
    pub calibration: Option<i64>,
    /// What the screen says about recording.
    pub note: String,
    /// The analysis has filed everything of the seat before.
    taken: AtomicBool,
}

impl Seat {
    /// A seat.
    #[must_use]
    pub fn new(
        session: Option<Session>,
        (context, context_text): (Context, Option<String>),
        note: impl Into<String>,
    ) -> Self {
        Self {
            session,
            context,
            context_text,
            calibration: None,
            note: note.into(),
            taken: AtomicBool::new(false),
        }
    }

    /// The same with the calibration that its context tells.
    #[must_use]
    pub fn calibrated(self, calibration: Option<i64>) -> Self {
        Self {
            calibration,
            ..self
        }
    }

    /// Said by the analysis: whatever belongs to the seat before is filed.
    pub fn take(&self) {
        self.taken.store(true, Ordering::Release);
    }

    /// Whether the analysis has taken it.
    #[must_use]
    pub fn is_taken(&self) -> bool {
        self.taken.load(Ordering::Acquire)
    }
}
