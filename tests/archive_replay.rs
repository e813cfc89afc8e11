//! A recorded lesson sent again: the original datagrams, the same reports to the byte. What stands beside
//! the datagrams in a recording is listed by the MCAP library of PyPI and held against its JSON Schemas.

use std::ffi::OsStr;
use std::fs;
use std::path::{Path, PathBuf};
use std::time::Duration;

use daemon::recording::{Recorded, read};
use serde_json::{Value, json};

use crate::archive::{archive, assert_verified, enroll, only_recording, swing_ids};
use crate::bay::Bay;
use crate::support::{self, run_whin, scratch};

/// Times faster than life: slow enough that a busy machine loses no datagram.
const PACE: &str = "3";

/// An archive of what a bay made of a file that was sent to it.
fn archived(dir: &Path, file: &Path) -> PathBuf {
    let student = enroll(dir, &["--consent", "lesson"]);
    let place = dir.to_str().unwrap();
    let bay = Bay::start("whin_32", &["--archive", place, "--student", &student]);
    bay.send(file, "whin_32", PACE);
    // Uncertainties are worked off first, which takes longer than the lesson at this pace.
    assert_eq!(bay.stop_within(Duration::from_secs(240)), Some(0));
    assert_verified(dir);
    only_recording(dir)
}

fn datagrams(file: &Path) -> Vec<Vec<u8>> {
    let bytes = |entry| match entry {
        Recorded::Datagram { bytes, .. } => Some(bytes),
        Recorded::Tick { .. } => None,
    };
    read(file).unwrap().filter_map(bytes).collect()
}

fn listed(file: &Path) -> Value {
    let text = support::python("reference/mcap_list.py", &[file.as_os_str()]);
    let mut files: Vec<Value> = serde_json::from_str(&text).unwrap();
    assert_eq!(files[0]["torn"], Value::Null);
    files.remove(0)
}

/// The measurements of the whole swings, before their uncertainties, as they were written.
fn measurements(listed: &Value) -> Vec<String> {
    let reports = listed["notes"]["reports"].as_array().unwrap().iter();
    let texts = reports.map(|note| note[2].as_str().unwrap());
    let whole = texts.filter(|text| text.contains(r#""revision":2,"#));
    let measured = |text: &str| {
        let (_, rest) = text.split_once(r#""measurement":"#).unwrap();
        rest.rsplit_once(r#","transport":"#).unwrap().0.to_owned()
    };
    whole.map(measured).collect()
}

#[test]
fn a_lesson_that_is_sent_again_gives_the_same_reports_byte_for_byte() {
    let dir = scratch("archive-replay");
    let made = ["synthesize", "--lesson", "2", "--seed", "11", "--out"].map(OsStr::new);
    let made: Vec<&OsStr> = made.into_iter().chain([dir.as_os_str()]).collect();
    assert_eq!(run_whin(&made).0, 0);
    let (first, second) = (dir.join("first"), dir.join("second"));
    let lived = archived(&first, &dir.join("lesson.mcap"));
    let replayed = archived(&second, &lived);
    assert!(
        datagrams(&lived) == datagrams(&dir.join("lesson.mcap")),
        "every datagram came"
    );
    assert!(
        datagrams(&lived) == datagrams(&replayed),
        "the original datagrams"
    );
    let (lived_list, replayed_list) = (listed(&lived), listed(&replayed));
    let (a, b) = (measurements(&lived_list), measurements(&replayed_list));
    assert!(a.len() > 3, "{} swings", a.len());
    assert_eq!(a, b);
    let names = |dir: &Path| {
        swing_ids(dir)
            .into_iter()
            .map(|(_, id)| id)
            .collect::<Vec<_>>()
    };
    assert_eq!(names(&first), names(&second));
    println!("{} swings, the same bytes", a.len());
    beside_the_datagrams(&first, &lived_list);
    // Neither what measures again nor what recovers sees anything but datagrams and ticks.
    let (code, again) = archive(&first, &["reanalyze", "--no-uncertainty"]);
    assert_eq!((code, &again["moved"]["metrics"]), (0, &json!({})));
    assert_eq!(again["moved"]["swings"], a.len());
    let saved = dir.join("saved.mcap");
    daemon::archive::recover::recover(&lived, &saved).unwrap();
    assert!(read(&lived).unwrap().eq(read(&saved).unwrap()));
    let raw: usize = datagrams(&lived).iter().map(Vec::len).sum();
    let share = fs::metadata(&lived).unwrap().len() as f64 / raw as f64;
    println!("recording with events and reports: {share:.3} of {raw} raw bytes");
    assert!(share <= 0.85, "{share}");
}

/// The channels, their counts, and that they say what the store says.
fn beside_the_datagrams(dir: &Path, listed: &Value) {
    let channels = listed["summary"]["channels"].as_object().unwrap();
    let topics: Vec<&String> = channels.keys().collect();
    assert_eq!(topics, ["datagrams", "events", "reports"]);
    let notes = |topic: &str| listed["notes"][topic].as_array().unwrap();
    for topic in ["events", "reports"] {
        assert_eq!(channels[topic], json!(["json", notes(topic).len()]));
    }
    let parsed = |note: &Value| serde_json::from_str::<Value>(note[2].as_str().unwrap()).unwrap();
    let mut of_store = 0;
    for (session, id) in swing_ids(dir) {
        let (_, shown) = archive(dir, &["show", &session, &id]);
        let stored = &shown["results"][0]["report"];
        let last = notes("reports")
            .iter()
            .map(parsed)
            .rfind(|r| r["id"] == *id);
        assert_eq!(last.unwrap(), *stored, "the newest revision is the store's");
        for (name, event) in stored["measurement"]["events"].as_object().unwrap() {
            if event["time_s"].is_null() {
                continue;
            }
            of_store += 1;
            let note = notes("events").iter().find(|note| {
                let note = parsed(note);
                note["swing"] == *id && note["event"] == *name
            });
            let device_s = note.unwrap()[1].as_f64().unwrap() * 1e-9;
            assert!(
                (device_s - event["time_s"].as_f64().unwrap()).abs() < 1e-6,
                "{name}"
            );
        }
    }
    assert_eq!(of_store, notes("events").len());
}
