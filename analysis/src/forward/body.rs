//! The synthetic body: lengths, joints by forward and two-link inverse kinematics.
//!
//! Everything is made for a right-handed golfer; `capture` mirrors. "Lead" is index 0, "trail"
//! index 1. Local axes of trunk segments: x toward the lead side, y up along the segment, z
//! forward. What moves the joints is decided in `golfer`; what is marked on them, in `skin`.

use super::anatomy::Anatomy;
use super::club::{self, Plane, WRISTS, bay_from_club};
use super::posture::{Dof, Posture};
use super::skin::MARKERS;
use crate::landmark::Landmark;
use nalgebra::{Matrix3, Point3, Vector3};

/// Lead (left) and trail (right) in local x.
pub(super) const SIDES: [f64; 2] = [1.0, -1.0];

/// One person: lengths in m, feet in the bay.
#[derive(Debug, Clone)]
pub(super) struct Build {
    /// Hip joint center to knee center.
    pub(super) thigh: f64,
    /// Knee center to ankle center.
    pub(super) shank: f64,
    /// Shoulder joint center to elbow center.
    pub(super) upper_arm: f64,
    /// Elbow center to wrist center.
    pub(super) forearm: f64,
    /// Midpoint of the hips to the point about which the trunk bends.
    pub(super) waist: f64,
    /// From there to the top of the thorax.
    pub(super) trunk: f64,
    /// Top of the thorax down to the level of the xiphoid process.
    pub(super) chest: f64,
    /// Half the distance between the shoulder joint centers.
    pub(super) shoulder_half: f64,
    /// Joint centers against the marked bones.
    pub(super) anatomy: Anatomy,
    /// Ankle centers with the feet flat, bay.
    pub(super) ankles: [Point3<f64>; 2],
    /// How far each foot is turned outward, rad.
    pub(super) flare: [f64; 2],
    /// Stature ÷ that of the mean man of de Leva's tables; scales the small offsets.
    pub(super) scale: f64,
}

/// Everything that is true at one instant, bay frame, m.
#[derive(Debug, Clone)]
pub(super) struct Pose {
    /// Marked points in the order of [`MARKERS`].
    pub(super) markers: [Point3<f64>; 32],
    /// Hip joint centers.
    pub(super) hips: [Point3<f64>; 2],
    /// Knee centers.
    pub(super) knees: [Point3<f64>; 2],
    /// Ankle centers.
    pub(super) ankles: [Point3<f64>; 2],
    /// Elbow centers.
    pub(super) elbows: [Point3<f64>; 2],
    /// Wrist centers.
    pub(super) wrists: [Point3<f64>; 2],
    /// The club.
    pub(super) club: club::Pose,
}

/// What turns at one instant, bay frame: cheaper than the whole pose.
#[derive(Debug, Clone, Copy)]
pub(super) struct Axes {
    /// Axes of the pelvis: toward the lead side, up along it, forward.
    pub(super) pelvis: Matrix3<f64>,
    /// Axes of the thorax.
    pub(super) thorax: Matrix3<f64>,
    /// Lead acromion to lead wrist center, unit.
    pub(super) lead_arm: Vector3<f64>,
    /// Butt to head, unit.
    pub(super) shaft: Vector3<f64>,
}

impl Pose {
    /// True position of a marked landmark.
    pub(super) fn marker(&self, landmark: Landmark) -> Point3<f64> {
        MARKERS
            .iter()
            .position(|&m| m == landmark)
            .map_or_else(Point3::origin, |i| self.markers[i])
    }

    /// Flexion of a knee (0 lead, 1 trail), rad, 0 straight.
    pub(super) fn knee_flexion(&self, side: usize) -> f64 {
        (self.knees[side] - self.hips[side]).angle(&(self.ankles[side] - self.knees[side]))
    }
}

impl Build {
    /// The body and club in this posture.
    pub(super) fn pose(&self, club: &club::Shape, posture: &Posture) -> Pose {
        let legs = self.legs(posture);
        let trunk = self.trunk(posture);
        let arms = self.arms(&trunk, posture);
        Pose {
            markers: self.marked(club, &legs, &trunk, &arms),
            hips: legs.hips,
            knees: legs.knees,
            ankles: legs.ankles,
            elbows: arms.elbows,
            wrists: arms.wrists,
            club: arms.club,
        }
    }

    /// The axes of what turns in this posture.
    pub(super) fn axes(&self, posture: &Posture) -> Axes {
        let trunk = self.trunk(posture);
        let arms = self.arms(&trunk, posture);
        let acromion = arms.shoulders[0] + trunk.thorax * self.acromion(0);
        Axes {
            pelvis: bay_from_pelvis(posture),
            thorax: trunk.thorax,
            lead_arm: unit(arms.wrists[0] - acromion),
            shaft: arms.club.shaft(),
        }
    }

