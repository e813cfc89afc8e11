//! Lines, planes and joint centres of the body as series over a window, golfer frame.
//!
//! A series either exists, with the slots in which it is known and what limits it, or says which
//! markers it would need. Reading metrics off a series at an event is `metrics`' work.

use nalgebra::{Point3, Vector3};

use super::tracks::Smoothed;
use crate::landmark::Landmark as L;

/// A number over the window.
#[derive(Debug, Clone, PartialEq)]
pub struct Series {
    /// One value a slot; meaningless where not known.
    pub values: Vec<f64>,
    /// Slots in which every marker behind the value was seen or safely rebuilt.
    pub known: Vec<bool>,
    /// What limits the values, in words, if something does.
    pub limited: Option<String>,
}

/// A point over the window, golfer frame, metres.
#[derive(Debug, Clone, PartialEq)]
pub struct Path {
    /// One point a slot; meaningless where not known.
    pub points: Vec<Point3<f64>>,
    /// As in [`Series::known`].
    pub known: Vec<bool>,
    /// As in [`Series::limited`].
    pub limited: Option<String>,
}

/// A series, or the reason why there is none.
pub type Maybe<T> = Result<T, String>;

/// Distance of the knee's lateral marker from the joint centre, metres, where no calibration says
/// it (half of an adult epicondyle width of about 10 cm; common practice, no source).
const KNEE_HALF_WIDTH_M: f64 = 0.050;
/// The same for the ankle (half of an adult malleolus width of about 7 cm; common practice, no source).
const ANKLE_HALF_WIDTH_M: f64 = 0.036;
const ASSUMED_WIDTHS: &str = "joint widths assumed, no static calibration";
const HIP_LINE: &str = "hip points, no iliac spines marked";

/// Axial rotation of the pelvis: heading of the line between the anterior iliac spines, rad;
/// 0 square, negative closed, positive open, unwrapped. Falls back to a hip line.
///
/// # Errors
/// Names the markers that are needed.
pub fn pelvis_rotation(s: &Smoothed) -> Maybe<Series> {
    if s.has(&[L::RightAsis, L::LeftAsis]) {
        return heading(s, &[L::RightAsis, L::LeftAsis], |p| p[1] - p[0], None);
    }
    heading(
        s,
        &[L::RightHip, L::LeftHip],
        |p| p[1] - p[0],
        Some(HIP_LINE),
    )
    .map_err(|_spines| needs("left_asis and right_asis (or hip points)"))
}

/// Axial rotation of the thorax: heading of its mediolateral axis (ISB: normal to the plane of
/// sternal notch, C7 and the midpoint of xiphoid and T8), rad, signs as the pelvis.
///
/// # Errors
/// Names the markers that are needed.
pub fn thorax_rotation(s: &Smoothed) -> Maybe<Series> {
    let toward_lead = |p: &[Point3<f64>]| {
        let [notch, c7, t8, xiphoid] = [p[0], p[1], p[2], p[3]];
        let low = nalgebra::center(&xiphoid, &t8);
        // Normal of the plane: forward × up points to the golfer's right; lead is left here.
        -(notch - c7).cross(&(nalgebra::center(&notch, &c7) - low))
    };
    heading(
        s,
        &[L::SternalNotch, L::C7, L::T8, L::Xiphoid],
        toward_lead,
        None,
    )
}

/// Heading of the line between the acromia, rad. Not the thorax: the shoulder girdle glides on it
/// (Wheat 2007: −16° at the top).
///
/// # Errors
/// Names the markers that are needed.
pub fn shoulder_line_rotation(s: &Smoothed) -> Maybe<Series> {
    heading(
        s,
        &[L::RightAcromion, L::LeftAcromion],
        |p| p[1] - p[0],
        None,
    )
}

/// Midpoint of the hip joint centres (Harrington 2007, from the iliac spines), or of two hip points.
///
/// # Errors
/// Names the markers that are needed.
pub fn pelvis_point(s: &Smoothed) -> Maybe<Path> {
    match hip_centers(s) {
        Ok((lead, trail)) => Ok(Path {
            points: lead
                .points
                .iter()
                .zip(&trail.points)
                .map(|(a, b)| nalgebra::center(a, b))
                .collect(),
            ..lead
        }),
        Err(_) => path(
            s,
            &[L::LeftHip, L::RightHip],
            |p| nalgebra::center(&p[0], &p[1]),
            Some(HIP_LINE.into()),
        )
        .map_err(|_spines| needs("four iliac spines (or two hip points)")),
    }
}

