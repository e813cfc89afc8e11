//! The body over a window: segment frames placed by their marker clusters, joint centers, legs.
//! Golfer frame (a left-handed golfer mirrored): the lead side is left, index 0.
//!
//! A segment either exists, with the slots in which it is known and what limits it, or says which
//! markers it would need. Shapes and joint offsets come from the `calibration`.

use nalgebra::{Point3, Vector3, center};

use super::calibration::{Calibration, PELVIS, SIDES, Shape};
use super::frames::{self, Frame};
use super::pose::{self, Size};
use super::segments::{Maybe, Path, Series, both, needs, path};
use super::tracks::Smoothed;
use crate::landmark::Landmark as L;

/// Second ÷ first singular value (which go with the square of the extent) below which a cluster
/// is too nearly a line to tell its roll.
const SPREAD_MIN: f64 = pose::SPREAD_SURE;
/// Flexion below which the leg's plane is helped by foot and pelvis, rad: a straight leg has none.
const STRAIGHT: f64 = 0.10;

/// One segment's frame in every slot.
#[derive(Debug, Clone, PartialEq)]
pub struct Segment {
    /// Lab from segment; a guess where not known.
    pub frames: Vec<Frame>,
    /// Slots in which at least three of its markers were seen or safely rebuilt.
    pub known: Vec<bool>,
    /// What limits it, in words, if something does.
    pub limited: Option<String>,
}

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

/// The body over a window.
#[derive(Debug, Clone, PartialEq)]
pub struct Skeleton {
    /// Pelvis (ISB, origin between the anterior spines).
    pub pelvis: Maybe<Segment>,
    /// Thorax (ISB, origin at the sternal notch).
    pub thorax: Maybe<Segment>,
    /// Head (own definition, origin at the mean of its markers).
    pub head: Maybe<Segment>,
    /// Hip joint centers, lead and trail.
    pub hips: Maybe<[Path; 2]>,
    /// Lead and trail leg.
    pub legs: [Maybe<Leg>; 2],
}

impl Skeleton {
    /// Places the calibrated body in every slot of the smoothed tracks.
    #[must_use]
    pub fn new(body: &Smoothed, calibration: &Calibration) -> Self {
        let pelvis = segment(body, calibration.pelvis.as_ref(), &PELVIS);
        let thorax = segment(
            body,
            calibration.thorax.as_ref(),
            &super::calibration::THORAX,
        );
        let head = segment(body, calibration.head.as_ref(), &super::calibration::HEAD);
        let hips = hips(&pelvis, calibration);
        let legs = [0, 1].map(|i| leg(body, calibration, (&pelvis, &hips), i));
        Self {
            pelvis,
            thorax,
            head,
            hips,
            legs,
        }
    }
}

/// The frame of a cluster in one instant from the markers seen; `None` with fewer than three, or
/// where they are nearly in a line.
#[must_use]
pub fn frame_at(shape: &Shape, at: impl Fn(L) -> Option<Point3<f64>>) -> Option<Frame> {
    frame_of(shape, shape.landmarks.iter().map(|&l| at(l)))
}

/// As [`frame_at`], the places in the order of the shape's landmarks.
fn frame_of(shape: &Shape, at: impl Iterator<Item = Option<Point3<f64>>>) -> Option<Frame> {
    let mut pairs = [(Point3::origin(), Point3::origin()); 8];
    let mut n = 0;
    for (&place, point) in shape.places.iter().zip(at).take(pairs.len()) {
        if let Some(point) = point {
            pairs[n] = (place, point);
            n += 1;
        }
    }
    let fit = pose::fit(&pairs[..n], Size::Fixed).filter(|f| f.spread > SPREAD_MIN)?;
    Some(Frame::from(fit))
}

fn segment(body: &Smoothed, shape: Option<&Shape>, landmarks: &[L]) -> Maybe<Segment> {
    let missing: Vec<&str> = landmarks
        .iter()
        .filter(|l| !body.has(&[**l]))
        .map(|l| l.name())
        .collect();
    if !missing.is_empty() {
        return Err(needs(&missing.join(", ")));
    }
    let shape = shape.ok_or("its markers were not all seen at address")?;
    let member = |&l: &L| body.track(l).ok_or_else(|| needs(l.name()));
    let tracks = shape
        .landmarks
        .iter()
        .map(member)
        .collect::<Maybe<Vec<_>>>()?;
    let slots: Vec<usize> = (0..body.len()).collect();
    let whole = pose::place_each(
        &shape.places,
        &slots,
        |m, i| tracks[m].points[i],
        SPREAD_MIN,
    );
    let mut last = None;
    let mut known = Vec::with_capacity(body.len());
    let frames: Vec<Option<Frame>> = whole
        .into_iter()
        .enumerate()
        .map(|(slot, whole)| {
            let frame = if tracks.iter().all(|t| t.known[slot]) {
                whole
            } else {
                let seen = tracks.iter().map(|t| t.known[slot].then(|| t.points[slot]));
                frame_of(shape, seen)
            };
            known.push(frame.is_some());
            last = frame.or(whole).or(last);
            last
        })
        .collect();
    let first = frames.iter().flatten().next().copied();
    let first = first.ok_or("its markers are nearly in a line")?;
    Ok(Segment {
        frames: frames.into_iter().map(|f| f.unwrap_or(first)).collect(),
        known,
        limited: landmarks
            .iter()
            .find_map(|&l| body.approximate(l))
            .map(String::from),
    })
}

