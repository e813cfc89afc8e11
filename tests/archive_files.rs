//! What goes out of an archive as files for others and comes in from them: C3D by two other libraries
//! (ezc3d and c3d of PyPI), Parquet by DuckDB, anonymous exports searched byte by byte.

use std::ffi::OsStr;
use std::fs;
use std::path::{Path, PathBuf};

use analysis::forward::{CaptureParams, GolferParams, PlateParams, swing};
use daemon::archive::Archive;
use daemon::archive::again::{self, Ask};
use daemon::archive::rows::{Session, Which};
use daemon::feed::{self, Due, Feed};
use daemon::map::MarkerMap;
use daemon::recording::{Meta, Recorder};
use daemon::{outgoing, synthetic};
use protocol::wire::{Plate, PlateKind, PlateList, Source};
use serde_json::Value;

use crate::archive::{archive, assert_verified, enroll, swing_ids};
use crate::support::{self, run_whin, scratch};

/// Files as a reference library of C3D sees them.
struct Seen {
    entry: Value,
    /// Frames × markers × [x, y, z, residual].
    points: Vec<f64>,
    /// Channels × samples.
    analog: Vec<f64>,
}

impl Seen {
    fn markers(&self) -> usize {
        self.entry["points"][1].as_u64().unwrap() as usize
    }

    fn frames(&self) -> usize {
        self.entry["points"][0].as_u64().unwrap() as usize
    }

    fn channel(&self, n: usize) -> &[f64] {
        let samples = self.entry["analog"][1].as_u64().unwrap() as usize;
        &self.analog[n * samples..(n + 1) * samples]
    }
}

/// Each file by each library: ezc3d, c3d, ezc3d, …
fn seen(files: &[&Path]) -> Vec<Seen> {
    let out = scratch("seen-c3d");
    let mut args = vec![out.as_os_str()];
    args.extend(files.iter().map(|f| f.as_os_str()));
    let text = support::python("reference/c3d_dump.py", &args);
    let entries: Vec<Value> = serde_json::from_str(&text).unwrap();
    let numbers = |index: usize, kind: &str| {
        let bytes = fs::read(out.join(format!("{index}.{kind}"))).unwrap_or_default();
        let (chunks, _) = bytes.as_chunks();
        chunks.iter().map(|b| f64::from_le_bytes(*b)).collect()
    };
    let one = |(n, entry): (usize, Value)| {
        assert_eq!(entry["error"], Value::Null, "{entry}");
        Seen {
            points: numbers(n, "points"),
            analog: numbers(n, "analog"),
            entry,
        }
    };
    entries.into_iter().enumerate().map(one).collect()
}

/// `take.c3d` of the synthetic golfer and the archive it was imported to.
pub(crate) fn imported(name: &str, consent: &[&str]) -> (PathBuf, PathBuf, String) {
    let dir = scratch(name);
    let made = [
        "synthesize".as_ref(),
        "--seed".as_ref(),
        "6".as_ref(),
        "--out".as_ref(),
        dir.as_os_str(),
    ];
    let (code, _, err) = run_whin(&made);
    assert_eq!(code, 0, "{err}");
    let (take, place) = (dir.join("take.c3d"), dir.join("archive"));
    let student = enroll(&place, consent);
    let args = ["import", "--student", &student, "--date", "2024-05-17"];
    let args: Vec<&str> = args.into_iter().chain([take.to_str().unwrap()]).collect();
    let (code, done) = archive(&place, &args);
    assert_eq!(code, 0, "{done}");
    assert_eq!(done["swings"].as_array().unwrap().len(), 1);
    (take, place, student)
}

pub(crate) fn exported(place: &Path, name: &str, extra: &[&str]) -> (PathBuf, Value) {
    let to = place.with_file_name(name);
    let mut args = vec!["export", "--to", to.to_str().unwrap()];
    args.extend(extra);
    let (code, done) = archive(place, &args);
    assert_eq!(code, 0, "{done}");
    (to, done)
}

