//! What one swing costs: a window through the exact look, and a stream through the whole analyzer.
//! Absolute times mean little on shared machines; the figures to read are the ratios between rates
//! and against real time. Nothing here decides a test.

#![allow(
    clippy::expect_used,
    reason = "a bench that cannot be set up has no figure to give"
)]

#[path = "../accuracy.rs"]
mod accuracy;

use analysis::analyzer::Analyzer;
use analysis::context::Context;
use analysis::forward::{CaptureParams, GolferParams, Take, swing};
use daemon::decode::Decoder;
use daemon::feed::{self, Due};
use daemon::map::MarkerMap;
use daemon::synthetic;
use divan::Bencher;

fn main() {
    divan::main();
}

fn take(rate_hz: f64) -> Take {
    let capture = CaptureParams {
        rate_hz,
        noise_m: 0.0005,
        dropout: 0.01,
        wobble: false,
        plates: None,
    };
    swing(&GolferParams::from_seed(1), &capture)
}

fn datagrams(rate_hz: f64) -> Vec<Due> {
    let map = MarkerMap::load("whin_32").expect("a shipped map");
    let take = synthetic::c3d(&take(rate_hz), &map);
    feed::of_c3d(&take, Some(&map), 1).expect("a take that fits the format")
}

/// Eight seconds of a bay through decode, order, assembly, detection and one measured swing.
#[divan::bench(args = [240.0, 360.0, 1000.0], sample_count = 10)]
fn stream_of_eight_seconds(bencher: Bencher<'_, '_>, rate_hz: f64) {
    let due = datagrams(rate_hz);
    bencher.bench(|| {
        let mut decoder = Decoder::new(MarkerMap::load("whin_32").expect("a shipped map"));
        let mut analyzer = Analyzer::new(Context::default(), 50_000_000);
        let mut out = Vec::new();
        for d in &due {
            if let Some(input) = decoder.decode(&d.bytes, 0) {
                analyzer.push(input, &mut out);
                out.clear();
            }
        }
    });
}

/// Decoding alone: the floor of the stream.
#[divan::bench(args = [1000.0], sample_count = 10)]
fn decode_only(bencher: Bencher<'_, '_>, rate_hz: f64) {
    let due = datagrams(rate_hz);
    bencher.bench(|| {
        let mut decoder = Decoder::new(MarkerMap::load("whin_32").expect("a shipped map"));
        due.iter()
            .filter(|d| decoder.decode(&d.bytes, 0).is_some())
            .count()
    });
}

/// The exact look at one window: clean, find, measure every metric.
#[divan::bench(args = [107.5, 360.0, 1000.0], sample_count = 10)]
fn one_swing(bencher: Bencher<'_, '_>, rate_hz: f64) {
    let map = MarkerMap::load("whin_32").expect("a shipped map");
    let take = take(rate_hz);
    let impact = (take.truth.event("impact").expect("an impact") * rate_hz) as usize;
    let end = impact + (1.3 * rate_hz) as usize;
    let window = accuracy::window(&take.frames[..end], &take.landmarks, rate_hz);
    let context = Context::default();
    bencher.bench(|| {
        analysis::measure::measure(&window, impact, map.ball, &context).expect("a swing")
    });
}
