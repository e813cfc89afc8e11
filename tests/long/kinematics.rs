//! The long campaign of the kinematics: the accuracy table over many golfers, with the share of
//! intervals that hold the truth. Run by `bash tests/long/kinematics`, which says the flags.
//!
//! Each swing is a line of JSON in the file of its conditions; a campaign that was cut goes on where
//! it stopped.

#![allow(
    clippy::expect_used,
    clippy::panic,
    clippy::print_stdout,
    reason = "a campaign that cannot run says so and stops"
)]

#[path = "../accuracy.rs"]
mod accuracy;

use std::collections::BTreeMap;
use std::fs::{File, OpenOptions};
use std::io::Write;
use std::path::{Path, PathBuf};
use std::sync::Mutex;

use accuracy::{Conditions, Judged, Record, judge_all, table, text};
use serde_json::{Value, json};

struct Campaign {
    seed: u64,
    count: u64,
    folder: PathBuf,
    conditions: Conditions,
}

fn main() {
    let campaign = arguments();
    let c = &campaign.conditions;
    let name = format!(
        "{}hz_{}mm_{}{}{}{}{}{}draws.jsonl",
        c.capture.rate_hz,
        c.capture.noise_m * 1e3,
        if c.capture.dropout > 0.0 {
            format!("{}dropout_", c.capture.dropout)
        } else {
            String::new()
        },
        if c.palpation_m > 0.0 {
            format!("{}palpation_", c.palpation_m * 1e3)
        } else {
            String::new()
        },
        if c.capture.plates.is_some() {
            "plates_"
        } else {
            ""
        },
        if c.capture.wobble { "wobble_" } else { "" },
        if c.trial { "" } else { "no_trial_" },
        c.draws
    );
    std::fs::create_dir_all(&campaign.folder).expect("the folder of results");
    let path = campaign.folder.join(name);
    let mut done = read(&path);
    let seeds: Vec<u64> = (campaign.seed..campaign.seed + campaign.count).collect();
    let due: Vec<u64> = seeds
        .iter()
        .copied()
        .filter(|s| !done.contains_key(s))
        .collect();
    let file = OpenOptions::new().create(true).append(true).open(&path);
    let file = Mutex::new(file.expect("the file of results"));
    let fresh = judge_all(&due, c, |seed, record| write(&file, seed, record));
    done.extend(due.into_iter().zip(fresh));
    let records: Vec<Record> = seeds.iter().filter_map(|s| done.remove(s)).collect();
    println!("{c:?}, seeds {}..{}", seeds[0], seeds[0] + campaign.count);
    println!("{}", text(&table(&records)));
}

fn arguments() -> Campaign {
    let mut campaign = Campaign {
        seed: 0,
        count: 2000,
        folder: Path::new(env!("CARGO_MANIFEST_DIR")).join("../target/long"),
        conditions: Conditions {
            draws: 200,
            ..Conditions::usual()
        },
    };
    let mut args = std::env::args().skip(1);
    while let Some(arg) = args.next() {
        let mut number = || {
            let value = args.next().expect("a number after the flag");
            value.parse::<f64>().expect("a number after the flag")
        };
        let conditions = &mut campaign.conditions;
        match arg.as_str() {
            "--seed" => campaign.seed = number() as u64,
            "--count" => campaign.count = number() as u64,
            "--draws" => conditions.draws = number() as u32,
            "--rate" => conditions.capture.rate_hz = number(),
            "--noise" => conditions.capture.noise_m = 1e-3 * number(),
            "--dropout" => conditions.capture.dropout = number(),
            "--palpation" => conditions.palpation_m = 1e-3 * number(),
            "--plates" => conditions.capture.plates = Some(analysis::forward::PlateParams::USUAL),
            "--wobble" => conditions.capture.wobble = true,
            "--no-trial" => conditions.trial = false,
            // What `cargo bench` adds by itself.
            "--bench" => {}
            other => panic!("{other}: `bash tests/long/kinematics --help` says the flags"),
        }
    }
    campaign
}

fn write(file: &Mutex<File>, seed: u64, record: &Record) {
    let values: BTreeMap<&String, Value> = record
        .iter()
        .map(|(id, j)| (id, json!([j.found, j.read, j.truth, j.held, j.standard])))
        .collect();
    let line = format!("{}\n", json!({ "seed": seed, "values": values }));
    let mut file = file.lock().expect("the other thread lives");
    file.write_all(line.as_bytes()).expect("room for results");
}

fn read(path: &Path) -> BTreeMap<u64, Record> {
    let text = std::fs::read_to_string(path).unwrap_or_default();
    // The last line of a campaign that was cut may be torn.
    let lines = text
        .lines()
        .filter_map(|l| serde_json::from_str::<Value>(l).ok());
    let number = |v: &Value| v.as_f64();
    lines
        .filter_map(|line| {
            let values = line["values"].as_object()?.iter();
            let record = values.map(|(id, v)| {
                let judged = Judged {
                    found: number(&v[0]),
                    read: number(&v[1]),
                    truth: number(&v[2]).unwrap_or_default(),
                    held: v[3].as_bool(),
                    standard: number(&v[4]),
                };
                (id.clone(), judged)
            });
            Some((line["seed"].as_u64()?, record.collect()))
        })
        .collect()
}
