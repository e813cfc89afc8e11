//! What a supervisor and whoever watches over many bays see: readiness, the watchdog, health, numbers for
//! Prometheus, logs for machines, an end in the middle of a shot.

use std::fs;
use std::os::unix::net::UnixDatagram;
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::Duration;

use serde_json::{Value, json};

use crate::archive::{Golfer, archive, assert_verified, enroll, swing_ids};
use crate::bay::Bay;
use crate::http::{Api, ask, text};
use crate::support::{python, run_whin, scratch, whin};

/// What the page of numbers holds, by the reader of Prometheus' own Python client: `[name, labels, value]`.
fn samples(bay: &Bay) -> Vec<Value> {
    let (status, page) = text(bay.http, ("GET", "/metrics"), ("", b""));
    assert_eq!(status, 200);
    let read = python("reference/prometheus.py", &[page.as_ref()]);
    serde_json::from_str(&read).unwrap()
}

fn value(samples: &[Value], name: &str, labels: &Value) -> Option<f64> {
    let found = samples.iter().find(|s| {
        let all = labels.as_object().unwrap();
        s[0] == *name && all.iter().all(|(key, value)| s[1][key] == *value)
    });
    found?[2].as_f64()
}

fn take(dir: &Path) -> std::path::PathBuf {
    let made = ["synthesize", "--seed", "7", "--out", dir.to_str().unwrap()];
    assert_eq!(run_whin(&made.map(AsRef::as_ref)).0, 0);
    dir.join("take.c3d")
}

#[test]
fn a_bay_tells_its_numbers() {
    let dir = scratch("operations-numbers");
    let bay = Bay::start("whin_32", &[]);
    let (status, alive) = ask(bay.http, "GET", "/healthz", None);
    assert_eq!((status, &alive["status"]), (200, &json!("ok")));
    assert!(alive["behind_s"].as_f64().unwrap() < 5.0);
    bay.send(&take(&dir), "whin_32", "4");
    let swings = |kind: &str| {
        let labels = json!({ "bay": "bay", "kind": kind });
        value(&samples(&bay), "whin_swings_total", &labels)
    };
    let mut tries = 0;
    while swings("shot").is_none() && swings("swing").is_none() && swings("rehearsal").is_none() {
        tries += 1;
        assert!(tries < 300, "no swing was counted");
        std::thread::sleep(Duration::from_millis(100));
    }
    let all = samples(&bay);
    let version = json!({ "version": env!("CARGO_PKG_VERSION") });
    assert_eq!(value(&all, "whin_build_info", &version), Some(1.0));
    let markers = json!({ "bay": "bay", "content": "markers" });
    assert!(value(&all, "whin_datagrams_received_total", &markers).unwrap() > 500.0);
    assert_eq!(
        value(&all, "whin_datagrams_lost_total", &markers),
        Some(0.0)
    );
    let arrivals = json!({ "queue": "arrivals" });
    assert!(value(&all, "whin_queue_length", &arrivals).is_some());
    let behind = value(&all, "whin_analysis_behind_seconds", &json!({}));
    assert!((0.0..30.0).contains(&behind.unwrap()));
    let memory = value(&all, "process_resident_memory_bytes", &json!({})).unwrap();
    assert!((5e6..1e9).contains(&memory), "{memory}");
    assert_eq!(bay.stop(), Some(0));
}

/// sd_notify(3): a datagram to the socket that `NOTIFY_SOCKET` names, lines `KEY=value`.
#[test]
fn a_supervisor_hears_of_readiness_life_and_end() {
    let dir = scratch("operations-supervisor");
    let path = dir.join("notify");
    let socket = UnixDatagram::bind(&path).unwrap();
    socket
        .set_read_timeout(Some(Duration::from_secs(20)))
        .unwrap();
    let mut program = whin();
    program.env("NOTIFY_SOCKET", &path);
    let bay = Bay::start_by(program, "127.0.0.1:0", "whin_32", &[]);
    let next = || {
        let mut bytes = [0; 256];
        let length = socket.recv(&mut bytes).expect("a word within 20 s");
        String::from_utf8_lossy(&bytes[..length]).trim().to_owned()
    };
    assert_eq!(next(), "READY=1");
    assert_eq!(next(), "WATCHDOG=1");
    assert_eq!(next(), "WATCHDOG=1");
    let stopped = std::thread::spawn(move || bay.stop());
    let mut last = next();
    while last == "WATCHDOG=1" {
        last = next();
    }
    assert_eq!(last, "STOPPING=1");
    assert_eq!(stopped.join().unwrap(), Some(0));
}

/// systemd's own judge of hardening: exposure 1.4 of 10, and no more than 2.0 (`--threshold` is in tenths).
#[test]
fn the_unit_is_hardened() {
    let unit = Path::new(env!("CARGO_MANIFEST_DIR")).join("../daemon/systemd/whin.service");
    let judged = Command::new("systemd-analyze")
        .args(["security", "--offline=true", "--threshold=20"])
        .arg(unit)
        .output()
        .expect("systemd-analyze: run `bash tests/run`");
    let said = String::from_utf8_lossy(&judged.stdout).into_owned();
    assert!(judged.status.success(), "{said}");
    assert!(said.contains("Overall exposure level"), "{said}");
}

/// A SIGTERM while the club comes down: the swing that is under way may be lost, nothing that was shown as
/// archived is.
#[test]
fn an_end_in_the_middle_of_a_shot_loses_nothing_that_was_archived() {
    let dir = scratch("operations-term").join("archive");
    let student = enroll(&dir, &["--consent", "lesson"]);
    let args = ["--archive", dir.to_str().unwrap(), "--student", &student];
    for delay_ms in [0, 700, 1300] {
        let bay = Bay::start("whin_32", &args);
        let before = swing_ids(&dir);
        let golfer = Golfer::start(bay.udp);
        while swing_ids(&dir).len() <= before.len() {
            std::thread::sleep(Duration::from_millis(100));
        }
        std::thread::sleep(Duration::from_millis(delay_ms));
        let api = Api(bay.http);
        let shown = api.get("/api/v1/bays/bay/swings");
        let archived: Vec<String> = shown["swings"]
            .as_array()
            .unwrap()
            .iter()
            .map(|s| s["id"].as_str().unwrap().to_owned())
            .filter(|id| {
                api.get(&format!("/api/v1/bays/bay/swings/{id}"))["archived"]["archived"] == true
            })
            .collect();
        assert_eq!(bay.stop(), Some(0));
        drop(golfer);
        assert!(!archived.is_empty());
        let kept = swing_ids(&dir);
        for id in archived {
            assert!(kept.iter().any(|(_, kept)| *kept == id), "{id} is lost");
        }
        assert_verified(&dir);
    }
    assert_eq!(archive(&dir, &["verify"]).0, 0);
}

#[test]
fn logs_can_be_json() {
    let dir = scratch("operations-logs");
    let file = dir.join("log");
    let log = fs::File::create(&file).unwrap();
    let mut program: Command = whin();
    program.args(["--log", "json"]).stderr(Stdio::from(log));
    let bay = Bay::start_by(program, "127.0.0.1:0", "whin_32", &[]);
    bay.send(&take(&dir), "whin_32", "4");
    assert_eq!(bay.stop(), Some(0));
    let text = fs::read_to_string(&file).unwrap();
    let lines: Vec<Value> = text
        .lines()
        .map(|l| serde_json::from_str(l).unwrap())
        .collect();
    let measured = lines
        .iter()
        .filter(|l| l["fields"]["message"] == "swing measured");
    assert_eq!(measured.count(), 1, "{text}");
}
