//! The line of the lead forearm, from elbow centre to wrist centre.
//!
//! Only the lateral epicondyle is marked in a swing; the centre lies half an elbow width inward
//! along the flexion axis. That axis is the normal of the arm's plane while the arm is bent, and
//! the line of the styloids when it is nearly straight and has no plane.

use crate::body::calibration::Calibration;
use crate::body::segments::Maybe;
use crate::body::tracks::Smoothed;
use crate::landmark::Landmark as L;
use nalgebra::{Point3, Vector3};

/// Shoulder joint centre below the acromion as a share of the distance between the acromia (Rab
/// 2002, J Orthop Res 20:1006, recalled, not looked up).
const SHOULDER_DROP: f64 = 0.17;
/// Elbow flexion below which the arm's plane is not used, and from which it alone is, rad.
const STRAIGHT: f64 = 0.10;
const BENT: f64 = 0.25;
const ASSUMED: &str = "no calibration trial: elbow width assumed";
const SURFACE: &str = "skin points: mark both sides of the wrist";

/// Unit vectors over the window.
#[derive(Debug, Clone)]
pub(super) struct Line {
    /// One direction a slot.
    pub(super) directions: Vec<Vector3<f64>>,
    /// Slots in which every marker behind it was known.
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
    let drop = Drop::new(s);
    let directions = (0..s.len())
        .map(|i| {
            let wrist = nalgebra::center(&radial.points[i], &ulnar.points[i]);
            let across = ulnar.points[i] - radial.points[i];
            let shoulder = shoulder.points[i] + drop.at(i);
            forearm(
                [shoulder, elbow.points[i], wrist],
                across,
                calibration.elbows[0].0,
            )
        })
        .collect();
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
fn forearm(
    [shoulder, lateral, wrist]: [Point3<f64>; 3],
    across: Vector3<f64>,
    half_m: f64,
) -> Vector3<f64> {
    let inward = |flat: Vector3<f64>| lateral + flat * half_m;
    // Begun at the styloids' guess: from the marker itself a straight arm would look bent sideways.
    let first = unit(wrist - lateral);
    let mut elbow = inward(unit(across - first * across.dot(&first)));
    for _ in 0..8 {
        let (upper, fore) = (unit(elbow - shoulder), unit(wrist - elbow));
        let normal = upper.cross(&fore);
        let bent = ((upper.angle(&fore) - STRAIGHT) / (BENT - STRAIGHT)).clamp(0.0, 1.0);
        let flat = unit(across - fore * across.dot(&fore));
        // Of a left arm bent forward the plane's normal points inward, as the styloids' line does
        // from thumb side to little finger with the palm turned up.
        elbow = inward(unit(unit(normal) * bent + flat * (1.0 - bent)));
    }
    unit(wrist - elbow)
}

/// Way from the acromion down to the shoulder's centre, along the thorax where it is marked.
struct Drop {
    down: Vec<Vector3<f64>>,
}

impl Drop {
    fn new(s: &Smoothed) -> Self {
        let marks = [L::C7, L::SternalNotch, L::T8, L::Xiphoid];
        let marks: Vec<_> = marks.iter().filter_map(|&l| s.points(l)).collect();
        let acromia = s.points(L::LeftAcromion).zip(s.points(L::RightAcromion));
        let (Some((a, b)), [c7, notch, t8, xiphoid]) = (acromia, marks.as_slice()) else {
            return Self { down: Vec::new() };
        };
        let mut widths: Vec<f64> = a.iter().zip(&b).map(|(a, b)| (b - a).norm()).collect();
        widths.sort_unstable_by(f64::total_cmp);
        let width = widths.get(widths.len() / 2).copied().unwrap_or(0.0);
        let down = |i: usize| {
            let up = nalgebra::center(&c7[i], &notch[i]) - nalgebra::center(&t8[i], &xiphoid[i]);
            unit(up) * (-SHOULDER_DROP * width)
        };
        Self {
            down: (0..s.len()).map(down).collect(),
        }
    }

    fn at(&self, slot: usize) -> Vector3<f64> {
        self.down.get(slot).copied().unwrap_or_default()
    }
}

fn unit(v: Vector3<f64>) -> Vector3<f64> {
    v.try_normalize(1e-9).unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use super::*;

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
            let found = forearm([shoulder, lateral, wrist], Vector3::zeros(), 0.034);
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
        let found = forearm([Point3::origin(), lateral, wrist], -Vector3::x(), 0.034);
        assert!(found.angle(&-Vector3::y()) < 1e-3);
    }
}
