//! Resident memory over hours of a lesson. Run by `bash tests/long/memory`, which says the flags.

#![allow(
    clippy::expect_used,
    clippy::panic,
    clippy::print_stdout,
    reason = "a campaign that cannot run says so and stops"
)]

#[path = "campaign.rs"]
mod campaign;
#[path = "../lessons.rs"]
mod lessons;

use analysis::forward::LessonParams;
use lessons::{Rig, watched};

/// Between two figures, hours of data.
const EVERY_H: f64 = 0.25;
/// What comes before fills rings and the allocator, hours.
const SETTLED_H: f64 = 1.0;

fn main() {
    let mut params = LessonParams::usual(7, 6.0 * 3600.0);
    campaign::flags(|flag, number| {
        match flag {
            "--hours" => params.length_s = 3600.0 * number(),
            "--seed" => params.seed = number() as u64,
            "--rate" => params.rate_hz = number(),
            _ => return false,
        }
        true
    });
    let (mut figures, mut swings) = (Vec::new(), 0);
    watched(&params, Rig::USUAL, |run| {
        let hours = run.seconds / 3600.0;
        if hours >= EVERY_H * (figures.len() + 1) as f64 {
            // Reports leave the process: they are not what is weighed.
            swings += run.found.len();
            (run.found, run.dismissed) = (Vec::new(), Vec::new());
            let mb = resident_mb();
            println!("{hours:.2} h: {mb:.2} MB, {swings} swings");
            figures.push((hours, mb));
        }
    });
    let settled: Vec<_> = figures.into_iter().filter(|f| f.0 >= SETTLED_H).collect();
    if let Some(slope) = slope(&settled) {
        println!("slope after the first hour: {slope:+.3} MB an hour");
    }
}

/// Resident memory of this process, MB (proc(5): the second number of `statm`, in pages).
fn resident_mb() -> f64 {
    let text = std::fs::read_to_string("/proc/self/statm").expect("a Linux kernel");
    let pages = text.split_whitespace().nth(1).expect("a second number");
    pages.parse::<f64>().expect("a number") * 4096.0 / 1e6
}

/// Slope of the line of least squares.
fn slope(points: &[(f64, f64)]) -> Option<f64> {
    let n = points.len() as f64;
    let mean = |of: fn(&(f64, f64)) -> f64| points.iter().map(of).sum::<f64>() / n;
    let (x, y) = (mean(|p| p.0), mean(|p| p.1));
    let over: f64 = points.iter().map(|p| (p.0 - x) * (p.1 - y)).sum();
    let under: f64 = points.iter().map(|p| (p.0 - x).powi(2)).sum();
    (under > 0.0).then(|| over / under)
}
