//! What happens in a lesson beside the shots: a guest swings, the wrong student was chosen, a block was begun too
//! early, somebody has pain, a consent is withdrawn. By the public API against the running program.

use std::path::Path;

use analysis::forward::Style;
use serde_json::{Value, json};

use crate::archive::archive;
use crate::bay::Bay;
use crate::coaching::{enter, hit, lesson_with};
use crate::http::{Api, ask};
use crate::support::scratch;

const SEAT: &str = "/api/v1/bays/bay/seat";
const LESSON: &str = "/api/v1/bays/bay/lesson";

/// A student with consent, and a club: identifiers of both.
pub(crate) fn student(api: &Api, name: &str, club: &Value) -> (String, String) {
    let told = json!({ "name": name, "side": "right", "born": 1985, "consents": ["lesson"] });
    let student = api.post("/api/v1/students", &told)["id"].clone();
    let student = student.as_str().unwrap().to_owned();
    let club = api.post(&format!("/api/v1/students/{student}/clubs"), club);
    (student, club["id"].as_str().unwrap().to_owned())
}

pub(crate) fn sit(api: &Api, student: &str, club: &str) -> Value {
    let seat = json!({ "mode": "student", "student": student, "club": club });
    api.put(SEAT, &seat)
}

pub(crate) fn undo(api: &Api, entry: &Value) -> Value {
    api.done("POST", &format!("/api/v1/entries/{entry}/undo"), None)
}

fn mode(api: &Api, mode: &str) -> Value {
    api.put(SEAT, &json!({ "mode": mode }))
}

fn block(api: &Api, purpose: &str) -> Value {
    api.post("/api/v1/bays/bay/blocks", &json!({ "purpose": purpose }))
}

#[test]
fn guests_wrong_choices_pain_and_a_withdrawn_consent() {
    let dir = scratch("coaching-seats").join("archive");
    let start = || Bay::start("whin_32", &["--archive", dir.to_str().unwrap()]);
    let bay = start();
    let api = Api(bay.http);
    // Told as a driver: the club that is swung is a 7-iron.
    let club = json!({ "name": "driver", "length_m": 1.14 });
    let (ivo, driver) = student(&api, "Ivo Brandt", &club);
    let (other, _) = student(&api, "Ottoline Marsh", &json!({ "name": "7-iron" }));
    let session = sit(&api, &ivo, &driver)["seat"]["session"].clone();
    block(&api, "practice");
    hit(bay.udp, Style::Balanced, 2, 0);
    let lesson = lesson_with(&api, 2);
    let length = &lesson["club_length"];
    assert_eq!(length["told_m"], 1.14, "{length}");
    assert!(
        length["words"]
            .as_str()
            .unwrap()
            .contains("shorter than driver"),
        "{length}"
    );

    // The coach shows something: nothing is kept, and the lesson goes on in its block.
    mode(&api, "coach");
    let waits = api.get(LESSON);
    assert_eq!(waits["waiting"]["session"], session);
    assert_eq!(waits["seat"]["session"], Value::Null);
    hit(bay.udp, Style::Balanced, 1, 10);
    assert_eq!(bay.stop(), Some(0));
    // A restart does not put the student in the coach's place.
    let bay = start();
    let api = Api(bay.http);
    let waits = api.get(LESSON);
    assert_eq!(
        (&waits["seat"]["mode"], &waits["waiting"]["session"]),
        (&json!("coach"), &session)
    );
    let back = mode(&api, "back");
    assert_eq!(back["seat"]["session"], session);
    assert_eq!(back["seat"]["club"]["id"], driver.as_str());
    hit(bay.udp, Style::Balanced, 1, 20);
    let lesson = lesson_with(&api, 3);
    assert_eq!(lesson["blocks"].as_array().unwrap().len(), 1);

    // The wrong student: undone, the lesson goes on as if nothing had been.
    let wrong = sit(&api, &other, "");
    assert_ne!(wrong["seat"]["session"], session);
    undo(&api, &wrong["entry"]);
    let lesson = lesson_with(&api, 3);
    assert_eq!(
        (&lesson["seat"]["session"], &lesson["block"]["purpose"]),
        (&session, &json!("practice"))
    );
    let again = ask(
        api.0,
        "POST",
        &format!("/api/v1/entries/{}/undo", wrong["entry"]),
        None,
    );
    assert_eq!(again.0, 422, "{}", again.1);

    told_anew(&api, (&ivo, &driver));
    blocks_are_undone(&api, &bay);
    judged_by_hand(&api, (&ivo, &driver), session.as_str().unwrap());
    withdrawn(&api, &ivo, &dir);
    assert_eq!(bay.stop(), Some(0));
    let (code, verified) = archive(&dir, &["verify"]);
    assert_eq!(code, 0, "{verified}");
}

