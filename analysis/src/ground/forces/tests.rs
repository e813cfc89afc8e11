//! A stream of two plates through ring and window: zero, holes, faults, clocks.

use nalgebra::{Matrix3, Vector3};

use super::*;
use crate::clock::Line;
use crate::ground::plate::PlateKind;
use crate::ground::window::GroundWindow;
use crate::ground::wrench::{LOAD_GATE_N, pressure};
use crate::handed::Handed;

const RATE_HZ: f64 = 500.0;

/// Z-up laboratory in millimetres, x toward the target: two plates, the second nearer to the target.
fn layout() -> ForceLayout {
    let plate = |x: f32| PlateDescription {
        kind: PlateKind::Moments,
        corners: [
            [x + 400.0, 600.0, 0.0],
            [x + 400.0, 0.0, 0.0],
            [x, 0.0, 0.0],
            [x, 600.0, 0.0],
        ],
        origin: [0.0, 0.0, -40.0],
    };
    ForceLayout {
        id: 1,
        rate_hz: RATE_HZ,
        plates: vec![plate(0.0), plate(410.0)],
        bay_from_source: BayFromSource {
            metres_per_unit: 1e-3,
            rotation: Matrix3::new(1.0, 0.0, 0.0, 0.0, 0.0, 1.0, 0.0, -1.0, 0.0),
            origin: Vector3::zeros(),
        },
    }
}

/// Two empty seconds with an offset of 4 N, then a person of 600 N: 200 N and 400 N upward.
/// Channels are the force on the person in plate axes, z down.
fn block(first: u64) -> ForceBlock<'static> {
    let sample = |n: u64| {
        let stands = if n < 1000 { 0.0 } else { 1.0 };
        let hum = ((n * 37 % 100) as f32 - 50.0) * 0.02;
        let plate = move |up: f32| {
            [
                hum,
                0.0,
                -4.0 - up * stands + hum,
                0.0,
                10.0 * stands + 0.1 * hum,
                0.1 * hum,
            ]
        };
        [plate(200.0), plate(400.0)].concat()
    };
    ForceBlock {
        layout: 1,
        first_sample: first,
        time_ns: first as i64 * 2_000_000,
        channels: 12,
        values: (first..first + 10).flat_map(sample).map(Some).collect(),
    }
}

fn stream(blocks: impl Iterator<Item = ForceBlock<'static>>) -> Forces {
    let mut forces = Forces::new(layout(), 0);
    blocks.for_each(|b| forces.push(&b));
    forces
}

fn seconds(s: f64) -> i64 {
    (s * 1e9) as i64
}

#[test]
fn what_the_plates_read_now_is_the_mean_of_half_a_second_without_the_zero() {
    let now = stream((0..200).map(|n| block(n * 10))).now(true);
    for (plate, upward) in now.iter().zip([200.0, 400.0]) {
        let reads = plate.reads.unwrap();
        assert!((reads.force.y - upward).abs() < 0.2, "{plate:?}");
        // The hum is even over ±1 N: its standard deviation is 1 ÷ √3.
        assert!((reads.scatter_n - 0.577).abs() < 0.03, "{plate:?}");
        assert!(reads.stood_on);
        let zero = plate.zero.unwrap();
        assert!((zero.offset.force.y - 4.0).abs() < 0.1, "{zero:?}");
        assert!(zero.drift_n < 0.1);
        // The samples end at 3.998 s. Empty half seconds end at 0.498, 0.998, 1.498 and 1.998 s; zeros are kept
        // a second apart.
        assert!((zero.age_s - 2.5).abs() < 0.01, "{zero:?}");
    }
    // x = −My ÷ Fz (C3D user guide): 10 N m and −200 N; plate x is lab y, which is bay −Z, the middle at 0.3 m.
    let center = now[0].reads.unwrap().center.unwrap();
    assert!(
        (center.z + 0.35).abs() < 0.002 && (center.x - 0.2).abs() < 0.002,
        "{center}"
    );
    // Half way through the empty stretch there is no zero yet, and nobody.
    let early = stream((0..20).map(|n| block(n * 10))).now(true);
    assert!(
        early
            .iter()
            .all(|p| p.zero.is_none() && !p.reads.unwrap().stood_on)
    );
    let silent = stream((0..200).map(|n| block(n * 10))).now(false);
    assert!(silent.iter().all(|p| p.reads.is_none() && p.zero.is_some()));
}