/// Mean of the head's markers.
///
/// # Errors
/// Names the markers that are needed.
pub fn head_point(s: &Smoothed) -> Maybe<Path> {
    let mean = |p: &[Point3<f64>]| Point3::from((p[0].coords + p[1].coords + p[2].coords) / 3.0);
    path(s, &[L::HeadFront, L::HeadLeft, L::HeadRight], mean, None)
}

/// Unit vector from the lead shoulder to the lead wrist.
///
/// # Errors
/// Names the markers that are needed.
pub fn lead_arm(s: &Smoothed) -> Maybe<Path> {
    let wrist = lead_wrist(s)?;
    let shoulder = path(s, &[L::LeftAcromion], |p| p[0], None)?;
    let points = shoulder.points.iter().zip(&wrist.points);
    Ok(Path {
        points: points
            .map(|(a, b)| Point3::from((b - a).try_normalize(1e-6).unwrap_or_default()))
            .collect(),
        known: both(&shoulder.known, &wrist.known),
        limited: wrist.limited,
    })
}

/// Knee flexion, rad: angle between hip centre → knee centre and knee centre → ankle centre,
/// 0 straight. `lead` chooses the side.
///
/// # Errors
/// Names the markers that are needed.
pub fn knee_flexion(s: &Smoothed, lead: bool) -> Maybe<Series> {
    let (hip_mark, knee, ankle) = if lead {
        (L::LeftHip, L::LeftKnee, L::LeftAnkle)
    } else {
        (L::RightHip, L::RightKnee, L::RightAnkle)
    };
    let legs = path(s, &[knee, ankle], |p| p[0], None)?;
    let (knee, ankle) = (
        s.points(knee).unwrap_or_default(),
        s.points(ankle).unwrap_or_default(),
    );
    let (hip, widths, why) = match hip_centers(s) {
        Ok((l, t)) => (
            if lead { l } else { t },
            (KNEE_HALF_WIDTH_M, ANKLE_HALF_WIDTH_M),
            ASSUMED_WIDTHS,
        ),
        Err(_) => (
            path(s, &[hip_mark], |p| p[0], None)?,
            (0.0, 0.0),
            "surface points instead of joint centers",
        ),
    };
    let side = if lead { 1.0 } else { -1.0 };
    let values = (0..hip.points.len())
        .map(|i| flexion([hip.points[i], knee[i], ankle[i]], widths, side))
        .collect();
    Ok(Series {
        values,
        known: both(&hip.known, &legs.known),
        limited: Some(join(why, legs.limited.as_deref())),
    })
}

/// Flexion from a hip centre and lateral knee and ankle points. The points are moved inward along
/// the normal of the leg's own plane, which is the flexion axis of a bent knee.
fn flexion([hip, knee, ankle]: [Point3<f64>; 3], (knee_m, ankle_m): (f64, f64), side: f64) -> f64 {
    let (mut k, mut a) = (knee, ankle);
    if knee_m > 0.0 {
        // Converges in three steps for a knee bent by more than a few degrees; straighter ones are
        // left as they are, where the side offset matters least.
        for _ in 0..4 {
            let normal = (k - hip).cross(&(a - k));
            // Thigh × shank of a knee bent forward points to the lead side: lateral there, medial on
            // the trail side.
            let Some(lateral) = normal.try_normalize(0.01).map(|n| n * side) else {
                break;
            };
            k = knee - lateral * knee_m;
            a = ankle - lateral * ankle_m;
        }
    }
    (k - hip).angle(&(a - k))
}