/// What is told of a student and a club changes by an entry that says before and after, and goes back.
fn told_anew(api: &Api, (ivo, driver): (&str, &str)) {
    let log = |key: &str| -> Vec<Value> {
        let told = api.get(&format!("/api/v1/entries?student={ivo}"));
        let mut all = told["entries"].as_array().unwrap().clone();
        all.retain(|e| e["key"] == key);
        all
    };
    let path = format!("/api/v1/students/{ivo}");
    let before = api.get(&path);
    let mut told = json!({ "name": " Ivo Brandt-Lind ", "side": "right", "born": 1985 });
    told["height_m"] = json!(1.83);
    let done = api.put(&path, &told);
    assert_eq!(
        (&done["name"], &done["clubs"]),
        (&json!("Ivo Brandt-Lind"), &before["clubs"])
    );
    let same = api.put(&path, &told);
    assert_eq!(same["entry"], Value::Null, "nothing changed: {same}");
    let entries = log("student");
    assert_eq!(entries.len(), 2);
    assert_eq!(entries[0]["n"], done["entry"]);
    assert_eq!(entries[0]["who"], "coach");
    let said = |n: usize, field: &str| entries[n]["said"]["value"][field].clone();
    assert_eq!(
        (said(0, "name"), said(0, "height_m")),
        (json!("Ivo Brandt-Lind"), json!(1.83))
    );
    assert_eq!(
        (said(1, "name"), said(1, "height_m")),
        (json!("Ivo Brandt"), Value::Null)
    );
    undo(api, &done["entry"]);
    assert_eq!(api.get(&path), before);
    let whole = ask(
        api.0,
        "POST",
        &format!("/api/v1/entries/{}/undo", entries[1]["n"]),
        None,
    );
    assert_eq!(whole.0, 422, "{}", whole.1);

    let club = format!("/api/v1/clubs/{driver}");
    let shorter = api.put(&club, &json!({ "name": "7-iron", "length_m": 0.94 }));
    assert_eq!(
        (&shorter["id"], &shorter["name"]),
        (&json!(driver), &json!("7-iron"))
    );
    let odd = json!({ "name": "7-iron", "length_m": 94.0 });
    assert_eq!(ask(api.0, "PUT", &club, Some(&odd)).0, 422);
    assert_eq!(log("club").len(), 2);
    undo(api, &shorter["entry"]);
    assert_eq!(api.get(&path)["clubs"], before["clubs"]);
    // One that was chosen stays, one that was added by mistake goes.
    let first = &log("club")[2]["n"];
    let refused = ask(
        api.0,
        "POST",
        &format!("/api/v1/entries/{first}/undo"),
        None,
    );
    assert_eq!(refused.0, 422, "{}", refused.1);
    api.post(
        &format!("/api/v1/students/{ivo}/clubs"),
        &json!({ "name": "5-wood" }),
    );
    undo(api, &log("club")[0]["n"]);
    assert_eq!(api.get(&path)["clubs"], before["clubs"]);
}

/// A check that was begun too early goes back into the practice; a block that was ended runs on.
fn blocks_are_undone(api: &Api, bay: &Bay) {
    let early = block(api, "check");
    hit(bay.udp, Style::Balanced, 1, 30);
    lesson_with(api, 1);
    undo(api, &early["entry"]);
    let lesson = lesson_with(api, 4);
    assert_eq!(lesson["block"]["purpose"], "practice");
    let ended = api.done("DELETE", "/api/v1/bays/bay/blocks/open", None);
    assert_eq!(api.get(LESSON)["block"], Value::Null);
    undo(api, &ended["entry"]);
    assert_eq!(lesson_with(api, 4)["block"]["purpose"], "practice");
    let odd = json!({ "about": { "block": early["id"] }, "key": "begun", "value": true });
    let (status, refused) = ask(api.0, "POST", "/api/v1/entries", Some(&odd));
    assert_eq!(status, 422, "only by its verb: {refused}");
}

