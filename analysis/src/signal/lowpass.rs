//! Zero-phase low-pass: a second-order Butterworth run forward and back, on one series or on many
//! at once.
//!
//! The cut-off is corrected for the two passes, so that the gain at it is −3 dB for the pair
//! (Robertson & Dowling 2003, J Electromyogr Kinesiol 13:569–573; exact form: the correction on
//! the warped frequency). Ends are extended by odd reflection and the filter starts in steady
//! state, as SciPy's `filtfilt` does. Nothing here may be run across a collision: cut first.
//!
//! Series side by side are filtered in the same loop, one lane each: a recursion waits for its own
//! last result, so one series alone leaves most of the arithmetic idle. Every lane computes what it
//! would compute alone, bit for bit.

use nalgebra::Point3;

/// Series filtered in one loop.
const LANES: usize = 8;

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
    /// of the sampling rate (where the correction runs out of room) are brought down to it; a rate
    /// or cut-off that is no positive number gives a filter that changes nothing.
    #[must_use]
    pub fn butterworth(rate_hz: f64, cutoff_hz: f64) -> Self {
        let sensible = |hz: f64| hz.is_finite() && hz > 0.0;
        if !sensible(rate_hz) || !sensible(cutoff_hz) {
            return Self {
                b: [1.0, 0.0, 0.0],
                a: [1.0, 0.0, 0.0],
            };
        }
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
    /// series is short; a series of fewer than two samples comes back as it is). Samples that are
    /// not finite are bridged straight first, so that none ever comes out; a series without one
    /// finite sample becomes zeros.
    #[must_use]
    pub fn run(&self, series: &[f64], pad: usize) -> Vec<f64> {
        let mut rows: Vec<[f64; 1]> = series.iter().map(|&v| [v]).collect();
        self.run_rows(&mut rows, pad);
        rows.into_iter().map(|[v]| v).collect()
    }

    /// As [`run`](Self::run) for each of many series, all as long as the first: the same numbers, in
    /// a fraction of the time. A series of another length is filtered alone.
    #[must_use]
    pub fn run_many(&self, series: &[&[f64]], pad: usize) -> Vec<Vec<f64>> {
        let n = series.first().map_or(0, |s| s.len());
        let even = series.iter().all(|s| s.len() == n);
        if !even {
            return series.iter().map(|s| self.run(s, pad)).collect();
        }
        let mut out: Vec<Vec<f64>> = Vec::with_capacity(series.len());
        let mut rows = Vec::new();
        for chunk in series.chunks(LANES) {
            rows.clear();
            rows.resize(n, [0.0; LANES]);
            for (lane, series) in chunk.iter().enumerate() {
                for (row, &v) in rows.iter_mut().zip(*series) {
                    row[lane] = v;
                }
            }
            self.run_rows(&mut rows, pad);
            out.extend((0..chunk.len()).map(|lane| rows.iter().map(|row| row[lane]).collect()));
        }
        out
    }

    /// As [`run`](Self::run) for each axis of many paths in place, all as long as the first (a path
    /// of another length is left as it is).
    pub fn run_paths(&self, paths: &mut [&mut [Point3<f64>]], pad: usize) {
        let n = paths.first().map_or(0, |p| p.len());
        let channels: Vec<(usize, usize)> = (0..paths.len())
            .filter(|&p| paths[p].len() == n)
            .flat_map(|p| (0..3).map(move |axis| (p, axis)))
            .collect();
        for chunk in channels.chunks(LANES) {
            // A single path has three series only.
            if chunk.len() <= 4 {
                self.run_axes::<4>(paths, chunk, pad);
            } else {
                self.run_axes::<LANES>(paths, chunk, pad);
            }
        }
    }

    /// Filters up to `L` axes, each named by its path and its number.
    fn run_axes<const L: usize>(
        &self,
        paths: &mut [&mut [Point3<f64>]],
        axes: &[(usize, usize)],
        pad: usize,
    ) {
        let n = axes.first().map_or(0, |&(path, _)| paths[path].len());
        let mut rows = vec![[0.0; L]; n];
        for (lane, &(path, axis)) in axes.iter().enumerate() {
            for (row, point) in rows.iter_mut().zip(paths[path].iter()) {
                row[lane] = point[axis];
            }
        }
        self.run_rows(&mut rows, pad);
        for (lane, &(path, axis)) in axes.iter().enumerate() {
            for (row, point) in rows.iter().zip(paths[path].iter_mut()) {
                point[axis] = row[lane];
            }
        }
    }

    /// Filters each lane of the rows.
    fn run_rows<const L: usize>(&self, rows: &mut [[f64; L]], pad: usize) {
        if rows.iter().flatten().any(|v| !v.is_finite()) {
            (0..L).for_each(|lane| mend(rows, lane));
        }
        let n = rows.len();
        if n < 2 {
            return;
        }
        let pad = pad.min(n - 1);
        let mut x = odd_extension(rows, pad);
        let (first, last) = (x[0], x.len() - 1);
        self.pass(x.iter_mut(), first);
        let first = x[last];
        self.pass(x.iter_mut().rev(), first);
        rows.copy_from_slice(&x[pad..pad + n]);
    }

    /// One pass in place (transposed direct form II), started in the steady state of the first row.
    fn pass<'a, const L: usize>(
        &self,
        rows: impl Iterator<Item = &'a mut [f64; L]>,
        first: [f64; L],
    ) {
        let [b0, b1, b2] = self.b;
        let [_, a1, a2] = self.a;
        // Steady state for a constant input of 1 (what SciPy calls lfilter_zi), gain 1 at rest.
        let mut z1 = first.map(|v| (1.0 - b0) * v);
        let mut z2 = first.map(|v| (b2 - a2) * v);
        for row in rows {
            // Each line over all lanes is one vector instruction or a few.
            let x = *row;
            let y: [f64; L] = std::array::from_fn(|i| b0 * x[i] + z1[i]);
            z1 = std::array::from_fn(|i| b1 * x[i] - a1 * y[i] + z2[i]);
            z2 = std::array::from_fn(|i| b2 * x[i] - a2 * y[i]);
            *row = y;
        }
    }
}

