//! Whose a shot is and what it is measured with: a calibration trial taken in the lesson, and shots that went
//! under the wrong name. By the public API against the running program.

use analysis::forward::{CaptureParams, Style, calibration_trial};
use daemon::demo;
use daemon::map::MarkerMap;
use daemon::synthetic;
use serde_json::{Value, json};

use crate::archive::archive;
use crate::bay::Bay;
use crate::coaching::{hit, lesson_with};
use crate::coaching_seats::{sit, student, undo};
use crate::http::{Api, ask, send};
use crate::support::scratch;

const LESSON: &str = "/api/v1/bays/bay/lesson";

#[test]
fn markers_put_on_again_are_a_new_calibration_from_the_next_shot_on() {
    let dir = scratch("coaching-calibration");
    let at = dir.join("archive");
    let bay = Bay::start("whin_32", &["--archive", at.to_str().unwrap()]);
    let api = Api(bay.http);
    let (id, club) = student(&api, "Ivo Brandt", &json!({ "name": "7-iron" }));
    let path = format!("/api/v1/students/{id}/calibrations");
    refused(&bay, &api, (&id, &club), &path);
    let file = trial(&dir);
    bay.send(&file, "whin_32", "10");
    let made = api.post(&path, &last(20.0));
    assert_eq!(
        (&made["number"], &made["in_use"]),
        (&json!(1), &json!(true)),
        "{made}"
    );
    let words = made["words"].as_array().unwrap();
    assert!(
        words
            .iter()
            .any(|w| w.as_str().unwrap().contains("legs' movement")),
        "{words:?}"
    );
    hit(bay.udp, Style::Balanced, 2, 10);
    // The block goes on as another one: before and after are not one row of shots.
    let lesson = lesson_with(&api, 2);
    assert_eq!(lesson["calibration"]["number"], 1);
    let purposes: Vec<&Value> = blocks(&lesson).iter().map(|b| &b["purpose"]).collect();
    assert_eq!(purposes, ["baseline", "baseline"]);
    let numbers: Vec<&Value> = shots(&lesson).iter().map(|s| &s["calibration"]).collect();
    assert_eq!(numbers, [1, 1]);
    let swing = shots(&lesson)[0]["swing"].as_str().unwrap();
    let kept = api.get(&format!("/api/v1/swings/{swing}"));
    assert_eq!(kept["calibration"], 1);
    let notes = kept["report"]["measurement"]["notes"].to_string();
    assert!(notes.contains("trial's movement"), "{notes}");

    uploaded(&api, &path, (&file, &made["entry"]));
    assert_eq!(bay.stop(), Some(0));
    let (code, verified) = archive(&at, &["verify"]);
    assert_eq!(code, 0, "{verified}");
}

/// What gives no calibration says why.
fn refused(bay: &Bay, api: &Api, (id, club): (&str, &str), path: &str) {
    let (status, refused) = ask(api.0, "POST", path, Some(&last(5.0)));
    assert_eq!(status, 422, "nobody stands there: {refused}");
    sit(api, id, club);
    let (status, refused) = ask(api.0, "POST", path, Some(&last(5.0)));
    assert_eq!(
        (status, &refused["code"]),
        (422, &json!("trial.unusable")),
        "{refused}"
    );
    assert!(
        refused["detail"]
            .as_str()
            .unwrap()
            .contains("no marker frames")
    );
    api.post("/api/v1/bays/bay/blocks", &json!({ "purpose": "baseline" }));
    hit(bay.udp, Style::Balanced, 1, 0);
    lesson_with(api, 1);
    // A shot is no trial: the medial markers are not on.
    let (status, refused) = ask(api.0, "POST", path, Some(&last(10.0)));
    assert_eq!(
        (status, &refused["code"]),
        (422, &json!("trial.unusable")),
        "{refused}"
    );
}

fn last(seconds: f64) -> Value {
    json!({ "from": "last", "seconds": seconds })
}

