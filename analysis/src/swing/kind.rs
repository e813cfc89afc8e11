//! What a movement was, and how surely: decided from the swing that `phases` found. Why a movement is
//! no swing is said in `phases`.

use super::found::{Extent, Swing};
use super::impact::{Method, STEP_CLEARANCE_M};

/// Head higher than this over its place at address when it passes: it cannot have met a ball there, metres.
pub const CLEAR_OF_BALL_M: f64 = 0.05;
/// Collision and passing of the ball's place this close agree, seconds; a trigger's pulse likewise.
const AGREE_S: f64 = 0.003;
const PULSE_AGREES_S: f64 = 0.012;

/// What a movement was.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Kind {
    /// The club met a ball in a full swing.
    Shot,
    /// A full swing that met no ball.
    Rehearsal,
    /// A full swing; neither club, ball nor trigger tells whether a ball was met.
    Swing,
    /// A stroke whose shaft was not level both going back and coming down: putts, chips, short pitches.
    Partial,
    /// The club moved to and fro at address.
    Waggle,
    /// A swing that was broken off.
    Abort,
    /// Another movement.
    Other,
}

impl Kind {
    /// The word used in reports.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Shot => "shot",
            Self::Rehearsal => "rehearsal",
            Self::Swing => "swing",
            Self::Partial => "partial",
            Self::Waggle => "waggle",
            Self::Abort => "abort",
            Self::Other => "other",
        }
    }
}

/// Whether nothing that comes later can change the kind: a collision was seen, or the head passed where
/// neither a collision nor a trigger's pulse is believed to be of a ball, or lost nothing in a bay without a
/// trigger (the pulse of one may come late). A small stroke has to go on through the ball's place first.
#[must_use]
pub fn is_settled(swing: &Swing, trigger: bool) -> bool {
    let impact = &swing.impact;
    let high = impact.clearance_m.is_some_and(|c| c >= STEP_CLEARANCE_M);
    let met_none = high || impact.free && !trigger;
    swing.extent == Extent::Full && (impact.loss.is_some() || met_none)
}

/// The kind of a swing with a confidence from 0 to 1: a rating by the evidence that there is, not a
/// probability (common sense, no source).
#[must_use]
pub fn of(swing: &Swing) -> (Kind, f64) {
    let impact = &swing.impact;
    let clear = impact.clearance_m.is_some_and(|c| c > CLEAR_OF_BALL_M);
    let met = impact.loss.is_some() || impact.method == Method::Trigger;
    let agrees = impact.disagreement_s.is_some_and(|s| s.abs() < AGREE_S)
        || impact.loss.is_some()
            && impact
                .pulse_late_s
                .is_some_and(|s| s.abs() < PULSE_AGREES_S);
    let seen = !swing.quiet.is_empty();
    match swing.extent {
        Extent::Partial => (Kind::Partial, if seen { 0.9 } else { 0.7 }),
        Extent::SmallArms => (Kind::Partial, 0.6),
        Extent::Arms if met => (Kind::Shot, 0.7),
        Extent::Arms => (Kind::Swing, 0.5),
        Extent::Full if met && agrees => (Kind::Shot, 0.99),
        Extent::Full if met => (Kind::Shot, 0.9),
        Extent::Full if clear && impact.free => (Kind::Rehearsal, 0.99),
        Extent::Full if clear || impact.free => (Kind::Rehearsal, 0.9),
        Extent::Full => (Kind::Swing, 0.6),
    }
}
