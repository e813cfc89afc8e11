//! What each plate reads just now, for whoever looks after the rig: the mean of the last half second, its
//! center, and the zero that is taken off. Nothing of a swing rests on this; the plates of a swing are in
//! `window`.

use nalgebra::{Point3, Vector3};

use super::plate::Plate;
use super::wrench::{LOAD_GATE_N, Wrench, pressure};
use super::zero::{STANDS_N, Zeroing};

/// The stretch whose mean is shown, nanoseconds.
pub(super) const NOW_NS: i64 = 500_000_000;

/// One plate now.
#[derive(Debug, Clone, PartialEq)]
pub struct PlateNow {
    /// Its name in sentences: `plate 1`.
    pub name: String,
    /// Corners of its surface in the bay, metres; `None` where its description gives no surface.
    pub corners: Option<[Point3<f64>; 4]>,
    /// What it reads; `None` without a surface, or where nothing was measured lately.
    pub reads: Option<Reads>,
    /// What an empty plate read; `None`: it was never seen quiet and empty, and nothing is taken off.
    pub zero: Option<ZeroNow>,
}

/// What a plate read in the last half second.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reads {
    /// Mean force on whoever stands there in bay axes, zero taken off, N.
    pub force: Vector3<f64>,
    /// Standard deviation of its upward part, N.
    pub scatter_n: f64,
    /// Center of pressure in the bay, metres; `None` below 20 N.
    pub center: Option<Point3<f64>>,
    /// Whether it bears more than the foot of the lightest student (80 N).
    pub stood_on: bool,
}

/// The zero that goes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ZeroNow {
    /// What is taken off, about the middle of the surface, in bay axes: N, N·m.
    pub offset: Wrench,
    /// Age of the zero by the plate's own clock, seconds.
    pub age_s: f64,
    /// How far it has wandered since the first one, N.
    pub drift_n: f64,
}

/// What a plate reads by its last samples (of half a second) and its zero.
pub(super) fn read<'a>(
    plate: &Plate,
    samples: impl Iterator<Item = (i64, &'a [Option<f32>])>,
    zeroing: &Zeroing,
) -> (Option<Reads>, Option<ZeroNow>) {
    let zero = zeroing.at(i64::MAX);
    let offset = zero.map(|z| z.offset).unwrap_or_default();
    let mut newest_ns = zero.map_or(i64::MIN, |z| z.time_ns);
    let mut wrenches: Vec<Wrench> = Vec::new();
    for (time_ns, channels) in samples {
        newest_ns = newest_ns.max(time_ns);
        wrenches.extend(plate.wrench(channels).map(|w| w.without(&offset)));
    }
    let zero = zero.map(|z| ZeroNow {
        offset: plate.in_bay(&z.offset),
        age_s: newest_ns.saturating_sub(z.time_ns) as f64 * 1e-9,
        drift_n: zeroing
            .first()
            .map_or(0.0, |first| z.offset.without(&first.offset).force.norm()),
    });
    (reads(plate, &wrenches), zero)
}

fn reads(plate: &Plate, wrenches: &[Wrench]) -> Option<Reads> {
    if wrenches.is_empty() {
        return None;
    }
    let n = wrenches.len() as f64;
    let mut sum = [0.0; 6];
    for wrench in wrenches {
        for (to, number) in sum.iter_mut().zip(wrench.numbers()) {
            *to += number / n;
        }
    }
    let mean = Wrench::from_numbers(sum);
    let up = plate.up();
    let upward = mean.force.dot(&up);
    let squares: f64 = wrenches
        .iter()
        .map(|w| (w.force.dot(&up) - upward).powi(2))
        .sum();
    Some(Reads {
        force: plate.in_bay(&mean).force,
        scatter_n: (squares / (n - 1.0).max(1.0)).sqrt(),
        center: pressure(plate, &mean, LOAD_GATE_N).map(|p| p.center),
        stood_on: upward > STANDS_N,
    })
}
