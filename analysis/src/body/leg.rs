//! One leg: the centers of knee and ankle from their lateral markers, and the knee's flexion.
//!
//! Both legs are solved side by side. Where the pelvis is placed and what a leg is for lives in
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

/// Both legs: knee and ankle centers such that the lateral markers stand at their calibrated places
/// in thigh and shank, both of which share the knee's axis of flexion. Without a pelvis surface points
/// stand in for the joint centers.
pub(super) fn legs(
    body: &Smoothed,
    calibration: &Calibration,
    pelvis: &Maybe<Segment>,
    hips: &Maybe<[Path; 2]>,
) -> [Maybe<Leg>; 2] {
    let (Ok(pelvis), Ok(hips)) = (pelvis, hips) else {
        return MARKS.map(|marks| surface_leg(body, marks));
    };
    match [0, 1].map(|i| Markers::new(body, calibration, (pelvis, hips), i)) {
        [Ok(lead), Ok(trail)] => solve_each([lead, trail], pelvis).map(Ok),
        apart => apart.map(|leg| {
            let [leg] = solve_each([leg?], pelvis);
            Ok(leg)
        }),
    }
}

/// Landmarks of a leg: hip point, knee, ankle, heel, toe.
const MARKS: [[L; 5]; 2] = [
    [
        L::LeftHip,
        L::LeftKnee,
        L::LeftAnkle,
        L::LeftHeel,
        L::LeftToe,
    ],
    [
        L::RightHip,
        L::RightKnee,
        L::RightAnkle,
        L::RightHeel,
        L::RightToe,
    ],
];

/// What a leg is solved from: paths in every slot, and its calibrated offsets.
struct Markers<'a> {
    hips: &'a [Point3<f64>],
    knees: &'a [Point3<f64>],
    ankles: &'a [Point3<f64>],
    /// Heel and toe, where both are marked.
    foot: Option<[&'a [Point3<f64>]; 2]>,
    knee_offset: Vector3<f64>,
    ankle_offset: Vector3<f64>,
    side: f64,
    known: Vec<bool>,
    limited: Option<String>,
}

