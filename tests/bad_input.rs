//! What can go wrong with a capture, on the synthetic golfer who knows the truth: every metric of the
//! catalogue is near the truth or not measured with a reason, never a confident wrong number.
//!
//! A value that carries `limited` may be farther off than one that does not.

use analysis::context::Context;
use analysis::forward::{CaptureParams, GolferParams, calibration_trial, swing};
use daemon::context;
use daemon::map::MarkerMap;
use daemon::offline::Offline;
use daemon::{feed, outgoing, synthetic};
use protocol::c3d::C3d;
use protocol::report::Measurement;
use protocol::wire::{self, Body};

use crate::support::{analyzed, analyzed_datagrams, analyzed_with, data, scratch};

const RATE_HZ: f64 = 360.0;
const SEED: u64 = 6;
const CLUB: [&str; 5] = ["CBU", "CSH", "CHE", "CTO", "CBA"];

/// What a family's value may be off without and with `limited`, units of reports; several times the
/// limits of `golfer` for clean takes. The first entry that fits counts.
const TOLERANCES: &[(&str, f64, f64)] = &[
    ("takeaway_start", 0.06, 0.06),
    ("backswing_time", 0.06, 0.1),
    ("downswing_time", 0.015, 0.03),
    ("tempo_ratio", 0.3, 0.5),
    ("knee_flexion", 10.0, 15.0),
    ("knee_change", 6.0, 12.0),
    // The shoulder line is no thorax, and says so.
    ("separation", 4.5, 20.0),
    ("separation_closed_at_impact", 0.3, 1.0),
    ("rotation_excess", 6.0, 30.0),
    ("head_speed", 1.0, 2.5),
    ("grip_speed", 0.8, 1.5),
];

/// The same by unit where the family has no entry: share of the truth added in the third place.
const BY_UNIT: &[(&str, f64, f64, f64)] = &[
    ("deg", 4.5, 9.0, 0.0),
    ("m", 0.015, 0.04, 0.0),
    ("mm", 10.0, 20.0, 0.0),
    ("m/s", 1.0, 2.0, 0.0),
    ("s", 0.03, 0.06, 0.0),
    ("ms", 30.0, 60.0, 0.0),
    ("ratio", 0.3, 0.8, 0.0),
    ("deg/s", 20.0, 40.0, 0.10),
    ("deg/s^2", 1000.0, 2000.0, 0.25),
    ("J", 10.0, 25.0, 0.15),
    ("W", 150.0, 300.0, 0.15),
    ("%", 4.0, 8.0, 0.0),
    ("%BW", 4.0, 8.0, 0.05),
    ("%BW/s", 40.0, 80.0, 0.15),
    ("N m", 5.0, 10.0, 0.10),
    ("N s", 5.0, 10.0, 0.10),
];

/// Events: seconds.
const EVENTS: &[(&str, f64)] = &[
    ("takeaway_start", 0.06),
    ("takeaway_end", 0.015),
    ("lead_arm_level_back", 0.015),
    ("top", 0.015),
    ("lead_arm_level_down", 0.01),
    ("shaft_level_down", 0.006),
    ("impact", 0.003),
    ("shaft_level_through", 0.015),
];

fn tolerance(id: &str, unit: &str, truth: f64, limited: bool) -> Option<f64> {
    let family = id.split('@').next().unwrap_or(id);
    let named = TOLERANCES
        .iter()
        .find(|t| family == t.0 || family.starts_with(&format!("{}.", t.0)));
    let named = named.or_else(|| {
        TOLERANCES
            .iter()
            .find(|t| family == format!("{}_peak", t.0))
    });
    if let Some((_, plain, wide)) = named {
        return Some(if limited { *wide } else { *plain });
    }
    let (_, plain, wide, share) = BY_UNIT.iter().find(|t| t.0 == unit)?;
    Some(if limited { *wide } else { *plain } + share * truth.abs())
}

