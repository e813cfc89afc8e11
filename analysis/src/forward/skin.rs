//! Where markers sit on the synthetic golfer and the club.
//!
//! Offsets from joints are invented, of ordinary size; which joints are where is decided in `body`.

use super::body::{Arms, Build, Legs, SIDES, Trunk, unit};
use super::club;
use crate::landmark::Landmark;
use nalgebra::{Point3, Rotation3, Vector3};

/// The marked points, in the order of every frame.
pub(super) const MARKERS: [Landmark; 32] = [
    Landmark::LeftAsis,
    Landmark::RightAsis,
    Landmark::LeftPsis,
    Landmark::RightPsis,
    Landmark::C7,
    Landmark::T8,
    Landmark::SternalNotch,
    Landmark::Xiphoid,
    Landmark::LeftAcromion,
    Landmark::RightAcromion,
    Landmark::HeadFront,
    Landmark::HeadLeft,
    Landmark::HeadRight,
    Landmark::LeftElbow,
    Landmark::RightElbow,
    Landmark::LeftRadialStyloid,
    Landmark::RightRadialStyloid,
    Landmark::LeftUlnarStyloid,
    Landmark::RightUlnarStyloid,
    Landmark::LeftKnee,
    Landmark::RightKnee,
    Landmark::LeftAnkle,
    Landmark::RightAnkle,
    Landmark::LeftHeel,
    Landmark::RightHeel,
    Landmark::LeftToe,
    Landmark::RightToe,
    Landmark::ClubButt,
    Landmark::ClubShaftLow,
    Landmark::ClubHeadHeel,
    Landmark::ClubHeadToe,
    Landmark::ClubHeadBack,
];

impl Build {
    /// The marked points in the order of [`MARKERS`], bay.
    pub(super) fn marked(
        &self,
        club: &club::Shape,
        legs: &Legs,
        trunk: &Trunk,
        arms: &Arms,
    ) -> [Point3<f64>; MARKERS.len()] {
        let mut markers = Vec::with_capacity(MARKERS.len());
        self.mark_pelvis(legs, &mut markers);
        self.mark_trunk(trunk, arms.shoulders, &mut markers);
        // The thumb side of a hand that holds the club: between the shaft and its upper face.
        let thumb = arms.club.rotation * Vector3::new(0.8, 0.6, 0.0);
        self.mark_arms(
            (arms.shoulders, arms.elbows, arms.wrists),
            [thumb; 2],
            &mut markers,
        );
        self.mark_legs(legs, &mut markers);
        markers.extend(club.markers().map(|p| arms.club.point(p)));
        std::array::from_fn(|i| markers[i])
    }

    /// The four iliac spines. Both pairs are at one height of the pelvis: the plane through them is
    /// its own.
    pub(super) fn mark_pelvis(&self, legs: &Legs, markers: &mut Vec<Point3<f64>>) {
        let a = &self.anatomy;
        for (half, behind) in a.spine_halves.into_iter().zip([0.0, a.pelvis_depth]) {
            for side in SIDES {
                let local = a.mid_asis + Vector3::new(side * half, 0.0, -behind);
                markers.push(legs.middle + legs.pelvis * local);
            }
        }
    }

    /// Thorax, shoulders and head.
    pub(super) fn mark_trunk(
        &self,
        trunk: &Trunk,
        shoulders: [Point3<f64>; 2],
        markers: &mut Vec<Point3<f64>>,
    ) {
        let s = self.scale;
        // The midpoints of C7 and notch, and of T8 and xiphoid, lie on the thorax's long axis.
        for local in [
            Vector3::new(0.0, 0.032, -0.062) * s,
            Vector3::new(0.0, -self.chest, -0.108 * s),
            Vector3::new(0.0, -0.032, 0.062) * s,
            Vector3::new(0.0, -self.chest, 0.108 * s),
        ] {
            markers.push(trunk.top + trunk.thorax * local);
        }
        for i in [0, 1] {
            markers.push(shoulders[i] + trunk.thorax * self.acromion(i));
        }
        let center = trunk.top + trunk.head * Vector3::new(0.0, 0.185, 0.035) * s;
        for local in [[0.0, 0.035, 0.098], [0.076, 0.03, 0.0], [-0.076, 0.03, 0.0]] {
            markers.push(center + trunk.head * Vector3::from(local) * s);
        }
    }

