//! Recordings against an outside reader: the MCAP reference library of PyPI (package `mcap`), which
//! knows nothing of this code, reads what we write, whole and torn.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

use daemon::recording::{Meta, Recorded, Recorder, read};
use serde_json::{Value, json};

use crate::support;

/// Date of arrival 0 in these recordings, nanoseconds since 1970.
const ZERO_UTC_NS: u64 = 1_750_000_000_000_000_000;

fn meta() -> Meta {
    Meta {
        bay: "south".into(),
        zone: "UTC".into(),
        program: "0.1.0".into(),
        clock_zero_utc_ns: ZERO_UTC_NS,
        marker_map: "version = 1\nname = \"ü\"\n".into(),
        late_ns: BTreeMap::new(),
        only_swings: false,
        context: None,
    }
}

/// Two seconds at 500 datagrams a second and a tick each 10 ms.
fn entries() -> Vec<Recorded> {
    let entry = |n: u64| {
        let time = n * 2_000_000;
        let bytes = (0..n % 400).map(|k| (n * 31 + k * k) as u8).collect();
        let tick = n
            .is_multiple_of(5)
            .then_some(Recorded::Tick { now_ns: time });
        [
            Some(Recorded::Datagram {
                arrival_ns: time,
                bytes,
            }),
            tick,
        ]
    };
    (0..1000).flat_map(entry).flatten().collect()
}

fn write(path: &Path) {
    let mut recorder = Recorder::create(path, &meta()).unwrap();
    for entry in entries() {
        match entry {
            Recorded::Tick { now_ns } => recorder.tick(now_ns),
            // The device clock runs one second behind the arrivals.
            Recorded::Datagram { arrival_ns, bytes } => {
                recorder.push(arrival_ns, &bytes, arrival_ns as i64 - 1_000_000_000)
            }
        }
        .unwrap();
    }
    recorder.finish().unwrap();
}

/// An entry as the script prints it.
fn printed(entry: &Recorded) -> Value {
    match entry {
        Recorded::Tick { now_ns } => json!([now_ns, null]),
        Recorded::Datagram { arrival_ns, bytes } => {
            let hex: String = bytes.iter().map(|b| format!("{b:02x}")).collect();
            json!([arrival_ns, hex])
        }
    }
}

fn listed(path: &Path) -> Value {
    let text = support::python("reference/mcap_list.py", &[path.as_os_str()]);
    let mut files: Vec<Value> = serde_json::from_str(&text).unwrap();
    files.remove(0)
}

fn folder(test: &str) -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join(test);
    drop(fs::remove_dir_all(&folder));
    fs::create_dir_all(&folder).unwrap();
    folder
}

#[test]
fn the_reference_library_reads_what_we_write() {
    let path = folder("recording-whole").join("a.mcap");
    write(&path);
    let file = listed(&path);
    assert_eq!(file["torn"], Value::Null);
    assert_eq!(
        file["entries"],
        entries().iter().map(printed).collect::<Value>()
    );
    assert_eq!(file["channel"], json!(["datagrams", "x-whin-batch"]));
    let metadata = &file["metadata"];
    assert_eq!(metadata["name"], "whin");
    assert_eq!(metadata["whin.format"], "1");
    assert_eq!(metadata["marker_map"], meta().marker_map);
    assert_eq!(metadata["clock_zero_utc_ns"], ZERO_UTC_NS.to_string());
    assert_eq!(metadata["context"], Value::Null);
    let batches = file["log_times"].as_array().unwrap();
    assert_eq!(file["summary"]["messages"], batches.len());
    assert!(
        (30..=60).contains(&batches.len()),
        "two seconds are {} batches",
        batches.len()
    );
    assert_eq!(batches[0], ZERO_UTC_NS);
    // Device times before 0 have no place in MCAP: the first second falls back to the arrival.
    assert_eq!(file["publish_times"][0], ZERO_UTC_NS);
    let last = file["publish_times"].as_array().unwrap().last().unwrap();
    assert!(
        last.as_u64().unwrap() < 1_000_000_000,
        "device time, not a date"
    );
}

#[test]
fn both_readers_get_the_same_out_of_a_torn_file() {
    let folder = folder("recording-torn");
    let (whole, torn) = (folder.join("whole.mcap"), folder.join("torn.mcap"));
    write(&whole);
    let bytes = fs::read(&whole).unwrap();
    for cut in [bytes.len() / 5, bytes.len() / 2, bytes.len() * 3 / 4] {
        fs::write(&torn, &bytes[..cut]).unwrap();
        let file = listed(&torn);
        assert_ne!(file["torn"], Value::Null);
        let ours: Vec<Recorded> = read(&torn).unwrap().collect();
        assert!(!ours.is_empty() && ours.len() < entries().len());
        assert_eq!(file["entries"], ours.iter().map(printed).collect::<Value>());
    }
}
