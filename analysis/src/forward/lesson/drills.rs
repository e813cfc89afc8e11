//! Drills and oddities: strokes in unusual stances and grips, at once after another, from the wrong
//! side; sitting, a coach's hands, a jacket that is left behind. Plain strokes are in `moves`.

use std::f64::consts::FRAC_PI_2;
use std::sync::Arc;

use nalgebra::Point3;

use super::super::Ball;
use super::super::club::BALL_RADIUS;
use super::super::curve::{Curve, Via};
use super::super::posture::Dof;
use super::figure::{Foot, Grip, Place, Stance};
use super::label::Kind;
use super::moves::{degrees, told};
use super::scene::varied;
use super::script::Script;
use super::strokes::Way;

/// Share of the weight that a seat bears (common practice, no source).
const SEAT_SHARE: f64 = 0.8;

impl Script {
    /// Feet side by side for the next stroke.
    fn together(&mut self) {
        let mut to = self.now;
        let home = self.figure.home();
        to.feet = self
            .figure
            .feet()
            .map(|f| home.foot(Foot { x: 0.35 * f.x, ..f }));
        let length = self.between(1.2, 1.8);
        self.join("feet together", to, length);
        self.pause("address", 0.4, 1.2);
    }

    pub(super) fn feet_together(&mut self) {
        self.together();
        let size = self.between(0.6, 0.8);
        self.hit(Way {
            size: [size, 0.6 * size],
            aim: Some(0.0),
            ..Way::full("feet together")
        });
    }

    /// The lead foot steps out as the club comes to the top.
    pub(super) fn step_drill(&mut self) {
        self.together();
        let out = 0.6 * self.figure.feet()[0].x;
        let top = self.motion.times.top - self.motion.times.takeaway;
        self.hit(Way {
            size: [0.85, 0.6],
            aim: Some(0.0),
            steps: vec![(0, [out, 0.0], (top - 0.25, top + 0.08))],
            ..Way::full("step-in drill")
        });
    }

    /// The trail foot walks on through the ball.
    pub(super) fn walk_through(&mut self) {
        let impact = self.motion.times.impact - self.motion.times.takeaway;
        self.hit(Way {
            steps: vec![(1, [0.34, 0.12], (impact + 0.15, impact + 0.8))],
            ..Way::full("walk-through drill")
        });
    }

    pub(super) fn one_arm(&mut self) {
        let off = self.count(&[1.0, 1.0]);
        let mut to = self.now;
        to.hold[off] = 0.0;
        self.join("a hand off the club", to, 1.0);
        self.pause("address", 0.3, 1.0);
        let (size, slow) = (self.between(0.55, 0.75), self.between(1.1, 1.4));
        self.hit(Way {
            size: [size; 2],
            slow,
            aim: Some(0.0),
            ..Way::full("one arm")
        });
    }

    /// Swing after swing from finish to takeaway, nothing in between.
    pub(super) fn continuous(&mut self) {
        for _ in 0..=self.count(&[0.0, 1.0, 1.0, 1.0]) {
            let to = self.ready(self.now.place);
            let length = self.between(1.0, 1.5);
            self.join("swings on", to, length);
            let motion = Arc::clone(&self.dry);
            let slow = self.between(1.0, 1.3);
            self.swing(motion, Way::rehearsal("continuous swings", slow, 0.9));
        }
    }

    /// A second ball at once.
    pub(super) fn again_at_once(&mut self) {
        let length = self.between(1.3, 2.0);
        self.address(length);
        self.hit(Way::full("second ball at once"));
    }

    pub(super) fn odd_grips(&mut self) {
        let (grip, name) = match self.count(&[1.0, 1.0]) {
            0 => (Grip::Crossed, "cross-handed"),
            _ => (Grip::UpsideDown, "club upside down"),
        };
        self.ready_beside(grip);
        self.pause("address", 0.2, 1.0);
        let motion = Arc::clone(&self.dry);
        let slow = self.between(1.0, 1.4);
        self.swing(motion, Way::rehearsal(name, slow, 0.9));
        self.pause("finish", 0.2, 0.8);
        self.stand_up();
    }

    /// A practice swing beside the ball, a step, and the shot within two seconds.
    pub(super) fn rehearse_and_hit(&mut self) {
        self.ready_beside(Grip::Usual);
        self.pause("address", 0.1, 0.5);
        let motion = Arc::clone(&self.dry);
        let way = Way::rehearsal("practice swing before the shot", 1.05, 0.95);
        self.swing(motion, way);
        let length = self.between(1.2, 1.5);
        self.address(length);
        self.hit(Way::full("shot within two seconds"));
    }

