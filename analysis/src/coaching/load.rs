//! How much a student has swung: effort of a shot, full-effort swings against a limit, rests, and what pain
//! or fatigue mean for the lesson. Every number here is common practice without a source; the coach sets
//! his own. Seconds are of any clock that runs evenly.

use super::limits::{Age, Limits};

/// How hard a swing was meant.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Default)]
pub enum Effort {
    /// Held back: slow swings, half swings, rehearsals.
    Easy,
    /// As on the course.
    #[default]
    Normal,
    /// With all one has.
    Maximal,
}

impl Effort {
    /// Every effort.
    pub const ALL: [Self; 3] = [Self::Easy, Self::Normal, Self::Maximal];

    /// Stable name for storage.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Easy => "easy",
            Self::Normal => "normal",
            Self::Maximal => "maximal",
        }
    }

    /// The effort with this [`name`](Self::name).
    #[must_use]
    pub fn from_name(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|e| e.name() == name)
    }
}

/// What a student feels.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Flag {
    /// Pain.
    Pain,
    /// Fatigue.
    Fatigue,
}

/// One swing as the load counts it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stroke {
    /// When, seconds.
    pub time_s: f64,
    /// As told by one tap; `None`: not told.
    pub effort: Option<Effort>,
    /// Head speed at impact, m/s, where measured.
    pub head_speed: Option<f64>,
}

/// Head speed against the usual one from which an untold swing counts as one with full effort: beyond twice
/// the scatter of shots as usual (1–2 %, REFERENCES C).
const FULL_SPEED: f64 = 1.04;

impl Stroke {
    /// Whether it counts as a full-effort swing: told so, or not told and clearly faster than this golfer's
    /// usual head speed with the club, m/s.
    #[must_use]
    pub fn is_full(&self, usual: Option<f64>) -> bool {
        match self.effort {
            Some(effort) => effort == Effort::Maximal,
            None => self
                .head_speed
                .zip(usual)
                .is_some_and(|(speed, usual)| speed > FULL_SPEED * usual),
        }
    }
}

/// What the coach allows; all of it editable.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Allowed {
    /// Full-effort swings in one lesson.
    pub full_swings: usize,
    /// Full-effort swings in a row before a rest.
    pub in_a_row: usize,
    /// Length of that rest, seconds.
    pub rest_s: f64,
}

impl Allowed {
    /// The default for a student: lower for juniors, seniors and who returns from an injury, none where a
    /// limit names full effort.
    #[must_use]
    pub fn default_for(limits: &Limits) -> Self {
        let of = |full_swings, in_a_row, rest_s| Self {
            full_swings,
            in_a_row,
            rest_s,
        };
        let named = limits.on_areas(&[super::limits::Area::MaximalEffort]);
        match limits.age {
            _ if named.is_some() => of(0, 1, 120.0),
            _ if limits.returning => of(10, 3, 120.0),
            Age::Adult => of(40, 5, 90.0),
            Age::Junior | Age::Senior => of(20, 3, 120.0),
        }
    }
}

/// Where a student stands.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Standing {
    /// Go on; so many full-effort swings are left.
    Go {
        /// Full-effort swings left.
        left: usize,
    },
    /// Rest for so long, seconds.
    Rest {
        /// Seconds left.
        seconds: f64,
    },
    /// No more full-effort swings in this lesson.
    Enough,
    /// Easy swings only, or the end: fatigue was told.
    Tired,
    /// Stop: pain was told.
    Stop,
}

impl Standing {
    /// As the screen says it.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Go { .. } => "go on",
            Self::Rest { .. } => "rest before the next swing with full effort",
            Self::Enough => "no more swings with full effort in this lesson",
            Self::Tired => "fatigue was told: easy swings only, or end here",
            Self::Stop => {
                "pain was told: stop, and see a licensed clinician before you go on (not medical advice)"
            }
        }
    }
}

/// Full-effort swings among these; `usual` as in [`Stroke::is_full`].
#[must_use]
pub fn full_swings(strokes: &[Stroke], usual: Option<f64>) -> usize {
    strokes.iter().filter(|s| s.is_full(usual)).count()
}

