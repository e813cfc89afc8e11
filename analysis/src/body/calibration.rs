//! What is fixed in one golfer's body: the shapes of marker clusters, joint centers in segment
//! frames, and how surely each is known. From the posture at address, or from a trial (`trial`).
//!
//! Frames are anatomical (ISB: X forward, Y up, Z right); index 0 is the left side, 1 the right.
//! In the golfer frame a left-handed golfer is mirrored and his calibration with him.

use nalgebra::{Matrix3, Point3, Vector3, center};

use super::frames::{self, Frame};
use super::skeleton::frame_at;
use crate::landmark::Landmark as L;

/// Distance of the knee's lateral marker from the joint center where nothing measured it, metres,
/// and its spread between people (common practice, no source).
const KNEE_HALF_M: (f64, f64) = (0.050, 0.0035);
/// The same for the ankle (common practice, no source).
const ANKLE_HALF_M: (f64, f64) = (0.036, 0.003);
/// The same for the elbow (common practice, no source).
const ELBOW_HALF_M: (f64, f64) = (0.034, 0.003);
/// Spread of the shoulder's center about its guess below the acromion per coordinate, metres (common
/// practice, no source).
pub const SHOULDER_SD_M: f64 = 0.008;
/// Outward turn of the line through the malleoli against the knee's axis, rad, and its spread
/// (tibial torsion; recalled, no source looked up).
const TORSION: (f64, f64) = (0.26, 0.10);
/// Spread of the marked knee axis against the axis of flexion, rad (common practice, no source).
const KNEE_AXIS_SPREAD: f64 = 0.055;
/// Leave-one-out errors of the one-variable hip regression, metres: forward, up, to the side
/// (Harrington 2007, J Biomech 40:595–602).
pub const HIP_REGRESSION_SD_M: [f64; 3] = [0.005_24, 0.003_58, 0.003_22];

/// Markers on one stiff part, in its frame.
#[derive(Debug, Clone, PartialEq)]
pub struct Shape {
    /// The markers.
    pub landmarks: Vec<L>,
    /// Their places in the segment's frame, metres.
    pub places: Vec<Point3<f64>>,
}

/// A place in a segment's frame and how surely it is known.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Place {
    /// Metres, segment frame.
    pub at: Vector3<f64>,
    /// Covariance, square metres.
    pub covariance: Matrix3<f64>,
}

/// Where a calibration comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Origin {
    /// The posture at address of the swing itself: joint widths are assumed.
    Address,
    /// A trial with medial markers, the hips by regression.
    Posture,
    /// A trial with medial markers in which the legs moved: the hips from their movement.
    Movement,
}

/// One golfer's calibration.
#[derive(Debug, Clone, PartialEq)]
pub struct Calibration {
    /// Where it comes from.
    pub origin: Origin,
    /// Pelvis markers in the pelvis frame.
    pub pelvis: Option<Shape>,
    /// Thorax markers in the thorax frame.
    pub thorax: Option<Shape>,
    /// Head markers in the head frame.
    pub head: Option<Shape>,
    /// Hip joint centers in the pelvis frame, left and right.
    pub hips: Option<[Place; 2]>,
    /// Lateral knee marker from the knee center in the thigh frame (Y toward the hip, Z the axis of
    /// flexion).
    pub knees: [Place; 2],
    /// Lateral ankle marker from the ankle center in the shank frame (Y toward the knee, Z the knee's
    /// axis of flexion).
    pub ankles: [Place; 2],
    /// Lateral elbow marker from the elbow center, distance in metres and its standard deviation.
    pub elbows: [(f64, f64); 2],
    /// How far the lead shoulder's center lies off its guess below the acromion, metres: no marker shows
    /// it, so it is zero but for the draws of an uncertainty.
    pub shoulder: Vector3<f64>,
    /// Lengths of limbs, to tell by whose calibration it is.
    pub lengths: Lengths,
    /// Whether it fits the swing's golfer only roughly (`likeness`).
    pub rough: bool,
}

/// Lengths of limbs between markers and joint centers, left and right, metres; `None` where not seen.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Lengths {
    /// Hip center to lateral knee marker.
    pub thighs: [Option<f64>; 2],
    /// Lateral knee to lateral ankle marker.
    pub shanks: [Option<f64>; 2],
    /// Lateral elbow marker to the middle of the wrist.
    pub forearms: [Option<f64>; 2],
}

impl Lengths {
    /// The lengths in a posture, the hips placed by a calibration. `at` gives a landmark's place,
    /// metres.
    #[must_use]
    pub fn of(calibration: &Calibration, at: impl Fn(L) -> Option<Point3<f64>>) -> Self {
        let pelvis = calibration.pelvis.as_ref().and_then(|s| frame_at(s, &at));
        let hip = |i: usize| Some(pelvis?.lab(Point3::from(calibration.hips?[i].at)));
        let wrist = |radial: L, ulnar: L| Some(center(&at(radial)?, &at(ulnar)?));
        let far = |a: Option<Point3<f64>>, b: Option<Point3<f64>>| Some((a? - b?).norm());
        Self {
            thighs: [far(hip(0), at(L::LeftKnee)), far(hip(1), at(L::RightKnee))],
            shanks: [
                far(at(L::LeftKnee), at(L::LeftAnkle)),
                far(at(L::RightKnee), at(L::RightAnkle)),
            ],
            forearms: [
                far(
                    at(L::LeftElbow),
                    wrist(L::LeftRadialStyloid, L::LeftUlnarStyloid),
                ),
                far(
                    at(L::RightElbow),
                    wrist(L::RightRadialStyloid, L::RightUlnarStyloid),
                ),
            ],
        }
    }

