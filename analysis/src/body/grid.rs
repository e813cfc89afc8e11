//! Which slots of the window the body is computed at: every one, or at high frame rates every few.
//!
//! The body's tracks are low-passed at 25 Hz at most, so that 250 places a second say all there is.
//! What is measured in between is not thrown away: a place holds the mean of its slots, with the bend
//! of the path over them taken out again.
//!
//! What that loses, for a part of the motion of amplitude `A` and frequency `f` at places `T` ≤ 4 ms
//! apart, with `x = 2π f T`:
//!
//! | | relative error | 5 Hz, 60° | 10 Hz, 5° | 25 Hz, 0.2° |
//! |---|---|---|---|---|
//! | mean and bend, `(1/192 − 1/1920) x⁴` | 1.2e-6 … 7e-4 | 7e-5° | 1e-4° | 1.5e-4° |
//! | cubic between places, at most `(3/128) x⁴` | 6e-6 … 4e-3 | 3.5e-4° | 5e-4° | 7e-4° |
//! | straight between places, at most `x²/8` | 2e-3 … 5e-2 | 0.12° | 0.04° | 0.01° |
//!
//! The amplitudes are those of a full swing's turning; behind the low-pass hardly any is left at 25 Hz
//! (−3 dB there). A cubic stays below 1e-3°, a straight line does not.

use std::ops::{Add, Mul, Range};

use nalgebra::{Point3, Vector3};

use crate::signal::gaps;

/// Places a second that say all of a body behind its low-pass.
const ENOUGH_HZ: f64 = 250.0;

/// Places of a series among the slots of its window: place `i` is the middle of the `stride` slots
/// from `i · stride` on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Grid {
    stride: usize,
}

impl Grid {
    /// A place a slot.
    pub const EVERY: Self = Self { stride: 1 };

    /// The grid for a body at a frame rate: every slot below 500 frames a second.
    #[must_use]
    pub fn of_body(rate_hz: f64) -> Self {
        Self {
            stride: ((rate_hz / ENOUGH_HZ) as usize).max(1),
        }
    }

    /// Places a second.
    #[must_use]
    pub fn rate(self, rate_hz: f64) -> f64 {
        rate_hz / self.stride as f64
    }

    /// Whole places among so many slots.
    #[must_use]
    pub fn len(self, slots: usize) -> usize {
        slots / self.stride
    }

    /// The place of a slot, both with their fractions; below zero within the first slots.
    #[must_use]
    pub fn place(self, slot: f64) -> f64 {
        (slot - self.middle()) / self.stride as f64
    }

    /// The slot of a place.
    #[must_use]
    pub fn slot(self, place: f64) -> f64 {
        place * self.stride as f64 + self.middle()
    }

    /// The places whose middles lie in some slots.
    #[must_use]
    pub fn within(self, slots: &Range<usize>) -> Range<usize> {
        let first_from = |slot: usize| self.place(slot as f64).max(0.0).ceil() as usize;
        first_from(slots.start)..first_from(slots.end)
    }

    fn middle(self) -> f64 {
        0.5 * (self.stride - 1) as f64
    }

    /// A path of one point a slot as one of a point a place.
    #[must_use]
    pub fn thin(self, path: Vec<Point3<f64>>) -> Vec<Point3<f64>> {
        if self.stride == 1 {
            return path;
        }
        let n = self.stride as f64;
        let mean = |slots: &[Point3<f64>]| slots.iter().map(|p| p.coords).sum::<Vector3<f64>>() / n;
        let means: Vec<Vector3<f64>> = path.chunks_exact(self.stride).map(mean).collect();
        self.unbent(&means)
    }

    /// Places from the means of their slots.
    fn unbent(self, means: &[Vector3<f64>]) -> Vec<Point3<f64>> {
        let n = self.stride as f64;
        // The mean of n slots of a parabola is off by its second derivative times (n² − 1) / 24, and
        // three means in a row tell n² of that derivative.
        let share = (1.0 - 1.0 / (n * n)) / 24.0;
        let bend = |i: usize| match (i.checked_sub(1).map(|k| means[k]), means.get(i + 1)) {
            (Some(before), Some(after)) => before + after - means[i] * 2.0,
            _ => Vector3::zeros(),
        };
        (0..means.len())
            .map(|i| Point3::from(means[i] - bend(i) * share))
            .collect()
    }