/// Hip joint centres (lead, trail) by Harrington et al. 2007, J Biomech 40:595–602, one-variable
/// form, in the pelvis frame of the ISB (Wu 2002) at the midpoint of the anterior spines.
///
/// # Errors
/// Names the markers that are needed.
pub fn hip_centers(s: &Smoothed) -> Maybe<(Path, Path)> {
    let spines = [L::RightAsis, L::LeftAsis, L::RightPsis, L::LeftPsis];
    let base = path(s, &spines, |p| p[0], None)?;
    let points: Vec<[Point3<f64>; 4]> = {
        let t: Vec<Vec<Point3<f64>>> = spines
            .iter()
            .map(|&l| s.points(l).unwrap_or_default())
            .collect();
        (0..base.points.len())
            .map(|i| [t[0][i], t[1][i], t[2][i], t[3][i]])
            .collect()
    };
    // Widths are the golfer's, not the instant's: one value for the window.
    let width = middle(
        points
            .iter()
            .zip(&base.known)
            .filter(|(_, k)| **k)
            .map(|(p, _)| (p[0] - p[1]).norm()),
    );
    let depth = middle(
        points
            .iter()
            .zip(&base.known)
            .filter(|(_, k)| **k)
            .map(|(p, _)| (nalgebra::center(&p[0], &p[1]) - nalgebra::center(&p[2], &p[3])).norm()),
    );
    let offset = Vector3::new(
        -0.24 * depth - 0.0099,
        -0.30 * width - 0.0109,
        0.33 * width + 0.0073,
    );
    let center = |p: &[Point3<f64>; 4], z: f64| {
        let middle = nalgebra::center(&p[0], &p[1]);
        let right = (p[0] - p[1]).try_normalize(1e-6).unwrap_or_else(Vector3::z);
        let back = middle - nalgebra::center(&p[2], &p[3]);
        let forward = (back - right * back.dot(&right))
            .try_normalize(1e-6)
            .unwrap_or_else(Vector3::x);
        let up = right.cross(&forward);
        middle + forward * offset.x + up * offset.y + right * z
    };
    let side = |z: f64| Path {
        points: points.iter().map(|p| center(p, z)).collect(),
        known: base.known.clone(),
        limited: base.limited.clone(),
    };
    Ok((side(-offset.z), side(offset.z)))
}

fn lead_wrist(s: &Smoothed) -> Maybe<Path> {
    if s.has(&[L::LeftRadialStyloid, L::LeftUlnarStyloid]) {
        return path(
            s,
            &[L::LeftRadialStyloid, L::LeftUlnarStyloid],
            |p| nalgebra::center(&p[0], &p[1]),
            None,
        );
    }
    path(s, &[L::LeftWrist], |p| p[0], None)
}

fn heading(
    s: &Smoothed,
    landmarks: &[L],
    toward_lead: impl Fn(&[Point3<f64>]) -> Vector3<f64>,
    limited: Option<&str>,
) -> Maybe<Series> {
    let directions = path(
        s,
        landmarks,
        |p| Point3::from(toward_lead(p)),
        limited.map(String::from),
    )?;
    let mut values: Vec<f64> = Vec::with_capacity(directions.points.len());
    for d in &directions.points {
        let angle = -d.z.atan2(d.x);
        let turns = values.last().map_or(0.0, |last: &f64| {
            ((last - angle) / std::f64::consts::TAU).round()
        });
        values.push(angle + turns * std::f64::consts::TAU);
    }
    Ok(Series {
        values,
        known: directions.known,
        limited: directions.limited,
    })
}

fn path(
    s: &Smoothed,
    landmarks: &[L],
    make: impl Fn(&[Point3<f64>]) -> Point3<f64>,
    limited: Option<String>,
) -> Maybe<Path> {
    let missing: Vec<&str> = landmarks
        .iter()
        .filter(|l| !s.has(&[**l]))
        .map(|l| l.name())
        .collect();
    if !missing.is_empty() {
        return Err(needs(&missing.join(", ")));
    }
    let tracks: Vec<_> = landmarks.iter().filter_map(|&l| s.track(l)).collect();
    let mut at = vec![Point3::origin(); tracks.len()];
    let points = (0..s.len())
        .map(|i| {
            at.iter_mut()
                .zip(&tracks)
                .for_each(|(p, t)| *p = t.points[i]);
            make(&at)
        })
        .collect();
    let known = (0..s.len())
        .map(|i| tracks.iter().all(|t| t.known[i]))
        .collect();
    let approximate = landmarks.iter().find_map(|&l| s.approximate(l));
    let limited = match (limited, approximate) {
        (Some(a), b) => Some(join(&a, b)),
        (None, b) => b.map(String::from),
    };
    Ok(Path {
        points,
        known,
        limited,
    })
}

fn needs(markers: &str) -> String {
    format!("not marked: {markers}")
}

fn join(a: &str, b: Option<&str>) -> String {
    b.map_or_else(|| a.to_owned(), |b| format!("{a}; {b}"))
}

/// Slots known in both.
#[must_use]
pub fn both(a: &[bool], b: &[bool]) -> Vec<bool> {
    a.iter().zip(b).map(|(a, b)| *a && *b).collect()
}

fn middle(values: impl Iterator<Item = f64>) -> f64 {
    let mut values: Vec<f64> = values.collect();
    values.sort_unstable_by(f64::total_cmp);
    values.get(values.len() / 2).copied().unwrap_or(0.0)
}
