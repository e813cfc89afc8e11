//! Plates judged: what their channels say is the weight at rest and, by the standard's own formulas, the
//! center of pressure that the truth has; a left-handed golfer's are the mirror image; faults are what
//! they say.

use super::{CLEAN, near};
use crate::forward::{CaptureParams, GolferParams, PlateFault, PlateParams, Take, swing};
use crate::handed::Handed;

const QUIET: PlateParams = PlateParams {
    offset_n: 0.0,
    noise_n: 0.0,
    drift_n: 0.0,
    ..PlateParams::USUAL
};

fn on_plates(params: &GolferParams, plates: PlateParams) -> Take {
    let capture = CaptureParams {
        rate_hz: 250.0,
        plates: Some(plates),
        ..CLEAN
    };
    swing(params, &capture)
}

/// Fz of both plates at a sample, N, upward.
fn up(take: &Take, n: usize) -> [f64; 2] {
    let plates = take.plates.as_ref().unwrap();
    [0, 1].map(|i| -plates.plates[i].samples[n][2])
}

/// Center of pressure of one plate in its own axes, m: x = −My ÷ Fz, y = Mx ÷ Fz with the moments
/// carried to the surface (C3D user guide, force plates of type 2).
fn pressure(sample: &[f64; 6], depth: f64) -> [f64; 2] {
    let [fx, fy, fz, mx, my, _] = *sample;
    let (mx, my) = (mx + fy * depth, my - fx * depth);
    [-my / fz, mx / fz]
}

#[test]
fn plates_say_what_the_feet_get() {
    for seed in 0..4 {
        let take = on_plates(&GolferParams::from_seed(seed), QUIET);
        let plates = take.plates.as_ref().unwrap();
        assert_eq!(plates.plates[0].samples.len(), take.frames.len() * 4);
        near(
            "empty",
            up(&take, 300)[0].abs() + up(&take, 300)[1].abs(),
            0.0,
            1e-9,
        );
        let kg = take.truth.facts.person.mass_kg.unwrap();
        for name in ["address", "top", "impact"] {
            let t = take.truth.event(name).unwrap();
            let n = (t * plates.rate_hz) as usize;
            let at = |id: &str| {
                take.truth
                    .at(n as f64 / plates.rate_hz)
                    .into_iter()
                    .find(|m| m.0 == id)
                    .unwrap()
                    .1
            };
            let [trail, lead] = up(&take, n);
            near(
                "trail",
                trail / kg / 9.80665,
                at("vertical_force.trail"),
                1e-9,
            );
            near("lead", lead / kg / 9.80665, at("vertical_force.lead"), 1e-9);
            // The center of pressure of both, from the plates' places.
            let mut place = [0.0; 2];
            for (i, view) in plates.plates.iter().enumerate() {
                let middle = nalgebra::center(&view.corners[0], &view.corners[2]);
                let [x, y] = pressure(&view.samples[n], -view.origin.z);
                let share = [trail, lead][i] / (trail + lead);
                place[0] += share * (middle.x + x);
                place[1] += share * (middle.z + y);
                assert!(x.abs() < 0.2 && y.abs() < 0.25, "{name} {i}: {x} {y}");
            }
            let points = take.truth.standing(n as f64 / plates.rate_hz);
            near("x", place[0], points.x, 1e-6);
            near("z", place[1], points.z, 1e-6);
        }
    }
}

#[test]
fn a_left_handed_golfer_stands_on_mirrored_plates() {
    let right = GolferParams::from_seed(5);
    let left = GolferParams {
        handed: Handed::Left,
        ..right.clone()
    };
    let (right, left) = (on_plates(&right, QUIET), on_plates(&left, QUIET));
    let (right, left) = (right.plates.unwrap(), left.plates.unwrap());
    for (r, l) in right.plates.iter().zip(&left.plates) {
        // Corners go round the same way: the plate's z points down for both.
        let z = (l.corners[0] - l.corners[1]).cross(&(l.corners[0] - l.corners[3]));
        assert!(z.y < 0.0);
        near("side", l.corners[0].z, -r.corners[2].z, 1e-12);
        for (r, l) in r.samples.iter().zip(&l.samples) {
            let mirrored = [r[0], -r[1], r[2], -r[3], r[4], -r[5]];
            assert!(l.iter().zip(mirrored).all(|(a, b)| (a - b).abs() < 1e-9));
        }
    }
}

#[test]
fn faults_and_disturbances_are_as_asked() {
    let params = GolferParams::from_seed(3);
    let fault = |fault| {
        on_plates(
            &params,
            PlateParams {
                fault: Some(fault),
                ..QUIET
            },
        )
    };
    let good = on_plates(&params, QUIET);
    let n = 2200;
    let [trail, lead] = up(&good, n);
    let swapped = up(&fault(PlateFault::Swapped), n);
    near("swapped", swapped[0] - lead, trail - swapped[1], 1e-12);
    let reversed = fault(PlateFault::Reversed {
        plate: 1,
        channel: 2,
    });
    near("reversed", up(&reversed, n)[1], -lead, 1e-12);
    let gain = fault(PlateFault::Gain {
        plate: 0,
        factor: 0.8,
    });
    near("gain", up(&gain, n)[0], 0.8 * trail, 1e-9);
    let late = fault(PlateFault::Late {
        plate: 1,
        by_s: 0.02,
    });
    near("late", up(&late, n + 20)[1], lead, 1e-6);
    near("in time", up(&late, n)[0], trail, 1e-12);
    assert!(up(&fault(PlateFault::NeverEmpty), 0)[0] > 100.0);
    let noisy = on_plates(&params, PlateParams::USUAL);
    let plates = noisy.plates.unwrap();
    let empty: Vec<f64> = plates.plates[0].samples[..600]
        .iter()
        .map(|s| s[2])
        .collect();
    let mean = empty.iter().sum::<f64>() / 600.0;
    let sd = (empty.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / 600.0).sqrt();
    assert!(mean.abs() <= 6.6 && (0.9..1.1).contains(&sd), "{mean} {sd}");
    let clock = crate::forward::PlateClock {
        offset_s: 3.0,
        drift_ppm: 40.0,
    };
    near("clock", clock.shows(10.0), 13.0004, 1e-12);
}