impl<'a> Markers<'a> {
    fn new(
        body: &'a Smoothed,
        calibration: &Calibration,
        (pelvis, hips): (&Segment, &'a [Path; 2]),
        i: usize,
    ) -> Maybe<Self> {
        let [_, knee, ankle, heel, toe] = MARKS[i];
        let marks = path(body, &[knee, ankle], |p| p[0], None)?;
        let track = |l: L| body.track(l).map(|t| t.points.as_slice());
        let sure = |l: L| track(l).ok_or_else(|| needs(l.name()));
        Ok(Self {
            hips: &hips[i].points,
            knees: sure(knee)?,
            ankles: sure(ankle)?,
            foot: track(heel).zip(track(toe)).map(|(heel, toe)| [heel, toe]),
            knee_offset: calibration.knees[i].at,
            ankle_offset: calibration.ankles[i].at,
            side: SIDES[i],
            known: both(&pelvis.known, &marks.known),
            limited: join(calibration.limits_joints(), marks.limited.as_deref()),
        })
    }

    /// Where the knee points without its plane, on top of the pelvis: along the foot.
    fn along_foot(&self, slot: usize) -> Vector3<f64> {
        let foot = self.foot.map(|[heel, toe]| toe[slot] - heel[slot]);
        let foot = foot.and_then(|v| v.try_normalize(1e-6));
        foot.unwrap_or_default()
    }
}

/// Legs solved side by side, slot after slot: each slot begins with the axis of the one before.
fn solve_each<const N: usize>(of: [Markers<'_>; N], pelvis: &Segment) -> [Leg; N] {
    let slots = pelvis.frames.len();
    let offsets = [
        lanes::gather(of.each_ref().map(|m| m.knee_offset)),
        lanes::gather(of.each_ref().map(|m| m.ankle_offset)),
    ];
    let empty = || Vec::with_capacity(slots);
    let mut solved: [_; N] = std::array::from_fn(|_| (empty(), empty(), Vec::with_capacity(slots)));
    let mut axis = None;
    for slot in 0..slots {
        let at = |path: for<'m> fn(&'m Markers<'_>) -> &'m [Point3<f64>]| -> Vector<N> {
            lanes::gather(of.each_ref().map(|m| path(m)[slot].coords))
        };
        let points = [at(|m| m.hips), at(|m| m.knees), at(|m| m.ankles)];
        let forward = pelvis.frames[slot].forward();
        let ahead = of.each_ref().map(|m| forward + m.along_foot(slot));
        let found = solve(points, offsets, lanes::gather(ahead), axis);
        axis = Some(found.axis);
        for (n, (knees, ankles, flexions)) in solved.iter_mut().enumerate() {
            let [knee, ankle] =
                [&found.knee, &found.ankle].map(|v| Point3::from(lanes::lane(v, n)));
            let (hip, lateral) = (of[n].hips[slot], of[n].knees[slot]);
            let axis = lanes::lane(&found.axis, n);
            flexions.push(flexion([hip, knee, ankle], lateral, (axis, of[n].side)));
            knees.push(knee);
            ankles.push(ankle);
        }
    }
    let mut solved = solved.into_iter();
    of.map(|m| {
        let (knee, ankle, values) = solved.next().unwrap_or_default();
        Leg {
            knee,
            ankle,
            flexion: Series {
                values,
                grid: pelvis.grid,
                known: m.known,
                limited: m.limited,
            },
        }
    })
}

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
const STILL: f64 = 1e-20;

fn solve<const N: usize>(
    [hip, lateral_knee, lateral_ankle]: [Vector<N>; 3],
    [knee_offset, ankle_offset]: [Vector<N>; 2],
    ahead: Vector<N>,
    before: Option<Vector<N>>,
) -> Solved<N> {
    let zero = [Lanes::all(0.0); 3];
    let (mut knee, mut ankle) = (lateral_knee, lateral_ankle);
    let mut axis = before;
    for step in 0..STEPS {
        let thigh = lanes::unit_or(&lanes::sub(&hip, &knee), 1e-6, &zero);
        let shank = lanes::unit_or(&lanes::sub(&knee, &ankle), 1e-6, &zero);
        let right = match axis {
            Some(before) if step == 0 => before,
            _ => flexion_axis([&thigh, &shank], &lanes::sub(&hip, &ankle), &ahead),
        };
        let moved = axis.map(|before| lanes::sub(&right, &before));
        axis = Some(right);
        if step > 0 && moved.is_some_and(|m| lanes::dot(&m, &m).0.iter().all(|m| *m < STILL)) {
            break;
        }
        knee = beside(&lateral_knee, (&thigh, &right), &knee_offset, &knee);
        ankle = beside(&lateral_ankle, (&shank, &right), &ankle_offset, &ankle);
    }
    let axis = axis.unwrap_or(zero);
    Solved { knee, ankle, axis }
}

/// The joint center that a lateral marker at its offset tells, in the segment of this long axis (a
/// unit vector) and roughly this axis to the right; the one before where these span no plane.
fn beside<const N: usize>(
    lateral: &Vector<N>,
    (up, right): (&Vector<N>, &Vector<N>),
    [x, y, z]: &Vector<N>,
    before: &Vector<N>,
) -> Vector<N> {
    let zero = [Lanes::all(0.0); 3];
    let across = lanes::sub(right, &lanes::scale(up, lanes::dot(up, right)));
    let across = lanes::unit_or(&across, 1e-6, &zero);
    let forward = lanes::cross(up, &across);
    let flat = lanes::add(&lanes::scale(&forward, *x), &lanes::scale(up, *y));
    let center = lanes::sub(lateral, &lanes::add(&flat, &lanes::scale(&across, *z)));
    let length = lanes::dot(&forward, &forward);
    lanes::choose(length.0.map(|l| l > 0.5), &center, before)
}

/// Normal of the leg's plane, to the right, from the unit vectors up thigh and shank and the way from
/// ankle to hip; near a straight leg drawn to what foot and pelvis say.
fn flexion_axis<const N: usize>(
    [thigh, shank]: [&Vector<N>; 2],
    up: &Vector<N>,
    ahead: &Vector<N>,
) -> Vector<N> {
    let normal = lanes::cross(shank, thigh);
    let right = lanes::unit_or(&lanes::cross(ahead, up), 1e-6, &normal);
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
fn surface_leg(body: &Smoothed, [hip, knee, ankle, ..]: [L; 5]) -> Maybe<Leg> {
    let marks = path(body, &[knee, ankle], |p| p[0], None)?;
    let landmarks = [hip, knee, ankle];
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
            grid: points.grid,
            known: points.known,
            limited: join(
                Some("points on the skin instead of joint centers (mark the whole pelvis)"),
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
                    let offsets = offsets.map(|o| lanes::gather([o]));
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
