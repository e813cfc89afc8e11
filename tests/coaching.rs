//! A whole lesson by the public API against the running program: a student comes, a leak is found, a band set,
//! practised, checked with the feedback hidden, summed up. The program is ended in the middle, and everything
//! is there afterwards. The golfer is ours: what he changes is known.

use std::net::SocketAddr;
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::AtomicBool;
use std::time::{Duration, Instant};

use analysis::forward::{GolferParams, Style};
use crossbeam_channel::bounded;
use daemon::clock::Clock;
use daemon::demo::{self, Lesson};
use serde_json::{Value, json};

use crate::archive::archive;
use crate::bay::Bay;
use crate::http::{Api, ask};
use crate::support::{python, scratch};

/// Times faster than life.
const PACE: f64 = 6.0;
/// How long a shot may take to be filed (no part of any verdict).
const PATIENCE: Duration = Duration::from_secs(120);
const SHIFT: &str = "pelvis_shift@takeaway_end";

/// The lesson's golfer: the pelvis goes toward the target first, or as it should.
fn golfer(style: Style) -> impl Fn(u64) -> GolferParams + Send + 'static {
    move |shot| GolferParams {
        style,
        ..demo::golfer(3, shot)
    }
}

pub(crate) fn hit(to: SocketAddr, style: Style, shots: u32, first: u64) {
    let who = golfer(style);
    let lesson = Lesson {
        // The device starts anew for each block.
        epoch: first as u32 + 1,
        pace: PACE,
        shots: Some(shots),
    };
    let (truths, _nobody) = bounded(1);
    let golfer = (move |shot| who(first + shot), lesson);
    let stop = Arc::new(AtomicBool::new(false));
    let thread = demo::spawn(golfer, to, Clock::start(), truths, stop);
    thread.expect("a thread").join().unwrap().unwrap();
}

/// The lesson once its block has so many shots.
pub(crate) fn lesson_with(api: &Api, shots: u64) -> Value {
    let since = Instant::now();
    loop {
        let lesson = api.get("/api/v1/bays/bay/lesson");
        if lesson["block"]["shots"] == shots {
            return lesson;
        }
        assert!(
            since.elapsed() < PATIENCE,
            "{} of {shots} shots",
            lesson["block"]["shots"]
        );
        std::thread::sleep(Duration::from_millis(200));
    }
}

pub(crate) fn enter(api: &Api, about: Value, key: &str, value: Value) -> Value {
    let asked = json!({ "about": about, "key": key, "value": value });
    api.post("/api/v1/entries", &asked)
}

fn leak<'a>(lesson: &'a Value, id: &str) -> &'a Value {
    let leaks = lesson["leaks"].as_array().unwrap();
    leaks.iter().find(|l| l["id"] == id).expect(id)
}

/// A student with consent and a club in a bay: identifiers of both.
fn arrive(api: &Api) -> (String, String) {
    let student =
        json!({ "name": "Tamsin Okafor-Lee", "side": "right", "sex": "female", "born": 2011 });
    let on_file = api.post("/api/v1/students", &student);
    let id = on_file["id"].as_str().unwrap().to_owned();
    assert_eq!(on_file["minor"], true);
    let seat = json!({ "mode": "student", "student": id });
    let (status, refused) = ask(api.0, "PUT", "/api/v1/bays/bay/seat", Some(&seat));
    assert_eq!((status, &refused["code"]), (403, &json!("consent.missing")));
    let consents = format!("/api/v1/students/{id}/consents");
    let alone = json!({ "scope": "lesson" });
    let (status, refused) = ask(api.0, "POST", &consents, Some(&alone));
    assert_eq!(status, 403, "a minor does not consent alone: {refused}");
    api.post(
        &consents,
        &json!({ "scope": "lesson", "guardian": "her mother" }),
    );
    let clubs = format!("/api/v1/students/{id}/clubs");
    let club = api.post(&clubs, &json!({ "name": "7-iron" }));
    let club = club["id"].as_str().unwrap().to_owned();
    let seat = json!({ "mode": "student", "student": id, "club": club });
    let seated = api.put("/api/v1/bays/bay/seat", &seat);
    assert_eq!(seated["seat"]["student"]["name"], "Tamsin Okafor-Lee");
    (id, club)
}

