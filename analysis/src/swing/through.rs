//! Whether what is followed passes the ball's place, and whether a movement without a level shaft strikes
//! through it: tells strokes from waggles, aborts and a club set down. Where the place is, `impact` says.

use nalgebra::Point3;

use super::found::Followed;
use super::impact;
use super::phases::{HANDS_USUAL_MPS, SLOW_MPS, Search, USUAL_MPS};
use super::refusal::NotASwing;

/// Shortest way back of the head along the target line for a stroke, metres.
const BACK_MIN_M: f64 = 0.08;
/// Least way past the ball's place: metres, and as a share of the way back.
const THROUGH_MIN_M: f64 = 0.05;
const THROUGH_SHARE: f64 = 0.25;
/// Below this way back the club may just have been set down anew: a putt goes through nearly as far as it
/// came, metres and share.
const TINY_M: f64 = 0.25;
const THROUGH_SHARE_TINY: f64 = 0.8;
/// Share of its greatest speed that a head has when it passes the ball's place.
const PASSING_SHARE: f64 = 0.5;
/// The same of hands, which slow down before the ball while the club overtakes them, and of seated players
/// nearly stop; a swing broken off ends at its address with no speed at all (common sense, no source).
const HANDS_PASSING_SHARE: f64 = 0.15;
/// Share of its greatest speed that a stroke has at the ball's place.
const THROUGH_SPEED_SHARE: f64 = 0.75;
/// Farthest above its place at address that the head of a slow stroke, and of any swing, passes it, metres.
const STROKE_HIGH_M: f64 = 0.15;
const SWING_HIGH_M: f64 = 0.6;
/// Farthest below it, metres: an address is low.
const SWING_LOW_M: f64 = 0.3;
/// The head at the ball's place.
#[derive(Debug, Clone, Copy)]
pub(super) struct Passing {
    slot: usize,
    /// The place along the target line, metres.
    x: f64,
    /// Height over the head's place at address, metres; 0 where that is not known.
    high_m: f64,
}

impl Search<'_> {
    pub(super) fn is_slow(&self, pass: usize) -> bool {
        self.paths.of == Followed::Club && self.speed[pass] < SLOW_MPS
    }

    /// How far from the fastest instant the ball's place is passed, seconds: longer when slow.
    pub(super) fn plane_reach_s(&self, pass: usize) -> f64 {
        let slower = match self.paths.of {
            Followed::Club => USUAL_MPS / self.speed[pass].max(0.1),
            Followed::Hands => HANDS_USUAL_MPS / self.speed[pass].max(0.1),
        };
        0.08 * slower.clamp(1.0, 5.0)
    }

    /// Where the head passes the ball's place, if that is known: a swing that is broken off does not.
    pub(super) fn ball_passed(
        &self,
        pass: usize,
        reference: Option<Point3<f64>>,
    ) -> Result<Option<Passing>, NotASwing> {
        let planes = [
            reference.map(|r| r.x),
            impact::ball_x(self.paths, reference),
        ];
        let reach = (pass, self.plane_reach_s(pass));
        let passings = planes.iter().flatten().filter_map(|&x| {
            let slot = impact::plane_crossing(self.paths, reach, x)?;
            let slot = (slot.round() as usize).min(self.head.len() - 1);
            // A club that comes back to its address slowly does not pass it.
            let share = match self.paths.of {
                Followed::Club => PASSING_SHARE,
                Followed::Hands => HANDS_PASSING_SHARE,
            };
            if self.speed[slot] < share * self.speed[pass] {
                return None;
            }
            let high_m = reference.map_or(0.0, |r| self.head[slot].y - r.y);
            Some(Passing { slot, x, high_m })
        });
        let passing = passings.min_by_key(|p| p.slot.abs_diff(pass));
        match passing {
            Some(p) if !(-SWING_LOW_M..SWING_HIGH_M).contains(&p.high_m) => {
                Err(NotASwing::WrongHeight)
            }
            None if planes.iter().any(Option::is_some) => Err(NotASwing::ShortOfTheBall),
            None if self.is_slow(pass) => Err(NotASwing::ToAndFro),
            passing => Ok(passing),
        }
    }

    /// Whether a movement in which the shaft is not level is a stroke: back, through the ball's place
    /// with its speed, and on. A club moved to and fro is not. Hands that are `heard` to strike (a trigger
    /// went off as they passed) only have to go back and through.
    pub(super) fn strikes(
        &self,
        (pass, heard): (usize, bool),
        start: usize,
        place: Passing,
    ) -> Result<(), NotASwing> {
        let along = |from: usize, to: usize| self.head[from..to].iter().map(|p| p.x);
        let start = start.min(place.slot);
        let back = place.x - along(start, place.slot + 1).fold(f64::INFINITY, f64::min);
        let end = (place.slot + self.slots(1.0)).min(self.head.len());
        let through = along(place.slot, end).fold(f64::NEG_INFINITY, f64::max) - place.x;
        let share = if back < TINY_M {
            THROUGH_SHARE_TINY
        } else {
            THROUGH_SHARE
        };
        if heard {
            let both = back >= BACK_MIN_M && through >= THROUGH_MIN_M;
            return if both {
                Ok(())
            } else {
                Err(NotASwing::ToAndFro)
            };
        }
        let strikes = back >= BACK_MIN_M
            && through >= THROUGH_MIN_M.max(share * back)
            && self.speed[place.slot] >= THROUGH_SPEED_SHARE * self.speed[pass]
            && place.high_m.abs() < STROKE_HIGH_M;
        if strikes {
            Ok(())
        } else {
            Err(NotASwing::ToAndFro)
        }
    }
}
