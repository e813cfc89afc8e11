//! The synthetic golfer: swings whose truth is known because they were made, not measured.
//!
//! ```text
//! seed ─▶ person ─▶ golfer ─▶ plan ─▶ motion ─▶ capture ─▶ frames with noise and gaps
//!        lengths,   postures  speeds  curves      │
//!        habits                                    └─▶ truth ─▶ events and metrics
//! ```
//!
//! It is the judge of the rest of this crate and therefore shares no frame, filter or metric code
//! with it: truth comes from the generating parameters, or from the noise-free motion by root
//! finding of its own. Joint centers lie under the skin by a population model of its own
//! (`anatomy`), and the same person can stand for a calibration trial (`calibration`). He weighs
//! something (`mass`), moves so that the ground can hold him (`sway`), and what the ground gives
//! (`ground`) is exactly what the motion takes (`momentum`): `plates` samples it. What is not here:
//! flexible shafts, muscles, the ball's blow on the ground; the golfer is a kinematic chain that looks
//! and is timed like one. `lesson` strings his swings, and all that is none, to hours with labels.

mod anatomy;
mod body;
mod calibration;
mod capture;
mod club;
mod curve;
mod golfer;
mod ground;
mod lesson;
mod mass;
mod momentum;
mod motion;
mod noise;
mod person;
mod plan;
mod plates;
mod posture;
mod skin;
mod solve;
mod sway;
#[cfg(test)]
mod tests;
mod truth;

pub use calibration::{CalibrationTake, CalibrationTruth, calibration_trial};
pub use capture::{CaptureParams, Take, swing};
pub use club::Club;
pub use lesson::{Kind, Label, Lesson, LessonFrame, LessonParams, PlatePlace, PlateSample};
pub use mass::{ClubMass, Facts};
pub use person::Style;
pub use plates::{PlateClock, PlateFault, PlateParams, PlateTake, PlateView};
pub use truth::{Joints, Truth};

use crate::handed::Handed;
use noise::{Purpose, Source};

/// How the ball is met.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Ball {
    /// In the middle of the face.
    Centered,
    /// 14–20 mm toward heel or toe: less speed is lost and the face twists a little.
    OffCenter,
    /// In the middle, but the ball is of foam, or only grazed: hardly any speed is lost.
    Soft,
    /// Not at all: the head passes over or inside the ball and loses nothing.
    Missed,
}

/// Way of the center of pressure in the downswing; neither is a fault (Ball & Best 2007, J Sports Sci
/// 25:757).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Pressure {
    /// Onto the lead foot and on.
    FrontFoot,
    /// Onto the lead foot and back toward the middle before impact.
    Reverse,
}

/// Who swings what, and how.
#[derive(Debug, Clone)]
pub struct GolferParams {
    /// The person: lengths, address and habits are drawn from it.
    pub seed: u64,
    /// Which of this person's shots: its small deviations are drawn from it. Shots with the same
    /// seed, style and club share their address, so that they play one after another without a
    /// jump.
    pub shot: u64,
    /// Movement pattern.
    pub style: Style,
    /// How much of it, 0 (nothing) to 1 (a clear case).
    pub degree: f64,
    /// A second pattern with its degree.
    pub also: Option<(Style, f64)>,
    /// Way of the center of pressure in the downswing.
    pub pressure: Pressure,
    /// How much shots differ: 1 a practiced golfer, 2 an inconsistent one.
    pub scatter: f64,
    /// Side; a left-handed golfer is the exact mirror image.
    pub handed: Handed,
    /// Club.
    pub club: Club,
    /// Speed of the face's reference point just before impact, m/s; 20 to 55 is sensible.
    pub head_speed_mps: f64,
    /// How the ball is met.
    pub ball: Ball,
}

impl GolferParams {
    /// A balanced right-handed golfer's first shot, ball centered; club and head speed are drawn
    /// with the person.
    #[must_use]
    pub fn from_seed(seed: u64) -> Self {
        let (club, _) = bag(seed);
        Self {
            seed,
            shot: 0,
            style: Style::Balanced,
            degree: 1.0,
            also: None,
            pressure: Pressure::FrontFoot,
            scatter: 1.0,
            handed: Handed::Right,
            club,
            head_speed_mps: 0.0,
            ball: Ball::Centered,
        }
        .with_club(club)
    }

    /// The same person with another club, at the head speed that he or she gives it.
    #[must_use]
    pub fn with_club(self, club: Club) -> Self {
        let (_, strength) = bag(self.seed);
        Self {
            club,
            head_speed_mps: club.usual_speed() * strength,
            ..self
        }
    }
}

/// A person's favorite club, and head speed ÷ that of the middling practiced golfer.
fn bag(seed: u64) -> (Club, f64) {
    let mut source = Source::new(seed, Purpose::Bag);
    let club = match source.unit() {
        u if u < 1.0 / 3.0 => Club::Driver,
        u if u < 2.0 / 3.0 => Club::FiveWood,
        _ => Club::SevenIron,
    };
    (club, source.around(1.0, 0.08))
}
