//! The calibration trial: the same person without a club stands upright, moves each leg about its
//! hip, and stands again; with the medial markers that only such a trial has.
//!
//! The person is that of `person` and `anatomy`, so that every marker sits where it sits in the
//! swings. Stance and movement are invented, of the size that functional methods ask for.

use super::body::{
    Build, Legs, SIDES, Trunk, about_x, about_z, bay_from_pelvis, hip_middle, two_link, unit,
};
use super::capture::{CaptureParams, captured};
use super::curve::ease;
use super::noise::{Purpose, Source};
use super::posture::{Dof, Posture};
use super::skin::{ArmJoints, MARKERS};
use super::{GolferParams, plan};
use crate::handed::Handed;
use crate::landmark::Landmark;
use nalgebra::{Matrix3, Point3, Rotation3, Vector3};
use std::f64::consts::TAU;

/// One synthetic calibration trial.
#[derive(Debug, Clone)]
pub struct CalibrationTake {
    /// What each position of a frame is: the body's markers, then the medial ones.
    pub landmarks: Vec<Landmark>,
    /// Frames per second.
    pub rate_hz: f64,
    /// Positions in the bay frame, m; the first frame is at 0 s.
    pub frames: Vec<Vec<Option<Point3<f64>>>>,
    /// What the trial is to find out.
    pub truth: CalibrationTruth,
}

/// What is true of the person, and when he or she does what.
#[derive(Debug, Clone, PartialEq)]
pub struct CalibrationTruth {
    /// Left and right hip joint center in the pelvis frame (ISB: origin between the anterior iliac
    /// spines, x forward, y up, z to the right), m.
    pub hips: [Point3<f64>; 2],
    /// Marker to joint center, m, both sides alike.
    pub knee_half_width: f64,
    /// The same of the ankle, m.
    pub ankle_half_width: f64,
    /// The same of the elbow, m.
    pub elbow_half_width: f64,
    /// Quiet standing before and after, from and to, s.
    pub standing: [(f64, f64); 2],
    /// Movement of the left and of the right leg, from and to, s.
    pub moving: [(f64, f64); 2],
}

/// Standing before, the movement of each leg, and standing after, s.
const STAND_S: f64 = 2.5;
const LEG_S: f64 = 3.8;
const PAUSE_S: f64 = 0.4;
const AFTER_S: f64 = 1.2;

/// Knees in quiet standing, so that none comes to its end, rad.
const STANDING_KNEE: f64 = 0.21;

/// Stands and moves each leg, lead leg first.
///
/// The same parameters give the same bytes; shot, style, ball and head speed do not matter.
#[must_use]
pub fn calibration_trial(params: &GolferParams, capture: &CaptureParams) -> CalibrationTake {
    let mut source = Source::new(params.seed, Purpose::Calibration);
    let trial = Trial::new(plan::person(params), &mut source);
    let landmarks: Vec<Landmark> = MARKERS
        .into_iter()
        .filter(|l| !l.is_club())
        .chain(MEDIAL)
        .collect();
    let bones = |t: f64| trial.markers(t);
    CalibrationTake {
        rate_hz: capture.rate_hz,
        frames: captured(
            (&bones, END_S),
            &landmarks,
            (params.handed, capture),
            &mut source,
        ),
        landmarks,
        truth: trial.truth(params.handed),
    }
}

const MEDIAL: [Landmark; 6] = [
    Landmark::LeftKneeMedial,
    Landmark::RightKneeMedial,
    Landmark::LeftAnkleMedial,
    Landmark::RightAnkleMedial,
    Landmark::LeftElbowMedial,
    Landmark::RightElbowMedial,
];

/// When lead and trail leg move.
const LEGS_S: [(f64, f64); 2] = [
    (STAND_S, STAND_S + LEG_S),
    (STAND_S + LEG_S + PAUSE_S, STAND_S + 2.0 * LEG_S + PAUSE_S),
];
const END_S: f64 = STAND_S + 2.0 * LEG_S + PAUSE_S + AFTER_S;