fn baseline(bay: &Bay, api: &Api, club: &str) {
    // What is worked on is chosen before its first shot, so that a check can confirm it.
    enter(api, json!({ "club": club }), "focus", json!([SHIFT]));
    let band = json!({ "metric": SHIFT, "low": -0.045, "aim": -0.03, "high": -0.015 });
    enter(api, json!({ "club": club }), "band", band);
    api.post("/api/v1/bays/bay/blocks", &json!({ "purpose": "baseline" }));
    hit(bay.udp, Style::WrongWayFirst, 10, 0);
    let lesson = lesson_with(api, 10);
    let focus = &lesson["focus"][0];
    assert_eq!(
        (&focus["metric"], &focus["band"]["from"]),
        (&json!(SHIFT), &json!("coach"))
    );
    for mark in focus["marks"].as_array().unwrap() {
        assert_eq!(mark["verdict"], "high", "toward the target: {mark}");
    }
    let leak = leak(&lesson, "wrong_way_first");
    assert_eq!(
        (&leak["status"], &leak["shown"]),
        (&json!("present"), &json!(true))
    );
    assert!(leak["shots"].as_u64().unwrap() >= 9, "{leak}");
    let cautions = leak["suggestion"]["cautions"].as_array().unwrap();
    assert!(
        cautions
            .iter()
            .any(|c| c.as_str().unwrap().contains("Stop on pain"))
    );
    assert_eq!(lesson["budget"][0]["segment"], "pelvis");
    assert_eq!(lesson["feedback"], true);
    // A shot that does not count, and counts again.
    let last = lesson["shots"][0]["swing"].as_str().unwrap();
    let entry = enter(
        api,
        json!({ "swing": last }),
        "excluded",
        json!("the phone rang"),
    );
    assert_eq!(
        lesson_with(api, 9)["shots"][0]["excluded"],
        "the phone rang"
    );
    let undone = api.done(
        "POST",
        &format!("/api/v1/entries/{}/undo", entry["n"]),
        None,
    );
    assert_eq!(undone["undoes"], entry["n"]);
    lesson_with(api, 10);
    // What a limit names is neither judged nor suggested.
    let student = lesson["seat"]["student"]["id"].clone();
    let limit = json!([{ "movement": "hips", "reason": "physiotherapist's advice" }]);
    let entry = enter(api, json!({ "student": student }), "limits", limit);
    let spared = lesson_with(api, 10);
    assert_eq!(spared["focus"][0]["band"], Value::Null);
    assert!(
        spared["focus"][0]["spared"]
            .as_str()
            .unwrap()
            .contains("physiotherapist")
    );
    assert_eq!(self::leak(&spared, "wrong_way_first")["status"], "spared");
    api.done(
        "POST",
        &format!("/api/v1/entries/{}/undo", entry["n"]),
        None,
    );
}

fn practice(bay: Bay, dir: &Path) -> Bay {
    let api = Api(bay.http);
    api.post("/api/v1/bays/bay/blocks", &json!({ "purpose": "practice" }));
    hit(bay.udp, Style::WrongWayFirst, 8, 20);
    pain_stands(&api, &lesson_with(&api, 8));
    assert_eq!(bay.stop(), Some(0));
    let bay = Bay::start("whin_32", &["--archive", dir.to_str().unwrap()]);
    let api = Api(bay.http);
    let lesson = lesson_with(&api, 8);
    assert_eq!(lesson["block"]["purpose"], "practice", "the lesson goes on");
    hit(bay.udp, Style::Balanced, 12, 40);
    let lesson = lesson_with(&api, 20);
    let change = &lesson["focus"][0]["change"];
    assert_eq!(
        change["verdict"], "not_judged",
        "practice confirms nothing: {change}"
    );
    bay
}

/// Pain that was told in the block before stands: what is seen is listed, with nothing to try, until it is
/// entered that it is over.
fn pain_stands(api: &Api, lesson: &Value) {
    let id = "wrong_way_first";
    let tried = |found: &Value| !leak(found, id)["suggestion"].is_null();
    assert!(tried(lesson), "{}", leak(lesson, id));
    assert_eq!(lesson["load"]["pain"], false);
    let before = lesson["blocks"][0]["id"].clone();
    let page = |block: &Value| api.get(&format!("/api/v1/blocks/{block}"));
    let tell = |said: Value| enter(api, json!({ "block": before }), "pain", said);
    tell(json!("pain in the back"));
    let stopped = lesson_with(api, 8);
    assert_eq!(stopped["load"]["pain"], true);
    assert!(stopped["load"]["advice"].as_str().unwrap().contains("stop"));
    for found in [&stopped, &page(&before)] {
        let found = leak(found, id);
        assert_eq!(
            (&found["status"], &found["suggestion"]),
            (&json!("present"), &Value::Null)
        );
        assert!(found["why"].as_str().unwrap().starts_with("Pain was told"));
    }
    tell(Value::Null);
    let over = lesson_with(api, 8);
    assert!(tried(&over) && tried(&page(&before)));
    assert_eq!(leak(&over, id)["why"], Value::Null);
}