    /// At full speed a hand's width inside the ball.
    pub(super) fn beside_the_ball(&mut self) {
        let inside = self.between(-0.17, -0.11);
        let to = self.ready(self.figure.home().moved(0.0, inside));
        let length = self.between(0.8, 1.4);
        self.join("steps in", to, length);
        self.pause("address", 0.3, 1.0);
        let motion = Arc::clone(&self.dry);
        self.swing(motion, Way::rehearsal("beside the ball", 1.0, 1.0));
    }

    /// Into the sand behind a ball, the shaft never level.
    pub(super) fn bunker(&mut self) {
        let (size, slow) = (self.between(0.26, 0.31), self.between(0.75, 0.95));
        let behind = self.between(0.03, 0.06);
        self.hit(Way {
            kind: Kind::Partial,
            struck: false,
            size: [size; 2],
            slow,
            aim: Some(behind),
            ..Way::full("bunker")
        });
    }

    /// A heavy club swung to and fro.
    pub(super) fn weighted(&mut self) {
        self.ready_beside(Grip::Usual);
        for _ in 0..=self.count(&[1.0, 1.0, 1.0]) {
            let (slow, size) = (self.between(1.3, 1.8), self.between(0.75, 0.95));
            let motion = Arc::clone(&self.dry);
            self.swing(motion, Way::rehearsal("weighted club", slow, size));
            let to = self.ready(self.now.place);
            let length = self.between(1.4, 2.2);
            self.join("carry", to, length);
        }
        self.stand_up();
    }

    /// A foot taken off the floor and put down again.
    pub(super) fn lift_a_foot(&mut self) {
        let back = self.now;
        let side = self.count(&[1.0, 1.0]);
        let mut up = self.now;
        up.feet[side].lift = self.between(0.04, 0.12);
        let over = [-0.05, 0.05][side];
        up.posture = up.posture.plus(&[(Dof::PelvisX, over)]);
        let (rise, sink) = (self.between(0.8, 1.3), self.between(0.8, 1.3));
        self.join_told("a foot lifted", up, rise);
        self.pause("a foot lifted", 0.2, 1.0);
        self.join_told("a foot lifted", back, sink);
    }

    /// Sits down on a stool and plays about with the club.
    pub(super) fn sit(&mut self) {
        let place = self.figure.home().moved(-0.9, -0.35);
        self.walk_to(place);
        let seated = self.seated(place);
        let down = self.between(1.6, 2.2);
        self.join_told("sits down", seated, down);
        for _ in 0..=self.count(&[1.0, 1.0]) {
            self.pause("sits", 0.5, 3.0);
            let (size, period) = (self.between(0.2, 0.9), self.between(0.7, 1.4));
            let wave = |size: f64| {
                let vias: Vec<Via> = [0.0, 1.0, -0.6, 0.8, 0.0]
                    .into_iter()
                    .zip([0.0, 0.5, 1.0, 1.5, 2.0])
                    .map(|(x, t)| Via::at(t * period, size * x).moving(0.0))
                    .collect();
                Curve::through(&vias)
            };
            let changes = vec![
                (Dof::ShaftAngle, wave(size)),
                (Dof::ArmAngle, wave(0.3 * size)),
                (Dof::ThoraxTurn, wave(-0.2 * size)),
            ];
            let course = varied(self.now, changes);
            let scene = self.scene("sits, the club moves", 2.0 * period, course);
            self.plan(told(scene, Kind::Other));
        }
        let upright = self.upright(place);
        let up = self.between(1.5, 2.1);
        self.join_told("stands up", upright, up);
    }

    /// A shot from a stool or a wheelchair: arms and trunk swing, the pelvis stays on the seat.
    pub(super) fn seated_shot(&mut self) {
        let trunk = self.between(0.45, 0.7);
        let way = Way {
            size: [1.0, trunk],
            slow: self.between(1.0, 1.25),
            seated: true,
            ..Way::full("seated shot")
        };
        let seat = self.between(0.50, 0.60);
        let ready = self.seated_at_ball(&way, seat);
        let upright = self.upright(ready.place);
        self.walk_to(upright.place);
        let mut down = ready;
        // The club is held away from the ball while he sits down.
        down.posture = down.posture.plus(&[(Dof::ShaftSlope, -0.25)]);
        let length = self.between(1.6, 2.2);
        self.join_told("sits down", down, length);
        for _ in 0..=self.count(&[2.0, 1.0, 1.0]) {
            let length = self.between(0.7, 1.2);
            self.join("address", ready, length);
            self.pause("address", 0.5, 1.5);
            self.hit(way.clone());
            self.pause("finish", 0.2, 1.0);
            let length = self.between(1.6, 2.4);
            self.join("carry", down, length);
        }
        let length = self.between(1.5, 2.1);
        self.join_told("stands up", upright, length);
    }

