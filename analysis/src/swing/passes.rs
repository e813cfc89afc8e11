//! Fast passes of the club's head that wait for their windows: which of them earns a look, and which is a
//! backswing, the same pass again, or a club carried back. When the bay is in motion is `detector`'s matter.

use std::collections::VecDeque;

use nalgebra::{Point3, Vector3};

use super::glimpse::Watched;
use super::kind::Kind;
use crate::frame::CaptureFrame;

/// Slowest pass that earns a look, m/s: of the club head, of hands without a club, and of a head that
/// comes from an address and passes through it.
const PASS_MPS: f64 = 6.0;
const HANDS_PASS_MPS: f64 = 3.0;
const STROKE_MPS: f64 = 0.7;
/// How close to its place at address the head of a slow stroke is at its fastest, and how far it goes on
/// beyond it, metres.
const STROKE_NEAR_M: f64 = 0.35;
const STROKE_BEYOND_M: f64 = 0.04;
/// Two passes are this far apart at least: a top and a downswing lie between, nanoseconds.
const APART_NS: i64 = 350_000_000;
/// Speed that begins a further pass ÷ the lowest since the one before.
const AGAIN: f64 = 1.3;
/// A pass this much faster than the one shortly before it is the downswing after a backswing.
const FASTER: f64 = 1.5;
/// Passes that wait for their tail: all that fit in it.
const PASSES_MAX: usize = 6;
/// Span kept after a pass before its window is looked at, nanoseconds: room for the finish.
const TAIL_NS: i64 = 1_300_000_000;
/// Span after a pass at which a first look is taken, nanoseconds: the 0.2 s after impact that have a say in
/// the body's low-pass (`measure`), and the 20 ms by which the live pass may come before impact. Impact
/// itself needs 40 ms and three frames: collisions are looked for up to 25 ms from the ball's place, with
/// 15 ms and two spare frames of the path behind each.
pub const FIRST_NS: i64 = 220_000_000;
/// Span before a pass that its window holds, nanoseconds: address, backswing, downswing; more where the
/// movement is seen to have begun earlier, as far as the ring goes back.
const LEAD_NS: i64 = 4_500_000_000;
const LEAD_MAX_NS: i64 = 9_600_000_000;
/// Span before the movement that a window should hold, nanoseconds: the address.
const BEFORE_NS: i64 = 1_000_000_000;

/// A fast pass of the club head.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pass {
    /// Frame number of the fastest frame.
    pub number: u64,
    /// Its device time, nanoseconds.
    pub time_ns: i64,
    /// Live speed there, m/s.
    pub speed_mps: f64,
    /// Whether the head moved toward the target.
    pub toward_target: bool,
    /// Whether it deserves a look: fast, or through its place at address.
    pub(super) worth: bool,
    /// Whether it came from an address and is close to it.
    near: bool,
    /// Span before the pass that its window holds, nanoseconds.
    pub lead_ns: i64,
    /// Whether the first look was taken.
    looked: bool,
    /// What the first look found, where that was reported.
    pub first: Option<FirstLook>,
}

/// What was reported after a first look.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FirstLook {
    /// Device time of the last frame that it saw, nanoseconds.
    pub until_ns: i64,
    /// Device time of impact, nanoseconds.
    pub impact_ns: i64,
    /// What the swing was.
    pub kind: Kind,
}

impl Pass {
    /// Whether it belongs to the follow-through of a swing whose impact was at a device time, nanoseconds.
    pub(super) fn follows(&self, impact_ns: Option<i64>) -> bool {
        impact_ns.is_some_and(|t| (0..TAIL_NS).contains(&(self.time_ns - t)))
    }
}

/// What the detector sees in a frame that may be a pass.
#[derive(Debug, Clone, Copy)]
pub(super) struct Seen {
    /// Velocity of what is watched, m/s, and the speed that it has held for three frames.
    pub(super) velocity: Vector3<f64>,
    pub(super) held_mps: f64,
    /// Where it is, and where it rested last.
    pub(super) place: Option<Point3<f64>>,
    pub(super) rest: Option<Point3<f64>>,
    pub(super) of: Watched,
    /// Whether a movement from an address is under way, and when one began, device time in nanoseconds.
    pub(super) in_motion: bool,
    pub(super) began_ns: Option<i64>,
}

/// The passes, oldest first; the last one may still get faster.
#[derive(Debug, Default)]
pub(super) struct Passes {
    open: VecDeque<Pass>,
    /// Lowest speed since the last pass, m/s.
    lowest_mps: f64,
}