/// Series of one length laid side by side, to be filtered again and again.
#[derive(Debug, Clone)]
pub struct SideBySide {
    rows: Vec<Vec<[f64; LANES]>>,
    channels: usize,
}

impl SideBySide {
    /// Series as long as the first (others are cut or go on with zeros).
    #[must_use]
    pub fn new(series: &[&[f64]]) -> Self {
        let n = series.first().map_or(0, |s| s.len());
        let rows = series.chunks(LANES).map(|chunk| {
            let mut rows = vec![[0.0; LANES]; n];
            for (lane, series) in chunk.iter().enumerate() {
                let pairs = rows.iter_mut().zip(*series);
                pairs.for_each(|(row, &v)| row[lane] = v);
            }
            rows
        });
        Self {
            rows: rows.collect(),
            channels: series.len(),
        }
    }

    /// Numbers in all series.
    #[must_use]
    pub fn count(&self) -> usize {
        self.channels * self.rows.first().map_or(0, Vec::len)
    }

    /// Sum of the squares of what a filter takes away from all series.
    #[must_use]
    pub fn taken(&self, filter: &DualPass, pad: usize) -> f64 {
        let mut sum = [0.0; LANES];
        for rows in &self.rows {
            let mut smooth = rows.clone();
            filter.run_rows(&mut smooth, pad);
            for (raw, smooth) in rows.iter().zip(&smooth) {
                for ((sum, a), b) in sum.iter_mut().zip(raw).zip(smooth) {
                    *sum += (a - b) * (a - b);
                }
            }
        }
        sum.iter().sum()
    }
}

fn odd_extension<const L: usize>(x: &[[f64; L]], pad: usize) -> Vec<[f64; L]> {
    let (first, last, n) = (x[0], x[x.len() - 1], x.len());
    let about = |end: &[f64; L], row: &[f64; L]| std::array::from_fn(|i| 2.0 * end[i] - row[i]);
    let mut out = Vec::with_capacity(n + 2 * pad);
    out.extend((1..=pad).rev().map(|i| about(&first, &x[i])));
    out.extend_from_slice(x);
    out.extend((1..=pad).map(|i| about(&last, &x[n - 1 - i])));
    out
}

