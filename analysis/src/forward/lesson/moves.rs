//! What a golfer does between walking in and walking out, each as one or more scenes. When and how
//! often is in `script`; drills are in `drills`, movements with the club
//! out of the usual hands in `apart`.

use std::f64::consts::{FRAC_PI_2, PI};
use std::sync::Arc;

use nalgebra::Point3;

use super::super::Ball;
use super::super::club::BALL_RADIUS;
use super::super::curve::{Curve, Via};
use super::super::motion::Motion;
use super::super::posture::Dof;
use super::figure::{Foot, Grip, Place, Stance};
use super::label::Kind;
use super::scene::{Course, Scene, Stroke, Told, joined, varied, walked};
use super::script::Script;

/// Stillness at the beginning of a stroke's scene, s.
const QUIET_S: f64 = 0.35;

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
    // Stances.

    /// Where nobody sees him.
    pub(super) fn outside(&self) -> Place {
        let home = self.figure.home();
        Place {
            x: -3.6,
            z: home.z - 0.6,
            heading: FRAC_PI_2,
        }
    }

    /// Ready to swing, at a place.
    pub(super) fn ready(&self, place: Place) -> Stance {
        Stance {
            posture: self.motion.posture(self.motion.times.takeaway - QUIET_S),
            place,
            feet: self.figure.feet().map(|f| place.foot(f)),
            hold: [1.0; 2],
            order: 1.0,
            flip: 0.0,
        }
    }

    /// Standing upright, the club in front, hanging.
    pub(super) fn upright(&self, place: Place) -> Stance {
        let ready = self.ready(place);
        let (home, build) = (self.figure.home(), &self.figure.build);
        let leg = build.thigh + build.shank;
        let posture = ready
            .posture
            .with(&[
                (Dof::PelvisX, home.x),
                (Dof::PelvisZ, home.z - 0.02),
                (Dof::PelvisY, build.ankles[0].y + 0.953 * leg),
                (Dof::ArmReach, 0.93),
                (Dof::ShaftSlope, self.figure.shape.lie - 0.15),
                (Dof::LeadGlide, 0.0),
                (Dof::TrailGlide, 0.02),
            ])
            .with(&degrees(&[
                (Dof::PelvisTurn, 0.0),
                (Dof::PelvisOblique, 0.0),
                (Dof::PelvisTilt, 6.0),
                (Dof::ThoraxTurn, 0.0),
                (Dof::ThoraxForward, 8.0),
                (Dof::ThoraxSide, 0.0),
                (Dof::HeadTurn, 0.0),
                (Dof::ArmAngle, 6.0),
                (Dof::ArmSlope, 74.0),
                (Dof::ShaftAngle, 10.0),
                (Dof::ShaftRoll, 0.0),
                (Dof::Azimuth, 0.0),
                (Dof::HeelLift, 0.0),
            ]));
        let narrower = self.figure.feet().map(|f| Foot { x: 0.8 * f.x, ..f });
        Stance {
            posture,
            feet: narrower.map(|f| place.foot(f)),
            ..ready
        }
    }

    /// Bent down, the trail hand at the floor.
    pub(super) fn bent(&self, place: Place) -> Stance {
        let upright = self.upright(place);
        let posture = upright
            .posture
            .plus(&[(Dof::PelvisY, -0.24), (Dof::PelvisZ, -0.10)])
            .with(&degrees(&[
                (Dof::PelvisTilt, 48.0),
                (Dof::ThoraxForward, 74.0),
                (Dof::ArmAngle, 28.0),
                (Dof::ArmSlope, 84.0),
                (Dof::ShaftAngle, 68.0),
                (Dof::ShaftSlope, 12.0),
            ]))
            .with(&[(Dof::ArmReach, 0.82)]);
        Stance {
            posture,
            hold: [1.0, 0.0],
            ..upright
        }
    }

    // Scenes.

    pub(super) fn scene(&mut self, name: &'static str, length: f64, course: Course) -> Scene {
        Scene {
            name,
            length,
            figure: Arc::clone(&self.figure),
            handed: self.golfer.handed,
            course,
            loose: None,
            club: self.club,
            jacket: false,
            coach: self.coach,
            told: None,
            upset: self.upset.take(),
        }
    }

    /// From now to a stance.
    pub(super) fn join(&mut self, name: &'static str, to: Stance, length: f64) {
        let course = joined(self.now, to, length);
        let scene = self.scene(name, length, course);
        self.plan(scene);
    }

    /// The same as a movement worth a label.
    pub(super) fn join_told(&mut self, name: &'static str, to: Stance, length: f64) {
        let course = joined(self.now, to, length);
        let scene = self.scene(name, length, course);
        self.plan(told(scene, Kind::Other));
    }

    pub(super) fn pause(&mut self, name: &'static str, low: f64, high: f64) {
        let (now, length) = (self.now, self.between(low, high));
        let scene = self.scene(name, length, Arc::new(move |_| now));
        self.plan(scene);
    }

    /// Walks, the club in front.
    pub(super) fn walk_to(&mut self, place: Place) {
        let to = self.upright(place);
        let (course, length) = walked(self.now, to);
        let scene = self.scene("walk", length, course);
        self.plan(told(scene, Kind::Other));
    }

    /// From the finish, or wherever, to standing upright.
    pub(super) fn stand_up(&mut self) {
        let to = self.upright(self.now.place);
        let length = self.between(2.0, 3.0);
        self.join("carry", to, length);
    }

    pub(super) fn tee(&mut self) {
        let place = self.figure.home().moved(0.0, 0.06);
        self.walk_to(place);
        let (down, up) = (self.between(1.2, 1.9), self.between(1.2, 1.8));
        let bent = self.bent(place);
        self.join_told("teeing", bent, down);
        self.pause("teeing", 0.5, 1.6);
        let upright = self.upright(place);
        self.join_told("teeing", upright, up);
    }

    /// Looks at the target from behind the ball.
    pub(super) fn behind_ball(&mut self) {
        self.walk_to(Place {
            x: -1.6,
            z: -0.1,
            heading: FRAC_PI_2,
        });
        if self.chance(0.4) {
            self.club_up();
        }
        self.pause("behind the ball", 0.8, 3.0);
    }

    /// The club held up in front, and down again.
    fn club_up(&mut self) {
        let back = self.now;
        let mut up = self.now;
        up.posture = up
            .posture
            .with(&degrees(&[
                (Dof::ShaftAngle, 168.0),
                (Dof::ShaftSlope, 72.0),
                (Dof::ArmSlope, 48.0),
            ]))
            .with(&[(Dof::ArmReach, 0.8)]);
        let (rise, sink) = (self.between(1.3, 2.2), self.between(1.3, 2.2));
        self.join_told("club held up", up, rise);
        self.pause("club held up", 0.6, 2.5);
        self.join_told("club held up", back, sink);
    }

    /// Stands about: weight from foot to foot, a hand off the club, the club up.
    pub(super) fn idle(&mut self) {
        for _ in 0..=self.count(&[1.0, 1.0, 1.0]) {
            let place = self.now.place;
            match self.count(&[1.0, 1.0, 1.0, 1.0]) {
                0 => self.club_up(),
                1 => {
                    let mut to = self.upright(place);
                    to.hold[1] = 0.0;
                    let length = self.between(0.9, 1.6);
                    self.join("a hand off the club", to, length);
                }
                2 => {
                    let mut to = self.upright(place);
                    let aside = self.between(-0.06, 0.06);
                    let turn = self.between(-0.5, 0.5);
                    to.posture = to.posture.plus(&[
                        (Dof::PelvisX, aside),
                        (Dof::ThoraxTurn, turn),
                        (Dof::HeadTurn, turn),
                    ]);
                    let length = self.between(1.2, 2.2);
                    self.join("shifts", to, length);
                }
                _ => {
                    let (x, z) = (self.between(-0.5, 0.3), self.between(-0.4, 0.1));
                    let heading = self.between(-0.6, 0.6);
                    let place = Place {
                        heading,
                        ..self.figure.home().moved(x, z)
                    };
                    self.walk_to(place);
                }
            }
            self.pause("stands", 0.5, 3.5);
        }
    }

    /// From wherever to the ball.
    pub(super) fn step_in(&mut self) {
        let home = self.figure.home();
        if self.now.place.distance(home) > 0.5 || self.now.place.heading != 0.0 {
            self.walk_to(home.moved(0.0, -0.08));
        }
        let length = self.between(1.2, 2.2);
        self.address(length);
    }

    /// Exactly the stance from which the golfer's swing starts.
    pub(super) fn address(&mut self, length: f64) {
        let to = self.ready(self.figure.home());
        self.join("steps in", to, length);
    }

    pub(super) fn settle(&mut self) {
        self.address(0.5);
        self.pause("address", 0.3, 1.6);
    }

    // At the ball.

    pub(super) fn waggle(&mut self) {
        let cycles = 1 + self.count(&[0.4, 0.4, 0.2]);
        let period = self.between(0.55, 1.1);
        let size = match self.source.unit() {
            u if u < 0.5 => self.between(0.08, 0.25),
            u if u < 0.85 => self.between(0.25, 0.55),
            _ => self.between(0.55, 0.95),
        };
        let mut vias = vec![Via::rest(0.0, 0.0)];
        let mut t = 0.0;
        for _ in 0..cycles {
            let back = size * self.between(0.85, 1.15);
            vias.push(Via::at(t + 0.5 * period, back).moving(0.0));
            t += period;
            vias.push(Via::at(t, 0.0).moving(0.0));
        }
        if let Some(last) = vias.last_mut() {
            *last = Via::rest(t, 0.0);
        }
        let curve = |share: f64| {
            let scaled: Vec<Via> = vias.iter().map(|v| v.scaled(share)).collect();
            Curve::through(&scaled)
        };
        let changes = vec![
            (Dof::ShaftAngle, curve(1.0)),
            (Dof::ArmAngle, curve(0.22)),
            (Dof::ThoraxTurn, curve(-0.08)),
            (Dof::ArmReach, curve(-0.03)),
        ];
        let course = varied(self.now, changes);
        let scene = self.scene("waggle", t, course);
        self.plan(told(scene, Kind::Waggle));
        self.pause("address", 0.15, 0.8);
    }

    /// The club lifted, a hand opened, the club soled again.
    pub(super) fn regrip(&mut self) {
        let back = self.now;
        let mut up = self.now;
        up.posture = up
            .posture
            .plus(&[(Dof::ShaftSlope, -0.35), (Dof::ArmReach, -0.05)]);
        up.hold[1] = 0.7;
        let (rise, sink) = (self.between(0.5, 0.9), self.between(0.6, 1.0));
        self.join_told("regrip", up, rise);
        self.pause("regrip", 0.3, 1.2);
        self.join_told("regrip", back, sink);
    }

    /// Hands and hips a little toward the target and back; the swing follows at once.
    pub(super) fn forward_press(&mut self) {
        let (there, back) = (self.between(0.22, 0.35), self.between(0.2, 0.3));
        let press = |size: f64| {
            Curve::through(&[
                Via::rest(0.0, 0.0),
                Via::at(there, size).moving(0.0),
                Via::rest(there + back, 0.0),
            ])
        };
        let changes = vec![
            (Dof::ArmAngle, press(-0.10)),
            (Dof::ShaftAngle, press(-0.05)),
            (Dof::PelvisX, press(0.018)),
        ];
        let course = varied(self.now, changes);
        let scene = self.scene("forward press", there + back, course);
        self.plan(scene);
    }

    /// A swing broken off in the backswing or just after the top, and the club brought back.
    pub(super) fn abort(&mut self) {
        self.settle();
        let times = self.motion.times;
        let begin = times.takeaway - QUIET_S;
        let until = match self.source.unit() {
            u if u < 0.85 => {
                times.takeaway + self.between(0.45, 1.0) * (times.top - times.takeaway)
            }
            _ => times.top + self.between(0.05, 0.3) * (times.impact - times.top),
        };
        let stop = until - begin + 0.18;
        let rest = stop + self.between(0.1, 1.2);
        let back = rest + self.between(1.0, 2.0);
        let time = Curve::through(&[
            Via::at(0.0, begin).moving(1.0),
            Via::at(0.6 * (until - begin), begin + 0.6 * (until - begin)).moving(1.0),
            Via::rest(stop, until),
            Via::rest(rest, until),
            Via::rest(back, begin),
        ]);
        let stroke = Stroke {
            motion: Arc::clone(&self.motion),
            time,
            size: [1.0; 2],
            aim: None,
            steps: Vec::new(),
        };
        let course = stroke.course(&self.figure, self.now);
        let mut scene = self.scene("abort", back, course);
        scene.told = Some(Told {
            kind: Kind::Abort,
            from: QUIET_S,
            to: back,
            impact: None,
            struck: false,
        });
        self.plan(scene);
    }

    // Strokes.

    /// A stroke from now on.
    pub(super) fn swing(&mut self, motion: Arc<Motion>, way: Way) {
        let times = motion.times;
        let begin = times.takeaway - QUIET_S;
        let (time, late) = match way.stop {
            None => (line((0.0, begin), way.slow, times.end), 0.0),
            Some(rest) => stopped(begin, times.top - 0.03, rest, times.end),
        };
        let scene_time = |t: f64| way.slow * (t - begin) + if t > times.top { late } else { 0.0 };
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
        };
        let course = stroke.course(&self.figure, self.now);
        let mut scene = self.scene(way.name, length, course);
        scene.told = Some(Told {
            kind: way.kind,
            from: scene_time(times.takeaway),
            to: length,
            impact: Some(impact),
            struck: way.struck,
        });
        self.plan(scene);
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

/// The scene as one labelled movement.
pub(super) fn told(scene: Scene, kind: Kind) -> Scene {
    Scene {
        told: Some(Told {
            kind,
            from: 0.0,
            to: scene.length,
            impact: None,
            struck: false,
        }),
        ..scene
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

/// The same at its own pace with a rest at `at`; also gives by how much all after it is late, s.
fn stopped(begin: f64, at: f64, rest: f64, end: f64) -> (Curve, f64) {
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
    (curve, moving - (on - begin))
}

pub(super) fn degrees(values: &[(Dof, f64)]) -> Vec<(Dof, f64)> {
    values
        .iter()
        .map(|&(dof, value)| (dof, value.to_radians()))
        .collect()
}