    /// The club in this posture; cheaper than the whole pose.
    pub(super) fn club(&self, posture: &Posture) -> club::Pose {
        self.arms(&self.trunk(posture), posture).club
    }

    /// The face's reference point in this posture.
    pub(super) fn face(&self, club: &club::Shape, posture: &Posture) -> Point3<f64> {
        self.club(posture).point(club.face())
    }

    /// Distance between hip and ankle center when the knee is flexed, m.
    pub(super) fn hip_to_ankle(&self, flexion: f64) -> f64 {
        let (a, b) = (self.thigh, self.shank);
        (a * a + b * b + 2.0 * a * b * flexion.cos()).sqrt()
    }

    /// That distance in a posture, lead and trail, m.
    pub(super) fn leg_lengths(&self, posture: &Posture) -> [f64; 2] {
        let legs = self.legs(posture);
        [0, 1].map(|i| (legs.ankles[i] - legs.hips[i]).norm())
    }

    pub(super) fn legs(&self, posture: &Posture) -> Legs {
        let pelvis = bay_from_pelvis(posture);
        let middle = hip_middle(posture);
        let hips = self.anatomy.hips.map(|hip| middle + pelvis * hip);
        let feet = [self.foot(0, 0.0), self.foot(1, posture[Dof::HeelLift])];
        let ankles = [feet[0].0, feet[1].0];
        let knees = [0, 1].map(|i| {
            let forward = feet[i].1.column(2) + pelvis.column(2);
            two_link(hips[i], ankles[i], [self.thigh, self.shank], forward)
        });
        Legs {
            pelvis,
            middle,
            hips,
            knees,
            ankles,
            feet: [feet[0].1, feet[1].1],
        }
    }

    /// Ankle center and axes of a foot whose heel is lifted by an angle about the ball of the foot.
    pub(super) fn foot(&self, side: usize, lift: f64) -> (Point3<f64>, Matrix3<f64>) {
        let flat = about_y(SIDES[side] * self.flare[side]);
        // A trail foot that comes off its heel also turns toward the target.
        let lifted = about_y(SIDES[side] * self.flare[side] + 0.9 * lift) * about_x(lift);
        let ball = self.ankles[side] + flat * self.toe_from_ankle();
        (ball - lifted * self.toe_from_ankle(), lifted)
    }

    /// Head of the second metatarsal from the ankle center, foot axes.
    pub(super) fn toe_from_ankle(&self) -> Vector3<f64> {
        Vector3::new(0.0, 0.022 - self.ankles[0].y, 0.135 * self.scale)
    }

    /// Thorax and head of a posture.
    pub(super) fn trunk(&self, posture: &Posture) -> Trunk {
        let waist = hip_middle(posture) + bay_from_pelvis(posture) * Vector3::y() * self.waist;
        let thorax = bay_from_thorax(posture);
        Trunk {
            thorax,
            head: bay_from_head(posture),
            top: waist + thorax * Vector3::y() * self.trunk,
        }
    }

    /// Shoulder joint center of a side, gliding forward on the thorax by `glide`.
    pub(super) fn shoulder(&self, trunk: &Trunk, side: usize, glide: f64) -> Point3<f64> {
        // Forward or back: it also comes inward and down, without a jerk where it passes the middle.
        let far = glide.hypot(0.01) - 0.01;
        let inward = self.shoulder_half - 0.3 * far;
        let local = Vector3::new(SIDES[side] * inward, -0.02 - 0.35 * far, glide - 0.01);
        trunk.top + trunk.thorax * local
    }

    pub(super) fn arms(&self, trunk: &Trunk, posture: &Posture) -> Arms {
        let glide = [posture[Dof::LeadGlide], posture[Dof::TrailGlide]];
        let mut shoulders = [0, 1].map(|i| self.shoulder(trunk, i, glide[i]));
        let reach = self.upper_arm + self.forearm;
        let arm = Plane::new(posture[Dof::ArmSlope], 0.0).direction(posture[Dof::ArmAngle]);
        let to_wrist = arm * (posture[Dof::ArmReach] * reach);
        let lead_wrist = shoulders[0] + to_wrist;
        shoulders[0] += beyond_reach(to_wrist, 0.985 * reach, 0.008);
        let plane = Plane::new(posture[Dof::ShaftSlope], posture[Dof::Azimuth]);
        let rotation = bay_from_club(&plane, posture[Dof::ShaftAngle], posture[Dof::ShaftRoll]);
        let club = club::Pose {
            butt: lead_wrist - rotation * WRISTS[0],
            rotation,
        };
        let wrists = WRISTS.map(|w| club.point(w));
        shoulders[1] += beyond_reach(wrists[1] - shoulders[1], 0.985 * reach, 0.020);
        let elbows = [0, 1].map(|i| {
            let hint = trunk.thorax * Vector3::new(0.4 * SIDES[i], -1.0, -0.6);
            two_link(
                shoulders[i],
                wrists[i],
                [self.upper_arm, self.forearm],
                hint,
            )
        });
        Arms {
            shoulders,
            elbows,
            wrists,
            club,
        }
    }
}

