//! Strokes of a lesson, with a ball and without: full, small, broken by a rest, missed, rehearsed. What
//! the golfer does between them is in `moves`.

use std::f64::consts::PI;
use std::sync::Arc;

use nalgebra::Point3;

use super::super::club::BALL_RADIUS;
use super::super::curve::{Curve, Via};
use super::super::motion::Motion;
use super::super::{Ball, Club};
use super::figure::{Grip, Place, Stance};
use super::label::Kind;
use super::scene::{Stroke, Told};
use super::script::Script;

/// Stillness at the beginning of a stroke's scene, s.
pub(super) const QUIET_S: f64 = 0.35;

/// Strokes too small for the shaft to come level.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Size {
    Pitch,
    Chip,
    Putt,
}

/// How a stroke differs from the golfer's full swing.
#[derive(Clone)]
pub(super) struct Way {
    pub(super) name: &'static str,
    pub(super) kind: Kind,
    pub(super) struck: bool,
    /// Times as long.
    pub(super) slow: f64,
    /// As [`Stroke::size`].
    pub(super) size: [f64; 2],
    /// How far behind the ball the face is brought, m, where it does not come there by itself.
    pub(super) aim: Option<f64>,
    /// Seconds of rest shortly before the top.
    pub(super) stop: Option<f64>,
    /// As [`Stroke::steps`], times from takeaway on in those of the motion.
    pub(super) steps: Vec<(usize, [f64; 2], (f64, f64))>,
    /// Whether he sits.
    pub(super) seated: bool,
    /// The mat before the ball takes this share of the speed, so long before impact, s.
    pub(super) mat: Option<(f64, f64)>,
}

impl Way {
    /// A full swing at a ball.
    pub(super) fn full(name: &'static str) -> Self {
        Self {
            name,
            kind: Kind::Shot,
            struck: true,
            slow: 1.0,
            size: [1.0; 2],
            aim: None,
            stop: None,
            steps: Vec::new(),
            seated: false,
            mat: None,
        }
    }

    /// A full swing without a ball.
    pub(super) fn rehearsal(name: &'static str, slow: f64, size: f64) -> Self {
        Self {
            kind: Kind::Rehearsal,
            struck: false,
            slow,
            size: [size; 2],
            ..Self::full(name)
        }
    }
}

impl Script {
    /// A stroke from now on.
    pub(super) fn swing(&mut self, motion: Arc<Motion>, way: Way) {
        let times = motion.times;
        let begin = times.takeaway - QUIET_S;
        let (time, late) = match (way.stop, way.mat) {
            (Some(rest), _) => stopped(begin, times.top - 0.03, rest, times.end),
            (None, Some(mat)) => braked(begin, times.impact, mat, times.end),
            (None, None) => (line((0.0, begin), way.slow, times.end), [0.0; 2]),
        };
        let scene_time = |t: f64| {
            let late = match t {
                t if t > times.impact => late[1],
                t if t > times.top => late[0],
                _ => 0.0,
            };
            way.slow * (t - begin) + late
        };
        let length = scene_time(times.finish);
        let impact = scene_time(times.impact);
        let aim = way.aim.map(|behind| {
            let x = -BALL_RADIUS - behind;
            Point3::new(x, self.figure.shape.ball_height(), 0.0)
        });
        let steps = way.steps.iter().map(|&(side, way, (a, b))| {
            let time = |t: f64| scene_time(times.takeaway + t);
            (side, way, (time(a), time(b)))
        });
        let stroke = Stroke {
            steps: steps.collect(),
            motion,
            time,
            size: way.size,
            aim: aim.map(|aim| (aim, impact)),
            seated: way.seated,
        };
        let course = stroke.course(&self.figure, self.now);
        let smooth = self.weighed.then(|| {
            let free = Stroke {
                motion: Arc::new(stroke.motion.without_collision()),
                // The mat's blow is not the ground's either.
                time: way.mat.map_or_else(
                    || stroke.time.clone(),
                    |_| line((0.0, begin), way.slow, times.end),
                ),
                ..stroke.clone()
            };
            free.course(&self.figure, self.now)
        });
        let mut scene = self.scene(way.name, length, course);
        scene.smooth = smooth;
        scene.told = Some(Told {
            kind: way.kind,
            from: scene_time(times.takeaway),
            to: length,
            impact: Some(impact),
            struck: way.struck,
        });
        self.plan(scene);
    }