    /// A track as one of a point a place, its holes bridged straight, and the places that have all of
    /// their slots. `None` for an empty one.
    #[must_use]
    pub fn place_track(
        self,
        track: &[Option<Point3<f64>>],
    ) -> Option<(Vec<Point3<f64>>, Vec<bool>)> {
        let mut means = Vec::with_capacity(self.len(track.len()));
        if self.stride > 1 {
            for slots in track.chunks_exact(self.stride) {
                if slots.iter().any(Option::is_none) {
                    break;
                }
                let sum: Vector3<f64> = slots.iter().flatten().map(|p| p.coords).sum();
                means.push(sum / self.stride as f64);
            }
            if means.len() == self.len(track.len()) && !means.is_empty() {
                let known = vec![true; means.len()];
                return Some((self.unbent(&means), known));
            }
        }
        let points = self.thin(gaps::solid(track)?);
        let seen: Vec<bool> = track.iter().map(Option::is_some).collect();
        Some((points, self.known(&seen)))
    }

    /// Whether each place has all of its slots.
    #[must_use]
    pub fn known(self, slots: &[bool]) -> Vec<bool> {
        let places = slots.chunks_exact(self.stride);
        places.map(|slots| slots.iter().all(|s| *s)).collect()
    }

    /// A series of one value a place as one of `slots` values, one a slot: cubic in between, the
    /// outermost held at the ends.
    #[must_use]
    pub fn spread<T: Blend>(self, series: &[T], slots: usize) -> Vec<T> {
        if self.stride == 1 || series.is_empty() {
            return series.to_vec();
        }
        (0..slots)
            .filter_map(|slot| at(series, self.place(slot as f64)))
            .collect()
    }

    /// The same for what is known: a slot is where both places around it are.
    #[must_use]
    pub fn spread_known(self, known: &[bool], slots: usize) -> Vec<bool> {
        (0..slots)
            .map(|slot| seen(known, self.place(slot as f64)))
            .collect()
    }
}

/// What can be weighed and added.
pub trait Blend: Copy + Add<Output = Self> + Mul<f64, Output = Self> {}
impl<T: Copy + Add<Output = T> + Mul<f64, Output = T>> Blend for T {}

/// Whether both entries around a place are known.
#[must_use]
pub fn seen(known: &[bool], place: f64) -> bool {
    let at = |i: f64| known.get(i as usize) == Some(&true);
    place >= 0.0 && at(place.floor()) && at(place.ceil())
}