fn only_file(dir: &Path, kind: &str) -> PathBuf {
    let files = fs::read_dir(dir).unwrap().map(|e| e.unwrap().path());
    let mut files = files.filter(|f| f.extension() == Some(OsStr::new(kind)));
    let file = files.next().unwrap();
    assert!(files.next().is_none());
    file
}

#[test]
fn a_swing_goes_in_and_out_as_c3d_and_other_libraries_see_the_same() {
    let (take, place, student) = imported("files-c3d", &["--consent", "lesson"]);
    assert_verified(&place);
    let (session, id) = swing_ids(&place).pop_first().unwrap();
    let (_, shown) = archive(&place, &["show", &session, &id]);
    let report = &shown["results"][0]["report"]["measurement"];
    let (to, done) = exported(&place, "c3d", &["--as", "c3d"]);
    assert_eq!(
        (&done["swings"], &done["unfit"]),
        (&1.into(), &Value::Array(vec![]))
    );
    let file = only_file(&to, "c3d");
    let all = seen(&[&take, &file]);
    let [truth, _, ezc3d, c3d] = &all[..] else {
        panic!("two files by two libraries")
    };
    // Events: the report's, seconds from the file's first frame.
    let events = ezc3d.entry["events"].as_array().unwrap();
    let rate_hz = ezc3d.entry["rate_hz"].as_f64().unwrap();
    let time = |name: &str| {
        let event = events.iter().find(|e| e[0] == name);
        event.unwrap_or_else(|| panic!("{name} in {events:?}"))[2]
            .as_f64()
            .unwrap()
    };
    let frame = |name: &str| report["events"][name]["frame"].as_f64().unwrap();
    let offset = (frame("impact") - time("impact") * rate_hz).round();
    let told = report["events"].as_object().unwrap();
    let told = told.iter().filter(|(_, e)| e["frame"].is_f64());
    assert_eq!(told.clone().count(), events.len());
    for (name, _) in told {
        let off = (frame(name) - offset) / rate_hz - time(name);
        assert!(off.abs() < 1e-5, "{name}: {off} s");
    }
    assert!(events.iter().all(|e| e[1] == "General"));
    for name in ["takeaway_start", "takeaway_end", "top", "impact", "finish"] {
        assert!(time(name) >= 0.0, "{name}");
    }
    assert_eq!(ezc3d.entry["subjects"], serde_json::json!([student]));
    let offset = offset as usize;
    for library in [ezc3d, c3d] {
        same_points(library, truth, offset);
        same_forces(library, truth, offset);
    }
    let plates = |s: &Seen| s.entry["plates"].clone();
    assert_eq!(
        plates(ezc3d),
        plates(truth),
        "type, corners, origin, channels"
    );
    assert_eq!(ezc3d.entry["own"]["ANALOG_RESAMPLED"][0], 0);

    // Our own reader, and the analysis of the file.
    let read = protocol::c3d::read(&fs::read(&file).unwrap()).unwrap();
    assert_eq!((read.warnings.len(), read.plates.len()), (0, 2));
    let again = support::analyze(&file, &["--no-uncertainty"]);
    let swings = again["swings"].as_array().unwrap();
    assert_eq!(swings.len(), 1, "{:?}", again["remarks"]);
    let impact_s = swings[0]["events"]["impact"]["time_s"].as_f64().unwrap();
    assert!((impact_s - time("impact")).abs() < 1e-4);
    let value = |of: &Value| {
        of["metrics"]["head_speed@impact"]["value"]
            .as_f64()
            .unwrap()
    };
    assert!((value(&swings[0]) - value(report)).abs() < 0.01);
}

