//! What the bay is told about golfer and club. Optional throughout; an input, recorded like a
//! datagram. Reading it from a file is the daemon's work.

use crate::body::calibration::Calibration;
use crate::handed::Handed;
use crate::landmark::Landmark;

/// Told, not measured.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Context {
    /// The golfer's side; found from the motion when not told.
    pub handed: Option<Handed>,
    /// Sex for segment parameters, `female` or `male` (used once body masses are computed).
    pub sex: Option<String>,
    /// Body height, metres.
    pub height_m: Option<f64>,
    /// Body mass, kilograms.
    pub mass_kg: Option<f64>,
    /// Club in words (`driver`, `7-iron`).
    pub club: Option<String>,
    /// The golfer's calibration from a trial, anatomical sides.
    pub calibration: Option<Calibration>,
    /// Landmarks that the marker map calls inexact, with its words.
    pub approximate: Vec<(Landmark, String)>,
}
