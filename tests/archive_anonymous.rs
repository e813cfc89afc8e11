//! Anonymous exports: other names, dates moved by whole days, nothing else left to find.

use std::ffi::OsStr;
use std::fs;
use std::path::{Path, PathBuf};

use serde_json::Value;

use crate::archive::{archive, enroll, swing_ids};
use crate::archive_files::{exported, imported};

/// Every byte of an export's files and their names.
fn bytes(dir: &Path) -> Vec<u8> {
    let mut all = Vec::new();
    for entry in fs::read_dir(dir).unwrap().map(|e| e.unwrap().path()) {
        all.extend(entry.file_name().unwrap().as_encoded_bytes());
        all.extend(if entry.is_dir() {
            bytes(&entry)
        } else {
            fs::read(&entry).unwrap()
        });
    }
    all
}

/// An archive with two swings of a student who consented to research, and one of another who did not.
fn two_students() -> (PathBuf, String, String) {
    let consent = ["--consent", "lesson", "--consent", "research"];
    let (take, place, student) = imported("files-anonymous", &consent);
    let first = take.to_str().unwrap();
    let args = [
        "import",
        "--student",
        &student,
        "--date",
        "2024-05-21",
        first,
    ];
    assert_eq!(archive(&place, &args).0, 0);
    let refused = enroll(&place, &["--consent", "lesson"]);
    let args = [
        "import",
        "--student",
        &refused,
        "--date",
        "2024-05-21",
        first,
    ];
    assert_eq!(archive(&place, &args).0, 0);
    (place, student, refused)
}

#[test]
fn an_anonymous_export_keeps_times_of_day_and_intervals_but_no_name_and_no_date() {
    let (place, student, refused) = two_students();
    let sessions = archive(&place, &["list"]).1["sessions"].clone();
    let sessions = sessions.as_array().unwrap().iter();
    let sessions: Vec<String> = sessions
        .map(|s| s["id"].as_str().unwrap().to_owned())
        .collect();
    let mut told = ["Ottoline", "\"1965", ": 1965", ",1965,", "born", "2024-05"]
        .map(str::to_owned)
        .to_vec();
    told.extend([student.clone(), refused.clone()]);
    told.extend(
        sessions
            .iter()
            .map(|s| s.split_once('-').unwrap().1.to_owned()),
    );
    told.extend(swing_ids(&place).into_iter().map(|(_, id)| id));
    for shape in ["json", "csv", "parquet", "c3d"] {
        let plain = exported(&place, &format!("plain-{shape}"), &["--as", shape]).0;
        let args = ["--as", shape, "--scope", "research", "--anonymous"];
        let (to, done) = exported(&place, shape, &args);
        assert_eq!(
            (&done["swings"], &done["left_out"][0]),
            (&2.into(), &refused.clone().into())
        );
        let (plain, hidden) = (bytes(&plain), bytes(&to));
        let holds = |all: &[u8], word: &str| all.windows(word.len()).any(|w| w == word.as_bytes());
        assert!(
            holds(&plain, &student) || shape == "parquet",
            "the search finds what is there"
        );
        for word in &told {
            assert!(!holds(&hidden, word), "{shape} holds {word}");
        }
        let again = exported(&place, &format!("{shape}-again"), &args).0;
        let manifest = |dir: &Path| fs::read_to_string(dir.join("SHA256SUMS")).unwrap();
        assert_eq!(
            manifest(&to),
            manifest(&again),
            "the same names and dates each time"
        );
    }
    dates_move_by_whole_days(&place, &student);
}

fn dates_move_by_whole_days(place: &Path, student: &str) {
    let files = |name: &str| {
        let dir = place.with_file_name(name);
        let paths = fs::read_dir(dir).unwrap().map(|e| e.unwrap().path());
        let json = paths.filter(|p| p.extension() == Some(OsStr::new("json")));
        json.map(|p| serde_json::from_slice(&fs::read(p).unwrap()).unwrap())
            .collect::<Vec<Value>>()
    };
    let dates = |files: &[Value], student: &Value| {
        let own = files.iter().filter(|f| f["student"] == *student);
        let mut dates: Vec<u64> = own.map(|f| f["impact_utc_ns"].as_u64().unwrap()).collect();
        dates.sort_unstable();
        dates
    };
    let hidden = files("json");
    let (plain, hidden_dates) = (
        dates(&files("plain-json"), &student.into()),
        dates(&hidden, &hidden[0]["student"]),
    );
    assert_eq!((plain.len(), hidden_dates.len()), (2, 2));
    let back: Vec<u64> = plain
        .iter()
        .zip(&hidden_dates)
        .map(|(a, b)| a - b)
        .collect();
    assert_eq!(back[0], back[1], "one offset a student");
    let day_ns = 86_400_000_000_000;
    assert!(
        back[0] >= day_ns && back[0].is_multiple_of(day_ns),
        "whole days"
    );
    assert_eq!(hidden[0]["age_band"], "50-59");
    assert_eq!(
        hidden[0]["report"]["measurement"]["events"]["impact"]["time_s"],
        0.0
    );
    let key = fs::read(place.join("anonymous.key")).unwrap();
    assert_eq!(key.len(), 32);
}
