//! Rotations of segments as numbers: joint angles, angles against the lab, angular velocity, screw
//! axis, mean. Pure mathematics over rotation matrices; which segments they belong to is said in
//! `segments`, what is reported of them in `metrics`.
//!
//! A segment's matrix has its axes as columns: X forward, Y up (cranial), Z to the right (Wu &
//! Cavanagh 1995, J Biomech 28:1257–1261), written in the golfer frame unless said otherwise.
//! Angles are radians.

use std::f64::consts::{FRAC_PI_2, TAU};

use nalgebra::{Matrix3, Rotation3, UnitQuaternion, Vector3};

/// A side of the body.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Side {
    /// Left.
    Left,
    /// Right.
    Right,
}

/// Angles of a joint by the ISB's order Z-X-Y (flexion, ab/adduction, axial): Grood & Suntay 1983,
/// J Biomech Eng 105:136–144, in its equivalent Cardan form `proximalᵀ·distal = Rz(α)·Rx(β)·Ry(γ)`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct JointAngles {
    /// α: + swings the far end of the distal segment forward. Hip and elbow flexion; knee flexion
    /// is −α; spine and neck extension is +α.
    pub forward: f64,
    /// Adduction (toward the middle) positive, both sides: +β right, −β left. For trunk and neck
    /// ask for the right side: lateral flexion to the right is then positive.
    pub adduction: f64,
    /// Internal rotation positive, both sides: +γ right, −γ left. For trunk and neck ask for the
    /// right side: rotation to the left is then positive.
    pub internal: f64,
}

/// Angles of a segment against the golfer frame, in the order Y-X-Z: axial first, so that it equals
/// the heading of the mediolateral axis, and never in the middle, where it fails in a full turn
/// (Baker 2001, Gait Posture 13:1–6). Signs of the metrics: the lead side is the left one.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LabAngles {
    /// Rotation about the vertical: 0 square to the target line, positive open, in (−π, π].
    pub axial: f64,
    /// Lateral inclination: positive when the lead (left) side is lower.
    pub lateral: f64,
    /// Forward tilt (anterior) positive.
    pub forward: f64,
}

/// A finite screw motion: turn about a line and shift along it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Screw {
    /// Unit direction of the axis.
    pub axis: Vector3<f64>,
    /// Turn about the axis, in (0, π].
    pub angle: f64,
    /// Shift along the axis, metres.
    pub shift: f64,
    /// Point of the axis nearest to the origin, metres.
    pub point: Vector3<f64>,
}

/// Turns below this have no usable screw axis, radians. It only guards the division: the axis is
/// poorly determined by measured data already below some 5–10° (Woltring 1985, J Biomech 18:379).
const LEAST_TURN: f64 = 1e-6;
/// Least sum of the two smaller signed singular values of a set's mean matrix, below which the set
/// points in so many directions that it has no mean.
const LEAST_AGREEMENT: f64 = 1e-9;

/// Orientation of `distal` seen from `proximal`: `proximalᵀ·distal`.
#[must_use]
pub fn relative(proximal: &Matrix3<f64>, distal: &Matrix3<f64>) -> Matrix3<f64> {
    proximal.transpose() * distal
}

/// Angles (α, β, γ) of `r = Rz(α)·Rx(β)·Ry(γ)`; β in [−π/2, π/2]. At |β| = π/2 only a combination
/// of α and γ is determined.
#[must_use]
pub fn zxy(r: &Matrix3<f64>) -> [f64; 3] {
    [
        (-r[(0, 1)]).atan2(r[(1, 1)]),
        r[(2, 1)].clamp(-1.0, 1.0).asin(),
        (-r[(2, 0)]).atan2(r[(2, 2)]),
    ]
}

/// The inverse of [`zxy`].
#[must_use]
pub fn from_zxy([alpha, beta, gamma]: [f64; 3]) -> Matrix3<f64> {
    about(&Vector3::z(), alpha) * about(&Vector3::x(), beta) * about(&Vector3::y(), gamma)
}

/// Angles (θ, β, α) of `r = Ry(θ)·Rx(β)·Rz(α)`; β in [−π/2, π/2]. θ is the heading of the third axis.
#[must_use]
pub fn yxz(r: &Matrix3<f64>) -> [f64; 3] {
    [
        r[(0, 2)].atan2(r[(2, 2)]),
        (-r[(1, 2)]).clamp(-1.0, 1.0).asin(),
        r[(1, 0)].atan2(r[(1, 1)]),
    ]
}

/// The inverse of [`yxz`].
#[must_use]
pub fn from_yxz([theta, beta, alpha]: [f64; 3]) -> Matrix3<f64> {
    about(&Vector3::y(), theta) * about(&Vector3::x(), beta) * about(&Vector3::z(), alpha)
}

