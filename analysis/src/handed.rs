//! Which way round the golfer plays, and the mirror that makes one sign hold for everybody.

use nalgebra::{Point3, Vector3};

/// The golfer's side: a right-handed golfer's lead side is the left one.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Handed {
    /// Right-handed: lead side left; stands on the −Z side of the ball.
    Right,
    /// Left-handed: lead side right; stands on the +Z side of the ball.
    Left,
}

impl Handed {
    /// `right` or `left`.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Right => "right",
            Self::Left => "left",
        }
    }

    /// The side with this [`name`](Self::name).
    #[must_use]
    pub fn from_name(name: &str) -> Option<Self> {
        [Self::Right, Self::Left]
            .into_iter()
            .find(|h| h.name() == name)
    }

    /// The other side.
    #[must_use]
    pub const fn other(self) -> Self {
        match self {
            Self::Right => Self::Left,
            Self::Left => Self::Right,
        }
    }

    /// A bay-frame position in the golfer frame (Z mirrored for a left-handed golfer), and back:
    /// the mirror is its own inverse.
    #[must_use]
    pub fn mirror_point(self, p: Point3<f64>) -> Point3<f64> {
        match self {
            Self::Right => p,
            Self::Left => Point3::new(p.x, p.y, -p.z),
        }
    }

    /// A bay-frame direction or velocity (a polar vector) in the golfer frame.
    #[must_use]
    pub fn mirror_vector(self, v: Vector3<f64>) -> Vector3<f64> {
        match self {
            Self::Right => v,
            Self::Left => Vector3::new(v.x, v.y, -v.z),
        }
    }
}