struct Trial {
    build: Build,
    phase: f64,
}

impl Trial {
    /// The person with the feet side by side.
    fn new(mut build: Build, source: &mut Source) -> Self {
        let half = 0.085 * build.scale;
        let height = build.ankles[0].y;
        build.ankles = SIDES.map(|side| Point3::new(side * half, height, -0.8));
        build.flare = [0, 1].map(|_| source.around(8.0, 2.0).to_radians());
        Self {
            build,
            phase: source.between(0.0, TAU),
        }
    }

    fn markers(&self, t: f64) -> Vec<Point3<f64>> {
        let posture = self.posture(t);
        let legs = self.legs(t, &posture);
        let trunk = self.build.trunk(&posture);
        let arms = self.arms(&trunk);
        let thumb = trunk.thorax.column(2).into_owned();
        let mut markers = Vec::new();
        self.build.mark_pelvis(&legs, &mut markers);
        self.build.mark_trunk(&trunk, arms.0, &mut markers);
        self.build.mark_arms(arms, [thumb; 2], &mut markers);
        self.build.mark_legs(&legs, &mut markers);
        self.build.mark_medial(&legs, arms, &mut markers);
        markers
    }

    /// Pelvis and trunk: slight sway always, a few degrees more while a leg moves, the pelvis over
    /// the other leg and sinking a little on the side of the moving one.
    fn posture(&self, t: f64) -> Posture {
        let wave = |hz: f64, phase: f64| (TAU * hz * t + self.phase + phase).sin();
        let [lead, trail] = [0, 1].map(|side| lifted(t, side));
        let moving = lead + trail;
        let deg = |a: f64| a.to_radians();
        let mut posture = Posture::default().with(&[
            (
                Dof::PelvisX,
                0.035 * (trail - lead) + 0.002 * wave(0.35, 0.0),
            ),
            (Dof::PelvisZ, -0.8 + 0.01 + 0.003 * wave(0.27, 1.0)),
            (Dof::PelvisTurn, deg(2.5) * moving * wave(0.6, 0.0)),
            (
                Dof::PelvisOblique,
                deg(1.5) * (lead - trail) * (1.2 + wave(0.5, 2.0)),
            ),
            (
                Dof::PelvisTilt,
                deg(9.0) + deg(2.0) * moving * wave(0.7, 0.5),
            ),
            (Dof::ThoraxTurn, deg(1.0) * moving * wave(0.4, 0.0)),
            (Dof::ThoraxForward, deg(2.0) + deg(0.4) * wave(0.3, 0.0)),
            (Dof::ThoraxSide, deg(2.0) * (lead - trail)),
        ]);
        posture[Dof::PelvisY] = self.height(&posture, lead);
        posture
    }

    /// Height at which the leg that stands has its quiet flexion; both while both stand.
    fn height(&self, posture: &Posture, lead_lifted: f64) -> f64 {
        let length = self.build.hip_to_ankle(STANDING_KNEE);
        let level = hip_middle(&posture.with(&[(Dof::PelvisY, 0.0)]));
        let pelvis = bay_from_pelvis(posture);
        let [lead, trail] = [0, 1].map(|side| {
            let hip = level + pelvis * self.build.anatomy.hips[side];
            let ankle = self.build.ankles[side];
            let (dx, dz) = (hip.x - ankle.x, hip.z - ankle.z);
            ankle.y + (length * length - dx * dx - dz * dz).sqrt() - hip.y
        });
        lead + (trail - lead) * lead_lifted
    }