/// A cable comes off the second plate after two seconds: its channels stand still, and it is said without
/// waiting for a swing; the first one and a plate that an exporter writes as 0 while empty are not dead.
#[test]
fn a_dead_plate_is_told_while_it_is_dead() {
    let off = |n: u64, value: f32| {
        let mut block = block(n * 10);
        for sample in block
            .values
            .to_mut()
            .chunks_exact_mut(12)
            .filter(|_| n >= 100)
        {
            sample[6..].fill(Some(value));
        }
        block
    };
    let told = |value: f32, blocks: u64| stream((0..blocks).map(|n| off(n, value))).remarks();
    assert_eq!(told(0.25, 130), Vec::<String>::new(), "not yet a second");
    let dead = told(0.25, 200);
    assert_eq!(dead.len(), 1, "{dead:?}");
    assert!(
        dead[0].contains("plate 2") && dead[0].contains("dead"),
        "{dead:?}"
    );
    assert_eq!(told(0.0, 300), Vec::<String>::new());
    assert_eq!(told(0.0, 1200).len(), 1);
}

#[test]
fn a_window_has_zeroed_reactions_in_the_bay() {
    let forces = stream((0..200).map(|n| block(n * 10)));
    let plates = forces.window(seconds(2.5), seconds(4.0), &Alignment::Shared);
    let ground = GroundWindow { plates };
    let vertical = |n: usize| ground.plates[n].at(seconds(3.0)).unwrap().1.force.y;
    assert!((vertical(0) - 200.0).abs() < 0.3, "{}", vertical(0));
    assert!((vertical(1) - 400.0).abs() < 0.3);
    let series = ground.plates[0].series.as_ref().unwrap();
    assert!((series.zero.unwrap().offset.force.z + 4.0).abs() < 0.1);
    assert!((series.rate_hz - RATE_HZ).abs() < 1e-6);
    assert_eq!(ground.notes(), Vec::<String>::new());
    let total = ground.total_at(seconds(3.0), LOAD_GATE_N).unwrap();
    assert!((total.force.y - 600.0).abs() < 0.5);
    // A floor plate alone: the general formula and that of plate axes are one.
    let (about, wrench) = ground.plates[0].at(seconds(3.0)).unwrap();
    let alone = crate::ground::wrench::total(&[(about, wrench)], LOAD_GATE_N);
    let plate = Plate::new(&layout().plates[0], &layout().bay_from_source).unwrap();
    let local = wrench.turned(&plate.bay_from_plate.transpose());
    let by_plate = pressure(&plate, &local, LOAD_GATE_N).unwrap();
    assert!((alone.center.unwrap() - by_plate.center).norm() < 1e-9);
    assert!((alone.vertical_moment.unwrap() - by_plate.free_moment).abs() < 1e-9);
    // Mirrored, everything is where a mirror shows it.
    let mirrored = ground
        .mirrored(Handed::Left)
        .total_at(seconds(3.0), LOAD_GATE_N)
        .unwrap();
    let center = total.center.unwrap();
    assert!((mirrored.center.unwrap() - Handed::Left.mirror_point(center)).norm() < 1e-9);
    assert!((mirrored.vertical_moment.unwrap() + total.vertical_moment.unwrap()).abs() < 1e-9);
}

