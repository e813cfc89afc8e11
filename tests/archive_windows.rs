//! A session of which only the time around swings is recorded: what waited for a swing is there, measured
//! again it is the same, and what came long before any swing is not.

use std::fs;
use std::net::UdpSocket;
use std::time::{Duration, Instant};

use daemon::recording::{Recorded, read};
use serde_json::json;

use crate::archive::{archive, assert_verified, enroll, only_recording, swing_ids};
use crate::bay::Bay;
use crate::support::{run_whin, scratch};

/// What no sender would say: bytes that are kept because they arrived.
const EARLY: &[u8] = b"early";
const LATE: &[u8] = b"late";

#[test]
fn only_what_is_around_swings_is_recorded_and_measures_the_same() {
    let dir = scratch("archive-windows");
    let (place, config) = (dir.join("archive"), dir.join("bay.toml"));
    let student = enroll(&place, &["--consent", "lesson"]);
    let text = "version = 1\n[archive]\nrecord = \"swings\"\nafter_seconds = 1\n";
    fs::write(&config, text).unwrap();
    let made = ["synthesize", "--seed", "7", "--out", dir.to_str().unwrap()];
    assert_eq!(run_whin(&made.map(AsRef::as_ref)).0, 0);
    let takes = fs::read_dir(&dir).unwrap().map(|f| f.unwrap().path());
    let take = takes
        .into_iter()
        .find(|f| f.extension() == Some("c3d".as_ref()));
    let args = [
        "--config",
        config.to_str().unwrap(),
        "--archive",
        place.to_str().unwrap(),
    ];
    let bay = Bay::start("whin_32", &[&args[..], &["--student", &student]].concat());
    let strange = UdpSocket::bind("127.0.0.1:0").unwrap();
    for _ in 0..50 {
        strange.send_to(EARLY, bay.udp).unwrap();
    }
    // Longer than what waits for a swing.
    std::thread::sleep(Duration::from_millis(14_500));
    strange.send_to(LATE, bay.udp).unwrap();
    bay.send(&take.unwrap(), "whin_32", "1");
    let since = Instant::now();
    while swing_ids(&place).is_empty() && since.elapsed() < Duration::from_secs(30) {
        std::thread::sleep(Duration::from_millis(100));
    }
    assert_eq!(bay.stop(), Some(0));
    assert_eq!(swing_ids(&place).len(), 1);
    let found = assert_verified(&place);
    assert_eq!(found["swings"], 1);
    let file = only_recording(&place);
    let recording = read(&file).unwrap();
    assert!(recording.meta().only_swings, "the file says what it is");
    let kept: Vec<Vec<u8>> = recording
        .filter_map(|entry| match entry {
            Recorded::Datagram { bytes, .. } => Some(bytes),
            Recorded::Tick { .. } => None,
        })
        .collect();
    let count = |what: &[u8]| kept.iter().filter(|bytes| *bytes == what).count();
    assert_eq!((count(EARLY), count(LATE)), (0, 1));
    assert!(kept.len() > 500, "{} datagrams", kept.len());
    let (code, again) = archive(&place, &["reanalyze", "--no-uncertainty"]);
    let moved = &again["moved"];
    assert_eq!(
        (code, &moved["swings"], &moved["metrics"]),
        (0, &json!(1), &json!({}))
    );
    assert_eq!(
        (&moved["added"], &moved["not_found"]),
        (&json!([]), &json!([]))
    );
}