fn judged_by_hand(api: &Api, (ivo, driver): (&str, &str), session: &str) {
    // Pain at the check-in counts as pain on a shot does, above fatigue.
    let advice = |api: &Api| api.get(LESSON)["load"]["advice"].clone();
    assert_eq!(advice(api), Value::Null);
    enter(
        api,
        json!({ "session": session }),
        "fatigue",
        json!("slept badly"),
    );
    assert!(advice(api).as_str().unwrap().starts_with("fatigue"));
    let pain = enter(
        api,
        json!({ "session": session }),
        "pain",
        json!("left knee"),
    );
    assert!(advice(api).as_str().unwrap().starts_with("pain"));
    undo(api, &pain["n"]);
    assert!(advice(api).as_str().unwrap().starts_with("fatigue"));

    // A band of one's own, and the default with its source again.
    let of = "knee_change.trail@top";
    let from = |api: &Api| {
        let bands = api.get(&format!("/api/v1/clubs/{driver}/bands"));
        let bands = bands["bands"].as_array().unwrap().clone();
        bands.into_iter().find(|b| b["metric"] == of).unwrap()["from"].clone()
    };
    let standard = from(api);
    assert_eq!(standard, "default");
    let band = json!({ "metric": of, "low": -30.0, "high": -10.0 });
    enter(api, json!({ "club": driver }), "band", band);
    assert_eq!(from(api), "coach");
    enter(
        api,
        json!({ "club": driver }),
        "band",
        json!({ "metric": of, "default": true }),
    );
    assert_eq!(from(api), standard);

    // Thresholds: every one with a source; one that all shots are beyond shows the leak in all of them.
    let listed = || api.get(&format!("/api/v1/students/{ivo}/thresholds"))["thresholds"].clone();
    let excess = |all: &Value| {
        let all = all.as_array().unwrap().clone();
        all.into_iter().find(|t| t["name"] == "excess").unwrap()
    };
    assert!(
        listed()
            .as_array()
            .unwrap()
            .iter()
            .all(|t| t["source"].as_str().unwrap().len() > 5)
    );
    let leak = "not_brought_through";
    let path = format!("/api/v1/swings?student={ivo}&leak={leak}");
    assert_eq!(api.get(&path)["swings"], json!([]));
    let told = json!({ "leak": leak, "name": "excess", "value": -80.0 });
    enter(api, json!({ "student": ivo }), "threshold", told);
    let set = excess(&listed());
    assert_eq!(
        (&set["value"], &set["default"]),
        (&json!(-80.0), &json!(0.0))
    );
    assert_eq!(api.get(&path)["swings"].as_array().unwrap().len(), 4);
    let odd = json!({ "about": { "student": ivo }, "key": "threshold",
        "value": { "leak": leak, "name": "access", "value": 1.0 } });
    assert_eq!(ask(api.0, "POST", "/api/v1/entries", Some(&odd)).0, 422);
}

/// Nothing more is recorded, what is there stays and is not exported.
fn withdrawn(api: &Api, ivo: &str, dir: &Path) {
    let path = format!("/api/v1/students/{ivo}/consents/lesson");
    let on_file = api.done("DELETE", &path, None);
    assert!(
        on_file["consents"][0]["withdrawn_utc_ns"].is_u64(),
        "{on_file}"
    );
    let lesson = api.get(LESSON);
    assert_eq!(
        (&lesson["seat"], &lesson["waiting"]),
        (&Value::Null, &Value::Null)
    );
    assert!(lesson["recording"].as_str().unwrap().contains("withdrawn"));
    let seat = json!({ "mode": "student", "student": ivo });
    assert_eq!(ask(api.0, "PUT", SEAT, Some(&seat)).0, 403);
    let there = api.get(&format!("/api/v1/swings?student={ivo}"));
    assert_eq!(there["swings"].as_array().unwrap().len(), 4);
    let to = dir.join("../export");
    let (code, said) = archive(
        dir,
        &["export", "--as", "json", "--to", to.to_str().unwrap()],
    );
    assert_eq!((code, &said["swings"]), (0, &json!(0)), "{said}");
    assert_eq!(said["left_out"], json!([ivo]));
    let entries = api.get(&format!("/api/v1/entries?student={ivo}"));
    let given = |e: &Value| e["said"]["value"]["given"] == false;
    assert!(entries["entries"].as_array().unwrap().iter().any(given));
}
