//! The golfer anywhere in the bay: a posture with feet that step, hands that may let go of the club,
//! and a place and heading. From there to marked points. What he does is decided in `script`.
//!
//! With both hands on the club and the feet where a swing has them this is `Build::pose`, exactly.

use nalgebra::{Isometry3, Matrix3, Point3, Rotation3, UnitQuaternion, Vector3};

use super::super::body::{
    Arms, Build, Legs, SIDES, Trunk, about_x, about_y, bay_from_pelvis, beyond_reach, hip_middle,
    two_link, unit,
};
use super::super::club::{self, Plane, Shape, WRISTS, bay_from_club};
use super::super::ground::Sole;
use super::super::mass::{BODIES, Masses, Placed};
use super::super::posture::{Dof, Posture};
use super::super::skin::MARKERS;

/// Where the golfer is and faces. His own axes have their origin on the floor between the feet of his
/// address; at the ball he is at his `home` with heading 0.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Place {
    /// On the floor, bay, m.
    pub(super) x: f64,
    pub(super) z: f64,
    /// About the vertical, rad; at 0 he faces the ball (+Z).
    pub(super) heading: f64,
}

impl Place {
    pub(super) fn moved(self, x: f64, z: f64) -> Self {
        Self {
            x: self.x + x,
            z: self.z + z,
            ..self
        }
    }

    pub(super) fn toward(self, other: Self, share: f64) -> Self {
        Self {
            x: self.x + share * (other.x - self.x),
            z: self.z + share * (other.z - self.z),
            heading: self.heading + share * (other.heading - self.heading),
        }
    }

    pub(super) fn distance(self, other: Self) -> f64 {
        (other.x - self.x).hypot(other.z - self.z)
    }

    /// A foot that stands so against this place.
    pub(super) fn foot(self, local: Foot) -> Foot {
        let at = about_y(self.heading) * Vector3::new(local.x, 0.0, local.z);
        Foot {
            x: self.x + at.x,
            z: self.z + at.z,
            heading: self.heading + local.heading,
            lift: local.lift,
        }
    }
}

/// A foot: its ankle when flat, where it points, how high it is off the floor (m).
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Foot {
    pub(super) x: f64,
    pub(super) z: f64,
    pub(super) heading: f64,
    pub(super) lift: f64,
}

/// How the hands take the club.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Grip {
    Usual,
    /// The trail hand at the butt.
    Crossed,
    /// The head in the hands.
    UpsideDown,
}

/// Everything that places the golfer at one instant.
#[derive(Debug, Clone, Copy)]
pub(super) struct Stance {
    /// In his own axes, but with the origin at the ball of his address.
    pub(super) posture: Posture,
    pub(super) place: Place,
    /// Lead and trail, bay.
    pub(super) feet: [Foot; 2],
    /// 1 where a hand is on the club, 0 where it hangs; lead and trail.
    pub(super) hold: [f64; 2],
    /// 1 where the hands are at the usual places of the grip, −1 the other way round.
    pub(super) order: f64,
    /// Turn of the club end over end in the hands, rad.
    pub(super) flip: f64,
    /// Share of his weight that a seat bears.
    pub(super) seat: f64,
}

/// A person with a club, and where he stands to hit the ball with it.
#[derive(Debug, Clone)]
pub(super) struct Figure {
    pub(super) build: Build,
    pub(super) shape: Shape,
    pub(super) masses: Masses,
}

/// What a capture system could see.
pub(super) struct Seen {
    /// In the order of [`MARKERS`], bay, m.
    pub(super) markers: [Point3<f64>; 32],
    /// The club as the hands hold it.
    pub(super) held: Isometry3<f64>,
}

/// A leg is never straighter than this share of its length.
const STRAIGHTEST: f64 = 0.9995;
/// Within this the pelvis gives way to a leg that comes to its end, m.
const SOFT_M: f64 = 0.004;

impl Figure {
    /// Where he stands to hit the ball.
    pub(super) fn home(&self) -> Place {
        let [lead, trail] = self.build.ankles;
        Place {
            x: 0.5 * (lead.x + trail.x),
            z: 0.5 * (lead.z + trail.z),
            heading: 0.0,
        }
    }

    /// Feet as at address, against the place.
    pub(super) fn feet(&self) -> [Foot; 2] {
        let home = self.home();
        [0, 1].map(|i| Foot {
            x: self.build.ankles[i].x - home.x,
            z: self.build.ankles[i].z - home.z,
            heading: SIDES[i] * self.build.flare[i],
            lift: 0.0,
        })
    }

