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

// Plain loops, inlined in any case: only then do they become vector instructions.
impl<const L: usize> Lanes<L> {
    /// The same number in every lane.
    #[must_use]
    pub fn all(value: f64) -> Self {
        Self([value; L])
    }

    /// Numbers of a row from a place on.
    #[must_use]
    #[inline(always)]
    pub fn read(row: &[f64], from: usize) -> Self {
        let mut out = Self([0.0; L]);
        out.0.copy_from_slice(&row[from..from + L]);
        out
    }

    /// Puts them into a row from a place on.
    #[inline(always)]
    pub fn write(self, row: &mut [f64], from: usize) {
        row[from..from + L].copy_from_slice(&self.0);
    }

    /// Square roots.
    #[must_use]
    #[inline(always)]
    pub fn sqrt(mut self) -> Self {
        for v in &mut self.0 {
            *v = v.sqrt();
        }
        self
    }

    /// The larger numbers of both.
    #[must_use]
    #[inline(always)]
    pub fn max(mut self, other: Self) -> Self {
        for (v, other) in self.0.iter_mut().zip(other.0) {
            *v = if other > *v { other } else { *v };
        }
        self
    }

    /// Each number held between two bounds.
    #[must_use]
    #[inline(always)]
    pub fn clamp(mut self, low: f64, high: f64) -> Self {
        for v in &mut self.0 {
            let raised = if *v > low { *v } else { low };
            *v = if raised < high { raised } else { high };
        }
        self
    }
}

macro_rules! operator {
    ($trait:ident, $name:ident, $op:tt) => {
        impl<const L: usize> $trait for Lanes<L> {
            type Output = Self;

            #[inline(always)]
            fn $name(mut self, other: Self) -> Self {
                for (v, other) in self.0.iter_mut().zip(other.0) {
                    *v $op other;
                }
                self
            }
        }

        impl<const L: usize> $trait<f64> for Lanes<L> {
            type Output = Self;

            #[inline(always)]
            fn $name(mut self, other: f64) -> Self {
                for v in &mut self.0 {
                    *v $op other;
                }
                self
            }
        }
    };
}

operator!(Add, add, +=);
operator!(Sub, sub, -=);
operator!(Mul, mul, *=);
operator!(Div, div, /=);

/// Scalar products.
#[must_use]
#[inline(always)]
pub fn dot<const L: usize>(a: &Vector<L>, b: &Vector<L>) -> Lanes<L> {
    a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
}

/// Vector products.
#[must_use]
#[inline(always)]
pub fn cross<const L: usize>(a: &Vector<L>, b: &Vector<L>) -> Vector<L> {
    [
        a[1] * b[2] - a[2] * b[1],
        a[2] * b[0] - a[0] * b[2],
        a[0] * b[1] - a[1] * b[0],
    ]
}

/// Sums.
#[must_use]
#[inline(always)]
pub fn add<const L: usize>(a: &Vector<L>, b: &Vector<L>) -> Vector<L> {
    [a[0] + b[0], a[1] + b[1], a[2] + b[2]]
}

/// Differences.
#[must_use]
#[inline(always)]
pub fn sub<const L: usize>(a: &Vector<L>, b: &Vector<L>) -> Vector<L> {
    [a[0] - b[0], a[1] - b[1], a[2] - b[2]]
}

/// Products with one number a lane.
#[must_use]
#[inline(always)]
pub fn scale<const L: usize>(a: &Vector<L>, by: Lanes<L>) -> Vector<L> {
    [a[0] * by, a[1] * by, a[2] * by]
}

/// Unit vectors; in lanes no longer than `least` the other vector as it is.
#[must_use]
#[inline(always)]
pub fn unit_or<const L: usize>(a: &Vector<L>, least: f64, other: &Vector<L>) -> Vector<L> {
    let norm = dot(a, a).sqrt();
    let scaled = scale(a, Lanes::all(1.0) / norm);
    choose(from_fn(|i| norm.0[i] > least), &scaled, other)
}

/// The first vector in the lanes that say yes, the second in the others.
#[must_use]
#[inline(always)]
pub fn choose<const L: usize>(yes: [bool; L], a: &Vector<L>, b: &Vector<L>) -> Vector<L> {
    let mut out = *b;
    for (out, a) in out.iter_mut().zip(a) {
        for ((out, a), yes) in out.0.iter_mut().zip(a.0).zip(yes) {
            *out = if yes { a } else { *out };
        }
    }
    out
}

/// One vector a lane.
#[must_use]
#[inline(always)]
pub fn gather<const L: usize>(of: [Vector3<f64>; L]) -> Vector<L> {
    let mut out = [Lanes::all(0.0); 3];
    for (lane, v) in of.iter().enumerate() {
        (0..3).for_each(|axis| out[axis].0[lane] = v[axis]);
    }
    out
}

/// The vector of one lane.
#[must_use]
#[inline(always)]
pub fn lane<const L: usize>(a: &Vector<L>, lane: usize) -> Vector3<f64> {
    Vector3::new(a[0].0[lane], a[1].0[lane], a[2].0[lane])
}
