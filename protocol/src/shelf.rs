//! What is found again in the archive: lessons, swings, curves, comparisons, trends. Lists come in pages.
//!
//! Values are in the unit beside them. Dates are nanoseconds since 1970 in UTC.

use std::collections::BTreeMap;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::lesson::{Block, Note};
use crate::report::Report;

/// Every metric.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Metrics {
    /// In the order of the catalogue.
    pub metrics: Vec<MetricLine>,
}

/// One metric.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct MetricLine {
    /// Identifier.
    pub id: String,
    /// In words.
    pub words: String,
    /// Unit of its values.
    pub unit: String,
    /// What a positive value means.
    pub sign: String,
    /// What it is.
    pub definition: String,
    /// Where the definition comes from.
    pub source: String,
    /// Event at which it is read.
    pub event: Option<String>,
    /// Whether there is a default band.
    pub has_default_band: bool,
}

/// A page of lessons.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Sessions {
    /// Newest first.
    pub sessions: Vec<SessionLine>,
    /// What to ask for as `before` to go on; absent on the last page.
    pub next: Option<String>,
}

/// A lesson in a list.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SessionLine {
    /// Identifier.
    pub id: String,
    /// The student's identifier.
    pub student: String,
    /// The student's name.
    pub name: String,
    /// Bay id.
    pub bay: String,
    /// IANA zone of the bay.
    pub zone: String,
    /// When it began.
    pub began_utc_ns: u64,
    /// When it ended; absent while it goes on.
    pub ended_utc_ns: Option<u64>,
    /// Swings in it.
    pub swings: u32,
    /// Its blocks, oldest first.
    pub blocks: Vec<Block>,
}

/// A page of swings.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Swings {
    /// Newest first.
    pub swings: Vec<SwingLine>,
    /// What to ask for as `before` to go on; absent on the last page.
    pub next: Option<String>,
}

/// A swing in a list.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SwingLine {
    /// Identifier.
    pub id: String,
    /// Its lesson.
    pub session: String,
    /// The student's identifier.
    pub student: String,
    /// `shot`, `rehearsal`, `swing` or `partial`.
    pub kind: String,
    /// `right` or `left`.
    pub handed: String,
    /// Impact.
    pub impact_utc_ns: u64,
    /// Its block.
    pub block: Option<i64>,
    /// Purpose of the block.
    pub purpose: Option<String>,
    /// Club in words.
    pub club: Option<String>,
    /// Why it does not count, if it does not.
    pub excluded: Option<String>,
    /// Tags.
    pub tags: Vec<String>,
    /// Number of the calibration that it was measured with; absent: from its address.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub calibration: Option<u32>,
    /// The metrics that were asked for, in their unit; head speed always.
    pub values: BTreeMap<String, Option<f64>>,
}

/// A swing with everything about it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Kept {
    /// As in a list.
    #[serde(flatten)]
    pub line: SwingLine,
    /// Notes on it.
    pub notes: Vec<Note>,
    /// The newest report.
    pub report: Report,
    /// Versions of the program that measured it, newest first.
    pub analyses: Vec<String>,
}

/// Derived signals of a swing over time.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Curves {
    /// Swing id.
    pub swing: String,
    /// `right` or `left`.
    pub handed: String,
    /// Samples a second.
    pub rate_hz: f64,
    /// Time of the first sample, seconds before impact are negative.
    pub start_s: f64,
    /// Events, seconds from impact.
    pub events: BTreeMap<String, f64>,
    /// The signals.
    pub signals: Vec<Signal>,
}

/// One signal over time.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Signal {
    /// Identifier (`pelvis_rotation`).
    pub id: String,
    /// Unit of the values.
    pub unit: String,
    /// What a positive value means.
    pub sign: String,
    /// One a sample; `null` where not measured.
    pub values: Vec<Option<f32>>,
}

/// Two swings or blocks side by side.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Comparison {
    /// What was compared: `swings` or `blocks`.
    pub of: String,
    /// The first one's identifier.
    pub a: String,
    /// The second one's identifier.
    pub b: String,
    /// Real differences first, then by size against what can be told apart.
    pub rows: Vec<Compared>,
    /// How many were looked at, and how often chance alone makes one look real.
    pub words: String,
}

/// One metric of two swings or blocks.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Compared {
    /// Identifier of the metric.
    pub metric: String,
    /// Unit of every value here.
    pub unit: String,
    /// Value or median of the first.
    pub a: f64,
    /// Value or median of the second.
    pub b: f64,
    /// Second minus first.
    pub difference: f64,
    /// Its interval, where known.
    pub low: Option<f64>,
    /// Its interval, where known.
    pub high: Option<f64>,
    /// Whether it is more than noise of the rig (swings) or scatter (blocks), looked at together with all
    /// others: an interval may exclude 0 by itself without that.
    pub real: bool,
}

/// One metric over months.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Trend {
    /// Identifier of the metric.
    pub metric: String,
    /// Unit of every value here.
    pub unit: String,
    /// One a block, oldest first.
    pub points: Vec<TrendPoint>,
    /// Change a month over the blocks, where there are enough.
    pub slope_a_month: Option<f64>,
    /// Its interval.
    pub low: Option<f64>,
    /// Its interval.
    pub high: Option<f64>,
    /// As a plain sentence.
    pub words: String,
}

