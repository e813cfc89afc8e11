//! Curves of several shots on one axis: time counted in phases (address → top → impact → finish), mean and
//! standard deviation at each place, and the map that lets two swings of different duration run together.
//! Curves with holes stay with holes.

use std::f64::consts::TAU;

/// Places of a phase, both ends included.
pub const PLACES: usize = 101;

/// The phases between the events.
pub const PHASES: usize = 3;

/// A curve over the phases: `PHASES` times `PLACES` values; `None` in a hole or where an event is not known.
pub type PhaseCurve = Vec<Option<f64>>;

/// Times of address, top, impact and finish, seconds; `None` where not found.
pub type PhaseEvents = [Option<f64>; PHASES + 1];

/// A curve over the phases, by straight lines between samples. Times ascend. `angle`: in radians and
/// unwrapped first, so that a jump by a whole turn is none. A place between two samples of which one is
/// missing stays missing.
#[must_use]
pub fn over_phases(
    times: &[f64],
    values: &[Option<f64>],
    events: &PhaseEvents,
    angle: bool,
) -> PhaseCurve {
    let mut values = values.to_vec();
    if angle {
        unwrap(&mut values);
    }
    let at = |time: f64| -> Option<f64> {
        let after = times.partition_point(|t| *t < time);
        let here = times.get(after)?;
        if (here - time).abs() < 1e-12 {
            return *values.get(after)?;
        }
        let before = after.checked_sub(1)?;
        let (low, high) = ((*values.get(before)?)?, (*values.get(after)?)?);
        let share = (time - times[before]) / (here - times[before]);
        Some(low + share * (high - low))
    };
    let mut curve = Vec::with_capacity(PHASES * PLACES);
    for pair in events.windows(2) {
        for place in 0..PLACES {
            let share = place as f64 / (PLACES - 1) as f64;
            curve.push(match (pair[0], pair[1]) {
                (Some(from), Some(to)) if to > from => at(from + share * (to - from)),
                _ => None,
            });
        }
    }
    curve
}

/// Takes whole turns out between neighbours; holes are stepped over.
fn unwrap(values: &mut [Option<f64>]) {
    let mut last: Option<f64> = None;
    for value in values.iter_mut().flatten() {
        if let Some(last) = last {
            *value -= TAU * ((*value - last) / TAU).round();
        }
        last = Some(*value);
    }
}

/// Mean and scatter at one place.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ribbon {
    /// Mean of the curves that are known here.
    pub mean: f64,
    /// Their sample standard deviation; `None` of one curve.
    pub sd: Option<f64>,
    /// How many there are.
    pub curves: usize,
}

/// Mean ± SD of curves over the phases, place by place; `None` where no curve is known. Angles: each curve
/// is brought within half a turn of the first one by whole turns.
#[must_use]
pub fn ribbon(curves: &[PhaseCurve], angle: bool) -> Vec<Option<Ribbon>> {
    let places = curves.iter().map(Vec::len).max().unwrap_or(0);
    let value = |curve: &PhaseCurve, place: usize| curve.get(place).copied().flatten();
    // Compared where both are known.
    let turns: Vec<f64> = curves
        .iter()
        .map(|curve| {
            let both = (0..places)
                .find_map(|place| Some(value(curve, place)? - value(curves.first()?, place)?));
            both.filter(|_| angle)
                .map_or(0.0, |d| TAU * (d / TAU).round())
        })
        .collect();
    (0..places)
        .map(|place| {
            let known: Vec<f64> = curves
                .iter()
                .zip(&turns)
                .filter_map(|(curve, turn)| Some(value(curve, place)? - turn))
                .collect();
            let spread = super::order::mean_variance(&known);
            Some(Ribbon {
                mean: spread.map_or(*known.first()?, |(mean, _)| mean),
                sd: spread.map(|(_, variance)| variance.sqrt()),
                curves: known.len(),
            })
        })
        .collect()
}

/// A map from one swing's time to another's such that the events coincide: straight between them, at the
/// same pace before the first and after the last.
#[derive(Debug, Clone, PartialEq)]
pub struct TimeMap {
    knots: Vec<(f64, f64)>,
}

impl TimeMap {
    /// From the events that both swings have, in order, seconds; `None` where fewer than two are left in
    /// ascending order.
    #[must_use]
    pub fn new(from: &[Option<f64>], to: &[Option<f64>]) -> Option<Self> {
        let mut knots: Vec<(f64, f64)> = Vec::new();
        for (from, to) in from.iter().zip(to) {
            if let (Some(from), Some(to)) = (from, to)
                && knots
                    .last()
                    .is_none_or(|last| last.0 < *from && last.1 < *to)
            {
                knots.push((*from, *to));
            }
        }
        (knots.len() >= 2).then_some(Self { knots })
    }

    /// The time in the other swing, seconds.
    #[must_use]
    pub fn at(&self, time: f64) -> f64 {
        let last = self.knots.len() - 1;
        let (first, end) = (self.knots[0], self.knots[last]);
        if time <= first.0 {
            return first.1 + time - first.0;
        }
        if time >= end.0 {
            return end.1 + time - end.0;
        }
        let after = self.knots.partition_point(|k| k.0 <= time).clamp(1, last);
        let (low, high) = (self.knots[after - 1], self.knots[after]);
        low.1 + (time - low.0) / (high.0 - low.0) * (high.1 - low.1)
    }
}