impl Passes {
    /// The last one.
    pub(super) fn last(&self) -> Option<&Pass> {
        self.open.back()
    }

    /// Whether no more wait than may.
    #[cfg(test)]
    pub(super) fn is_bounded(&self) -> bool {
        self.open.len() <= PASSES_MAX
    }

    /// Whether one of them deserves a look.
    pub(super) fn is_any_worth(&self) -> bool {
        self.open.iter().any(|p| p.worth)
    }

    /// A pass toward the target that deserves a look and has lasted long enough for the first one; each
    /// comes once.
    pub(super) fn first_due(&mut self, now_ns: i64) -> Option<Pass> {
        let ripe = |p: &&mut Pass| {
            p.worth && p.toward_target && !p.looked && now_ns.saturating_sub(p.time_ns) >= FIRST_NS
        };
        let pass = self.open.iter_mut().find(ripe)?;
        pass.looked = true;
        Some(*pass)
    }

    /// What the first look at a pass found was reported.
    pub(super) fn settled(&mut self, pass: &Pass, found: FirstLook) {
        let same = |p: &&mut Pass| p.number == pass.number;
        if let Some(pass) = self.open.iter_mut().find(same) {
            pass.first = Some(found);
        }
    }

    /// The oldest pass whose tail is complete and that deserves a look. A pass away from the target is a
    /// backswing or the club carried back when one toward it is near, and so is one before a faster one:
    /// the head swings toward the target at the end of a backswing, too. `follows`: whether a pass is of the
    /// follow-through of the swing reported last.
    pub(super) fn due(&mut self, now_ns: i64, follows: impl Fn(&Pass) -> bool) -> Option<Pass> {
        while let Some(&pass) = self.open.front() {
            if now_ns.saturating_sub(pass.time_ns) < TAIL_NS {
                return None;
            }
            self.open.pop_front();
            let beside = |other: &Pass| {
                other.worth
                    && other.toward_target
                    && (other.time_ns - pass.time_ns).abs() < TAIL_NS
                    && (!pass.toward_target || other.speed_mps > FASTER * pass.speed_mps)
            };
            let explained = self.open.iter().any(beside) || !pass.toward_target && follows(&pass);
            if pass.first.is_some() || pass.worth && !explained {
                return Some(pass);
            }
        }
        None
    }

    /// A pass counts with the speed that it holds for three frames: a marker that jumps for one
    /// frame is no pass. One toward the target is never replaced by one that is not.
    pub(super) fn watch(&mut self, frame: &CaptureFrame, seen: &Seen) {
        let (velocity, speed_mps) = (seen.velocity, seen.held_mps);
        let rest = seen.rest.zip(seen.place);
        if let Some(((rest, place), last)) = rest.zip(self.open.back_mut()) {
            last.worth |= last.near && place.x > rest.x + STROKE_BEYOND_M;
        }
        self.lowest_mps = self.lowest_mps.min(velocity.norm());
        let fast = speed_mps
            >= if seen.of == Watched::Hands {
                HANDS_PASS_MPS
            } else {
                PASS_MPS
            };
        let toward_target = velocity.x > 0.5 * velocity.x.hypot(velocity.z);
        let near = toward_target
            && seen.in_motion
            && speed_mps >= STROKE_MPS
            && rest.is_some_and(|(rest, place)| (place - rest).norm() < STROKE_NEAR_M);
        if !fast && !near {
            return;
        }
        let pass = Pass {
            number: frame.number,
            time_ns: frame.time_ns,
            speed_mps,
            toward_target,
            worth: fast,
            near,
            lead_ns: seen.began_ns.map_or(LEAD_NS, |began_ns| {
                let since_ns = frame.time_ns.saturating_sub(began_ns);
                since_ns
                    .saturating_add(BEFORE_NS)
                    .clamp(LEAD_NS, LEAD_MAX_NS)
            }),
            looked: false,
            first: None,
        };
        match self.open.back_mut() {
            Some(last) if frame.time_ns - last.time_ns < APART_NS => {
                if last.first.is_some() {
                    return;
                }
                if (toward_target, speed_mps) > (last.toward_target, last.speed_mps) {
                    *last = Pass {
                        worth: fast || last.worth && near,
                        ..pass
                    };
                    self.lowest_mps = speed_mps;
                }
            }
            Some(_) if speed_mps < AGAIN * self.lowest_mps => {}
            _ => {
                if self.open.len() == PASSES_MAX {
                    self.open.pop_front();
                }
                self.open.push_back(pass);
                self.lowest_mps = speed_mps;
            }
        }
    }
}
