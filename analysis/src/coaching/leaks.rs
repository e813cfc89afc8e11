//! Leaks: movement patterns that coaches link with lost club head speed, each with its evidence, how often
//! it shows in a block and how far it goes. `rules` judges one shot, `thresholds` holds the editable
//! numbers, `words` the sentences; counting over a block and ranking are here.
//!
//! A leak is a pattern, not a cause: nothing here says that mending it gives speed.

mod check;
mod rules;
mod thresholds;
mod words;

pub use check::{Evidence, Outcome};
pub use rules::OfShot;
pub use thresholds::{Key, Threshold, Thresholds};
pub use words::texts;

use super::limits::{Area, Limits};
use super::order::{self, Slope};
use super::shot::{Metric, Shot};
use super::suggestion::{Asks, Suggestion};
use std::cmp::Ordering;

/// Whether one shot shows a leak; `None` where it is not looked for (off, or a limit of the student).
#[must_use]
pub fn in_shot(leak: Leak, shot: &Shot, setup: &Setup<'_>) -> Option<Outcome> {
    let looked_for = setup.limits.on_leak(leak).is_none() && setup.thresholds.on(leak);
    looked_for.then(|| rules::judge(leak, shot, setup).outcome)
}

/// At most so many are put in front of a student.
pub const SHOWN: usize = 2;
/// Fewer measured shots say nothing of a block (own choice).
pub const SHOTS_MIN: usize = 3;

/// A leak of the catalogue of METRICS.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Leak {
    /// The pelvis goes the wrong way first, or not at all.
    WrongWayFirst,
    /// The legs are held still.
    LegsHeldStill,
    /// More rotation than can be brought through.
    NotBroughtThrough,
    /// Standing up.
    StandingUp,
    /// Stretch kept too long.
    StretchKept,
    /// The arms wait.
    ArmsWait,
    /// The trail foot pushes late.
    TrailFootLate,
    /// No counter-movement.
    NoCounterMovement,
}

impl Leak {
    /// Every leak, in the order of METRICS.
    pub const ALL: [Self; 8] = [
        Self::WrongWayFirst,
        Self::LegsHeldStill,
        Self::NotBroughtThrough,
        Self::StandingUp,
        Self::StretchKept,
        Self::ArmsWait,
        Self::TrailFootLate,
        Self::NoCounterMovement,
    ];

    /// Stable name for storage.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::WrongWayFirst => "wrong_way_first",
            Self::LegsHeldStill => "legs_held_still",
            Self::NotBroughtThrough => "not_brought_through",
            Self::StandingUp => "standing_up",
            Self::StretchKept => "stretch_kept",
            Self::ArmsWait => "arms_wait",
            Self::TrailFootLate => "trail_foot_late",
            Self::NoCounterMovement => "no_counter_movement",
        }
    }

    /// The leak with this [`name`](Self::name).
    #[must_use]
    pub fn from_name(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|l| l.name() == name)
    }

    /// Movements that mending it asks for.
    #[must_use]
    pub const fn asks_for(self) -> &'static [Area] {
        match self {
            Self::WrongWayFirst => &[Area::Hips],
            Self::LegsHeldStill => &[Area::LeadKnee, Area::TrailKnee],
            Self::NotBroughtThrough => &[Area::Rotation, Area::Hips, Area::Back],
            Self::StandingUp => &[Area::Back, Area::Hips],
            Self::StretchKept => &[Area::Rotation, Area::Back],
            Self::ArmsWait => &[Area::Shoulders],
            Self::TrailFootLate => &[Area::Pushing, Area::TrailKnee],
            Self::NoCounterMovement => &[Area::Pushing, Area::LeadKnee, Area::TrailKnee],
        }
    }

    /// The numbers that it needs.
    #[must_use]
    pub const fn needs(self) -> &'static [Key] {
        thresholds::needs(self)
    }

    /// Place in the course of a swing, earliest first.
    const fn when(self) -> u8 {
        match self {
            Self::WrongWayFirst => 0,
            Self::LegsHeldStill => 1,
            Self::NoCounterMovement => 2,
            Self::NotBroughtThrough => 3,
            Self::ArmsWait => 4,
            Self::StretchKept => 5,
            Self::TrailFootLate => 6,
            Self::StandingUp => 7,
        }
    }

    /// The metric whose slope against head speed is shown beside it.
    #[must_use]
    pub fn slope_metric(self) -> Option<Metric> {
        Metric::by_id(match self {
            Self::WrongWayFirst => "pelvis_shift@takeaway_end",
            Self::LegsHeldStill => "knee_change.trail@top",
            Self::NotBroughtThrough => "rotation_excess.pelvis",
            Self::StandingUp => "inclination_change@impact",
            Self::StretchKept => "separation_closed_at_impact",
            Self::ArmsWait => "arm_ahead.duration",
            Self::TrailFootLate => "vertical_force_peak_time.trail",
            Self::NoCounterMovement => "unweighting_min",
        })
    }
}

