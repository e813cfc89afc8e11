//! Numbers side by side: the same arithmetic on several slots at once, which the compiler turns into
//! vector instructions. A single chain of divisions and roots leaves most of the machine idle.

use std::array::from_fn;
use std::ops::{Add, Div, Mul, Sub};

/// One number a lane.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Lanes<const L: usize>(pub [f64; L]);

/// Three numbers a lane.
pub type Vector<const L: usize> = [Lanes<L>; 3];

impl<const L: usize> Lanes<L> {
    /// The same number in every lane.
    #[must_use]
    pub fn all(value: f64) -> Self {
        Self([value; L])
    }

    /// Square roots.
    #[must_use]
    pub fn sqrt(self) -> Self {
        Self(self.0.map(f64::sqrt))
    }

    /// The larger number of each lane; of one that is no number, the other.
    #[must_use]
    pub fn max(self, other: Self) -> Self {
        Self(from_fn(|i| self.0[i].max(other.0[i])))
    }
}

macro_rules! operator {
    ($trait:ident, $name:ident, $op:tt) => {
        impl<const L: usize> $trait for Lanes<L> {
            type Output = Self;

            #[inline]
            fn $name(self, other: Self) -> Self {
                Self(from_fn(|i| self.0[i] $op other.0[i]))
            }
        }

        impl<const L: usize> $trait<f64> for Lanes<L> {
            type Output = Self;

            #[inline]
            fn $name(self, other: f64) -> Self {
                Self(self.0.map(|v| v $op other))
            }
        }
    };
}

operator!(Add, add, +);
operator!(Sub, sub, -);
operator!(Mul, mul, *);
operator!(Div, div, /);

/// Scalar products.
#[must_use]
pub fn dot<const L: usize>(a: &Vector<L>, b: &Vector<L>) -> Lanes<L> {
    a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
}

/// Vector products.
#[must_use]
pub fn cross<const L: usize>(a: &Vector<L>, b: &Vector<L>) -> Vector<L> {
    [
        a[1] * b[2] - a[2] * b[1],
        a[2] * b[0] - a[0] * b[2],
        a[0] * b[1] - a[1] * b[0],
    ]
}
