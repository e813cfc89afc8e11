//! Force plates in a draw: their noise, what their zero may be off, and how their clock may lie against
//! the markers'. Drift since the last zero and errors of a plate's calibration are not in it.

use super::deviates::Deviates;
use crate::clock::Alignment;
use crate::ground::series::low_pass;
use crate::ground::window::{GroundWindow, PlateWindow, Reactions};
use crate::ground::wrench::Wrench;
use crate::ground::zero::{FIRST_N, STRETCH_S};
use crate::measure::Prepared;
use crate::signal::reading::Reading;

/// Stretch before address and after the end that the low-pass wants, nanoseconds.
const ROOM_NS: i64 = 150_000_000;
/// Stretch after impact that is looked at, nanoseconds.
const AFTER_NS: i64 = 50_000_000;

/// The plates of a swing as long as draws need them, read sharply.
pub(super) fn needed(prepared: &Prepared) -> Option<GroundWindow> {
    let mut ground = prepared.ground.as_deref()?.clone();
    let (times, swing) = (&prepared.window.time_ns, &prepared.swing);
    let last = times.len().checked_sub(1)?;
    let from = times[swing.quiet.start.min(last)] - ROOM_NS;
    let to = times[swing.impact.before.min(last)] + AFTER_NS + ROOM_NS;
    for plate in &mut ground.plates {
        if let Ok(series) = &mut plate.series {
            series.keep([from, to]);
            series.wrenches = std::mem::take(&mut series.sharp);
        }
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
        wrenches: low_pass(&disturbed, series.rate_hz, Reading::Usual),
        time_ns: series.time_ns.iter().map(|t| t + late_ns).collect(),
        sharp: Vec::new(),
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::clock::Line;
    use crate::ground::zero::Zero;

    const RATE_HZ: f64 = 1000.0;

    fn plate(zeroed: bool, uncertain_ns: f64) -> PlateWindow {
        let line = |uncertainty_ns| Line {
            reference_ns: 0,
            offset_ns: 0,
            drift: 0.0,
            uncertainty_ns,
        };
        let zero = Zero {
            time_ns: 0,
            offset: Wrench::default(),
            noise: Wrench::default(),
        };
        PlateWindow {
            name: "plate 1".into(),
            surface: None,
            series: Ok(Reactions {
                rate_hz: RATE_HZ,
                time_ns: (0..20_000).map(|n| n * 1_000_000).collect(),
                wrenches: vec![Some(Wrench::from_numbers([10.0; 6])); 20_000],
                sharp: Vec::new(),
                zero: zeroed.then_some(zero),
                noise: Wrench::from_numbers([1.0, 2.0, 0.0, 0.5, 0.0, 0.0]),
            }),
            alignment: Alignment::Fitted {
                from: line(uncertain_ns),
                to: line(0.0),
            },
            notes: Vec::new(),
        }
    }

    /// White noise through two passes of a second-order Butterworth filter: its response is
    /// 1 ÷ (1 + (f/c)⁴) with c = 50 Hz ÷ 0.802 (REFERENCES A3), whose square's integral is
    /// 3π ÷ (8√2) × c (calculus); of 500 Hz of noise that leaves a root of 0.1039.
    #[test]
    fn noise_of_a_draw_has_the_size_that_the_low_pass_leaves() {
        let ground = GroundWindow {
            plates: vec![plate(true, 0.0)],
        };
        let drawn = disturbed(&ground, &mut Deviates::new(3, 4));
        assert_eq!(drawn, disturbed(&ground, &mut Deviates::new(3, 4)));
        assert_ne!(drawn, disturbed(&ground, &mut Deviates::new(3, 5)));
        let series = drawn.plates[0].series.as_ref().unwrap();
        let sd = |i: usize| {
            let all: Vec<f64> = series
                .wrenches
                .iter()
                .map(|w| w.unwrap().numbers()[i])
                .collect();
            let mean = all.iter().sum::<f64>() / all.len() as f64;
            (all.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / all.len() as f64).sqrt()
        };
        let left = 0.1039_f64.sqrt();
        for (i, white) in [1.0, 2.0, 0.0, 0.5].into_iter().enumerate() {
            assert!(
                (sd(i) - white * left).abs() < 0.04 * left * white + 1e-9,
                "{i}: {}",
                sd(i)
            );
        }
        assert_eq!(
            drawn.plates[0].series.as_ref().unwrap().time_ns[7],
            7_000_000
        );
    }

    /// Over many draws: the offset of a plate that was never zeroed, and one shift for plates of one
    /// clock.
    #[test]
    fn zero_and_clock_are_drawn() {
        let mut few = plate(false, 2e6);
        let series = few.series.as_mut().unwrap();
        (series.noise, series.rate_hz) = (Wrench::default(), RATE_HZ);
        series.keep([0, 20_000_000]);
        let ground = GroundWindow {
            plates: vec![few.clone(), few],
        };
        let drawn: Vec<[f64; 3]> = (0..2000)
            .map(|i| {
                let drawn = disturbed(&ground, &mut Deviates::new(9, i));
                let [a, b] = [0, 1].map(|n| drawn.plates[n].series.as_ref().unwrap().clone());
                let up = |r: &Reactions| r.wrenches[10].unwrap().force.y - 10.0;
                assert_eq!(a.time_ns, b.time_ns);
                [a.time_ns[0] as f64, up(&a), up(&b)]
            })
            .collect();
        let sd = |k: usize| (drawn.iter().map(|d| d[k] * d[k]).sum::<f64>() / 2000.0).sqrt();
        // Of 2000 draws a standard deviation is known within 1.6 %.
        assert!((sd(0) / 2e6 - 1.0).abs() < 0.06, "{}", sd(0));
        for k in [1, 2] {
            assert!((sd(k) / 11.547 - 1.0).abs() < 0.06, "{}", sd(k));
        }
        let together = drawn.iter().map(|d| d[1] * d[2]).sum::<f64>() / 2000.0;
        assert!(together.abs() < 10.0, "plates are off apart: {together}");
    }
}