fn check(bay: &Bay, api: &Api) {
    let asked = json!({ "purpose": "check", "planned": 10 });
    api.post("/api/v1/bays/bay/blocks", &asked);
    hit(bay.udp, Style::Balanced, 10, 60);
    let lesson = lesson_with(api, 10);
    assert_eq!(lesson["feedback"], false, "a check hides what it judges");
    let change = &lesson["focus"][0]["change"];
    assert_eq!(change["verdict"], "real_gain", "{change}");
    assert!(change["high"].as_f64().unwrap() < -0.01, "{change}");
    assert_eq!(leak(&lesson, "wrong_way_first")["status"], "absent");
}

#[test]
fn a_lesson_by_the_api_finds_a_leak_confirms_its_mending_and_is_all_there_afterwards() {
    let dir = scratch("coaching").join("archive");
    let bay = Bay::start("whin_32", &["--archive", dir.to_str().unwrap()]);
    let api = Api(bay.http);
    let (student, club) = arrive(&api);
    baseline(&bay, &api, &club);
    let bay = practice(bay, &dir);
    let api = Api(bay.http);
    check(&bay, &api);
    let session = api.get("/api/v1/bays/bay/lesson")["seat"]["session"].clone();
    let session = session.as_str().unwrap();
    enter(
        &api,
        json!({ "session": session }),
        "next",
        json!("2026-12-10"),
    );
    api.put("/api/v1/bays/bay/seat", &json!({ "mode": "nobody" }));
    let summary = api.get(&format!("/api/v1/sessions/{session}/summary"));
    assert_eq!(summary["student"], "Tamsin Okafor-Lee");
    assert_eq!(summary["changes"][0]["metric"], SHIFT);
    assert_eq!(summary["changes"][0]["verdict"], "real_gain");
    assert_eq!(
        (&summary["shots"], &summary["next"]),
        (&json!(40), &json!("2026-12-10"))
    );
    assert!(!summary["cautions"].as_array().unwrap().is_empty());
    found_again(&api, (&student, &club), session);
    let trend = api.get(&format!("/api/v1/clubs/{club}/trends/{SHIFT}"));
    let all = api.get(&format!("/api/v1/swings?student={student}&kind=shot"));
    assert_eq!(bay.stop(), Some(0));
    duckdb_finds_the_same(&dir, &trend, &all);
    let (code, verified) = archive(&dir, &["verify"]);
    assert_eq!(code, 0, "{verified}");
}

/// What the API says of blocks, and DuckDB of the exported table: medians and quartiles (linear between
/// neighbors in both). The API rounds to micrometers.
fn duckdb_finds_the_same(dir: &Path, trend: &Value, all: &Value) {
    let table = dir.with_file_name("table");
    let args = ["export", "--as", "parquet", "--to", table.to_str().unwrap()];
    assert_eq!(archive(dir, &args).0, 0);
    let blocks: Vec<Value> = trend["points"]
        .as_array()
        .unwrap()
        .iter()
        .map(|p| p["block"].clone())
        .collect();
    let of = |block: &Value| -> Vec<&Value> {
        let swings = all["swings"].as_array().unwrap().iter();
        let own = swings.filter(|s| s["block"] == *block && s["excluded"].is_null());
        own.map(|s| &s["id"]).collect()
    };
    let asked = json!({ "metric": SHIFT, "blocks": blocks.iter().map(of).collect::<Vec<_>>() });
    let asked = asked.to_string();
    let args = [table.as_os_str(), asked.as_ref()];
    let text = python("reference/parquet_quartiles.py", &args);
    let found: Vec<[f64; 4]> = serde_json::from_str(&text).unwrap();
    for (point, found) in trend["points"].as_array().unwrap().iter().zip(&found) {
        for (key, theirs) in ["shots", "median", "low", "high"].iter().zip(found) {
            let ours = point[*key].as_f64().unwrap();
            assert!(
                (ours - theirs).abs() <= 0.51e-6,
                "{key}: {ours} and {theirs} in {point}"
            );
        }
    }
    assert_eq!((found.len(), found[0][0]), (3, 10.0));
}