/// Every confident wrong number and every missing one without a reason, in words.
fn wrong(report: &Measurement, truth: &Measurement) -> Vec<String> {
    let mut wrong = Vec::new();
    for (event, tolerance) in EVENTS {
        let (got, want) = (&report.events[*event], truth.events[*event].time_s);
        match (got.time_s, want) {
            (Some(got), Some(want)) if (got - want).abs() > *tolerance => {
                wrong.push(format!("{event} at {got:.4} s, truly {want:.4}"));
            }
            (None, _) if got.reason.is_none() => wrong.push(format!("{event}: no reason")),
            _ => {}
        }
    }
    for (id, metric) in &report.metrics {
        let Some(got) = metric.value else {
            if metric.reason.as_ref().is_none_or(|r| r.len() < 8) {
                wrong.push(format!("{id}: missing without a reason"));
            }
            continue;
        };
        // Quality has no truth; codes are compared by what they are made of.
        let Some(want) = truth.metrics.get(id).and_then(|m| m.value) else {
            continue;
        };
        let limited = metric.limited.is_some();
        let Some(allowed) = tolerance(id, &metric.unit, want, limited) else {
            continue;
        };
        if (got - want).abs() > allowed {
            wrong.push(format!(
                "{id} is {got:.3} {}, truly {want:.3} (allowed {allowed:.3}, limited: {:?})",
                metric.unit, metric.limited
            ));
        }
    }
    wrong
}

fn whin_32() -> MarkerMap {
    MarkerMap::load("whin_32").unwrap()
}

fn capture(rate_hz: f64) -> CaptureParams {
    CaptureParams {
        rate_hz,
        noise_m: 0.0005,
        dropout: 0.0,
        wobble: false,
        plates: None,
    }
}

fn take_of(seed: u64, rate_hz: f64) -> (C3d, Measurement) {
    let take = swing(&GolferParams::from_seed(seed), &capture(rate_hz));
    (
        synthetic::c3d(&take, &whin_32()),
        synthetic::truth(&take.truth, rate_hz, (0.0, 0.0)),
    )
}

fn take() -> (C3d, Measurement) {
    take_of(SEED, RATE_HZ)
}

fn column(take: &C3d, label: &str) -> usize {
    take.labels.iter().position(|l| l == label).unwrap()
}

fn slot(take: &C3d, seconds: f64) -> usize {
    ((seconds * RATE_HZ).round() as usize).min(take.frames.len())
}

fn hide(take: &mut C3d, labels: &[&str], (from_s, to_s): (f64, f64)) {
    let columns: Vec<usize> = labels.iter().map(|l| column(take, l)).collect();
    let range = slot(take, from_s)..slot(take, to_s);
    for frame in &mut take.frames[range] {
        columns.iter().for_each(|&c| frame[c] = None);
    }
}

fn exchange(take: &mut C3d, (a, b): (&str, &str), (from_s, to_s): (f64, f64)) {
    let (a, b) = (column(take, a), column(take, b));
    let range = slot(take, from_s)..slot(take, to_s);
    for frame in &mut take.frames[range] {
        frame.swap(a, b);
    }
}

/// The one swing's report, judged; `None` where a swing may be missed and was, with a reason.
fn judged(
    found: &Offline,
    truth: &Measurement,
    what: &str,
    faults: &mut Vec<String>,
) -> Option<Measurement> {
    let Some(measured) = found.swings.first() else {
        let said = found.remarks.iter().any(|r| r.contains("is no swing"));
        if !said {
            faults.push(format!(
                "{what}: no swing and no reason: {:?}",
                found.remarks
            ));
        }
        return None;
    };
    if found.swings.len() > 1 {
        faults.push(format!("{what}: {} swings", found.swings.len()));
    }
    let report = outgoing::measurement(measured);
    let measured = report.metrics.values().filter(|m| m.value.is_some());
    println!(
        "{what}: {} of {} measured",
        measured.count(),
        report.metrics.len()
    );
    faults.extend(
        wrong(&report, truth)
            .into_iter()
            .map(|w| format!("{what}: {w}")),
    );
    Some(report)
}

fn none(faults: &[String]) {
    assert!(
        faults.is_empty(),
        "{} wrong:\n{}",
        faults.len(),
        faults.join("\n")
    );
}

