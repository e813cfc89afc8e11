//! Where the tests find the outside: recordings, the reference Python, the program under test.
//! `tests/run` sets the variables; a bare `cargo test` falls back to sensible places.

use std::ffi::OsStr;
use std::path::{Path, PathBuf};
use std::process::Command;

use analysis::context::Context;
use analysis::forward::{CaptureParams, GolferParams, swing};
use daemon::feed::{self, Due};
use daemon::map::MarkerMap;
use daemon::offline::{self, Offline};
use daemon::receive::Arrival;
use daemon::{outgoing, synthetic};
use protocol::c3d::C3d;
use protocol::report::Measurement;
use serde_json::Value;

/// Top of the checkout.
pub(crate) fn top() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("..")
}

/// The folder of real recordings (`WHIN_DATA`, default `../shared/data`), or `None` with a plain
/// word on standard error. In CI its absence is a failure.
pub(crate) fn data() -> Option<PathBuf> {
    let dir =
        std::env::var_os("WHIN_DATA").map_or_else(|| top().join("../shared/data"), PathBuf::from);
    if dir.is_dir() {
        return Some(dir);
    }
    assert!(
        std::env::var_os("CI").is_none(),
        "recordings absent in CI: {}",
        dir.display()
    );
    eprintln!(
        "SKIPPED: no recordings at {} (set WHIN_DATA)",
        dir.display()
    );
    None
}

/// The program under test: `WHIN_BIN`, else the one in the target folder of a release or debug build.
pub(crate) fn whin() -> Command {
    let built = ["release", "debug"].map(|profile| top().join("target").join(profile).join("whin"));
    let named = std::env::var_os("WHIN_BIN").map(PathBuf::from);
    let program = named.into_iter().chain(built).find(|p| p.is_file());
    Command::new(
        program.expect("no program to test: run `bash tests/run` (or build and set WHIN_BIN)"),
    )
}

/// Runs the program to its end: exit code, standard output, standard error.
pub(crate) fn run_whin(args: &[&OsStr]) -> (i32, String, String) {
    let out = whin().args(args).output().expect("the program starts");
    let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
    (
        out.status.code().expect("it ended by itself"),
        text(&out.stdout),
        text(&out.stderr),
    )
}

/// `whin analyze FILE --markers MAP --json` as JSON.
pub(crate) fn analyze(file: &Path, extra: &[&str]) -> Value {
    let mut args: Vec<&OsStr> = vec!["analyze".as_ref(), file.as_os_str(), "--json".as_ref()];
    args.extend(extra.iter().map(OsStr::new));
    let (code, out, err) = run_whin(&args);
    assert_eq!(code, 0, "{err}");
    serde_json::from_str(&out).expect("JSON on standard output")
}

/// A Python script of `tests/` with the reference libraries, ready to start.
pub(crate) fn python_command(script: &str) -> Command {
    let python = std::env::var_os("WHIN_PYTHON")
        .map_or_else(|| top().join("target/venv/bin/python"), PathBuf::from);
    let mut command = Command::new(python);
    command.arg(Path::new(env!("CARGO_MANIFEST_DIR")).join(script));
    command
}

/// Runs a Python script of `tests/` and returns its standard output.
pub(crate) fn python(script: &str, args: &[&OsStr]) -> String {
    let out = python_command(script).args(args).output();
    let out = out.unwrap_or_else(|e| panic!("no Python for {script} ({e}): run `bash tests/run`"));
    assert!(
        out.status.success(),
        "{script}: {}",
        String::from_utf8_lossy(&out.stderr)
    );
    String::from_utf8_lossy(&out.stdout).into_owned()
}

/// A folder of this test alone, emptied.
pub(crate) fn scratch(name: &str) -> PathBuf {
    let dir = std::env::temp_dir().join(format!("whin-test-{}-{name}", std::process::id()));
    if dir.exists() {
        std::fs::remove_dir_all(&dir).expect("the old folder goes");
    }
    std::fs::create_dir_all(&dir).expect("a folder in the system's temporary place");
    dir
}

/// A take through the datagrams and the analyzer, without a socket.
pub(crate) fn analyzed(take: &C3d, map: MarkerMap) -> Offline {
    analyzed_datagrams(
        feed::of_c3d(take, Some(&map), 1).expect("a take that fits the format"),
        map,
    )
}

/// Datagrams through the analyzer, without a socket.
pub(crate) fn analyzed_datagrams(due: Vec<Due>, map: MarkerMap) -> Offline {
    analyzed_with(due, map, Context::default())
}

/// The same with what is told about the golfer.
pub(crate) fn analyzed_with(due: Vec<Due>, map: MarkerMap, context: Context) -> Offline {
    let arrivals = due.into_iter().map(|d| Arrival::Datagram {
        received_ns: 0,
        bytes: d.bytes.into(),
    });
    offline::analyze(arrivals, map, context)
}

/// A take of the synthetic golfer (seed 6, 360 Hz, 0.5 mm) as a file of the shipped map, and its truth.
pub(crate) fn golfer_take(wobble: bool) -> (C3d, Measurement) {
    let capture = CaptureParams {
        rate_hz: 360.0,
        noise_m: 0.0005,
        dropout: 0.0,
        wobble,
        plates: None,
    };
    let take = swing(&GolferParams::from_seed(6), &capture);
    let map = MarkerMap::load("whin_32").unwrap();
    (
        synthetic::c3d(&take, &map),
        synthetic::truth(&take.truth, capture.rate_hz, (0.0, 0.0)),
    )
}

/// The only swing of a take with the shipped map.
pub(crate) fn only_swing(take: &C3d) -> Measurement {
    let found = analyzed(take, MarkerMap::load("whin_32").unwrap());
    assert_eq!(found.swings.len(), 1, "{:?}", found.remarks);
    outgoing::measurement(&found.swings[0])
}

/// A table as it was looked at; `WHIN_SNAPSHOTS=write` writes it anew.
pub(crate) fn is_as_kept(name: &str, table: &str) {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("snapshots/{name}.txt"));
    if std::env::var("WHIN_SNAPSHOTS").is_ok_and(|v| v == "write") {
        std::fs::write(&path, table).expect("a folder for snapshots");
    }
    let kept = std::fs::read_to_string(&path).expect("a kept table");
    assert_eq!(kept, table, "looked at and right: WHIN_SNAPSHOTS=write");
}
