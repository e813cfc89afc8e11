//! What is entered by hand: one entry a time, never changed afterwards; undoing is an entry of its own.
//! The newest entry of a key is what holds.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::{Club, Student};

/// What an entry is about.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum About {
    /// A student, by identifier.
    Student(String),
    /// A club, by identifier.
    Club(String),
    /// A lesson, by identifier.
    Session(String),
    /// A block, by identifier.
    Block(i64),
    /// A swing, by identifier.
    Swing(String),
}

/// What is entered. `null` takes back what was entered before.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(tag = "key", content = "value", rename_all = "snake_case")]
pub enum Said {
    /// Of a swing: it does not count, and why.
    Excluded(Option<String>),
    /// Of a swing: how hard it was meant.
    Effort(Option<Effort>),
    /// Of a swing: where the ball met the face, in the coach's words.
    Strike(Option<String>),
    /// Of a swing: where the ball went, in the coach's words.
    Direction(Option<String>),
    /// Of a swing: what another device says of the ball.
    Ball(Option<Ball>),
    /// Of a swing, block or lesson (at the check-in): pain, in words. Advice to stop follows.
    Pain(Option<String>),
    /// Of a swing, block or lesson: fatigue, in words. Advice to swing easily or to end follows.
    Fatigue(Option<String>),
    /// Of a swing: tags.
    Tags(Vec<String>),
    /// Of a swing, block, lesson or student: notes, all of them.
    Notes(Vec<Note>),
    /// Of a swing: the block of its lesson that it belongs to.
    Block(i64),
    /// Of a club: the band of a metric.
    Band(BandTold),
    /// Of a club: what the bay shows large, at most three metrics.
    Focus(Vec<String>),
    /// Of a student: movements to be spared (`rotation`, `knee`, `back`, `junior`, …) with a reason.
    Limits(Vec<Limit>),
    /// Of a student: full-effort swings a lesson, at most.
    FullEffortMax(Option<u32>),
    /// Of a student: a threshold of a leak in the coach's number.
    Threshold(Threshold),
    /// Of a student: the coach's own words for a leak.
    Cue(Cue),
    /// Of a lesson: warmed up, and without pain.
    CheckedIn(Option<String>),
    /// Of a lesson: footwear and surface.
    Footing(Option<String>),
    /// Of a lesson: what to keep, at most two, for the summary.
    Keep(Vec<String>),
    /// Of a lesson: when the next one is, as a date (`2026-12-03`).
    Next(Option<String>),
    /// Of a student: the calibration that goes from the next shot on, by its number; absent: none.
    Calibration(Option<u32>),
    /// Of a student, made with the verb: what is told. The first one is not taken back: a student is erased.
    Student(Student),
    /// Of a club, made with the verb: what is told. The first one taken back: there is no such club.
    Club(Club),
    /// Of a student, made with the verb: a consent was given or withdrawn.
    Consent(Agreed),
    /// Of a lesson, made with the verb: who stands in the bay while it runs.
    Seat(Seated),
    /// Of a block, made with the verb: it began; `false`: aside, without any time of its own, for shots that
    /// are moved into it. Taken back: there is no such block, and its shots belong to the one before.
    Begun(bool),
    /// Of a block, made with the verb: it was ended, nanoseconds since 1970 in UTC.
    Ended(Option<u64>),
    /// Of a swing, made with the verb: the lesson that it was moved to.
    Moved(String),
}

/// A consent as it was entered.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Agreed {
    /// `lesson`, `research` or `publication`.
    pub scope: String,
    /// Given, or withdrawn.
    pub given: bool,
    /// Who agreed for a minor.
    #[serde(default)]
    pub guardian: Option<String>,
}

/// Who stands in the bay while a lesson runs.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Seated {
    /// `student`; `guest` or `coach`, while the lesson waits; `nobody`: it has ended.
    pub mode: String,
    /// The club's identifier.
    #[serde(default)]
    pub club: Option<String>,
}

/// How hard a shot was meant.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Effort {
    /// Below the usual.
    Easy,
    /// The usual.
    Normal,
    /// As fast as possible.
    Maximal,
}

/// Ball data from any source; whatever is not known is absent.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Ball {
    /// Meters a second.
    #[serde(default)]
    pub speed_m_s: Option<f64>,
    /// Degrees above the horizon.
    #[serde(default)]
    pub launch_deg: Option<f64>,
    /// Degrees, positive to the right of the target line.
    #[serde(default)]
    pub direction_deg: Option<f64>,
    /// Meters through the air.
    #[serde(default)]
    pub carry_m: Option<f64>,
    /// Where the numbers come from.
    #[serde(default)]
    pub source: Option<String>,
}

/// A note, on an event or an instant of a curve where told.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Note {
    /// The words.
    pub text: String,
    /// Event (`top`) or metric that it stands at.
    #[serde(default)]
    pub at: Option<String>,
    /// Seconds since takeaway start, where it stands on a curve.
    #[serde(default)]
    pub time_s: Option<f64>,
}

/// A band as the coach sets it, in the metric's unit. Without any edge: none, not even the default.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct BandTold {
    /// Identifier of the metric.
    pub metric: String,
    /// Lower edge.
    #[serde(default)]
    pub low: Option<f64>,
    /// What is aimed at.
    #[serde(default)]
    pub aim: Option<f64>,
    /// Upper edge.
    #[serde(default)]
    pub high: Option<f64>,
    /// Where the numbers come from, if from a cohort: its description.
    #[serde(default)]
    pub cohort: Option<String>,
    /// The default again; edges are not read then.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub default: bool,
}

/// A movement to be spared.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Limit {
    /// Which, of the closed list.
    pub movement: String,
    /// Who says so, in words (“physiotherapist's advice”).
    #[serde(default)]
    pub reason: Option<String>,
}

