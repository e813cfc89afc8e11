//! One leg: the centers of knee and ankle from their lateral markers, and the knee's flexion.
//!
//! Several slots are solved side by side. Where the pelvis is placed and what a leg is for lives in
//! `skeleton`.

use nalgebra::{Point3, Vector3};

use super::calibration::{Calibration, SIDES};
use super::frames;
use super::lanes::{self, Lanes, Vector};
use super::segments::{Maybe, Path, Series, both, needs, path};
use super::skeleton::Segment;
use super::tracks::Smoothed;
use crate::landmark::Landmark as L;

/// Flexion below which the leg's plane is helped by foot and pelvis, rad: a straight leg has none.
const STRAIGHT: f64 = 0.10;

/// One leg in every slot.
#[derive(Debug, Clone, PartialEq)]
pub struct Leg {
    /// Knee joint center, metres.
    pub knee: Vec<Point3<f64>>,
    /// Ankle joint center, metres.
    pub ankle: Vec<Point3<f64>>,
    /// Flexion of the knee, rad: 0 straight, positive flexed.
    pub flexion: Series,
}

/// One leg: knee and ankle centers such that the lateral markers stand at their calibrated places
/// in thigh and shank, both of which share the knee's axis of flexion.
pub(super) fn leg(
    body: &Smoothed,
    calibration: &Calibration,
    (pelvis, hips): (&Maybe<Segment>, &Maybe<[Path; 2]>),
    i: usize,
) -> Maybe<Leg> {
    let [knee, ankle, heel, toe, hip_mark] = [
        [
            L::LeftKnee,
            L::LeftAnkle,
            L::LeftHeel,
            L::LeftToe,
            L::LeftHip,
        ],
        [
            L::RightKnee,
            L::RightAnkle,
            L::RightHeel,
            L::RightToe,
            L::RightHip,
        ],
    ][i];
    let marks = path(body, &[knee, ankle], |p| p[0], None)?;
    let (Ok(pelvis), Ok(hips)) = (pelvis, hips) else {
        return surface_leg(body, [hip_mark, knee, ankle], marks);
    };
    let track = |l: L| body.track(l).map(|t| t.points.as_slice());
    let (Some(knees), Some(ankles)) = (track(knee), track(ankle)) else {
        return Err(needs(knee.name()));
    };
    let foot = track(heel).zip(track(toe));
    let offsets = [calibration.knees[i].at, calibration.ankles[i].at];
    let mut leg = Leg {
        knee: Vec::with_capacity(body.len()),
        ankle: Vec::with_capacity(body.len()),
        flexion: Series {
            values: Vec::with_capacity(body.len()),
            known: both(&pelvis.known, &marks.known),
            limited: join(calibration.limits_joints(), marks.limited.as_deref()),
        },
    };
    let mut axis = None;
    for from in (0..body.len()).step_by(LANES) {
        // Past the end the last slot again: its lanes are not read.
        let slots: [usize; LANES] = std::array::from_fn(|n| (from + n).min(body.len() - 1));
        // Where the knee points without its plane: between foot and pelvis.
        let ahead = slots.map(|slot| {
            let along = foot.map(|(heel, toe)| toe[slot] - heel[slot]);
            let foot = along
                .and_then(|v| v.try_normalize(1e-6))
                .unwrap_or_default();
            pelvis.frames[slot].forward() + foot
        });
        let of = |points: &[Point3<f64>]| lanes::gather(slots.map(|i| points[i].coords));
        let points = [of(&hips[i].points), of(knees), of(ankles)];
        let solved = solve(points, offsets, lanes::gather(ahead), axis);
        let last = lanes::lane(&solved.axis, LANES - 1);
        axis = Some(lanes::gather([last; LANES]));
        for lane in 0..LANES.min(body.len() - from) {
            let [knee, ankle, axis] =
                [&solved.knee, &solved.ankle, &solved.axis].map(|v| lanes::lane(v, lane));
            let (knee, ankle) = (Point3::from(knee), Point3::from(ankle));
            let (hip, lateral) = (hips[i].points[slots[lane]], knees[slots[lane]]);
            leg.knee.push(knee);
            leg.ankle.push(ankle);
            let flexed = flexion([hip, knee, ankle], lateral, (axis, SIDES[i]));
            leg.flexion.values.push(flexed);
        }
    }
    Ok(leg)
}

