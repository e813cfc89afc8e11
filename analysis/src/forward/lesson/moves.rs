//! What a golfer does between walking in and walking out, each as one or more scenes. When and how
//! often is in `script`; drills are in `drills`, movements with the club
//! out of the usual hands in `apart`.

use std::f64::consts::FRAC_PI_2;
use std::sync::Arc;

use super::super::curve::{Curve, Via};
use super::super::posture::Dof;
use super::figure::{Foot, Place, Stance};
use super::label::Kind;
use super::scene::{Course, Scene, Stroke, Told, joined, varied, walked};
use super::script::Script;
use super::strokes::QUIET_S;

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
            seat: 0.0,
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
            smooth: None,
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
            seated: false,
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

pub(super) fn degrees(values: &[(Dof, f64)]) -> Vec<(Dof, f64)> {
    values
        .iter()
        .map(|&(dof, value)| (dof, value.to_radians()))
        .collect()
}
