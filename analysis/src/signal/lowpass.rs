//! Zero-phase low-pass: a second-order Butterworth run forward and back.
//!
//! The cut-off is corrected for the two passes, so that the gain at it is −3 dB for the pair
//! (Robertson & Dowling 2003, J Electromyogr Kinesiol 13:569–573; exact form: the correction on
//! the warped frequency). Ends are extended by odd reflection and the filter starts in steady
//! state, as SciPy's `filtfilt` does. Nothing here may be run across a collision: cut first.

/// A second-order low-pass for one sampling rate and cut-off, made for two passes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DualPass {
    /// Feed-forward coefficients.
    pub b: [f64; 3],
    /// Feedback coefficients with `a[0]` = 1.
    pub a: [f64; 3],
}

impl DualPass {
    /// The filter whose two passes together have −3 dB at `cutoff_hz`. Cut-offs at or above 45 %
    /// of the sampling rate (where the correction runs out of room) are brought down to it.
    #[must_use]
    pub fn butterworth(rate_hz: f64, cutoff_hz: f64) -> Self {
        let correction = (2f64.sqrt() - 1.0).powf(0.25);
        let cutoff = cutoff_hz.min(0.45 * rate_hz);
        let w = (std::f64::consts::PI * cutoff / rate_hz).tan() / correction;
        let (k1, k2) = (2f64.sqrt() * w, w * w);
        let a0 = k2 / (1.0 + k1 + k2);
        let b1 = 2.0 * a0 * (1.0 / k2 - 1.0);
        let b2 = 1.0 - (4.0 * a0 + b1);
        Self {
            b: [a0, 2.0 * a0, a0],
            a: [1.0, -b1, -b2],
        }
    }

    /// The series filtered forward and back, extended by `pad` samples at each end (fewer when the
    /// series is short; a series of fewer than two samples comes back as it is).
    #[must_use]
    pub fn run(&self, series: &[f64], pad: usize) -> Vec<f64> {
        if series.len() < 2 {
            return series.to_vec();
        }
        let pad = pad.min(series.len() - 1);
        let mut x = odd_extension(series, pad);
        self.pass(&mut x);
        x.reverse();
        self.pass(&mut x);
        x.reverse();
        x.drain(..pad);
        x.truncate(series.len());
        x
    }

    /// One pass in place (transposed direct form II), started in the steady state of `x[0]`.
    fn pass(&self, x: &mut [f64]) {
        let [b0, b1, b2] = self.b;
        let [_, a1, a2] = self.a;
        // Steady state for a constant input of 1 (what SciPy calls lfilter_zi), gain 1 at rest.
        let mut z1 = (1.0 - b0) * x[0];
        let mut z2 = (b2 - a2) * x[0];
        for v in x {
            let y = b0 * *v + z1;
            z1 = b1 * *v - a1 * y + z2;
            z2 = b2 * *v - a2 * y;
            *v = y;
        }
    }
}

fn odd_extension(x: &[f64], pad: usize) -> Vec<f64> {
    let (first, last, n) = (x[0], x[x.len() - 1], x.len());
    let before = (1..=pad).rev().map(|i| 2.0 * first - x[i]);
    let after = (1..=pad).map(|i| 2.0 * last - x[n - 1 - i]);
    before.chain(x.iter().copied()).chain(after).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Coefficients for two passes; source: REFERENCES A3, computed there from the formulas of
    /// Robertson & Dowling 2003.
    #[test]
    fn coefficients_match_the_published_formula() {
        for (rate, cutoff, a0, b1, b2) in [
            (240.0, 10.0, 0.021_390_29, 1.545_768_20, -0.631_329_34),
            (240.0, 40.0, 0.204_253_81, 0.380_231_86, -0.197_247_11),
            (500.0, 20.0, 0.019_877_34, 1.563_460_34, -0.642_969_72),
        ] {
            let f = DualPass::butterworth(rate, cutoff);
            assert!((f.b[0] - a0).abs() < 1e-8);
            assert!((f.a[1] + b1).abs() < 1e-8);
            assert!((f.a[2] + b2).abs() < 1e-8);
        }
    }

    /// −3 dB at the cut-off: the definition of a Butterworth cut-off.
    #[test]
    fn gain_at_the_cutoff_is_half_power() {
        let (rate, cutoff) = (240.0, 12.0);
        let sine: Vec<f64> = (0..2400)
            .map(|i| (std::f64::consts::TAU * cutoff * f64::from(i) / rate).sin())
            .collect();
        let out = DualPass::butterworth(rate, cutoff).run(&sine, 60);
        let peak = out[1000..1400].iter().fold(0.0f64, |m, v| m.max(v.abs()));
        assert!((peak - 0.5f64.sqrt()).abs() < 1e-3, "{peak}");
    }

    #[test]
    fn a_straight_line_passes_unchanged_up_to_the_ends() {
        let line: Vec<f64> = (0..50).map(|i| 3.0 + 0.5 * f64::from(i)).collect();
        let out = DualPass::butterworth(100.0, 10.0).run(&line, 49);
        for (a, b) in line.iter().zip(&out) {
            assert!((a - b).abs() < 1e-3, "{a} {b}");
        }
    }

    #[test]
    fn short_series_survive() {
        let f = DualPass::butterworth(100.0, 10.0);
        assert!(f.run(&[], 15).is_empty());
        assert_eq!(f.run(&[2.0], 15), [2.0]);
        assert_eq!(f.run(&[2.0, 2.0], 15).len(), 2);
    }
}
