//! One arm: the centers of shoulder, elbow and wrist from their markers.
//!
//! Only the lateral epicondyle is marked in a swing; the center lies half an elbow width inward
//! along the flexion axis. That axis is the normal of the arm's plane while the arm is bent, and
//! the line of the styloids when it is nearly straight and has no plane.

use nalgebra::{Point3, Vector3};

use super::calibration::Calibration;
use super::lanes::{self, Lanes, Vector};
use super::segments::{Maybe, both, needs};
use super::tracks::{SmoothTrack, Smoothed};
use crate::landmark::Landmark as L;
use crate::signal::order;

/// Shoulder joint center below the acromion as a share of the distance between the acromia (Rab
/// 2002, J Orthop Res 20:1006, recalled, not looked up).
const SHOULDER_DROP: f64 = 0.17;
/// Elbow flexion below which the arm's plane is not used, and from which it alone is, rad.
const STRAIGHT: f64 = 0.10;
const BENT: f64 = 0.25;
/// Cosine of a flexion a little above that.
const BENT_COSINE: f64 = 0.968;
/// Steps at most, and the square of a step that ends them, square metres: each is a small share of
/// the one before.
const STEPS: usize = 8;
const STILL_M2: f64 = 1e-23;
/// Slots solved side by side.
const LANES: usize = 4;
const ASSUMED: &str = "no calibration trial: elbow width assumed";
const SURFACE: &str = "skin points: mark both sides of the wrist";

/// One arm at the places of a body.
#[derive(Debug, Clone, PartialEq)]
pub struct Arm {
    /// Shoulder joint center, metres.
    pub shoulder: Vec<Point3<f64>>,
    /// Elbow center, metres.
    pub elbow: Vec<Point3<f64>>,
    /// Wrist center, metres.
    pub wrist: Vec<Point3<f64>>,
    /// Places in which every marker behind it was known.
    pub known: Vec<bool>,
    /// What limits it, in words.
    pub limited: Option<String>,
}

/// Landmarks of an arm: acromion, elbow, both styloids, a lone wrist marker.
const MARKS: [[L; 5]; 2] = [
    [
        L::LeftAcromion,
        L::LeftElbow,
        L::LeftRadialStyloid,
        L::LeftUlnarStyloid,
        L::LeftWrist,
    ],
    [
        L::RightAcromion,
        L::RightElbow,
        L::RightRadialStyloid,
        L::RightUlnarStyloid,
        L::RightWrist,
    ],
];

/// The lead and the trail arm.
pub fn arms(s: &Smoothed, calibration: &Calibration) -> [Maybe<Arm>; 2] {
    [0, 1].map(|side| arm(s, calibration, side))
}

/// The lead (0) or the trail (1) arm.
///
/// # Errors
/// Names the markers that are needed.
pub fn arm(s: &Smoothed, calibration: &Calibration, side: usize) -> Maybe<Arm> {
    let [acromion, lateral, radial, ulnar, single] = MARKS[side];
    let (Some(elbow), Some(shoulder)) = (s.track(lateral), s.track(acromion)) else {
        return Err(needs(&format!("{}, {}", lateral.name(), acromion.name())));
    };
    let styloids = s.track(radial).zip(s.track(ulnar));
    let known = both(&elbow.known, &shoulder.known);
    let drop = Drop::new(
        s,
        if side == 0 {
            calibration.shoulder
        } else {
            Vector3::zeros()
        },
    );
    let dropped = shoulder.points.iter().enumerate();
    let shoulders: Vec<Point3<f64>> = dropped.map(|(i, p)| p + drop.at(i)).collect();
    let Some((radial, ulnar)) = styloids else {
        let both_sides = format!("{} and {}", radial.name(), ulnar.name());
        let wrist = s.track(single).ok_or_else(|| needs(&both_sides))?;
        return Ok(Arm {
            shoulder: shoulders,
            elbow: elbow.points.clone(),
            wrist: wrist.points.clone(),
            known: both(&known, &wrist.known),
            limited: Some(SURFACE.to_owned()),
        });
    };
    let known = both(&known, &both(&radial.known, &ulnar.known));
    let ends = radial.points.iter().zip(&ulnar.points);
    let wrists: Vec<Point3<f64>> = ends.map(|(a, b)| nalgebra::center(a, b)).collect();
    let sign = [1.0, -1.0][side];
    let mut elbows = Vec::with_capacity(s.len());
    for from in (0..s.len()).step_by(LANES) {
        // Past the end the last slot again: its lanes are not read.
        let slots: [usize; LANES] = std::array::from_fn(|lane| (from + lane).min(s.len() - 1));
        let at = |points: &[Point3<f64>]| lanes::gather(slots.map(|i| points[i].coords));
        let of = |track: &SmoothTrack| at(&track.points);
        let across = lanes::sub(&of(ulnar), &of(radial));
        let half_m = calibration.elbows[side].0;
        let points = [at(&shoulders), of(elbow), at(&wrists)];
        let found = elbow_center(points, across, (half_m, sign));
        let lanes = 0..LANES.min(s.len() - from);
        elbows.extend(lanes.map(|l| Point3::from(lanes::lane(&found, l))));
    }
    Ok(Arm {
        shoulder: shoulders,
        elbow: elbows,
        wrist: wrists,
        known,
        limited: calibration
            .limits_joints()
            .map(|_widths| ASSUMED.to_owned()),
    })
}

impl Arm {
    /// Unit vectors from elbow to wrist center.
    #[must_use]
    pub fn forearm(&self) -> Vec<Vector3<f64>> {
        let lines = self.elbow.iter().zip(&self.wrist);
        lines.map(|(a, b)| unit(b - a)).collect()
    }
}