    /// Standing legs, and the moving one turned about its hip from there with its knee more bent.
    fn legs(&self, t: f64, posture: &Posture) -> Legs {
        let pelvis = bay_from_pelvis(posture);
        let middle = hip_middle(posture);
        let hips = self.build.anatomy.hips.map(|hip| middle + pelvis * hip);
        let standing = [0, 1].map(|side| self.build.foot(side, 0.0));
        let legs = [0, 1].map(|side| {
            let (ankle, foot) = standing[side];
            let forward = foot.column(2) + pelvis.column(2);
            let lengths = [self.build.thigh, self.build.shank];
            let knee = two_link(hips[side], ankle, lengths, forward);
            let (about_hip, bend) = movement(t, side);
            let turn = pelvis * about_hip * pelvis.transpose();
            let (thigh, shank) = (turn * (knee - hips[side]), turn * (ankle - knee));
            let axis = unit(thigh.cross(&shank));
            let flexed = Rotation3::from_scaled_axis(axis * bend);
            let knee = hips[side] + thigh;
            (knee, knee + flexed * shank, flexed * turn * foot)
        });
        Legs {
            pelvis,
            middle,
            hips,
            knees: legs.map(|l| l.0),
            ankles: legs.map(|l| l.1),
            feet: legs.map(|l| l.2),
        }
    }

    /// Arms hanging a little away from the body, elbows a little bent.
    fn arms(&self, trunk: &Trunk) -> ArmJoints {
        let shoulders = [0, 1].map(|side| self.build.shoulder(trunk, side, 0.0));
        let hang = |side: usize, forward: f64| {
            trunk.thorax * unit(Vector3::new(0.24 * SIDES[side], -1.0, forward))
        };
        let elbows = [0, 1].map(|side| shoulders[side] + hang(side, 0.0) * self.build.upper_arm);
        let wrists = [0, 1].map(|side| elbows[side] + hang(side, 0.3) * self.build.forearm);
        (shoulders, elbows, wrists)
    }

    /// The golfer's lead side is the left one of a right-handed golfer.
    fn truth(&self, handed: Handed) -> CalibrationTruth {
        let a = &self.build.anatomy;
        let sides = match handed {
            Handed::Right => [0, 1],
            Handed::Left => [1, 0],
        };
        let by_side = |side: usize| {
            let hip = a.hips[sides[side]] - a.mid_asis;
            let right = [-1.0, 1.0][side] * hip.x.abs();
            Point3::new(hip.z, hip.y, right)
        };
        CalibrationTruth {
            hips: [by_side(0), by_side(1)],
            knee_half_width: a.knee_half,
            ankle_half_width: a.ankle_half,
            elbow_half_width: a.elbow_half,
            standing: [(0.0, STAND_S), (LEGS_S[1].1, END_S)],
            moving: sides.map(|side| LEGS_S[side]),
        }
    }
}

/// How much a leg is off the floor, 0 to 1.
fn lifted(t: f64, side: usize) -> f64 {
    within(t, LEGS_S[side], 0.4)
}

/// 1 between two times, eased from and to 0 within `edge` s inside them.
fn within(t: f64, (from, to): (f64, f64), edge: f64) -> f64 {
    ease((t - from) / edge) * ease((to - t) / edge)
}

/// Turn of a leg about its hip in pelvis axes, and additional flexion of its knee, rad: twice
/// forward and back, twice out, then circles.
fn movement(t: f64, side: usize) -> (Matrix3<f64>, f64) {
    let (from, to) = LEGS_S[side];
    let part = |a: f64, b: f64| {
        let (a, b) = (from + a * (to - from), from + b * (to - from));
        (within(t, (a, b), 0.25), (t - a) / (b - a))
    };
    let (swing, s) = part(0.02, 0.40);
    let (out, o) = part(0.36, 0.72);
    let (circle, c) = part(0.66, 0.98);
    let (sin, cos) = (2.0 * TAU * c).sin_cos();
    let flexion = 25.0 * swing * (2.0 * TAU * s).sin() + 9.0 * circle * sin;
    let abduction = 25.0 * out * 0.5 * (1.0 - (2.0 * TAU * o).cos()) + circle * (9.0 + 9.0 * cos);
    let bend = lifted(t, side) * (18.0 + 8.0 * (2.0 * TAU * 1.5 * s).sin() * swing);
    let forward = about_x(-flexion.to_radians());
    let outward = about_z(SIDES[side] * abduction.to_radians());
    (outward * forward, bend.to_radians())
}