    /// The points of an instant; `loose` is how much (0 to 1) of a pose of its own the club has.
    pub(super) fn seen(&self, stance: &Stance, loose: Option<(f64, Isometry3<f64>)>) -> Seen {
        let to_bay = self.to_bay(stance);
        let posture = self.on_legs(stance);
        let legs = self.legs(stance, &posture);
        let trunk = self.build.trunk(&posture);
        let (arms, thumbs) = self.arms(&trunk, &posture, stance);
        let mut points = Vec::with_capacity(MARKERS.len());
        self.build.mark_pelvis(&legs, &mut points);
        self.build.mark_trunk(&trunk, arms.shoulders, &mut points);
        let joints = (arms.shoulders, arms.elbows, arms.wrists);
        self.build.mark_arms(joints, thumbs, &mut points);
        self.build.mark_legs(&legs, &mut points);
        for p in &mut points {
            *p = to_bay * *p;
        }
        let held = to_bay
            * Isometry3::from_parts(
                arms.club.butt.coords.into(),
                UnitQuaternion::from_rotation_matrix(&Rotation3::from_matrix_unchecked(
                    arms.club.rotation,
                )),
            );
        let club = match loose {
            Some((share, own)) => between(&held, &own, share),
            None => held,
        };
        points.extend(self.shape.markers().map(|local| club * Point3::from(local)));
        Seen {
            markers: std::array::from_fn(|i| points[i]),
            held,
        }
    }

    /// From his own axes to the bay.
    fn to_bay(&self, stance: &Stance) -> Isometry3<f64> {
        let home = self.home();
        let turn = Rotation3::from_matrix_unchecked(about_y(stance.place.heading));
        Isometry3::from_parts(
            Vector3::new(stance.place.x, 0.0, stance.place.z).into(),
            turn.into(),
        ) * Isometry3::translation(-home.x, 0.0, -home.z)
    }

    /// Everything of him that has mass, bay; the club as the hands hold it.
    pub(super) fn placed(&self, stance: &Stance) -> [Placed; BODIES] {
        let to_bay = self.to_bay(stance);
        let posture = self.on_legs(stance);
        let legs = self.legs(stance, &posture);
        let trunk = self.build.trunk(&posture);
        let (arms, _) = self.arms(&trunk, &posture, stance);
        let turn = to_bay.rotation.to_rotation_matrix();
        let own = self.masses.standing(&self.build, (&legs, &trunk, &arms));
        own.map(|body| Placed {
            center: to_bay * body.center,
            axes: turn.matrix() * body.axes,
            ..body
        })
    }

    /// Both soles on the floor, bay.
    pub(super) fn soles(&self, stance: &Stance) -> [Sole; 2] {
        [0, 1].map(|side| {
            let (foot, lift) = (
                stance.feet[side],
                [0.0, stance.posture[Dof::HeelLift]][side],
            );
            let ankle = Point3::new(foot.x, self.build.ankles[side].y, foot.z);
            Sole::at(&self.build, ankle, foot.heading, lift)
        })
    }

    /// The posture with the pelvis so low that both feet are reached.
    fn on_legs(&self, stance: &Stance) -> Posture {
        let mut posture = stance.posture;
        let pelvis = bay_from_pelvis(&posture);
        let reach = STRAIGHTEST * (self.build.thigh + self.build.shank);
        for side in [0, 1] {
            let (ankle, _) = self.foot(stance, &posture, side);
            let hip = hip_middle(&posture) + pelvis * self.build.anatomy.hips[side];
            let across = (ankle.x - hip.x).hypot(ankle.z - hip.z);
            let highest = ankle.y + (reach * reach - across * across).max(0.04).sqrt();
            posture[Dof::PelvisY] -= over(hip.y - highest);
        }
        posture
    }

    fn legs(&self, stance: &Stance, posture: &Posture) -> Legs {
        let pelvis = bay_from_pelvis(posture);
        let middle = hip_middle(posture);
        let hips = self.build.anatomy.hips.map(|hip| middle + pelvis * hip);
        let feet = [0, 1].map(|side| self.foot(stance, posture, side));
        let ankles = feet.map(|f| f.0);
        let knees = [0, 1].map(|i| {
            let forward = feet[i].1.column(2) + pelvis.column(2);
            let lengths = [self.build.thigh, self.build.shank];
            two_link(hips[i], ankles[i], lengths, forward)
        });
        Legs {
            pelvis,
            middle,
            hips,
            knees,
            ankles,
            feet: feet.map(|f| f.1),
        }
    }

