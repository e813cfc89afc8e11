//! What must not change a metric: where the bay stands, how its axes lie, the unit of the sender,
//! the side of the golfer; and what time run backward must turn round.
//!
//! Positions cross the wire in single precision (half a micrometre at five metres), so a take moved
//! and written anew differs by rounding; what is compared without the wire is held far closer.

use std::collections::BTreeMap;

use analysis::context::Context;
use analysis::forward::{CaptureParams, GolferParams, swing};
use analysis::frame::CaptureFrame;
use analysis::handed::Handed;
use analysis::landmark::Landmark;
use analysis::measure::{Measured, measure};
use analysis::metrics::catalogue;
use analysis::signal::lowpass::DualPass;
use analysis::window::Window;
use daemon::map::MarkerMap;
use daemon::offline::read_c3d;
use daemon::{feed, outgoing, synthetic};
use nalgebra::{Matrix3, Point3, Rotation3, Vector3};
use protocol::c3d::C3d;
use protocol::report::Measurement;

use crate::support::{analyzed, data};

const RATE_HZ: f64 = 360.0;
/// What the rounding of positions may do to a number, in the units of reports.
const ROUNDED: f64 = 1e-4;
/// The same to the instant of a flat hump or turning point, milliseconds.
const ROUNDED_MS: f64 = 5e-3;

/// A take with its map, the slot near impact where it has one.
struct Case {
    name: &'static str,
    take: C3d,
    map: fn() -> MarkerMap,
}

fn whin_32() -> MarkerMap {
    MarkerMap::load("whin_32").unwrap()
}

fn club_led() -> MarkerMap {
    MarkerMap::load("club_led").unwrap()
}

fn golfer(seed: u64, handed: Handed) -> analysis::forward::Take {
    let capture = CaptureParams {
        rate_hz: RATE_HZ,
        noise_m: 0.0005,
        dropout: 0.005,
        wobble: true,
        plates: None,
    };
    let params = GolferParams {
        handed,
        ..GolferParams::from_seed(seed)
    };
    swing(&params, &capture)
}

fn cases() -> Vec<Case> {
    let synthetic = |name, seed, handed| Case {
        name,
        take: synthetic::c3d(&golfer(seed, handed), &whin_32()),
        map: whin_32,
    };
    let mut all = vec![
        synthetic("right-handed golfer", 4, Handed::Right),
        synthetic("left-handed golfer", 5, Handed::Left),
    ];
    if let Some(folder) = data() {
        all.push(Case {
            name: "real take",
            take: read_c3d(&folder.join("golf_club_107hz.c3d")).unwrap(),
            map: club_led,
        });
    }
    all
}

fn report(take: &C3d, map: MarkerMap) -> Measurement {
    let found = analyzed(take, map);
    assert_eq!(found.swings.len(), 1, "{:?}", found.remarks);
    outgoing::measurement(&found.swings[0])
}

/// Every event and metric of two reports: measured in both within the tolerance, or missing in both
/// for the same reason. Differences are in the units of reports, relative above 1; instants of flat
/// humps and turning points (milliseconds) move more than anything else for a rounded position.
fn same(what: &str, a: &Measurement, b: &Measurement) {
    let mut worst = (0.0, String::new());
    let mut compared = 0;
    let mut both = |id: &str, a: Option<f64>, b: Option<f64>, allowed: f64| match (a, b) {
        (Some(a), Some(b)) => {
            compared += 1;
            let apart = (a - b).abs() / a.abs().max(1.0) / allowed;
            if apart > worst.0 {
                worst = (apart, format!("{id}: {a} and {b}"));
            }
        }
        (a, b) => assert_eq!(a, b, "{what}: {id} is measured in one only"),
    };
    for (name, event) in &a.events {
        both(name, event.time_s, b.events[name].time_s, ROUNDED);
    }
    for (id, metric) in &a.metrics {
        let allowed = if metric.unit == "ms" {
            ROUNDED_MS
        } else {
            ROUNDED
        };
        both(id, metric.value, b.metrics[id].value, allowed);
        assert_eq!(metric.reason, b.metrics[id].reason, "{what}: {id}");
    }
    println!(
        "{what}: {compared} numbers, worst {:.2} of what is allowed ({})",
        worst.0, worst.1
    );
    assert!(compared > 25, "{what}: only {compared} numbers");
    assert!(worst.0 <= 1.0, "{what}: {}", worst.1);
    assert_eq!((&a.kind, &a.handed), (&b.kind, &b.handed), "{what}");
}