/// Pelvis and legs of a posture, bay.
#[derive(Debug, Clone)]
pub(super) struct Legs {
    /// Axes of the pelvis.
    pub(super) pelvis: Matrix3<f64>,
    /// Midpoint of the hip joint centers.
    pub(super) middle: Point3<f64>,
    /// Hip joint centers.
    pub(super) hips: [Point3<f64>; 2],
    /// Knee centers.
    pub(super) knees: [Point3<f64>; 2],
    /// Ankle centers.
    pub(super) ankles: [Point3<f64>; 2],
    /// Axes of the feet.
    pub(super) feet: [Matrix3<f64>; 2],
}

/// Thorax and head of a posture, bay.
pub(super) struct Trunk {
    /// Axes of the thorax.
    pub(super) thorax: Matrix3<f64>,
    /// Axes of the head.
    pub(super) head: Matrix3<f64>,
    /// Top of the thorax on its long axis.
    pub(super) top: Point3<f64>,
}

/// Arms and club of a posture, bay.
pub(super) struct Arms {
    /// Shoulder joint centers.
    pub(super) shoulders: [Point3<f64>; 2],
    /// Elbow centers.
    pub(super) elbows: [Point3<f64>; 2],
    /// Wrist centers.
    pub(super) wrists: [Point3<f64>; 2],
    /// The club.
    pub(super) club: club::Pose,
}

/// Midpoint of the hip joint centers.
pub(super) fn hip_middle(posture: &Posture) -> Point3<f64> {
    Point3::new(
        posture[Dof::PelvisX],
        posture[Dof::PelvisY],
        posture[Dof::PelvisZ],
    )
}

/// Axial rotation, then obliquity, then anterior tilt.
pub(super) fn bay_from_pelvis(posture: &Posture) -> Matrix3<f64> {
    about_y(posture[Dof::PelvisTurn])
        * about_z(-posture[Dof::PelvisOblique])
        * about_x(posture[Dof::PelvisTilt])
}

/// From the inclination of the long axis and the heading of the lead-side axis: both are exact.
fn bay_from_thorax(posture: &Posture) -> Matrix3<f64> {
    let up = unit(Vector3::new(
        -posture[Dof::ThoraxSide].tan(),
        1.0,
        posture[Dof::ThoraxForward].tan(),
    ));
    let (sin, cos) = posture[Dof::ThoraxTurn].sin_cos();
    let lead = unit(Vector3::new(cos, -(cos * up.x - sin * up.z) / up.y, -sin));
    Matrix3::from_columns(&[lead, up, lead.cross(&up)])
}

/// The neck takes back part of the trunk's inclination, so that the eyes stay on the ball.
fn bay_from_head(posture: &Posture) -> Matrix3<f64> {
    about_x(0.62 * posture[Dof::ThoraxForward])
        * about_z(0.6 * posture[Dof::ThoraxSide])
        * about_y(posture[Dof::HeadTurn])
}

/// The elbow or knee between `from` and `to`, bent toward `hint`.
pub(super) fn two_link(
    from: Point3<f64>,
    to: Point3<f64>,
    lengths: [f64; 2],
    hint: Vector3<f64>,
) -> Point3<f64> {
    let line = to - from;
    let distance = line.norm();
    let axis = unit(line);
    let [a, b] = lengths;
    let along = (a * a - b * b + distance * distance) / (2.0 * distance);
    let off = (a * a - along * along).max(0.0).sqrt();
    from + axis * along + unit(hint - axis * hint.dot(&axis)) * off
}

/// What is missing to a target beyond reach: the shoulder glides after it. Smooth over `softness`,
/// m, so that nothing jerks when the arm comes to its end.
pub(super) fn beyond_reach(to: Vector3<f64>, reach: f64, softness: f64) -> Vector3<f64> {
    unit(to) * (softness * ((to.norm() - reach) / softness).exp().ln_1p())
}

/// Unit vector; up where there is no direction, which no posture of the golfer reaches.
pub(super) fn unit(v: Vector3<f64>) -> Vector3<f64> {
    v.try_normalize(1e-12).unwrap_or_else(Vector3::y)
}

/// Rotation about an axis.
pub(super) fn about_x(angle: f64) -> Matrix3<f64> {
    nalgebra::Rotation3::from_axis_angle(&Vector3::x_axis(), angle).into_inner()
}

/// Rotation about an axis.
pub(super) fn about_y(angle: f64) -> Matrix3<f64> {
    nalgebra::Rotation3::from_axis_angle(&Vector3::y_axis(), angle).into_inner()
}

/// Rotation about an axis.
pub(super) fn about_z(angle: f64) -> Matrix3<f64> {
    nalgebra::Rotation3::from_axis_angle(&Vector3::z_axis(), angle).into_inner()
}
