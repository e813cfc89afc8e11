//! Least-squares polynomials over a few samples: smoothing and slopes right up to a cut.
//!
//! Used where a filter would smear: at impact, on both sides of which the path is smooth but not
//! across it (REFERENCES A3: split before filtering).

use nalgebra::{DMatrix, DVector};

/// Least-squares polynomial through `(x, y)`, centred on `center`: coefficients from the constant
/// up. `None` when there are not more samples than coefficients or the system is singular.
#[must_use]
pub fn polynomial(samples: &[(f64, f64)], degree: usize, center: f64) -> Option<Vec<f64>> {
    if samples.len() <= degree {
        return None;
    }
    // Scaled to about ±1, so that the normal matrix stays well conditioned.
    let scale = samples
        .iter()
        .map(|s| (s.0 - center).abs())
        .fold(0.0, f64::max);
    if scale <= 0.0 {
        return None;
    }
    let a = DMatrix::from_fn(samples.len(), degree + 1, |r, c| {
        ((samples[r].0 - center) / scale).powi(c as i32)
    });
    let y = DVector::from_iterator(samples.len(), samples.iter().map(|s| s.1));
    let solution = (a.transpose() * &a).cholesky()?.solve(&(a.transpose() * y));
    Some(
        solution
            .iter()
            .enumerate()
            .map(|(c, v)| v / scale.powi(c as i32))
            .collect(),
    )
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