    fn mirrored(self) -> Self {
        let swap = |[l, r]: [Option<f64>; 2]| [r, l];
        Self {
            thighs: swap(self.thighs),
            shanks: swap(self.shanks),
            forearms: swap(self.forearms),
        }
    }
}

/// Left and right along Z.
pub(super) const SIDES: [f64; 2] = [-1.0, 1.0];

impl Calibration {
    /// The calibration that a posture gives: shapes as they stand, hips by regression, joint widths
    /// assumed. `at` gives a landmark's place, metres.
    #[must_use]
    pub fn of_posture(at: impl Fn(L) -> Option<Point3<f64>>) -> Self {
        let pelvis = shape(&at, PELVIS, |p: [_; 4]| frames::pelvis(p));
        let thorax = shape(&at, THORAX, |p: [_; 4]| frames::thorax(p));
        let head = shape(&at, HEAD, |p: [_; 3]| frames::head(p));
        let hips = pelvis.as_ref().map(hips_by_regression);
        let outward = |(half, spread): (f64, f64), turn: (f64, f64), side: f64| Place {
            at: Vector3::new(-half * turn.0.sin(), 0.0, side * half * turn.0.cos()),
            covariance: Matrix3::from_diagonal(&Vector3::new(
                (half * turn.1).powi(2),
                0.0,
                spread.powi(2),
            )),
        };
        Self {
            origin: Origin::Address,
            pelvis,
            thorax,
            head,
            hips,
            knees: SIDES.map(|s| outward(KNEE_HALF_M, (0.0, KNEE_AXIS_SPREAD), s)),
            ankles: SIDES.map(|s| outward(ANKLE_HALF_M, TORSION, s)),
            elbows: [ELBOW_HALF_M; 2],
            shoulder: Vector3::zeros(),
            lengths: Lengths::default(),
            rough: false,
        }
    }

    /// The calibration less sure by a share of the variance that assumed joint centers and widths
    /// have.
    #[must_use]
    pub fn less_sure(mut self, share: f64) -> Self {
        let wider = |place: &mut Place, sd: [f64; 3]| {
            let open = Vector3::from(sd.map(|s| share * s * s));
            place.covariance += Matrix3::from_diagonal(&open);
        };
        for hip in self.hips.iter_mut().flatten() {
            wider(hip, HIP_REGRESSION_SD_M);
        }
        let knee = [KNEE_HALF_M.0 * KNEE_AXIS_SPREAD, 0.0, KNEE_HALF_M.1];
        let ankle = [ANKLE_HALF_M.0 * TORSION.1, 0.0, ANKLE_HALF_M.1];
        self.knees.iter_mut().for_each(|p| wider(p, knee));
        self.ankles.iter_mut().for_each(|p| wider(p, ankle));
        for (_, sd) in &mut self.elbows {
            *sd = (*sd * *sd + share * ELBOW_HALF_M.1.powi(2)).sqrt();
        }
        self
    }

    /// Whether every shape is there.
    #[must_use]
    pub fn is_complete(&self) -> bool {
        self.pelvis.is_some() && self.thorax.is_some() && self.head.is_some()
    }

    /// Takes over shapes that are missing here.
    pub fn complete_from(&mut self, other: Self) {
        if self.pelvis.is_none() {
            (self.pelvis, self.hips) = (other.pelvis, other.hips);
        }
        self.thorax = self.thorax.take().or(other.thorax);
        self.head = self.head.take().or(other.head);
    }

    /// The calibration of the mirror image: sides exchanged, left is right.
    #[must_use]
    pub fn mirrored(&self) -> Self {
        let pair = |[l, r]: [Place; 2]| [r.mirrored(), l.mirrored()];
        let shape = |s: &Option<Shape>| s.as_ref().map(Shape::mirrored);
        Self {
            origin: self.origin,
            pelvis: shape(&self.pelvis),
            thorax: shape(&self.thorax),
            head: shape(&self.head),
            hips: self.hips.map(pair),
            knees: pair(self.knees),
            ankles: pair(self.ankles),
            elbows: [self.elbows[1], self.elbows[0]],
            shoulder: self.shoulder,
            lengths: self.lengths.mirrored(),
            rough: self.rough,
        }
    }

    /// Largest difference, metres, between the distances within the clusters of two calibrations: a
    /// few millimetres where it is the same person with the same markers.
    #[must_use]
    pub fn misfit(&self, other: &Self) -> f64 {
        [
            (&self.pelvis, &other.pelvis),
            (&self.thorax, &other.thorax),
            (&self.head, &other.head),
        ]
        .into_iter()
        .filter_map(|(a, b)| Some(a.as_ref()?.misfit(b.as_ref()?)))
        .fold(0.0, f64::max)
    }

