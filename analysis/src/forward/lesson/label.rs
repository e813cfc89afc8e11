//! What a movement of a lesson really was.

use crate::handed::Handed;

/// What a movement is.
///
/// A *shot* is a swing that strikes a ball and brings the shaft level going back and coming down; a
/// *rehearsal* the same without striking one, at any speed and whatever is held; a *partial* a stroke
/// that does not bring the shaft level both times, with or without a ball; a *waggle* a small movement
/// of the club at address; an *abort* a swing that is broken off before the ball; *other* all else in
/// which body or club move as much.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Kind {
    /// A full swing that strikes a ball.
    Shot,
    /// A full swing without striking one.
    Rehearsal,
    /// A stroke too small for the shaft to come level.
    Partial,
    /// A small movement of the club at address.
    Waggle,
    /// A swing broken off.
    Abort,
    /// Anything else.
    Other,
}

impl Kind {
    /// The name in label files.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Shot => "shot",
            Self::Rehearsal => "rehearsal",
            Self::Partial => "partial",
            Self::Waggle => "waggle",
            Self::Abort => "abort",
            Self::Other => "other",
        }
    }
}

/// One movement of a lesson. Times are device times, s.
#[derive(Debug, Clone, PartialEq)]
pub struct Label {
    /// What it was.
    pub kind: Kind,
    /// What the golfer did, in a word (`chip`, `teeing`).
    pub scene: &'static str,
    /// When the face reached the ball, or the place at which it would be.
    pub impact_s: Option<f64>,
    /// Whether a ball was struck.
    pub struck: bool,
    /// First movement.
    pub start_s: f64,
    /// Rest.
    pub end_s: f64,
    /// The golfer's side.
    pub handed: Handed,
    /// Time of the lesson at which it began, s: device times may run back, this does not.
    pub lesson_s: f64,
}
