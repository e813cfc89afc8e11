//! The club's paths without gaps, and the slots in which each is known.

use std::ops::Range;

use nalgebra::{Point3, Vector3};

use super::Nothing;
use super::clean::GRIP;
use crate::club::{Club, Toe};
use crate::landmark::Landmark;
use crate::signal::{gaps, order};
use crate::swing::found::{Followed, Paths};
use crate::swing::impact::BALL_RADIUS_M;
use crate::window::{Track, Window, crop};

/// A shaft whose head end is above its butt by this share of its length at a pass is held by the head.
const UP_MIN: f64 = 0.3;

/// Points of the lead hand, golfer frame.
const HANDS: &[Landmark] = &[
    Landmark::LeftHand,
    Landmark::LeftRadialStyloid,
    Landmark::LeftUlnarStyloid,
    Landmark::LeftWrist,
];

/// The club's paths without gaps.
pub(super) struct ClubPaths {
    pub(super) paths: Paths,
    pub(super) grip: Vec<Point3<f64>>,
    pub(super) grip_known: Vec<bool>,
    pub(super) grip_limited: Option<String>,
    pub(super) head_marked: bool,
    pub(super) head_limited: Option<String>,
    pub(super) toe: Option<Toe>,
}

impl ClubPaths {
    pub(super) fn new(
        window: &Window,
        club: &Club,
        ball: Option<Point3<f64>>,
    ) -> Result<Self, Nothing> {
        let gone = Nothing::Markers("the club was never seen");
        let axis: Track = club.axis.iter().map(|u| u.map(Point3::from)).collect();
        let solid = |track: &Track| gaps::solid(track).ok_or(gone.clone());
        let paths = Paths {
            rate_hz: window.rate_hz,
            head: solid(&club.head)?,
            axis: solid(&axis)?.iter().map(unit).collect(),
            known: known(&club.head),
            axis_known: known(&axis),
            ball_x: ball.map(|b| b.x - BALL_RADIUS_M),
            pulses: Vec::new(),
            of: Followed::Club,
            upside_down: false,
        };
        Ok(Self {
            paths,
            grip: solid(&club.grip)?,
            grip_known: known(&club.grip),
            grip_limited: club.limited.map(String::from),
            head_marked: club.head_marked,
            head_limited: club.head_limited.clone(),
            toe: club.toe.clone(),
        })
    }

    /// The same, if anything of the club was seen around a pass.
    pub(super) fn seen_near(self, window: &Window, near: usize) -> Result<Self, Nothing> {
        let end = (near + window.slots(0.2)).min(window.len());
        let around = near.saturating_sub(window.slots(0.5)).min(end)..end;
        if self.paths.known[around].contains(&true) {
            return Ok(self);
        }
        Err(Nothing::Markers("the club was not seen around it"))
    }

    /// The hands on the lead arm in the place of an unmarked club. `Err` where they are not marked either.
    pub(super) fn of_hands(window: &Window, why: &Nothing) -> Result<Self, Nothing> {
        let seen = |l: &Landmark| window.track(*l).map_or(0, |t| t.iter().flatten().count());
        let first = |of: &[Landmark]| {
            let best = of
                .iter()
                .copied()
                .max_by_key(|l| (seen(l), std::cmp::Reverse(*l)))?;
            window
                .track(best)
                .and_then(|t| gaps::solid(t).map(|s| (s, known(t))))
        };
        let (hands, hands_known) = first(HANDS).ok_or(why.clone())?;
        let (shoulder, shoulder_known) = first(&[Landmark::LeftAcromion]).ok_or(why.clone())?;
        let arm = hands
            .iter()
            .zip(&shoulder)
            .map(|(h, s)| unit(&Point3::from(h - s)));
        let both = hands_known
            .iter()
            .zip(&shoulder_known)
            .map(|(a, b)| *a && *b);
        Ok(Self {
            paths: Paths {
                rate_hz: window.rate_hz,
                axis: arm.collect(),
                axis_known: both.collect(),
                known: hands_known,
                head: hands.clone(),
                ball_x: None,
                pulses: Vec::new(),
                of: Followed::Hands,
                upside_down: false,
            },
            grip_known: vec![false; hands.len()],
            grip: hands,
            grip_limited: None,
            head_marked: false,
            head_limited: None,
            toe: None,
        })
    }

    /// Whether the club is held by its head around a pass.
    pub(super) fn is_upside_down(&self, window: &Window, near: usize) -> bool {
        let end = (near + window.slots(0.03)).min(window.len());
        let around = near.saturating_sub(window.slots(0.03)).min(end)..end;
        let mut up: Vec<f64> = self.paths.axis[around].iter().map(|u| u.y).collect();
        order::median(&mut up).is_some_and(|y| y > UP_MIN)
    }

    /// The club turned end over end: the butt is followed, and nothing is told of head and grip.
    pub(super) fn turned_over(mut self, window: &Window) -> Self {
        let butt = [Landmark::ClubButt, Landmark::ClubGripA, Landmark::ClubGripB];
        let Some(track) = butt.iter().find_map(|&l| window.track(l)) else {
            return self;
        };
        let Some(head) = gaps::solid(track) else {
            return self;
        };
        self.paths.known = known(track);
        self.paths.head = head;
        self.paths.axis.iter_mut().for_each(|u| *u = -*u);
        self.paths.upside_down = true;
        self.head_marked = false;
        self.grip_known.fill(false);
        self.toe = None;
        self
    }

    /// What followed the hands tells nothing of the club.
    pub(super) fn forget_hands(&mut self) {
        if self.paths.of == Followed::Hands {
            self.paths.known.fill(false);
            self.paths.axis_known.fill(false);
        }
    }

    /// A grip placed by a long lever from the club's head is too noisy for a speed.
    pub(super) fn forget_levered(&mut self, window: &Window, levered: &[Vec<bool>]) {
        let tracks = window
            .landmarks
            .iter()
            .zip(levered)
            .filter(|(l, _)| GRIP.contains(l));
        for (_, levered) in tracks {
            self.grip_known
                .iter_mut()
                .zip(levered)
                .for_each(|(known, levered)| *known &= !levered);
        }
    }

    pub(super) fn keep(&mut self, range: Range<usize>) {
        self.paths.keep(range.clone());
        crop(&mut self.grip, range.clone());
        crop(&mut self.grip_known, range);
    }
}

fn known(track: &Track) -> Vec<bool> {
    track.iter().map(Option::is_some).collect()
}

fn unit(p: &Point3<f64>) -> Vector3<f64> {
    p.coords
        .try_normalize(1e-6)
        .unwrap_or_else(|| -Vector3::y())
}
