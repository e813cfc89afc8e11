//! What really happened: event times and metrics of the noise-free motion.
//!
//! Values are the generating parameters where there is one, otherwise found on the motion itself
//! by root finding and fine differences. Definitions and signs are those of the catalogue; nothing
//! of the code that measures is used. All values are those of the golfer frame, so that both sides
//! have the same. What is true at one instant is in `state`, what belongs to a stretch in `course`,
//! how segments turn in `turning`, forces in `ground`, masses in `mass`, the work on the club in
//! `club_work`. Quality metrics have no truth: they are about the capture.

mod club_work;
mod course;
mod ground;
mod mass;
mod state;
mod turning;

use super::body::Pose;
use super::ground::Reaction;
use super::mass::{Facts, Masses};
use super::momentum::Dynamics;
use super::motion::Motion;
use super::solve::{crossing, last_crossing, peak};
use super::{Ball, GolferParams};
use crate::handed::Handed;
use crate::landmark::Landmark;
use ground::Standing;
use nalgebra::{Point3, Vector3};
use state::{State, given_at};

/// The truth of one take.
#[derive(Debug, Clone)]
pub struct Truth {
    /// `shot` where a ball is struck, `rehearsal` where the head meets nothing.
    pub kind: &'static str,
    /// The golfer's side.
    pub handed: Handed,
    /// Event and its time, s from the first frame, in order of time. An event that does not occur
    /// (a lead arm that never comes level) is left out.
    pub events: Vec<(&'static str, f64)>,
    /// Metric and its value, SI and rad. A metric that has no value (the start of what never
    /// happens) is left out.
    pub metrics: Vec<(String, f64)>,
    /// What may be told of golfer and club.
    pub facts: Facts,
    scene: Scene,
}

/// Joint centers at one instant, golfer frame, m; lead, trail.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Joints {
    /// Hip joint centers.
    pub hips: [Point3<f64>; 2],
    /// Knee centers.
    pub knees: [Point3<f64>; 2],
    /// Ankle centers.
    pub ankles: [Point3<f64>; 2],
    /// Elbow centers.
    pub elbows: [Point3<f64>; 2],
    /// Wrist centers.
    pub wrists: [Point3<f64>; 2],
}

/// A motion with what its metrics refer to.
#[derive(Debug, Clone)]
struct Scene {
    /// Without the collision: all truth is that of before it.
    motion: Motion,
    /// Takeaway start by its definition, s.
    start: f64,
    /// The top, s.
    top: f64,
    /// Takeaway end, s.
    level_back: f64,
    /// Shaft level coming down, s.
    level_down: f64,
    /// Impact, s.
    impact: f64,
    /// The posture at address.
    address: State,
    /// The same motion with what it moves.
    dynamics: Dynamics,
    /// What the ground gives at address.
    standing: Standing,
    /// Mass center at address, m.
    mass_center: Point3<f64>,
    /// Middle of heel and toe at address, lead and trail, m.
    feet: [Point3<f64>; 2],
    /// What the ground gives from takeaway start to impact, a millisecond apart.
    table: Vec<(f64, Reaction)>,
}

/// Distance of the table's instants, s.
const TABLE_S: f64 = 1e-3;

