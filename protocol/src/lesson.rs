//! What the coach's side says and is told: who stands in the bay, blocks, focus and bands, verdicts, leaks,
//! and what is entered about shots and students. One [`Lesson`] holds all that a screen needs to draw a
//! lesson; it is sent whole whenever something in it changed. How anything of it is found is not here.
//!
//! Values are in the unit beside them, the same as in reports. Dates are nanoseconds since 1970 in UTC.

mod entry;
mod told;
mod verdict;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

pub use entry::{
    About, Agreed, Ask, Ball, BandTold, Cue, Effort, Entry, Limit, Note, Said, Seated, Threshold,
};
pub use told::{
    Begun, Calibrated, Calibration, Calibrations, ClubLength, Move, Moved, NewCalibration,
    ThresholdLine, Thresholds,
};
pub use verdict::{Budget, Change, Evidence, Leak, Slope, Suggestion, Summary, Verdict};

/// The lesson of a bay at this moment.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Lesson {
    /// Bay id.
    pub bay: String,
    /// What the screen says about recording.
    pub recording: String,
    /// Who stands in the bay; nobody: shots are measured and shown, nothing is kept.
    pub seat: Option<Seat>,
    /// The student's seat that waits while a guest swings or the coach shows something: the lesson goes on
    /// in the same block with mode `back`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub waiting: Option<Seat>,
    /// The calibration that the shots are measured with; absent: from each swing's address.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub calibration: Option<Calibration>,
    /// The club in hand is measured clearly longer or shorter than the chosen one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub club_length: Option<ClubLength>,
    /// The block that shots fall into now.
    pub block: Option<Block>,
    /// The blocks of this lesson, oldest first.
    pub blocks: Vec<Block>,
    /// Whether judgements are shown in the bay: not in a check block.
    pub feedback: bool,
    /// What the bay shows large, one to three metrics.
    pub focus: Vec<Focus>,
    /// Club head speed, which every bay shows.
    pub speed: Option<Focus>,
    /// Shots of the block, newest first, at most 60.
    pub shots: Vec<Shot>,
    /// Leaks of the block, in the order in which they matter; those with `shown` are put to the student.
    pub leaks: Vec<Leak>,
    /// Rotation over the block: pelvis, thorax, shoulders, where measured.
    pub budget: Vec<Budget>,
    /// What the student is to be spared, in words.
    pub limits: Vec<String>,
    /// Swings at full effort.
    pub load: Load,
    /// One plain sentence about the last shot.
    pub sentence: Option<String>,
    /// Shown wherever a movement is suggested.
    pub cautions: Vec<String>,
}

/// Who stands in the bay.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Seat {
    /// `student`, `guest` or `coach`; of the last two nothing is kept.
    pub mode: String,
    /// The lesson that is kept.
    pub session: Option<String>,
    /// The student.
    pub student: Option<Student>,
    /// The club in hand.
    pub club: Option<Club>,
    /// Since when, nanoseconds since 1970 in UTC.
    pub since_utc_ns: u64,
}

/// A student.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Student {
    /// Pseudonym; not read when a student is added.
    #[serde(default)]
    pub id: String,
    /// Name as people say it.
    pub name: String,
    /// `right` or `left`.
    #[serde(default)]
    pub side: Option<String>,
    /// `female` or `male`, for segment masses only.
    #[serde(default)]
    pub sex: Option<String>,
    /// Meters.
    #[serde(default)]
    pub height_m: Option<f64>,
    /// Kilograms, for loads against body weight and segment masses.
    #[serde(default)]
    pub mass_kg: Option<f64>,
    /// Year of birth.
    pub born: i64,
}

/// A student to be added, with what was consented to.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct NewStudent {
    /// The student.
    #[serde(flatten)]
    pub student: Student,
    /// `lesson`, `research`, `publication`; nothing is recorded without `lesson`.
    #[serde(default)]
    pub consents: Vec<String>,
    /// Who consented for a minor.
    #[serde(default)]
    pub guardian: Option<String>,
}

/// A student with what is on file.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct OnFile {
    /// The student.
    #[serde(flatten)]
    pub student: Student,
    /// Whether below the age at which one consents alone.
    pub minor: bool,
    /// What was consented to.
    pub consents: Vec<Consent>,
    /// The student's clubs.
    pub clubs: Vec<Club>,
    /// What the student is to be spared, in words.
    pub limits: Vec<String>,
    /// Lessons on file.
    pub lessons: u64,
    /// When the last one began.
    pub last_utc_ns: Option<u64>,
}

/// A consent.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Consent {
    /// `lesson`, `research` or `publication`.
    pub scope: String,
    /// Who consented for a minor.
    #[serde(default)]
    pub guardian: Option<String>,
    /// When; not read when a consent is added.
    #[serde(default)]
    pub given_utc_ns: u64,
    /// When it was withdrawn; from then on it does not count. Not read when a consent is added.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub withdrawn_utc_ns: Option<u64>,
}

