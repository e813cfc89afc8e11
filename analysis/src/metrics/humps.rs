//! The highest point of a smooth series: a parabola fitted to its surroundings, so that the noise
//! of single frames does not decide when a broad hump is highest.

use crate::signal::local_fit;

/// Half of the stretch about the largest sample that is fitted, seconds.
const HALF_S: f64 = 0.018;

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

/// The highest point of samples (seconds, value) in order of time.
pub(super) fn highest(samples: &[(f64, f64)]) -> Option<Hump> {
    let last = samples.last()?;
    let top = samples.iter().max_by(|a, b| a.1.total_cmp(&b.1))?;
    let plain = Hump {
        time_s: top.0,
        value: top.1,
        at_end: top.0 >= last.0,
    };
    let around: Vec<(f64, f64)> = samples
        .iter()
        .copied()
        .filter(|s| (s.0 - top.0).abs() <= HALF_S)
        .collect();
    let Some(fit) = local_fit::polynomial(&around, 2, top.0).filter(|f| f[2] < 0.0) else {
        return Some(plain);
    };
    let time_s = top.0 - 0.5 * fit[1] / fit[2];
    let reach = |s: Option<&(f64, f64)>| s.map_or(top.0, |s| s.0);
    let (from, to) = (reach(around.first()), reach(around.last()));
    // A vertex outside what was fitted says that the end is highest.
    if time_s < from || time_s > to {
        return Some(plain);
    }
    Some(Hump {
        time_s,
        value: local_fit::value(&fit, time_s - top.0),
        at_end: false,
    })
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
        let hump = highest(&series(-0.0631)).unwrap();
        assert!((hump.time_s + 0.0631).abs() < 1e-9 && (hump.value - 7.0).abs() < 1e-9);
        assert!(!hump.at_end);
        let end = highest(&series(0.03)).unwrap();
        assert!(end.at_end && end.time_s == 0.0, "{end:?}");
    }
}