/// Elbow center from shoulder center, lateral epicondyle and wrist center; `across` runs from the
/// radial to the ulnar styloid, `sign` is 1 for a left arm, −1 for a right one.
fn elbow_center<const N: usize>(
    [shoulder, lateral, wrist]: [Vector<N>; 3],
    across: Vector<N>,
    (half_m, sign): (f64, f64),
) -> Vector<N> {
    let unit = |v: &Vector<N>| lanes::unit_or(v, 1e-9, &[Lanes::all(0.0); 3]);
    let beside = |axis: &Vector<N>| {
        let along = lanes::scale(axis, lanes::dot(&across, axis));
        unit(&lanes::sub(&across, &along))
    };
    let inward = |flat: &Vector<N>| lanes::add(&lateral, &lanes::scale(flat, Lanes::all(half_m)));
    // Begun at the styloids' guess: from the marker itself a straight arm would look bent sideways.
    let mut elbow = inward(&beside(&unit(&lanes::sub(&wrist, &lateral))));
    for _ in 0..STEPS {
        let upper = unit(&lanes::sub(&elbow, &shoulder));
        let fore = unit(&lanes::sub(&wrist, &elbow));
        let normal = lanes::cross(&upper, &fore);
        let bent = Lanes(lanes::dot(&upper, &fore).0.map(bent));
        // Of a left arm bent forward the plane's normal points inward (of a right one outward), as
        // the styloids' line does from thumb side to little finger with the palm turned up.
        let plane = lanes::scale(&unit(&normal), bent * Lanes::all(sign));
        let flat = lanes::scale(&beside(&fore), Lanes::all(1.0) - bent);
        let next = inward(&unit(&lanes::add(&plane, &flat)));
        let moved = lanes::sub(&next, &elbow);
        elbow = next;
        if lanes::dot(&moved, &moved).0.iter().all(|m| *m < STILL_M2) {
            break;
        }
    }
    elbow
}

/// How much the arm's plane decides, 0 to 1, from the cosine of the elbow's flexion.
fn bent(cosine: f64) -> f64 {
    // Most arms are clearly bent or clearly straight: no angle is needed to see that.
    if cosine < BENT_COSINE {
        return 1.0;
    }
    let angle = cosine.clamp(-1.0, 1.0).acos();
    ((angle - STRAIGHT) / (BENT - STRAIGHT)).clamp(0.0, 1.0)
}

/// Way from the acromion down to the shoulder's center, along the thorax where it is marked.
struct Drop {
    off: Vector3<f64>,
    down: Vec<Vector3<f64>>,
}

impl Drop {
    fn new(s: &Smoothed, off: Vector3<f64>) -> Self {
        let marks = [L::C7, L::SternalNotch, L::T8, L::Xiphoid];
        let points = |l: L| s.track(l).map(|t| t.points.as_slice());
        let marks: Vec<_> = marks.iter().filter_map(|&l| points(l)).collect();
        let acromia = points(L::LeftAcromion).zip(points(L::RightAcromion));
        let (Some((a, b)), [c7, notch, t8, xiphoid]) = (acromia, marks.as_slice()) else {
            return Self {
                off,
                down: Vec::new(),
            };
        };
        let mut widths: Vec<f64> = a.iter().zip(b).map(|(a, b)| (b - a).norm()).collect();
        let width = order::median(&mut widths).unwrap_or(0.0);
        let down = |i: usize| {
            let up = nalgebra::center(&c7[i], &notch[i]) - nalgebra::center(&t8[i], &xiphoid[i]);
            unit(up) * (-SHOULDER_DROP * width)
        };
        Self {
            off,
            down: (0..s.len()).map(down).collect(),
        }
    }

    fn at(&self, slot: usize) -> Vector3<f64> {
        self.down.get(slot).copied().unwrap_or_default() + self.off
    }
}

fn unit(v: Vector3<f64>) -> Vector3<f64> {
    v.try_normalize(1e-9).unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn direction(points: [Point3<f64>; 3], across: Vector3<f64>, sign: f64) -> Vector3<f64> {
        let [_, _, wrist] = points;
        let points = points.map(|p| lanes::gather([p.coords]));
        let elbow = elbow_center(points, lanes::gather([across]), (0.034, sign));
        unit(wrist.coords - lanes::lane(&elbow, 0))
    }

    /// A left arm in front of the body (x toward the body's left, y up, z forward), bent by `flexion`
    /// in a plane whose normal is −x: center known, lateral marker 34 mm toward +x; a right arm is
    /// the mirror image.
    #[test]
    fn the_marker_is_moved_to_the_joint() {
        for flexion in [0.3_f64, 0.6, 1.5] {
            let shoulder = Point3::origin();
            let elbow = Point3::new(0.0, -0.28, 0.0);
            let fore = Vector3::new(0.0, -flexion.cos(), flexion.sin());
            let wrist = elbow + fore * 0.26;
            for sign in [1.0, -1.0] {
                let lateral = elbow + Vector3::x() * (sign * 0.034);
                let found = direction([shoulder, lateral, wrist], Vector3::zeros(), sign);
                let off = found.angle(&fore);
                assert!(off < 1e-3, "{flexion} {sign}: {off}");
            }
        }
    }

    #[test]
    fn a_straight_arm_uses_the_styloids() {
        let elbow = Point3::new(0.0, -0.28, 0.0);
        let wrist = Point3::new(0.0, -0.54, 0.0);
        let lateral = elbow + Vector3::x() * 0.034;
        let found = direction([Point3::origin(), lateral, wrist], -Vector3::x(), 1.0);
        assert!(found.angle(&-Vector3::y()) < 1e-3);
    }
}
