//! The main job on the real recording: streamed as UDP, found by itself, reported once, the same by
//! every way in.
//!
//! Events and values of the take were read off its signals by hand (README of the recordings).

use std::path::{Path, PathBuf};

use serde_json::Value;

use crate::bay::Bay;
use crate::support::{analyze, data, python_command, scratch};

const MAP: &str = "club_led";
/// One frame of the take, seconds.
const FRAME_S: f64 = 1.0 / 107.527;

fn take(name: &str) -> Option<PathBuf> {
    data().map(|d| d.join(name))
}

fn event(measurement: &Value, name: &str) -> f64 {
    measurement["events"][name]["time_s"]
        .as_f64()
        .unwrap_or_else(|| panic!("no {name}"))
}

fn value(measurement: &Value, id: &str) -> f64 {
    measurement["metrics"][id]["value"]
        .as_f64()
        .unwrap_or_else(|| panic!("no {id}: {}", measurement["metrics"][id]))
}

fn assert_near(name: &str, got: f64, want: f64, tolerance: f64) {
    assert!(
        (got - want).abs() <= tolerance,
        "{name}: {got}, expected {want} ± {tolerance}"
    );
}

/// `shift` frames later or earlier than in the clean file, each event within `frames` frames.
fn assert_events(measurement: &Value, shift: f64, frames: f64) {
    for (name, at_s, allowed) in [
        ("takeaway_start", 1.63, 5.0),
        ("takeaway_end", 2.009, frames),
        ("top", 2.539, frames),
        ("shaft_level_down", 2.902, frames),
        ("impact", 2.966, frames),
    ] {
        assert_near(
            name,
            event(measurement, name),
            at_s + shift * FRAME_S,
            allowed * FRAME_S,
        );
    }
}

#[tokio::test]
async fn the_real_take_is_one_swing_with_the_events_read_by_hand() {
    let Some(file) = take("golf_club_107hz.c3d") else {
        return;
    };
    let bay = Bay::start(MAP, &[]);
    let mut screen = bay.listen().await;
    bay.send(&file, MAP, "1");
    let (swings, states) = screen.until_silent().await;
    assert_eq!(swings.len(), 1, "the club carried back is no swing");
    let measurement = &swings[0]["measurement"];
    assert_events(measurement, 0.0, 1.0);
    assert_near(
        "head speed peak",
        value(measurement, "head_speed_peak"),
        23.6,
        0.03 * 23.6,
    );
    let since_address = |id: &str| {
        measurement["metrics"][id]["change"]
            .as_f64()
            .expect("a change since address")
    };
    assert_near(
        "hip line at the top",
        since_address("pelvis_rotation@top"),
        -50.0,
        3.0,
    );
    assert_near(
        "shoulder line at the top",
        since_address("shoulder_line_rotation@top"),
        -108.0,
        3.0,
    );
    assert_near(
        "grip speed peak",
        value(measurement, "grip_speed_peak"),
        7.23,
        0.05 * 7.23,
    );
    assert_eq!(measurement["handed"], "right");
    assert_eq!(
        measurement["kind"], "rehearsal",
        "the head passes 18 cm above the ball's place"
    );
    assert_eq!(
        states,
        [
            "waiting",
            "at_address",
            "in_motion",
            "measuring",
            "result",
            "no_signal"
        ]
    );
    let not_measured = &measurement["metrics"]["thorax_rotation@top"];
    assert!(
        not_measured["value"].is_null()
            && not_measured["reason"]
                .as_str()
                .unwrap()
                .contains("the chest and back"),
        "{not_measured}"
    );
}

#[tokio::test]
async fn pace_sender_and_way_in_change_nothing() {
    let Some(file) = take("golf_club_107hz.c3d") else {
        return;
    };
    let offline = analyze(&file, &["--markers", MAP])["swings"][0].clone();
    let bay = Bay::start(MAP, &[]);
    let mut screen = bay.listen().await;
    for pace in ["1", "20"] {
        bay.send(&file, MAP, pace);
        let (swings, _) = screen.until_silent().await;
        assert_eq!(swings.len(), 1);
        assert_eq!(
            swings[0]["measurement"].to_string(),
            offline.to_string(),
            "pace {pace}"
        );
    }
    let to = bay.udp.to_string();
    let sent = python_command("send_c3d.py")
        .arg(&file)
        .args([&to, "--pace", "2"])
        .status();
    assert!(sent.expect("Python starts").success());
    let (swings, _) = screen.until_silent().await;
    assert_eq!(swings.len(), 1);
    assert_eq!(
        swings[0]["measurement"].to_string(),
        offline.to_string(),
        "the Python sender"
    );
}