/// A threshold of a leak, in the unit that the list of thresholds gives.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Threshold {
    /// The leak's identifier; `every` for the one that all share.
    pub leak: String,
    /// The threshold's name.
    pub name: String,
    /// Its number; `null`: the default again.
    pub value: Option<f64>,
}

/// The coach's own words for a leak.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Cue {
    /// The leak's identifier.
    pub leak: String,
    /// The words; `null`: ours again.
    pub text: Option<String>,
}

/// An entry to be made.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Ask {
    /// What it is about.
    pub about: About,
    /// What is entered.
    #[serde(flatten)]
    pub said: Said,
    /// Who enters it; `coach` when not told.
    #[serde(default)]
    pub who: Option<String>,
}

/// An entry that was made.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Entry {
    /// Its number, by which it is undone.
    pub n: i64,
    /// When.
    pub at_utc_ns: u64,
    /// By whom.
    pub who: String,
    /// The student it belongs to.
    pub student: String,
    /// What it is about.
    pub about: About,
    /// The key under which it holds.
    pub key: String,
    /// What was entered; `null` in an entry that takes back the first of its key.
    pub said: Option<Said>,
    /// The entry that it took back.
    pub undoes: Option<i64>,
}

impl Said {
    /// The key under which it holds: entries of the same key follow each other.
    #[must_use]
    pub fn key(&self) -> String {
        let plain = match self {
            Self::Band(band) => return format!("band:{}", band.metric),
            Self::Threshold(t) => return format!("threshold:{}:{}", t.leak, t.name),
            Self::Cue(cue) => return format!("cue:{}", cue.leak),
            Self::Consent(agreed) => return format!("consent:{}", agreed.scope),
            Self::Excluded(_) => "excluded",
            Self::Effort(_) => "effort",
            Self::Strike(_) => "strike",
            Self::Direction(_) => "direction",
            Self::Ball(_) => "ball",
            Self::Pain(_) => "pain",
            Self::Tags(_) => "tags",
            Self::Notes(_) => "notes",
            Self::Block(_) => "block",
            Self::Focus(_) => "focus",
            Self::Limits(_) => "limits",
            Self::FullEffortMax(_) => "full_effort_max",
            Self::CheckedIn(_) => "checked_in",
            Self::Footing(_) => "footing",
            Self::Keep(_) => "keep",
            Self::Next(_) => "next",
            Self::Fatigue(_) => "fatigue",
            Self::Calibration(_) => "calibration",
            Self::Student(_) => "student",
            Self::Club(_) => "club",
            Self::Seat(_) => "seat",
            Self::Begun(_) => "begun",
            Self::Ended(_) => "ended",
            Self::Moved(_) => "moved",
        };
        plain.to_owned()
    }

    /// Whether it can be said of such a thing.
    #[must_use]
    pub fn fits(&self, about: &About) -> bool {
        match self {
            Self::Excluded(_)
            | Self::Effort(_)
            | Self::Strike(_)
            | Self::Direction(_)
            | Self::Ball(_)
            | Self::Tags(_)
            | Self::Block(_)
            | Self::Moved(_) => matches!(about, About::Swing(_)),
            Self::Pain(_) | Self::Fatigue(_) => {
                matches!(about, About::Swing(_) | About::Block(_) | About::Session(_))
            }
            Self::Notes(_) => !matches!(about, About::Club(_)),
            Self::Band(_) | Self::Focus(_) | Self::Club(_) => matches!(about, About::Club(_)),
            Self::Limits(_)
            | Self::FullEffortMax(_)
            | Self::Threshold(_)
            | Self::Cue(_)
            | Self::Calibration(_)
            | Self::Student(_)
            | Self::Consent(_) => matches!(about, About::Student(_)),
            Self::CheckedIn(_)
            | Self::Footing(_)
            | Self::Keep(_)
            | Self::Next(_)
            | Self::Seat(_) => matches!(about, About::Session(_)),
            Self::Begun(_) | Self::Ended(_) => matches!(about, About::Block(_)),
        }
    }

    /// Whether it can be entered as such; what a verb enters beside what it does cannot.
    #[must_use]
    pub fn is_entered_by_hand(&self) -> bool {
        !matches!(
            self,
            Self::Student(_)
                | Self::Club(_)
                | Self::Consent(_)
                | Self::Seat(_)
                | Self::Begun(_)
                | Self::Ended(_)
                | Self::Moved(_)
        )
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_entry_is_one_flat_object_and_comes_back() {
        let ask: Ask = serde_json::from_str(
            r#"{"about": {"swing": "north-1"}, "key": "excluded", "value": "the phone rang"}"#,
        )
        .unwrap();
        assert_eq!(ask.about, About::Swing("north-1".into()));
        assert_eq!(ask.said, Said::Excluded(Some("the phone rang".into())));
        let entry = Entry {
            n: 7,
            at_utc_ns: 1,
            who: "coach".into(),
            student: "s-1".into(),
            about: ask.about,
            key: ask.said.key(),
            said: Some(ask.said),
            undoes: None,
        };
        let text = serde_json::to_string(&entry).unwrap();
        assert_eq!(serde_json::from_str::<Entry>(&text).unwrap(), entry);
    }

    #[test]
    fn bands_of_two_metrics_are_two_keys_and_belong_to_a_club() {
        let band = |metric: &str| {
            Said::Band(BandTold {
                metric: metric.into(),
                low: None,
                aim: None,
                high: Some(1.0),
                cohort: None,
                default: false,
            })
        };
        assert_ne!(band("a").key(), band("b").key());
        assert!(band("a").fits(&About::Club("c".into())));
        assert!(!band("a").fits(&About::Swing("s".into())));
    }
}
