//! The long campaign of lessons end to end. Run by `bash tests/long/coaching`, which says what it does.

#![allow(
    clippy::expect_used,
    clippy::panic,
    clippy::unwrap_used,
    clippy::print_stdout,
    clippy::print_stderr,
    dead_code,
    reason = "a campaign that cannot run says so and stops; helpers of the tests are used in part"
)]

#[path = "campaign.rs"]
mod campaign;
#[path = "../accuracy.rs"]
mod accuracy;
#[path = "../bay.rs"]
mod bay;
#[path = "../http.rs"]
mod http;
#[path = "../leaks.rs"]
mod leaks;
#[path = "../support.rs"]
mod support;

use std::fs::OpenOptions;
use std::io::Write as _;
use std::net::SocketAddr;
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::AtomicBool;
use std::time::{Duration, Instant};

use analysis::coaching::leaks::Leak;
use analysis::coaching::shot::{Metric, Shot};
use analysis::forward::{GolferParams, Style};
use crossbeam_channel::bounded;
use daemon::archive::{Archive, verify};
use daemon::clock::Clock;
use daemon::demo;
use serde_json::{Value, json};

use bay::Bay;
use http::Api;

/// Shots of baseline, of each half of the practice, and of the check.
const SHOTS: [u64; 4] = [10, 3, 3, 10];
/// How long a shot may take to be filed, and its uncertainties after it.
const PATIENCE: Duration = Duration::from_secs(180);
const REFINED: Duration = Duration::from_secs(60);

/// A golfer of the campaign: own person, a style of the row, and whether the coach's work changes it.
struct Golfer {
    seed: u64,
    style: Style,
    changes: bool,
}

impl Golfer {
    fn new(seed: u64, n: u64) -> Self {
        Self {
            seed: 1_000_000 * seed + n,
            style: Style::ALL[(n % 9) as usize],
            changes: n % 3 != 2,
        }
    }

    fn params(&self, mended: bool, shot: u64) -> GolferParams {
        GolferParams {
            style: if mended { Style::Balanced } else { self.style },
            ..demo::golfer(self.seed, shot)
        }
    }

    /// What is worked on: the metric of the style's leak.
    fn focus(&self) -> Metric {
        let leak = leaks::own(self.style).unwrap_or(Leak::WrongWayFirst);
        leak.slope_metric().expect("every leak has one")
    }

    fn truth(&self, mended: bool, from: u64, shots: u64) -> Vec<Shot> {
        let one = |shot| {
            let take = demo::take(&self.params(mended, shot));
            leaks::as_shot(|m| take.truth.metric(&m.id()), |_| None)
        };
        (from..from + shots).map(one).collect()
    }
}

fn main() {
    let (mut seed, mut count, mut pace) = (1_u64, 50_u64, 6.0_f64);
    campaign::flags(|flag, number| {
        match flag {
            "--seed" => seed = number() as u64,
            "--count" => count = number() as u64,
            "--pace" => pace = number(),
            _ => return false,
        }
        true
    });
    let folder = support::top().join("target/long");
    std::fs::create_dir_all(&folder).expect("the folder of results");
    let path = folder.join(format!("coaching_{seed}.jsonl"));
    let text = std::fs::read_to_string(&path).unwrap_or_default();
    let mut done: Vec<Value> = text
        .lines()
        .filter_map(|l| serde_json::from_str(l).ok())
        .take(count as usize)
        .collect();
    for n in done.len() as u64..count {
        let dir = folder.join(format!("coaching_{seed}_{n}"));
        drop(std::fs::remove_dir_all(&dir));
        let line = lesson(&Golfer::new(seed, n), &dir, pace);
        drop(std::fs::remove_dir_all(&dir));
        let mut file = OpenOptions::new()
            .create(true)
            .append(true)
            .open(&path)
            .unwrap();
        writeln!(file, "{line}").expect("room for results");
        done.push(line);
    }
    summary(&done);
}

