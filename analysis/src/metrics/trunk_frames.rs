//! Rotations of pelvis and thorax as series, from smoothed landmarks, on ISB axes (columns:
//! forward, up, right).

use crate::body::segments::Maybe;
use crate::body::tracks::Smoothed;
use crate::landmark::Landmark as L;
use nalgebra::{Matrix3, Point3, Vector3};

/// A segment's rotation over the window.
#[derive(Debug, Clone)]
pub(super) struct Turned {
    /// One a slot; columns forward, up, right in the golfer frame.
    pub(super) rotations: Vec<Matrix3<f64>>,
    /// Slots in which every marker was known.
    pub(super) known: Vec<bool>,
    /// What limits it, in words.
    pub(super) limited: Option<String>,
}

/// Pelvis (Wu 2002): right along the anterior spines, forward in the plane with the posterior ones.
pub(super) fn pelvis(s: &Smoothed) -> Maybe<Turned> {
    turned(
        s,
        [L::RightAsis, L::LeftAsis, L::RightPsis, L::LeftPsis],
        |p| {
            let right = p[0] - p[1];
            let forward = nalgebra::center(&p[0], &p[1]) - nalgebra::center(&p[2], &p[3]);
            axes(right.cross(&forward), right)
        },
    )
}

/// Thorax (Wu 2005): up from the middle of xiphoid and T8 to that of notch and C7, right across the
/// plane of notch, C7 and the lower middle.
pub(super) fn thorax(s: &Smoothed) -> Maybe<Turned> {
    turned(s, [L::SternalNotch, L::C7, L::T8, L::Xiphoid], |p| {
        let low = nalgebra::center(&p[2], &p[3]);
        let up = nalgebra::center(&p[0], &p[1]) - low;
        axes(up, (p[0] - p[1]).cross(&up))
    })
}

/// Axes from up and a direction to the right.
fn axes(up: Vector3<f64>, right: Vector3<f64>) -> Matrix3<f64> {
    let up = up.try_normalize(1e-9).unwrap_or_else(Vector3::y);
    let right = right - up * right.dot(&up);
    let right = right.try_normalize(1e-9).unwrap_or_else(Vector3::z);
    Matrix3::from_columns(&[up.cross(&right), up, right])
}

fn turned(
    s: &Smoothed,
    marks: [L; 4],
    make: impl Fn([Point3<f64>; 4]) -> Matrix3<f64>,
) -> Maybe<Turned> {
    let missing: Vec<&str> = marks
        .iter()
        .filter(|l| s.track(**l).is_none())
        .map(|l| l.name())
        .collect();
    let tracks: Vec<_> = marks.iter().filter_map(|&l| s.track(l)).collect();
    let &[a, b, c, d] = tracks.as_slice() else {
        return Err(format!("not marked: {}", missing.join(", ")));
    };
    let at = |i: usize| [a, b, c, d].map(|t| t.points[i]);
    Ok(Turned {
        rotations: (0..s.len()).map(|i| make(at(i))).collect(),
        known: (0..s.len())
            .map(|i| [a, b, c, d].iter().all(|t| t.known[i]))
            .collect(),
        limited: marks
            .iter()
            .find_map(|&l| s.approximate(l))
            .map(String::from),
    })
}
