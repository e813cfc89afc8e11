//! The live state of the bay, frame by frame, and the moments at which a window deserves the exact
//! look of `phases`: a first one soon after the pass, one after its finish. Causal and cheap: nothing
//! here decides what a swing is.
//!
//! ```text
//!           still, club down                moves              fast pass toward the target
//! waiting ───────────────────▶ at address ────────▶ in motion ─────────────────────────▶ measuring
//!    ▲                              ▲  ▲               │ still                               │
//!    └── still, club not down ──────┼──┴───────────────┘              swing ▼    no swing ▼   │
//!                                   └───────────────────────────────── result   (waiting) ◀──┘
//! ```
//!
//! Where no club is seen, the hands stand in for its head.

use std::collections::VecDeque;

use nalgebra::{Point3, Vector3};

use super::glimpse::{
    BUTT, Glimpse, HANDS, Shaft, Watched, hands_down, held_by_head, shaft, typical,
};
use super::kind::Kind;
pub use super::passes::{FIRST_NS, FirstLook, Pass};
use super::passes::{Passes, Seen};
use crate::club;
use crate::frame::CaptureFrame;
use crate::landmark::Landmark;

/// What the bay is doing, as far as the markers tell.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum State {
    /// Nobody stands still at address.
    Waiting,
    /// The club rests, pointing down.
    AtAddress,
    /// The club moves.
    InMotion,
    /// A fast pass is over; its window is being completed.
    Measuring,
    /// A swing was reported.
    Result,
}

/// Span over which live speed is taken, seconds.
const LAG_S: f64 = 0.02;
/// Frames kept for that at most: a clock that stands still must not fill the memory.
const GLIMPSES_MAX: usize = 256;
/// Live speeds, m/s: below the first the club is still, above the second (three frames long) it moves.
const STILL_MPS: f64 = 0.15;
const MOVES_MPS: f64 = 0.3;
/// Stillness that makes an address, nanoseconds.
const SETTLED_NS: i64 = 300_000_000;
/// Frames without a club after which the hands are watched, nanoseconds.
const CLUB_GONE_NS: i64 = 500_000_000;
/// Rise of the head from address that makes a movement a swing broken off, and way that makes it a
/// waggle, metres.
const ABORT_RISE_M: f64 = 0.45;
const WAGGLE_WAY_M: f64 = 0.06;

/// A movement from an address that ended without a pass: no swing.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Movement {
    /// Waggle or abort.
    pub kind: Kind,
    /// Device times of its begin and end, nanoseconds.
    pub span_ns: [i64; 2],
}

/// A movement that began at an address.
#[derive(Debug, Clone, Copy)]
struct Episode {
    from: Point3<f64>,
    start_ns: i64,
    rise_m: f64,
    way_m: f64,
    passed: bool,
}

/// The live detector of one marker stream.
#[derive(Debug)]
pub struct Detector {
    state: State,
    glimpses: VecDeque<Glimpse>,
    lag_ns: i64,
    still_since: Option<i64>,
    /// Where the head rested last with the club down.
    rest: Option<Point3<f64>>,
    episode: Option<Episode>,
    ended: Option<Movement>,
    /// Passes whose windows are not complete.
    passes: Passes,
    club_seen_ns: Option<i64>,
    /// Whether the club was held by its head when it rested last.
    over: bool,
    /// The last three live speeds, m/s.
    speeds: [f64; 3],
    /// Impact of the last swing reported, nanoseconds.
    reported_ns: Option<i64>,
}

impl Detector {
    /// A detector for a stream of this rate.
    #[must_use]
    pub fn new(rate_hz: f64) -> Self {
        // Half a frame less, so that rounding of device times does not reach one frame further back.
        let lag_s = LAG_S.max(1.0 / rate_hz) - 0.5 / rate_hz;
        Self {
            state: State::Waiting,
            glimpses: VecDeque::new(),
            lag_ns: (lag_s * 1e9) as i64,
            still_since: None,
            rest: None,
            episode: None,
            ended: None,
            passes: Passes::default(),
            club_seen_ns: None,
            over: false,
            speeds: [0.0; 3],
            reported_ns: None,
        }
    }

