//! The long campaign of the leaks: at least 1,000 lessons resampled from a library of analyzed shots. Run by
//! `bash tests/long/leaks`, which says the flags.
//!
//! Each golfer is a line of JSON in the library; a campaign that was cut goes on where it stopped.

#![allow(
    clippy::expect_used,
    clippy::panic,
    clippy::print_stdout,
    reason = "a campaign that cannot run says so and stops"
)]

#[path = "campaign.rs"]
mod campaign;
#[path = "../accuracy.rs"]
mod accuracy;
#[path = "../leaks.rs"]
mod leaks;

use std::collections::BTreeMap;
use std::fs::{File, OpenOptions};
use std::io::Write;
use std::path::Path;
use std::sync::Mutex;

use analysis::coaching::shot::Shot;
use analysis::forward::Style;
use leaks::{Case, Golfer, Tally, as_shot, case};
use serde_json::{Value, json};

fn main() {
    let (mut seed, mut count, mut shots) = (0_u64, 1000_usize, 6_u64);
    campaign::flags(|flag, number| {
        match flag {
            "--seed" => seed = number() as u64,
            "--count" => count = number() as usize,
            "--shots" => shots = number() as u64,
            _ => return false,
        }
        true
    });
    let cases = cases(seed);
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../target/long");
    std::fs::create_dir_all(&folder).expect("the folder of results");
    let path = folder.join(format!("leaks_{seed}_{shots}.jsonl"));
    let mut done = read(&path);
    let due: Vec<Case> = cases
        .iter()
        .filter(|c| !done.contains_key(&key(c)))
        .cloned()
        .collect();
    let file = OpenOptions::new().create(true).append(true).open(&path);
    let file = Mutex::new(file.expect("the file of results"));
    let fresh = leaks::library(&due, shots, |golfer| write(&file, golfer));
    done.extend(
        fresh
            .into_iter()
            .map(|g| (key(&g.case), (g.shots, g.truth))),
    );
    let library: Vec<Golfer> = cases
        .into_iter()
        .filter_map(|case| {
            let (shots, truth) = done.remove(&key(&case))?;
            Some(Golfer { case, shots, truth })
        })
        .collect();
    let each = count.div_ceil(library.len());
    println!(
        "seed {seed}: {} golfers, {shots} shots analyzed of each, {} lessons of {} resampled shots",
        library.len(),
        each * library.len(),
        leaks::SHOTS
    );
    println!("{}", Tally::of(&library, each, seed).text());
}

/// Clear cases: 24 golfers of each style, 48 balanced ones; then degrees and pairs. No two golfers are the
/// same person.
fn cases(seed: u64) -> Vec<Case> {
    let mut all: Vec<Case> = Vec::new();
    let mut add =
        |row: String, style: Style, n: u64, (degree, also): (f64, Option<(Style, f64)>)| {
            let mut case = case(row, style, 10_000 * seed + all.len() as u64, n);
            case.params.degree = degree;
            case.params.also = also;
            all.push(case);
        };
    for style in Style::ALL {
        let golfers = if style == Style::Balanced { 48 } else { 24 };
        for n in 0..golfers {
            add(format!("1 {}", style.name()), style, n, (1.0, None));
        }
    }
    let leaky = &Style::ALL[1..];
    for (k, &style) in (0_u64..).zip(leaky) {
        for degree in [0.25, 0.5, 0.75] {
            for n in 0..4 {
                let row = format!("2 {} {degree}", style.name());
                add(row, style, 7 * n + k, (degree, None));
            }
        }
    }
    for (k, &style) in (0_u64..).zip(leaky) {
        let second = leaky[(k as usize + 3) % leaky.len()];
        for n in 0..4 {
            let row = format!("3 {} and {}", style.name(), second.name());
            add(row, style, 7 * n + k, (1.0, Some((second, 0.8))));
        }
    }
    all
}

fn key(case: &Case) -> String {
    format!("{case:?}")
}

fn numbers(shots: &[Shot]) -> Value {
    let of = |s: &Shot| {
        let cells = s.readings.iter();
        cells
            .map(|r| r.map_or(Value::Null, |r| json!([r.value, r.uncertainty])))
            .collect::<Vec<_>>()
    };
    json!(shots.iter().map(of).collect::<Vec<_>>())
}

fn write(file: &Mutex<File>, golfer: &Golfer) {
    let line = json!({
        "case": key(&golfer.case),
        "shots": numbers(&golfer.shots),
        "truth": numbers(&golfer.truth),
    });
    let mut file = file.lock().expect("the other thread lives");
    file.write_all(format!("{line}\n").as_bytes())
        .expect("room for results");
}

fn read(path: &Path) -> BTreeMap<String, (Vec<Shot>, Vec<Shot>)> {
    let text = std::fs::read_to_string(path).unwrap_or_default();
    // The last line of a campaign that was cut may be torn.
    let lines = text
        .lines()
        .filter_map(|l| serde_json::from_str::<Value>(l).ok());
    let shots = |v: &Value| -> Option<Vec<Shot>> {
        let each = v
            .as_array()?
            .iter()
            .map(|s| as_shot(|m| s[m.index()][0].as_f64(), |m| s[m.index()][1].as_f64()));
        Some(each.collect())
    };
    lines
        .filter_map(|l| {
            let golfer = (shots(&l["shots"])?, shots(&l["truth"])?);
            Some((l["case"].as_str()?.to_owned(), golfer))
        })
        .collect()
}