/// The same of two measured swings, in double precision (SI, radians; relative above 1).
fn same_inside(what: &str, a: &Measured, b: &Measured, tolerance: f64) {
    let mut compared = 0;
    let mut worst: f64 = 0.0;
    for index in 0..catalogue::len() {
        match (a.values.get(index).number(), b.values.get(index).number()) {
            (Some(x), Some(y)) => {
                compared += 1;
                let apart = (x - y).abs() / x.abs().max(1.0);
                assert!(apart <= tolerance, "{what}, index {index}: {x} and {y}");
                worst = worst.max(apart);
            }
            (x, y) => assert_eq!(x, y, "{what}: index {index} is measured in one only"),
        }
    }
    println!("{what}: {compared} values in double precision, worst {worst:.1e}");
    assert!(compared > 25, "{what}: only {compared} values");
    assert_eq!(a.kind, b.kind, "{what}");
}

/// The take in other axes: `p → turn·p + shift` (file's units), and the map told so.
fn moved(case: &Case, turn: &Matrix3<f64>, shift: Vector3<f64>) -> (C3d, MarkerMap) {
    let mut take = case.take.clone();
    for marker in take.frames.iter_mut().flatten().flatten() {
        let p = turn * Vector3::from(marker.position.map(f64::from)) + shift;
        marker.position = [p.x, p.y, p.z].map(|v| v as f32);
    }
    let mut map = (case.map)();
    let origin = map.origin.unwrap_or_default();
    map.origin = Some(turn * origin + shift);
    map.rotation = map.rotation.map(|r| r * turn.transpose());
    (take, map)
}

/// The whole bay turned about the vertical, moved, tilted into other axes: the same report. The
/// target direction and the ball move with the map.
#[test]
fn a_bay_may_stand_anywhere() {
    for case in cases() {
        let still = report(&case.take, (case.map)());
        let up = (case.map)().rotation.unwrap().row(1).transpose();
        let about_up = Rotation3::new(up * 0.65);
        let any = Rotation3::from_euler_angles(0.4, -1.1, 2.0);
        for (what, turn) in [("turned", about_up), ("other axes", any)] {
            let shift = Vector3::new(700.0, -400.0, 900.0);
            let (take, map) = moved(&case, turn.matrix(), shift);
            same(
                &format!("{} {what}", case.name),
                &still,
                &report(&take, map),
            );
        }
    }
}

/// The check above would notice: a map that is not told of the turn gives other numbers.
#[test]
fn a_turned_bay_without_its_map_is_noticed() {
    let case = &cases()[0];
    let still = report(&case.take, (case.map)());
    let turn = Rotation3::new(Vector3::y() * 0.05);
    let (take, _) = moved(case, turn.matrix(), Vector3::zeros());
    let other = report(&take, (case.map)());
    let turned = |m: &Measurement| m.metrics["pelvis_rotation@top"].value.unwrap();
    let by = turned(&other) - turned(&still);
    assert!((by - 0.05_f64.to_degrees()).abs() < 0.2, "{by}");
}

/// The same take in metres, in centimetres.
#[test]
fn the_senders_unit_does_not_matter() {
    for case in cases() {
        let still = report(&case.take, (case.map)());
        for (unit, per_mm) in [("m", 1e-3), ("cm", 0.1)] {
            let mut take = case.take.clone();
            take.units = unit.into();
            for marker in take.frames.iter_mut().flatten().flatten() {
                marker.position = marker.position.map(|v| (f64::from(v) * per_mm) as f32);
            }
            let what = format!("{} in {unit}", case.name);
            same(&what, &still, &report(&take, (case.map)()));
        }
    }
}

