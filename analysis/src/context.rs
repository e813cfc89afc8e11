//! What the bay is told about golfer, club and rig. Optional throughout; an input, recorded like a
//! datagram. Reading it from a file is the daemon's work.

use std::collections::BTreeMap;

use crate::body::calibration::Calibration;
use crate::body::inertia::Sex;
use crate::handed::Handed;
use crate::landmark::Landmark;

/// Told, not measured.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Context {
    /// The golfer's side; found from the motion when not told.
    pub handed: Option<Handed>,
    /// The golfer's person.
    pub person: Person,
    /// Club in words (`driver`, `7-iron`).
    pub club: Option<String>,
    /// The golfer's calibration from a trial, anatomical sides.
    pub calibration: Option<Calibration>,
    /// Its dimensions.
    pub club_geometry: Option<ClubGeometry>,
    /// How much later than the markers a stream tells of things, nanoseconds by stream number: found by
    /// a sync tap, beyond what its clock shows.
    pub late_ns: BTreeMap<u32, i64>,
    /// Landmarks that the marker map calls inexact, with its words.
    pub approximate: Vec<(Landmark, String)>,
}

/// What is told about a golfer's person; whatever is not told is `None`.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Person {
    /// Sex, for segment parameters.
    pub sex: Option<Sex>,
    /// Body height, metres.
    pub height_m: Option<f64>,
    /// Body mass without the club, kilograms.
    pub mass_kg: Option<f64>,
}

/// Dimensions of a club as told; whatever is not told is `None`.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct ClubGeometry {
    /// Butt to the sole along the shaft, metres.
    pub length_m: Option<f64>,
    /// Angle between shaft and floor with the sole flat, rad: places the face beside a lone toe marker.
    pub lie_rad: Option<f64>,
    /// Angle of the face against the vertical with the sole flat, rad. Not used: no metric asks where
    /// the face looks up or down.
    pub loft_rad: Option<f64>,
    /// Distance of the face's centre from the shaft's axis, metres: places the face beside a lone toe
    /// marker. Without a marker of the head nothing tells to which side it lies.
    pub head_offset_m: Option<f64>,
    /// Mass of the whole club, kilograms.
    pub mass_kg: Option<f64>,
    /// Butt end to the balance point along the shaft, metres.
    pub balance_m: Option<f64>,
    /// Moment of inertia across the shaft about the balance point, kg·m².
    pub inertia_kg_m2: Option<f64>,
}
