//! The club from its markers: shaft axis, face reference point, mid-grip point, the head's own
//! heel-toe direction.
//!
//! Works with either marker set: butt and low shaft, or a grip pair with shaft markers. What the
//! markers do not give is `None`. Hidden markers were rebuilt from the club's rigid shape before
//! (`body::cluster`); here the shape is not asked again, because a shaft bends and the head of a
//! bent club is not where the rigid one would be. Events and speeds are made elsewhere.

pub mod dynamics;
pub mod mass;

use std::ops::Range;

use nalgebra::{Point3, Vector3};

use crate::body::pose::{self, Size};
use crate::context::ClubGeometry;
use crate::landmark::Landmark;
use crate::signal::order;
use crate::window::{Track, Window};

/// Mid-grip point below the butt end along the shaft, metres (between the hands of a usual grip;
/// common practice, no source).
pub const MID_GRIP_FROM_BUTT_M: f64 = 0.13;
/// Measured and told length may differ by this, metres: the face's centre is not the shaft's end.
const LENGTH_TOLERANCE_M: f64 = 0.06;
/// Lie of a club where none is told, rad (middle of a set; common practice, no source).
const LIE_RAD: f64 = 1.047;
/// Markers of the head that give its orientation, heel and toe first.
const HEAD: [Landmark; 3] = [
    Landmark::ClubHeadHeel,
    Landmark::ClubHeadToe,
    Landmark::ClubHeadBack,
];
/// Markers on the shaft's axis from the grip down (a grip pair counts as its midpoint).
const SHAFT: [Landmark; 2] = [Landmark::ClubShaftMid, Landmark::ClubShaftLow];
/// Frames that give the head's shape: the slowest ones, at most this many.
const SHAPE_FRAMES: usize = 200;

/// The club's points over a window, bay or golfer frame, metres.
#[derive(Debug, Clone, PartialEq)]
pub struct Club {
    /// The face's reference point: midpoint of the heel and toe markers of the head.
    pub head: Track,
    /// Mid-grip point.
    pub grip: Track,
    /// Unit vector along the shaft's axis, from the grip toward the head.
    pub axis: Vec<Option<Vector3<f64>>>,
    /// The direction from heel to toe, where three markers of the head give it.
    pub toe: Option<Toe>,
    /// Whether the head's place is known, marked or told; if not, `head` is the low shaft.
    pub head_marked: bool,
    /// What limits grip and axis, in words, if something does.
    pub limited: Option<&'static str>,
    /// What limits the head, in words, if something does.
    pub head_limited: Option<String>,
}