    /// The words that a value carries whose joint centers rest on assumptions.
    #[must_use]
    pub fn limits_joints(&self) -> Option<&'static str> {
        match self.origin {
            Origin::Address => Some("no calibration trial: joint widths assumed"),
            _ if self.rough => Some("calibration trial fits roughly: whose is it?"),
            _ => None,
        }
    }
}

impl Place {
    fn mirrored(self) -> Self {
        let flip = Matrix3::from_diagonal(&Vector3::new(1.0, 1.0, -1.0));
        Self {
            at: flip * self.at,
            covariance: flip * self.covariance * flip,
        }
    }
}

impl Shape {
    fn mirrored(&self) -> Self {
        let mut of: Vec<(L, Point3<f64>)> = self
            .landmarks
            .iter()
            .zip(&self.places)
            .map(|(l, p)| (l.opposite(), Point3::new(p.x, p.y, -p.z)))
            .collect();
        // In the order it had before.
        of.sort_by_key(|(l, _)| self.landmarks.iter().position(|o| o == l));
        Self {
            landmarks: of.iter().map(|o| o.0).collect(),
            places: of.iter().map(|o| o.1).collect(),
        }
    }

    fn misfit(&self, other: &Self) -> f64 {
        let pairs = |s: &Self| -> Vec<f64> {
            (0..s.places.len())
                .flat_map(|i| (0..i).map(move |j| (i, j)))
                .map(|(i, j)| (s.places[i] - s.places[j]).norm())
                .collect()
        };
        pairs(self)
            .iter()
            .zip(pairs(other))
            .map(|(a, b)| (a - b).abs())
            .fold(0.0, f64::max)
    }
}

/// The pelvis' markers: left and right anterior, left and right posterior spine.
pub const PELVIS: [L; 4] = [L::LeftAsis, L::RightAsis, L::LeftPsis, L::RightPsis];
/// The thorax' markers.
pub const THORAX: [L; 4] = [L::C7, L::T8, L::SternalNotch, L::Xiphoid];
/// The head's markers.
pub const HEAD: [L; 3] = [L::HeadFront, L::HeadLeft, L::HeadRight];

fn shape<const N: usize>(
    at: &impl Fn(L) -> Option<Point3<f64>>,
    landmarks: [L; N],
    frame: impl Fn([Point3<f64>; N]) -> Option<Frame>,
) -> Option<Shape> {
    let mut points = [Point3::origin(); N];
    for (point, landmark) in points.iter_mut().zip(landmarks) {
        *point = at(landmark)?;
    }
    let frame = frame(points)?;
    Some(Shape {
        landmarks: landmarks.to_vec(),
        places: points.iter().map(|p| frame.local(*p)).collect(),
    })
}

/// A hip joint center by Harrington et al. 2007, J Biomech 40:595–602, one-variable form, in the pelvis
/// frame, metres; `side` is −1 for the left, 1 for the right, 0 for the middle of both.
pub(super) fn hip_by_regression(width: f64, depth: f64, side: f64) -> Vector3<f64> {
    Vector3::new(
        -0.24 * depth - 0.0099,
        -0.30 * width - 0.0109,
        side * (0.33 * width + 0.0073),
    )
}

/// Hip joint centers (left, right) by that regression.
fn hips_by_regression(pelvis: &Shape) -> [Place; 2] {
    let [la, ra, lp, rp] = [0, 1, 2, 3].map(|i| pelvis.places[i]);
    let width = (ra - la).norm();
    let depth = (nalgebra::center(&la, &ra) - nalgebra::center(&lp, &rp)).norm();
    SIDES.map(|side| Place {
        at: hip_by_regression(width, depth, side),
        covariance: Matrix3::from_diagonal(&Vector3::from(HIP_REGRESSION_SD_M.map(|s| s * s))),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn person(l: L) -> Option<Point3<f64>> {
        let p = match l {
            L::LeftAsis => [0.12, 1.0, 0.1],
            L::RightAsis => [-0.12, 1.0, 0.1],
            L::LeftPsis => [0.05, 1.0, -0.05],
            L::RightPsis => [-0.05, 1.0, -0.05],
            _ => return None,
        };
        Some(Point3::from(p))
    }

    /// Check value of REFERENCES A5: pelvis depth 150, width 240 mm.
    #[test]
    fn hips_follow_the_published_regression() {
        let c = Calibration::of_posture(person);
        let [left, right] = c.hips.unwrap().map(|h| h.at * 1e3);
        assert!((right - Vector3::new(-45.9, -82.9, 86.5)).norm() < 0.05);
        assert!((left - Vector3::new(-45.9, -82.9, -86.5)).norm() < 0.05);
        assert!(c.thorax.is_none() && c.head.is_none());
    }

    #[test]
    fn the_mirror_image_twice_is_the_original() {
        let c = Calibration::of_posture(person);
        assert_eq!(c.mirrored().mirrored(), c);
        assert!(c.misfit(&c.mirrored()) < 1e-12);
    }
}