/// A club of a student.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Club {
    /// Identifier; not read when a club is added.
    #[serde(default)]
    pub id: String,
    /// `driver`, `5-wood`, `7-iron`.
    pub name: String,
    /// Butt to the sole along the shaft, meters.
    #[serde(default)]
    pub length_m: Option<f64>,
    /// Kilograms.
    #[serde(default)]
    pub mass_kg: Option<f64>,
    /// Butt end to the balance point, meters.
    #[serde(default)]
    pub balance_m: Option<f64>,
    /// Moment of inertia across the shaft about the balance point, kg m².
    #[serde(default)]
    pub inertia_kg_m2: Option<f64>,
    /// Degrees.
    #[serde(default)]
    pub loft_deg: Option<f64>,
    /// Degrees.
    #[serde(default)]
    pub lie_deg: Option<f64>,
}

/// Who is to stand in the bay.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct NewSeat {
    /// `student`, `guest`, `coach`, `nobody`, or `back`: the student whose lesson waits.
    pub mode: String,
    /// The student's identifier, for `student`.
    #[serde(default)]
    pub student: Option<String>,
    /// The club's identifier. Changing it goes on in the same lesson.
    #[serde(default)]
    pub club: Option<String>,
}

/// Consecutive shots with one purpose and one club.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Block {
    /// Identifier.
    pub id: i64,
    /// Its lesson.
    pub session: String,
    /// 1 for the first block of a lesson.
    pub number: u32,
    /// `baseline`, `practice` or `check`.
    pub purpose: String,
    /// The club's identifier.
    pub club: Option<String>,
    /// When it began.
    pub began_utc_ns: u64,
    /// When it ended; absent while it goes on.
    pub ended_utc_ns: Option<u64>,
    /// Shots after which a check is judged for good; set before the first one.
    pub planned: u32,
    /// Shots in it that count.
    pub shots: u32,
}

impl Block {
    /// Whether it goes on. At most one of a lesson does, and it need not be the newest: see
    /// [`Block::is_aside`].
    #[must_use]
    pub const fn runs(&self) -> bool {
        self.ended_utc_ns.is_none()
    }

    /// Whether it has no time of its own: made for shots that are moved into it, beside whatever runs.
    #[must_use]
    pub fn is_aside(&self) -> bool {
        self.ended_utc_ns == Some(self.began_utc_ns)
    }
}

/// A block to begin; the one before ends.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct NewBlock {
    /// `baseline`, `practice` or `check`.
    pub purpose: String,
    /// Shots after which a check is judged for good; 10 when not told.
    #[serde(default)]
    pub planned: Option<u32>,
}

/// A metric that the bay shows large.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Focus {
    /// Identifier of the metric.
    pub metric: String,
    /// Unit of every value here.
    pub unit: String,
    /// Its band, if there is one.
    pub band: Option<Band>,
    /// Shots of the block, newest first, at most six.
    pub marks: Vec<Mark>,
    /// Which live number of the bay belongs to it: `pelvis_shift`, `pelvis_rotation`.
    pub live: Option<String>,
    /// Why no band, judgement or tone is shown: the student's limits, in words.
    pub spared: Option<String>,
    /// This block against the baseline.
    pub change: Option<Change>,
}

/// Target range of one metric for one student and club.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Band {
    /// Identifier of the metric.
    pub metric: String,
    /// Unit of the edges.
    pub unit: String,
    /// Lower edge, if there is one.
    pub low: Option<f64>,
    /// What is aimed at.
    pub aim: Option<f64>,
    /// Upper edge, if there is one.
    pub high: Option<f64>,
    /// `default`, `cohort` or `coach`.
    pub from: String,
    /// Where the numbers come from, in words.
    pub source: String,
    /// When it was set; absent for a default.
    pub since_utc_ns: Option<u64>,
    /// Who set it.
    pub who: Option<String>,
    /// Why it judges less than it seems to (narrower than what can be told apart).
    pub warning: Option<String>,
}

/// One shot's value against a band.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Mark {
    /// Swing id.
    pub swing: String,
    /// The value; absent when not measured.
    pub value: Option<f64>,
    /// Its standard uncertainty, where known.
    pub standard: Option<f64>,
    /// `in`, `low`, `high`, `not_judged`; absent without a band.
    pub verdict: Option<String>,
    /// Why there is no value or no judgement.
    pub reason: Option<String>,
}

/// A shot of the block.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Shot {
    /// Swing id.
    pub swing: String,
    /// `shot`, `swing`, …
    pub kind: String,
    /// `right` or `left`.
    pub handed: String,
    /// Impact.
    pub impact_utc_ns: u64,
    /// Why it does not count, if it does not.
    pub excluded: Option<String>,
    /// As entered.
    pub effort: Option<Effort>,
    /// Pain as entered, in words.
    pub pain: Option<String>,
    /// Fatigue as entered, in words.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub fatigue: Option<String>,
    /// Number of the calibration that it was measured with; absent: from its address.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub calibration: Option<u32>,
    /// Tags.
    pub tags: Vec<String>,
    /// Notes on it.
    pub notes: u32,
    /// Values of the focus metrics, in their order, and of head speed as the last.
    pub marks: Vec<Mark>,
}

/// Swings at full effort against the coach's limit.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Load {
    /// Swings of this lesson that count as full.
    pub full: u32,
    /// What the coach set, or what goes for this age.
    pub limit: Option<u32>,
    /// What to do about it, in words.
    pub advice: Option<String>,
    /// Seconds of rest that are still due.
    pub rest_s: Option<u32>,
    /// Whether pain was told, and not yet that it is over: no movement is suggested then.
    #[serde(default)]
    pub pain: bool,
}
