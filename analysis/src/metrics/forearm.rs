//! The line of the lead forearm, from elbow centre to wrist centre.
//!
//! Only the lateral epicondyle is marked in a swing; the centre lies half an elbow width inward
//! along the flexion axis. That axis is the normal of the arm's plane while the arm is bent, and
//! the line of the styloids when it is nearly straight and has no plane.

use crate::body::calibration::Calibration;
use crate::body::lanes::{self, Lanes, Vector};
use crate::body::segments::Maybe;
use crate::body::tracks::{SmoothTrack, Smoothed};
use crate::landmark::Landmark as L;
use crate::signal::order;
use nalgebra::Vector3;

/// Shoulder joint centre below the acromion as a share of the distance between the acromia (Rab
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

/// Unit vectors at the places of a body.
#[derive(Debug, Clone)]
pub(super) struct Line {
    /// One direction a place.
    pub(super) directions: Vec<Vector3<f64>>,
    /// Places in which every marker behind it was known.
    pub(super) known: Vec<bool>,
    /// What limits it, in words.
    pub(super) limited: Option<String>,
}

/// Lead elbow centre → lead wrist centre.
///
/// # Errors
/// Names the markers that are needed.
pub(super) fn lead_forearm(s: &Smoothed, calibration: &Calibration) -> Maybe<Line> {
    let (Some(elbow), Some(shoulder)) = (s.track(L::LeftElbow), s.track(L::LeftAcromion)) else {
        return Err("not marked: left_elbow, left_acromion".to_owned());
    };
    let styloids = s
        .track(L::LeftRadialStyloid)
        .zip(s.track(L::LeftUlnarStyloid));
    let single = s.track(L::LeftWrist);
    let mut known: Vec<bool> = (0..s.len())
        .map(|i| elbow.known[i] && shoulder.known[i])
        .collect();
    let Some((radial, ulnar)) = styloids else {
        let wrist = single.ok_or("not marked: left_radial_styloid and left_ulnar_styloid")?;
        known
            .iter_mut()
            .zip(&wrist.known)
            .for_each(|(k, w)| *k &= w);
        let lines = elbow.points.iter().zip(&wrist.points);
        return Ok(Line {
            directions: lines.map(|(a, b)| unit(b - a)).collect(),
            known,
            limited: Some(SURFACE.to_owned()),
        });
    };
    (0..s.len()).for_each(|i| known[i] &= radial.known[i] && ulnar.known[i]);
    let drop = Drop::new(s, calibration.shoulder);
    let mut directions = Vec::with_capacity(s.len());
    for from in (0..s.len()).step_by(LANES) {
        // Past the end the last slot again: its lanes are not read.
        let slots: [usize; LANES] = std::array::from_fn(|lane| (from + lane).min(s.len() - 1));
        let of = |track: &SmoothTrack| lanes::gather(slots.map(|i| track.points[i].coords));
        let [radial, ulnar] = [radial, ulnar].map(of);
        let wrist = lanes::scale(&lanes::add(&radial, &ulnar), Lanes::all(0.5));
        let shoulder = lanes::add(&of(shoulder), &lanes::gather(slots.map(|i| drop.at(i))));
        let across = lanes::sub(&ulnar, &radial);
        let half_m = calibration.elbows[0].0;
        let found = forearm([shoulder, of(elbow), wrist], across, half_m);
        directions.extend((0..LANES.min(s.len() - from)).map(|l| lanes::lane(&found, l)));
    }
    Ok(Line {
        directions,
        known,
        limited: calibration
            .limits_joints()
            .map(|_widths| ASSUMED.to_owned()),
    })
}

/// Direction of a left forearm from shoulder centre, lateral epicondyle and wrist centre; `across`
/// runs from the radial to the ulnar styloid.
fn forearm<const N: usize>(
    [shoulder, lateral, wrist]: [Vector<N>; 3],
    across: Vector<N>,
    half_m: f64,
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
        // Of a left arm bent forward the plane's normal points inward, as the styloids' line does
        // from thumb side to little finger with the palm turned up.
        let plane = lanes::scale(&unit(&normal), bent);
        let flat = lanes::scale(&beside(&fore), Lanes::all(1.0) - bent);
        let next = inward(&unit(&lanes::add(&plane, &flat)));
        let moved = lanes::sub(&next, &elbow);
        elbow = next;
        if lanes::dot(&moved, &moved).0.iter().all(|m| *m < STILL_M2) {
            break;
        }
    }
    unit(&lanes::sub(&wrist, &elbow))
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

/// Way from the acromion down to the shoulder's centre, along the thorax where it is marked.
struct Drop {
    off: Vector3<f64>,
    down: Vec<Vector3<f64>>,
}

impl Drop {
    fn new(s: &Smoothed, off: Vector3<f64>) -> Self {
        let marks = [L::C7, L::SternalNotch, L::T8, L::Xiphoid];
        let marks: Vec<_> = marks.iter().filter_map(|&l| s.points(l)).collect();
        let acromia = s.points(L::LeftAcromion).zip(s.points(L::RightAcromion));
        let (Some((a, b)), [c7, notch, t8, xiphoid]) = (acromia, marks.as_slice()) else {
            return Self {
                off,
                down: Vec::new(),
            };
        };
        let mut widths: Vec<f64> = a.iter().zip(&b).map(|(a, b)| (b - a).norm()).collect();
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
    use nalgebra::Point3;

    fn direction(points: [Point3<f64>; 3], across: Vector3<f64>) -> Vector3<f64> {
        let points = points.map(|p| lanes::gather([p.coords]));
        lanes::lane(&forearm(points, lanes::gather([across]), 0.034), 0)
    }

    /// A left arm in front of the body (x toward the body's left, y up, z forward), bent by `flexion`
    /// in a plane whose normal is −x: centre known, lateral marker 34 mm toward +x.
    #[test]
    fn the_marker_is_moved_to_the_joint() {
        for flexion in [0.3_f64, 0.6, 1.5] {
            let shoulder = Point3::origin();
            let elbow = Point3::new(0.0, -0.28, 0.0);
            let fore = Vector3::new(0.0, -flexion.cos(), flexion.sin());
            let wrist = elbow + fore * 0.26;
            let lateral = elbow + Vector3::x() * 0.034;
            let found = direction([shoulder, lateral, wrist], Vector3::zeros());
            assert!(
                found.angle(&fore) < 1e-3,
                "{flexion}: {}",
                found.angle(&fore)
            );
        }
    }

    #[test]
    fn a_straight_arm_uses_the_styloids() {
        let elbow = Point3::new(0.0, -0.28, 0.0);
        let wrist = Point3::new(0.0, -0.54, 0.0);
        let lateral = elbow + Vector3::x() * 0.034;
        let found = direction([Point3::origin(), lateral, wrist], -Vector3::x());
        assert!(found.angle(&-Vector3::y()) < 1e-3);
    }
}