#[test]
fn a_lost_block_is_bridged_and_a_longer_hole_is_not() {
    let blocks = (0..200).filter(|n| *n != 150 && !(160..165).contains(n));
    let forces = stream(blocks.map(|n| block(n * 10)));
    let window = &forces.window(seconds(2.5), seconds(4.0), &Alignment::Shared)[0];
    assert!(window.at(seconds(3.01)).is_ok());
    assert!(window.at(seconds(3.25)).is_err());
    let series = window.series.as_ref().unwrap();
    assert!(series.time_ns.windows(2).all(|t| t[1] - t[0] == 2_000_000));
}

#[test]
fn faults_of_a_plate_have_reasons_and_spare_the_other() {
    let spoil = |f: &dyn Fn(u64, &mut ForceBlock<'_>)| {
        let blocks = (0..200).map(|n| {
            let mut b = block(n * 10);
            f(n, &mut b);
            b
        });
        let forces = stream(blocks);
        let window = forces.window(seconds(2.5), seconds(4.0), &Alignment::Shared);
        assert!(window[1].series.is_ok());
        window[0].series.clone().unwrap_err()
    };
    let each = |b: &mut ForceBlock<'_>, f: &dyn Fn(usize, &mut Option<f32>)| {
        for sample in b.values.to_mut().chunks_mut(12) {
            sample[..6]
                .iter_mut()
                .enumerate()
                .for_each(|(c, v)| f(c, v));
        }
    };
    let dead = spoil(&|_, b| each(b, &|_, v| *v = Some(0.5)));
    assert!(dead.contains("plate 1") && dead.contains("dead"), "{dead}");
    let silent = spoil(&|_, b| each(b, &|_, v| *v = None));
    assert!(silent.contains("sent nothing"), "{silent}");
    let reversed = spoil(&|_, b| each(b, &|_, v| *v = v.map(|v| -v)));
    assert!(reversed.contains("turned round"), "{reversed}");
    let limit = spoil(&|n, b| {
        each(b, &|c, v| {
            if c == 2 && n > 150 && n < 165 {
                *v = Some(-999.0);
            }
        });
    });
    assert!(limit.contains("limit"), "{limit}");
}

#[test]
fn without_an_empty_stretch_nothing_is_taken_off_and_that_is_said() {
    let forces = stream((120..200).map(|n| block(n * 10)));
    let window = &forces.window(seconds(2.5), seconds(4.0), &Alignment::Shared)[0];
    assert!(window.series.as_ref().unwrap().zero.is_none());
    assert!(
        window.notes[0].contains("nothing was taken off"),
        "{:?}",
        window.notes
    );
    assert!((window.at(seconds(3.0)).unwrap().1.force.y - 204.0).abs() < 0.3);
}

#[test]
fn another_clock_moves_the_samples_by_its_line() {
    let line = |offset_ns: i64| Line {
        reference_ns: 0,
        offset_ns,
        drift: 0.0,
        uncertainty_ns: 3e5,
    };
    let alignment = Alignment::Fitted {
        from: line(5_000_000_000),
        to: line(1_000_000_000),
    };
    let forces = stream((0..200).map(|n| block(n * 10)));
    // What the plates call 3 s happened at 7 s of the markers' clock.
    let window = &forces.window(seconds(5.9), seconds(8.0), &alignment)[0];
    let steps = |s: f64| window.at(seconds(s)).unwrap().1.force.y;
    assert!(steps(5.95) < 1.0 && (steps(6.1) - 200.0).abs() < 1.0);
    assert!((alignment.uncertainty_s() - 3e-4 * 2f64.sqrt()).abs() < 1e-9);
}

#[test]
fn memory_is_bounded_and_a_jump_begins_anew() {
    let mut forces = stream((0..1000).map(|n| block(n * 10)));
    assert_eq!(forces.kept(), 5001);
    let mut ahead = block(0);
    ahead.first_sample = 1 << 60;
    forces.push(&ahead);
    assert_eq!(forces.kept(), 10);
    let mut misfit = block(0);
    misfit.channels = 6;
    forces.push(&misfit);
    assert_eq!(forces.kept(), 10);
    let told = forces.remarks();
    assert!(
        told.iter().any(|r| r.contains("another number")),
        "{told:?}"
    );
}