    /// Ankle center and axes of a foot in the golfer's axes; the trail heel may be lifted.
    fn foot(&self, stance: &Stance, posture: &Posture, side: usize) -> (Point3<f64>, Matrix3<f64>) {
        let home = self.home();
        let foot = stance.feet[side];
        let off = Vector3::new(foot.x - stance.place.x, 0.0, foot.z - stance.place.z);
        let off = about_y(-stance.place.heading) * off;
        let height = self.build.ankles[side].y + foot.lift;
        let flat_ankle = Point3::new(home.x + off.x, height, home.z + off.z);
        let heading = foot.heading - stance.place.heading;
        let lift = [0.0, posture[Dof::HeelLift]][side];
        // As `Build::foot` has it.
        let (flat, lifted) = (
            about_y(heading),
            about_y(heading + 0.9 * lift) * about_x(lift),
        );
        let toe = self.build.toe_from_ankle();
        (flat_ankle + flat * toe - lifted * toe, lifted)
    }

    /// Arms and club as the hands hold it, and the sides of the thumbs.
    fn arms(&self, trunk: &Trunk, posture: &Posture, stance: &Stance) -> (Arms, [Vector3<f64>; 2]) {
        let b = &self.build;
        let reach = b.upper_arm + b.forearm;
        let glide = [posture[Dof::LeadGlide], posture[Dof::TrailGlide]];
        let mut shoulders = [0, 1].map(|i| b.shoulder(trunk, i, glide[i]));
        let arm = Plane::new(posture[Dof::ArmSlope], 0.0).direction(posture[Dof::ArmAngle]);
        let lead_wrist = shoulders[0] + arm * (posture[Dof::ArmReach] * reach);
        let plane = Plane::new(posture[Dof::ShaftSlope], posture[Dof::Azimuth]);
        let rotation = bay_from_club(&plane, posture[Dof::ShaftAngle], posture[Dof::ShaftRoll]);
        let butt = lead_wrist - rotation * WRISTS[0];
        let [upper, lower] = WRISTS;
        let (same, other) = (0.5 * (1.0 + stance.order), 0.5 * (1.0 - stance.order));
        let places = [upper * same + lower * other, lower * same + upper * other];
        let turned = Vector3::y() * posture[Dof::ThoraxTurn];
        let bay_from_body = Rotation3::from_scaled_axis(turned);
        let mut wrists = [Point3::origin(); 2];
        let mut thumbs = [Vector3::zeros(); 2];
        for i in [0, 1] {
            let on_club = butt + rotation * places[i];
            let hang = unit(Vector3::new(0.22 * SIDES[i], -1.0, 0.16));
            let hanging = shoulders[i] + bay_from_body * hang * (0.95 * reach);
            wrists[i] = hanging + (on_club - hanging) * stance.hold[i];
            let thumb = rotation * Vector3::new(0.8, 0.6, 0.0);
            let forward = bay_from_body * Vector3::z();
            thumbs[i] = thumb * stance.hold[i] + forward * (1.0 - stance.hold[i]);
            let softness = [0.008, 0.020][i];
            shoulders[i] += beyond_reach(wrists[i] - shoulders[i], 0.985 * reach, softness);
        }
        let elbows = [0, 1].map(|i| {
            let hint = trunk.thorax * Vector3::new(0.4 * SIDES[i], -1.0, -0.6);
            two_link(shoulders[i], wrists[i], [b.upper_arm, b.forearm], hint)
        });
        // End over end about the middle of the shaft.
        let flip = about_x(stance.flip);
        let middle = Vector3::y() * (0.5 * self.shape.length);
        let club = club::Pose {
            butt: butt + rotation * (middle - flip * middle),
            rotation: rotation * flip,
        };
        let arms = Arms {
            shoulders,
            elbows,
            wrists,
            club,
        };
        (arms, thumbs)
    }
}

/// What is above 0, smooth over [`SOFT_M`] and exactly 0 below it: an integral of the easing step.
fn over(above: f64) -> f64 {
    use super::super::curve::ease_integral;
    2.0 * SOFT_M * ease_integral((above + SOFT_M) / (2.0 * SOFT_M))
}

/// A rigid pose between two: the middle of the club on the straight line, turned the short way.
pub(super) fn between(a: &Isometry3<f64>, b: &Isometry3<f64>, share: f64) -> Isometry3<f64> {
    let middle = Point3::new(0.0, 0.5, 0.0);
    let rotation = a
        .rotation
        .try_slerp(&b.rotation, share, 1e-9)
        .unwrap_or(a.rotation);
    let at = (a * middle).coords.lerp(&(b * middle).coords, share);
    Isometry3::from_parts((at - rotation * middle.coords).into(), rotation)
}
