//! What is followed through a window and what was found in it: the club's paths (or the hands'), and a
//! swing with its events. Finding it is `phases`' work. Golfer frame.

use std::ops::Range;

use nalgebra::{Point3, Vector3};

use super::event::{Event, Slots};
use super::impact::Impact;
use crate::window::crop;

/// The club of a window without gaps, golfer frame.
#[derive(Debug, Clone)]
pub struct Paths {
    /// Frames a second.
    pub rate_hz: f64,
    /// Face reference point, metres.
    pub head: Vec<Point3<f64>>,
    /// Unit vector of the shaft's axis, grip to head.
    pub axis: Vec<Vector3<f64>>,
    /// Whether the head was known (not bridged over a long gap).
    pub known: Vec<bool>,
    /// Whether the shaft's axis was known (not bridged over a long gap).
    pub axis_known: Vec<bool>,
    /// Target-line coordinate of the ball's surface facing the club, metres, where the bay knows it.
    pub ball_x: Option<f64>,
    /// Slots at which a trigger noticed impact, rising.
    pub pulses: Vec<f64>,
    /// What these paths follow.
    pub of: Followed,
    /// Whether the club is held by its head: its other end is followed.
    pub upside_down: bool,
}

/// What is followed through a swing.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Followed {
    /// The club.
    Club,
    /// The hands on the lead arm, where the club is not marked: a swing shows, events of the club do not.
    Hands,
}

/// A swing found in a window.
#[derive(Debug, Clone, PartialEq)]
pub struct Swing {
    /// Events, slots of the window.
    pub slots: Slots,
    /// Slots of the quiet stretch that gives the reference posture; empty where none was seen.
    pub quiet: Range<usize>,
    /// How impact was found.
    pub impact: Impact,
    /// Unit normal of the late downswing's plane (golfer frame).
    pub normal: Vector3<f64>,
    /// Slot of the top for searches, also where a hole keeps it from being an event.
    pub top: f64,
    /// How much of a swing it is.
    pub extent: Extent,
    /// Speed of what is followed at its fastest, m/s (low-passed, across the collision: a rough size).
    pub pass_mps: f64,
    /// Whether this is a first look: what comes after impact is not measured yet.
    pub open: bool,
}

/// Events after impact, which a first look leaves open.
const OF_THE_FINISH: &[Event] = &[Event::ShaftLevelThrough, Event::Finish];

/// How much of a swing a movement is, as far as the shaft shows.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Extent {
    /// The shaft was level going back and coming down.
    Full,
    /// It was not.
    Partial,
    /// The club is not marked: by the lead arm alone.
    Arms,
    /// The same, the arm never level: a stroke by a trigger.
    SmallArms,
}

/// Events that the shaft's direction tells.
pub(super) const OF_THE_SHAFT: &[Event] = &[
    Event::TakeawayEnd,
    Event::Top,
    Event::ShaftLevelDown,
    Event::ShaftLevelThrough,
];

impl Paths {
    /// Forgets the slots outside `range`.
    pub fn keep(&mut self, range: Range<usize>) {
        crop(&mut self.head, range.clone());
        crop(&mut self.axis, range.clone());
        crop(&mut self.known, range.clone());
        crop(&mut self.axis_known, range.clone());
        let from = range.start as f64;
        self.pulses.retain_mut(|slot| {
            *slot -= from;
            (0.0..=range.len() as f64).contains(slot)
        });
    }
}

impl Swing {
    /// Why an event was not found, as a sentence says it.
    #[must_use]
    pub fn reason(&self, event: Event) -> String {
        let words = event.words();
        let level = [Event::TakeawayEnd, Event::ShaftLevelDown].contains(&event);
        let of_club = OF_THE_SHAFT.contains(&event) || event == Event::Impact;
        match self.extent {
            _ if self.open && OF_THE_FINISH.contains(&event) => {
                format!("{words} was not measured yet: this report left before the finish")
            }
            Extent::Partial if level => {
                format!("{words}: the shaft was never level in this stroke")
            }
            Extent::Arms | Extent::SmallArms if of_club => {
                format!("{words} was not measured: the club is not marked")
            }
            _ => format!("{words} was not found in this swing"),
        }
    }

    /// Leaves open what comes after impact.
    pub fn leave_open(&mut self) {
        self.open = true;
        for &event in OF_THE_FINISH {
            self.slots.set(event, None);
        }
    }

    /// The same swing in a window that begins `slots` later.
    pub fn shift(&mut self, slots: usize) {
        let by = slots as f64;
        for &event in Event::ALL {
            self.slots.set(event, self.slots.get(event).map(|s| s - by));
        }
        self.quiet = self.quiet.start - slots..self.quiet.end - slots;
        self.impact.slot -= by;
        self.top -= by;
        self.impact.before -= slots;
    }
}