/// A trial of the golfer who swings, as a file.
fn trial(dir: &std::path::Path) -> std::path::PathBuf {
    let map = MarkerMap::load("whin_32").unwrap();
    let capture = CaptureParams {
        rate_hz: 120.0,
        noise_m: 0.0005,
        dropout: 0.0,
        wobble: false,
        plates: None,
    };
    let trial = calibration_trial(&demo::golfer(3, 0), &capture);
    synthetic::write_calibration(&trial, &map, dir).unwrap();
    dir.join("calibration.c3d")
}

/// The same trial as a file, and back to none.
fn uploaded(api: &Api, path: &str, (file, first): (&std::path::Path, &Value)) {
    let bytes = std::fs::read(file).unwrap();
    let c3d = format!("{path}/c3d");
    let upload = |kind, bytes| -> (u16, Value) { send(api.0, ("POST", &c3d), (kind, bytes)) };
    assert_eq!(upload("text/plain", &bytes).0, 415);
    let (status, refused) = upload("application/octet-stream", b"no take");
    assert_eq!(
        (status, &refused["code"]),
        (422, &json!("trial.unusable")),
        "{refused}"
    );
    let (status, second) = upload("application/octet-stream", &bytes);
    assert_eq!((status, &second["number"]), (200, &json!(2)), "{second}");
    assert_eq!(api.get(LESSON)["calibration"]["number"], 2);
    undo(api, &second["entry"]);
    assert_eq!(api.get(LESSON)["calibration"]["number"], 1);
    undo(api, first);
    assert_eq!(api.get(LESSON)["calibration"], Value::Null);
}

#[test]
fn shots_under_the_wrong_name_are_moved_and_moved_back_and_go_with_their_owner() {
    let dir = scratch("coaching-moved").join("archive");
    let bay = Bay::start("whin_32", &["--archive", dir.to_str().unwrap()]);
    let api = Api(bay.http);
    let (ivo, club) = student(&api, "Ivo Brandt", &json!({ "name": "7-iron" }));
    let (other, driver) = student(&api, "Ottoline Marsh", &json!({ "name": "driver" }));
    sit(&api, &ivo, &club);
    api.post("/api/v1/bays/bay/blocks", &json!({ "purpose": "practice" }));
    hit(bay.udp, Style::Balanced, 3, 0);
    let lesson = lesson_with(&api, 3);
    // A revision that is still on its way would find the shot gone.
    let swing = shots(&lesson)[1]["swing"].as_str().unwrap().to_owned();
    refined(&api, &swing);
    let of = |student: &str| {
        let found = api.get(&format!("/api/v1/swings?student={student}"));
        let found = found["swings"].as_array().unwrap().clone();
        found
            .iter()
            .map(|s| s["id"].as_str().unwrap().to_owned())
            .collect::<Vec<_>>()
    };
    let path = format!("/api/v1/swings/{swing}/move");
    let before = api.get(&format!("/api/v1/swings/{swing}"));

    let moved = api.post(&path, &json!({ "student": other, "club": driver }));
    assert_eq!((of(&other).len(), of(&ivo).len()), (1, 2), "{moved}");
    lesson_with(&api, 2);
    let after = api.get(&format!("/api/v1/swings/{swing}"));
    assert_eq!(
        (&after["club"], &after["purpose"]),
        (&json!("driver"), &json!("practice"))
    );
    // Nothing is told of either that would change a value: the copy is measured as the original was.
    let speed = |kept: &Value| {
        let metric = &kept["report"]["measurement"]["metrics"]["head_speed@impact"];
        metric["value"].as_f64().unwrap()
    };
    assert!(
        (speed(&before) - speed(&after)).abs() < 0.01,
        "{} {}",
        speed(&before),
        speed(&after)
    );
    assert!(
        after["report"]["measurement"]["metrics"]["head_speed@impact"]["uncertainty"].is_object()
    );
    for entry in moved["entries"].as_array().unwrap() {
        undo(&api, entry);
    }
    assert_eq!((of(&other).len(), of(&ivo).len()), (0, 3));
    assert_eq!(lesson_with(&api, 3)["block"]["purpose"], "practice");
    // To a block of somebody else's lesson: only together with the student.
    let (status, refused) = ask(api.0, "POST", &path, Some(&json!({ "club": driver })));
    assert_eq!(status, 422, "{refused}");

    api.post(&path, &json!({ "student": other }));
    beside_the_running_block(&api, &ivo);
    assert_eq!(bay.stop(), Some(0));
    let verify = || {
        let (code, verified) = archive(&dir, &["verify"]);
        assert_eq!(code, 0, "{verified}");
        verified["datagrams"].as_u64().unwrap()
    };
    let all = verify();
    let copied = recordings(&dir, "moved");
    assert_eq!(copied.len(), 1);
    // Erased, the shot is in no recording any more, and those of the other student are whole.
    let (code, done) = archive(&dir, &["erase", &other]);
    assert_eq!((code, &done["cut"]), (0, &json!(1)), "{done}");
    assert!(recordings(&dir, "moved").is_empty());
    let left = verify();
    // A window of some six seconds at 360 Hz lay twice there: its copy and the original.
    assert!(all - left > 2 * 360 * 3, "{all} {left}");
    let (code, listed) = archive(&dir, &["list"]);
    assert_eq!((code, listed["swings"].as_array().unwrap().len()), (0, 2));
}