/// A window in double precision, straight from points.
fn window(landmarks: &[Landmark], rate_hz: f64, points: &[Vec<Option<Point3<f64>>>]) -> Window {
    let mut order: Vec<usize> = (0..landmarks.len()).collect();
    order.sort_by_key(|&i| landmarks[i]);
    let sorted: Vec<_> = order.iter().map(|&i| landmarks[i]).collect();
    let frames: Vec<_> = points
        .iter()
        .enumerate()
        .map(|(n, row)| CaptureFrame {
            number: n as u64,
            time_ns: feed::time_ns(n, rate_hz),
            points: order.iter().map(|&i| row[i]).collect(),
        })
        .collect();
    Window::new(frames.iter(), &sorted, rate_hz).unwrap()
}

/// The frames up to 1.3 s after impact of a synthetic take.
fn until_finish(take: &analysis::forward::Take) -> (usize, &[Vec<Option<Point3<f64>>>]) {
    let impact = (take.truth.event("impact").unwrap() * take.rate_hz) as usize;
    let end = (impact + (1.3 * take.rate_hz) as usize).min(take.frames.len());
    (impact, &take.frames[..end])
}

fn measured(
    landmarks: &[Landmark],
    points: &[Vec<Option<Point3<f64>>>],
    (near, rate_hz): (usize, f64),
    ball: Option<Point3<f64>>,
) -> Measured {
    let window = window(landmarks, rate_hz, points);
    measure(&window, near, ball, &Context::default())
        .unwrap_or_else(|why| panic!("{}", why.words()))
}

fn mapped(
    points: &[Vec<Option<Point3<f64>>>],
    f: impl Fn(Point3<f64>) -> Point3<f64>,
) -> Vec<Vec<Option<Point3<f64>>>> {
    points
        .iter()
        .map(|row| row.iter().map(|p| p.map(&f)).collect())
        .collect()
}

/// The bay slid along its floor with its ball, in double precision: the same to 1e-6.
#[test]
fn a_slid_bay_measures_the_same() {
    for (seed, handed) in [(4, Handed::Right), (5, Handed::Left)] {
        let take = golfer(seed, handed);
        let (near, points) = until_finish(&take);
        let ball = whin_32().ball;
        let slide = Vector3::new(1.7, 0.0, -0.9);
        let here = measured(&take.landmarks, points, (near, RATE_HZ), ball);
        let slid = mapped(points, |p| p + slide);
        let there = measured(
            &take.landmarks,
            &slid,
            (near, RATE_HZ),
            ball.map(|b| b + slide),
        );
        same_inside("slid", &here, &there, 1e-6);
    }
}

/// The mirror image of a take (positions mirrored in Z, left and right exchanged) is the same swing
/// of a golfer of the other side: every metric to 1e-9, synthetic and real.
#[test]
fn a_mirror_image_measures_the_same() {
    let mirrored = |what: &str,
                    landmarks: &[Landmark],
                    points: &[Vec<Option<Point3<f64>>>],
                    at: (usize, f64),
                    ball: Option<Point3<f64>>| {
        let original = measured(landmarks, points, at, ball);
        let others: Vec<_> = landmarks.iter().map(|l| l.opposite()).collect();
        let image = mapped(points, |p| Point3::new(p.x, p.y, -p.z));
        let ball = ball.map(|b| Point3::new(b.x, b.y, -b.z));
        let image = measured(&others, &image, at, ball);
        assert_ne!(original.prepared.handed, image.prepared.handed, "{what}");
        same_inside(what, &original, &image, 1e-9);
    };
    for (seed, handed) in [(4, Handed::Right), (7, Handed::Left)] {
        let take = golfer(seed, handed);
        let (near, points) = until_finish(&take);
        mirrored(
            "golfer's mirror image",
            &take.landmarks,
            points,
            (near, RATE_HZ),
            whin_32().ball,
        );
    }
    let Some(folder) = data() else { return };
    let take = read_c3d(&folder.join("golf_club_107hz.c3d")).unwrap();
    let (landmarks, points) = in_the_bay(&take, &club_led());
    // The head's fastest frame, read by hand (frame 319 of the recording).
    mirrored(
        "real take's mirror image",
        &landmarks,
        &points,
        (319, take.rate_hz),
        None,
    );
}