/// A clean take has nothing wrong, and the judge would find each number that were.
#[test]
fn a_clean_take_has_nothing_wrong() {
    let (clean, truth) = take();
    let mut faults = Vec::new();
    let report = judged(&analyzed(&clean, whin_32()), &truth, "clean", &mut faults).unwrap();
    none(&faults);
    let mut judged = 0;
    for (id, metric) in &report.metrics {
        let want = truth.metrics.get(id).and_then(|m| m.value);
        let Some(want) = want.filter(|_| metric.unit != "code") else {
            continue;
        };
        let limited = metric.limited.is_some();
        let allowed = tolerance(id, &metric.unit, want, limited);
        let allowed = allowed.unwrap_or_else(|| panic!("no tolerance for {id}"));
        let mut falsified = report.clone();
        falsified.metrics.get_mut(id).unwrap().value = Some(want + 1.01 * allowed);
        assert_eq!(wrong(&falsified, &truth).len(), 1, "{id}");
        judged += 1;
    }
    assert!(judged > 150, "{judged} metrics have a truth");
}

#[test]
fn three_of_four_pelvis_markers_gone() {
    let (clean, truth) = take();
    let event = |name: &str| truth.events[name].time_s.unwrap();
    let whole = (0.0, 1e3);
    let down = (event("top"), event("impact") + 0.05);
    let mut faults = Vec::new();
    for gone in [["LASI", "RASI", "LPSI"], ["RASI", "LPSI", "RPSI"]] {
        for (span, when) in [(whole, "whole take"), (down, "downswing")] {
            let mut damaged = clean.clone();
            hide(&mut damaged, &gone, span);
            let what = format!("{gone:?} gone, {when}");
            let found = analyzed(&damaged, whin_32());
            let report = judged(&found, &truth, &what, &mut faults).expect("the club is all there");
            let lost = &report.metrics["pelvis_rotation@shaft_level_down"];
            assert!(lost.value.is_none(), "{what}: {lost:?}");
            assert!(
                report.metrics["head_speed@impact"].value.is_some(),
                "{what}"
            );
        }
    }
    none(&faults);
}

#[test]
fn a_club_marker_exchanged_with_a_hand_marker() {
    let (clean, truth) = take();
    let event = |name: &str| truth.events[name].time_s.unwrap();
    let back = event("takeaway_end") + 0.1;
    let impact = event("impact");
    let mut faults = Vec::new();
    for pair in [("CBU", "LRS"), ("CBU", "RUS"), ("CSH", "LRS")] {
        for (span, when) in [
            ((back, back + 20.0 / RATE_HZ), "20 frames of the backswing"),
            ((impact - 0.03, impact + 0.03), "around impact"),
            ((0.0, 1e3), "whole take"),
        ] {
            let mut damaged = clean.clone();
            exchange(&mut damaged, pair, span);
            let found = analyzed(&damaged, whin_32());
            judged(&found, &truth, &format!("{pair:?}, {when}"), &mut faults);
        }
    }
    none(&faults);
}

#[test]
fn a_hole_of_300_ms_through_the_top() {
    let (clean, truth) = take();
    let top = truth.events["top"].time_s.unwrap();
    let everything: Vec<String> = clean.labels.clone();
    let everything: Vec<&str> = everything.iter().map(String::as_str).collect();
    let mut faults = Vec::new();
    for (labels, what) in [(&CLUB[..], "club"), (&everything[..], "all markers")] {
        let mut damaged = clean.clone();
        hide(&mut damaged, labels, (top - 0.15, top + 0.15));
        let found = analyzed(&damaged, whin_32());
        let what = format!("300 ms without {what}");
        if let Some(report) = judged(&found, &truth, &what, &mut faults) {
            let lost = &report.events["top"];
            assert!(
                lost.time_s.is_none() && lost.reason.is_some(),
                "{what}: {lost:?}"
            );
        }
    }
    none(&faults);
}

