//! Where markers sit on the synthetic golfer and the club.
//!
//! Offsets from joints are invented, of ordinary size; which joints are where is decided in `body`.

use super::body::{Arms, Build, Legs, SIDES, Trunk, unit};
use super::club;
use crate::landmark::Landmark;
use nalgebra::{Point3, Vector3};

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
        self.mark_trunk(trunk, arms, &mut markers);
        mark_arms(arms, self.scale, &mut markers);
        self.mark_legs(legs, &mut markers);
        markers.extend(club.markers().map(|p| arms.club.point(p)));
        std::array::from_fn(|i| markers[i])
    }

    fn mark_pelvis(&self, legs: &Legs, markers: &mut Vec<Point3<f64>>) {
        for spine in self.iliac {
            for side in SIDES {
                markers.push(
                    legs.middle + legs.pelvis * Vector3::new(side * spine.x, spine.y, spine.z),
                );
            }
        }
    }

    fn mark_trunk(&self, trunk: &Trunk, arms: &Arms, markers: &mut Vec<Point3<f64>>) {
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
            markers.push(arms.shoulders[i] + trunk.thorax * self.acromion(i));
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

    fn mark_legs(&self, legs: &Legs, markers: &mut Vec<Point3<f64>>) {
        let s = self.scale;
        for i in [0, 1] {
            let bend = (legs.knees[i] - legs.hips[i]).cross(&(legs.ankles[i] - legs.knees[i]));
            markers.push(legs.knees[i] + unit(bend) * (0.052 * s * SIDES[i]));
        }
        let heel = Vector3::new(0.0, 0.03 - self.ankles[0].y, -0.055 * s);
        for i in [0, 1] {
            let outer = Vector3::new(0.036 * SIDES[i], -0.004, -0.004) * s;
            markers.push(legs.ankles[i] + legs.feet[i] * outer);
        }
        for local in [heel, self.toe_from_ankle()] {
            markers.extend([0, 1].map(|i| legs.ankles[i] + legs.feet[i] * local));
        }
    }
}

fn mark_arms(arms: &Arms, scale: f64, markers: &mut Vec<Point3<f64>>) {
    for i in [0, 1] {
        let bend = (arms.elbows[i] - arms.shoulders[i]).cross(&(arms.wrists[i] - arms.elbows[i]));
        markers.push(arms.elbows[i] - unit(bend) * (0.034 * scale * SIDES[i]));
    }
    for sign in [1.0, -1.0] {
        for i in [0, 1] {
            let forearm = unit(arms.wrists[i] - arms.elbows[i]);
            // The thumb side of a hand that holds the club: between the shaft and its upper face.
            let thumb = arms.club.rotation * Vector3::new(0.8, 0.6, 0.0);
            let across = unit(thumb - forearm * thumb.dot(&forearm));
            markers.push(arms.wrists[i] + across * (sign * 0.028 * scale));
        }
    }
}
