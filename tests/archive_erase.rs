//! Erased means gone: one scan over pages, log, decompressed chunks and exports finds a student before and
//! nothing of him afterwards. What lies outside the archive (exports, backups) is stated to stay.

use std::ffi::OsStr;
use std::fs;
use std::path::{Path, PathBuf};

use daemon::archive::Archive;
use daemon::archive::rows::Student;
use daemon::recording::{Recorded, read};
use protocol::wire::{self, Body};

use crate::archive::{archive, assert_verified, demo_archive, only_recording, swing_ids};
use crate::support::{self, run_whin};

/// The places of each needle in a folder.
fn scan(dir: &Path, needles: &[&[u8]]) -> Vec<Vec<String>> {
    let hex = |bytes: &&[u8]| bytes.iter().map(|b| format!("{b:02x}")).collect::<String>();
    let hex: Vec<String> = needles.iter().map(hex).collect();
    let args: Vec<&OsStr> = [dir.as_os_str()]
        .into_iter()
        .chain(hex.iter().map(OsStr::new))
        .collect();
    serde_json::from_str(&support::python("reference/scan.py", &args)).unwrap()
}

/// The bytes of three markers in a row, from a frame in the middle of a recording.
fn marker_bytes(file: &Path) -> Vec<u8> {
    let datagrams = read(file).unwrap().filter_map(|entry| match entry {
        Recorded::Datagram { bytes, .. } => Some(bytes),
        Recorded::Tick { .. } => None,
    });
    let frame = |bytes: &Vec<u8>| {
        let body = wire::decode(bytes).unwrap().1;
        matches!(body, Body::MarkerFrame(f) if f.markers.iter().take(8).all(|m| m.is_some()))
    };
    let frames: Vec<Vec<u8>> = datagrams.filter(frame).collect();
    let middle = &frames[frames.len() / 2];
    middle[middle.len() - 128..middle.len() - 80].to_vec()
}

/// Another student with a swing, in a store that stays open, so that it keeps its log.
fn second_student(dir: &Path) -> (Archive, String) {
    let parent = dir.parent().unwrap();
    let made = ["synthesize", "--seed", "9", "--out"].map(OsStr::new);
    let made: Vec<&OsStr> = made.into_iter().chain([parent.as_os_str()]).collect();
    assert_eq!(run_whin(&made).0, 0);
    // A store that is open elsewhere keeps its log: the other student is written into that.
    let mut open = Archive::open(dir).unwrap();
    let other = Student {
        id: String::new(),
        name: "Edda Lindqvist".into(),
        side: None,
        sex: None,
        height_m: None,
        mass_kg: None,
        born: 1972,
    };
    let consent = (&["lesson"][..], None);
    let other = open
        .store
        .enroll(&other, consent, 1_750_000_000_000_000_000)
        .unwrap();
    let take = parent.join("take.c3d");
    let args = [
        "import",
        "--no-uncertainty",
        "--student",
        &other,
        take.to_str().unwrap(),
    ];
    assert_eq!(archive(dir, &args).0, 0);
    (open, other)
}

/// Every export of a student, in a folder beside the archive.
fn exported_everywhere(dir: &Path, gone: &str) -> PathBuf {
    let parent = dir.parent().unwrap();
    let exports = parent.join("exports");
    fs::create_dir(&exports).unwrap();
    for shape in ["json", "csv", "parquet", "c3d"] {
        let to = exports.join(shape);
        let args = [
            "export",
            "--as",
            shape,
            "--student",
            gone,
            "--to",
            to.to_str().unwrap(),
        ];
        assert_eq!(archive(dir, &args).0, 0);
    }
    exports
}

#[test]
fn nothing_of_an_erased_student_is_in_pages_log_or_chunks() {
    let dir = demo_archive("archive-gone");
    let sessions = archive(&dir, &["list"]).1["sessions"].clone();
    let gone = sessions[0]["student"].as_str().unwrap();
    let of_gone = swing_ids(&dir).len();
    let recording = only_recording(&dir);
    let markers = marker_bytes(&recording);
    let (mut open, other) = second_student(&dir);
    // The log of what was told has the name of before.
    let renamed = Student {
        name: "Ottoline Winterbourne".into(),
        ..open.store.student(gone).unwrap()
    };
    open.store
        .tell(&renamed, 1_750_000_000_000_000_001)
        .unwrap();
    let exports = exported_everywhere(&dir, gone);

    let name = b"Ottoline Marsh";
    let renamed = b"Ottoline Winterbourne";
    let needles: [&[u8]; 5] = [name, gone.as_bytes(), &markers, renamed, b"Edda Lindqvist"];
    let before = scan(&dir, &needles);
    let file = recording.file_name().unwrap().to_str().unwrap();
    let has = |found: &[String], place: &str| found.iter().any(|f| f == place);
    assert!(has(&before[0], "store.db: bytes"), "{before:?}");
    assert!(has(&before[1], "store.db: bytes"), "{before:?}");
    assert!(
        has(&before[2], &format!("recordings/{file}: chunk")),
        "{before:?}"
    );
    assert!(has(&before[3], "store.db-wal: bytes"), "{before:?}");
    assert!(has(&before[4], "store.db-wal: bytes"), "{before:?}");
    let outside = scan(&exports, &needles);
    for place in [
        "csv/metrics.csv: bytes",
        ".json: bytes",
        ".parquet: table",
        ".c3d: bytes",
    ] {
        assert!(
            outside[1].iter().any(|f| f.ends_with(place)),
            "{place}: {outside:?}"
        );
    }
    assert!(
        outside[0].is_empty() && outside[3].is_empty(),
        "no export has a name: {outside:?}"
    );

    let kept = swing_ids(&dir).len() - of_gone;
    assert!(of_gone > 0 && kept > 0);
    let (code, done) = archive(&dir, &["erase", gone]);
    assert_eq!((code, &done["still_in"]), (0, &serde_json::json!([])));
    let after = scan(&dir, &needles);
    assert_eq!(
        after[..4],
        [const { Vec::<String>::new() }; 4],
        "nothing is left"
    );
    assert!(!after[4].is_empty(), "the other student stays");
    assert_eq!(swing_ids(&dir).len(), kept);
    assert_verified(&dir);
    assert!(
        !scan(&exports, &needles)[1].is_empty(),
        "what went out is not called back"
    );
    // The other one, whose rows went through the log, while the store is still open elsewhere.
    let imported = only_recording(&dir);
    let markers = marker_bytes(&imported);
    let needles: [&[u8]; 3] = [b"Edda Lindqvist", other.as_bytes(), &markers];
    assert!(scan(&dir, &needles).iter().all(|places| !places.is_empty()));
    assert_eq!(archive(&dir, &["erase", &other]).0, 0);
    assert_eq!(scan(&dir, &needles), [const { Vec::<String>::new() }; 3]);
    drop(open);
    assert_eq!(scan(&dir, &needles), [const { Vec::<String>::new() }; 3]);
}
