//! The live state of the bay, frame by frame, and the moments at which a window deserves the exact
//! look of `phases`. Causal and cheap: nothing here decides what a swing is.
//!
//! ```text
//!           still, club down                moves              fast pass toward the target
//! waiting ───────────────────▶ at address ────────▶ in motion ─────────────────────────▶ measuring
//!    ▲                              ▲  ▲               │ still                               │
//!    └── still, club not down ──────┼──┴───────────────┘              swing ▼    no swing ▼   │
//!                                   └───────────────────────────────── result   (waiting) ◀──┘
//! ```

use std::collections::VecDeque;

use nalgebra::{Point3, Vector3};

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
/// Live speeds, m/s: below the first the club is still, above the second it moves.
const STILL_MPS: f64 = 0.15;
const MOVES_MPS: f64 = 0.5;
/// Slowest pass that earns a look, m/s; a little under what may be a swing.
const PASS_MPS: f64 = 6.0;
/// Stillness that makes an address, nanoseconds.
const SETTLED_NS: i64 = 300_000_000;
/// Span kept after a pass before its window is looked at, nanoseconds: room for the finish.
pub const TAIL_NS: i64 = 1_300_000_000;
/// Span before a pass that its window holds, nanoseconds: address, backswing, downswing.
pub const LEAD_NS: i64 = 4_500_000_000;

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
}

/// Points of one frame that the detector keeps.
#[derive(Debug, Clone, Copy)]
struct Glimpse {
    time_ns: i64,
    head: [Option<Point3<f64>>; 4],
}

/// The live detector of one marker stream.
#[derive(Debug)]
pub struct Detector {
    state: State,
    glimpses: VecDeque<Glimpse>,
    lag_ns: i64,
    still_since: Option<i64>,
    pass: Option<Pass>,
    /// The last three live speeds, m/s.
    speeds: [f64; 3],
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
            pass: None,
            speeds: [0.0; 3],
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
        let velocity = self.velocity(Glimpse {
            time_ns: frame.time_ns,
            head: club::head_now(point),
        });
        if let Some(velocity) = velocity {
            self.watch_pass(frame, velocity);
            self.step(frame.time_ns, velocity.norm(), club_down(&point));
        }
        let due = self
            .pass
            .is_some_and(|p| frame.time_ns - p.time_ns >= TAIL_NS);
        if due { self.pass.take() } else { None }
    }

    /// Gives up waiting for the tail of an open pass (end of the stream).
    pub fn take_open_pass(&mut self) -> Option<Pass> {
        self.pass.take()
    }

    /// The window of a pass was looked at: a swing or not.
    pub fn judged(&mut self, swing: bool) {
        if swing {
            self.state = State::Result;
        } else if self.state == State::Measuring {
            self.state = State::Waiting;
        }
    }

    /// Velocity of the head from the markers seen both now and one lag ago.
    fn velocity(&mut self, now: Glimpse) -> Option<Vector3<f64>> {
        while self.glimpses.len() > 1 && now.time_ns - self.glimpses[1].time_ns >= self.lag_ns {
            self.glimpses.pop_front();
        }
        let then = self.glimpses.front().copied();
        self.glimpses.push_back(now);
        let then = then?;
        let span_s = (now.time_ns - then.time_ns) as f64 * 1e-9;
        let moves: Vec<Vector3<f64>> = now
            .head
            .iter()
            .zip(&then.head)
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
    fn watch_pass(&mut self, frame: &CaptureFrame, velocity: Vector3<f64>) {
        self.speeds.rotate_left(1);
        self.speeds[2] = velocity.norm();
        let speed_mps = self.speeds.iter().copied().fold(f64::INFINITY, f64::min);
        let toward_target = velocity.x > 0.5 * velocity.x.hypot(velocity.z);
        let better = self
            .pass
            .is_none_or(|p| (toward_target, speed_mps) > (p.toward_target, p.speed_mps));
        if speed_mps >= PASS_MPS && better {
            self.pass = Some(Pass {
                number: frame.number,
                time_ns: frame.time_ns,
                speed_mps,
                toward_target,
            });
        }
    }

    fn step(&mut self, now_ns: i64, speed_mps: f64, down: bool) {
        self.still_since = (speed_mps < STILL_MPS).then(|| self.still_since.unwrap_or(now_ns));
        let settled = self
            .still_since
            .is_some_and(|since| now_ns - since >= SETTLED_NS);
        let passed = self
            .pass
            .is_some_and(|p| p.toward_target && speed_mps < 0.7 * p.speed_mps);
        self.state = match self.state {
            State::Waiting | State::Result if settled && down => State::AtAddress,
            State::AtAddress if speed_mps > MOVES_MPS => State::InMotion,
            State::InMotion if passed => State::Measuring,
            State::InMotion if settled && down => State::AtAddress,
            State::InMotion if settled => State::Waiting,
            same => same,
        };
    }
}

/// The movement that most markers agree on: the median by axis of three and more, the smaller of two.
fn typical(moves: &[Vector3<f64>]) -> Vector3<f64> {
    if moves.len() < 3 {
        return moves
            .iter()
            .copied()
            .min_by(|a, b| a.norm().total_cmp(&b.norm()))
            .unwrap_or_default();
    }
    let middle = |axis: usize| {
        let mut values: Vec<f64> = moves.iter().map(|m| m[axis]).collect();
        values.sort_unstable_by(f64::total_cmp);
        values[(values.len() - 1) / 2]
    };
    Vector3::new(middle(0), middle(1), middle(2))
}

/// Whether the shaft points clearly down.
fn club_down(point: &impl Fn(Landmark) -> Option<Point3<f64>>) -> bool {
    let upper = point(Landmark::ClubButt).or_else(|| point(Landmark::ClubGripA));
    let lower = point(Landmark::ClubShaftLow).or_else(|| point(Landmark::ClubHeadHeel));
    match (upper, lower) {
        (Some(a), Some(b)) => (b - a).try_normalize(0.05).is_some_and(|u| u.y < -0.4),
        _ => false,
    }
}
