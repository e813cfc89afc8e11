//! Damaged takes of the synthetic golfer: each value is right or missing with a reason, never
//! invented; and a movement that gives no swing says why.

use daemon::map::MarkerMap;
use daemon::{feed, outgoing};
use protocol::c3d::C3d;
use protocol::report::Measurement;

use crate::support::{analyzed, analyzed_datagrams, golfer_take, only_swing};

const RATE_HZ: f64 = 360.0;
const CLUB: [&str; 5] = ["CBU", "CSH", "CHE", "CTO", "CBA"];

fn columns(take: &C3d, labels: &[&str]) -> Vec<usize> {
    labels
        .iter()
        .map(|l| take.labels.iter().position(|t| t == l).unwrap())
        .collect()
}

fn hide(take: &mut C3d, labels: &[&str], from_s: f64, to_s: f64) {
    let columns = columns(take, labels);
    let slot = |s: f64| (s * RATE_HZ).round() as usize;
    for frame in &mut take.frames[slot(from_s)..slot(to_s)] {
        columns.iter().for_each(|&c| frame[c] = None);
    }
}

/// Right within the tolerance, or missing with a reason.
fn right_or_missing(report: &Measurement, truth: &Measurement, what: &str) {
    for (event, tolerance_s) in [
        ("takeaway_end", 0.006),
        ("top", 0.010),
        ("shaft_level_down", 0.004),
        ("impact", 0.002),
        ("takeaway_start", 0.05),
    ] {
        if let Some(got) = report.events[event].time_s {
            let want = truth.events[event].time_s.unwrap();
            assert!(
                (got - want).abs() <= tolerance_s,
                "{what}: {event} at {got}, truly {want}"
            );
        }
    }
    for (id, tolerance) in [
        ("head_speed@impact", 1.0),
        ("head_speed_peak", 1.0),
        ("grip_speed_peak", 0.4),
        ("grip_speed@impact", 0.6),
        ("backswing_time", 0.05),
        ("pelvis_rotation@top", 2.0),
        ("pelvis_shift@takeaway_end", 0.008),
        ("shaft_lean@impact", 2.0),
    ] {
        let metric = &report.metrics[id];
        match metric.value {
            Some(got) => {
                let want = truth.metrics[id].value.unwrap();
                assert!(
                    (got - want).abs() <= tolerance,
                    "{what}: {id} is {got}, truly {want}"
                );
            }
            None => assert!(
                metric.reason.as_ref().is_some_and(|r| r.len() > 10),
                "{what}: {id} without a reason"
            ),
        }
    }
}

#[test]
fn holes_of_the_club_invent_nothing() {
    let (clean, truth) = golfer_take(false);
    for event in [
        "takeaway_start",
        "takeaway_end",
        "top",
        "shaft_level_down",
        "impact",
    ] {
        let at = truth.events[event].time_s.unwrap();
        for half_s in [0.005, 0.015, 0.04, 0.1] {
            let mut damaged = clean.clone();
            hide(&mut damaged, &CLUB, at - half_s, at + half_s);
            let found = analyzed(&damaged, MarkerMap::load("whin_32").unwrap());
            // A long hole around the fastest part leaves no swing to find: then it is said.
            if half_s > 0.03 && found.swings.is_empty() {
                assert!(
                    ["shaft_level_down", "impact"].contains(&event),
                    "{event}: {:?}",
                    found.remarks
                );
                assert!(
                    found.remarks.iter().any(|r| r.contains("is no swing")),
                    "{:?}",
                    found.remarks
                );
                continue;
            }
            assert_eq!(
                found.swings.len(),
                1,
                "{event} ± {half_s} s: {:?}",
                found.remarks
            );
            let report = outgoing::measurement(&found.swings[0]);
            right_or_missing(&report, &truth, &format!("{event} ± {half_s} s"));
            // In a hole that no curve may bridge the event itself is not found, and says so.
            if half_s > 0.05 || (half_s > 0.01 && event == "impact") {
                let lost = &report.events[event];
                assert_eq!(lost.time_s, None, "{event} ± {half_s} s");
                assert!(lost.reason.is_some(), "{event} ± {half_s} s");
            }
        }
    }
}

#[test]
fn holes_of_one_marker_cost_little() {
    let (clean, truth) = golfer_take(false);
    let impact = truth.events["impact"].time_s.unwrap();
    for label in CLUB.iter().chain(&["LASI", "RFE", "IJ", "LRS"]) {
        let mut damaged = clean.clone();
        hide(&mut damaged, &[label], impact - 0.15, impact + 0.05);
        right_or_missing(&only_swing(&damaged), &truth, label);
    }
}