/// The points of one instant.
type Frame = Vec<Option<Point3<f64>>>;

/// Landmarks and points of a file in the bay's axes, metres.
fn in_the_bay(take: &C3d, map: &MarkerMap) -> (Vec<Landmark>, Vec<Frame>) {
    let turn = map.rotation.unwrap();
    let columns: Vec<_> = take
        .labels
        .iter()
        .enumerate()
        .filter_map(|(i, l)| Some((i, map.landmark(l)?)))
        .collect();
    let point = |p: [f32; 3]| Point3::from(turn * Vector3::from(p.map(f64::from)) * 1e-3);
    let rows = take.frames.iter().map(|frame| {
        let row = columns
            .iter()
            .map(|&(i, _)| frame[i].map(|m| point(m.position)));
        row.collect()
    });
    (columns.iter().map(|c| c.1).collect(), rows.collect())
}

/// A filter without delay knows no direction of time: the film run backward and filtered is the
/// filtered film run backward. Exactly so away from the ends; at the ends, where each pass starts in
/// its own steady state, within 1e-4 of the signal.
#[test]
fn the_filter_knows_no_direction_of_time() {
    let series: Vec<f64> = (0..720)
        .map(|i| f64::from(i) / RATE_HZ)
        .map(|t| (9.0 * t).sin() + 0.2 * (77.0 * t).cos() - 0.5 * t * t + 0.002 * (911.0 * t).sin())
        .collect();
    let backward: Vec<f64> = series.iter().rev().copied().collect();
    for cutoff in [8.0, 15.0, 40.0] {
        let filter = DualPass::butterworth(RATE_HZ, cutoff);
        let a = filter.run(&series, 90);
        let mut b = filter.run(&backward, 90);
        b.reverse();
        let apart: Vec<f64> = a.iter().zip(&b).map(|(a, b)| (a - b).abs()).collect();
        let worst = |of: &[f64]| of.iter().fold(0.0, |m: f64, x| m.max(*x));
        println!(
            "{cutoff} Hz: middle {:.1e}, ends {:.1e}",
            worst(&apart[240..480]),
            worst(&apart)
        );
        assert!(worst(&apart[240..480]) < 1e-9, "{cutoff} Hz");
        assert!(worst(&apart) < 1e-4, "{cutoff} Hz");
    }
}

/// Ranges that flag, never judge: the workable gates for a swing (own) and, as a word only, published
/// ranges (Burden 1998, McTeigue 1994, Zheng 2008, Sorbie 2017: small samples, angles that depend on
/// the method). The synthetic golfer must pass the gates in every style; so must the real take in
/// what its markers reach.
#[test]
fn values_are_plausible() {
    let gates: &[(&str, f64, f64)] = &[
        ("backswing_time", 0.4, 2.0),
        ("downswing_time", 0.15, 0.6),
        ("thorax_rotation@top", -130.0, -30.0),
        ("pelvis_rotation@top", -90.0, -10.0),
        ("separation_peak", 5.0, 90.0),
        ("head_speed@impact", 8.0, 65.0),
        ("angular_speed_peak.club", 300.0, 3500.0),
        ("angular_speed_peak.thorax", 100.0, 1200.0),
    ];
    let published: &[(&str, f64, f64)] = &[
        ("backswing_time", 0.7, 1.1),
        ("downswing_time", 0.23, 0.35),
        ("pelvis_rotation@top", -60.0, -35.0),
        ("thorax_rotation@top", -110.0, -60.0),
        ("separation_peak", 30.0, 62.0),
        ("knee_flexion.lead@address", 15.0, 30.0),
    ];
    let mut all: Vec<(String, Measurement)> = (0..8)
        .map(|seed| {
            let handed = if seed % 2 == 0 {
                Handed::Right
            } else {
                Handed::Left
            };
            let take = synthetic::c3d(&golfer(seed, handed), &whin_32());
            (format!("golfer {seed}"), report(&take, whin_32()))
        })
        .collect();
    if let Some(folder) = data() {
        let take = read_c3d(&folder.join("golf_club_107hz.c3d")).unwrap();
        all.push(("real take".into(), report(&take, club_led())));
    }
    let mut seen: BTreeMap<&str, usize> = BTreeMap::new();
    for (who, report) in &all {
        let number = |id: &str| report.metrics.get(id)?.value;
        for &(id, low, high) in gates {
            let Some(value) = number(id) else { continue };
            *seen.entry(id).or_default() += 1;
            assert!((low..=high).contains(&value), "{who}: {id} = {value}");
        }
        for &(id, low, high) in published {
            if let Some(value) = number(id).filter(|v| !(low..=high).contains(v)) {
                println!("{who}: {id} = {value:.3} lies outside the published {low} to {high}");
            }
        }
    }
    println!("{seen:?}");
    for id in [
        "backswing_time",
        "downswing_time",
        "pelvis_rotation@top",
        "head_speed@impact",
    ] {
        assert!(seen.get(id).is_some_and(|n| *n >= 8), "{id} was compared");
    }
}