/// What holds now, from the lesson's swings in the order of time and what was told. Pain stands above
/// all, until the coach takes the flag back.
#[must_use]
pub fn standing(
    strokes: &[Stroke],
    flags: &[Flag],
    (allowed, usual): (&Allowed, Option<f64>),
    now_s: f64,
) -> Standing {
    if flags.contains(&Flag::Pain) {
        return Standing::Stop;
    }
    if flags.contains(&Flag::Fatigue) {
        return Standing::Tired;
    }
    let left = allowed
        .full_swings
        .saturating_sub(full_swings(strokes, usual));
    if left == 0 {
        return Standing::Enough;
    }
    match rest_left(strokes, (allowed, usual), now_s) {
        Some(seconds) => Standing::Rest { seconds },
        None => Standing::Go { left },
    }
}

/// Rest still due, seconds: after so many full-effort swings with no such rest among them. Easy and normal
/// swings in between are no rest and no full effort.
fn rest_left(
    strokes: &[Stroke],
    (allowed, usual): (&Allowed, Option<f64>),
    now_s: f64,
) -> Option<f64> {
    let full = strokes.iter().filter(|s| s.is_full(usual));
    let times: Vec<f64> = full.map(|s| s.time_s).collect();
    let last = *times.last()?;
    let pairs = times.windows(2).rev();
    let in_a_row = 1 + pairs.take_while(|p| p[1] - p[0] < allowed.rest_s).count();
    let left = last + allowed.rest_s - now_s;
    (in_a_row >= allowed.in_a_row.max(1) && left > 0.0).then_some(left)
}

/// Whether a shot may say something of a change: not with pain or fatigue told, nor held back.
#[must_use]
pub fn counts_for_change(effort: Effort, flag: Option<Flag>) -> bool {
    flag.is_none() && effort != Effort::Easy
}

#[cfg(test)]
mod tests {
    use super::*;

    fn full(time_s: f64) -> Stroke {
        Stroke {
            time_s,
            effort: Some(Effort::Maximal),
            head_speed: None,
        }
    }

    #[test]
    fn full_effort_is_told_or_shows_in_the_speed() {
        let stroke = |effort, head_speed| Stroke {
            time_s: 0.0,
            effort,
            head_speed,
        };
        let fast = |effort| stroke(effort, Some(47.0)).is_full(Some(45.0));
        assert!(fast(None) && fast(Some(Effort::Maximal)));
        assert!(!fast(Some(Effort::Normal)), "what was told counts");
        assert!(!stroke(None, Some(46.0)).is_full(Some(45.0)));
        assert!(!stroke(None, Some(47.0)).is_full(None));
    }

    #[test]
    fn the_young_the_old_and_who_returns_have_less() {
        let of = |age, returning| {
            let limits = Limits {
                age,
                returning,
                ..Limits::default()
            };
            Allowed::default_for(&limits).full_swings
        };
        let adult = of(Age::Adult, false);
        assert!(of(Age::Junior, false) < adult && of(Age::Senior, false) < adult);
        assert!(of(Age::Adult, true) < of(Age::Senior, false));
    }

    #[test]
    fn rests_counts_and_flags_decide_in_their_order() {
        let allowed = Allowed {
            full_swings: 6,
            in_a_row: 3,
            rest_s: 60.0,
        };
        let at = |strokes: &[Stroke], flags: &[Flag], now_s| {
            standing(strokes, flags, (&allowed, None), now_s)
        };
        let three = [full(0.0), full(20.0), full(40.0)];
        assert_eq!(at(&three[..2], &[], 41.0), Standing::Go { left: 4 });
        assert_eq!(at(&three, &[], 50.0), Standing::Rest { seconds: 50.0 });
        assert_eq!(at(&three, &[], 100.0), Standing::Go { left: 3 });
        let rested = [three.as_slice(), &[full(110.0)]].concat();
        assert_eq!(at(&rested, &[], 115.0), Standing::Go { left: 2 });
        let six = [three, [full(200.0), full(300.0), full(400.0)]].concat();
        assert_eq!(at(&six, &[], 900.0), Standing::Enough);
        assert_eq!(at(&three, &[Flag::Fatigue], 50.0), Standing::Tired);
        assert_eq!(at(&six, &[Flag::Fatigue, Flag::Pain], 0.0), Standing::Stop);
        assert!(!counts_for_change(Effort::Normal, Some(Flag::Pain)));
        assert!(!counts_for_change(Effort::Easy, None));
        assert!(counts_for_change(Effort::Maximal, None));
    }
}
