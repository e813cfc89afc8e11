//! The report of one swing as it crosses a boundary: to the screens, into the archive and out of
//! `--json`. One shape for all three.
//!
//! A report has two parts. [`Measurement`] depends on the recorded motion only: the same
//! datagrams give the same bytes at any pace. [`Transport`] says how the data got here.

use std::collections::BTreeMap;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Revision of a report that left soon after impact: what lies later is not measured yet. Only swings whose
/// kind is settled then have one.
pub const FIRST: u32 = 1;
/// Revision of a report of the whole swing.
pub const WHOLE: u32 = 2;
/// Revision of a report with uncertainties, or with the reason why there are none.
pub const REFINED: u32 = 3;

/// One swing: what was measured and how the data arrived.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Report {
    /// Stable identifier, derived from the swing's impact on the device clock.
    pub id: String,
    /// Counts up when the same swing is reported again with more data: [`FIRST`], [`WHOLE`], [`REFINED`]. The
    /// first may be absent, and each keeps identifier and kind.
    pub revision: u32,
    /// Why this swing stays without uncertainties, in words; absent where they are known or still come.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub unrefined: Option<String>,
    /// What was measured.
    pub measurement: Measurement,
    /// How the data arrived.
    pub transport: Transport,
}

/// What was measured: a pure function of the recorded motion.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Measurement {
    /// What the movement was: `shot`, `rehearsal`, `swing` (ball unknown), or `partial` (the shaft was not
    /// level both going back and coming down).
    pub kind: String,
    /// How surely it was that, 0 to 1: a rating by the evidence there was.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub confidence: Option<f64>,
    /// `right` or `left`.
    pub handed: String,
    /// Events by name (METRICS: `takeaway_start`, `address`, …).
    pub events: BTreeMap<String, Event>,
    /// Every metric of the catalogue by identifier.
    pub metrics: BTreeMap<String, Metric>,
    /// Length of the club along the shaft, meters: from the marker at its butt to the head's reference point.
    /// Absent without markers at both.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub club_length_m: Option<f64>,
    /// Markers that were bad in this swing, by landmark name.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub markers: Vec<MarkerFault>,
    /// Plain sentences: how impact was found, what was assumed.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub notes: Vec<String>,
}

/// One event: its time, or why it has none.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Event {
    /// Seconds on the sender's device clock (from the first frame of a file).
    pub time_s: Option<f64>,
    /// The same instant as a frame number with its fraction; 0 is the first frame.
    pub frame: Option<f64>,
    /// Standard uncertainty of the time, seconds; absent before [`REFINED`].
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub uncertainty_s: Option<f64>,
    /// Why there is no time.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub reason: Option<String>,
}

/// One metric: a value with its unit, or why there is none.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Metric {
    /// The value in `unit`; `null` when not measured.
    pub value: Option<f64>,
    /// Unit of `value` and `change`: `deg`, `m`, `m/s`, `s`, `ms`, `ratio`, `deg/s`.
    pub unit: String,
    /// The change since address, for values that are read at an event.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub change: Option<f64>,
    /// Why it was not measured.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub reason: Option<String>,
    /// What limits the value, when something does (a substitute, a filled gap).
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub limited: Option<String>,
    /// How surely the value is known; absent before [`REFINED`].
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub uncertainty: Option<Uncertainty>,
}

/// How surely a value is known: noise of the rig and calibration, not skin that moves with the body.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(untagged)]
pub enum Uncertainty {
    /// Of a number, in the unit of its value.
    Interval {
        /// Standard uncertainty.
        standard: f64,
        /// Lower end of the 95 % interval.
        low: f64,
        /// Upper end of the 95 % interval.
        high: f64,
    },
    /// Of a code.
    Agreement {
        /// Share of the draws that give the same code, 0 to 1.
        agreement: f64,
    },
    /// None could be found.
    None {
        /// Why.
        reason: String,
    },
}

/// A marker that could not be trusted over part of a swing.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct MarkerFault {
    /// Landmark name.
    pub landmark: String,
    /// Frames of the swing in which the marker was not seen.
    pub missing_frames: u32,
    /// Frames in which it was seen but rejected as an outlier.
    pub rejected_frames: u32,
    /// Frames in which it had exchanged its label with another marker and was put right.
    #[serde(default)]
    pub exchanged_frames: u32,
}

/// How the data arrived. Never compared between runs.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Transport {
    /// Arrival of the datagram that completed the report, nanoseconds since the daemon started.
    pub completed_at_ns: Option<u64>,
    /// Frames of the swing's window that never arrived complete.
    pub frames_lost: u64,
    /// Frames in the swing's window.
    pub frames: u64,
}
