//! Movements in which the club leaves the golfer's hands: laid down, tossed, shown by the coach, or
//! left out for a towel.

use std::sync::Arc;

use nalgebra::{Isometry3, Point3, Translation3, UnitQuaternion, Vector3};

use super::super::curve::ease;
use super::super::posture::Dof;
use super::figure::{Figure, Grip, Stance, between};
use super::label::Kind;
use super::moves::told;
use super::scene::{Course, Loose, Scene, Stroke, joined};
use super::script::Script;
use super::strokes::{Way, line};

impl Script {
    /// Swings of a rod or a towel: arms without a club.
    pub(super) fn towel_or_rod(&mut self) {
        self.club = false;
        self.pause("fetches a towel", 1.0, 3.0);
        self.ready_beside(Grip::Usual);
        for _ in 0..=self.count(&[1.0, 1.0]) {
            let motion = Arc::clone(&self.dry);
            let slow = self.between(0.95, 1.2);
            self.swing(motion, Way::rehearsal("rod or towel", slow, 0.9));
            self.pause("finish", 0.2, 0.8);
            let to = self.ready(self.now.place);
            let length = self.between(1.4, 2.2);
            self.join("carry", to, length);
        }
        self.stand_up();
        self.pause("fetches the club", 1.0, 3.0);
        self.club = true;
    }

    /// Lays the club down or drops it, stands about without it, takes it up again.
    pub(super) fn lay_down(&mut self) {
        let place = self.beside();
        self.walk_to(place);
        let upright = self.upright(place);
        let mut low = self.bent(place);
        low.posture = low.posture.plus(&[(Dof::PelvisY, -0.08)]);
        low.hold = [1.0, 0.4];
        let dropped = self.chance(0.3);
        let from = if dropped { upright } else { low };
        let length = self.between(1.4, 2.0);
        self.join_told("lays the club down", from, length);
        let held = self.figure.seen(&from, None).held;
        let lying = lying(&held, &self.figure);
        // Falls from the height that it has.
        let fall = (2.0 * (held.translation.y - 0.02).max(0.01) / 9.81).sqrt();
        let falling = self.loosely(&from, fall + 0.3, move |t| {
            (1.0, between(&held, &lying, (t / fall).powi(2).min(1.0)))
        });
        self.plan(falling);
        let still: Loose = Arc::new(move |_| (1.0, lying));
        let first = self.planned_len();
        let mut standing = upright;
        standing.hold = [0.0; 2];
        let length = self.between(1.4, 2.0);
        self.join("stands without the club", standing, length);
        for _ in 0..=self.count(&[1.0, 1.0]) {
            let turn = self.between(-0.5, 0.5);
            let mut to = standing;
            to.posture = to
                .posture
                .plus(&[(Dof::ThoraxTurn, turn), (Dof::HeadTurn, turn)]);
            let length = self.between(1.2, 2.2);
            self.join("stands without the club", to, length);
            self.pause("stands without the club", 1.0, 5.0);
        }
        let length = self.between(1.4, 2.0);
        self.join("picks the club up", low, length);
        self.loosen_from(first, &still);
        let taking = self.figure.seen(&low, None).held;
        let pick = self.loosely(&low, 0.7, move |t| {
            let share = ease(t / 0.7);
            (1.0, between(&lying, &taking, share))
        });
        self.plan(pick);
        let length = self.between(1.2, 1.8);
        self.join_told("picks the club up", upright, length);
    }

    /// Tosses the club up so that it turns over once, and catches it.
    pub(super) fn toss(&mut self) {
        let now = self.now;
        let held = self.figure.seen(&now, None).held;
        let (high, length) = (self.between(0.25, 0.6), self.between(0.6, 0.8));
        let axis = held.rotation * Vector3::x_axis();
        let tossed = self.loosely(&now, length, move |t| {
            let u = ease(t / length);
            let turn = UnitQuaternion::from_axis_angle(&axis, std::f64::consts::TAU * u);
            let middle = held * Point3::new(0.0, 0.5, 0.0);
            let up = Vector3::y() * (high * 4.0 * u * (1.0 - u));
            let about = Isometry3::from_parts(Translation3::from(middle.coords + up), turn)
                * Translation3::from(-middle.coords);
            (1.0, about * held)
        });
        self.plan(tossed);
        self.pause("stands", 0.3, 1.0);
    }

