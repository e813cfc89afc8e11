//! Force plates against the motion: the golfer on two plates, healthy and with one fault put in on
//! purpose. Does the audit name it, and does it say nothing of a healthy rig?
//!
//! Used by a small sample here and by the long campaign (`bash tests/long/audit`).

use std::collections::BTreeMap;

use analysis::forward::{CaptureParams, PlateParams, swing};
use analysis::ground::audit::{Audit, Axis, Fault};
use analysis::ground::window::GroundWindow;
use analysis::ground::wrench::Wrench;
use analysis::measure::{Beside, measure_beside};
use nalgebra::Vector3;

use crate::accuracy::{self, BALL, Conditions, footing};

/// What the audit made of a rig.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Verdict {
    /// As it is.
    Right,
    /// It said nothing of a fault.
    Silent,
    /// It named another fault.
    Wrong(String),
}

/// One golfer.
#[derive(Debug, Clone)]
pub(crate) struct Judged {
    /// Rig → verdict.
    pub(crate) verdicts: BTreeMap<&'static str, Verdict>,
    /// Of the healthy rig: residual in body weights, and lag in seconds.
    pub(crate) residual: f64,
    pub(crate) lag_s: f64,
}

type Right = Box<dyn Fn(&Fault) -> bool>;

/// A rig, and which fault is the right one; `None` for a healthy rig.
type Rig = (&'static str, GroundWindow, Option<Right>);

/// Measures one golfer on every rig.
pub(crate) fn judge(seed: u64, capture: &CaptureParams) -> Judged {
    let conditions = Conditions {
        capture: capture.clone(),
        ..Conditions::usual()
    };
    let params = accuracy::params(seed);
    let capture = CaptureParams {
        plates: Some(PlateParams::USUAL),
        ..capture.clone()
    };
    let take = swing(&params, &capture);
    let (window, near) = accuracy::swing_window(&take);
    let context = accuracy::context(&params, &take.truth.facts, &conditions);
    let healthy = footing::plates(&take).expect("plates");
    let audit = |ground: &GroundWindow| -> Audit {
        let beside = Beside {
            ground: Some(ground),
            ..Beside::default()
        };
        let measured = measure_beside(&window, near, Some(BALL), (&context, beside));
        let measured = measured.unwrap_or_else(|why| panic!("seed {seed}: {}", why.words()));
        measured.audit.expect("an audit")
    };
    let found = audit(&healthy);
    let plate = (seed / 2 % 2) as usize;
    let verdict = |(name, ground, right): Rig| {
        let fault = audit(&ground).fault;
        let verdict = match (fault, right) {
            (None, None) => Verdict::Right,
            (Some(fault), Some(right)) if right(&fault) => Verdict::Right,
            (None, Some(_)) => Verdict::Silent,
            (Some(fault), _) => Verdict::Wrong(format!("{fault:?}")),
        };
        (name, verdict)
    };
    Judged {
        verdicts: rigs(healthy, plate).into_iter().map(verdict).collect(),
        residual: found.residual,
        lag_s: found.lag_s,
    }
}

/// The healthy rig, and one for each fault of a plate or of both. The plates' x is the bay's X, their y
/// its Z.
fn rigs(healthy: GroundWindow, plate: usize) -> Vec<Rig> {
    let with = |change: fn(&mut Wrench)| changed(&healthy, plate, change);
    let mut swapped = healthy.clone();
    let other = swapped.plates[1].series.clone();
    let first = std::mem::replace(&mut swapped.plates[0].series, other);
    swapped.plates[1].series = first;
    let is = |fault: Fault| -> Option<Right> { Some(Box::new(move |f| *f == fault)) };
    let mut rigs = of_size(&healthy, plate);
    rigs.extend([
        (
            "channel of X reversed",
            with(|w| w.force.x = -w.force.x),
            is(Fault::Reversed(plate, Axis::X)),
        ),
        (
            "channel of Y reversed",
            with(|w| w.force.z = -w.force.z),
            is(Fault::Reversed(plate, Axis::Y)),
        ),
        (
            "axis X reversed",
            with(|w| *w = mirrored(*w, 0)),
            is(Fault::Reversed(plate, Axis::X)),
        ),
        (
            "axis Y reversed",
            with(|w| *w = mirrored(*w, 2)),
            is(Fault::Reversed(plate, Axis::Y)),
        ),
        (
            "turned half round",
            with(|w| *w = mirrored(mirrored(*w, 0), 2)),
            is(Fault::Turned(plate)),
        ),
        ("exchanged", swapped, is(Fault::Swapped(0, 1))),
        ("healthy", healthy, None),
    ]);
    rigs
}

fn changed(healthy: &GroundWindow, plate: usize, change: fn(&mut Wrench)) -> GroundWindow {
    let mut ground = healthy.clone();
    let series = ground.plates[plate].series.as_mut().expect("a plate");
    series.wrenches.iter_mut().flatten().for_each(change);
    ground
}

/// Faults that have a size: delays, gain, offset.
fn of_size(healthy: &GroundWindow, plate: usize) -> Vec<Rig> {
    let with = |change: fn(&mut Wrench)| changed(healthy, plate, change);
    let late = |plates: &[usize]| {
        let mut ground = healthy.clone();
        for &n in plates {
            let series = ground.plates[n].series.as_mut().expect("a plate");
            series.time_ns.iter_mut().for_each(|t| *t += 20_000_000);
        }
        ground
    };
    let by = |found: f64, put_in: f64, within: f64| (found - put_in).abs() < within;
    vec![
        (
            "one plate 20 ms late",
            late(&[plate]),
            Some(Box::new(
                move |f| matches!(f, Fault::Late(n, s) if *n == plate && by(*s, 0.020, 0.006)),
            )),
        ),
        (
            "both 20 ms late",
            late(&[0, 1]),
            Some(Box::new(
                move |f| matches!(f, Fault::AllLate(s) if by(*s, 0.020, 0.004)),
            )),
        ),
        (
            "gain 10 % too large",
            with(|w| (w.force, w.moment) = (w.force * 1.10, w.moment * 1.15)),
            Some(Box::new(
                move |f| matches!(f, Fault::Gain(n, g) if *n == plate && by(*g, 1.10, 0.05)),
            )),
        ),
        (
            "60 N not zeroed",
            with(|w| w.force.y += 60.0),
            Some(Box::new(
                move |f| matches!(f, Fault::Offset(n, o) if *n == plate && by(o[1], 60.0, 15.0)),
            )),
        ),
    ]
}

/// Seen in a mirror across one axis: a moment mirrors as an axial vector does.
fn mirrored(wrench: Wrench, axis: usize) -> Wrench {
    let flip = |v: Vector3<f64>| {
        let mut v = v;
        v[axis] = -v[axis];
        v
    };
    Wrench {
        force: flip(wrench.force),
        moment: -flip(wrench.moment),
    }
}

/// Every fault is named in nearly all golfers, nothing is said of a healthy rig; lag within 4 ms. Over
/// more golfers: `bash tests/long/audit`.
#[cfg(test)]
#[test]
fn faults_of_a_rig_are_named_and_a_healthy_one_is_left_alone() {
    let capture = Conditions::usual().capture;
    let judged: Vec<Judged> = (0..20).map(|seed| judge(seed, &capture)).collect();
    let mut right: BTreeMap<&str, usize> = BTreeMap::new();
    for (seed, golfer) in judged.iter().enumerate() {
        assert!(
            golfer.lag_s.abs() < 0.004 && golfer.residual < 0.03,
            "{golfer:?}"
        );
        for (name, verdict) in &golfer.verdicts {
            if *verdict == Verdict::Right {
                *right.entry(name).or_default() += 1;
            } else {
                println!("{seed}, {name}: {verdict:?}");
            }
        }
    }
    println!("{right:?}");
    assert_eq!(right["healthy"], 20);
    assert!(
        right.len() == 11 && right.values().all(|n| *n >= 19),
        "{right:?}"
    );
}