/// Slots solved side by side.
const LANES: usize = 4;

struct Solved<const N: usize> {
    knee: Vector<N>,
    ankle: Vector<N>,
    /// Axis of flexion, to the right.
    axis: Vector<N>,
}

/// Fixed-point steps at most: each shrinks the error by more than the ratio of an offset to a bone's
/// length, about an eighth, and by far more while the leg is bent.
const STEPS: usize = 6;
/// Square of a step of the axis that ends them.
const STILL: f64 = 1e-24;

fn solve<const N: usize>(
    [hip, lateral_knee, lateral_ankle]: [Vector<N>; 3],
    [knee_offset, ankle_offset]: [Vector3<f64>; 2],
    ahead: Vector<N>,
    before: Option<Vector<N>>,
) -> Solved<N> {
    let (mut knee, mut ankle) = (lateral_knee, lateral_ankle);
    let mut axis = before.unwrap_or_else(|| flexion_axis(hip, knee, ankle, ahead));
    for step in 0..STEPS {
        if step > 0 {
            let next = flexion_axis(hip, knee, ankle, ahead);
            let moved = lanes::sub(&next, &axis);
            axis = next;
            if lanes::dot(&moved, &moved).0.iter().all(|m| *m < STILL) {
                break;
            }
        }
        let thigh = from_up_right(&lanes::sub(&hip, &knee), &axis);
        let shank = from_up_right(&lanes::sub(&knee, &ankle), &axis);
        let sound = std::array::from_fn(|i| thigh.1[i] && shank.1[i]);
        let moved = |lateral: &Vector<N>, rotation: &[Vector<N>; 3], offset: Vector3<f64>| {
            let part = |axis: usize| lanes::scale(&rotation[axis], Lanes::all(offset[axis]));
            lanes::sub(
                lateral,
                &lanes::add(&lanes::add(&part(0), &part(1)), &part(2)),
            )
        };
        knee = lanes::choose(sound, &moved(&lateral_knee, &thigh.0, knee_offset), &knee);
        ankle = lanes::choose(
            sound,
            &moved(&lateral_ankle, &shank.0, ankle_offset),
            &ankle,
        );
    }
    Solved { knee, ankle, axis }
}

/// Axes of a segment from its up and (roughly) right directions, and where these span a plane.
fn from_up_right<const N: usize>(up: &Vector<N>, right: &Vector<N>) -> ([Vector<N>; 3], [bool; N]) {
    let zero = [Lanes::all(0.0); 3];
    let y = lanes::unit_or(up, 1e-6, &zero);
    let z = lanes::sub(right, &lanes::scale(&y, lanes::dot(&y, right)));
    let z = lanes::unit_or(&z, 1e-6, &zero);
    let (long, wide) = (lanes::dot(&y, &y), lanes::dot(&z, &z));
    let sound = std::array::from_fn(|i| long.0[i] > 0.5 && wide.0[i] > 0.5);
    ([lanes::cross(&y, &z), y, z], sound)
}

/// Normal of the leg's plane, to the right; near a straight leg drawn to what foot and pelvis say.
fn flexion_axis<const N: usize>(
    hip: Vector<N>,
    knee: Vector<N>,
    ankle: Vector<N>,
    ahead: Vector<N>,
) -> Vector<N> {
    let (thigh, shank) = (lanes::sub(&knee, &hip), lanes::sub(&ankle, &knee));
    let lengths = (lanes::dot(&thigh, &thigh) * lanes::dot(&shank, &shank)).sqrt();
    let inverse = Lanes::all(1.0) / lengths.clamp(1e-9, f64::INFINITY);
    let normal = lanes::scale(&lanes::cross(&shank, &thigh), inverse);
    let up = lanes::sub(&hip, &ankle);
    let right = lanes::unit_or(&lanes::cross(&ahead, &up), 1e-6, &normal);
    // A knee bent backward by noise counts as straight.
    let bent = lanes::dot(&normal, &right);
    let help = (Lanes::all(1.0) - bent / STRAIGHT).clamp(0.0, 1.0);
    let plane = lanes::scale(&normal, Lanes::all(1.0) - help);
    let flat = lanes::add(&plane, &lanes::scale(&right, help * STRAIGHT));
    lanes::unit_or(&flat, 1e-9, &right)
}