    /// The coach takes the club, swings it beside the golfer, and gives it back.
    pub(super) fn coach_shows(&mut self) {
        let home = self.figure.home();
        let aside = home.moved(-1.35, self.between(-0.3, 0.1));
        self.walk_to(aside);
        let upright = self.upright(aside);
        let figure = Arc::clone(&self.figure);
        let coach = home.moved(self.between(-0.1, 0.1), -0.35);
        let (ready, rest) = (self.ready(coach), self.upright(coach));
        let times = self.motion.times;
        let begin = times.takeaway - 0.35;
        let size = self.between(0.5, 1.0);
        let slow = self.between(1.0, 2.0);
        let stroke = Stroke {
            motion: Arc::clone(&self.dry),
            time: line((0.0, begin), slow, times.end),
            size: [size; 2],
            aim: None,
            steps: Vec::new(),
            seated: false,
        };
        let course = stroke.course(&figure, ready);
        let length = slow * (times.finish - begin);
        let end = course(length);
        let mut without = upright;
        without.hold = [0.0; 2];
        // Handed over, shown, handed back: the coach's own stances carry the club.
        let takes = joined(upright, without, 1.2);
        let own = move |stance: &Stance, figure: &Figure| figure.seen(stance, None).held;
        let give = {
            let figure = Arc::clone(&figure);
            move |t: f64| (ease(t / 1.6), own(&rest, &figure))
        };
        let mut scene = self.scene("club handed over", 1.8, takes);
        scene.loose = Some(Arc::new(give));
        self.plan(told(scene, Kind::Other));
        let parts: [(&'static str, f64, Course); 3] = [
            ("club handed over", 1.5, joined(rest, ready, 1.5)),
            ("the coach swings", length, course),
            ("the coach swings", 2.4, joined(end, rest, 2.4)),
        ];
        for (name, length, coach) in parts {
            let figure = Arc::clone(&figure);
            let mut scene = self.scene(name, length, Arc::new(move |_| without));
            scene.loose = Some(Arc::new(move |t| (1.0, own(&coach(t), &figure))));
            self.plan(told(scene, Kind::Other));
        }
        let mut scene = self.scene("club handed back", 1.8, joined(without, upright, 1.2));
        scene.loose = Some(Arc::new(move |t| {
            (1.0 - ease(t / 1.6), own(&rest, &figure))
        }));
        self.plan(told(scene, Kind::Other));
    }

    /// A scene in which the golfer stands and the club moves by itself.
    fn loosely(
        &mut self,
        stance: &Stance,
        length: f64,
        pose: impl Fn(f64) -> (f64, Isometry3<f64>) + Send + Sync + 'static,
    ) -> Scene {
        let stance = *stance;
        let mut scene = self.scene("club by itself", length, Arc::new(move |_| stance));
        scene.loose = Some(Arc::new(pose));
        told(scene, Kind::Other)
    }
}

/// The club on the floor under where it is held.
fn lying(held: &Isometry3<f64>, figure: &Figure) -> Isometry3<f64> {
    let shaft = held.rotation * Vector3::y();
    let flat = Vector3::new(shaft.x, 0.0, shaft.z);
    let flat = flat.try_normalize(1e-6).unwrap_or_else(Vector3::x);
    let turn = UnitQuaternion::rotation_between(&shaft, &flat).unwrap_or_default();
    let middle = held * Point3::new(0.0, 0.5 * figure.shape.length, 0.0);
    let rotation = turn * held.rotation;
    let at = Vector3::new(middle.x, 0.03, middle.z)
        - rotation * Vector3::new(0.0, 0.5 * figure.shape.length, 0.0);
    Isometry3::from_parts(at.into(), rotation)
}
