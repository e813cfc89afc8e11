//! Least-squares polynomials over a few samples: smoothing and slopes right up to a cut.
//!
//! Used where a filter would smear: at impact, on both sides of which the path is smooth but not
//! across it (REFERENCES A3: split before filtering).

use std::ops::{AddAssign, Mul, MulAssign, Sub};

/// Least-squares polynomial through `(x, y)`, centred on `center`: coefficients from the constant
/// up. `None` when there are not more samples than coefficients or the system is singular.
#[must_use]
pub fn polynomial(samples: &[(f64, f64)], degree: usize, center: f64) -> Option<Vec<f64>> {
    if samples.len() <= degree {
        return None;
    }
    let normal = Normal::new(samples.iter().map(|s| s.0), degree, center)?;
    let mut right = [0.0; TERMS_MAX];
    for &(x, y) in samples {
        normal.add(x, y, &mut right);
    }
    Some(normal.solve(right)[..=degree].to_vec())
}

/// Most coefficients of a polynomial.
pub const TERMS_MAX: usize = 8;

/// The normal equations of a polynomial over given places, decomposed (Cholesky), for any number of
/// right sides. Places are scaled to about ±1, so that the matrix stays well conditioned.
#[derive(Debug, Clone)]
pub struct Normal {
    terms: usize,
    center: f64,
    /// One over what a place is scaled by.
    share: f64,
    lower: [[f64; TERMS_MAX]; TERMS_MAX],
    /// One over each entry of its diagonal.
    inverse: [f64; TERMS_MAX],
}

/// A right side: a number, or several side by side.
pub trait Right: Copy + Sub<Output = Self> + Mul<f64, Output = Self> + MulAssign<f64> {}
impl<T: Copy + Sub<Output = T> + Mul<f64, Output = T> + MulAssign<f64>> Right for T {}

impl Normal {
    /// `None` where the places do not determine the coefficients.
    #[must_use]
    pub fn new(
        places: impl Iterator<Item = f64> + Clone,
        degree: usize,
        center: f64,
    ) -> Option<Self> {
        let terms = degree + 1;
        let reach = places.clone().map(|x| (x - center).abs());
        let scale = reach.fold(0.0, f64::max);
        if scale <= 0.0 || terms > TERMS_MAX {
            return None;
        }
        let share = 1.0 / scale;
        let mut moments = [0.0; 2 * TERMS_MAX];
        for x in places {
            let x = (x - center) * share;
            let mut power = 1.0;
            for moment in &mut moments[..2 * terms - 1] {
                *moment += power;
                power *= x;
            }
        }
        let lower = decomposed(&moments, terms)?;
        let mut inverse = [0.0; TERMS_MAX];
        (0..terms).for_each(|i| inverse[i] = 1.0 / lower[i][i]);
        Some(Self {
            terms,
            center,
            share,
            lower,
            inverse,
        })
    }

    /// Number of coefficients.
    #[must_use]
    pub fn terms(&self) -> usize {
        self.terms
    }

    /// What the coefficients are about.
    #[must_use]
    pub fn center(&self) -> f64 {
        self.center
    }

    /// A place, scaled.
    #[must_use]
    pub fn scaled(&self, x: f64) -> f64 {
        (x - self.center) * self.share
    }

    /// Adds a sample to a right side.
    pub fn add<T: Right + AddAssign>(&self, x: f64, y: T, right: &mut [T; TERMS_MAX]) {
        let x = self.scaled(x);
        let mut power = y;
        for sum in &mut right[..self.terms] {
            *sum += power;
            power *= x;
        }
    }

    /// Coefficients from the constant up, about the center; beyond the degree they mean nothing.
    #[must_use]
    pub fn solve<T: Right>(&self, mut x: [T; TERMS_MAX]) -> [T; TERMS_MAX] {
        let (l, n) = (&self.lower, self.terms);
        for r in 0..n {
            for k in 0..r {
                x[r] = x[r] - x[k] * l[r][k];
            }
            x[r] *= self.inverse[r];
        }
        for r in (0..n).rev() {
            for k in r + 1..n {
                x[r] = x[r] - x[k] * l[k][r];
            }
            x[r] *= self.inverse[r];
        }
        let mut unscale = 1.0;
        for coefficient in &mut x[..n] {
            *coefficient *= unscale;
            unscale *= self.share;
        }
        x
    }
}

/// Cholesky's lower triangle of the matrix whose entry at row `r`, column `c` is the moment of power
/// `r + c`. `None` where it is singular.
fn decomposed(moments: &[f64], n: usize) -> Option<[[f64; TERMS_MAX]; TERMS_MAX]> {
    let mut l = [[0.0; TERMS_MAX]; TERMS_MAX];
    for r in 0..n {
        for c in 0..=r {
            let known: f64 = (0..c).map(|k| l[r][k] * l[c][k]).sum();
            let left = moments[r + c] - known;
            if r != c {
                l[r][c] = left / l[c][c];
            } else if left > 1e-14 * moments[0] {
                l[r][r] = left.sqrt();
            } else {
                // Rounding of a singular matrix leaves a speck of the largest moment.
                return None;
            }
        }
    }
    Some(l)
}

/// Value of a polynomial at an offset from its centre.
#[must_use]
pub fn value(coefficients: &[f64], offset: f64) -> f64 {
    coefficients
        .iter()
        .rev()
        .fold(0.0, |sum, c| sum * offset + c)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_cubic_is_found_exactly() {
        let f = |x: f64| 2.0 - x + 0.5 * x * x + 0.25 * x * x * x;
        let samples: Vec<_> = (0..9)
            .map(|i| f64::from(i) * 0.1)
            .map(|x| (x, f(x)))
            .collect();
        let c = polynomial(&samples, 3, 0.8).unwrap();
        for x in [0.0, 0.35, 0.8, 0.9] {
            assert!((value(&c, x - 0.8) - f(x)).abs() < 1e-9);
        }
    }

    #[test]
    fn too_few_samples_give_nothing() {
        assert!(polynomial(&[(0.0, 1.0), (1.0, 2.0)], 2, 0.0).is_none());
        assert!(polynomial(&[(1.0, 1.0), (1.0, 2.0)], 1, 1.0).is_none());
    }
}