/// Every point within 0.01 mm, and what was not seen is not seen.
fn same_points(found: &Seen, truth: &Seen, offset: usize) {
    assert_eq!(found.entry["labels"], truth.entry["labels"]);
    assert_eq!(found.entry["units"], truth.entry["units"]);
    let row = 4 * truth.markers();
    assert!(found.frames() > 1000 && found.frames() + offset <= truth.frames());
    let truth = truth.points[offset * row..].chunks_exact(4);
    for (n, (a, b)) in found.points.chunks_exact(4).zip(truth).enumerate() {
        let unseen = |p: &[f64]| p[3].is_nan() || p[3] < 0.0;
        assert_eq!(unseen(a), unseen(b), "point {n}");
        let off = (0..3).map(|i| (a[i] - b[i]).abs()).fold(0.0, f64::max);
        assert!(unseen(a) || off < 0.01, "point {n}: {off} mm");
    }
}

/// Every channel within 0.01 N (moments: 0.01 N·mm times the same digits, 0.1 N·mm).
fn same_forces(found: &Seen, truth: &Seen, offset: usize) {
    let rate = |s: &Seen| s.entry["analog_rate_hz"].as_f64().unwrap();
    assert_eq!(rate(found).to_bits(), rate(truth).to_bits());
    let a_frame = (rate(truth) / truth.entry["rate_hz"].as_f64().unwrap()).round() as usize;
    for n in 0..12 {
        let limit = if n % 6 < 3 { 0.01 } else { 0.1 };
        let pairs = found
            .channel(n)
            .iter()
            .zip(&truth.channel(n)[offset * a_frame..]);
        let off = pairs.map(|(a, b)| (a - b).abs()).fold(0.0, f64::max);
        assert!(off < limit, "channel {n}: {off}");
        // A block of samples may begin before the window or end after it.
        let gone = found.channel(n).iter().filter(|v| !v.is_finite()).count();
        assert!(gone <= 50, "channel {n}: {gone} samples are no numbers");
    }
}

/// A smooth force of known size at any time, N.
fn force(t: f64) -> f64 {
    400.0 + 100.0 * (2.0 * std::f64::consts::PI * 3.0 * t).sin()
}

/// A session of one recording: the golfer at 360 Hz and one plate at 1000 Hz that begins 0.4 ms late.
fn odd_rates(dir: &Path) -> String {
    let capture = CaptureParams {
        rate_hz: 360.0,
        noise_m: 0.0005,
        dropout: 0.0,
        wobble: false,
        plates: Some(PlateParams::USUAL),
    };
    let take = swing(&GolferParams::from_seed(6), &capture);
    let map = MarkerMap::load("whin_32").unwrap();
    let mut file = synthetic::c3d(&take, &map);
    (file.plates, file.analog) = (Vec::new(), protocol::c3d::Analog::default());
    let mut due: Vec<Due> = feed::of_c3d(&file, Some(&map), 3).unwrap();
    let seconds = file.frames.len() as f64 / 360.0;
    late_plate(seconds, &mut due);
    due.sort_by_key(|d| d.time_ns);
    filed(dir, &map, &due)
}

/// The datagrams of one plate at 1000 Hz, 0.4 ms late.
fn late_plate(seconds: f64, due: &mut Vec<Due>) {
    let source = Source {
        rate_hz: 1000.0,
        meters_per_unit: Some(1.0),
        bay_from_source: None,
        bay_origin: [0.0; 3],
    };
    let corners = [
        [0.3, 0.2, 0.0],
        [-0.3, 0.2, 0.0],
        [-0.3, -0.2, 0.0],
        [0.3, -0.2, 0.0],
    ];
    let plate = Plate {
        kind: PlateKind::Moments,
        corners,
        origin: [0.0, 0.0, -0.02],
    };
    let list = PlateList {
        source,
        total: 1,
        first: 0,
        plates: vec![plate],
    };
    let mut forces = Feed::forces(list, 3);
    for first in (0..(seconds * 1000.0) as u64).step_by(20) {
        let values: Vec<Option<f32>> = (first..first + 20)
            .flat_map(|n| {
                let f = force(n as f64 / 1000.0 + 0.0004) as f32;
                [0.1 * f, 0.2 * f, f, 0.01 * f, 0.02 * f, 0.0].map(Some)
            })
            .collect();
        let time_ns = first as i64 * 1_000_000 + 400_000;
        forces.samples(first, time_ns, (6, &values), due).unwrap();
    }
}

