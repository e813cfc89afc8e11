//! Exchanged markers and ghosts in takes of the synthetic golfer: put right or rejected, said in the
//! report, and never a confident wrong number.

use protocol::c3d::C3d;
use protocol::report::Measurement;

use crate::support::{golfer_take, only_swing};

const RATE_HZ: f64 = 360.0;

fn column(take: &C3d, label: &str) -> usize {
    take.labels.iter().position(|l| l == label).unwrap()
}

fn head_speed_holds(report: &Measurement, truth: &Measurement, what: &str) {
    let want = truth.metrics["head_speed@impact"].value.unwrap();
    if let Some(got) = report.metrics["head_speed@impact"].value {
        let allowed = (0.01 * want).max(0.3);
        assert!((got - want).abs() <= allowed, "{what}: {got}, truly {want}");
    }
}

/// Two labels exchanged for 1 to 60 frames, around impact, the top and after: put right, and said.
#[test]
fn exchanged_markers_are_put_right() {
    let (clean, truth) = golfer_take(false);
    let event = |name: &str| (truth.events[name].time_s.unwrap() * RATE_HZ) as usize;
    let (impact, top) = (event("impact"), event("top"));
    for (a, b, names) in [
        ("CTO", "CBA", "club_head_toe"),
        ("CHE", "CBA", "club_head_heel"),
        ("CSH", "CHE", "club_shaft_low"),
        ("CBU", "LRS", "left_radial_styloid"),
        ("LFE", "RFE", "left_knee"),
    ] {
        for (from, frames) in [
            (impact - 3, 1),
            (impact - 6, 12),
            (impact - 40, 60),
            (top - 5, 10),
        ] {
            let mut damaged = clean.clone();
            let (a, b) = (column(&clean, a), column(&clean, b));
            for frame in &mut damaged.frames[from..from + frames] {
                frame.swap(a, b);
            }
            let what = format!("{names}, {frames} frames from {from}");
            let report = only_swing(&damaged);
            head_speed_holds(&report, &truth, &what);
            let fault = report.markers.iter().find(|m| m.landmark == names);
            assert_eq!(
                fault.map(|f| (f.exchanged_frames as usize, f.rejected_frames)),
                Some((frames, 0)),
                "{what}"
            );
            let said = format!("exchanged their labels in {frames} frames and were put right");
            assert!(
                report.notes.iter().any(|n| n.contains(&said)),
                "{what}: {:?}",
                report.notes
            );
        }
    }
}

/// A marker that is seen in a wrong place for a while, in a cluster or alone.
#[test]
fn ghosts_are_rejected() {
    let (clean, truth) = golfer_take(true);
    let impact = (truth.events["impact"].time_s.unwrap() * RATE_HZ) as usize;
    for (label, name) in [
        ("LFE", "left_knee"),
        ("LRS", "left_radial_styloid"),
        ("CTO", "club_head_toe"),
        ("CBU", "club_butt"),
    ] {
        for (from, frames) in [(impact - 2, 4), (impact - 30, 20), (impact - 90, 60)] {
            let mut damaged = clean.clone();
            let column = column(&clean, label);
            for frame in &mut damaged.frames[from..from + frames] {
                if let Some(marker) = &mut frame[column] {
                    marker.position[1] += 70.0;
                    marker.position[2] += 50.0;
                }
            }
            let what = format!("{name}, {frames} frames from {from}");
            let report = only_swing(&damaged);
            head_speed_holds(&report, &truth, &what);
            let rejected = report.markers.iter().find(|m| m.landmark == name);
            assert_eq!(
                rejected.map(|f| f.rejected_frames as usize),
                Some(frames),
                "{what}: {:?} {:?}",
                report.markers,
                report.notes
            );
        }
    }
}

/// Nothing is said of a take that has nothing wrong, skin and all.
#[test]
fn a_clean_take_raises_no_alarm() {
    let (clean, _) = golfer_take(true);
    assert_eq!(only_swing(&clean).markers, []);
}