#[test]
fn the_dirty_export_gives_the_same_events_and_names_the_bad_marker() {
    let Some(file) = take("golf_club_107hz_dirty.c3d") else {
        return;
    };
    let found = analyze(&file, &["--markers", MAP]);
    assert_eq!(found["swings"].as_array().unwrap().len(), 1);
    let swing = &found["swings"][0];
    // Frame k of this export is frame k + 1 of the clean file.
    assert_events(swing, -1.0, 2.0);
    let bad: Vec<&str> = swing["markers"]
        .as_array()
        .unwrap()
        .iter()
        .filter_map(|m| m["landmark"].as_str())
        .collect();
    assert!(
        bad.contains(&"club_shaft_low"),
        "the low shaft marker (807) is off by half a meter: {bad:?}"
    );
}

#[test]
fn the_file_with_the_odd_header_gives_the_same_swing() {
    let Some(odd) = take("golf_club_107hz_odd_header.c3d") else {
        return;
    };
    let Some(clean) = take("golf_club_107hz.c3d") else {
        return;
    };
    let odd = analyze(&odd, &["--markers", MAP]);
    assert_eq!(
        odd["swings"],
        analyze(&clean, &["--markers", MAP])["swings"]
    );
}

/// Whatever is not golf is no golf swing: gait, a jump, plate tests.
#[test]
fn gait_jump_and_serves_hold_no_shot() {
    let Some(data) = data() else { return };
    for name in [
        "gait/gait_with_angles.c3d",
        "gait/gait_static.c3d",
        "jump/two_plates_jump.c3d",
        "other/kinematics_tennis_serve.c3d",
    ] {
        let file = data.join(name);
        let map = scratch("negatives").join("map.toml");
        std::fs::write(&map, negative_map(&file)).unwrap();
        let found = analyze(&file, &["--markers", map.to_str().unwrap()]);
        assert_eq!(found["swings"].as_array().unwrap().len(), 0, "{name}");
    }
}

/// A map that makes the first markers of a file a club and a body, so that the detector has work.
fn negative_map(file: &Path) -> String {
    let take = protocol::c3d::read(&std::fs::read(file).unwrap()).unwrap();
    let names = [
        "club_butt",
        "club_shaft_low",
        "club_head_heel",
        "club_head_toe",
        "left_acromion",
        "right_acromion",
    ];
    let lines = take
        .labels
        .iter()
        .zip(names)
        .map(|(label, name)| format!("{label:?} = \"{name}\"\n"));
    let head = "version = 1\nname = \"negatives\"\n[frame]\nunits = \"mm\"\nup = [0.0, 0.0, 1.0]\ntarget = [1.0, 0.0, 0.0]\n[labels]\n";
    std::iter::once(head.to_owned()).chain(lines).collect()
}

#[tokio::test]
async fn a_late_joiner_sees_the_last_swing_and_the_end_is_clean() {
    let Some(file) = take("golf_club_107hz.c3d") else {
        return;
    };
    let dir = scratch("record");
    let bay = Bay::start(MAP, &["--record", dir.to_str().unwrap()]);
    let mut first = bay.listen().await;
    bay.send(&file, MAP, "10");
    let (swings, _) = first.until_silent().await;
    let late = bay.listen().await;
    let seen = late.hello["swings"]
        .as_array()
        .expect("swings in the snapshot");
    assert_eq!(seen.len(), 1);
    assert_eq!(seen[0]["measurement"], swings[0]["measurement"]);
    assert_eq!(
        bay.stop(),
        Some(0),
        "SIGTERM ends the program without complaint"
    );
    // What was recorded gives the same report again, byte for byte.
    let recording = std::fs::read_dir(&dir)
        .unwrap()
        .next()
        .expect("a recording")
        .unwrap()
        .path();
    let again = analyze(&recording, &[]);
    assert_eq!(
        again["remarks"].as_array().unwrap().len(),
        0,
        "{}",
        again["remarks"]
    );
    assert_eq!(
        again["swings"][0].to_string(),
        swings[0]["measurement"].to_string()
    );
}
