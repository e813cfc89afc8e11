//! What questions cost in a large archive: percentiles of a cohort, and metrics of one student over thousands of
//! swings, by the API of a running bay, beside the same of `DuckDB` over the same values (`duck.py`); and what it
//! costs more when the archive doubles. The archive is written here, metrics only. `--quick` makes a tenth of it;
//! `--golfers`, `--swings`, `--metrics`, `--seed` and `--dir` (kept, and used again) as told. No test depends on it.

#![allow(
    clippy::expect_used,
    clippy::unwrap_used,
    clippy::panic,
    clippy::print_stdout,
    clippy::print_stderr,
    dead_code,
    reason = "a bench that cannot run says so and stops; helpers of the tests are used in part"
)]

#[path = "../bay.rs"]
mod bay;
#[path = "../http.rs"]
mod http;
#[path = "../support.rs"]
mod support;

#[path = "queries/archive.rs"]
mod archive;

use std::ffi::OsStr;
use std::path::{Path, PathBuf};
use std::time::Instant;

use serde_json::{Value, json};

use archive::{Plan, REGULAR};
use bay::Bay;
use http::Api;

/// Rounds of each question; the median is printed.
const ROUNDS: usize = 5;
/// Swings of the student who is asked about by name.
const REGULAR_SWINGS: u32 = 5_000;

fn main() {
    let told: Vec<String> = std::env::args().skip(1).collect();
    let number = |flag: &str, usual: u32| {
        let at = told.iter().position(|t| t == flag);
        let value = at.and_then(|at| told.get(at + 1));
        value.map_or(usual, |v| v.parse().expect("a number"))
    };
    let tenth = if told.iter().any(|t| t == "--quick") {
        10
    } else {
        1
    };
    let plan = Plan {
        golfers: number("--golfers", 2_000),
        swings: number("--swings", 500 / tenth),
        regular: REGULAR_SWINGS,
        metrics: number("--metrics", 100) as usize,
        seed: u64::from(number("--seed", 1)),
    };
    let scratch = told.iter().position(|t| t == "--dir").map_or_else(
        || support::scratch("bench-queries"),
        |at| PathBuf::from(&told[at + 1]),
    );
    let dir = scratch.join("archive");
    let began = Instant::now();
    archive::write(&dir, &plan, 0);
    println!(
        "{} golfers x {} swings x {} metrics, one student with {}: written in {:.0} s, {:.1} GB",
        plan.golfers,
        plan.swings,
        plan.metrics,
        plan.regular,
        began.elapsed().as_secs_f64(),
        std::fs::metadata(dir.join("store.db"))
            .expect("a store")
            .len() as f64
            / 1e9
    );
    let first = Figures::of(&dir, &plan);
    let duck = duck(&scratch, &plan);
    first.beside(&duck);
    archive::write(&dir, &plan, 1);
    let twice = Figures::of(&dir, &plan);
    twice.grown(&first);
    if !told.iter().any(|t| t == "--dir") {
        std::fs::remove_dir_all(&scratch).expect("the folder goes");
    }
}

/// What questions cost, in seconds, and the answer that is compared.
struct Figures {
    cold: f64,
    after_one: f64,
    warm: f64,
    half: f64,
    separates: f64,
    trends: f64,
    pages: f64,
    answer: Value,
}

impl Figures {
    fn of(dir: &Path, plan: &Plan) -> Self {
        let bay = Bay::start(
            "whin_32",
            &["--archive", dir.to_str().expect("a plain path")],
        );
        let api = Api(bay.http);
        let ids = plan.ids().join(",");
        let cohort = format!("/api/v1/cohorts?student={REGULAR}&metrics={ids}");
        let some = plan.ids()[..20.min(plan.metrics)].join(",");
        let trends = format!("/api/v1/clubs/c-{REGULAR}/trends?metrics={some}");
        let began = Instant::now();
        let answer = api.get(&cohort);
        let cold = began.elapsed().as_secs_f64();
        let golfers = answer["golfers"].as_u64();
        assert_eq!(
            golfers,
            Some(u64::from(plan.golfers)),
            "{}",
            answer["words"]
        );
        let warm = seconds(|| drop(api.get(&cohort)));
        let half = seconds(|| drop(api.get(&format!("{cohort}&sex=female"))));
        let groups = format!("/api/v1/cohorts/separates?a_sex=female&b_sex=male&metrics={ids}");
        let separates = seconds(|| drop(api.get(&groups)));
        // One golfer's shot is taken out and put back: only this golfer is made anew.
        let mut turn = 0;
        let after_one = seconds(|| {
            turn += 1;
            let reason = (turn % 2 == 1).then_some("the phone rang");
            exclude(&api, reason);
            drop(api.get(&cohort));
        });
        exclude(&api, None);
        let trended = seconds(|| {
            let told = api.get(&trends);
            assert_eq!(told.as_array().map(Vec::len), Some(20.min(plan.metrics)));
        });
        let pages = seconds(|| {
            let mut path = format!("/api/v1/swings?student={REGULAR}&metrics={some}");
            let whole = path.clone();
            let mut found = 0;
            loop {
                let page = api.get(&path);
                found += page["swings"].as_array().map_or(0, Vec::len);
                let Some(next) = page["next"].as_str() else {
                    break;
                };
                path = format!("{whole}&before={next}");
            }
            assert_eq!(found, plan.regular as usize);
        });
        assert_eq!(bay.stop(), Some(0));
        Self {
            cold,
            after_one,
            warm,
            half,
            separates,
            trends: trended,
            pages,
            answer,
        }
    }

