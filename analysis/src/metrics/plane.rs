//! The plane of the late downswing: least squares through the head's path from shaft level to
//! impact (functional swing plane, Kwon 2012).

use super::catalogue::{DOWNSWING_PLANE_DIRECTION, DOWNSWING_PLANE_SLOPE};
use super::values::{Reader, Values, limits, measured};
use crate::body::segments::Maybe;
use crate::measure::Prepared;
use crate::swing::event::Event;
use nalgebra::{Matrix3, Point3, Vector3};

/// Fewest frames that make a plane.
const FRAMES_MIN: usize = 5;

pub(super) fn measure(prepared: &Prepared, reader: Reader<'_>, values: &mut Values) {
    let normal = normal(prepared, reader);
    let low =
        (!prepared.head_marked).then(|| "from the lower shaft: mark the club head".to_owned());
    let limited = limits(&[&low, &prepared.head_limited]);
    let slope = normal.clone().map(|n| n.y.clamp(-1.0, 1.0).acos());
    values.set(&DOWNSWING_PLANE_SLOPE, measured(slope, limited.clone()));
    let direction = normal.and_then(|n| {
        let level = n.cross(&Vector3::y());
        let level = level
            .try_normalize(1e-3)
            .ok_or("the club moved in a level plane: no direction")?;
        let toward = level * if level.x < 0.0 { -1.0 } else { 1.0 };
        Ok(toward.z.atan2(toward.x))
    });
    values.set(&DOWNSWING_PLANE_DIRECTION, measured(direction, limited));
}

/// Unit normal of the plane, pointing up.
fn normal(prepared: &Prepared, reader: Reader<'_>) -> Maybe<Vector3<f64>> {
    let from = reader.slot(Event::ShaftLevelDown)?.ceil().max(0.0) as usize;
    let before = prepared.swing.impact.before;
    let known = (from..=before).filter(|&i| prepared.paths.known[i]);
    let points: Vec<Point3<f64>> = known.map(|i| prepared.paths.head[i]).collect();
    if points.len() * 3 < (before + 1).saturating_sub(from) * 2 {
        return Err("the club was hidden for a part of the downswing".to_owned());
    }
    flattest(&points).ok_or_else(|| "too few frames between shaft level and impact".to_owned())
}

fn flattest(points: &[Point3<f64>]) -> Option<Vector3<f64>> {
    if points.len() < FRAMES_MIN {
        return None;
    }
    let mean = points.iter().map(|p| p.coords).sum::<Vector3<f64>>() / points.len() as f64;
    let spread: Matrix3<f64> = points
        .iter()
        .map(|p| p.coords - mean)
        .map(|d| d * d.transpose())
        .sum();
    let eigen = spread.symmetric_eigen();
    let least = eigen.eigenvalues.imin();
    let normal = eigen.eigenvectors.column(least).into_owned();
    Some(if normal.y < 0.0 { -normal } else { normal })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_tilted_circle_gives_its_normal() {
        let truth = Vector3::new(0.1, 0.6, 0.8) / 1.01_f64.sqrt();
        let a = truth.cross(&Vector3::x());
        let a = a / a.norm();
        let b = truth.cross(&a);
        let arc: Vec<_> = (0..9)
            .map(|i| f64::from(i) * 0.15)
            .map(|t| Point3::from(a * t.cos() + b * t.sin() + Vector3::new(1.0, 2.0, 3.0)))
            .collect();
        assert!((flattest(&arc).unwrap() - truth).norm() < 1e-9);
        assert!(flattest(&arc[..4]).is_none());
    }
}
