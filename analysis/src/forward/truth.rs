//! What really happened: event times and metrics of the noise-free motion.
//!
//! Values are the generating parameters where there is one, otherwise found on the motion itself
//! by root finding and fine differences. Definitions and signs are those of METRICS.md; nothing of
//! the code that measures is used. All values are those of the golfer frame, so that both sides
//! have the same.

use super::body::Pose;
use super::motion::Motion;
use super::posture::Dof;
use super::solve::{crossing, last_crossing, peak};
use super::{Ball, GolferParams};
use crate::handed::Handed;
use crate::landmark::Landmark;
use nalgebra::{Point3, Vector3};

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
    /// Metric and its value, SI and rad.
    pub metrics: Vec<(String, f64)>,
}

impl Truth {
    /// The truth of a motion.
    pub(super) fn of(params: &GolferParams, motion: &Motion) -> Self {
        let events = events(motion);
        let kind = if params.ball == Ball::Missed {
            "rehearsal"
        } else {
            "shot"
        };
        let mut metrics = timing(motion);
        let reference = State::at_address(motion);
        for &(event, t) in events.iter().filter(|(event, _)| AT_EVENTS.contains(event)) {
            let state = if event == "address" {
                reference.clone()
            } else {
                State::at(motion, t)
            };
            metrics.extend(
                state
                    .metrics(&reference)
                    .filter(|(id, _)| *id != "shaft_lean" || LEAN_EVENTS.contains(&event))
                    .map(|(id, value)| (format!("{id}@{event}"), value)),
            );
        }
        metrics.extend(peaks(motion));
        Self {
            kind,
            handed: params.handed,
            events,
            metrics,
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

/// The shaft's lean means something only near the ball.
const LEAN_EVENTS: [&str; 2] = ["address", "impact"];

/// The last quiet instant is this long before the takeaway, s.
const LAST_QUIET_S: f64 = 0.05;

fn events(motion: &Motion) -> Vec<(&'static str, f64)> {
    let times = motion.times;
    let shaft = |t: f64| motion.pose(t).club.shaft().y;
    let arm = |t: f64| lead_arm(&motion.pose(t)).y;
    [
        ("address", Some(times.takeaway)),
        ("takeaway_start", Some(times.takeaway)),
        ("takeaway_end", crossing(times.takeaway, times.top, shaft)),
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

/// Heading of a direction toward the lead side: 0 along the target line, positive open.
fn heading(lead: Vector3<f64>) -> f64 {
    (-lead.z).atan2(lead.x)
}

fn timing(motion: &Motion) -> Vec<(String, f64)> {
    let times = motion.times;
    let (back, down) = (times.top - times.takeaway, times.impact - times.top);
    named([
        ("backswing_time", back),
        ("downswing_time", down),
        ("tempo_ratio", back / down),
    ])
}

fn named<const N: usize>(values: [(&str, f64); N]) -> Vec<(String, f64)> {
    values
        .into_iter()
        .map(|(id, value)| (id.to_owned(), value))
        .collect()
}

/// What is asked for at an event.
#[derive(Debug, Clone)]
struct State {
    pelvis: Point3<f64>,
    head: Point3<f64>,
    /// Pelvis turn, obliquity, anterior tilt; thorax turn, inclination forward and to the side.
    trunk: [f64; 6],
    shoulders: f64,
    knees: [f64; 2],
    lean: f64,
}

impl State {
    fn at(motion: &Motion, t: f64) -> Self {
        let posture = motion.posture(t);
        let pose = motion.pose(t);
        let head = [Landmark::HeadFront, Landmark::HeadLeft, Landmark::HeadRight]
            .map(|m| pose.marker(m).coords);
        let grip_from_head = -pose.club.shaft();
        Self {
            pelvis: nalgebra::center(&pose.hips[0], &pose.hips[1]),
            head: Point3::from((head[0] + head[1] + head[2]) / 3.0),
            trunk: [
                Dof::PelvisTurn,
                Dof::PelvisOblique,
                Dof::PelvisTilt,
                Dof::ThoraxTurn,
                Dof::ThoraxForward,
                Dof::ThoraxSide,
            ]
            .map(|dof| posture[dof]),
            shoulders: shoulder_line(&pose),
            knees: [0, 1].map(|side| pose.knee_flexion(side)),
            lean: grip_from_head.x.atan2(grip_from_head.y),
        }
    }

    /// The mean over the last quiet quarter of a second.
    fn at_address(motion: &Motion) -> Self {
        let last = motion.times.takeaway - LAST_QUIET_S;
        let states: Vec<Self> = (0..=25)
            .map(|i| Self::at(motion, last - 0.01 * f64::from(i)))
            .collect();
        let mean = |value: &dyn Fn(&Self) -> f64| states.iter().map(value).sum::<f64>() / 26.0;
        let mean_point = |point: &dyn Fn(&Self) -> Point3<f64>| {
            Point3::from([0, 1, 2].map(|axis| mean(&|s: &Self| point(s)[axis])))
        };
        Self {
            pelvis: mean_point(&|s| s.pelvis),
            head: mean_point(&|s| s.head),
            trunk: std::array::from_fn(|i| mean(&|s: &Self| s.trunk[i])),
            shoulders: mean(&|s| s.shoulders),
            knees: std::array::from_fn(|i| mean(&|s: &Self| s.knees[i])),
            lean: mean(&|s| s.lean),
        }
    }

    fn metrics(&self, reference: &Self) -> impl Iterator<Item = (&'static str, f64)> + use<> {
        let pelvis = self.pelvis - reference.pelvis;
        let head = self.head - reference.head;
        let [turn, oblique, tilt, thorax, forward, side] = self.trunk;
        [
            ("pelvis_shift", pelvis.x),
            ("pelvis_rise", pelvis.y),
            ("pelvis_depth", pelvis.z),
            ("head_shift", head.x),
            ("head_rise", head.y),
            ("pelvis_rotation", turn),
            ("thorax_rotation", thorax),
            ("shoulder_line_rotation", self.shoulders),
            ("separation", turn - thorax),
            ("pelvis_obliquity", oblique),
            ("pelvis_anterior_tilt", tilt),
            ("thorax_inclination", forward),
            ("thorax_side_inclination", side),
            ("knee_flexion.lead", self.knees[0]),
            ("knee_flexion.trail", self.knees[1]),
            ("shaft_lean", self.lean),
        ]
        .into_iter()
    }
}

/// Heading of the line through the acromia, as it was made: near the thorax's, never wrapped.
fn shoulder_line(pose: &Pose) -> f64 {
    heading(pose.marker(Landmark::LeftAcromion) - pose.marker(Landmark::RightAcromion))
}

fn peaks(motion: &Motion) -> Vec<(String, f64)> {
    let times = motion.times;
    let separation = |t: f64| {
        let posture = motion.posture(t);
        posture[Dof::PelvisTurn] - posture[Dof::ThoraxTurn]
    };
    let grip = |t: f64| motion.grip_velocity(t).norm();
    let head = |t: f64| motion.face_velocity(t).norm();
    let (separation_time, separation) = peak(times.takeaway, times.impact, separation);
    let (grip_time, grip_peak) = peak(times.top, times.impact, grip);
    let (head_time, head_peak) = peak(times.top, times.impact, head);
    let velocity = motion.face_velocity(times.impact);
    let mut metrics = named([
        ("separation_peak", separation),
        ("separation_peak_time", separation_time - times.top),
        ("grip_speed_peak", grip_peak),
        ("grip_speed@impact", grip(times.impact)),
        ("grip_speed_peak_time", times.impact - grip_time),
        ("head_speed@impact", velocity.norm()),
        ("head_speed_peak", head_peak),
        ("head_speed_peak_time", times.impact - head_time),
        (
            "attack_angle",
            velocity.y.atan2(velocity.x.hypot(velocity.z)),
        ),
        ("path_direction", velocity.z.atan2(velocity.x)),
    ]);
    metrics.extend(reversals(motion));
    metrics.extend(rotation_budget(motion));
    metrics
}

/// How long before the club the other segments reverse. The lead arm is followed about the normal
/// of the downswing plane.
fn reversals(motion: &Motion) -> Vec<(String, f64)> {
    let times = motion.times;
    let plane = motion.downswing_plane();
    let arm = |t: f64| {
        let line = lead_arm(&motion.pose(t));
        (-line.dot(&plane.along)).atan2(-line.dot(&plane.up_slope))
    };
    let from = 0.5 * (times.takeaway + times.top);
    let last_closed = |dof: Dof| peak(from, times.impact, |t| -motion.posture(t)[dof]).0;
    named([
        (
            "reversal_lead.pelvis",
            times.top - last_closed(Dof::PelvisTurn),
        ),
        (
            "reversal_lead.thorax",
            times.top - last_closed(Dof::ThoraxTurn),
        ),
        (
            "reversal_lead.lead_arm",
            times.top - peak(from, times.impact, arm).0,
        ),
    ])
}

fn rotation_budget(motion: &Motion) -> Vec<(String, f64)> {
    let [top, impact] = [motion.times.top, motion.times.impact].map(|t| motion.posture(t));
    [("pelvis", Dof::PelvisTurn), ("thorax", Dof::ThoraxTurn)]
        .into_iter()
        .flat_map(|(segment, dof)| {
            let (closed, open) = (-top[dof], impact[dof]);
            [
                (format!("rotation_range_down.{segment}"), open + closed),
                (format!("rotation_balance.{segment}"), open / closed),
                (format!("rotation_excess.{segment}"), closed - open),
            ]
        })
        .collect()
}