/// A lesson's seconds in another time, another rate or a mirror are the same movements: kinds, and events
/// within what lies between two frames. Kinds and impacts against the golfer's own truth are judged in
/// `lessons`.
#[test]
fn time_rate_and_mirror_change_no_kind() {
    use analysis::forward::Ball;
    use analysis::swing::kind::Kind;
    let take = |ball, handed, rate_hz| {
        let capture = CaptureParams {
            rate_hz,
            noise_m: 0.0003,
            dropout: 0.0,
            wobble: false,
            plates: None,
        };
        let params = GolferParams {
            handed,
            ball,
            ..GolferParams::from_seed(8)
        };
        swing(&params, &capture)
    };
    let ball = whin_32().ball;
    for (struck, kind) in [
        (Ball::Centered, Kind::Shot),
        (Ball::Missed, Kind::Rehearsal),
    ] {
        let of = |handed, rate_hz: f64| {
            let take = take(struck, handed, rate_hz);
            let (near, points) = until_finish(&take);
            measured(&take.landmarks, points, (near, rate_hz), ball)
        };
        let seconds = |m: &Measured, event| {
            let slot = m.prepared.swing.slots.get(event).unwrap();
            m.prepared.window.seconds(slot)
        };
        let still = of(Handed::Right, 360.0);
        assert_eq!(still.kind, kind);
        for other in [
            of(Handed::Left, 360.0),
            of(Handed::Right, 240.0),
            of(Handed::Right, 500.0),
            of(Handed::Left, 1000.0),
        ] {
            assert_eq!(other.kind, kind);
            for &event in analysis::swing::event::Event::ALL {
                let off = seconds(&still, event) - seconds(&other, event);
                // A threshold in a slow movement moves with its noise; the rest within half a frame.
                let slow = [
                    analysis::swing::event::Event::Address,
                    analysis::swing::event::Event::TakeawayStart,
                    analysis::swing::event::Event::Finish,
                ];
                let allowed = if slow.contains(&event) { 0.02 } else { 0.0021 };
                assert!(off.abs() < allowed, "{event:?}: {off}");
            }
        }
        // The same frames at another time of day.
        let take = take(struck, Handed::Right, 360.0);
        let (near, points) = until_finish(&take);
        let mut late = window(&take.landmarks, 360.0, points);
        let day_ns = 86_400_000_000_000;
        late.time_ns.iter_mut().for_each(|t| *t += day_ns);
        let late = measure(&late, near, ball, &Context::default()).unwrap();
        assert_eq!(late.kind, kind);
        assert_eq!(late.prepared.swing, still.prepared.swing);
        same_inside("another time of day", &late, &still, 1e-6);
    }
}