    /// The stance at the ball that a stroke from a stance on leads to.
    pub(super) fn at_impact(&self, way: &Way, from: Stance) -> Stance {
        let times = self.motion.times;
        let begin = times.takeaway - QUIET_S;
        let stroke = Stroke {
            motion: Arc::clone(&self.motion),
            time: line((0.0, begin), 1.0, times.end),
            size: way.size,
            aim: None,
            steps: Vec::new(),
            seated: way.seated,
        };
        stroke.course(&self.figure, from)(times.impact - begin)
    }

    pub(super) fn hit(&mut self, way: Way) {
        let motion = Arc::clone(&self.motion);
        self.swing(motion, way);
    }

    pub(super) fn full(&mut self) {
        self.hit(Way::full("full swing"));
    }

    pub(super) fn missed(&mut self) {
        let motion = Arc::clone(&self.dry);
        self.swing(motion, Way::rehearsal("missed ball", 1.0, 1.0));
    }

    pub(super) fn stop_at_top(&mut self) {
        let rest = self.between(0.4, 1.8);
        self.hit(Way {
            stop: Some(rest),
            ..Way::full("stop at the top")
        });
    }

    pub(super) fn slow_shot(&mut self) {
        let slow = self.between(1.7, 2.3);
        self.hit(Way {
            slow,
            ..Way::full("half speed")
        });
    }

    pub(super) fn three_quarter(&mut self) {
        let size = self.between(0.58, 0.85);
        self.hit(Way {
            size: [size; 2],
            aim: Some(0.0),
            ..Way::full("three-quarter swing")
        });
    }

    /// A ball that takes next to nothing of the head's speed, or is only grazed.
    pub(super) fn foam_ball(&mut self) {
        self.shot(Ball::Soft);
        self.address(0.8);
        self.pause("address", 0.3, 1.0);
        self.hit(Way::full("foam or topped ball"));
    }

    pub(super) fn small(&mut self, size: Size) {
        let (name, share, body, slow) = match size {
            Size::Pitch => (
                "pitch",
                self.between(0.24, 0.31),
                1.0,
                self.between(0.8, 1.0),
            ),
            Size::Chip => (
                "chip",
                self.between(0.17, 0.25),
                0.7,
                self.between(0.85, 1.25),
            ),
            Size::Putt => (
                "putt",
                self.between(0.05, 0.10),
                0.2,
                self.between(1.1, 1.5),
            ),
        };
        self.hit(Way {
            kind: Kind::Partial,
            size: [share, body * share],
            slow,
            aim: Some(0.0),
            ..Way::full(name)
        });
    }

    /// The mat some centimetres before the ball, then the ball. A ball on a tee has no mat before it.
    pub(super) fn mat_first(&mut self) {
        if self.golfer.club == Club::Driver {
            return self.full();
        }
        let (loss, way_m) = (self.between(0.03, 0.12), self.between(0.03, 0.10));
        let before = way_m / self.golfer.head_speed_mps;
        self.hit(Way {
            mat: Some((loss, before)),
            ..Way::full("mat before the ball")
        });
    }

    // Without a ball.

    /// A place beside the ball.
    pub(super) fn beside(&mut self) -> Place {
        let (x, z) = (self.between(-0.25, 0.05), self.between(-0.45, -0.25));
        self.figure.home().moved(x, z)
    }

    /// Ready beside the ball, with a grip.
    pub(super) fn ready_beside(&mut self, grip: Grip) {
        let place = self.beside();
        if self.now.place.distance(place) > 0.6 || self.now.place.heading != 0.0 {
            self.walk_to(place);
        }
        let mut to = self.ready(place);
        (to.order, to.flip) = match grip {
            Grip::Usual => (1.0, 0.0),
            Grip::Crossed => (-1.0, 0.0),
            Grip::UpsideDown => (1.0, PI),
        };
        let length = self.between(1.0, 2.0);
        self.join("steps in", to, length);
    }