impl Scene {
    fn of(motion: &Motion, masses: Masses, events: &[(&'static str, f64)]) -> Self {
        let time = |name| events.iter().find(|e| e.0 == name).map(|e| e.1);
        let times = motion.times;
        let dynamics = Dynamics::new(motion, masses);
        let quiet: Vec<f64> = state::quiet(motion).collect();
        let count = quiet.iter().map(|_| 1.0).sum::<f64>();
        let centers = quiet.iter().map(|&t| dynamics.mass_center(t).coords);
        let pose = motion.pose(times.takeaway);
        let middle = |heel, toe| nalgebra::center(&pose.marker(heel), &pose.marker(toe));
        let mut scene = Self {
            motion: motion.without_collision(),
            start: time("takeaway_start").unwrap_or(times.takeaway),
            top: times.top,
            level_back: time("takeaway_end").unwrap_or(times.takeaway),
            level_down: time("shaft_level_down").unwrap_or(times.top),
            impact: times.impact,
            address: State::at_address(motion),
            mass_center: Point3::from(centers.sum::<Vector3<f64>>() / count),
            feet: [
                middle(Landmark::LeftHeel, Landmark::LeftToe),
                middle(Landmark::RightHeel, Landmark::RightToe),
            ],
            standing: Standing::mean(&[]),
            table: Vec::new(),
            dynamics,
        };
        let standing: Vec<Standing> = quiet.iter().map(|&t| Standing::at(&scene, t)).collect();
        scene.standing = Standing::mean(&standing);
        scene.table = std::iter::successors(Some(scene.start), |t| Some(t + TABLE_S))
            .take_while(|&t| t < scene.impact)
            .chain([scene.impact])
            .map(|t| (t, scene.dynamics.reaction(t)))
            .collect();
        scene
    }

    /// Time and value of the largest `f` in a stretch of the swing: by the table, then on the motion.
    fn largest(&self, (from, to): (f64, f64), f: &dyn Fn(&Reaction) -> f64) -> (f64, f64) {
        let within = self.table.iter().filter(|r| (from..=to).contains(&r.0));
        let coarse = within
            .map(|(t, r)| (*t, f(r)))
            .fold(
                (from, f64::NEG_INFINITY),
                |a, b| if b.1 > a.1 { b } else { a },
            );
        let near = ((coarse.0 - TABLE_S).max(from), (coarse.0 + TABLE_S).min(to));
        let fine = peak(near.0, near.1, |t| f(&self.dynamics.reaction(t)));
        if fine.1 > coarse.1 { fine } else { coarse }
    }
}

impl Truth {
    /// The truth of a motion.
    pub(super) fn of(params: &GolferParams, motion: &Motion, masses: Masses) -> Self {
        let events = events(motion);
        let facts = masses.facts;
        let scene = Scene::of(motion, masses, &events);
        Self {
            kind: if params.ball == Ball::Missed {
                "rehearsal"
            } else {
                "shot"
            },
            handed: params.handed,
            metrics: metrics(&scene, &events),
            events,
            facts,
            scene,
        }
    }

    /// The time of an event, s from the first frame.
    #[must_use]
    pub fn event(&self, name: &str) -> Option<f64> {
        self.events.iter().find(|e| e.0 == name).map(|e| e.1)
    }

    /// The value of a metric, SI and rad.
    #[must_use]
    pub fn metric(&self, id: &str) -> Option<f64> {
        self.metrics.iter().find(|m| m.0 == id).map(|m| m.1)
    }

    /// Everything that has a value at time `t` (s from the first frame), under the identifier
    /// without its event: what `metrics` has at events, plus `angular_speed.S` and
    /// `angular_acceleration.S` of the four segments. SI and rad.
    #[must_use]
    pub fn at(&self, t: f64) -> Vec<(String, f64)> {
        let scene = &self.scene;
        let state = State::at(&scene.motion, t).metrics(&scene.address);
        let moving = course::velocities(&scene.motion, t);
        let center = scene.dynamics.mass_center(t);
        state
            .into_iter()
            .chain(moving)
            .chain(Standing::at(scene, t).metrics())
            .chain(mass::moved(&scene.mass_center, &center))
            .map(|(id, value)| (id.to_owned(), value))
            .chain(turning::at(&scene.motion, t))
            .collect()
    }

    /// Center of pressure of both feet at time `t` (s from the first frame), golfer frame, m.
    #[must_use]
    pub fn standing(&self, t: f64) -> Point3<f64> {
        self.scene.dynamics.reaction(t).common
    }

    /// True joint centers at time `t`, s from the first frame.
    #[must_use]
    pub fn joints(&self, t: f64) -> Joints {
        let pose = self.scene.motion.pose(t);
        Joints {
            hips: pose.hips,
            knees: pose.knees,
            ankles: pose.ankles,
            elbows: pose.elbows,
            wrists: pose.wrists,
        }
    }
}

fn metrics(scene: &Scene, events: &[(&'static str, f64)]) -> Vec<(String, f64)> {
    let mut metrics = course::timing(scene);
    for &(event, t) in events.iter().filter(|(event, _)| AT_EVENTS.contains(event)) {
        let (state, standing, center) = if event == "address" {
            (scene.address.clone(), scene.standing, scene.mass_center)
        } else {
            (
                State::at(&scene.motion, t),
                Standing::at(scene, t),
                scene.dynamics.mass_center(t),
            )
        };
        metrics.extend(
            state
                .metrics(&scene.address)
                .into_iter()
                .filter(|&(id, _)| given_at(id, event))
                .chain(standing.metrics())
                .chain(mass::moved(&scene.mass_center, &center))
                .map(|(id, value)| (format!("{id}@{event}"), value)),
        );
    }
    metrics.extend(course::metrics(scene));
    metrics.extend(turning::metrics(scene));
    metrics.extend(ground::metrics(scene));
    metrics.extend(mass::metrics(scene));
    metrics.extend(club_work::metrics(scene));
    metrics
}

/// Events that metrics with an `@` are given for.
const AT_EVENTS: [&str; 7] = [
    "address",
    "takeaway_end",
    "lead_arm_level_back",
    "top",
    "lead_arm_level_down",
    "shaft_level_down",
    "impact",
];

/// Speed of the face's reference point up to which it is still, m/s (REFERENCES D).
const STILL_MPS: f64 = 0.1;

/// Address is the last quiet instant, takeaway start the last passing of the still speed upward.
/// The search for it ends where the shaft is level: near the top the head may be slow again.
fn events(motion: &Motion) -> Vec<(&'static str, f64)> {
    let times = motion.times;
    let shaft = |t: f64| motion.pose(t).club.shaft().y;
    let arm = |t: f64| lead_arm(&motion.pose(t)).y;
    let takeaway_end = crossing(times.takeaway, times.top, shaft);
    let until = takeaway_end.unwrap_or(times.top);
    let over_still = |t: f64| motion.face_velocity(t).norm() - STILL_MPS;
    [
        ("address", Some(times.takeaway)),
        (
            "takeaway_start",
            last_crossing(times.takeaway - 0.5, until, over_still),
        ),
        ("takeaway_end", takeaway_end),
        (
            "lead_arm_level_back",
            crossing(times.takeaway, times.top, arm),
        ),
        ("top", Some(times.top)),
        (
            "lead_arm_level_down",
            last_crossing(times.top, times.impact, arm),
        ),
        (
            "shaft_level_down",
            last_crossing(times.top, times.impact, shaft),
        ),
        ("impact", Some(times.impact)),
        (
            "shaft_level_through",
            crossing(times.impact, times.finish, shaft),
        ),
        ("finish", Some(times.finish)),
    ]
    .into_iter()
    .filter_map(|(name, t)| Some((name, t?)))
    .collect()
}

/// Lead acromion to lead wrist center.
fn lead_arm(pose: &Pose) -> Vector3<f64> {
    pose.wrists[0] - pose.marker(Landmark::LeftAcromion)
}

fn named<const N: usize>(values: [(&str, f64); N]) -> Vec<(String, f64)> {
    values
        .into_iter()
        .map(|(id, value)| (id.to_owned(), value))
        .collect()
}