/// Bridges what is not finite in a lane: straight between finite samples, held at the ends.
fn mend<const L: usize>(rows: &mut [[f64; L]], lane: usize) {
    let finite: Vec<(usize, f64)> = rows
        .iter()
        .enumerate()
        .map(|(i, row)| (i, row[lane]))
        .filter(|s| s.1.is_finite())
        .collect();
    let mut next = 0;
    for (i, row) in rows.iter_mut().enumerate() {
        while next < finite.len() && finite[next].0 < i {
            next += 1;
        }
        let (before, after) = (next.checked_sub(1).map(|k| finite[k]), finite.get(next));
        row[lane] = match (before, after) {
            (Some((a, left)), Some(&(b, right))) => {
                left + (right - left) * ((i - a) as f64 / (b - a) as f64)
            }
            (None, Some(&(_, v))) | (Some((_, v)), None) => v,
            (None, None) => 0.0,
        };
    }
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

    /// Side by side or alone: the same bits, for any number of series and any length.
    #[test]
    fn many_series_at_once_give_the_bits_of_each_alone() {
        let f = DualPass::butterworth(360.0, 14.0);
        for (count, n) in [(1, 40), (3, 41), (8, 200), (23, 97), (5, 2), (4, 1), (2, 0)] {
            let series: Vec<Vec<f64>> = (0..count)
                .map(|c| {
                    (0..n)
                        .map(|i| {
                            (f64::from(i) * 0.1 * f64::from(c + 1)).sin()
                                + 1e-3 / f64::from(i + c + 1)
                        })
                        .collect()
                })
                .collect();
            let views: Vec<&[f64]> = series.iter().map(Vec::as_slice).collect();
            let bits = |s: &[f64]| s.iter().map(|v| v.to_bits()).collect::<Vec<_>>();
            for (alone, among) in series.iter().zip(f.run_many(&views, 30)) {
                assert_eq!(bits(&f.run(alone, 30)), bits(&among), "{count} of {n}");
            }
            let mut paths: Vec<Vec<Point3<f64>>> = series
                .iter()
                .map(|s| s.iter().map(|&v| Point3::new(v, 2.0 - v, v * v)).collect())
                .collect();
            let before = paths.clone();
            let mut views: Vec<&mut [Point3<f64>]> =
                paths.iter_mut().map(Vec::as_mut_slice).collect();
            f.run_paths(&mut views, 30);
            for (raw, smooth) in before.iter().zip(&paths) {
                for axis in 0..3 {
                    let pick = |p: &[Point3<f64>]| p.iter().map(|p| p[axis]).collect::<Vec<_>>();
                    assert_eq!(
                        bits(&f.run(&pick(raw), 30)),
                        bits(&pick(smooth)),
                        "{count} of {n}"
                    );
                }
            }
        }
    }

    #[test]
    fn nothing_that_is_no_number_comes_out() {
        let f = DualPass::butterworth(100.0, 10.0);
        let mut line: Vec<f64> = (0..50).map(f64::from).collect();
        let whole = f.run(&line, 20);
        line[0] = f64::NAN;
        line[17] = f64::INFINITY;
        line[18] = f64::NAN;
        line[49] = f64::NEG_INFINITY;
        let mended = f.run(&line, 20);
        assert!(mended.iter().all(|v| v.is_finite()));
        assert!((mended[18] - whole[18]).abs() < 0.01, "a straight bridge");
        assert_eq!(f.run(&[f64::NAN; 9], 3), [0.0; 9]);
        assert_eq!(f.run(&[f64::NAN], 3), [0.0]);
        for odd in [0.0, -1.0, f64::NAN, f64::INFINITY] {
            assert_eq!(
                DualPass::butterworth(odd, 10.0).run(&[1.0, 2.0], 1),
                [1.0, 2.0]
            );
            assert_eq!(
                DualPass::butterworth(100.0, odd).run(&[1.0, 2.0], 1),
                [1.0, 2.0]
            );
        }
    }
}