    /// Seated at this height (m) such that the face comes to the ball: the shaft as flat as it must be, the
    /// seat as far from the ball.
    fn seated_at_ball(&self, way: &Way, seat: f64) -> Stance {
        let home = self.figure.home();
        let ready = self.ready(home);
        let mut stance = ready;
        stance.seat = SEAT_SHARE;
        stance.posture = ready
            .posture
            .plus(&[(Dof::PelvisZ, -0.36)])
            .with(&[(Dof::PelvisY, seat)])
            .with(&degrees(&[
                (Dof::PelvisTurn, 0.0),
                (Dof::PelvisOblique, 0.0),
                (Dof::PelvisTilt, 4.0),
                (Dof::ThoraxForward, 30.0),
                (Dof::ArmSlope, 66.0),
                (Dof::HeelLift, 0.0),
            ]));
        let wanted = Point3::new(-BALL_RADIUS, self.figure.shape.ball_height(), 0.0);
        let miss = |stance: &Stance| {
            let end = self.at_impact(way, *stance);
            let held = self.figure.seen(&end, None).held;
            wanted - held * Point3::from(self.figure.shape.face())
        };
        // The flatter the shaft, the higher the face.
        let (mut flat, mut steep) = (0.05, 1.3);
        for _ in 0..40 {
            let middle = 0.5 * (flat + steep);
            stance.posture[Dof::ShaftSlope] = middle;
            if miss(&stance).y > 0.0 {
                steep = middle;
            } else {
                flat = middle;
            }
        }
        let off = miss(&stance);
        stance.place = home.moved(off.x, off.z);
        stance.feet = self.figure.feet().map(|f| stance.place.foot(f));
        stance
    }

    fn seated(&self, place: Place) -> Stance {
        let upright = self.upright(place);
        let posture = upright
            .posture
            .plus(&[(Dof::PelvisZ, -0.40)])
            .with(&[(Dof::PelvisY, 0.50), (Dof::ArmReach, 0.75)])
            .with(&degrees(&[
                (Dof::PelvisTilt, -8.0),
                (Dof::ThoraxForward, 14.0),
                (Dof::ArmSlope, 52.0),
                (Dof::ShaftSlope, 22.0),
            ]));
        Stance {
            posture,
            seat: SEAT_SHARE,
            ..upright
        }
    }

    /// The golfer is out, his marked jacket hangs over a chair.
    pub(super) fn jacket(&mut self) {
        let chair = Place {
            heading: FRAC_PI_2,
            ..self.figure.home().moved(-1.3, -0.5)
        };
        self.walk_to(self.outside());
        self.pause("away", 1.5, 4.0);
        let hanging = self.seated(chair);
        let length = self.between(6.0, 20.0);
        let mut scene = self.scene("a jacket on a chair", length, Arc::new(move |_| hanging));
        scene.jacket = true;
        scene.club = false;
        self.plan(scene);
        self.now = self.upright(self.outside());
        self.pause("away", 1.5, 4.0);
    }

    /// The coach leads the golfer by hip and elbow through a slow swing.
    pub(super) fn led_by_the_coach(&mut self) {
        self.ready_beside(Grip::Usual);
        self.coach = true;
        self.pause("the coach's hands", 1.0, 3.0);
        let motion = Arc::clone(&self.dry);
        let slow = self.between(2.2, 4.5);
        self.swing(motion, Way::rehearsal("led by the coach", slow, 0.9));
        self.pause("the coach's hands", 0.4, 1.5);
        self.coach = false;
        self.stand_up();
    }

    /// Practice swings from the other side: the golfer comes back the other way round.
    pub(super) fn opposite_side(&mut self) {
        self.turned_round();
        self.ready_beside(Grip::Usual);
        for _ in 0..=self.count(&[1.0, 1.0]) {
            self.pause("address", 0.2, 0.8);
            let motion = Arc::clone(&self.dry);
            let (slow, size) = (self.between(1.1, 1.6), self.between(0.75, 0.9));
            self.swing(motion, Way::rehearsal("opposite side", slow, size));
            self.pause("finish", 0.2, 0.8);
            let to = self.ready(self.now.place);
            let length = self.between(1.6, 2.4);
            self.join("carry", to, length);
        }
        self.stand_up();
        self.turned_round();
        self.shot(Ball::Centered);
    }

    fn turned_round(&mut self) {
        self.walk_to(self.outside());
        self.pause("away", 1.0, 3.0);
        self.golfer.handed = self.golfer.handed.other();
    }
}
