//! A stretch of ground reactions beside a window of markers: each plate at its own rate, in the
//! markers' device time. Making one from raw samples is in `series`; which foot is on which plate is
//! in `feet`.

use nalgebra::Point3;

use super::plate::Surface;
use super::wrench::{Total, Wrench, total};
use super::zero::Zero;
use crate::clock::Alignment;
use crate::handed::Handed;
use crate::window::crop;

/// Ground reactions around one swing.
#[derive(Debug, Clone, PartialEq)]
pub struct GroundWindow {
    /// One entry a plate, in the order of stream id and description.
    pub plates: Vec<PlateWindow>,
}

/// One plate's part.
#[derive(Debug, Clone, PartialEq)]
pub struct PlateWindow {
    /// Its name in sentences: `plate 1`.
    pub name: String,
    /// Where it lies; `None` where its description gives no surface.
    pub surface: Option<Surface>,
    /// Its reactions, or why there are none.
    pub series: Result<Reactions, String>,
    /// How its times became the markers'.
    pub alignment: Alignment,
    /// What is to be said of it, in plain sentences.
    pub notes: Vec<String>,
}

/// The reaction of one plate on the golfer over time.
#[derive(Debug, Clone, PartialEq)]
pub struct Reactions {
    /// Samples a second.
    pub rate_hz: f64,
    /// Device time of the markers' clock of every sample, nanoseconds, rising.
    pub time_ns: Vec<i64>,
    /// Force on the golfer, and its moment about the middle of the surface, zeroed and low-passed;
    /// `None` where not measured.
    pub wrenches: Vec<Option<Wrench>>,
    /// The same low-passed half as much: what a low-pass takes from the motion shows against it.
    pub sharp: Vec<Option<Wrench>>,
    /// What was taken off, in plate axes; `None`: it was never seen quiet and empty, and nothing was.
    pub zero: Option<Zero>,
    /// Standard deviation of each raw sample's noise, in the axes of `wrenches`.
    pub noise: Wrench,
}

impl Reactions {
    /// Forgets the samples outside two times, nanoseconds.
    pub fn keep(&mut self, [from, to]: [i64; 2]) {
        let first = self.time_ns.partition_point(|t| *t < from);
        let last = self.time_ns.partition_point(|t| *t <= to).max(first);
        crop(&mut self.time_ns, first..last);
        crop(&mut self.wrenches, first..last);
        crop(&mut self.sharp, first..last);
    }

    /// The wrench at a time between two samples, both known; N, N·m.
    #[must_use]
    pub fn at(&self, time_ns: i64) -> Option<Wrench> {
        let after = self.time_ns.partition_point(|t| *t < time_ns);
        self.before(after, time_ns)
    }

    /// The same at rising times; `None` where one of them is not known.
    #[must_use]
    pub fn along(&self, times_ns: impl Iterator<Item = i64>) -> Option<Vec<Wrench>> {
        let mut times_ns = times_ns.peekable();
        let first_ns = *times_ns.peek()?;
        let mut after = self.time_ns.partition_point(|t| *t < first_ns);
        let each = times_ns.map(|time_ns| {
            let later = self.time_ns.get(after..)?.iter();
            after += later.take_while(|t| **t < time_ns).count();
            self.before(after, time_ns)
        });
        each.collect()
    }

    /// The wrench at a time up to that of sample `after`, the first that is not earlier.
    fn before(&self, after: usize, time_ns: i64) -> Option<Wrench> {
        let (b, to) = (*self.wrenches.get(after)?, *self.time_ns.get(after)?);
        if to == time_ns {
            return b;
        }
        let before = after.checked_sub(1)?;
        let (a, from) = (self.wrenches[before]?, self.time_ns[before]);
        let share = (time_ns - from) as f64 / (to - from) as f64;
        let (x, y) = (a.numbers(), b?.numbers());
        let between = std::array::from_fn(|i| x[i] + share * (y[i] - x[i]));
        Some(Wrench::from_numbers(between))
    }
}

impl PlateWindow {
    /// Moves its samples to an earlier time, nanoseconds.
    pub(super) fn earlier(&mut self, by_ns: i64) {
        if let Ok(series) = &mut self.series {
            series
                .time_ns
                .iter_mut()
                .for_each(|t| *t = t.saturating_sub(by_ns));
        }
    }

    /// The wrench at a time with the point it is about.
    ///
    /// # Errors
    /// Says why it is not known.
    pub fn at(&self, time_ns: i64) -> Result<(Point3<f64>, Wrench), String> {
        let series = self.series.as_ref().map_err(Clone::clone)?;
        let surface = self.surface.ok_or("the plate's place is not known")?;
        let wrench = series.at(time_ns);
        let wrench = wrench.ok_or_else(|| format!("{} sent nothing then", self.name))?;
        Ok((surface.center, wrench))
    }
}

impl GroundWindow {
    /// All plates that have a surface as one, at a time.
    ///
    /// # Errors
    /// Says which plate is not known then.
    pub fn total_at(&self, time_ns: i64, gate_n: f64) -> Result<Total, String> {
        let parts = self.plates.iter().map(|p| p.at(time_ns));
        let parts = parts.collect::<Result<Vec<_>, _>>()?;
        Ok(total(&parts, gate_n))
    }

    /// The same in the golfer frame (and back): a left-handed golfer is mirrored.
    #[must_use]
    pub fn mirrored(&self, handed: Handed) -> Self {
        let mut mirrored = self.clone();
        for plate in &mut mirrored.plates {
            plate.surface = plate.surface.map(|s| s.mirrored(handed));
            if let Ok(series) = &mut plate.series {
                let both = series.wrenches.iter_mut().chain(&mut series.sharp);
                for wrench in both.flatten() {
                    *wrench = wrench.mirrored(handed);
                }
            }
        }
        mirrored
    }

    /// Standard uncertainty of the plates' times against the markers', seconds: the worst plate's.
    #[must_use]
    pub fn clock_uncertainty_s(&self) -> f64 {
        let of = self.plates.iter().map(|p| p.alignment.uncertainty_s());
        of.fold(0.0, f64::max)
    }

    /// What is to be said of the plates.
    #[must_use]
    pub fn notes(&self) -> Vec<String> {
        self.plates.iter().flat_map(|p| p.notes.clone()).collect()
    }
}
