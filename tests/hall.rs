//! A hall of two bays in one program: each finds and archives its own shots at the same time, screens and API tell
//! them apart, a student's lesson is in one bay, and what is entered about a student shows where that student is.

use std::fs;
use std::time::{Duration, Instant};

use analysis::forward::Style;
use serde_json::{Value, json};

use crate::bay::Bay;
use crate::coaching::{enter, hit};
use crate::coaching_seats::{student, undo};
use crate::http::{Api, ask, text};
use crate::support::scratch;

/// How long a state may take to come (timing is no part of any test).
const PATIENCE: Duration = Duration::from_secs(60);

const HALL: &str = "\
version = 1
[bay]
id = \"north\"
name = \"North\"
[[bays]]
id = \"south\"
name = \"South\"
listen = \"127.0.0.1:0\"
";

fn sit(api: &Api, bay: &str, student: &str, club: &str) -> (u16, Value) {
    let seat = json!({ "mode": "student", "student": student, "club": club });
    ask(
        api.0,
        "PUT",
        &format!("/api/v1/bays/{bay}/seat"),
        Some(&seat),
    )
}

/// A bay's lesson once it is as wanted.
fn lesson(api: &Api, bay: &str, wanted: impl Fn(&Value) -> bool) -> Value {
    let since = Instant::now();
    loop {
        let lesson = api.get(&format!("/api/v1/bays/{bay}/lesson"));
        if wanted(&lesson) {
            return lesson;
        }
        assert!(since.elapsed() < PATIENCE, "{bay}: {lesson}");
        std::thread::sleep(Duration::from_millis(200));
    }
}

#[test]
fn two_bays_teach_side_by_side() {
    let folder = scratch("hall");
    let (file, dir) = (folder.join("hall.toml"), folder.join("archive"));
    fs::write(&file, HALL).unwrap();
    let [file, dir] = [&file, &dir].map(|path| path.to_str().unwrap());
    let mut bay = Bay::start("whin_32", &["--config", file, "--archive", dir]);
    let south_udp = bay.next_udp();
    let api = Api(bay.http);
    let bays = api.get("/api/v1/bays");
    let ids: Vec<&Value> = bays["bays"]
        .as_array()
        .unwrap()
        .iter()
        .map(|b| &b["id"])
        .collect();
    assert_eq!(ids, ["north", "south"]);

    let club = json!({ "name": "7-iron" });
    let (ivo, ivos) = student(&api, "Ivo Brandt", &club);
    let (ottoline, ottolines) = student(&api, "Ottoline Marsh", &club);
    assert_eq!(sit(&api, "north", &ivo, &ivos).0, 200);
    let (status, south) = sit(&api, "south", &ottoline, &ottolines);
    assert_eq!(status, 200, "{south}");
    let (status, refused) = sit(&api, "south", &ivo, &ivos);
    assert_eq!(status, 422, "nobody has two lessons at once");
    assert!(
        refused["detail"].as_str().unwrap().contains("“north”"),
        "{refused}"
    );
    assert_eq!(ask(api.0, "GET", "/api/v1/bays/west/lesson", None).0, 404);

    its_screens_are_told((&bay, &api), &ottoline);
    for bay in ["north", "south"] {
        let purpose = json!({ "purpose": "baseline" });
        api.post(&format!("/api/v1/bays/{bay}/blocks"), &purpose);
    }
    // Both at the same time, of different length, so that one could not be taken for the other.
    std::thread::scope(|scope| {
        scope.spawn(|| hit(bay.udp, Style::Balanced, 1, 0));
        hit(south_udp, Style::Balanced, 2, 10);
    });
    own_shots(&api, [("north", &ivo, 1), ("south", &ottoline, 2)]);
    entries_find_their_bay(&api, &ottoline, &south["seat"]["session"]);
    let stays = api.get("/api/v1/bays/north/lesson");
    assert_eq!(stays["seat"]["student"]["id"], ivo);

    let (status, page) = text(bay.http, ("GET", "/metrics"), ("", &[]));
    assert_eq!(status, 200);
    for bay in ["north", "south"] {
        assert!(
            page.contains(&format!("whin_bay_state{{bay=\"{bay}\"")),
            "{page}"
        );
    }
    let (status, health) = ask(bay.http, "GET", "/healthz", None);
    assert_eq!((status, &health["status"]), (200, &json!("ok")));
    assert_eq!(bay.stop(), Some(0));
}

/// Each bay has found and kept its own shots.
fn own_shots(api: &Api, bays: [(&str, &String, usize); 2]) {
    for (name, who, shots) in bays {
        let lesson = lesson(api, name, |lesson| lesson["block"]["shots"] == shots);
        assert_eq!(lesson["seat"]["student"]["id"], **who);
        let live = api.get(&format!("/api/v1/bays/{name}/swings"));
        assert_eq!(live["swings"].as_array().unwrap().len(), shots);
        let kept = api.get(&format!("/api/v1/swings?student={who}&kind=shot"));
        let kept = kept["swings"].as_array().unwrap();
        assert_eq!(kept.len(), shots, "{name}");
        let id = kept[0]["id"].as_str().unwrap();
        assert!(id.starts_with(&format!("{name}-")), "{id}");
    }
}

/// What is entered without naming a bay goes for that in which the student stands, here the second one.
fn entries_find_their_bay(api: &Api, ottoline: &str, session: &Value) {
    // A change of seats is taken back in its own bay.
    let moved = api.put("/api/v1/bays/south/seat", &json!({ "mode": "guest" }));
    undo(api, &moved["entry"]);
    let back = lesson(api, "south", |lesson| lesson["seat"]["mode"] == "student");
    assert_eq!(back["seat"]["session"], *session);
    // Withdrawn while standing in the second bay: that bay's recording ends, the first one's goes on.
    api.done(
        "DELETE",
        &format!("/api/v1/students/{ottoline}/consents/lesson"),
        None,
    );
    let gone = lesson(api, "south", |lesson| lesson["seat"].is_null());
    assert_eq!(gone["recording"], "not recorded: the consent was withdrawn");
}

/// An entry about whoever stands in the second bay shows there at once, although no bay was named; before the first
/// shot, whose reports would bring it along.
fn its_screens_are_told((hall, api): (&Bay, &Api), ottoline: &str) {
    let spared = |lesson: &Value| lesson["limits"].to_string().contains("physiotherapist");
    let limit = json!([{ "movement": "hips", "reason": "advice of a physiotherapist" }]);
    let runtime = tokio::runtime::Runtime::new().unwrap();
    let mut screen = runtime.block_on(hall.listen_to("?bay=south"));
    // What came of the seats is told by then.
    std::thread::sleep(Duration::from_secs(1));
    let entry = enter(api, json!({ "student": ottoline }), "limits", limit);
    runtime.block_on(async {
        let told = |message: &Value| message["type"] == "lesson" && spared(message);
        let since = Instant::now();
        while !told(&screen.next().await.unwrap()) {
            assert!(since.elapsed() < PATIENCE, "the second bay's screen");
        }
    });
    assert!(!spared(&api.get("/api/v1/bays/north/lesson")));
    undo(api, &entry["n"]);
    lesson(api, "south", |lesson| !spared(lesson));
}
