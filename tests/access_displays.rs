//! Displays in the hall: paired by a code that cannot be guessed, they look at the bay and at nothing else.

use serde_json::json;

use crate::support::{scratch, whin};

use crate::guarded::{COACH, Caller, Guarded, OWNER, PROXY};

/// The code of a new pairing.
fn code(by: &Caller) -> String {
    let opened = by.post("/api/v1/access/pairing", &json!({}));
    assert_eq!(opened.status, 200);
    opened.body["code"].as_str().unwrap().to_owned()
}

#[test]
fn a_code_cannot_be_guessed() {
    let guarded = Guarded::start("access-codes", PROXY, &[]);
    let coach = guarded.logged_in(COACH);
    let right = code(&coach);
    // Five wrong ones from five sources: void.
    for n in 0..5 {
        let guess = if right == "123456" {
            "654321"
        } else {
            "123456"
        };
        let guesser = guarded.from([127, 0, 1, n + 1]);
        let tried = guesser.post("/api/v1/access/pair", &json!({ "code": guess }));
        assert_eq!(tried.status, 401);
    }
    let late = guarded.from([127, 0, 1, 9]);
    assert_eq!(
        late.post("/api/v1/access/pair", &json!({ "code": right }))
            .status,
        401
    );
    assert_eq!(coach.refused("access.wrong"), 6);
}

/// A bay with a lesson of somebody, and a display of it.
fn with_display(name: &str) -> (Guarded, Caller) {
    let dir = scratch(&format!("{name}-archive"));
    let archive = dir.display().to_string();
    let added = whin()
        .args([
            "archive",
            "enroll",
            "--archive",
            &archive,
            "--name",
            "Canary Name",
        ])
        .args(["--born", "1977", "--consent", "lesson"])
        .output()
        .unwrap();
    let student = String::from_utf8(added.stdout).unwrap();
    let student = student.trim();
    let more = ["--archive", &archive, "--student", student];
    let guarded = Guarded::start(name, PROXY, &more);
    let coach = guarded.logged_in(COACH);
    let mut display = guarded.from([127, 0, 1, 10]);
    let paired = display.post("/api/v1/access/pair", &json!({ "code": code(&coach) }));
    assert_eq!(
        (paired.status, &paired.body["role"]),
        (200, &"display".into())
    );
    display.cookie = paired.cookie();
    (guarded, display)
}

#[tokio::test]
async fn a_display_looks_at_the_bay_and_at_nothing_else() {
    let (guarded, display) = with_display("access-display");
    let coach = guarded.logged_in(COACH);
    let own = format!("https://{}", coach.to);
    // It looks at the bay …
    for path in [
        "/",
        "/main.js",
        "/bay/panel.js",
        "/api/v1/bays/bay",
        "/api/v1/bays/bay/swings",
    ] {
        assert_eq!(display.get(path).status, 200, "{path}");
    }
    let named = coach.socket(&own).await.unwrap();
    assert_eq!(named["lesson"]["seat"]["student"]["name"], "Canary Name");
    let hello = display.socket(&own).await.unwrap();
    assert_eq!(hello["type"], "hello");
    assert!(!hello.to_string().contains("Canary") && !hello.to_string().contains("1977"));
    // … and at nothing else, and writes nothing.
    let before = coach.refused("access.denied");
    let hidden = [
        "/lesson",
        "/shelf",
        "/rig",
        "/rig.html",
        "/api/v1/students",
        "/api/v1/bays/bay/lesson",
        "/api/v1/openapi.json",
    ];
    for path in hidden {
        assert_eq!(display.get(path).status, 403, "{path}");
    }
    let writes = [
        ("POST", "/api/v1/students"),
        ("PUT", "/api/v1/bays/bay/seat"),
        ("POST", "/api/v1/bays/bay/blocks"),
        ("DELETE", "/api/v1/bays/bay/blocks/open"),
        ("POST", "/api/v1/entries"),
        ("POST", "/api/v1/access/pairing"),
        ("PUT", "/api/v1/access/passphrase"),
        ("POST", "/"),
    ];
    for (method, path) in writes {
        assert_eq!(
            display.send(method, path, &json!({})).status,
            403,
            "{method} {path}"
        );
    }
    let all = (hidden.len() + writes.len()) as u64;
    assert_eq!(coach.refused("access.denied"), before + all);
}

#[tokio::test]
async fn names_on_displays_and_passphrases_are_for_the_owner() {
    let (guarded, display) = with_display("access-owner");
    let (coach, owner) = (guarded.logged_in(COACH), guarded.logged_in(OWNER));
    let own = format!("https://{}", coach.to);
    // Names are the owner's to allow, passphrases the owner's to set.
    let id = coach.get("/api/v1/access").body["displays"][0]["id"]
        .as_str()
        .unwrap()
        .to_owned();
    let names = format!("/api/v1/access/displays/{id}/names");
    assert_eq!(
        coach.send("PUT", &names, &json!({ "names": true })).status,
        403
    );
    assert_eq!(
        owner.send("PUT", &names, &json!({ "names": true })).status,
        200
    );
    let hello = display.socket(&own).await.unwrap();
    assert_eq!(hello["lesson"]["seat"]["student"]["name"], "Canary Name");
    let passphrase =
        |own: &str| json!({ "role": "coach", "passphrase": "a newer passphrase", "own": own });
    let path = "/api/v1/access/passphrase";
    assert_eq!(coach.send("PUT", path, &passphrase(COACH)).status, 403);
    assert_eq!(owner.send("PUT", path, &passphrase(COACH)).status, 401);
    assert_eq!(owner.send("PUT", path, &passphrase(OWNER)).status, 200);
    assert_eq!(coach.get("/api/v1/access").status, 401, "its sessions end");
    assert_eq!(
        owner
            .send(
                "DELETE",
                &format!("/api/v1/access/displays/{id}"),
                &json!({})
            )
            .status,
        200
    );
    assert_eq!(display.get("/").status, 401);
}
