//! How soon a swing is reported, as time of the data, and what share of that time is spent computing.
//! Nothing here decides a test; the data time of first reports is asserted in `first_report`.

#![allow(
    clippy::expect_used,
    clippy::print_stdout,
    reason = "a bench that cannot be set up has no figure to give"
)]

use std::time::Instant;

use analysis::analyzer::{Analyzer, Output};
use analysis::context::Context;
use analysis::forward::{CaptureParams, GolferParams, swing};
use daemon::decode::Decoder;
use daemon::map::MarkerMap;
use daemon::{feed, synthetic};

const GOLFERS: u64 = 8;

/// One report.
#[derive(Debug, Clone, Copy, Default)]
struct Sent {
    /// Device time from impact to the last frame it needed, ms, and frames meanwhile.
    data_ms: f64,
    frames: f64,
    /// Computing from that frame to the report, ms.
    compute_ms: f64,
}

fn main() {
    println!(
        "{:>8} {:>7} | {:>32} | {:>32} | {:>8}",
        "rate",
        "",
        "data after impact, ms (median, most)",
        "computing, ms (median, most)",
        "frames"
    );
    for rate_hz in [240.0, 360.0, 1000.0] {
        let (mut first, mut whole) = (Vec::new(), Vec::new());
        let (mut data_s, mut busy_s) = (0.0, 0.0);
        for seed in 0..GOLFERS {
            one(
                seed,
                rate_hz,
                (&mut first, &mut whole),
                (&mut data_s, &mut busy_s),
            );
        }
        row(rate_hz, "first", &first);
        row(rate_hz, "whole", &whole);
        println!(
            "{rate_hz:>5} Hz: {:.2} % of the data's time is spent computing, both looks included",
            100.0 * busy_s / data_s
        );
    }
}

fn one(
    seed: u64,
    rate_hz: f64,
    (first, whole): (&mut Vec<Sent>, &mut Vec<Sent>),
    (data_s, busy_s): (&mut f64, &mut f64),
) {
    let capture = CaptureParams {
        rate_hz,
        noise_m: 0.0005,
        dropout: 0.01,
        wobble: false,
        plates: None,
    };
    let take = swing(&GolferParams::from_seed(seed), &capture);
    let map = MarkerMap::load("whin_32").expect("a shipped map");
    let due = feed::of_c3d(&synthetic::c3d(&take, &map), Some(&map), 1).expect("a take that fits");
    let mut decoder = Decoder::new(map);
    let mut analyzer = Analyzer::new(Context::default(), 0);
    let (mut out, mut newest_ns) = (Vec::new(), 0);
    for d in &due {
        let begin = Instant::now();
        if let Some(input) = decoder.decode(&d.bytes, 0) {
            analyzer.push(input, &mut out);
        }
        let spent_s = begin.elapsed().as_secs_f64();
        *busy_s += spent_s;
        for output in out.drain(..) {
            let (impact_ns, to) = match output {
                Output::Pose(frame) => {
                    newest_ns = frame.time_ns;
                    continue;
                }
                Output::First { impact_ns, .. } => (impact_ns, &mut *first),
                Output::Swing { impact_ns, .. } => (impact_ns, &mut *whole),
                _ => continue,
            };
            let data_s = (newest_ns - impact_ns) as f64 * 1e-9;
            to.push(Sent {
                data_ms: 1e3 * data_s,
                frames: data_s * rate_hz,
                compute_ms: 1e3 * spent_s,
            });
        }
    }
    *data_s += take.frames.len() as f64 / rate_hz;
}

fn row(rate_hz: f64, name: &str, sent: &[Sent]) {
    let sorted = |of: fn(&Sent) -> f64| {
        let mut all: Vec<f64> = sent.iter().map(of).collect();
        all.sort_unstable_by(f64::total_cmp);
        all
    };
    let [data, frames, compute] = [
        sorted(|s| s.data_ms),
        sorted(|s| s.frames),
        sorted(|s| s.compute_ms),
    ];
    let middle = |all: &[f64]| all.get(all.len() / 2).copied().unwrap_or(f64::NAN);
    let most = |all: &[f64]| all.last().copied().unwrap_or(f64::NAN);
    println!(
        "{rate_hz:>5} Hz {name:>7} | {:>15.1} {:>16.1} | {:>15.1} {:>16.1} | {:>8.0}",
        middle(&data),
        most(&data),
        middle(&compute),
        most(&compute),
        middle(&frames)
    );
}