fn hips(pelvis: &Maybe<Segment>, calibration: &Calibration) -> Maybe<[Path; 2]> {
    let pelvis = pelvis.as_ref().map_err(Clone::clone)?;
    let places = calibration
        .hips
        .ok_or("the pelvis was not seen at address")?;
    Ok(places.map(|place| Path {
        points: pelvis
            .frames
            .iter()
            .map(|f| f.lab(Point3::from(place.at)))
            .collect(),
        known: pelvis.known.clone(),
        limited: pelvis.limited.clone(),
    }))
}

/// One leg: knee and ankle centers such that the lateral markers stand at their calibrated places
/// in thigh and shank, both of which share the knee's axis of flexion.
fn leg(
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
    for slot in 0..body.len() {
        // Where the knee points without its plane: between foot and pelvis.
        let ahead = pelvis.frames[slot].forward()
            + foot.map_or_else(Vector3::zeros, |(heel, toe)| {
                (toe[slot] - heel[slot])
                    .try_normalize(1e-6)
                    .unwrap_or_default()
            });
        let points = [hips[i].points[slot], knees[slot], ankles[slot]];
        let solved = solve(points, offsets, ahead, axis);
        axis = Some(solved.axis);
        leg.knee.push(solved.knee);
        leg.ankle.push(solved.ankle);
        leg.flexion.values.push(flexion(&solved, points, SIDES[i]));
    }
    Ok(leg)
}

struct Solved {
    knee: Point3<f64>,
    ankle: Point3<f64>,
    /// Axis of flexion, to the right.
    axis: Vector3<f64>,
}

/// Fixed-point steps: each shrinks the error by more than the ratio of an offset to a bone's
/// length, about an eighth.
const STEPS: usize = 6;

fn solve(
    [hip, lateral_knee, lateral_ankle]: [Point3<f64>; 3],
    [knee_offset, ankle_offset]: [Vector3<f64>; 2],
    ahead: Vector3<f64>,
    before: Option<Vector3<f64>>,
) -> Solved {
    let (mut knee, mut ankle) = (lateral_knee, lateral_ankle);
    let long = hip - lateral_ankle;
    let guess = ahead
        .cross(&long)
        .try_normalize(1e-6)
        .unwrap_or_else(Vector3::z);
    let mut axis = before.unwrap_or(guess);
    for step in 0..STEPS {
        if step > 0 || before.is_none() {
            axis = flexion_axis(hip, knee, ankle, ahead);
        }
        let (thigh, shank) = (
            frames::from_up_right(knee, hip - knee, axis),
            frames::from_up_right(ankle, knee - ankle, axis),
        );
        let (Some(thigh), Some(shank)) = (thigh, shank) else {
            break;
        };
        knee = lateral_knee - thigh.rotation * knee_offset;
        ankle = lateral_ankle - shank.rotation * ankle_offset;
    }
    Solved { knee, ankle, axis }
}

/// Normal of the leg's plane, to the right; near a straight leg drawn to what foot and pelvis say.
fn flexion_axis(
    hip: Point3<f64>,
    knee: Point3<f64>,
    ankle: Point3<f64>,
    ahead: Vector3<f64>,
) -> Vector3<f64> {
    let (thigh, shank) = (knee - hip, ankle - knee);
    let normal = -thigh.cross(&shank) / (thigh.norm() * shank.norm()).max(1e-9);
    let right = ahead.cross(&-(thigh + shank)).try_normalize(1e-6);
    let right = right.unwrap_or(normal);
    // A knee bent backward by noise counts as straight.
    let bent = normal.dot(&right);
    let help = (1.0 - bent / STRAIGHT).clamp(0.0, 1.0);
    let flat = normal * (1.0 - help) + right * (help * STRAIGHT);
    flat.try_normalize(1e-9).unwrap_or(right)
}

/// Flexion in the joint coordinate system (Grood & Suntay 1983; ISB sign turned so that flexed is
/// positive): the shank's long axis in the thigh's frame, whose Z goes through the lateral marker.
fn flexion(solved: &Solved, [hip, lateral, _]: [Point3<f64>; 3], side: f64) -> f64 {
    let outward = (lateral - solved.knee) * side;
    let right = if outward.norm() > 1e-3 {
        outward
    } else {
        solved.axis
    };
    let shank = solved.knee - solved.ankle;
    frames::from_up_right(solved.knee, hip - solved.knee, right).map_or(0.0, |thigh| {
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

/// Midpoint of the hip joint centers.
#[must_use]
pub fn middle([lead, trail]: &[Path; 2]) -> Path {
    Path {
        points: lead
            .points
            .iter()
            .zip(&trail.points)
            .map(|(a, b)| center(a, b))
            .collect(),
        known: both(&lead.known, &trail.known),
        limited: lead.limited.clone(),
    }
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
                    let solved = solve(points, offsets, ahead, None);
                    let found = flexion(&solved, points, side).to_degrees();
                    assert!(
                        (found - flexion_deg).abs() < tolerance,
                        "{side} {flexion_deg} {turn}: {found}"
                    );
                }
            }
        }
    }
}