/// A series at a place with its fraction, by the cubic through the four entries around it (Lagrange);
/// straight through fewer than four. Held at the ends. `None` for an empty series.
#[must_use]
pub fn at<T: Blend>(series: &[T], place: f64) -> Option<T> {
    let last = series.len().checked_sub(1)?;
    let place = place.clamp(0.0, last as f64);
    let below = place as usize;
    if last < 3 {
        let (a, b) = (series[below], series[(below + 1).min(last)]);
        let part = place - below as f64;
        return Some(a * (1.0 - part) + b * part);
    }
    let first = below.saturating_sub(1).min(last - 3);
    let near = &series[first..first + 4];
    let x = place - first as f64;
    let (x1, x2, x3) = (x - 1.0, x - 2.0, x - 3.0);
    let outer = near[0] * (-x1 * x2 * x3 / 6.0) + near[3] * (x * x1 * x2 / 6.0);
    Some(outer + near[1] * (x * x2 * x3 / 2.0) + near[2] * (-x * x1 * x3 / 2.0))
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::TAU;

    #[test]
    fn below_500_frames_a_second_nothing_is_thinned() {
        for rate in [50.0, 360.0, 499.9] {
            assert_eq!(Grid::of_body(rate), Grid::EVERY);
        }
        let strides = [500.0, 749.0, 1000.0, 2000.0].map(|r| Grid::of_body(r).stride);
        assert_eq!(strides, [2, 2, 4, 8]);
        assert_eq!(Grid::EVERY.within(&(3..9)), 3..9);
        assert!((Grid::EVERY.place(7.25) - 7.25).abs() < f64::EPSILON);
    }

    #[test]
    fn places_lie_in_the_middle_of_their_slots() {
        let grid = Grid { stride: 4 };
        assert!((grid.place(1.5)).abs() < 1e-12 && (grid.slot(2.0) - 9.5).abs() < 1e-12);
        // Middles 1.5, 5.5, 9.5.
        assert_eq!(grid.within(&(2..10)), 1..3);
        assert_eq!((grid.len(11), grid.len(12)), (2, 3));
        let seen = [true, true, true, true, true, false, true, true, true];
        assert_eq!(grid.known(&seen), [true, false]);
        assert_eq!(
            grid.spread_known(&[true, true, false], 12)[..8],
            [false, false, true, true, true, true, false, false]
        );
    }

    /// The table above: thinned and spread again, the parts of a motion are off by no more than the
    /// sum of its two rows.
    #[test]
    fn a_thinned_motion_is_found_again_between_its_places() {
        for (hz, degrees, worst) in [(5.0, 60.0, 4.3e-4), (10.0, 5.0, 6e-4), (25.0, 0.2, 9e-4)] {
            for rate in [500.0, 1000.0, 2000.0] {
                let grid = Grid::of_body(rate);
                let slots = (0.8 * rate) as usize;
                let truth = |i: usize| degrees * (TAU * hz * i as f64 / rate + 0.3).sin();
                let path = (0..slots)
                    .map(|i| Point3::new(truth(i), 0.0, 1.0))
                    .collect();
                let thin = grid.thin(path);
                assert_eq!(thin.len(), grid.len(slots));
                let values: Vec<f64> = thin.iter().map(|p| p.x).collect();
                let again = grid.spread(&values, slots);
                let inner = 3 * grid.stride..slots - 3 * grid.stride;
                let off = inner
                    .map(|i| (again[i] - truth(i)).abs())
                    .fold(0.0, f64::max);
                assert!(off < worst, "{hz} Hz at {rate}: {off}");
            }
        }
    }

    /// With holes or without: what bridging and thinning one after the other give.
    #[test]
    fn a_track_is_placed_as_if_bridged_first() {
        let grid = Grid { stride: 4 };
        let whole: Vec<_> = (0..22)
            .map(|i| Some(Point3::new(f64::from(i * i), f64::from(i).sin(), 1.0)))
            .collect();
        for hole in [0..0, 0..3, 9..10, 20..22] {
            let mut track = whole.clone();
            track[hole.clone()].fill(None);
            let (points, known) = grid.place_track(&track).unwrap();
            assert_eq!(points, grid.thin(gaps::solid(&track).unwrap()));
            let seen = |place: usize| (4 * place..4 * place + 4).all(|i| !hole.contains(&i));
            assert!(known.iter().enumerate().all(|(i, k)| *k == seen(i)) && known.len() == 5);
        }
        assert!(grid.place_track(&[None; 9]).is_none());
        assert_eq!(grid.place_track(&whole[..3]).unwrap(), (vec![], vec![]));
    }

    #[test]
    fn short_series_are_read_straight() {
        assert_eq!(at::<f64>(&[], 0.0), None);
        assert_eq!(at(&[2.0], 5.0), Some(2.0));
        assert_eq!(at(&[2.0, 4.0, 6.0], 1.5), Some(5.0));
        assert_eq!(at(&[0.0, 1.0, 8.0, 27.0, 64.0], -1.0), Some(0.0));
        let cubic = at(&[0.0, 1.0, 8.0, 27.0, 64.0], 3.5).unwrap();
        assert!((cubic - 42.875).abs() < 1e-12);
    }
}