/// A shot that was struck with another club goes to a block aside; the one that runs goes on, and is the one
/// that another club ends.
fn beside_the_running_block(api: &Api, student: &str) {
    let lesson = lesson_with(api, 2);
    let swing = shots(&lesson)[0]["swing"].as_str().unwrap();
    let wedge = json!({ "name": "wedge" });
    let wedge = api.post(&format!("/api/v1/students/{student}/clubs"), &wedge);
    let asked = json!({ "club": wedge["id"] });
    let moved = api.post(&format!("/api/v1/swings/{swing}/move"), &asked);
    let after = lesson_with(api, 1);
    assert_eq!(after["block"]["id"], lesson["block"]["id"], "{moved}");
    assert_eq!(shots(&after).len(), 1, "what is in sight is what runs");
    assert_eq!(blocks(&after).len(), 2);
    let told = api.get(&format!("/api/v1/entries?student={student}"));
    let told = told["entries"].as_array().unwrap();
    let begun: Vec<&Value> = told.iter().filter(|e| e["key"] == "begun").collect();
    // Newest first.
    let said: Vec<&Value> = begun.iter().map(|e| &e["said"]["value"]).collect();
    assert_eq!(said, [false, true], "{begun:?}");
    sit(api, student, wedge["id"].as_str().unwrap());
    let next = lesson_with(api, 0);
    assert_eq!(next["block"]["club"], wedge["id"], "{next}");
    assert_eq!(blocks(&next).len(), 3);
}

fn blocks(lesson: &Value) -> &[Value] {
    lesson["blocks"].as_array().unwrap()
}

fn shots(lesson: &Value) -> &[Value] {
    lesson["shots"].as_array().unwrap()
}

/// Waits until a swing has its uncertainties, or the reason why not.
fn refined(api: &Api, swing: &str) {
    let since = std::time::Instant::now();
    while api.get(&format!("/api/v1/swings/{swing}"))["report"]["revision"] != 3 {
        assert!(
            since.elapsed() < std::time::Duration::from_secs(120),
            "{swing}"
        );
        std::thread::sleep(std::time::Duration::from_millis(200));
    }
}

fn recordings(dir: &std::path::Path, part: &str) -> Vec<String> {
    let files = std::fs::read_dir(dir.join("recordings")).unwrap();
    let names = files.map(|f| f.unwrap().file_name().to_string_lossy().into_owned());
    names.filter(|n| n.contains(part)).collect()
}
