//! The club from its markers: shaft axis, face reference point, mid-grip point.
//!
//! Works with either marker set: butt and low shaft, or a grip pair with shaft markers. What the
//! markers do not give is `None`. Events and speeds are made elsewhere.

use nalgebra::{Point3, Vector3};

use crate::landmark::Landmark;
use crate::window::{Track, Window};

/// Mid-grip point below the butt end along the shaft, metres (between the hands of a usual grip;
/// common practice, no source).
pub const MID_GRIP_FROM_BUTT_M: f64 = 0.13;

/// The club's points over a window, bay or golfer frame, metres.
#[derive(Debug, Clone, PartialEq)]
pub struct Club {
    /// The face's reference point: midpoint of the heel and toe markers of the head.
    pub head: Track,
    /// Mid-grip point.
    pub grip: Track,
    /// Unit vector along the shaft's axis, from the grip toward the head.
    pub axis: Vec<Option<Vector3<f64>>>,
    /// Whether the head itself is marked; if not, `head` is the low shaft.
    pub head_marked: bool,
    /// What limits grip and axis, in words, if something does.
    pub limited: Option<&'static str>,
}

impl Club {
    /// Reads the club out of a window. `Err` names the missing markers in words.
    ///
    /// # Errors
    /// When the set has no grip or no shaft marker.
    pub fn new(window: &Window) -> Result<Self, &'static str> {
        let upper = midpoint_or_single(
            window,
            Landmark::ClubGripA,
            Landmark::ClubGripB,
            Landmark::ClubButt,
        )
        .ok_or("no club markers at the grip")?;
        let lower = first_track(window, &[Landmark::ClubShaftLow, Landmark::ClubShaftMid])
            .ok_or("no club marker on the shaft")?;
        let marked = head(window);
        let head_marked = marked.is_some();
        // Without a marked head the low shaft still tells when things happen, not how fast.
        let head = marked.unwrap_or_else(|| lower.clone());
        let axis: Vec<Option<Vector3<f64>>> = upper
            .iter()
            .zip(lower)
            .map(|(a, b)| ((*b)? - (*a)?).try_normalize(0.05))
            .collect();
        let below_m = if window.has(Landmark::ClubGripA) {
            0.0
        } else {
            MID_GRIP_FROM_BUTT_M
        };
        let grip = upper
            .iter()
            .zip(&axis)
            .map(|(p, u)| Some((*p)? + (*u)? * below_m))
            .collect();
        let pair = window.has(Landmark::ClubGripA) || window.has(Landmark::ClubGripB);
        let half = pair && !(window.has(Landmark::ClubGripA) && window.has(Landmark::ClubGripB));
        Ok(Self {
            head,
            head_marked,
            grip,
            axis,
            limited: half.then_some("one grip marker stands in for the pair"),
        })
    }
}

/// The head's point in one instant, from whichever of its markers are seen (for live use, where a
/// shift between markers matters less than a hole).
#[must_use]
pub fn head_now(points: impl Fn(Landmark) -> Option<Point3<f64>>) -> [Option<Point3<f64>>; 4] {
    [
        Landmark::ClubHeadHeel,
        Landmark::ClubHeadToe,
        Landmark::ClubHeadBack,
        Landmark::ClubShaftLow,
    ]
    .map(points)
}

fn head(window: &Window) -> Option<Track> {
    midpoint_or_single(
        window,
        Landmark::ClubHeadHeel,
        Landmark::ClubHeadToe,
        Landmark::ClubHeadBack,
    )
}

fn first_track<'a>(window: &'a Window, landmarks: &[Landmark]) -> Option<&'a Track> {
    landmarks.iter().find_map(|&l| window.track(l))
}

/// Midpoint of two landmarks where the set has both, else the one it has, else the third.
fn midpoint_or_single(window: &Window, a: Landmark, b: Landmark, other: Landmark) -> Option<Track> {
    match (window.track(a), window.track(b)) {
        (Some(a), Some(b)) => Some(midpoint(a, b)),
        (Some(one), None) | (None, Some(one)) => Some(one.clone()),
        (None, None) => window.track(other).cloned(),
    }
}

/// Midpoint of two tracks where both are known.
#[must_use]
pub fn midpoint(a: &Track, b: &Track) -> Track {
    a.iter()
        .zip(b)
        .map(|(a, b)| Some(nalgebra::center(a.as_ref()?, b.as_ref()?)))
        .collect()
}
