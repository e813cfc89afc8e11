//! Small questions to a series of numbers or points: crossings, slopes, means, speeds.

use nalgebra::{Point3, Vector3};

use crate::signal::lowpass::DualPass;

/// Slot, with its fraction, at which `series` passes zero between `i` and `i + 1`.
fn crossing(series: &[f64], i: usize) -> f64 {
    let (a, b) = (series[i], series[i + 1]);
    i as f64
        + if (b - a).abs() > 0.0 {
            a / (a - b)
        } else {
            0.0
        }
}

/// First upward zero crossing in `from..to`.
#[must_use]
pub fn first_rise(series: &[f64], from: usize, to: usize) -> Option<f64> {
    (from..to.min(series.len().saturating_sub(1)))
        .find(|&i| series[i] <= 0.0 && series[i + 1] > 0.0)
        .map(|i| crossing(series, i))
}

/// Last upward zero crossing in `from..to`.
#[must_use]
pub fn last_rise(series: &[f64], from: usize, to: usize) -> Option<f64> {
    (from..to.min(series.len().saturating_sub(1)))
        .rev()
        .find(|&i| series[i] <= 0.0 && series[i + 1] > 0.0)
        .map(|i| crossing(series, i))
}

/// Last downward zero crossing in `from..to`.
#[must_use]
pub fn last_fall(series: &[f64], from: usize, to: usize) -> Option<f64> {
    (from..to.min(series.len().saturating_sub(1)))
        .rev()
        .find(|&i| series[i] >= 0.0 && series[i + 1] < 0.0)
        .map(|i| crossing(series, i))
}

/// Linear interpolation at a slot with its fraction; `None` outside the series.
#[must_use]
pub fn at(series: &[f64], slot: f64) -> Option<f64> {
    let below = slot.floor().max(0.0) as usize;
    let a = *series.get(below)?;
    let b = series.get(below + 1).copied().unwrap_or(a);
    Some(a + (b - a) * (slot - below as f64).clamp(0.0, 1.0))
}

/// Largest value in `from..=to` and its slot, refined by the parabola through its neighbors.
#[must_use]
pub fn peak(series: &[f64], from: usize, to: usize) -> Option<(f64, f64)> {
    let to = to.min(series.len().checked_sub(1)?);
    let i = (from..=to).max_by(|&a, &b| series[a].total_cmp(&series[b]))?;
    if i == from || i == to {
        return Some((i as f64, series[i]));
    }
    let (l, c, r) = (series[i - 1], series[i], series[i + 1]);
    let bend = l - 2.0 * c + r;
    let shift = if bend < 0.0 {
        (0.5 * (l - r) / bend).clamp(-1.0, 1.0)
    } else {
        0.0
    };
    Some((i as f64 + shift, c - 0.25 * (l - r) * shift))
}

/// Points low-passed forward and back, axis by axis.
#[must_use]
pub fn smooth(points: &[Point3<f64>], filter: &DualPass, pad: usize) -> Vec<Point3<f64>> {
    let mut out = points.to_vec();
    filter.run_paths(&mut [&mut out], pad);
    out
}

/// Velocity by central differences, units a second; one-sided at the ends.
#[must_use]
pub fn velocity(points: &[Point3<f64>], rate_hz: f64) -> Vec<Vector3<f64>> {
    let last = points.len().saturating_sub(1);
    (0..points.len())
        .map(|i| {
            let (a, b) = (i.saturating_sub(1), (i + 1).min(last));
            (points[b] - points[a]) * (rate_hz / (b - a).max(1) as f64)
        })
        .collect()
}

/// Slope of a series by central differences, units a second.
#[must_use]
pub fn slope(series: &[f64], rate_hz: f64) -> Vec<f64> {
    let last = series.len().saturating_sub(1);
    (0..series.len())
        .map(|i| {
            let (a, b) = (i.saturating_sub(1), (i + 1).min(last));
            (series[b] - series[a]) * (rate_hz / (b - a).max(1) as f64)
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn crossings_are_found_between_samples() {
        let s = [-1.0, 1.0, 3.0, 1.0, -3.0, -1.0, 1.0];
        assert_eq!(first_rise(&s, 0, 7), Some(0.5));
        assert_eq!(last_fall(&s, 0, 7), Some(3.25));
        assert_eq!(last_rise(&s, 0, 7), Some(5.5));
        assert_eq!(first_rise(&s, 1, 4), None);
    }

    #[test]
    fn a_parabola_gives_its_peak_exactly() {
        let s: Vec<f64> = (0..10)
            .map(|i| 5.0 - (f64::from(i) - 4.3).powi(2))
            .collect();
        let (slot, value) = peak(&s, 0, 9).unwrap();
        assert!((slot - 4.3).abs() < 1e-12 && (value - 5.0).abs() < 1e-12);
    }
}
