//! Numbers side by side: the same arithmetic on several slots at once, which the compiler turns into
//! vector instructions. A single chain of divisions and roots leaves most of the machine idle.

use std::array::from_fn;
use std::ops::{Add, Div, Mul, Sub};

use nalgebra::Vector3;

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

    /// Each number held between two bounds.
    #[must_use]
    pub fn clamp(self, low: f64, high: f64) -> Self {
        let low = self.0.map(|v| if v > low { v } else { low });
        Self(low.map(|v| if v < high { v } else { high }))
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

/// Sums.
#[must_use]
pub fn add<const L: usize>(a: &Vector<L>, b: &Vector<L>) -> Vector<L> {
    [a[0] + b[0], a[1] + b[1], a[2] + b[2]]
}

/// Differences.
#[must_use]
pub fn sub<const L: usize>(a: &Vector<L>, b: &Vector<L>) -> Vector<L> {
    [a[0] - b[0], a[1] - b[1], a[2] - b[2]]
}

/// Products with one number a lane.
#[must_use]
pub fn scale<const L: usize>(a: &Vector<L>, by: Lanes<L>) -> Vector<L> {
    [a[0] * by, a[1] * by, a[2] * by]
}

/// Unit vectors; in lanes no longer than `least` the other vector as it is.
#[must_use]
pub fn unit_or<const L: usize>(a: &Vector<L>, least: f64, other: &Vector<L>) -> Vector<L> {
    let norm = dot(a, a).sqrt();
    let scaled = scale(a, Lanes::all(1.0) / norm);
    choose(norm.0.map(|n| n > least), &scaled, other)
}

/// The first vector in the lanes that say yes, the second in the others.
#[must_use]
pub fn choose<const L: usize>(yes: [bool; L], a: &Vector<L>, b: &Vector<L>) -> Vector<L> {
    let one = |a: &Lanes<L>, b: &Lanes<L>| Lanes(from_fn(|i| if yes[i] { a.0[i] } else { b.0[i] }));
    [one(&a[0], &b[0]), one(&a[1], &b[1]), one(&a[2], &b[2])]
}

/// One vector a lane.
#[must_use]
pub fn gather<const L: usize>(of: [Vector3<f64>; L]) -> Vector<L> {
    [0, 1, 2].map(|axis| Lanes(of.map(|v| v[axis])))
}

/// The vector of one lane.
#[must_use]
pub fn lane<const L: usize>(a: &Vector<L>, lane: usize) -> Vector3<f64> {
    Vector3::new(a[0].0[lane], a[1].0[lane], a[2].0[lane])
}