/// An archive whose only session is a recording of these datagrams.
fn filed(dir: &Path, map: &MarkerMap, due: &[Due]) -> String {
    let student = enroll(dir, &["--consent", "lesson"]);
    let mut open = Archive::open(dir).unwrap();
    let meta = Meta {
        bay: "east".into(),
        zone: "UTC".into(),
        program: "0.1.0".into(),
        clock_zero_utc_ns: 1_750_000_000_000_000_000,
        marker_map: map.text.clone(),
        context: None,
        late_ns: std::collections::BTreeMap::new(),
        only_swings: false,
    };
    let mut recorder = Recorder::create(&open.recording("odd.mcap"), &meta).unwrap();
    for d in due {
        recorder
            .push(d.time_ns as u64, &d.bytes, d.time_ns)
            .unwrap();
    }
    recorder.finish().unwrap();
    let session = Session {
        id: "odd".into(),
        student: student.clone(),
        bay: "east".into(),
        zone: "UTC".into(),
        program: "0.1.0".into(),
        began_utc_ns: meta.clock_zero_utc_ns,
        ended_utc_ns: None,
    };
    open.store.begin_session(&session).unwrap();
    open.store.add_recording("odd", "odd.mcap").unwrap();
    let ask = Ask {
        which: Which::All,
        swing: None,
        uncertainty: false,
        now_utc_ns: meta.clock_zero_utc_ns,
    };
    let moved = again::reanalyze(&mut open, &outgoing::value_ids(), ask, &|| {}).unwrap();
    assert_eq!(moved.added.len(), 1);
    student
}

#[test]
fn samples_of_another_rate_are_brought_to_a_multiple_and_the_file_says_so() {
    let dir = scratch("files-odd").join("archive");
    odd_rates(&dir);
    let (to, _) = exported(&dir, "c3d", &["--as", "c3d"]);
    let all = seen(&[&only_file(&to, "c3d")]);
    let (session, id) = swing_ids(&dir).pop_first().unwrap();
    let (_, shown) = archive(&dir, &["show", &session, &id]);
    let impact = &shown["results"][0]["report"]["measurement"]["events"]["impact"];
    let events = all[0].entry["events"].as_array().unwrap();
    let impact_s = events.iter().find(|e| e[0] == "impact").unwrap()[2]
        .as_f64()
        .unwrap();
    let start_s = impact["time_s"].as_f64().unwrap() - impact_s;
    for library in &all {
        assert_eq!(
            library.entry["analog_rate_hz"], 1080.0,
            "the next multiple of 360"
        );
        let found = library.channel(2);
        let known: Vec<(usize, &f64)> = found
            .iter()
            .enumerate()
            .filter(|(_, v)| v.is_finite())
            .collect();
        assert!(
            known.len() + 50 >= found.len(),
            "a block of samples begins before or ends after the window"
        );
        for (n, value) in known {
            let off = value - force(start_s + n as f64 / 1080.0);
            assert!(off.abs() < 0.01, "sample {n}: {off} N");
        }
    }
    let own = &all[0].entry["own"];
    assert_eq!(
        (&own["ANALOG_RESAMPLED"][0], &own["ANALOG_FROM_HZ"][0]),
        (&1.into(), &1000.0.into())
    );
    // The plate speaks metres, the markers' file millimetres.
    let corner = all[0].entry["plates"][0]["corners"][0].as_array().unwrap();
    let corner: Vec<f64> = corner.iter().map(|v| v.as_f64().unwrap()).collect();
    assert!((corner[0] - 300.0).abs() < 1e-3 && (corner[1] - 200.0).abs() < 1e-3);
}

