//! The body over a window: segment frames placed by their marker clusters, joint centers, legs.
//! Golfer frame (a left-handed golfer mirrored): the lead side is left, index 0.
//!
//! A segment either exists, with the slots in which it is known and what limits it, or says which
//! markers it would need. Shapes and joint offsets come from the `calibration`.

use nalgebra::{Point3, center};

use super::arm::{Arm, arms};
use super::calibration::{Calibration, PELVIS, Shape};
use super::frames::Frame;
use super::grid::Grid;
use super::leg::{Leg, legs};
use super::pose::{self, Size};
use super::segments::{Maybe, Path, both, needs};
use super::tracks::Smoothed;
use crate::landmark::Landmark as L;

/// Second ÷ first singular value (which go with the square of the extent) below which a cluster
/// is too nearly a line to tell its roll.
const SPREAD_MIN: f64 = pose::SPREAD_SURE;

/// One segment's frame in every place of the body's grid.
#[derive(Debug, Clone, PartialEq)]
pub struct Segment {
    /// Lab from segment, one a place of the grid; a guess where not known.
    pub frames: Vec<Frame>,
    /// Where in the window its places are.
    pub grid: Grid,
    /// Places in which at least three of its markers were seen or safely rebuilt.
    pub known: Vec<bool>,
    /// What limits it, in words, if something does.
    pub limited: Option<String>,
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
    /// Lead and trail arm.
    pub arms: [Maybe<Arm>; 2],
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
        let legs = legs(body, calibration, &pelvis, &hips);
        Self {
            pelvis,
            thorax,
            head,
            hips,
            legs,
            arms: arms(body, calibration),
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
        grid: body.grid,
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
        grid: pelvis.grid,
        known: pelvis.known.clone(),
        limited: pelvis.limited.clone(),
    }))
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
        grid: lead.grid,
        known: both(&lead.known, &trail.known),
        limited: lead.limited.clone(),
    }
}
