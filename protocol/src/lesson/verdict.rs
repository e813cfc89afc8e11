//! What is found in a block: whether a change is real, leaks with their evidence, the rotation budget, and the
//! summary that a student takes home.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Whether a change is real.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Verdict {
    /// Real, and in the wanted direction.
    RealGain,
    /// Real, and against it.
    RealLoss,
    /// Real; no direction is wanted.
    RealChange,
    /// Not shown yet.
    NotShownYet,
    /// Not judged, `words` say why.
    NotJudged,
}

/// One metric of two blocks.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Change {
    /// Identifier of the metric.
    pub metric: String,
    /// Unit of every value here.
    pub unit: String,
    /// The block before.
    pub before: i64,
    /// The block after.
    pub after: i64,
    /// Shots of both that were measured.
    pub shots: [u32; 2],
    /// After minus before.
    pub shift: Option<f64>,
    /// Its interval.
    pub low: Option<f64>,
    /// Its interval.
    pub high: Option<f64>,
    /// The smallest change that could be told from scatter with so many shots.
    pub detectable: Option<f64>,
    /// Whether it is real.
    pub verdict: Verdict,
    /// How many more shots would show a change of the size that matters.
    pub more_shots: Option<u32>,
    /// All of it as a plain sentence, with what its error rate refers to.
    pub words: String,
}

/// A movement pattern that costs this golfer club head speed, with its evidence.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Leak {
    /// Stable identifier.
    pub id: String,
    /// Its name.
    pub name: String,
    /// `present`, `absent`, `not_judged`, `off` (waits for the coach's thresholds) or `spared` (the
    /// student's limits).
    pub status: String,
    /// Why it is not judged, the limit, or why nothing is suggested though it is there, in words.
    pub why: Option<String>,
    /// What is seen, in one plain sentence; empty where it is not there.
    pub sentence: String,
    /// What coaches expect it to do to speed, in one plain sentence.
    pub speed: String,
    /// Shots of the block that show it beyond their uncertainty …
    pub shots: u32,
    /// … of how many that could be judged.
    pub judged: u32,
    /// `the other way`, `too little`, `too much`.
    pub direction: Option<String>,
    /// How far beyond the edge, in edges' own measure (1: as much as the band is wide or the threshold).
    pub severity: f64,
    /// Whether it is put to the student: at most two are.
    pub shown: bool,
    /// Where the rule comes from, and whether sources disagree.
    pub source: String,
    /// What shows it.
    pub evidence: Vec<Evidence>,
    /// The student's own slope against head speed; shown, does not decide.
    pub slope: Option<Slope>,
    /// A movement to try, always with cautions; none where the student's limits name it, or pain was
    /// told and stands.
    pub suggestion: Option<Suggestion>,
}

/// One metric that shows a leak.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Evidence {
    /// Identifier of the metric.
    pub metric: String,
    /// Unit of the values.
    pub unit: String,
    /// Its median over the shots that show the leak.
    pub value: f64,
    /// The threshold it is compared with.
    pub threshold: Option<f64>,
    /// Event at which it is read, to show the moment.
    pub event: Option<String>,
    /// In words.
    pub words: String,
}

/// A slope against head speed within one club.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Slope {
    /// Identifier of the metric.
    pub metric: String,
    /// Meters a second per unit of the metric.
    pub slope: f64,
    /// Its interval.
    pub low: f64,
    /// Its interval.
    pub high: f64,
    /// What it means and that it is no cause, in words.
    pub words: String,
}

/// A movement to try.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Suggestion {
    /// The words.
    pub text: String,
    /// What is always said with them.
    pub cautions: Vec<String>,
}

/// The rotation budget of a segment over a block.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Budget {
    /// `pelvis`, `thorax` or `shoulders`.
    pub segment: String,
    /// Shots it was measured in.
    pub shots: u32,
    /// Degrees closed at the top, median.
    pub closed: f64,
    /// Degrees open at impact, median.
    pub open: f64,
    /// Degrees from top to impact, median.
    pub range: f64,
    /// Its interval, from six shots on.
    pub range_interval: Option<[f64; 2]>,
    /// Degrees a second, median.
    pub rate: Option<f64>,
    /// The largest rotation at the top that could be matched open at impact, degrees.
    pub top_max: f64,
    /// Closed at the top less open at impact, degrees, median.
    pub excess: f64,
    /// Its interval, from six shots on.
    pub excess_interval: Option<[f64; 2]>,
}

/// What the student takes home.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Summary {
    /// The lesson.
    pub session: String,
    /// The student's name.
    pub student: String,
    /// `right` or `left`.
    pub side: Option<String>,
    /// When it began.
    pub began_utc_ns: u64,
    /// Zone of the bay.
    pub zone: String,
    /// Club in words.
    pub club: Option<String>,
    /// Shots that count, over all blocks.
    pub shots: u32,
    /// What was worked on, and whether it changed.
    pub changes: Vec<Change>,
    /// Two things to keep.
    pub keep: Vec<String>,
    /// What the student is to be spared, in words.
    pub limits: Vec<String>,
    /// Said with every suggestion.
    pub cautions: Vec<String>,
    /// Date of the next lesson, if told.
    pub next: Option<String>,
    /// The shot that stands for the last block.
    pub shot: Option<String>,
}