fn summary(done: &[Value]) {
    let count = |of: &dyn Fn(&Value) -> bool| done.iter().filter(|l| of(l)).count();
    let kind = |l: &Value, kind: &str| l["expected"] == kind;
    let real = |l: &Value| l["verdict"].as_str().unwrap_or("").starts_with("real");
    let sum = |key: &str| {
        done.iter()
            .map(|l| l[key].as_u64().unwrap_or(0))
            .sum::<u64>()
    };
    println!(
        "{}",
        json!({
            "lessons": done.len(),
            "shots_filed": sum("filed"), "shots_hit": sum("hit"),
            "leaks_of_the_truth": sum("leaks"), "found": sum("found"),
            "leaks_found_that_the_truth_has_not": sum("wrong"),
            "large_changes": count(&|l| kind(l, "large")),
            "large_changes_called_real": count(&|l| kind(l, "large") && real(l)),
            "small_changes": count(&|l| kind(l, "small")),
            "unchanged": count(&|l| kind(l, "none")),
            "unchanged_called_real": count(&|l| kind(l, "none") && real(l)),
            "archives_whole": count(&|l| l["whole"] == true),
            "summaries_complete": count(&|l| l["summary"] == true),
        })
    );
}

fn hit(to: SocketAddr, golfer: &Golfer, (mended, first, shots): (bool, u64, u64), pace: f64) {
    let lesson = demo::Lesson {
        // The device starts anew for each block.
        epoch: first as u32 + 1,
        pace,
        shots: Some(shots as u32),
    };
    let who = Golfer { ..*golfer };
    let (truths, _nobody) = bounded(1);
    let stop = Arc::new(AtomicBool::new(false));
    let golfer = (move |shot| who.params(mended, first + shot), lesson);
    let thread = demo::spawn(golfer, to, Clock::start(), truths, stop);
    thread.expect("a thread").join().unwrap().unwrap();
}

/// The lesson once its block has so many shots, and their uncertainties or no more hope of them.
fn lesson_with(api: &Api, shots: u64) -> Value {
    let since = Instant::now();
    let mut filed: Option<Instant> = None;
    loop {
        let lesson = api.get("/api/v1/bays/bay/lesson");
        if lesson["block"]["shots"] == shots {
            let all = lesson["shots"].as_array().unwrap();
            let known = |s: &Value| {
                let marks = s["marks"].as_array().unwrap();
                marks.last().is_some_and(|m| m["standard"].is_number())
            };
            let since = filed.get_or_insert_with(Instant::now);
            if all.iter().all(known) || since.elapsed() > REFINED {
                return lesson;
            }
        }
        let there = &lesson["block"]["shots"];
        assert!(since.elapsed() < PATIENCE, "{there} of {shots} shots");
        std::thread::sleep(Duration::from_millis(300));
    }
}

fn enter(api: &Api, about: &Value, key: &str, value: &Value) {
    let asked = json!({ "about": about, "key": key, "value": value });
    api.post("/api/v1/entries", &asked);
}