impl Club {
    /// Reads the club out of a window. `Err` names the missing markers in words.
    ///
    /// # Errors
    /// When the set has no grip or no shaft marker.
    pub fn new(window: &Window, told: Option<&ClubGeometry>) -> Result<Self, &'static str> {
        let upper = midpoint_or_single(
            window,
            Landmark::ClubGripA,
            Landmark::ClubGripB,
            Landmark::ClubButt,
        )
        .ok_or("the club has no marker at the grip or butt")?;
        let lower = first_track(window, &[Landmark::ClubShaftLow, Landmark::ClubShaftMid])
            .ok_or("the club has no marker on the shaft")?;
        let axis = axis(window, &upper);
        let butt = !window.has(Landmark::ClubGripA) && !window.has(Landmark::ClubGripB);
        let below_m = if butt { MID_GRIP_FROM_BUTT_M } else { 0.0 };
        let along = |m: f64| -> Track {
            let points = upper.iter().zip(&axis);
            points.map(|(p, u)| Some((*p)? + (*u)? * m)).collect()
        };
        let length_m = told.and_then(|t| t.length_m);
        let marked = head(window, (&upper, &axis), told);
        let (head, head_limited) = match (marked, length_m) {
            (Some((head, lacking)), told_m) => {
                let other = contradiction(butt.then_some(&upper), &head, told_m);
                let words: Vec<String> = [lacking, other].into_iter().flatten().collect();
                (Some(head), (!words.is_empty()).then(|| words.join("; ")))
            }
            (None, Some(length)) if butt => (
                Some(along(length)),
                Some("club head not marked: from the told length".to_owned()),
            ),
            (None, _) => (None, None),
        };
        let pair = window.has(Landmark::ClubGripA) && window.has(Landmark::ClubGripB);
        Ok(Self {
            head_marked: head.is_some(),
            // Without a known head the low shaft still tells when things happen, not how fast.
            head: head.unwrap_or_else(|| lower.clone()),
            head_limited,
            grip: along(below_m),
            toe: Toe::new(window),
            axis,
            limited: (!butt && !pair)
                .then_some("from one grip marker: mark both sides of the grip"),
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

/// The face's reference point, and what limits it: the middle of heel and toe, else the toe moved by
/// what is told of the club, else whichever marker there is.
fn head(
    window: &Window,
    (upper, axis): (&Track, &[Option<Vector3<f64>>]),
    told: Option<&ClubGeometry>,
) -> Option<(Track, Option<String>)> {
    let [heel, toe, back] = HEAD;
    let marked = midpoint_or_single(window, heel, toe, back)?;
    let said = match (window.track(heel), window.track(toe)) {
        (Some(_), Some(_)) => return Some((marked, None)),
        (None, Some(toe)) => {
            let offset_m = told.and_then(|t| t.head_offset_m);
            let lie_rad = told.and_then(|t| t.lie_rad);
            let face = offset_m
                .and_then(|o| from_toe(toe, (upper, axis), (o, lie_rad.unwrap_or(LIE_RAD))));
            match (face, lie_rad) {
                (Some(face), Some(_)) => {
                    return Some((
                        face,
                        Some("face from the toe marker and the club told".into()),
                    ));
                }
                (Some(face), None) => {
                    let words = "face from the toe marker and the told offset, lie assumed";
                    return Some((face, Some(words.into())));
                }
                (None, _) => "club head from its toe: mark its heel",
            }
        }
        (Some(_), None) => "club head from its heel: mark its toe",
        (None, None) => "club head from its back: mark heel and toe",
    };
    Some((marked, Some(said.into())))
}

/// The face's center from the toe marker: back along the line to the heel, which makes the lie's angle
/// with the shaft, until it is as far from the shaft as told. The toe says which way the head is turned
/// about the shaft; how far along the line is one number for the whole window.
fn from_toe(
    toe: &Track,
    (upper, axis): (&Track, &[Option<Vector3<f64>>]),
    (offset_m, lie_rad): (f64, f64),
) -> Option<Track> {
    let across = |i: usize| {
        let (toe, up, u) = (toe[i]?, upper[i]?, axis[i]?);
        let away = toe - up;
        Some(away - u * away.dot(&u))
    };
    let far: Vec<f64> = (0..toe.len())
        .filter_map(across)
        .map(|a| a.norm())
        .collect();
    let back_m = (median(far)? - offset_m) / lie_rad.sin();
    if back_m < 0.0 {
        return None;
    }
    let place = |i: usize| {
        let outward = across(i)?.try_normalize(1e-3)?;
        Some(toe[i]? - (axis[i]? * lie_rad.cos() + outward * lie_rad.sin()) * back_m)
    };
    Some((0..toe.len()).map(place).collect())
}

/// Butt to the head's reference point, metres; `None` without a marker at the butt or of the head.
#[must_use]
pub fn length_m(window: &Window) -> Option<f64> {
    let [heel, toe, back] = HEAD;
    let head = midpoint_or_single(window, heel, toe, back)?;
    median(distances(window.track(Landmark::ClubButt)?, &head))
}

/// Whether a measured length is another club's than a told one, metres: the reference point is not the
/// shaft's end, and a marker lies on the butt, not in it.
#[must_use]
pub fn is_another_length(told_m: f64, measured_m: f64) -> bool {
    (measured_m - told_m).abs() > LENGTH_TOLERANCE_M
}

/// The told length is another club's than the one measured.
fn contradiction(butt: Option<&Track>, head: &Track, told_m: Option<f64>) -> Option<String> {
    let told_m = told_m?;
    let measured_m = median(distances(butt?, head))?;
    is_another_length(told_m, measured_m).then(|| {
        format!("told a club of {told_m:.2} m, measured {measured_m:.2} m: tell the right club, or check its markers")
    })
}

/// Direction of the shaft: the least-squares line through all its markers seen, each weighed by
/// its place along it (the window's medians).
fn axis(window: &Window, upper: &Track) -> Vec<Option<Vector3<f64>>> {
    let lower: Vec<(&Track, f64)> = SHAFT
        .iter()
        .filter_map(|&l| window.track(l))
        .filter_map(|t| Some((t, median(distances(upper, t))?)))
        .collect();
    let at = |slot: usize| {
        let upper = upper[slot]?;
        let seen = || lower.iter().filter_map(|(t, s)| Some((t[slot]?, *s)));
        let (sum, n) = seen().fold((0.0, 1.0), |(sum, n), (_, s)| (sum + s, n + 1.0));
        if n < 2.0 {
            return None;
        }
        let mean = sum / n;
        let weighed = seen().map(|(p, s)| p.coords * (s - mean));
        let sum: Vector3<f64> = std::iter::once(upper.coords * -mean).chain(weighed).sum();
        sum.try_normalize(1e-3)
    };
    (0..upper.len()).map(at).collect()
}

/// The direction from heel to toe: the head's three markers placed as one stiff part, against their
/// mean shape in the slowest frames (at rest, in a usual window).
#[derive(Debug, Clone, PartialEq)]
pub struct Toe {
    shape: [Point3<f64>; 3],
    line: Vector3<f64>,
}

impl Toe {
    /// `None` without three markers of the head that were seen together.
    #[must_use]
    pub fn new(window: &Window) -> Option<Self> {
        let [heel, tip, back] = head_tracks(window)?;
        let shape = shape(window.len(), &|i: usize| {
            Some([heel[i]?, tip[i]?, back[i]?])
        })?;
        let line = (shape[1] - shape[0]).try_normalize(1e-3)?;
        Some(Self { shape, line })
    }

    /// Unit vectors in some slots of a window of the same club.
    #[must_use]
    pub fn within(&self, window: &Window, slots: Range<usize>) -> Vec<Option<Vector3<f64>>> {
        let mut toes = vec![None; slots.len()];
        let Some(tracks) = head_tracks(window) else {
            return toes;
        };
        let first = slots.start;
        let seen = slots.filter(|&i| tracks.iter().all(|t| t[i].is_some()));
        let seen: Vec<usize> = seen.collect();
        let at = |marker: usize, slot: usize| tracks[marker][slot].unwrap_or_default();
        let placed = pose::place_each(&self.shape, &seen, at, 0.0);
        for (slot, frame) in seen.into_iter().zip(placed) {
            toes[slot - first] = frame.map(|f| f.rotation * self.line);
        }
        toes
    }
}

fn head_tracks(window: &Window) -> Option<[&Track; 3]> {
    let [heel, tip, back] = HEAD.map(|l| window.track(l));
    Some([heel?, tip?, back?])
}

/// Mean shape of three points over the slowest frames, placed on the slowest of them.
fn shape(
    len: usize,
    seen: &impl Fn(usize) -> Option<[Point3<f64>; 3]>,
) -> Option<[Point3<f64>; 3]> {
    let mut slow: Vec<(f64, usize)> = (1..len)
        .filter_map(|i| Some(((seen(i)?[0] - seen(i - 1)?[0]).norm(), i)))
        .collect();
    let slower = |a: &(f64, usize), b: &(f64, usize)| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1));
    let count = (slow.len() / 4).clamp(1, SHAPE_FRAMES);
    if count < slow.len() {
        slow.select_nth_unstable_by(count, slower);
        slow.truncate(count);
    }
    slow.sort_unstable_by(slower);
    let model = seen(slow.first()?.1)?;
    let mut sum = [Vector3::zeros(); 3];
    let mut count = 0.0;
    for points in slow.iter().filter_map(|s| seen(s.1)) {
        let pairs: Vec<_> = points.into_iter().zip(model).collect();
        let Some(back) = pose::fit(&pairs, Size::Fixed) else {
            continue;
        };
        sum.iter_mut()
            .zip(points)
            .for_each(|(s, p)| *s += back.place(p).coords);
        count += 1.0;
    }
    (count > 0.0).then(|| sum.map(|s| Point3::from(s / count)))
}

fn distances(a: &Track, b: &Track) -> Vec<f64> {
    a.iter()
        .zip(b)
        .filter_map(|(a, b)| Some(((*b)? - (*a)?).norm()))
        .collect()
}

fn median(mut values: Vec<f64>) -> Option<f64> {
    order::median(&mut values)
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

#[cfg(test)]
mod tests {
    use super::*;
    use nalgebra::Rotation3;

    /// An invented club turning in front of the origin; `without` leaves markers out.
    fn window(without: &[Landmark]) -> Window {
        let model = [
            (Landmark::ClubButt, [0.0, 0.0, 0.0]),
            (Landmark::ClubShaftMid, [0.5, 0.0, 0.0]),
            (Landmark::ClubShaftLow, [0.9, 0.0, 0.0]),
            (Landmark::ClubHeadHeel, [1.04, 0.02, 0.01]),
            (Landmark::ClubHeadToe, [1.04, 0.02, 0.11]),
            (Landmark::ClubHeadBack, [1.04, -0.06, 0.06]),
        ];
        let model: Vec<_> = model.iter().filter(|m| !without.contains(&m.0)).collect();
        let placed = |p: [f64; 3]| {
            (0..60)
                .map(|i| Some(turned(i) * Point3::from(p) + Vector3::new(0.0, 1.0, 0.5)))
                .collect()
        };
        Window {
            first_number: 0,
            rate_hz: 100.0,
            time_ns: (0..60).map(|i| i * 10_000_000).collect(),
            landmarks: model.iter().map(|m| m.0).collect(),
            tracks: model.iter().map(|m| placed(m.1)).collect(),
            arrived: vec![true; 60],
        }
    }

    fn turned(i: usize) -> Rotation3<f64> {
        Rotation3::from_euler_angles(0.3, 0.02 * i as f64, -0.5)
    }

    #[test]
    fn axis_and_toe_turn_with_the_club() {
        let window = window(&[]);
        let club = Club::new(&window, None).unwrap();
        let toes = club.toe.as_ref().unwrap().within(&window, 0..60);
        for i in [0, 30, 59] {
            assert!((club.axis[i].unwrap() - turned(i) * Vector3::x()).norm() < 1e-9);
            assert!((toes[i].unwrap() - turned(i) * Vector3::z()).norm() < 1e-9);
        }
        assert!(club.head_marked && club.head_limited.is_none());
    }

    /// A third marker on the shaft steadies its direction: the line through all three.
    #[test]
    fn every_marker_on_the_shaft_counts() {
        let mut w = window(&[]);
        let low = w
            .landmarks
            .iter()
            .position(|&l| l == Landmark::ClubShaftLow);
        let across = turned(10) * Vector3::z() * 0.009;
        w.tracks[low.unwrap()][10] = w.tracks[low.unwrap()][10].map(|p| p + across);
        let off = |w: &Window| {
            let u = Club::new(w, None).unwrap().axis[10].unwrap();
            u.angle(&(turned(10) * Vector3::x()))
        };
        // Least squares by hand: places 0, 0.5, 0.9; the stray 9 mm at 0.9 gives 0.433 · 9 / 0.4067.
        assert!((off(&w) - 0.009_59).abs() < 2e-4, "{}", off(&w));
    }

    #[test]
    fn a_told_length_places_an_unmarked_head_and_is_checked_against_a_marked_one() {
        let told = |length: f64| ClubGeometry {
            length_m: Some(length),
            ..ClubGeometry::default()
        };
        let bare = window(&[
            Landmark::ClubHeadHeel,
            Landmark::ClubHeadToe,
            Landmark::ClubHeadBack,
        ]);
        assert!(!Club::new(&bare, None).unwrap().head_marked);
        let placed = Club::new(&bare, Some(&told(1.04))).unwrap();
        let truth = turned(7) * Point3::new(1.04, 0.0, 0.0) + Vector3::new(0.0, 1.0, 0.5);
        assert!(placed.head_marked && (placed.head[7].unwrap() - truth).norm() < 1e-9);
        assert!(placed.head_limited.unwrap().contains("told length"));
        let words = |length| {
            Club::new(&window(&[]), Some(&told(length)))
                .unwrap()
                .head_limited
        };
        assert_eq!(words(1.05), None);
        assert!(words(0.94).unwrap().contains("the right club"));
    }

    /// Heel and toe of the window's club lie across the shaft: a lie of a right angle.
    #[test]
    fn the_toe_alone_gives_the_face_of_a_told_club() {
        let lone = window(&[Landmark::ClubHeadHeel, Landmark::ClubHeadBack]);
        let told = |lie_deg: f64| ClubGeometry {
            lie_rad: Some(lie_deg.to_radians()),
            head_offset_m: Some(0.063_246),
            ..ClubGeometry::default()
        };
        // By hand: the toe is hypot(20, 110) mm from the shaft, on that ray the face at 63.246 mm.
        let ray = Vector3::new(0.0, 0.02, 0.11) / 0.02_f64.hypot(0.11);
        let at =
            |place: Vector3<f64>| turned(9) * Point3::from(place) + Vector3::new(0.0, 1.0, 0.5);
        let head = |lie| Club::new(&lone, Some(&told(lie))).unwrap().head[9].unwrap();
        let square = at(Vector3::new(1.04, 0.0, 0.0) + ray * 0.063_246);
        assert!((head(90.0) - square).norm() < 1e-9);
        // At 60 degrees the line to the heel also runs up the shaft: cot 60 of the way across.
        let way = 0.02_f64.hypot(0.11) - 0.063_246;
        let slanted = square + turned(9) * Vector3::x() * (-way / 60_f64.to_radians().tan());
        assert!((head(60.0) - slanted).norm() < 1e-9);
        let bare = Club::new(&lone, None).unwrap();
        assert!(bare.head_limited.unwrap().contains("mark its heel"));
    }

    #[test]
    fn a_head_of_two_markers_tells_no_heel_toe_direction() {
        let club = Club::new(&window(&[Landmark::ClubHeadBack]), None).unwrap();
        assert!(club.toe.is_none() && club.head_marked);
    }
}
