//! What two other libraries read from C3D files, and the comparison with what we read.

use std::fs;
use std::path::{Path, PathBuf};

use protocol::c3d::{C3d, Marker, read};
use serde_json::Value;

use crate::support;

/// A folder of its own that goes away with the test.
pub(super) struct Scratch(pub(super) PathBuf);

impl Scratch {
    pub(super) fn new(name: &str) -> Self {
        let dir = std::env::temp_dir().join(format!("whin-{name}-{}", std::process::id()));
        fs::create_dir_all(&dir).unwrap();
        Self(dir)
    }
}

impl Drop for Scratch {
    fn drop(&mut self) {
        fs::remove_dir_all(&self.0).ok();
    }
}

/// What one library says about one file.
pub(super) struct Dump {
    pub(super) file: PathBuf,
    pub(super) library: String,
    pub(super) entry: Value,
    /// Frames × markers × [x, y, z, residual].
    points: Vec<f64>,
    /// Channels × samples.
    analog: Vec<f64>,
}

impl Dump {
    fn texts(&self, key: &str) -> Vec<String> {
        let list = self.entry[key].as_array().into_iter().flatten();
        list.map(|v| v.as_str().unwrap().to_owned()).collect()
    }

    fn number(&self, key: &str) -> f64 {
        self.entry[key].as_f64().unwrap()
    }
}

pub(super) fn dumps(files: &[PathBuf], name: &str) -> Vec<Dump> {
    let scratch = Scratch::new(name);
    let mut args = vec![scratch.0.as_os_str()];
    args.extend(files.iter().map(|f| f.as_os_str()));
    let text = support::python("reference/c3d_dump.py", &args);
    let entries: Vec<Value> = serde_json::from_str(&text).unwrap();
    let numbers = |index: usize, kind: &str| {
        let bytes = fs::read(scratch.0.join(format!("{index}.{kind}"))).unwrap_or_default();
        bytes
            .chunks_exact(8)
            .map(|b| f64::from_le_bytes(b.try_into().unwrap()))
            .collect()
    };
    let dump = |(index, entry): (usize, Value)| Dump {
        file: entry["file"].as_str().unwrap().into(),
        library: entry["library"].as_str().unwrap().to_owned(),
        points: numbers(index, "points"),
        analog: numbers(index, "analog"),
        entry,
    };
    entries.into_iter().enumerate().map(dump).collect()
}

pub(super) fn recordings(data: &Path) -> Vec<PathBuf> {
    let mut found = Vec::new();
    let mut folders = vec![data.to_owned()];
    while let Some(folder) = folders.pop() {
        for entry in fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            let c3d = path
                .extension()
                .is_some_and(|e| e.eq_ignore_ascii_case("c3d"));
            if path.is_dir() {
                folders.push(path);
            } else if c3d {
                found.push(path);
            }
        }
    }
    found.sort();
    assert!(
        found.len() >= 25,
        "recordings under {}: {}",
        data.display(),
        found.len()
    );
    found
}

pub(super) fn take(path: &Path) -> C3d {
    read(&fs::read(path).unwrap()).unwrap_or_else(|e| panic!("{}: {e}", path.display()))
}

/// Both sides keep 24 bits of the same number.
pub(super) fn close(a: f64, b: f64) -> bool {
    (a - b).abs() <= 3e-7 * b.abs() + 1e-9
}

fn check_markers(take: &C3d, dump: &Dump) {
    let shape = &dump.entry["points"];
    let (frames, markers) = (take.frames.len() as u64, take.labels.len() as u64);
    assert_eq!(
        (shape[0].as_u64(), shape[1].as_u64()),
        (Some(frames), Some(markers)),
        "{shape}"
    );
    for (marker, theirs) in take
        .frames
        .iter()
        .flatten()
        .zip(dump.points.chunks_exact(4))
    {
        // Both libraries mark lost points by the residual, some files by NaN coordinates.
        let seen = theirs[3] >= 0.0 && theirs[..3].iter().all(|v| v.is_finite());
        assert_eq!(marker.is_some(), seen, "{marker:?} {theirs:?}");
        let Some(Marker { position, residual }) = marker else {
            continue;
        };
        let same = position
            .iter()
            .zip(theirs)
            .all(|(a, b)| close(f64::from(*a), *b));
        assert!(same, "{position:?} {theirs:?}");
        // ezc3d takes the high byte of the fourth word, the camera mask, for the residual; the
        // standard's example (0x3E10 is 16 · scale) and `c3d` say the low byte.
        let residual_known = dump.library == "c3d";
        assert!(
            !residual_known || close(f64::from(*residual), theirs[3]),
            "{residual} {theirs:?}"
        );
    }
}

fn check_analog(take: &C3d, dump: &Dump) {
    let length = take.frames.len() as f64 * take.analog.rate_hz / take.rate_hz;
    for channel in &take.analog.channels {
        assert!((channel.samples.len() as f64 - length).abs() < 1e-6);
    }
    // Where the count of parameter blocks is wrong (originals of the club take) `c3d` misses ANALOG.
    let labels = take
        .parameters
        .get("ANALOG", "LABELS")
        .is_some_and(|l| !l.data.is_empty());
    if labels && dump.texts("analog_labels").is_empty() {
        return;
    }
    assert!(
        close(take.analog.rate_hz, dump.number("analog_rate_hz")),
        "{}",
        take.analog.rate_hz
    );
    let ours: Vec<_> = take
        .analog
        .channels
        .iter()
        .flat_map(|c| &c.samples)
        .collect();
    assert_eq!(ours.len(), dump.analog.len());
    for (a, b) in ours.into_iter().zip(&dump.analog) {
        assert!(close(f64::from(a.unwrap()), *b), "{a:?} {b}");
    }
    let channels = take.analog.channels.iter();
    for (channel, label) in channels.clone().zip(dump.texts("analog_labels")) {
        assert_eq!(channel.label, label);
    }
    for (channel, unit) in channels.zip(dump.texts("analog_units")) {
        assert_eq!(channel.unit, unit);
    }
}

/// ezc3d gives the EVENT group's events, `c3d` those of the header.
fn check_events(take: &C3d, dump: &Dump) {
    let group = take
        .parameters
        .get("EVENT", "USED")
        .and_then(|p| p.count(0))
        .unwrap_or(0)
        > 0;
    let key = if group { "events" } else { "header_events" };
    let Some(theirs) = dump.entry[key].as_array() else {
        return;
    };
    assert_eq!(take.events.len(), theirs.len());
    for (event, other) in take.events.iter().zip(theirs) {
        assert_eq!(
            (event.label.as_str(), event.context.as_str()),
            (text(&other[0]), text(&other[1]))
        );
        assert!(
            (event.time_s - other[2].as_f64().unwrap()).abs() < 1e-5,
            "{event:?} {other}"
        );
    }
}

fn text(value: &Value) -> &str {
    value.as_str().unwrap()
}

pub(super) fn check_same(take: &C3d, dump: &Dump) {
    println!("{} with {}", dump.file.display(), dump.library);
    assert!(close(take.rate_hz, dump.number("rate_hz")));
    assert!(close(
        f64::from(take.first_frame),
        dump.number("first_frame")
    ));
    assert_eq!(take.units, text(&dump.entry["units"]));
    for (label, theirs) in take.labels.iter().zip(dump.texts("labels")) {
        assert_eq!(label, &theirs);
    }
    check_markers(take, dump);
    check_analog(take, dump);
    check_events(take, dump);
}