/// Joint angles between two segments of one side; see [`JointAngles`] for the signs.
#[must_use]
pub fn joint_angles(proximal: &Matrix3<f64>, distal: &Matrix3<f64>, side: Side) -> JointAngles {
    let [alpha, beta, gamma] = zxy(&relative(proximal, distal));
    let sign = match side {
        Side::Right => 1.0,
        Side::Left => -1.0,
    };
    JointAngles {
        forward: alpha,
        adduction: sign * beta,
        internal: sign * gamma,
    }
}

/// Angles of a segment against the golfer frame (X to the target, Y up, Z to the ball). A golfer
/// square to the target line faces +Z, so the segment's axes are then (Z, Y, −X) of that frame.
#[must_use]
pub fn lab_angles(segment: &Matrix3<f64>) -> LabAngles {
    let [theta, beta, alpha] = yxz(segment);
    LabAngles {
        axial: wrap(theta + FRAC_PI_2),
        lateral: -beta,
        forward: -alpha,
    }
}

/// The rotation vector (axis times angle, angle in [0, π]) of a rotation. By way of the quaternion
/// with the largest component first, so it is exact near 0 and near π.
#[must_use]
pub fn log(r: &Matrix3<f64>) -> Vector3<f64> {
    UnitQuaternion::from_rotation_matrix(&Rotation3::from_matrix_unchecked(*r)).scaled_axis()
}

/// The rotation of a rotation vector.
#[must_use]
pub fn exp(v: Vector3<f64>) -> Matrix3<f64> {
    *Rotation3::new(v).matrix()
}

/// Angular velocity of a segment, rad/s, in the frame its matrices are written in (`Rᵀω` is the same
/// in the segment's own axes). `ω(t_k) = log(R_{k+1}·R_{k−1}ᵀ) / 2Δt`, exact for a constant velocity
/// up to half a turn in two frames; one-sided at the ends. As long as the input.
#[must_use]
pub fn angular_velocity(rotations: &[Matrix3<f64>], step_s: f64) -> Vec<Vector3<f64>> {
    let last = rotations.len().saturating_sub(1);
    (0..rotations.len())
        .map(|k| {
            let (a, b) = (k.saturating_sub(1), (k + 1).min(last));
            if a == b {
                return Vector3::zeros();
            }
            log(&(rotations[b] * rotations[a].transpose())) / ((b - a) as f64 * step_s)
        })
        .collect()
}

/// The screw axis of the motion `y = r·x + d` (Spoor & Veldpaus 1980, J Biomech 13:391–393). `None`
/// where there is next to no turn.
#[must_use]
pub fn screw(r: &Matrix3<f64>, d: &Vector3<f64>) -> Option<Screw> {
    let turn = log(r);
    let angle = turn.norm();
    if angle < LEAST_TURN {
        return None;
    }
    let axis = turn / angle;
    let shift = axis.dot(d);
    let (sin, cos) = (angle / 2.0).sin_cos();
    let across = d - axis * shift;
    Some(Screw {
        axis,
        angle,
        shift,
        point: (across + axis.cross(d) * (cos / sin)) / 2.0,
    })
}

impl Screw {
    /// Where the motion takes a point.
    #[must_use]
    pub fn apply(&self, x: &Vector3<f64>) -> Vector3<f64> {
        about(&self.axis, self.angle) * (x - self.point) + self.point + self.axis * self.shift
    }
}

/// The mean of a set of rotations: the one with the least sum of squared matrix distances (Markley et
/// al. 2007, J Guid Control Dyn 30:1193–1197; here by singular values of the plain mean). `None` for
/// an empty set or one without a preferred direction. Unlike a mean of angles it knows no wrap.
#[must_use]
pub fn mean<'a>(rotations: impl IntoIterator<Item = &'a Matrix3<f64>>) -> Option<Matrix3<f64>> {
    let (mut sum, mut n) = (Matrix3::zeros(), 0.0);
    for r in rotations {
        sum += r;
        n += 1.0;
    }
    if n < 1.0 {
        return None;
    }
    let svd = (sum / n).svd(true, true);
    let (u, vt) = (svd.u?, svd.v_t?);
    let sign = (u * vt).determinant().signum();
    if svd.singular_values[1] + sign * svd.singular_values[2] < LEAST_AGREEMENT {
        return None;
    }
    Some(u * Matrix3::from_diagonal(&Vector3::new(1.0, 1.0, sign)) * vt)
}

/// Takes the jumps of whole turns out of a series of angles, in place.
pub fn unwrap(angles: &mut [f64]) {
    for k in 1..angles.len() {
        let turns = ((angles[k - 1] - angles[k]) / TAU).round();
        angles[k] += turns * TAU;
    }
}

/// An angle in (−π, π].
#[must_use]
pub fn wrap(angle: f64) -> f64 {
    let turns = ((angle - std::f64::consts::PI) / TAU).ceil();
    angle - turns * TAU
}

fn about(axis: &Vector3<f64>, angle: f64) -> Matrix3<f64> {
    exp(axis * angle)
}

#[cfg(test)]
#[path = "rotation_tests.rs"]
mod tests;