    /// The state now.
    #[must_use]
    pub fn state(&self) -> State {
        self.state
    }

    /// Takes the next frame. Returns a pass whose window is complete.
    pub fn push(&mut self, frame: &CaptureFrame, landmarks: &[Landmark]) -> Option<Pass> {
        let point = |l: Landmark| {
            landmarks
                .binary_search(&l)
                .ok()
                .and_then(|i| frame.points[i])
        };
        let now = self.glimpse(frame.time_ns, &point);
        let place = now.place();
        if let Some(velocity) = self.velocity(now) {
            self.speeds.rotate_left(1);
            self.speeds[2] = velocity.norm();
            let down = match now.of {
                Watched::Head => shaft(&point) == Some(Shaft::Down),
                Watched::Butt => shaft(&point) == Some(Shaft::Over),
                Watched::Hands => hands_down(&point),
            };
            let seen = Seen {
                velocity,
                held_mps: self.held_mps(),
                place,
                rest: self.rest,
                of: now.of,
                in_motion: self.state == State::InMotion,
                began_ns: self.episode.map(|e| e.start_ns),
            };
            self.passes.watch(frame, &seen);
            self.step(frame.time_ns, (velocity.norm(), place), down);
        }
        self.due(frame.time_ns)
    }

    /// Gives up waiting for the tails of open passes (end of the stream); the next of them.
    pub fn take_open_pass(&mut self) -> Option<Pass> {
        self.due(i64::MAX)
    }

    /// A pass toward the target that deserves a look and has lasted long enough for the first one; each
    /// comes once.
    pub fn first_due(&mut self, now_ns: i64) -> Option<Pass> {
        self.passes.first_due(now_ns)
    }

    /// The first look at a pass was reported: it stands, whatever comes.
    pub fn settled(&mut self, pass: &Pass, found: FirstLook) {
        self.passes.settled(pass, found);
        self.judged(Some(found.impact_ns));
    }

    /// A movement from an address that ended just now without a pass.
    pub fn take_movement(&mut self) -> Option<Movement> {
        self.ended.take()
    }

    /// The window of a pass was looked at: a swing with its impact (device time, nanoseconds), or none.
    pub fn judged(&mut self, impact_ns: Option<i64>) {
        if impact_ns.is_some() {
            self.reported_ns = impact_ns;
            if matches!(
                self.state,
                State::Measuring | State::InMotion | State::Waiting
            ) {
                self.state = State::Result;
            }
        } else if self.state == State::Measuring && !self.passes.is_any_worth() {
            self.state = State::Waiting;
        }
    }

    /// Impact of the swing reported last, device time in nanoseconds.
    #[must_use]
    pub fn reported_ns(&self) -> Option<i64> {
        self.reported_ns
    }

    /// Whether a pass belongs to the follow-through of the swing reported last.
    #[must_use]
    pub fn follows_swing(&self, pass: &Pass) -> bool {
        pass.follows(self.reported_ns)
    }

    fn due(&mut self, now_ns: i64) -> Option<Pass> {
        let reported_ns = self.reported_ns;
        self.passes.due(now_ns, |pass| pass.follows(reported_ns))
    }

    /// The club's head in this frame, or the hands while no club was seen for long.
    fn glimpse(
        &mut self,
        time_ns: i64,
        point: &impl Fn(Landmark) -> Option<Point3<f64>>,
    ) -> Glimpse {
        let head = club::head_now(point);
        if head.iter().any(Option::is_some) {
            self.club_seen_ns = Some(time_ns);
        }
        let gone = |seen: i64| time_ns.saturating_sub(seen) > CLUB_GONE_NS;
        // Only a club at rest near the floor tells which way round it is held: at the top it is still, too.
        if self.still_since.is_some() {
            self.over = held_by_head(point).unwrap_or(self.over);
        }
        let (of, points) = if self.club_seen_ns.is_none_or(gone) {
            (Watched::Hands, HANDS.map(point))
        } else if self.over {
            (Watched::Butt, BUTT.map(|l| l.and_then(point)))
        } else {
            (Watched::Head, head)
        };
        Glimpse {
            time_ns,
            points,
            of,
        }
    }

