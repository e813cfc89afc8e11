//! What is true at one instant: places, headings, inclinations, joint angles.
//!
//! Nothing here is differentiated: velocities are in `course`, turning in `turning`.

use crate::forward::body::Pose;
use crate::forward::motion::Motion;
use crate::forward::posture::Dof;
use crate::landmark::Landmark;
use nalgebra::{Point3, Vector3};

/// The last quiet instant is this long before the takeaway, s.
const LAST_QUIET_S: f64 = 0.05;

/// Places and angles at one instant, golfer frame.
#[derive(Debug, Clone)]
pub(super) struct State {
    /// Pelvis point, head, lead hip, trail hip, lead heel, trail heel, then the iliac spines, m.
    points: [Point3<f64>; 10],
    /// Pelvis: heading, obliquity, tilt; thorax: heading, inclinations toward the ball and away
    /// from the target, rad.
    trunk: [f64; 6],
    /// Heading of the shoulder line, knee flexions (lead, trail), hinge, shaft lean, face, rad.
    limbs: [f64; 6],
}

impl State {
    /// The state at time `t`, s.
    pub(super) fn at(motion: &Motion, t: f64) -> Self {
        let posture = motion.posture(t);
        let pose = motion.pose(t);
        Self {
            points: points(&pose),
            trunk: [
                Dof::PelvisTurn,
                Dof::PelvisOblique,
                Dof::PelvisTilt,
                Dof::ThoraxTurn,
                Dof::ThoraxForward,
                Dof::ThoraxSide,
            ]
            .map(|dof| posture[dof]),
            limbs: limbs(&pose),
        }
    }

    /// The mean over the last quiet quarter of a second.
    pub(super) fn at_address(motion: &Motion) -> Self {
        let states: Vec<Self> = quiet(motion).map(|t| Self::at(motion, t)).collect();
        let count = states.iter().map(|_| 1.0).sum::<f64>();
        let mean = |value: &dyn Fn(&Self) -> f64| states.iter().map(value).sum::<f64>() / count;
        Self {
            points: std::array::from_fn(|i| {
                Point3::from([0, 1, 2].map(|axis| mean(&|s: &Self| s.points[i][axis])))
            }),
            trunk: std::array::from_fn(|i| mean(&|s: &Self| s.trunk[i])),
            limbs: std::array::from_fn(|i| mean(&|s: &Self| s.limbs[i])),
        }
    }

    /// Pelvis rotation minus thorax rotation, rad.
    pub(super) fn separation(&self) -> f64 {
        self.trunk[0] - self.trunk[3]
    }

    /// Headings of pelvis, thorax and shoulder line, rad.
    pub(super) fn headings(&self) -> [f64; 3] {
        [self.trunk[0], self.trunk[3], self.limbs[0]]
    }

    /// Flexion of a knee (0 lead, 1 trail), rad.
    pub(super) fn knee(&self, side: usize) -> f64 {
        self.limbs[1 + side]
    }

    /// Every metric of an instant, against the state at `address`.
    pub(super) fn metrics(&self, address: &Self) -> Vec<(&'static str, f64)> {
        let [pelvis, head] = [0, 1].map(|i| self.points[i] - address.points[i]);
        let [turn, oblique, tilt, thorax, forward, side] = self.trunk;
        let [shoulders, lead_knee, trail_knee, hinge, lean, face] = self.limbs;
        let [lead_before, trail_before] = [address.knee(0), address.knee(1)];
        vec![
            ("pelvis_shift", pelvis.x),
            ("pelvis_rise", pelvis.y),
            ("pelvis_depth", pelvis.z),
            ("pelvis_heel_offset", self.heel_offset(address)),
            ("head_shift", head.x),
            ("head_rise", head.y),
            ("pelvis_rotation", turn),
            ("thorax_rotation", thorax),
            ("shoulder_line_rotation", shoulders),
            ("separation", self.separation()),
            ("pelvis_obliquity", oblique),
            ("pelvis_anterior_tilt", tilt),
            ("thorax_inclination", forward),
            ("thorax_side_inclination", side),
            ("inclination_change", forward - address.trunk[4]),
            ("knee_flexion.lead", lead_knee),
            ("knee_flexion.trail", trail_knee),
            ("knee_change.lead", lead_knee - lead_before),
            ("knee_change.trail", trail_knee - trail_before),
            ("knee_ratio.lead", lead_knee / lead_before),
            ("hip_height_difference", self.points[3].y - self.points[2].y),
            ("hinge", hinge),
            ("shaft_lean", lean),
            ("face_direction", face),
        ]
    }

    /// How far the rearmost iliac spine is behind the vertical plane through the heels of
    /// `address`.
    fn heel_offset(&self, address: &Self) -> f64 {
        let [lead, trail] = [address.points[4], address.points[5]];
        let line = lead - trail;
        // Up × (toward the target) points away from the ball.
        let behind = Vector3::new(line.z, 0.0, -line.x) / line.x.hypot(line.z);
        self.points[6..]
            .iter()
            .map(|spine| behind.dot(&(spine - lead)))
            .fold(f64::NEG_INFINITY, f64::max)
    }
}

/// Instants of the last quiet quarter of a second, s.
pub(super) fn quiet(motion: &Motion) -> impl Iterator<Item = f64> {
    let last = motion.times.takeaway - LAST_QUIET_S;
    (0..26_u32).map(move |i| last - 0.01 * f64::from(i))
}

/// Whether a metric of an instant is one at this event.
pub(super) fn given_at(id: &str, event: &str) -> bool {
    match id {
        // They mean something only near the ball.
        "shaft_lean" | "face_direction" | "pelvis_heel_offset" => {
            matches!(event, "address" | "impact")
        }
        "inclination_change" => matches!(event, "top" | "impact"),
        "knee_change.lead" | "knee_change.trail" | "knee_ratio.lead" | "hip_height_difference" => {
            event == "top"
        }
        _ => true,
    }
}

fn points(pose: &Pose) -> [Point3<f64>; 10] {
    use Landmark as L;
    let [a, b, c] = [L::HeadFront, L::HeadLeft, L::HeadRight].map(|m| pose.marker(m).coords);
    let [lead, trail] = pose.hips;
    [
        nalgebra::center(&lead, &trail),
        Point3::from((a + b + c) / 3.0),
        lead,
        trail,
        pose.marker(L::LeftHeel),
        pose.marker(L::RightHeel),
        pose.marker(L::LeftAsis),
        pose.marker(L::RightAsis),
        pose.marker(L::LeftPsis),
        pose.marker(L::RightPsis),
    ]
}

fn limbs(pose: &Pose) -> [f64; 6] {
    let shoulders = pose.marker(Landmark::LeftAcromion) - pose.marker(Landmark::RightAcromion);
    let shaft = pose.club.shaft();
    let toe = pose.marker(Landmark::ClubHeadToe) - pose.marker(Landmark::ClubHeadHeel);
    [
        // Never near half a turn: not wrapped.
        (-shoulders.z).atan2(shoulders.x),
        pose.knee_flexion(0),
        pose.knee_flexion(1),
        (pose.wrists[0] - pose.elbows[0]).angle(&shaft),
        (-shaft.x).atan2(-shaft.y),
        // Up × (heel → toe) is the way the face looks; open is away from the golfer.
        (-toe.x).atan2(toe.z),
    ]
}