/// Flexion in the joint coordinate system (Grood & Suntay 1983; ISB sign turned so that flexed is
/// positive): the shank's long axis in the thigh's frame, whose Z goes through the lateral marker.
fn flexion(
    [hip, knee, ankle]: [Point3<f64>; 3],
    lateral: Point3<f64>,
    (axis, side): (Vector3<f64>, f64),
) -> f64 {
    let outward = (lateral - knee) * side;
    let right = if outward.norm() > 1e-3 { outward } else { axis };
    let shank = knee - ankle;
    frames::from_up_right(knee, hip - knee, right).map_or(0.0, |thigh| {
        thigh.forward().dot(&shank).atan2(thigh.up().dot(&shank))
    })
}

/// Without a pelvis: surface points stand in for the joint centers.
fn surface_leg(body: &Smoothed, landmarks: [L; 3], marks: Path) -> Maybe<Leg> {
    let points = path(body, &landmarks, |p| p[0], None)?;
    let track = |l: L| body.points(l).unwrap_or_default();
    let [hip, knee, ankle] = landmarks.map(track);
    let values = (0..points.points.len())
        .map(|i| (knee[i] - hip[i]).angle(&(ankle[i] - knee[i])))
        .collect();
    Ok(Leg {
        knee,
        ankle,
        flexion: Series {
            values,
            known: points.known,
            limited: join(
                Some("surface points instead of joint centers"),
                marks.limited.as_deref(),
            ),
        },
    })
}

fn join(a: Option<&str>, b: Option<&str>) -> Option<String> {
    let words: Vec<&str> = a.into_iter().chain(b).collect();
    (!words.is_empty()).then(|| words.join("; "))
}

#[cfg(test)]
mod tests {
    use super::*;
    use nalgebra::Rotation3;

    /// A leg of known flexion about an axis of any direction, the lateral markers at their places.
    fn leg(flexion_deg: f64, turn: f64, side: f64) -> ([Point3<f64>; 3], [Vector3<f64>; 2]) {
        let offsets = [
            Vector3::new(-0.002, 0.0, side * 0.052),
            Vector3::new(-0.010, 0.001, side * 0.035),
        ];
        let turned = Rotation3::from_axis_angle(&Vector3::y_axis(), turn);
        // Facing +X: right is +Z; flexion turns the shank backward.
        let (knee, bend) = (Point3::new(0.0, 0.5, 0.0), flexion_deg.to_radians());
        let thigh = Rotation3::from_axis_angle(&Vector3::z_axis(), 0.5 * bend);
        let shank = Rotation3::from_axis_angle(&Vector3::z_axis(), -0.5 * bend);
        let hip = knee + thigh * Vector3::new(0.0, 0.42, 0.0);
        let ankle = knee - shank * Vector3::new(0.0, 0.43, 0.0);
        let points = [hip, knee + thigh * offsets[0], ankle + shank * offsets[1]];
        (points.map(|p| turned * p), offsets)
    }

    /// The geometry is undone exactly (mathematics); a nearly straight leg has no plane, so that what
    /// foot and pelvis say (here 11 degrees off) decides.
    #[test]
    fn the_flexion_of_a_made_leg_is_found_again() {
        for side in SIDES {
            for (flexion_deg, tolerance) in [
                (1.0, 2.0),
                (8.0, 0.05),
                (15.0, 0.05),
                (35.0, 0.05),
                (90.0, 0.05),
            ] {
                for turn in [-0.8, 0.0, 0.6] {
                    let (points, offsets) = leg(flexion_deg, turn, side);
                    let ahead =
                        Rotation3::from_axis_angle(&Vector3::y_axis(), turn + 0.2) * Vector3::x();
                    let lone = points.map(|p| lanes::gather([p.coords]));
                    let solved = solve(lone, offsets, lanes::gather([ahead]), None);
                    let joint = |v| Point3::from(lanes::lane(v, 0));
                    let (knee, ankle) = (joint(&solved.knee), joint(&solved.ankle));
                    let axis = lanes::lane(&solved.axis, 0);
                    let found = flexion([points[0], knee, ankle], points[1], (axis, side));
                    let found = found.to_degrees();
                    assert!(
                        (found - flexion_deg).abs() < tolerance,
                        "{side} {flexion_deg} {turn}: {found}"
                    );
                }
            }
        }
    }
}