    /// Velocity of the head from the markers seen both now and one lag ago.
    fn velocity(&mut self, now: Glimpse) -> Option<Vector3<f64>> {
        while self.glimpses.len() > GLIMPSES_MAX
            || self.glimpses.len() > 1 && now.time_ns - self.glimpses[1].time_ns >= self.lag_ns
        {
            self.glimpses.pop_front();
        }
        let then = self.glimpses.front().copied();
        self.glimpses.push_back(now);
        let then = then.filter(|then| then.of == now.of)?;
        let span_s = (now.time_ns - then.time_ns) as f64 * 1e-9;
        // A long gap or a clock that stood still gives no speed.
        if span_s <= 0.0 || span_s > 0.2 {
            return None;
        }
        Some(typical(&now, &then)? / span_s)
    }

    /// The speed held for three frames, m/s.
    fn held_mps(&self) -> f64 {
        self.speeds.iter().copied().fold(f64::INFINITY, f64::min)
    }

    fn step(&mut self, now_ns: i64, (speed_mps, place): (f64, Option<Point3<f64>>), down: bool) {
        self.still_since = (speed_mps < STILL_MPS).then(|| self.still_since.unwrap_or(now_ns));
        let settled = self
            .still_since
            .is_some_and(|since| now_ns - since >= SETTLED_NS);
        let last = self.passes.last();
        let passed =
            last.is_some_and(|p| p.worth && p.toward_target && speed_mps < 0.7 * p.speed_mps);
        if let Some((episode, place)) = self.episode.as_mut().zip(place) {
            episode.rise_m = episode.rise_m.max(place.y - episode.from.y);
            episode.way_m = episode.way_m.max((place - episode.from).norm());
            episode.passed |= passed;
        }
        let before = self.state;
        self.state = match self.state {
            State::Waiting | State::Result if settled && down => State::AtAddress,
            State::AtAddress if self.held_mps() > MOVES_MPS => State::InMotion,
            State::InMotion if passed => State::Measuring,
            State::InMotion if settled && down => State::AtAddress,
            State::InMotion if settled => State::Waiting,
            same => same,
        };
        match (before, self.state) {
            (_, State::AtAddress) if settled => self.rest = place.or(self.rest),
            (State::AtAddress, State::InMotion) => {
                self.episode = self.rest.map(|from| Episode {
                    from,
                    start_ns: now_ns,
                    rise_m: 0.0,
                    way_m: 0.0,
                    passed: false,
                });
            }
            _ => {}
        }
        if before == State::InMotion && self.state != State::InMotion {
            self.ended = self.episode.take().and_then(|e| e.ended(now_ns));
        }
    }
}

impl Episode {
    fn ended(self, now_ns: i64) -> Option<Movement> {
        let kind = if self.rise_m > ABORT_RISE_M {
            Kind::Abort
        } else {
            Kind::Waggle
        };
        (!self.passed && self.way_m > WAGGLE_WAY_M).then_some(Movement {
            kind,
            span_ns: [self.start_ns, now_ns],
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Hours of a club that goes to and fro, on a clock that runs and on one that stands still.
    #[test]
    fn what_is_kept_is_bounded() {
        for step_ns in [1_000_000, 0] {
            let mut detector = Detector::new(1000.0);
            let landmarks = [Landmark::ClubHeadToe];
            let mut looks = 0;
            for number in 0..400_000_u64 {
                let angle = number as f64 * 0.009;
                let frame = CaptureFrame {
                    number,
                    time_ns: number as i64 * step_ns,
                    points: vec![Some(Point3::new(1.5 * angle.sin(), 0.3, 0.0))],
                };
                looks += usize::from(detector.push(&frame, &landmarks).is_some());
                looks += usize::from(detector.first_due(frame.time_ns).is_some());
                assert!(detector.passes.is_bounded());
                assert!(detector.glimpses.len() <= GLIMPSES_MAX + 1);
            }
            assert_eq!(looks > 100, step_ns > 0, "{looks}");
        }
    }
}
