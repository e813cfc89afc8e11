//! The technician's side: what the plates read, clocks, archive and disk, configuration, and what is measured
//! with a club's head (sync tap, place of the ball). Bodies of the API; plates and clocks also come with the
//! health of a bay.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::screen::Finding;

/// A clock against that of this program.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ClockHealth {
    /// Its number: streams with the same one are compared directly.
    pub clock: u32,
    /// Arrival less device time, seconds; the smallest delay is in it, which one way cannot show.
    pub offset_s: f64,
    /// By how much this program's clock runs faster, millionths.
    pub drift_ppm: f64,
    /// How surely it is known against this program's clock now, milliseconds (standard uncertainty).
    pub uncertainty_ms: f64,
    /// By how much the slowest datagram of the last second or two came later than the fastest, milliseconds.
    pub delay_ms: f64,
    /// How often its times began anew.
    pub sets: u64,
}

/// What a force plate reads now.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct PlateHealth {
    /// Its stream.
    pub stream: u32,
    /// Its name in sentences: `plate 1`.
    pub name: String,
    /// Corners of its surface in bay axes, metres; `null` where its place is not known.
    pub corners: Option<[[f64; 3]; 4]>,
    /// Mean force of the last half second on whoever stands there, bay axes, newtons, zero taken off; `null`
    /// when nothing came lately.
    pub force_n: Option<[f64; 3]>,
    /// Standard deviation of its upward part in that time, newtons.
    pub scatter_n: Option<f64>,
    /// Center of pressure, bay axes, metres; `null` below 20 N.
    pub center: Option<[f64; 3]>,
    /// Whether somebody stands on it (80 N and more).
    pub stood_on: bool,
    /// The zero that is taken off; `null`: it was never seen quiet and empty.
    pub zero: Option<PlateZero>,
}

/// What an empty plate read.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct PlateZero {
    /// Force, bay axes, newtons.
    pub force_n: [f64; 3],
    /// Moment about the middle of the surface, bay axes, newton metres.
    pub moment_nm: [f64; 3],
    /// Seconds since it was taken.
    pub age_s: f64,
    /// How far it has wandered since the first one, newtons.
    pub drift_n: f64,
}

/// The plates of a bay.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Plates {
    /// Bay id.
    pub bay: String,
    /// As of the last health, at most a second old.
    pub plates: Vec<PlateHealth>,
    /// How they are zeroed, in words.
    pub zeroing: String,
}

/// The archive and its disk.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ArchiveState {
    /// Its folder.
    pub path: String,
    /// Free on its disk, bytes.
    pub free_bytes: u64,
    /// What recordings leave alone, bytes.
    pub reserve_bytes: u64,
    /// Minutes until the reserve is reached at the pace of the last minute; `null` before a pace is known.
    pub minutes_left: Option<f64>,
    /// The recording that runs.
    pub recording: Option<RecordingNow>,
    /// Why none runs.
    pub stopped: Option<String>,
    /// Reports that wait for the disk.
    pub waiting: u64,
    /// The last check of everything in it since the program started.
    pub verified: Option<Verification>,
    /// Whether a check runs now.
    pub verifying: bool,
    /// What to do for a copy, in words.
    pub backup: String,
}

/// A recording that runs.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct RecordingNow {
    /// Its file.
    pub file: String,
    /// Written so far, bytes.
    pub bytes: u64,
}

/// What a check of the whole archive found.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Verification {
    /// When it ended, nanoseconds UTC since 1970.
    pub at_utc_ns: u64,
    /// Seconds that it took.
    pub took_s: f64,
    /// Whether something is missing or damaged.
    pub damaged: bool,
    /// Sessions, recordings and swings that were looked at.
    pub sessions: u64,
    /// As above.
    pub recordings: u64,
    /// As above.
    pub swings: u64,
    /// What is wrong or odd.
    pub findings: Vec<Finding>,
}

/// The configuration in force; read only.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct ConfigShown {
    /// Path of its file; `null`: the defaults hold.
    pub path: Option<String>,
    /// Every value as it is in force, the command line's among them, as a file would say it. It names files
    /// of secrets, never what is in them.
    pub text: String,
}

/// To listen for sync taps.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct NewTap {
    /// Seconds that have just passed, 3 to 60; 30 when not told.
    #[serde(default)]
    pub seconds: Option<f64>,
}

/// What the taps said.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Taps {
    /// One entry a force stream that was struck.
    pub streams: Vec<TappedStream>,
    /// Blows of the club's head that no plate told of.
    pub beside: u64,
    /// Lines for `bay.toml`, whole; `null` without a verdict.
    pub lines: Option<String>,
    /// What it says and what to do.
    pub words: String,
}

/// How late one stream is.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct TappedStream {
    /// The stream.
    pub stream: u32,
    /// Each tap.
    pub taps: Vec<TapHeard>,
    /// How much later than the markers it is, milliseconds, what is told already taken off; negative: earlier.
    /// `null` with too few taps.
    pub late_ms: Option<f64>,
    /// Its standard uncertainty, milliseconds.
    pub uncertainty_ms: Option<f64>,
    /// What is told of it already, milliseconds.
    pub told_ms: f64,
    /// Whether that is sure enough (1 ms).
    pub sure: bool,
}

/// One tap.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct TapHeard {
    /// The plate's name.
    pub plate: String,
    /// Device time of the markers, seconds.
    pub time_s: f64,
    /// How much later the plate tells of it, milliseconds.
    pub late_ms: f64,
}

/// To read a place off the club's head, which stands still there.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct NewPlace {
    /// Where the ball's center was found before, bay axes, metres: then the club now stands on the target
    /// line, farther toward the target.
    #[serde(default)]
    pub ball: Option<[f64; 3]>,
}

/// A place read off the club's head.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Placed {
    /// The face's reference point, bay axes, metres: the mean of the last second.
    pub face: [f64; 3],
    /// How far it moved about that, millimetres (root mean square).
    pub scatter_mm: f64,
    /// Center of a ball on the floor that the face touches, bay axes, metres; as told where it was.
    pub ball: [f64; 3],
    /// The center that the analysis takes; `null`: it takes the head's place at address.
    pub told_ball: Option<[f64; 3]>,
    /// From that to this along the target line, millimetres.
    pub ball_off_mm: Option<f64>,
    /// By how much the line over both places is turned from the analysis' target line, degrees, seen from
    /// above, positive to the left.
    pub line_off_deg: Option<f64>,
    /// Lines for `[frame]` of the marker map.
    pub lines: String,
    /// What it says and what to do.
    pub words: String,
}
