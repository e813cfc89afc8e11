//! What measurement noise is made of: a white part and a slowly wandering one, found from how far
//! a residual that should rest moves over growing lags.
//!
//! The figure is the semivariogram, half the mean square difference over a lag (Matheron 1963, Econ
//! Geol 58:1246–1266): constant offsets drop out of it. White noise lifts all of it, a first-order
//! autoregression rises to its variance over its correlation time. Which residuals rest is known
//! elsewhere (`body::cluster::noise`).

/// Noise of one marker coordinate.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct NoiseModel {
    /// Standard deviation of the part that is new in every frame, metres.
    pub white_m: f64,
    /// Standard deviation of the part that wanders, metres.
    pub wander_m: f64,
    /// Time over which the wandering part keeps 1/e of itself, seconds.
    pub wander_s: f64,
}

impl NoiseModel {
    /// Standard deviation of both parts together, metres.
    #[must_use]
    pub fn total_m(&self) -> f64 {
        self.white_m.hypot(self.wander_m)
    }
}

/// Longest lag looked at, seconds.
const LAG_MAX_S: f64 = 0.25;
/// Correlation times tried, seconds: shorter ones are white, longer ones are movement.
const WANDER_S: (f64, f64) = (0.01, 0.25);
const WANDER_STEPS: usize = 40;

/// Lags, in slots, over which a series of this rate is looked at: each at least an eighth longer than
/// the one before.
#[must_use]
pub fn lags(rate_hz: f64) -> Vec<usize> {
    let last = ((LAG_MAX_S * rate_hz) as usize).max(4);
    let mut lags = vec![1_usize];
    while let Some(&lag) = lags.last() {
        let next = (lag * 9).div_ceil(8).max(lag + 1);
        if next > last {
            break;
        }
        lags.push(next);
    }
    lags
}

/// The model whose semivariogram is closest to the pairs (lag in seconds, semivariance in m²),
/// relative to each. `None` for fewer than four pairs or values that are not positive.
#[must_use]
pub fn fit(variogram: &[(f64, f64)]) -> Option<NoiseModel> {
    if variogram.len() < 4 || variogram.iter().any(|v| !v.1.is_finite() || v.1 <= 0.0) {
        return None;
    }
    let (low, high) = WANDER_S;
    let candidates = (0..WANDER_STEPS).map(|i| {
        let wander_s = low * (high / low).powf(i as f64 / (WANDER_STEPS - 1) as f64);
        let (white, wander, cost) = parts(variogram, wander_s);
        (cost, white, wander, wander_s)
    });
    let (_, white, wander, wander_s) = candidates.min_by(|a, b| a.0.total_cmp(&b.0))?;
    Some(NoiseModel {
        white_m: white.sqrt(),
        wander_m: wander.sqrt(),
        wander_s,
    })
}

/// Variances of both parts for one correlation time by relative least squares, none below zero,
/// and the square sum left.
fn parts(variogram: &[(f64, f64)], wander_s: f64) -> (f64, f64, f64) {
    let rise = |lag: f64| 1.0 - (-lag / wander_s).exp();
    let [mut s11, mut s12, mut s22, mut y1, mut y2] = [0.0; 5];
    for &(lag, value) in variogram {
        let (a, b) = (1.0 / value, rise(lag) / value);
        s11 += a * a;
        s12 += a * b;
        s22 += b * b;
        y1 += a;
        y2 += b;
    }
    let det = s11 * s22 - s12 * s12;
    let free = ((y1 * s22 - y2 * s12) / det, (y2 * s11 - y1 * s12) / det);
    let (white, wander) = match free {
        (white, wander) if det > 0.0 && white >= 0.0 && wander >= 0.0 => (white, wander),
        (white, _) if det > 0.0 && white < 0.0 => (0.0, y2 / s22),
        _ => (y1 / s11, 0.0),
    };
    let cost = variogram
        .iter()
        .map(|&(lag, value)| ((white + wander * rise(lag)) / value - 1.0).powi(2))
        .sum();
    (white, wander, cost)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The semivariogram of white noise plus a first-order autoregression in closed form
    /// (mathematics).
    #[test]
    fn the_parts_of_an_exact_variogram_are_found() {
        for rate in [107.0, 240.0, 1000.0] {
            let pairs: Vec<_> = lags(rate)
                .iter()
                .map(|&k| k as f64 / rate)
                .map(|t| (t, 0.15e-6 + 0.10e-6 * (1.0 - (-t / 0.05).exp())))
                .collect();
            let found = fit(&pairs).unwrap();
            assert!((found.white_m - 0.15e-6f64.sqrt()).abs() < 0.03 * found.white_m);
            assert!((found.wander_m - 0.10e-6f64.sqrt()).abs() < 0.03 * found.wander_m);
            assert!((found.wander_s - 0.05).abs() < 0.006, "{}", found.wander_s);
        }
    }

    #[test]
    fn white_noise_does_not_wander() {
        let flat: Vec<_> = (1..20).map(|i| (f64::from(i) * 0.01, 1e-6)).collect();
        let found = fit(&flat).unwrap();
        assert!((found.white_m - 1e-3).abs() < 1e-9 && found.wander_m < 1e-5);
    }

    #[test]
    fn too_little_or_a_silent_series_gives_nothing() {
        assert!(fit(&[(0.01, 1.0); 3]).is_none());
        assert!(fit(&[(0.01, 0.0); 9]).is_none());
        assert!(fit(&[(0.01, f64::NAN); 9]).is_none());
    }
}