    /// Acromion marker from the shoulder joint center, thorax axes.
    pub(super) fn acromion(&self, side: usize) -> Vector3<f64> {
        Vector3::new(0.012 * SIDES[side], 0.045, -0.005) * self.scale
    }

    /// Knees, ankles, heels and toes.
    pub(super) fn mark_legs(&self, legs: &Legs, markers: &mut Vec<Point3<f64>>) {
        for joint in [self.epicondyles(legs), self.malleoli(legs)] {
            markers.extend(joint.map(|(center, outward)| center + outward));
        }
        let heel = Vector3::new(0.0, 0.03 - self.ankles[0].y, -0.055 * self.scale);
        for local in [heel, self.toe_from_ankle()] {
            markers.extend([0, 1].map(|i| legs.ankles[i] + legs.feet[i] * local));
        }
    }

    /// Medial epicondyles, malleoli and elbows, each side's three after another's: lead and trail
    /// of the knee, of the ankle, of the elbow. Every joint center is the middle of its two points.
    pub(super) fn mark_medial(&self, legs: &Legs, arms: ArmJoints, markers: &mut Vec<Point3<f64>>) {
        for joint in [
            self.epicondyles(legs),
            self.malleoli(legs),
            self.elbow_points(arms),
        ] {
            markers.extend(joint.map(|(center, outward)| center - outward));
        }
    }

    /// Knee centers and from there to the lateral epicondyles, which the thigh carries.
    fn epicondyles(&self, legs: &Legs) -> [(Point3<f64>, Vector3<f64>); 2] {
        [0, 1].map(|i| {
            let thigh = unit(legs.hips[i] - legs.knees[i]);
            let turn = SIDES[i] * self.anatomy.knee_twist[i];
            let outward = about(thigh, turn) * (flexion_axis(legs, i) * SIDES[i]);
            (legs.knees[i], outward * self.anatomy.knee_half)
        })
    }

    /// Ankle centers and from there to the lateral malleoli, which the shank carries.
    fn malleoli(&self, legs: &Legs) -> [(Point3<f64>, Vector3<f64>); 2] {
        [0, 1].map(|i| {
            let shank = unit(legs.knees[i] - legs.ankles[i]);
            let turn = SIDES[i] * self.anatomy.torsion[i];
            let outward = about(shank, turn) * (flexion_axis(legs, i) * SIDES[i]);
            (legs.ankles[i], outward * self.anatomy.ankle_half)
        })
    }

    /// Elbow centers and from there to the lateral epicondyles.
    fn elbow_points(
        &self,
        (shoulders, elbows, wrists): ArmJoints,
    ) -> [(Point3<f64>, Vector3<f64>); 2] {
        [0, 1].map(|i| {
            let bend = (elbows[i] - shoulders[i]).cross(&(wrists[i] - elbows[i]));
            let outward = -unit(bend) * (self.anatomy.elbow_half * SIDES[i]);
            (elbows[i], outward)
        })
    }

    /// Elbows and wrists; `thumbs` are about the sides of the radial styloids.
    pub(super) fn mark_arms(
        &self,
        arms: ArmJoints,
        thumbs: [Vector3<f64>; 2],
        markers: &mut Vec<Point3<f64>>,
    ) {
        markers.extend(self.elbow_points(arms).map(|(center, out)| center + out));
        let (_, elbows, wrists) = arms;
        for sign in [1.0, -1.0] {
            for i in [0, 1] {
                let forearm = unit(wrists[i] - elbows[i]);
                let across = unit(thumbs[i] - forearm * thumbs[i].dot(&forearm));
                markers.push(wrists[i] + across * (sign * 0.028 * self.scale));
            }
        }
    }
}

/// Shoulders, elbows and wrists, lead and trail, bay.
pub(super) type ArmJoints = ([Point3<f64>; 2], [Point3<f64>; 2], [Point3<f64>; 2]);

/// Normal of a leg's plane, toward the lead side: the axis about which the knee flexes.
fn flexion_axis(legs: &Legs, side: usize) -> Vector3<f64> {
    let thigh = legs.knees[side] - legs.hips[side];
    unit(thigh.cross(&(legs.ankles[side] - legs.knees[side])))
}

fn about(axis: Vector3<f64>, angle: f64) -> Rotation3<f64> {
    Rotation3::from_scaled_axis(axis * angle)
}
