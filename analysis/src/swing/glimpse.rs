//! What one frame shows the live detector: points of the club or the hands, which way the shaft points,
//! whether the hands hold something. No memory here.

use nalgebra::{Point3, Vector3};

use crate::landmark::Landmark;

/// What is watched.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Watched {
    Head,
    /// The butt of a club that is held by its head.
    Butt,
    Hands,
}

/// Points of one frame that the detector keeps.
#[derive(Debug, Clone, Copy)]
pub(super) struct Glimpse {
    pub(super) time_ns: i64,
    pub(super) points: [Option<Point3<f64>>; 4],
    pub(super) of: Watched,
}

impl Glimpse {
    /// The middle of what is seen.
    pub(super) fn place(&self) -> Option<Point3<f64>> {
        let seen = self.points.iter().flatten();
        let (sum, n) = seen.fold((Vector3::zeros(), 0.0), |(s, n), p| (s + p.coords, n + 1.0));
        (n > 0.0).then(|| Point3::from(sum / n))
    }
}

/// Whether the hands hang low and together, as they hold a club at address.
pub(super) fn hands_down(point: &impl Fn(Landmark) -> Option<Point3<f64>>) -> bool {
    let first = |of: [Landmark; 2]| of.into_iter().find_map(point);
    let left = first([Landmark::LeftHand, Landmark::LeftRadialStyloid]);
    let right = first([Landmark::RightHand, Landmark::RightRadialStyloid]);
    let shoulder = first([Landmark::LeftAcromion, Landmark::RightAcromion]);
    match (left, right, shoulder) {
        (Some(l), Some(r), Some(s)) => (l - r).norm() < 0.35 && l.y < s.y - 0.3,
        _ => false,
    }
}

/// The movement that most markers seen then and now agree on: the median by axis of three and more, the
/// smaller of two; `None` without any.
pub(super) fn typical(now: &Glimpse, then: &Glimpse) -> Option<Vector3<f64>> {
    let both = now.points.iter().zip(&then.points);
    let moves = both.filter_map(|(b, a)| Some((*b)? - (*a)?));
    let n = moves.clone().count();
    if n < 3 {
        return moves.min_by(|a, b| a.norm().total_cmp(&b.norm()));
    }
    let middle = |axis: usize| {
        let mut values = [0.0; 4];
        let of_axis = moves.clone().map(|m| m[axis]);
        values.iter_mut().zip(of_axis).for_each(|(v, m)| *v = m);
        values[..n].sort_unstable_by(f64::total_cmp);
        values[(n - 1) / 2]
    };
    Some(Vector3::new(middle(0), middle(1), middle(2)))
}

/// Which way a shaft points.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Shaft {
    /// The head clearly down.
    Down,
    /// The butt clearly down, lower than the knees.
    Over,
    Else,
}

/// Which way the shaft points in one instant.
pub(super) fn shaft(point: &impl Fn(Landmark) -> Option<Point3<f64>>) -> Option<Shaft> {
    let upper = point(Landmark::ClubButt).or_else(|| point(Landmark::ClubGripA))?;
    let lower = point(Landmark::ClubShaftLow).or_else(|| point(Landmark::ClubHeadHeel))?;
    let axis = (lower - upper).try_normalize(0.05)?;
    let knee = point(Landmark::LeftKnee).or_else(|| point(Landmark::RightKnee));
    Some(if axis.y < -0.4 {
        Shaft::Down
    } else if axis.y > 0.4 && knee.is_some_and(|k| upper.y < k.y) {
        Shaft::Over
    } else {
        Shaft::Else
    })
}

/// Whether the club is held by its head: which of its ends is down and lower than the knees. `None` where
/// neither is, as at the top and while it lies.
pub(super) fn held_by_head(point: &impl Fn(Landmark) -> Option<Point3<f64>>) -> Option<bool> {
    let lower = point(Landmark::ClubHeadHeel).or_else(|| point(Landmark::ClubShaftLow));
    let knee = point(Landmark::LeftKnee).or_else(|| point(Landmark::RightKnee));
    match shaft(point)? {
        Shaft::Over => Some(true),
        // Without knees nobody is believed to hold it by its head.
        Shaft::Down => knee
            .zip(lower)
            .is_none_or(|(k, l)| l.y < k.y)
            .then_some(false),
        Shaft::Else => None,
    }
}

pub(super) const HANDS: [Landmark; 4] = [
    Landmark::LeftHand,
    Landmark::RightHand,
    Landmark::LeftRadialStyloid,
    Landmark::RightRadialStyloid,
];
pub(super) const BUTT: [Option<Landmark>; 4] = [
    Some(Landmark::ClubButt),
    Some(Landmark::ClubGripA),
    Some(Landmark::ClubGripB),
    None,
];