/// How a movement misses.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Direction {
    /// It goes the other way.
    Opposite,
    /// Right way, not far enough.
    TooLittle,
    /// Right way, too far or too long.
    TooMuch,
}

impl Direction {
    /// As a screen says it.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Opposite => "the other way",
            Self::TooLittle => "too little",
            Self::TooMuch => "too much",
        }
    }
}

/// What to look with.
#[derive(Debug, Clone, Copy)]
pub struct Setup<'a> {
    /// The numbers.
    pub thresholds: &'a Thresholds,
    /// The student's limits.
    pub limits: &'a Limits,
    /// Detectable change of single shots (MDC95) of `rotation_excess.pelvis`, rad, where known: below it
    /// an excess is not counted. Where it is not, each shot's own uncertainty stands in.
    pub excess_detectable: Option<f64>,
}

/// What a block says of a leak.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Status {
    /// It shows often enough.
    Present,
    /// It does not.
    Absent,
    /// Neither can be said, and why.
    NotJudged(String),
    /// It is not looked for: the coach has set no thresholds.
    Off,
    /// A limit of the student takes it away; its note.
    Suppressed(String),
}

/// One leak over a block.
#[derive(Debug, Clone, PartialEq)]
pub struct Finding {
    /// Which.
    pub leak: Leak,
    /// What the block says.
    pub status: Status,
    /// How it misses, where shots show it.
    pub direction: Option<Direction>,
    /// Shots that show it beyond the uncertainty.
    pub shows: usize,
    /// Shots in which it could be looked for: measured, whether beyond the uncertainty or not.
    pub of: usize,
    /// Of these, shots that lie closer to the threshold than they are known.
    pub unsure: usize,
    /// Shots that show it by a value whose uncertainty is not known.
    pub bare: usize,
    /// Median over the shots that show it of how far beyond the threshold they are, in widths that make
    /// leaks comparable ([`Key::scale`]).
    pub severity: f64,
    /// Shot by shot.
    pub shots: Vec<OfShot>,
    /// The student's own slope of head speed over [`Leak::slope_metric`] within one club, m/s per unit
    /// (SI, rad), where the caller fills it in: association only, shown beside, it decides nothing.
    pub slope: Option<Slope>,
}

impl Finding {
    /// One plain sentence for the student.
    #[must_use]
    pub fn sentence(&self) -> &'static str {
        words::seen(self.leak, self.direction)
    }

    /// What coaches say it does to speed, in one sentence that claims no cause.
    #[must_use]
    pub const fn about_speed(&self) -> &'static str {
        words::speed(self.leak)
    }

    /// What must be said of its standing, where it is disputed.
    #[must_use]
    pub const fn standing(&self) -> Option<&'static str> {
        words::standing(self.leak)
    }

    /// How often, as a screen says it.
    #[must_use]
    pub fn how_often(&self) -> String {
        format!("{} of {} shots", self.shows, self.of)
    }

    /// Something to try, where the student's limits allow it.
    #[must_use]
    pub fn suggestion(&self, limits: &Limits) -> Option<Suggestion> {
        let asks = Asks {
            areas: self.leak.asks_for(),
            full_effort: false,
        };
        Suggestion::for_student(words::suggestion(self.leak, self.direction), asks, limits)
    }
}