    pub(super) fn rehearsals(&mut self) {
        for n in 0..=self.count(&[0.45, 0.4, 0.15]) {
            if n == 0 {
                self.ready_beside(Grip::Usual);
            } else {
                let to = self.ready(self.now.place);
                let length = self.between(1.4, 2.6);
                self.join("carry", to, length);
            }
            if self.chance(0.7) {
                self.pause("address", 0.1, 0.7);
            }
            self.rehearse();
            self.pause("finish", 0.05, 0.8);
        }
        self.stand_up();
    }

    pub(super) fn rehearse(&mut self) {
        let motion = Arc::clone(&self.dry);
        let way = match self.source.unit() {
            u if u < 0.55 => Way::rehearsal(
                "practice swing",
                self.between(1.0, 1.4),
                self.between(0.85, 1.0),
            ),
            u if u < 0.75 => Way::rehearsal("half-speed swing", self.between(1.7, 2.3), 1.0),
            u if u < 0.88 => Way::rehearsal("slow motion", self.between(3.0, 5.5), 1.0),
            _ => Way {
                kind: Kind::Partial,
                ..Way::rehearsal("practice chip", 1.1, self.between(0.17, 0.30))
            },
        };
        self.swing(motion, way);
    }
}

/// The motion's time from a beginning on, `slow` times as long, until its end.
pub(super) fn line((t, begin): (f64, f64), slow: f64, end: f64) -> Curve {
    let pace = 1.0 / slow;
    Curve::through(&[
        Via::at(t, begin).moving(pace),
        Via::at(t + slow * (end - begin), end).moving(pace),
    ])
}

/// The same at its own pace with a rest at `at`; also gives by how much all after it is late, s: up to
/// impact and after it.
fn stopped(begin: f64, at: f64, rest: f64, end: f64) -> (Curve, [f64; 2]) {
    const BRAKE_S: f64 = 0.3;
    let stop = at - begin + 0.5 * BRAKE_S;
    let go = stop + rest;
    let (moving, on) = (go + BRAKE_S, at + 0.5 * BRAKE_S);
    let curve = Curve::through(&[
        Via::at(0.0, begin).moving(1.0),
        Via::at(at - begin - 0.5 * BRAKE_S, at - 0.5 * BRAKE_S).moving(1.0),
        Via::rest(stop, at),
        Via::rest(go, at),
        Via::at(moving, on).moving(1.0).accelerating(0.0),
        Via::at(moving + end - on, end).moving(1.0),
    ]);
    (curve, [moving - (on - begin); 2])
}

/// The same at its own pace until the head meets the mat, `before` seconds from the ball: it comes to the
/// ball with the rest of its speed, and the body is late for it in the follow-through.
fn braked(begin: f64, impact: f64, (loss, before): (f64, f64), end: f64) -> (Curve, [f64; 2]) {
    const OVER_S: f64 = 0.25;
    let pace = 1.0 - loss;
    let braking = 0.6 * before;
    let (touch, slowed) = (
        impact - before,
        impact - before + braking * (1.0 - 0.5 * loss),
    );
    let touches = touch - begin;
    let hits = touches + braking + (impact - slowed) / pace;
    let late = hits - (impact - begin);
    let steady = |t: f64, x: f64, v: f64| Via::at(t, x).moving(v).accelerating(0.0);
    let (free, on) = (hits + OVER_S, impact + OVER_S * (1.0 - 0.5 * loss));
    let curve = Curve::through(&[
        steady(0.0, begin, 1.0),
        steady(touches, touch, 1.0),
        steady(touches + braking, slowed, pace),
        steady(hits, impact, pace),
        steady(free, on, 1.0),
        steady(free + end - on, end, 1.0),
    ]);
    // At impact itself the motion is as late as the mat made it.
    (curve, [late, free - (on - begin)])
}