/// One block of a trend.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct TrendPoint {
    /// The block.
    pub block: i64,
    /// Its purpose.
    pub purpose: String,
    /// When it began.
    pub began_utc_ns: u64,
    /// Shots that were measured.
    pub shots: u32,
    /// Median.
    pub median: f64,
    /// Quartiles.
    pub low: f64,
    /// Quartiles.
    pub high: f64,
}

/// Mean and scatter of a block's curves over the phases address to top, top to impact, impact to finish.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Ribbons {
    /// The block.
    pub block: i64,
    /// Places of each phase, both ends included.
    pub places: u32,
    /// The signals.
    pub signals: Vec<Ribbon>,
}

/// One signal over a block.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Ribbon {
    /// Identifier.
    pub id: String,
    /// Unit of the values.
    pub unit: String,
    /// Shots that it is made of.
    pub shots: u32,
    /// Mean, phase after phase; `null` where not known.
    pub mean: Vec<Option<f32>>,
    /// Standard deviation.
    pub sd: Vec<Option<f32>>,
}

/// What moved together with head speed from shot to shot, with one club. Association, never cause.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Together {
    /// Found ones first.
    pub rows: Vec<Moved>,
    /// What it means and what not.
    pub words: String,
}

/// A metric beside head speed.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Moved {
    /// Identifier of the metric.
    pub metric: String,
    /// Unit of the metric.
    pub unit: String,
    /// Meters a second for each unit of the metric.
    pub slope: f64,
    /// Its interval.
    pub low: f64,
    /// Its interval.
    pub high: f64,
    /// Shots that show both.
    pub shots: u32,
    /// Whether it is more than chance, many metrics having been looked at.
    pub found: bool,
}

/// Golfers of the archive who agreed to it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Cohort {
    /// Golfers in it.
    pub golfers: u32,
    /// One entry a metric that at least twenty of them show.
    pub bands: Vec<CohortBand>,
    /// What it is and what not.
    pub words: String,
}

/// What golfers do in one metric.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct CohortBand {
    /// Identifier of the metric.
    pub metric: String,
    /// Unit of the values.
    pub unit: String,
    /// Lower percentile, then its interval.
    pub low: [f64; 3],
    /// Median, then its interval.
    pub middle: [f64; 3],
    /// Upper percentile, then its interval.
    pub high: [f64; 3],
    /// Golfers who show it.
    pub golfers: u32,
    /// The student's median less the golfers', then its interval, where a student was named.
    pub student: Option<[f64; 3]>,
}

/// What separates two groups of golfers of the archive who agreed to it. Association, never cause.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Separates {
    /// Golfers of group A, then of group B; who is in both is in neither.
    pub golfers: [u32; 2],
    /// The widest apart first; empty where either group has fewer than twenty golfers.
    pub rows: Vec<Separated>,
    /// What it means and what not; which group is too small.
    pub words: String,
}

/// How far a metric separates two groups; each golfer counts once, by the median of the swings.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Separated {
    /// Identifier of the metric.
    pub metric: String,
    /// Unit of the medians.
    pub unit: String,
    /// Median of group A, then of group B.
    pub medians: [f64; 2],
    /// Golfers of group A, then of group B, who show it.
    pub golfers: [u32; 2],
    /// Cliff's delta: how much more often a golfer of B has the larger value than one of A, from -1 (never) over
    /// 0 (as often) to 1 (always).
    pub delta: f64,
    /// Its interval at 95 %.
    pub low: f64,
    /// Its interval at 95 %.
    pub high: f64,
    /// p-value adjusted for all metrics that were looked at (false-discovery rate).
    pub q: f64,
    /// Whether it is more than chance, at a false-discovery rate of 5 %.
    pub found: bool,
}

/// With what the next lesson opens.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct CarryOver {
    /// The last lesson, if there was one.
    pub last: Option<crate::lesson::Summary>,
    /// Metrics in focus then, with the club.
    pub focus: Vec<String>,
    /// What stayed of the changes, where today has shots.
    pub stayed: Vec<Stayed>,
}

/// What stayed of a change.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Stayed {
    /// Identifier of the metric.
    pub metric: String,
    /// Its unit.
    pub unit: String,
    /// Share of the change that is there today: 1 all of it.
    pub share: f64,
    /// Its interval.
    pub low: f64,
    /// Its interval.
    pub high: f64,
    /// Standard deviation of what another day does by itself, in the metric's unit, where there are enough
    /// lessons; then it is in the interval.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub another_day: Option<f64>,
    /// As a plain sentence.
    pub words: String,
}

/// A block looked at afterwards.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct BlockPage {
    /// The block.
    pub block: Block,
    /// Metrics in focus with the club today, with all marks, and head speed as the last.
    pub focus: Vec<crate::lesson::Focus>,
    /// Leaks.
    pub leaks: Vec<crate::lesson::Leak>,
    /// Rotation.
    pub budget: Vec<crate::lesson::Budget>,
    /// The shot that stands for it.
    pub shot: Option<String>,
    /// Said with every suggestion.
    pub cautions: Vec<String>,
}