    fn beside(&self, duck: &Value) {
        let theirs = |what: &str| duck[what].as_f64().expect("a figure of duck.py");
        let row = |what: &str, ours: f64, base: f64, goal: &str, met: bool| {
            let ok = if met { "ok" } else { "short" };
            println!(
                "{what}: {:.2} (goal {goal}) {ok}; {ours:.3} s, DuckDB {base:.3} s",
                ours / base
            );
        };
        let cohort = theirs("cohort");
        row(
            "cohort, warm, with intervals",
            self.warm,
            cohort,
            "<= 1 s",
            self.warm <= 1.0,
        );
        row(
            "cohort, a golfer's shot changed before",
            self.after_one,
            cohort,
            "<= 1 s",
            self.after_one <= 1.0,
        );
        row(
            "two groups, warm",
            self.separates,
            cohort,
            "<= 1 s",
            self.separates <= 1.0,
        );
        row(
            "cohort, first question of all",
            self.cold,
            cohort,
            "none",
            true,
        );
        let student = theirs("student");
        row(
            "one student, 20 metrics by blocks",
            self.trends,
            student,
            "<= 1 s",
            self.trends <= 1.0,
        );
        row(
            "one student, 20 metrics of every swing, by pages",
            self.pages,
            student,
            "none",
            true,
        );
        println!(
            "DuckDB besides: reading the values from the store {:.1} s, percentiles of medians it was given {:.3} s, version {}",
            theirs("read"),
            theirs("of_medians"),
            duck["version"].as_str().unwrap_or_default()
        );
        println!(
            "largest difference from DuckDB's percentiles: {:.1e} (relative)",
            self.apart(duck)
        );
    }

    /// How far our percentiles are from the others', beside rounding to six decimals.
    fn apart(&self, duck: &Value) -> f64 {
        let mut largest: f64 = 0.0;
        for band in self.answer["bands"].as_array().expect("bands") {
            let theirs = &duck["bands"][band["metric"].as_str().expect("an identifier")];
            for (n, place) in ["low", "middle", "high"].iter().enumerate() {
                let (a, b) = (
                    band[place][0].as_f64().expect("a value"),
                    theirs[n].as_f64().expect("theirs"),
                );
                largest = largest.max((a - b).abs() / b.abs().max(1.0));
            }
        }
        largest
    }

    fn grown(&self, first: &Self) {
        let row = |what: &str, twice: f64, once: f64| {
            let ratio = twice / once;
            let ok = if ratio < 1.3 { "ok" } else { "short" };
            println!("{what}: {ratio:.2} (goal < 1.3) {ok}; {once:.3} s, then {twice:.3} s");
        };
        row("twice the swings, cohort", self.warm, first.warm);
        row("twice the swings, one student", self.trends, first.trends);
        row(
            "twice the swings, one student by pages",
            self.pages,
            first.pages,
        );
        println!(
            "twice the golfers, cohort: {:.2} (no goal: each golfer is drawn)",
            first.warm / first.half
        );
    }
}

/// Takes a golfer's shot out of what counts, or back in.
fn exclude(api: &Api, reason: Option<&str>) {
    let about = json!({ "swing": archive::swing(1, 0) });
    let asked = json!({ "about": about, "key": "excluded", "value": reason });
    api.post("/api/v1/entries", &asked);
}

/// Median of the rounds.
fn seconds(mut round: impl FnMut()) -> f64 {
    let mut all: Vec<f64> = (0..ROUNDS)
        .map(|_| {
            let began = Instant::now();
            round();
            began.elapsed().as_secs_f64()
        })
        .collect();
    all.sort_by(f64::total_cmp);
    all[ROUNDS / 2]
}

fn duck(scratch: &Path, plan: &Plan) -> Value {
    let asked = scratch.join("asked.json");
    let indices: Vec<usize> = plan.numbers().iter().map(|m| m.index()).collect();
    let told = json!({
        "store": scratch.join("archive/store.db"), "ids": plan.ids(), "indices": indices,
        "student": REGULAR, "rounds": ROUNDS,
    });
    std::fs::write(&asked, told.to_string()).expect("written");
    let said = support::python("bench/duck.py", &[OsStr::new(&asked)]);
    serde_json::from_str(&said).expect("figures as JSON")
}
