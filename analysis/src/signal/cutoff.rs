//! The cut-off of a low-pass by residual analysis.
//!
//! The root mean square of what the filter takes away falls with its cut-off. Where nothing but noise
//! is taken, it falls along a straight line; that line, extended to a cut-off of zero, estimates the
//! noise, and the cut-off chosen is the one that takes away just as much (Wells & Winter 1980; Winter
//! 2009, REFERENCES A3): as much of the movement is bent as noise is let through.

use std::ops::RangeInclusive;

use super::lowpass::{DualPass, SideBySide};

/// Where the straight part is looked for, as shares of the sampling rate, and no lower than twice the
/// highest cut-off allowed.
const TAIL: (f64, f64) = (0.2, 0.4);
/// Cut-offs on the straight part, and between the limits.
const TAIL_STEPS: usize = 3;
const STEPS: usize = 4;

/// The cut-off for channels that are filtered alike, all as long as the first, Hz, within the limits.
/// Without a sample, or where the rate leaves no room for a straight part, the upper limit.
#[must_use]
pub fn cutoff_hz(channels: &[&[f64]], rate_hz: f64, limits_hz: RangeInclusive<f64>) -> f64 {
    let (low, high) = (*limits_hz.start(), *limits_hz.end());
    let (from, to) = ((TAIL.0 * rate_hz).max(2.0 * high), TAIL.1 * rate_hz);
    let seen = channels.first().is_some_and(|c| c.len() > 1);
    if !seen || from >= to {
        return high;
    }
    let pad = (0.25 * rate_hz) as usize;
    let channels = &SideBySide::new(channels);
    let between = |a: f64, b: f64, i: usize, n: usize| a + (b - a) * i as f64 / (n - 1) as f64;
    let tail: Vec<(f64, f64)> = (0..TAIL_STEPS)
        .map(|i| between(from, to, i, TAIL_STEPS))
        .map(|hz| (hz, residual(channels, (rate_hz, hz), pad)))
        .collect();
    let noise = at_zero(&tail);
    let mut before: Option<(f64, f64)> = None;
    for hz in (0..STEPS).map(|i| between(low, high, i, STEPS)) {
        let left = residual(channels, (rate_hz, hz), pad);
        if left <= noise {
            return before.map_or(hz, |(hz0, left0)| {
                hz0 + (hz - hz0) * (left0 - noise) / (left0 - left)
            });
        }
        before = Some((hz, left));
    }
    high
}

/// Root mean square of what the filter takes away, over all channels.
fn residual(channels: &SideBySide, (rate_hz, cutoff_hz): (f64, f64), pad: usize) -> f64 {
    let filter = DualPass::butterworth(rate_hz, cutoff_hz);
    (channels.taken(&filter, pad) / channels.count().max(1) as f64).sqrt()
}

/// Where the least-squares line through the points meets the axis.
fn at_zero(points: &[(f64, f64)]) -> f64 {
    let n = points.len() as f64;
    let (x, y) = points
        .iter()
        .fold((0.0, 0.0), |s, p| (s.0 + p.0, s.1 + p.1));
    let (x, y) = (x / n, y / n);
    let (sxy, sxx) = points.iter().fold((0.0, 0.0), |s, p| {
        (s.0 + (p.0 - x) * (p.1 - y), s.1 + (p.0 - x).powi(2))
    });
    y - x * sxy / sxx
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A pulse of movement with noise that any two runs share (a linear congruential sequence; Knuth,
    /// from memory).
    fn channel(width_s: f64, noise: f64) -> Vec<f64> {
        let mut state = 1_u64;
        (0..1440)
            .map(|i| {
                state = state
                    .wrapping_mul(6_364_136_223_846_793_005)
                    .wrapping_add(1_442_695_040_888_963_407);
                let white = (state >> 11) as f64 / (1_u64 << 53) as f64 - 0.5;
                let t = f64::from(i) / 360.0 - 2.0;
                (-(t / width_s).powi(2)).exp() + noise * white
            })
            .collect()
    }

    #[test]
    fn faster_movement_and_less_noise_ask_for_a_higher_cutoff() {
        let of = |width: f64, noise: f64| cutoff_hz(&[&channel(width, noise)], 360.0, 1.0..=40.0);
        assert!(of(0.05, 1e-3) > 1.5 * of(0.15, 1e-3));
        assert!(of(0.05, 1e-4) > of(0.05, 1e-2) + 1.0);
    }

    /// What is chosen takes away as much as the noise is (white noise of width 1: standard deviation
    /// 1/√12), which is what the method is for.
    #[test]
    fn the_residual_at_the_choice_is_the_noise() {
        let raw = channel(0.08, 0.01);
        let hz = cutoff_hz(&[&raw], 360.0, 1.0..=40.0);
        let left = residual(&SideBySide::new(&[&raw]), (360.0, hz), 90);
        let noise = 0.01 / 12f64.sqrt();
        assert!(
            (left / noise - 1.0).abs() < 0.15,
            "{hz} Hz leaves {left}, noise {noise}"
        );
    }

    #[test]
    fn limits_hold_and_nothing_gives_the_upper_one() {
        let still = channel(1e9, 0.01);
        let sharp = channel(0.002, 1e-6);
        assert!((cutoff_hz(&[&still], 360.0, 10.0..=20.0) - 10.0).abs() < 1e-9);
        assert!((cutoff_hz(&[&sharp], 360.0, 10.0..=20.0) - 20.0).abs() < 1e-9);
        assert!((cutoff_hz(&[], 360.0, 10.0..=20.0) - 20.0).abs() < 1e-9);
        assert!((cutoff_hz(&[&still], 50.0, 10.0..=20.0) - 20.0).abs() < 1e-9);
    }
}