#[test]
fn a_marker_that_jumps_for_a_frame_changes_no_swing() {
    let (clean, truth) = golfer_take(false);
    let impact = truth.events["impact"].time_s.unwrap();
    for (label, offset_s, jump_mm) in [
        ("CTO", 0.5, 1500.0),
        ("CHE", -1.2, 2000.0),
        ("CTO", -0.3, 700.0),
        ("CBU", 0.0, 400.0),
        ("CSH", -0.02, 500.0),
    ] {
        let mut damaged = clean.clone();
        let column = columns(&clean, &[label])[0];
        let frame = ((impact + offset_s) * RATE_HZ) as usize;
        if let Some(marker) = &mut damaged.frames[frame][column] {
            marker.position[2] += jump_mm;
        }
        let report = only_swing(&damaged);
        assert_eq!(report.handed, "right");
        assert_eq!(report.kind, "shot", "{label} {offset_s}");
        right_or_missing(&report, &truth, &format!("{label} {offset_s}"));
    }
}

#[test]
fn a_take_that_begins_in_motion_has_no_address() {
    let (mut clean, truth) = golfer_take(false);
    let start = (truth.events["takeaway_start"].time_s.unwrap() + 0.12) * RATE_HZ;
    clean.frames.drain(..start as usize);
    let report = only_swing(&clean);
    assert_eq!(
        (
            report.events["address"].time_s,
            report.events["takeaway_start"].time_s
        ),
        (None, None)
    );
    assert_eq!(report.metrics["backswing_time"].value, None);
    assert!(
        report.metrics["pelvis_shift@top"]
            .reason
            .as_ref()
            .unwrap()
            .contains("address")
    );
    let speed = report.metrics["head_speed@impact"].value.unwrap();
    assert!((speed - truth.metrics["head_speed@impact"].value.unwrap()).abs() < 1.0);
}

#[test]
fn device_times_beat_a_wrongly_told_rate() {
    let (clean, truth) = golfer_take(false);
    let map = MarkerMap::load("whin_32").unwrap();
    let due = feed::of_c3d(&clean, Some(&map), 1).unwrap();
    let retold = due.into_iter().map(|mut d| {
        // Describe datagrams carry the rate at byte 48 (protocol, "Describe").
        if d.bytes[6] == 1 {
            d.bytes[48..56].copy_from_slice(&(RATE_HZ * 1.2).to_le_bytes());
        }
        d
    });
    let found = analyzed_datagrams(retold.collect(), map);
    let report = outgoing::measurement(&found.swings[0]);
    assert!(
        report
            .notes
            .iter()
            .any(|n| n.contains("432") && n.contains("360")),
        "{:?}",
        report.notes
    );
    right_or_missing(&report, &truth, "told rate");
    assert!(report.metrics["head_speed@impact"].value.is_some());
}

#[test]
fn a_club_without_head_markers_gives_times_but_no_head_speed() {
    let (mut clean, truth) = golfer_take(false);
    let frames = clean.frames.len() as f64 / RATE_HZ;
    hide(&mut clean, &["CHE", "CTO", "CBA"], 0.0, frames);
    let gone = columns(&clean, &["CHE", "CTO", "CBA"]);
    let kept: Vec<usize> = (0..clean.labels.len())
        .filter(|i| !gone.contains(i))
        .collect();
    clean.frames = clean
        .frames
        .iter()
        .map(|f| kept.iter().map(|&i| f[i]).collect())
        .collect();
    clean.labels = kept.iter().map(|&i| clean.labels[i].clone()).collect();
    let report = only_swing(&clean);
    let top = report.events["top"].time_s.unwrap();
    assert!((top - truth.events["top"].time_s.unwrap()).abs() < 0.006);
    assert!(
        report.metrics["head_speed@impact"]
            .reason
            .as_ref()
            .unwrap()
            .contains("club head")
    );
    assert!(report.metrics["tempo_ratio"].value.is_some());
}

#[test]
fn a_target_line_that_points_the_wrong_way_is_named() {
    let (clean, _) = golfer_take(false);
    let text = MarkerMap::load("whin_32")
        .unwrap()
        .text
        .replace("target = [1.0", "target = [-1.0");
    let found = analyzed(&clean, MarkerMap::parse(&text, "reversed").unwrap());
    assert!(found.swings.is_empty());
    assert!(
        found
            .remarks
            .iter()
            .any(|r| r.contains("target line that points the wrong way")),
        "{:?}",
        found.remarks
    );
}