#[test]
fn files_without_a_swing_or_a_consent_store_nothing() {
    let (take, place, student) = imported("files-none", &["--consent", "lesson"]);
    let before = (
        swing_ids(&place),
        fs::read_dir(place.join("recordings")).unwrap().count(),
    );
    // The golfer stands at address for the first second, and swings later.
    let mut still = protocol::c3d::read(&fs::read(&take).unwrap()).unwrap();
    let a_frame = still.analog.channels[0].samples.len() / still.frames.len();
    still.frames.truncate(300);
    let shorter = still.analog.channels.iter_mut();
    shorter.for_each(|c| c.samples.truncate(300 * a_frame));
    let (empty, rubbish) = (
        take.with_file_name("still.c3d"),
        take.with_file_name("rubbish.c3d"),
    );
    fs::write(&empty, protocol::c3d::write(&still).unwrap()).unwrap();
    fs::write(&rubbish, b"no take").unwrap();
    let mut args: Vec<&OsStr> = vec!["archive".as_ref(), "import".as_ref()];
    args.extend(["--student", &student, "--archive"].map(OsStr::new));
    args.extend([place.as_os_str(), empty.as_os_str(), rubbish.as_os_str()]);
    let (code, out, _) = run_whin(&args);
    assert_ne!(code, 0);
    assert!(
        out.contains("still.c3d: no swing found") && out.contains("rubbish.c3d"),
        "{out}"
    );
    let after = (
        swing_ids(&place),
        fs::read_dir(place.join("recordings")).unwrap().count(),
    );
    assert_eq!(after, before);
    let stranger = enroll(&place, &["--consent", "research"]);
    args[3] = stranger.as_ref();
    let (code, _, err) = run_whin(&args);
    assert!(code == 2 && err.contains("no consent to `lesson`"), "{err}");
    assert_verified(&place);
}

#[test]
fn duckdb_reads_the_metric_table_and_its_totals_are_those_of_the_json() {
    let (take, place, student) = imported("files-parquet", &["--consent", "lesson"]);
    let other = take.with_file_name("other");
    let made = ["synthesize", "--seed", "9", "--side", "left", "--out"].map(OsStr::new);
    let made: Vec<&OsStr> = made.into_iter().chain([other.as_os_str()]).collect();
    assert_eq!(run_whin(&made).0, 0);
    let file = other.join("take.c3d");
    let args = [
        "import",
        "--student",
        &student,
        "--date",
        "2025-11-30",
        file.to_str().unwrap(),
    ];
    assert_eq!(archive(&place, &args).0, 0);
    let (table, done) = exported(&place, "parquet", &["--as", "parquet"]);
    assert_eq!((&done["swings"], &done["files"]), (&2.into(), &2.into()));
    assert!(
        table
            .join("bay=import/month=2024-05/metrics.parquet")
            .is_file()
    );
    let (json, _) = exported(&place, "json", &["--as", "json"]);
    let args = [table.as_os_str(), json.as_os_str()];
    let found: Value =
        serde_json::from_str(&support::python("reference/parquet_totals.py", &args)).unwrap();
    let metrics = found["metrics"].as_object().unwrap();
    assert_eq!(found["rows"], 2 * metrics.len());
    assert_eq!(found["only_in_parquet"], serde_json::json!([]));
    assert_eq!(found["bays"], serde_json::json!(["import"]));
    assert_eq!(found["months"], serde_json::json!(["2024-05", "2025-11"]));
    assert_eq!(found["columns"]["impact"], "TIMESTAMP WITH TIME ZONE");
    let mut compared = 0;
    for (name, both) in metrics {
        for (a, b) in both[0]
            .as_array()
            .unwrap()
            .iter()
            .zip(both[1].as_array().unwrap())
        {
            let Some((a, b)) = a.as_f64().zip(b.as_f64()) else {
                assert_eq!(a, b, "{name}");
                continue;
            };
            // A sum of two in another order: the last bit.
            assert!((a - b).abs() <= 1e-12 * a.abs(), "{name}: {a} and {b}");
            compared += 1;
        }
    }
    assert!(compared > 800, "{compared} totals");
}