fn lesson(golfer: &Golfer, dir: &Path, pace: f64) -> Value {
    let start = || Bay::start("whin_32", &["--archive", dir.to_str().unwrap()]);
    let block = |api: &Api, purpose: &str| {
        api.post(
            "/api/v1/bays/bay/blocks",
            &json!({ "purpose": purpose, "planned": 10 }),
        );
    };
    let bay = start();
    let api = Api(bay.http);
    let told = json!({ "name": format!("Golfer {}", golfer.seed), "side": "right", "born": 1985, "consents": ["lesson"] });
    let student = api.post("/api/v1/students", &told)["id"].clone();
    let id = student.as_str().unwrap();
    let club = api.post(
        &format!("/api/v1/students/{id}/clubs"),
        &json!({ "name": "7-iron" }),
    );
    let seat = json!({ "mode": "student", "student": student, "club": club["id"] });
    let session = api.put("/api/v1/bays/bay/seat", &seat)["seat"]["session"].clone();
    let focus = golfer.focus();
    enter(
        &api,
        &json!({ "club": club["id"] }),
        "focus",
        &json!([focus.id()]),
    );
    for (key, value) in leaks::COUNTER_MOVEMENT {
        let value = key.unit().shown(value);
        let told = json!({ "leak": "no_counter_movement", "name": key.name(), "value": value });
        enter(&api, &json!({ "student": student }), "threshold", &told);
    }
    block(&api, "baseline");
    hit(bay.udp, golfer, (false, 0, SHOTS[0]), pace);
    let first = lesson_with(&api, SHOTS[0]);
    block(&api, "practice");
    hit(bay.udp, golfer, (false, 20, SHOTS[1]), pace);
    lesson_with(&api, SHOTS[1]);
    assert_eq!(bay.stop(), Some(0));
    let bay = start();
    let api = Api(bay.http);
    hit(bay.udp, golfer, (golfer.changes, 40, SHOTS[2]), pace);
    lesson_with(&api, SHOTS[1] + SHOTS[2]);
    block(&api, "check");
    hit(bay.udp, golfer, (golfer.changes, 60, SHOTS[3]), pace);
    let last = lesson_with(&api, SHOTS[3]);
    api.put("/api/v1/bays/bay/seat", &json!({ "mode": "nobody" }));
    let session = session.as_str().unwrap();
    let summary = api.get(&format!("/api/v1/sessions/{session}/summary"));
    assert_eq!(bay.stop(), Some(0));
    let whole = Archive::open(dir).is_ok_and(|a| verify::verify(&a).is_ok_and(|v| !v.damaged()));
    let line = judged(golfer, (&first, &last), focus);
    let mut line = line.as_object().unwrap().clone();
    line.insert("filed".into(), summary["shots"].clone());
    line.insert("hit".into(), json!(SHOTS.iter().sum::<u64>()));
    line.insert("whole".into(), json!(whole));
    let changes = summary["changes"].as_array().unwrap();
    line.insert(
        "summary".into(),
        json!(changes.len() == 2 && !summary["cautions"].as_array().unwrap().is_empty()),
    );
    Value::Object(line)
}

/// What the bay said beside what the golfer did.
fn judged(golfer: &Golfer, (first, last): (&Value, &Value), focus: Metric) -> Value {
    let truth = golfer.truth(false, 0, SHOTS[0]);
    let status = |leak: Leak| {
        let all = first["leaks"].as_array().unwrap();
        all.iter().find(|l| l["id"] == leak.name()).unwrap()["status"].clone()
    };
    let (mut has, mut found, mut wrong) = (0, 0, 0);
    for leak in Leak::ALL {
        let shows = truth.iter().filter(|s| leaks::truly(leak, s)).count();
        let present = status(leak) == "present";
        match shows {
            8.. => {
                has += 1;
                found += u32::from(present);
            }
            ..=2 => wrong += u32::from(present),
            _ => {}
        }
    }
    let values =
        |shots: &[Shot]| -> Vec<f64> { shots.iter().filter_map(|s| s.value(focus)).collect() };
    let before = values(&truth);
    let after = values(&golfer.truth(golfer.changes, 60, SHOTS[3]));
    let mean = |v: &[f64]| v.iter().sum::<f64>() / v.len().max(1) as f64;
    let m = mean(&before);
    let sd = (before.iter().map(|v| (v - m).powi(2)).sum::<f64>()
        / (before.len().max(2) - 1) as f64)
        .sqrt();
    let size = (mean(&after) - m).abs() / sd.max(1e-9);
    json!({
        "golfer": golfer.seed,
        "style": golfer.style.name(),
        "leaks": has, "found": found, "wrong": wrong,
        // Four standard deviations are seen in 99 of 100 lessons (tables/change.txt).
        "expected": if !golfer.changes || golfer.style == Style::Balanced { "none" } else if size >= 4.0 { "large" } else { "small" },
        "size_sd": (size * 100.0).round() / 100.0,
        "focus": focus.id(),
        "verdict": last["focus"][0]["change"]["verdict"],
        "words": last["focus"][0]["change"]["words"],
    })
}
