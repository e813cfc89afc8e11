//! A body of known mass that hops on two plates: forces by Newton, faults put in on purpose.

use nalgebra::center;

use super::*;
use crate::clock::Alignment;
use crate::ground::window::PlateWindow;

const RATE_HZ: f64 = 250.0;
const MASS_KG: f64 = 75.0;
const SECONDS: f64 = 1.2;
const CENTERS: [Point3<f64>; 2] = [Point3::new(-0.2, 0.0, -0.8), Point3::new(0.2, 0.0, -0.8)];

/// A point mass that moves along smooth curves: place and acceleration.
fn moving(t: f64) -> (Point3<f64>, Vector3<f64>) {
    let wave = |size: f64, hz: f64, phase: f64| {
        let (w, angle) = (
            std::f64::consts::TAU * hz,
            std::f64::consts::TAU * hz * t + phase,
        );
        (size * angle.sin(), -size * w * w * angle.sin())
    };
    let (x, y, z) = (
        wave(0.05, 1.3, 0.2),
        wave(0.02, 2.2, 1.0),
        wave(0.02, 1.7, 2.0),
    );
    let place = Point3::new(x.0, 0.95 + y.0, -0.8 + z.0);
    (place, Vector3::new(x.1, y.1, z.1))
}

fn motion(told: bool) -> Motion {
    let times: Vec<f64> = (0..=(SECONDS * RATE_HZ) as usize)
        .map(|i| i as f64 / RATE_HZ)
        .collect();
    let about = center(&CENTERS[0], &CENTERS[1]);
    let angular = |t: &f64| {
        let velocity = (moving(t + 1e-5).0 - moving(t - 1e-5).0) / 2e-5;
        (moving(*t).0 - about).cross(&velocity) * MASS_KG
    };
    Motion {
        rate_hz: RATE_HZ,
        time_ns: times.iter().map(|t| (t * 1e9).round() as i64).collect(),
        start: 20,
        center: times.iter().map(|t| moving(*t).0).collect(),
        mass_kg: MASS_KG,
        angular: times.iter().map(angular).collect(),
        about,
        weight_n: MASS_KG * GRAVITY,
        told,
    }
}

/// What a plate truly carries: a share that shifts between the feet, at a place that wanders a little,
/// so that both together have no moment about the mass center (a point mass has no other momentum).
fn carried(t: f64, plate: usize) -> Wrench {
    let (place, acceleration) = moving(t);
    let force = (acceleration + Vector3::y() * GRAVITY) * MASS_KG;
    // Where the force's line meets the floor.
    let common = place - force * (place.y / force.y);
    let lead = 0.5 + 0.35 * (4.0 * t).sin();
    let share = [1.0 - lead, lead][plate];
    let middle = CENTERS[0].coords * (1.0 - lead) + CENTERS[1].coords * lead;
    let off = common.coords - middle;
    // The feet also push apart, which no sum shows.
    let apart = Vector3::new([-30.0, 30.0][plate], 0.0, 0.0);
    Wrench {
        force: force * share + apart,
        moment: off.cross(&(force * share)),
    }
}

/// The two plates, each sample changed and each plate late by so much.
fn plates(change: impl Fn(usize, Wrench) -> Wrench, late_s: [f64; 2]) -> GroundWindow {
    let times: Vec<f64> = (-100..=1400).map(|i| f64::from(i) * 1e-3).collect();
    let plate = |n: usize| PlateWindow {
        name: format!("plate {}", n + 1),
        surface: Some(Surface {
            center: CENTERS[n],
            along: [Vector3::x(), -Vector3::z()],
            half: [0.2, 0.3],
        }),
        series: Ok(Reactions {
            rate_hz: 1000.0,
            time_ns: times
                .iter()
                .map(|t| ((t + late_s[n]) * 1e9).round() as i64)
                .collect(),
            wrenches: times
                .iter()
                .map(|t| Some(change(n, carried(*t, n))))
                .collect(),
            sharp: Vec::new(),
            zero: None,
            noise: Wrench::default(),
        }),
        alignment: Alignment::Shared,
        notes: Vec::new(),
    };
    GroundWindow {
        plates: vec![plate(0), plate(1)],
    }
}

fn same(_: usize, wrench: Wrench) -> Wrench {
    wrench
}

/// Newton's law holds to a thousandth of a body weight: 1 ms steps of the plates, central differences.
#[test]
fn a_healthy_rig_leaves_nothing_over() {
    let found = audit(&plates(same, [0.0; 2]), &motion(true)).unwrap();
    assert!(found.residual < 1e-3 && found.moment < 1e-3, "{found:?}");
    assert!(found.lag_s.abs() < 2e-4, "{found:?}");
    assert!(found.fault.is_none() && found.findings.is_empty());
}

