//! Verbs of a lesson with more than one number to say: calibrations, shots that are moved, thresholds of
//! leaks as a list, and a club that is not the chosen one.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::Block;

/// A block that began.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Begun {
    /// The block.
    #[serde(flatten)]
    pub block: Block,
    /// Number of the entry by which it is undone.
    pub entry: i64,
}

/// A calibration from what the bay sees.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct NewCalibration {
    /// `last`: the seconds that have just passed; `next`: those that begin now (the answer waits for them).
    pub from: String,
    /// How many, 3 to 60; 20 when not told.
    #[serde(default)]
    pub seconds: Option<f64>,
}

/// A calibration of a student.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Calibration {
    /// Counts up for each student; swings name it.
    pub number: u32,
    /// When it was made, nanoseconds since 1970 in UTC.
    pub since_utc_ns: u64,
    /// Swings measured with it.
    pub swings: u32,
    /// Whether it goes for the next shot.
    pub in_use: bool,
}

/// The calibrations of a student.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Calibrations {
    /// Oldest first.
    pub calibrations: Vec<Calibration>,
}

/// A calibration that was made.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Calibrated {
    /// The calibration.
    #[serde(flatten)]
    pub calibration: Calibration,
    /// Number of the entry by which it is undone.
    pub entry: i64,
    /// What the trial gave and what not, in plain sentences.
    pub words: Vec<String>,
}

/// Where a shot is moved to. What is not told stays.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Move {
    /// Another student, by identifier: to that student's lesson of the same day, else to a new one.
    #[serde(default)]
    pub student: Option<String>,
    /// A block of the lesson, by identifier.
    #[serde(default)]
    pub block: Option<i64>,
    /// A club of the student, by identifier: to the block with that club, of the same purpose where there is
    /// one, else to a new one.
    #[serde(default)]
    pub club: Option<String>,
}

/// A shot that was moved.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Moved {
    /// Its lesson now.
    pub session: String,
    /// Its block now.
    pub block: Option<i64>,
    /// Numbers of the entries, in the order in which they are undone.
    pub entries: Vec<i64>,
    /// What was done, in plain sentences.
    pub words: Vec<String>,
}

/// The numbers that decide what counts as a leak, for one student.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Thresholds {
    /// In the order of the leaks.
    pub thresholds: Vec<ThresholdLine>,
}

/// One of them.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ThresholdLine {
    /// The leak's identifier; `every` for the one that all share.
    pub leak: String,
    /// Its name, by which it is entered.
    pub name: String,
    /// What it means, in words.
    pub words: String,
    /// Unit of the numbers here.
    pub unit: String,
    /// What goes; absent: the leak is not looked for.
    pub value: Option<f64>,
    /// The default; absent: off until the coach sets it.
    pub default: Option<f64>,
    /// Where the number comes from, in words.
    pub source: String,
}

/// A club whose measured length contradicts the told one.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ClubLength {
    /// As told of the chosen club, meters.
    pub told_m: f64,
    /// Median over the last shots, meters, along the shaft from the butt to the head's reference point.
    pub measured_m: f64,
    /// Shots it was measured in.
    pub shots: u32,
    /// As a plain sentence.
    pub words: String,
}