/// Every leak over a block in the order in which to show them: those present by direction (opposite before
/// too much or too little), how often, how far, and earliest in the swing; then the rest as in METRICS.
#[must_use]
pub fn find(shots: &[&Shot], setup: &Setup<'_>) -> Vec<Finding> {
    let mut all: Vec<Finding> = Leak::ALL
        .into_iter()
        .map(|leak| over_block(leak, shots, setup))
        .collect();
    all.sort_by(|a, b| match (&a.status, &b.status) {
        (Status::Present, Status::Present) => rank(a, b),
        (Status::Present, _) => Ordering::Less,
        (_, Status::Present) => Ordering::Greater,
        _ => a.leak.cmp(&b.leak),
    });
    all
}

/// What is put in front of the student: the first two that are present.
#[must_use]
pub fn shown(findings: &[Finding]) -> Vec<&Finding> {
    let present = findings.iter().filter(|f| f.status == Status::Present);
    present.take(SHOWN).collect()
}

fn rank(a: &Finding, b: &Finding) -> Ordering {
    let other_way = |f: &Finding| f.direction != Some(Direction::Opposite);
    // k of n against k of n, without division.
    let often = (b.shows * a.of).cmp(&(a.shows * b.of));
    other_way(a)
        .cmp(&other_way(b))
        .then(often)
        .then(half_steps(b).total_cmp(&half_steps(a)))
        .then(a.leak.when().cmp(&b.leak.when()))
}

/// Severity in half steps: leaks that differ by less count as equally far, and the earlier one is first.
fn half_steps(finding: &Finding) -> f64 {
    (2.0 * finding.severity).round()
}

fn over_block(leak: Leak, shots: &[&Shot], setup: &Setup<'_>) -> Finding {
    let mut finding = Finding {
        leak,
        status: Status::Off,
        direction: None,
        shows: 0,
        of: 0,
        unsure: 0,
        bare: 0,
        severity: 0.0,
        shots: Vec::new(),
        slope: None,
    };
    if let Some(limit) = setup.limits.on_leak(leak) {
        finding.status = Status::Suppressed(limit.note.clone());
        return finding;
    }
    if !setup.thresholds.on(leak) {
        return finding;
    }
    finding.shots = shots
        .iter()
        .map(|shot| rules::judge(leak, shot, setup))
        .collect();
    count(&mut finding, setup.thresholds.often());
    finding
}

fn count(finding: &mut Finding, often: f64) {
    let outcome = |o: Outcome| finding.shots.iter().filter(move |s| s.outcome == o);
    let showing: Vec<&OfShot> = outcome(Outcome::Yes).collect();
    let (shows, unsure) = (showing.len(), outcome(Outcome::Unsure).count());
    let of = shows + unsure + outcome(Outcome::No).count();
    let bare = showing.iter().filter(|s| !s.known).count();
    let beyond: Vec<f64> = showing.iter().map(|s| s.beyond).collect();
    let way = |d: Direction| showing.iter().filter(|s| s.direction == d).count();
    let most = [
        Direction::Opposite,
        Direction::TooLittle,
        Direction::TooMuch,
    ]
    .into_iter()
    // Of equals the first: `max_by_key` would give the last.
    .rev()
    .max_by_key(|d| way(*d));
    let due = often * of as f64;
    let missing = finding.shots.iter().find_map(|s| s.missing.clone());
    let status = if of < SHOTS_MIN {
        Status::NotJudged(missing.unwrap_or_else(|| words::FEW_SHOTS.to_owned()))
    } else if shows as f64 >= due {
        Status::Present
    } else if (shows + unsure) as f64 >= due {
        Status::NotJudged(words::CLOSE.to_owned())
    } else {
        Status::Absent
    };
    finding.direction = most.filter(|_| shows > 0);
    (finding.shows, finding.of) = (shows, of);
    (finding.unsure, finding.bare) = (unsure, bare);
    finding.severity = order::median(&beyond).unwrap_or(0.0);
    finding.status = status;
}

#[cfg(test)]
mod tests;
