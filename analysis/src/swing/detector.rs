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
/// Slowest pass that earns a look, m/s: of the club head, of hands without a club, and of a head that
/// comes from an address and passes through it.
const PASS_MPS: f64 = 6.0;
const HANDS_PASS_MPS: f64 = 3.0;
const STROKE_MPS: f64 = 0.7;
/// How close to its place at address the head of a slow stroke is at its fastest, and how far it goes on
/// beyond it, metres.
const STROKE_NEAR_M: f64 = 0.35;
const STROKE_BEYOND_M: f64 = 0.04;
/// Stillness that makes an address, nanoseconds.
const SETTLED_NS: i64 = 300_000_000;
/// Two passes are this far apart at least: a top and a downswing lie between, nanoseconds.
const APART_NS: i64 = 350_000_000;
/// Speed that begins a further pass ÷ the lowest since the one before.
const AGAIN: f64 = 1.3;
/// A pass this much faster than the one shortly before it is the downswing after a backswing.
const FASTER: f64 = 1.5;
/// Passes that wait for their tail: all that fit in it.
const PASSES_MAX: usize = 6;
/// Frames without a club after which the hands are watched, nanoseconds.
const CLUB_GONE_NS: i64 = 500_000_000;
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
/// Rise of the head from address that makes a movement a swing broken off, and way that makes it a
/// waggle, metres.
const ABORT_RISE_M: f64 = 0.45;
const WAGGLE_WAY_M: f64 = 0.06;

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
    worth: bool,
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
    /// Passes whose windows are not complete, oldest first; the last one may still get faster.
    passes: VecDeque<Pass>,
    /// Lowest speed since the last pass, m/s.
    lowest_mps: f64,
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
            passes: VecDeque::new(),
            lowest_mps: 0.0,
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
            self.watch_pass(frame, (velocity, place), now.of);
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
        let ripe = |p: &&mut Pass| {
            p.worth && p.toward_target && !p.looked && now_ns.saturating_sub(p.time_ns) >= FIRST_NS
        };
        let pass = self.passes.iter_mut().find(ripe)?;
        pass.looked = true;
        Some(*pass)
    }

    /// The first look at a pass was reported: it stands, whatever comes.
    pub fn settled(&mut self, pass: &Pass, found: FirstLook) {
        let same = |p: &&mut Pass| p.number == pass.number;
        if let Some(pass) = self.passes.iter_mut().find(same) {
            pass.first = Some(found);
        }
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
        } else if self.state == State::Measuring && !self.passes.iter().any(|p| p.worth) {
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
        self.reported_ns
            .is_some_and(|t| (0..TAIL_NS).contains(&(pass.time_ns - t)))
    }

    /// The oldest pass whose tail is complete and that deserves a look. A pass away from the target is a
    /// backswing or the club carried back when one toward it is near, and so is one before a faster one:
    /// the head swings toward the target at the end of a backswing, too.
    fn due(&mut self, now_ns: i64) -> Option<Pass> {
        while let Some(&pass) = self.passes.front() {
            if now_ns.saturating_sub(pass.time_ns) < TAIL_NS {
                return None;
            }
            self.passes.pop_front();
            let beside = |other: &Pass| {
                other.worth
                    && other.toward_target
                    && (other.time_ns - pass.time_ns).abs() < TAIL_NS
                    && (!pass.toward_target || other.speed_mps > FASTER * pass.speed_mps)
            };
            let explained =
                self.passes.iter().any(beside) || !pass.toward_target && self.follows_swing(&pass);
            if pass.first.is_some() || pass.worth && !explained {
                return Some(pass);
            }
        }
        None
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
        let moves: Vec<Vector3<f64>> = now
            .points
            .iter()
            .zip(&then.points)
            .filter_map(|(b, a)| Some((*b)? - (*a)?))
            .collect();
        // A long gap or a clock that stood still gives no speed.
        if moves.is_empty() || span_s <= 0.0 || span_s > 0.2 {
            return None;
        }
        Some(typical(&moves) / span_s)
    }

    /// A pass counts with the speed that it holds for three frames: a marker that jumps for one
    /// frame is no pass. One toward the target is never replaced by one that is not.
    fn watch_pass(
        &mut self,
        frame: &CaptureFrame,
        (velocity, place): (Vector3<f64>, Option<Point3<f64>>),
        of: Watched,
    ) {
        let speed_mps = self.held_mps();
        let rest = self.rest.zip(place);
        if let Some(((rest, place), last)) = rest.zip(self.passes.back_mut()) {
            last.worth |= last.near && place.x > rest.x + STROKE_BEYOND_M;
        }
        self.lowest_mps = self.lowest_mps.min(velocity.norm());
        let fast = speed_mps
            >= if of == Watched::Hands {
                HANDS_PASS_MPS
            } else {
                PASS_MPS
            };
        let toward_target = velocity.x > 0.5 * velocity.x.hypot(velocity.z);
        let near = toward_target
            && self.state == State::InMotion
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
            lead_ns: self.episode.map_or(LEAD_NS, |e| {
                let since_ns = frame.time_ns.saturating_sub(e.start_ns);
                since_ns
                    .saturating_add(BEFORE_NS)
                    .clamp(LEAD_NS, LEAD_MAX_NS)
            }),
            looked: false,
            first: None,
        };
        match self.passes.back_mut() {
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
                if self.passes.len() == PASSES_MAX {
                    self.passes.pop_front();
                }
                self.passes.push_back(pass);
                self.lowest_mps = speed_mps;
            }
        }
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
        let last = self.passes.back();
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
                assert!(detector.passes.len() <= PASSES_MAX);
                assert!(detector.glimpses.len() <= GLIMPSES_MAX + 1);
            }
            assert_eq!(looks > 100, step_ns > 0, "{looks}");
        }
    }
}
