//! Lines, planes and joint centres of the body as series over a window, golfer frame.
//!
//! A series either exists, with the slots in which it is known and what limits it, or says which
//! markers it would need. Reading metrics off a series at an event is `metrics`' work.

use nalgebra::{Point3, Vector3};

use super::grid::{self, Grid};
use super::tracks::Smoothed;
use crate::landmark::Landmark as L;
use crate::swing::series;

/// A number over the window.
#[derive(Debug, Clone, PartialEq)]
pub struct Series {
    /// One value a place of the grid; meaningless where not known.
    pub values: Vec<f64>,
    /// Where in the window its places are.
    pub grid: Grid,
    /// Places in which every marker behind the value was seen or safely rebuilt.
    pub known: Vec<bool>,
    /// What limits the values, in words, if something does.
    pub limited: Option<String>,
}

/// A point over the window, golfer frame, metres.
#[derive(Debug, Clone, PartialEq)]
pub struct Path {
    /// One point a place of the grid; meaningless where not known.
    pub points: Vec<Point3<f64>>,
    /// As in [`Series::grid`].
    pub grid: Grid,
    /// As in [`Series::known`].
    pub known: Vec<bool>,
    /// As in [`Series::limited`].
    pub limited: Option<String>,
}

impl Series {
    /// The value at a slot with its fraction: straight between slots, cubic between the places of a
    /// thinned series. `None` where it is not known, or outside.
    #[must_use]
    pub fn at(&self, slot: f64) -> Option<f64> {
        let place = self.grid.place(slot);
        let (below, above) = (place.floor() as usize, place.ceil() as usize);
        let known = self.known.get(below).copied().unwrap_or(false)
            && self.known.get(above).copied().unwrap_or(true);
        let value = if self.grid == Grid::EVERY {
            series::at(&self.values, place)
        } else {
            grid::at(&self.values, place)
        };
        value.filter(|_| known)
    }

    /// Whether each of some places is known.
    #[must_use]
    pub fn all_known(&self, mut places: impl Iterator<Item = usize>) -> bool {
        places.all(|i| self.known.get(i) == Some(&true))
    }
}

/// A series, or the reason why there is none.
pub type Maybe<T> = Result<T, String>;

const HIP_LINE: &str = "from two hip points: mark the whole pelvis";

/// Axial rotation of a hip line where no iliac spines are marked: heading, rad; 0 square, negative
/// closed, positive open, unwrapped.
///
/// # Errors
/// Names the markers that are needed.
pub fn hip_line_rotation(s: &Smoothed) -> Maybe<Series> {
    heading(
        s,
        &[L::RightHip, L::LeftHip],
        |p| p[1] - p[0],
        Some(HIP_LINE),
    )
    .map_err(|_spines| needs("the four iliac spines (or two hip points)"))
}

/// Axial rotation of the pelvis where only its anterior spines are marked.
///
/// # Errors
/// Names the markers that are needed.
pub fn asis_line_rotation(s: &Smoothed) -> Maybe<Series> {
    heading(
        s,
        &[L::RightAsis, L::LeftAsis],
        |p| p[1] - p[0],
        Some("pelvis from its front only: mark its back"),
    )
}

/// Midpoint of two hip points where no iliac spines are marked.
///
/// # Errors
/// Names the markers that are needed.
pub fn hip_line_middle(s: &Smoothed) -> Maybe<Path> {
    path(
        s,
        &[L::LeftHip, L::RightHip],
        |p| nalgebra::center(&p[0], &p[1]),
        Some(HIP_LINE.into()),
    )
    .map_err(|_spines| needs("four iliac spines (or two hip points)"))
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
        grid: shoulder.grid,
        known: both(&shoulder.known, &wrist.known),
        limited: wrist.limited,
    })
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

pub(super) fn heading(
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
    let values = headings(directions.points.iter().map(|p| p.coords));
    Ok(Series {
        values,
        grid: directions.grid,
        known: directions.known,
        limited: directions.limited,
    })
}

/// Headings of directions toward the lead side: 0 along the target line, positive open, unwrapped.
pub fn headings(toward_lead: impl Iterator<Item = Vector3<f64>>) -> Vec<f64> {
    unwrapped(toward_lead.map(|d| -d.z.atan2(d.x)))
}

/// Angles that continue each other without jumps of a turn.
pub fn unwrapped(angles: impl Iterator<Item = f64>) -> Vec<f64> {
    let mut last = 0.0;
    angles
        .map(|angle| {
            last = angle + ((last - angle) / std::f64::consts::TAU).round() * std::f64::consts::TAU;
            last
        })
        .collect()
}

pub(super) fn path(
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
        grid: s.grid,
        known,
        limited,
    })
}

pub(super) fn needs(markers: &str) -> String {
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
