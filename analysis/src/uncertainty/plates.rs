//! Force plates in a draw: their noise, what their zero may be off, and how their clock may lie against
//! the markers'. Drift since the last zero and errors of a plate's calibration are not in it.

use super::deviates::Deviates;
use crate::clock::Alignment;
use crate::ground::series::low_pass;
use crate::ground::window::{GroundWindow, PlateWindow, Reactions};
use crate::ground::wrench::Wrench;
use crate::ground::zero::{FIRST_N, STRETCH_S};
use crate::measure::Prepared;

/// Stretch before address and after the end that the low-pass wants, nanoseconds.
const ROOM_NS: i64 = 150_000_000;
/// Stretch after impact that is looked at, nanoseconds.
const AFTER_NS: i64 = 50_000_000;

/// The plates of a swing as long as draws need them.
pub(super) fn needed(prepared: &Prepared) -> Option<GroundWindow> {
    let mut ground = prepared.ground.as_deref()?.clone();
    let (times, swing) = (&prepared.window.time_ns, &prepared.swing);
    let last = times.len().checked_sub(1)?;
    let from = times[swing.quiet.start.min(last)] - ROOM_NS;
    let to = times[swing.impact.before.min(last)] + AFTER_NS + ROOM_NS;
    for plate in &mut ground.plates {
        plate.series.iter_mut().for_each(|s| s.keep([from, to]));
    }
    Some(ground)
}

/// The plates again with fresh errors of their own kind, read through the same low-pass.
pub(super) fn disturbed(ground: &GroundWindow, deviates: &mut Deviates) -> GroundWindow {
    let mut shift: Option<(Alignment, i64)> = None;
    let plate = |plate: &PlateWindow| {
        // Plates of one clock are early or late together.
        let known = shift.filter(|(alignment, _)| *alignment == plate.alignment);
        let (_, late_ns) = *shift.insert(known.unwrap_or_else(|| {
            let late_s = plate.alignment.uncertainty_s() * deviates.exact();
            (plate.alignment, (late_s * 1e9).round() as i64)
        }));
        PlateWindow {
            series: match &plate.series {
                Ok(series) => Ok(noisy(series, late_ns, deviates)),
                Err(why) => Err(why.clone()),
            },
            name: plate.name.clone(),
            notes: Vec::new(),
            ..*plate
        }
    };
    GroundWindow {
        plates: ground.plates.iter().map(plate).collect(),
    }
}

fn noisy(series: &Reactions, late_ns: i64, deviates: &mut Deviates) -> Reactions {
    let white = series.noise.numbers();
    let zero = zero_sd(series).map(|sd| sd * deviates.exact());
    let disturbed = series.wrenches.iter().map(|wrench| {
        let clean = wrench.as_ref()?.numbers();
        let number = |i: usize| clean[i] + zero[i] + white[i] * deviates.quick();
        Some(Wrench::from_numbers(std::array::from_fn(number)))
    });
    let disturbed: Vec<_> = disturbed.collect();
    Reactions {
        wrenches: low_pass(&disturbed, series.rate_hz),
        time_ns: series.time_ns.iter().map(|t| t + late_ns).collect(),
        ..*series
    }
}

/// Standard uncertainty of the zero: of a mean over a quiet stretch, or anywhere within what an empty
/// plate may read where it was never seen empty (a uniform number's standard deviation is its half
/// width over the root of three).
fn zero_sd(series: &Reactions) -> [f64; 6] {
    match series.zero {
        Some(_) => {
            let samples = (STRETCH_S * series.rate_hz).max(1.0);
            series.noise.numbers().map(|sd| sd / samples.sqrt())
        }
        None => {
            let force = FIRST_N / f64::sqrt(3.0);
            [force, force, force, 0.0, 0.0, 0.0]
        }
    }
}