/// What an entry is about, without its part.
fn key(entry: &Value) -> &str {
    entry["key"].as_str().unwrap().split(':').next().unwrap()
}

fn found_again(api: &Api, (student, club): (&str, &str), session: &str) {
    let line = api.get(&format!("/api/v1/sessions/{session}"));
    let purposes: Vec<&Value> = line["blocks"]
        .as_array()
        .unwrap()
        .iter()
        .map(|b| &b["purpose"])
        .collect();
    assert_eq!(purposes, ["baseline", "practice", "check"]);
    let page = api.get(&format!(
        "/api/v1/swings?student={student}&kind=shot&metrics={SHIFT}"
    ));
    let swings = page["swings"].as_array().unwrap();
    assert_eq!((swings.len(), &page["next"]), (40, &Value::Null));
    let wrong = api.get(&format!(
        "/api/v1/swings?student={student}&metric={SHIFT}&min=0&max=1"
    ));
    assert_eq!(wrong["swings"].as_array().unwrap().len(), 18);
    let (newest, oldest) = (&swings[0]["id"], &swings[39]["id"]);
    let (newest, oldest) = (newest.as_str().unwrap(), oldest.as_str().unwrap());
    let curves = api.get(&format!(
        "/api/v1/swings/{newest}/curves?signals=pelvis_shift&rate=60"
    ));
    assert!(curves["rate_hz"].as_f64().unwrap() <= 60.0);
    let shown = curves["signals"][0]["values"].as_array().unwrap();
    assert!(shown.iter().filter(|v| v.is_f64()).count() > 60);
    let replay = api.get(&format!("/api/v1/swings/{newest}/replay"));
    assert!(replay["frames"].as_array().unwrap().len() > 100);
    let rows = api.get(&format!(
        "/api/v1/comparisons?of=swings&a={oldest}&b={newest}"
    ));
    let row = |rows: &Value| {
        let rows = rows["rows"].as_array().unwrap().clone();
        rows.into_iter().find(|r| r["metric"] == SHIFT).unwrap()
    };
    assert!(row(&rows)["difference"].as_f64().unwrap() < -0.01);
    let blocks = line["blocks"].as_array().unwrap();
    let compared = api.get(&format!(
        "/api/v1/comparisons?of=blocks&a={}&b={}",
        blocks[0]["id"], blocks[2]["id"]
    ));
    assert_eq!(row(&compared)["real"], true);
    let trend = api.get(&format!("/api/v1/clubs/{club}/trends/{SHIFT}"));
    assert_eq!(trend["points"].as_array().unwrap().len(), 3);
    let ribbons = api.get(&format!(
        "/api/v1/blocks/{}/ribbons?signals=pelvis_shift",
        blocks[2]["id"]
    ));
    assert_eq!(ribbons["signals"][0]["shots"], 10);
    let entries = api.get(&format!("/api/v1/entries?student={student}"));
    let by_hand =
        |e: &&Value| !["student", "club", "consent", "seat", "begun", "ended"].contains(&key(e));
    let entries = entries["entries"].as_array().unwrap();
    assert_eq!(entries.iter().filter(by_hand).count(), 9);
    // What the verbs did is in the same log: who it is, consent, three blocks, two seats and the restart's.
    let count = |of: &str| entries.iter().filter(|e| key(e) == of).count();
    let verbs = ["student", "club", "consent", "begun", "seat"];
    assert_eq!(verbs.map(count), [1, 1, 1, 3, 3]);
    let carried = api.get(&format!("/api/v1/students/{student}/carry-over"));
    assert_eq!(carried["last"]["session"], session);
    let few = api.get("/api/v1/cohorts?club=7-iron");
    assert_eq!(few["bands"], json!([]), "one golfer is no cohort");
    assert!(few["words"].as_str().unwrap().contains("Too few"), "{few}");
    let shown = api.get("/api/v1/swings?leak=wrong_way_first");
    assert_eq!(shown["swings"].as_array().unwrap().len(), 18);
}
