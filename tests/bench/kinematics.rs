//! The kinematics of one 3 s swing, 32 markers, beside a vectorized NumPy/SciPy script that does the
//! same filtering, poses, angles, derivatives and events (`reference/kinematics_speed.py`), both on
//! one thread and on the same points; and the cost by frame rate. `bash tests/speed` runs it.
//!
//! Ours is the whole `measure`: repair of clusters, events, impact and every metric, no Monte Carlo.
//! Nothing here decides a test.

#![allow(
    clippy::expect_used,
    clippy::print_stdout,
    reason = "a bench that cannot be set up has no figure to give, and it prints its figures"
)]

#[path = "../accuracy.rs"]
mod accuracy;

use std::path::{Path, PathBuf};
use std::process::Command;
use std::time::Instant;

use analysis::context::Context;
use analysis::forward::{CaptureParams, GolferParams, swing};
use analysis::measure::measure;
use analysis::window::Window;
use daemon::map::MarkerMap;

/// Stretch before and after impact, seconds: address, swing and finish.
const BEFORE_S: f64 = 1.75;
const AFTER_S: f64 = 1.25;
/// Swings measured for each figure; the quickest one counts, as other work on the machine only adds.
const REPEATS: usize = 25;

/// A 3 s window of the synthetic golfer and the slot of impact in it.
fn window(rate_hz: f64) -> (Window, usize) {
    let capture = CaptureParams {
        rate_hz,
        noise_m: 0.0005,
        dropout: 0.0,
        wobble: false,
        plates: None,
    };
    let take = swing(&GolferParams::from_seed(1), &capture);
    let impact = (take.truth.event("impact").expect("an impact") * rate_hz) as usize;
    let from = impact - (BEFORE_S * rate_hz) as usize;
    let to = impact + (AFTER_S * rate_hz) as usize;
    let window = accuracy::window(&take.frames[from..to], &take.landmarks, rate_hz);
    (window, impact - from)
}

/// Quickest time of one whole `measure`, seconds.
fn ours((window, impact): &(Window, usize)) -> f64 {
    let ball = MarkerMap::load("whin_32").expect("a shipped map").ball;
    let context = Context::default();
    (0..REPEATS)
        .map(|_| {
            let start = Instant::now();
            let measured = measure(window, *impact, ball, &context).expect("a swing");
            let took = start.elapsed().as_secs_f64();
            assert!(
                !std::hint::black_box(measured)
                    .values
                    .unwritten()
                    .contains(&0)
            );
            took
        })
        .fold(f64::MAX, f64::min)
}

/// The same window as raw doubles (slot, landmark, coordinate; NaN where missing) with a header.
fn write(dir: &Path, (window, impact): &(Window, usize)) {
    let names: Vec<&str> = window.landmarks.iter().map(|l| l.name()).collect();
    let header = serde_json::json!({
        "rate": window.rate_hz, "landmarks": names, "slots": window.len(), "impact": impact,
        "repeats": REPEATS,
    });
    std::fs::write(dir.join("window.json"), header.to_string()).expect("a place to write");
    let mut bytes = Vec::new();
    for slot in 0..window.len() {
        for track in &window.tracks {
            let p = track[slot].map_or([f64::NAN; 3], |p| [p.x, p.y, p.z]);
            p.iter().for_each(|v| bytes.extend(v.to_le_bytes()));
        }
    }
    std::fs::write(dir.join("window.f64"), bytes).expect("a place to write");
}

/// What the script says: its quickest time in seconds and a few of its values.
fn theirs(window: &(Window, usize)) -> serde_json::Value {
    let here = Path::new(env!("CARGO_MANIFEST_DIR"));
    let dir = std::env::temp_dir().join(format!("whin-speed-{}", std::process::id()));
    std::fs::create_dir_all(&dir).expect("a place to write");
    write(&dir, window);
    let python = std::env::var_os("WHIN_PYTHON")
        .map_or_else(|| here.join("../target/venv/bin/python"), PathBuf::from);
    let out = Command::new(python)
        .arg(here.join("reference/kinematics_speed.py"))
        .arg(&dir)
        .envs(["OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"].map(|v| (v, "1")))
        .output()
        .expect("Python with NumPy and SciPy: run `bash tests/run` once");
    assert!(
        out.status.success(),
        "{}",
        String::from_utf8_lossy(&out.stderr)
    );
    std::fs::remove_dir_all(&dir).expect("the folder was ours");
    serde_json::from_slice(&out.stdout).expect("JSON on standard output")
}

fn main() {
    println!("one swing of 3 s, 32 markers, one thread, quickest of {REPEATS}");
    let mut first = None;
    for rate_hz in [250.0, 500.0, 1000.0, 2000.0] {
        let window = window(rate_hz);
        let (rust, script) = (ours(&window), theirs(&window));
        let python = script["seconds"].as_f64().expect("seconds");
        let per_frame = rust / window.0.len() as f64;
        let first = *first.get_or_insert(per_frame);
        println!(
            "{rate_hz:6.0} Hz  {:8.3} ms ours  {:8.2} ms script  {:5.1} x  {:6.2} us a frame ({:.2} of the first)",
            rust * 1e3,
            python * 1e3,
            python / rust,
            per_frame * 1e6,
            per_frame / first,
        );
        println!("           script's values: {}", script["values"]);
    }
}
