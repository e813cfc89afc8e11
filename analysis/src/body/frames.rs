//! Segment frames from landmarks, by the recommendations of the ISB: X forward, Y up along the
//! segment, Z to the right; columns of a rotation are the axes in the lab.
//!
//! How markers are followed through a swing is in `skeleton`; angles between frames in `rotation`.

use nalgebra::{Matrix3, Point3, Vector3, center};

/// A right-handed frame: where a segment is and how it is turned.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Frame {
    /// Lab from segment.
    pub rotation: Matrix3<f64>,
    /// Origin in the lab, metres.
    pub origin: Point3<f64>,
}

impl Frame {
    /// A lab point in this frame.
    #[must_use]
    pub fn local(&self, point: Point3<f64>) -> Point3<f64> {
        Point3::from(self.rotation.tr_mul(&(point - self.origin)))
    }

    /// A point of this frame in the lab.
    #[must_use]
    pub fn lab(&self, point: Point3<f64>) -> Point3<f64> {
        self.origin + self.rotation * point.coords
    }

    /// Forward axis in the lab.
    #[must_use]
    pub fn forward(&self) -> Vector3<f64> {
        self.rotation.column(0).into_owned()
    }

    /// Long axis in the lab, up.
    #[must_use]
    pub fn up(&self) -> Vector3<f64> {
        self.rotation.column(1).into_owned()
    }

    /// Mediolateral axis in the lab, to the golfer's right.
    #[must_use]
    pub fn right(&self) -> Vector3<f64> {
        self.rotation.column(2).into_owned()
    }
}

/// A frame from its right and (roughly) forward directions. `None` where they do not span a plane.
#[must_use]
pub fn from_right_forward(
    origin: Point3<f64>,
    right: Vector3<f64>,
    forward: Vector3<f64>,
) -> Option<Frame> {
    let z = right.try_normalize(1e-6)?;
    let x = (forward - z * z.dot(&forward)).try_normalize(1e-6)?;
    Some(Frame {
        rotation: Matrix3::from_columns(&[x, z.cross(&x), z]),
        origin,
    })
}

/// A frame from its up and (roughly) right directions. `None` where they do not span a plane.
#[must_use]
pub fn from_up_right(origin: Point3<f64>, up: Vector3<f64>, right: Vector3<f64>) -> Option<Frame> {
    let y = up.try_normalize(1e-6)?;
    let z = (right - y * y.dot(&right)).try_normalize(1e-6)?;
    Some(Frame {
        rotation: Matrix3::from_columns(&[y.cross(&z), y, z]),
        origin,
    })
}

/// Pelvis (Wu et al. 2002): Z along the anterior spines, X in the plane with the middle of the
/// posterior ones; origin at the middle of the anterior spines. Left and right anterior, left and
/// right posterior spine.
#[must_use]
pub fn pelvis([la, ra, lp, rp]: [Point3<f64>; 4]) -> Option<Frame> {
    let origin = center(&la, &ra);
    from_right_forward(origin, ra - la, origin - center(&lp, &rp))
}

/// Thorax (Wu et al. 2005): Y from the middle of xiphoid and T8 to the middle of notch and C7, Z
/// normal to the plane through notch, C7 and the lower middle; origin at the notch. C7, T8,
/// notch, xiphoid.
#[must_use]
pub fn thorax([c7, t8, notch, xiphoid]: [Point3<f64>; 4]) -> Option<Frame> {
    let up = center(&notch, &c7) - center(&xiphoid, &t8);
    from_up_right(notch, up, (notch - c7).cross(&up))
}

/// Head, own definition: Z from the left to the right side marker, X toward the forehead; origin
/// at the mean of the three. Front, left, right.
#[must_use]
pub fn head([front, left, right]: [Point3<f64>; 3]) -> Option<Frame> {
    let origin = Point3::from((front.coords + left.coords + right.coords) / 3.0);
    from_right_forward(origin, right - left, front - center(&left, &right))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A person who faces the bay's +Z (toward the ball): X forward is +Z, Z right is −X.
    #[test]
    fn axes_point_forward_up_and_right() {
        let p = |x: f64, y: f64, z: f64| Point3::new(x, y, z);
        let pelvis = pelvis([
            p(0.12, 1.0, 0.1),
            p(-0.12, 1.0, 0.1),
            p(0.05, 1.0, -0.05),
            p(-0.05, 1.0, -0.05),
        ])
        .unwrap();
        let thorax = thorax([
            p(0.0, 1.5, -0.06),
            p(0.0, 1.3, -0.1),
            p(0.0, 1.44, 0.06),
            p(0.0, 1.3, 0.1),
        ])
        .unwrap();
        let head = head([p(0.0, 1.7, 0.1), p(0.08, 1.7, 0.0), p(-0.08, 1.7, 0.0)]).unwrap();
        for frame in [pelvis, thorax, head] {
            assert!((frame.forward() - Vector3::z()).norm() < 1e-12);
            assert!((frame.up() - Vector3::y()).norm() < 1e-12);
            assert!((frame.right() + Vector3::x()).norm() < 1e-12);
            let q = p(0.3, 0.2, 0.1);
            assert!((frame.lab(frame.local(q)) - q).norm() < 1e-12);
        }
    }
}
