//! Blows of a mass point, by mechanics, seen by markers and by a plate.

use super::*;
use crate::clock::Alignment;
use crate::ground::window::Reactions;
use crate::ground::wrench::Wrench;
use crate::signal::lowpass::DualPass;
use nalgebra::Vector3;

/// A mass point of 0.25 kg that a hand moves down at 0.6 m/s and pushes on with `push` m/s², and a half
/// sine of force that throws it back at `back` m/s: exact by integration in steps of 10 µs. Places at
/// 1 ms, force at 1 ms, from 1 s before the blow's beginning to 1 s after.
fn struck(duration_s: f64, push: f64, back: f64) -> (Vec<f64>, Vec<f64>) {
    let mass = 0.25;
    let gain = std::f64::consts::PI / (2.0 * duration_s) * mass * (0.6 + back);
    let force = |t: f64| {
        if (0.0..duration_s).contains(&t) {
            gain * (std::f64::consts::PI * t / duration_s).sin()
        } else {
            0.0
        }
    };
    let (mut place, mut speed) = (0.6 - 0.5 * push, -0.6 + push);
    let (mut places, mut forces) = (Vec::new(), Vec::new());
    for step in -100_000_i32..100_000 {
        let t = f64::from(step) * 1e-5;
        if step % 100 == 0 {
            places.push(place);
            forces.push(force(t));
        }
        let acceleration = -push + force(t) / mass;
        place += speed * 1e-5 + 0.5 * acceleration * 1e-10;
        speed += acceleration * 1e-5;
    }
    (places, forces)
}

fn noise(n: usize) -> f64 {
    // Spread evenly and the same each time: Weyl's sequence, three of them for a bell.
    let part = |k: f64| (n as f64 * k).fract() - 0.5;
    part(0.754_877) + part(0.569_840) + part(0.618_034)
}

fn plate(forces: &[f64], (late_s, level): (f64, f64), start: usize) -> PlateWindow {
    let filter = DualPass::butterworth(1000.0, 50.0);
    let noisy: Vec<f64> = forces
        .iter()
        .enumerate()
        .map(|(n, f)| f + level + noise(n + start))
        .collect();
    let smooth = filter.run(&noisy, 200);
    let wrench = |up: &f64| Wrench {
        force: Vector3::new(0.0, *up, 0.0),
        moment: Vector3::zeros(),
    };
    PlateWindow {
        name: "plate 1".into(),
        surface: None,
        series: Ok(Reactions {
            rate_hz: 1000.0,
            time_ns: (0..forces.len() as i64)
                .map(|n| n * 1_000_000 + (late_s * 1e9) as i64)
                .collect(),
            wrenches: smooth.iter().map(|up| Some(wrench(up))).collect(),
            sharp: Vec::new(),
            zero: None,
            noise: Wrench::default(),
        }),
        alignment: Alignment::Shared,
        notes: Vec::new(),
    }
}

/// Blows of several lengths and shapes, markers at 250 Hz with 0.3 mm of noise, the plate 3.7 ms late.
#[test]
fn a_tap_tells_how_late_the_plate_is_whatever_the_blow_was() {
    let mut taps = Vec::new();
    let shapes = [(0.004, 0.0, 0.4), (0.008, 3.0, 0.3), (0.012, 6.0, 0.25)];
    for (n, (duration, push, back)) in shapes.into_iter().cycle().take(9).enumerate() {
        let start = 5077 * n;
        let (places, forces) = struck(duration, push, back);
        let mut watch = Watch::default();
        let seen: Vec<i64> = places
            .iter()
            .enumerate()
            .step_by(4)
            .filter_map(|(n, y)| {
                let y = y + 0.0003 * noise(n + start);
                watch.push(n as i64 * 1_000_000, Point3::new(0.1, y, 0.2))
            })
            .collect();
        assert_eq!(seen.len(), 1, "{duration}: {seen:?}");
        // The center of a half sine is its middle.
        let off = seen[0] as f64 * 1e-9 - 1.0 - 0.5 * duration;
        assert!(off.abs() < 1.2e-3, "{duration}: {off}");
        let ground = GroundWindow {
            plates: vec![
                plate(&vec![0.0; forces.len()], (0.0, 0.0), 0),
                plate(&forces, (0.0037, 12.0), start + 77),
            ],
        };
        let tap = on_plates(seen[0], &ground).unwrap();
        assert_eq!(tap.index, 1);
        assert!(
            (tap.late_s - 0.0037).abs() < 1.4e-3,
            "{duration}: {}",
            tap.late_s
        );
        taps.push(tap);
    }
    assert_eq!(verdict(&taps[..2]), None);
    let verdict = verdict(&taps).unwrap();
    assert!((verdict.late_s - 0.0037).abs() < 0.4e-3, "{verdict:?}");
    assert!(verdict.uncertainty_s < 0.5e-3);
}

/// Laid down, waved about, and swung: no taps.
#[test]
fn what_is_no_blow_is_no_tap() {
    for path in [
        &(|t: f64| if t < 1.0 { 0.3 - 0.3 * t } else { 0.0 }) as &dyn Fn(f64) -> f64,
        &|t: f64| 0.4 + 0.2 * (6.0 * t).cos(),
        &|t: f64| 2.0 * (8.0 * (t - 1.0)).powi(2),
    ] {
        let mut watch = Watch::default();
        let seen = (0..900_i64).filter_map(|n| {
            let y = path(n as f64 / 360.0);
            watch.push(
                n * 2_777_778,
                Point3::new(0.0, y + 0.0002 * noise(n as usize), 0.0),
            )
        });
        let ground = GroundWindow {
            plates: vec![plate(&vec![0.0; 2500], (0.0, 400.0), 0)],
        };
        let taps = seen.filter_map(|t| on_plates(t, &ground)).count();
        assert_eq!(taps, 0);
    }
}