/// A body that falls freely needs nothing of the ground: all of the plates' force is left over.
#[test]
fn a_falling_body_needs_no_force() {
    let mut falling = motion(true);
    let times = (0..falling.center.len()).map(|i| i as f64 / RATE_HZ);
    let about = falling.about;
    let fallen = times.map(|t| Point3::new(about.x, 3.0 - 0.5 * GRAVITY * t * t, about.z));
    falling.center = fallen.collect();
    falling.angular.fill(Vector3::zeros());
    let nothing = |_: usize, _: Wrench| Wrench::default();
    let found = audit(&plates(nothing, [0.0; 2]), &falling).unwrap();
    assert!(found.residual < 1e-9 && found.moment < 1e-9, "{found:?}");
    let weight = |_: usize, _: Wrench| Wrench {
        force: Vector3::y() * (0.5 * MASS_KG * GRAVITY),
        moment: Vector3::zeros(),
    };
    let found = audit(&plates(weight, [0.0; 2]), &falling).unwrap();
    assert!((found.residual - 1.0).abs() < 1e-9, "{found:?}");
}

#[test]
fn each_fault_is_named_with_what_to_do() {
    let x_off = |n: usize, mut w: Wrench| {
        if n == 1 {
            (w.force.x, w.moment.y, w.moment.z) = (-w.force.x, -w.moment.y, -w.moment.z);
        }
        w
    };
    let z_channel = |n: usize, mut w: Wrench| {
        if n == 0 {
            w.force.z = -w.force.z;
        }
        w
    };
    let heavy = |n: usize, w: Wrench| Wrench {
        force: w.force * [1.0, 1.2][n],
        moment: w.moment * [1.0, 1.2][n],
    };
    let not_zeroed = |n: usize, mut w: Wrench| {
        w.force.y += [60.0, 0.0][n];
        w
    };
    let mut swapped = plates(same, [0.0; 2]);
    let [a, b] = &mut swapped.plates[..] else {
        panic!("two plates")
    };
    std::mem::swap(&mut a.series, &mut b.series);
    let turned = |n: usize, mut w: Wrench| {
        if n == 0 {
            (w.force.x, w.force.z) = (-w.force.x, -w.force.z);
            (w.moment.x, w.moment.z) = (-w.moment.x, -w.moment.z);
        }
        w
    };
    let cases = [
        (swapped, "Plate 1 and plate 2 look exchanged"),
        (plates(turned, [0.0; 2]), "Plate 1 looks turned half round"),
        (
            plates(x_off, [0.0; 2]),
            "The X axis of plate 2 looks reversed",
        ),
        (
            plates(z_channel, [0.0; 2]),
            "The Y axis of plate 1 looks reversed",
        ),
        (plates(heavy, [0.0; 2]), "Plate 2 reads 20 % too much"),
        (
            plates(not_zeroed, [0.0; 2]),
            "Plate 1 reads 60 N that nobody puts on it",
        ),
        (plates(same, [0.0, 0.024]), "Plate 2 is about 24 ms late"),
        (
            plates(same, [0.03; 2]),
            "The force plates are about 30 ms late",
        ),
    ];
    for (ground, words) in cases {
        let found = audit(&ground, &motion(true)).unwrap();
        assert!(found.findings[0].starts_with(words), "{words}: {found:?}");
        assert!(found.findings[0].contains(": "), "what to do");
    }
}

/// Nobody can tell which of two plates is right while the body's mass is their own reading.
#[test]
fn without_a_told_mass_a_gain_is_one_of_two_plates() {
    let heavy = |n: usize, w: Wrench| Wrench {
        force: w.force * [1.0, 1.3][n],
        moment: w.moment * [1.0, 1.3][n],
    };
    let found = audit(&plates(heavy, [0.0; 2]), &motion(false)).unwrap();
    assert!(matches!(found.fault, Some(Fault::Gain(..))), "{found:?}");
    assert!(found.findings[0].contains("tell the golfer's mass"));
}

#[test]
fn a_plate_that_sent_nothing_is_named() {
    let mut ground = plates(same, [0.0; 2]);
    ground.plates[1].series = Err("plate 2: it is dead".into());
    assert_eq!(
        audit(&ground, &motion(true)),
        Err("plate 2: it is dead".into())
    );
    ground.plates.clear();
    assert!(audit(&ground, &motion(true)).is_err());
}
