//! The highest point of a smooth series: a cubic fitted to its surroundings, so that the noise
//! of single frames does not decide when a broad hump is highest.

use crate::signal::local_fit;

/// A highest point.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Hump {
    /// When, seconds, in the samples' time.
    pub(super) time_s: f64,
    /// How high.
    pub(super) value: f64,
    /// Whether the series rises up to its end: the real peak lies after it, if there is one.
    pub(super) at_end: bool,
}

/// The highest point of samples (seconds, value) in order of time. Its surroundings are the samples
/// around the largest that reach `share` of its rise over the lowest one.
pub(super) fn highest(samples: &[(f64, f64)], share: f64) -> Option<Hump> {
    let last = samples.last()?;
    let top = samples.iter().max_by(|a, b| a.1.total_cmp(&b.1))?;
    let plain = Hump {
        time_s: top.0,
        value: top.1,
        at_end: top.0 >= last.0,
    };
    let around = surroundings(samples, plain, share)?;
    let Some(fit) = local_fit::polynomial(around, 3, top.0) else {
        return Some(plain);
    };
    let (from, to) = (around.first()?.0, around.last()?.0);
    // A vertex outside what was fitted says that the end is highest.
    let inside = |t: &f64| (from..=to).contains(t);
    let Some(time_s) = vertex(&fit).map(|t| t + top.0).filter(inside) else {
        return Some(plain);
    };
    Some(Hump {
        time_s,
        value: local_fit::value(&fit, time_s - top.0),
        at_end: false,
    })
}

/// The unbroken stretch around the highest sample that is nearly as high.
fn surroundings(samples: &[(f64, f64)], top: Hump, share: f64) -> Option<&[(f64, f64)]> {
    let lowest = samples.iter().map(|s| s.1).fold(f64::INFINITY, f64::min);
    let level = lowest + share * (top.value - lowest);
    let at = samples.iter().position(|s| s.0 >= top.time_s)?;
    let begin = samples[..at].iter().rposition(|s| s.1 < level);
    let end = samples[at..].iter().position(|s| s.1 < level);
    samples.get(begin.map_or(0, |i| i + 1)..end.map_or(samples.len(), |n| at + n))
}

/// Where a cubic has its maximum, from its centre.
fn vertex(fit: &[f64]) -> Option<f64> {
    let &[_, slope, bend, third] = fit else {
        return None;
    };
    let (a, b) = (3.0 * third, bend);
    let square = b * b - a * slope;
    let root = (square >= 0.0).then(|| square.sqrt())?;
    // Of the two stationary points the one that bends down, written so that a vanishing cubic part
    // does not divide by nothing.
    let below = root - b;
    (below > 0.0).then(|| slope / below)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_parabola_and_an_end_are_found() {
        let series = |peak: f64| -> Vec<(f64, f64)> {
            (0..=80)
                .map(|i| -f64::from(i) / 400.0)
                .rev()
                .map(|t| (t, 7.0 - 300.0 * (t - peak).powi(2)))
                .collect()
        };
        let hump = highest(&series(-0.0631), 0.8).unwrap();
        assert!((hump.time_s + 0.0631).abs() < 1e-9 && (hump.value - 7.0).abs() < 1e-9);
        assert!(!hump.at_end);
        let end = highest(&series(0.03), 0.8).unwrap();
        assert!(end.at_end && end.time_s == 0.0, "{end:?}");
    }
}
