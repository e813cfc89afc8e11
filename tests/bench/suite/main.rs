//! What the whole program costs, each figure beside a baseline that is built and run here too. Run by
//! `bash tests/bench/run`, which says what it prints. Nothing here decides a test: figures depend on the machine
//! and what else it does, so that only ratios of one run mean something.

#![allow(
    clippy::expect_used,
    clippy::panic,
    clippy::unwrap_used,
    clippy::print_stdout,
    clippy::print_stderr,
    dead_code,
    reason = "a bench that cannot be set up has no figure to give; helpers of the tests are used in part"
)]

#[path = "../../accuracy.rs"]
mod accuracy;
#[path = "../../bay.rs"]
mod bay;
#[path = "../../http.rs"]
mod http;
#[path = "../../support.rs"]
mod support;

mod archive;
mod cpu;
mod draws;
mod flood;
mod growth;
mod hall;
mod ingest;
mod rows;

/// A part of the suite; true: a shorter one.
type Part = fn(bool);

const PARTS: [(&str, Part); 5] = [
    ("ingest", ingest::rows),
    ("hall", hall::rows),
    ("draws", draws::rows),
    ("archive", archive::rows),
    ("growth", growth::rows),
];

fn main() {
    // `--bench` is Cargo's own word to whatever it runs as a bench.
    let asked: Vec<String> = std::env::args()
        .skip(1)
        .filter(|a| a != "--bench")
        .collect();
    let quick = asked.iter().any(|a| a == "--quick");
    let named = |name: &str| asked.iter().any(|a| a == name);
    let all = !PARTS.iter().any(|(name, _)| named(name));
    for (name, part) in PARTS {
        if all || named(name) {
            part(quick);
        }
    }
}