/// Whoever's trial it is: it is not used, or what follows from it is right.
#[test]
fn the_trial_of_another_student() {
    let (clean, truth) = take();
    let dir = scratch("other-student");
    std::fs::write(
        dir.join("golfer.toml"),
        "version = 1\ncalibration_trial = \"calibration.c3d\"\n",
    )
    .unwrap();
    let told = |seed: u64| -> Context {
        let trial = calibration_trial(&GolferParams::from_seed(seed), &capture(120.0));
        synthetic::write_calibration(&trial, &whin_32(), &dir).unwrap();
        context::load(&dir.join("golfer.toml"), &whin_32())
            .unwrap()
            .context
    };
    let with = |context: Context| {
        let due = feed::of_c3d(&clean, Some(&whin_32()), 1).unwrap();
        analyzed_with(due, whin_32(), context)
    };
    let mut faults = Vec::new();
    let own = judged(&with(told(SEED)), &truth, "own trial", &mut faults).unwrap();
    assert!(
        own.notes.iter().any(|n| n.contains("trial's movement")),
        "{:?}",
        own.notes
    );
    assert_eq!(own.metrics["knee_flexion.lead@top"].limited, None);
    let without = outgoing::measurement(&analyzed(&clean, whin_32()).swings[0]);
    let mut used = 0;
    for seed in (SEED + 1)..(SEED + 25) {
        let what = format!("trial of student {seed}");
        let report = judged(&with(told(seed)), &truth, &what, &mut faults).unwrap();
        if report.notes.iter().any(|n| n.contains("was not used")) {
            assert_eq!(report.metrics, without.metrics, "{what}");
        } else {
            used += 1;
        }
    }
    println!("{used} of 24 other students' trials were taken for the golfer's");
    assert!(used <= 8, "the unlike ones are noticed: {used}");
    none(&faults);
}

#[test]
fn a_stream_of_plates_only() {
    let Some(data) = data() else { return };
    let path = data.join("plates");
    let mut tried = 0;
    for entry in std::fs::read_dir(path).unwrap() {
        let path = entry.unwrap().path();
        if path.extension().is_none_or(|e| e != "c3d") {
            continue;
        }
        let take = daemon::offline::read_c3d(&path).unwrap();
        let mut due = feed::of_c3d(&take, None, 1).unwrap();
        due.retain(|d| {
            let opened = wire::open(&d.bytes).unwrap();
            match opened.body().unwrap() {
                Body::MarkerFrame(_) => false,
                Body::Describe(d) => !matches!(d.content, wire::Content::Markers(_)),
                Body::ForceBlock(_) | Body::Trigger(_) => true,
            }
        });
        if due.is_empty() {
            continue;
        }
        tried += 1;
        let found = analyzed_datagrams(due, whin_32());
        assert!(found.swings.is_empty());
        assert_eq!(found.remarks, Vec::<String>::new(), "{}", path.display());
    }
    assert!(tried > 0, "a file with plates");
}

/// Everybody moves two and a half metres along the target line at walking pace.
fn walked(mut take: C3d) -> C3d {
    for (n, frame) in take.frames.iter_mut().enumerate() {
        let along = 1400.0 * (n as f64 / RATE_HZ) - 1000.0;
        for marker in frame.iter_mut().flatten() {
            marker.position[0] += along as f32;
        }
    }
    take
}

#[test]
fn a_golfer_who_walks_through_makes_no_swing() {
    let (clean, _) = take();
    // Club in hand, the arms swinging it a little: the address posture, carried along.
    let mut carried = clean.clone();
    let still = slot(&clean, 0.3);
    carried.frames = clean.frames[..still]
        .iter()
        .cycle()
        .take(900)
        .cloned()
        .collect();
    let trial = calibration_trial(&GolferParams::from_seed(SEED), &capture(RATE_HZ));
    let legs = synthetic::calibration_c3d(&trial, &whin_32());
    for (take, what) in [
        (walked(carried), "club in hand"),
        (walked(legs), "without a club"),
    ] {
        let found = analyzed(&take, whin_32());
        assert!(found.swings.is_empty(), "{what}");
        assert!(
            found.remarks.iter().all(|r| !r.contains("analysis failed")),
            "{what}: {:?}",
            found.remarks
        );
    }
}

#[test]
fn fifty_frames_a_second() {
    let mut faults = Vec::new();
    for seed in [2, SEED, 9] {
        let (take, truth) = take_of(seed, 50.0);
        let what = format!("50 Hz, seed {seed}");
        if let Some(report) = judged(&analyzed(&take, whin_32()), &truth, &what, &mut faults) {
            let speed = &report.metrics["head_speed@impact"];
            assert!(
                speed.value.is_none() && speed.reason.is_some(),
                "{what}: {speed:?}"
            );
        }
    }
    none(&faults);
}
