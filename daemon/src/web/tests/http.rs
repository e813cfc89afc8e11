//! Pages, the API's errors, headers, and what must not be reachable.

use std::fs;

use super::rig::{Rig, health, replay, report, swing};
use crate::web::Statics;

#[tokio::test]
async fn the_page_and_its_files_are_served() {
    let rig = Rig::start(Statics::Embedded).await;
    let page = rig.get("/").await;
    assert_eq!(
        (page.status, page.header("content-type")),
        (200, "text/html; charset=utf-8")
    );
    assert!(page.text().contains("main.js"));
    let script = rig.get("/main.js").await;
    assert_eq!(
        (script.status, script.header("content-type")),
        (200, "text/javascript; charset=utf-8")
    );
    assert_eq!(script.header("cache-control"), "no-cache");
    let none = rig.get("/nowhere.js").await;
    assert_eq!(
        (none.status, none.header("content-type")),
        (404, "text/plain; charset=utf-8")
    );
    rig.stop().await;
}

#[tokio::test]
async fn every_answer_has_the_security_headers() {
    let rig = Rig::start(Statics::Embedded).await;
    for path in ["/", "/nowhere", "/api/v1/bays", "/api/nowhere", "/healthz"] {
        let answer = rig.get(path).await;
        let policy = answer.header("content-security-policy");
        assert!(
            policy.contains("default-src 'self'") && policy.contains("connect-src 'self'"),
            "{path}"
        );
        assert!(!policy.contains("unsafe"), "{path}");
        assert_eq!(answer.header("x-content-type-options"), "nosniff", "{path}");
        assert_eq!(answer.header("referrer-policy"), "no-referrer", "{path}");
        assert_eq!(answer.header("access-control-allow-origin"), "", "{path}");
    }
    rig.stop().await;
}

/// Ways out of a folder, as they may stand in a request line.
const WAYS_OUT: [&str; 12] = [
    "/../secret.txt",
    "/a/../../secret.txt",
    "/%2e%2e/secret.txt",
    "/..%2fsecret.txt",
    "/%2e%2e%2fsecret.txt",
    "/..%5csecret.txt",
    "/..\\secret.txt",
    "//secret.txt",
    "/./../secret.txt",
    "/link/secret.txt",
    "/.hidden",
    "/%00",
];

#[tokio::test]
async fn a_folder_is_served_and_nothing_beside_it() {
    let top = std::env::temp_dir().join(format!("whin-statics-{}", std::process::id()));
    let folder = top.join("served");
    fs::create_dir_all(folder.join("a")).unwrap();
    fs::write(top.join("secret.txt"), "secret").unwrap();
    fs::write(folder.join("a/page.html"), "first").unwrap();
    fs::write(folder.join(".hidden"), "secret").unwrap();
    std::os::unix::fs::symlink(&top, folder.join("link")).unwrap();
    let rig = Rig::start(Statics::Folder(folder.clone())).await;
    assert_eq!(rig.get("/a/page.html").await.text(), "first");
    fs::write(folder.join("a/page.html"), "second").unwrap();
    assert_eq!(rig.get("/a/page.html").await.text(), "second", "read anew");
    let absolute = top.join("secret.txt").display().to_string();
    for path in WAYS_OUT.into_iter().chain([absolute.as_str()]) {
        let answer = rig.get(path).await;
        assert!(
            (400..500).contains(&answer.status),
            "{path}: {}",
            answer.status
        );
        assert!(!answer.text().contains("secret"), "{path}");
    }
    assert_eq!(rig.get("/a").await.status, 404, "a folder is no page");
    rig.stop().await;
    fs::remove_dir_all(top).unwrap();
}

#[tokio::test]
async fn embedded_files_have_no_way_out_either() {
    let rig = Rig::start(Statics::Embedded).await;
    for path in WAYS_OUT
        .into_iter()
        .chain(["/../Cargo.toml", "/etc/passwd"])
    {
        let status = rig.get(path).await.status;
        assert!((400..500).contains(&status), "{path}: {status}");
    }
    rig.stop().await;
}

#[tokio::test]
async fn the_api_tells_the_bay_and_its_swings() {
    let rig = Rig::start(Statics::Embedded).await;
    rig.hub.publish(health(3, 0));
    rig.hub.publish(swing("a", 1));
    rig.hub.publish(swing("b", 1));
    rig.hub.publish(swing("a", 2));
    rig.hub.keep_replay(replay("b"));
    let bays = rig.get("/api/v1/bays").await.json();
    assert_eq!(bays["bays"][0]["id"], "north");
    assert_eq!(bays["bays"][1]["name"], "South");
    let south = rig.get("/api/v1/bays/south/swings").await.json();
    assert_eq!(
        south["swings"],
        serde_json::json!([]),
        "its own, not the neighbor's"
    );
    let bay = rig.get("/api/v1/bays/north").await.json();
    assert_eq!(
        (&bay["state"], &bay["health"]["dropped"]),
        (&"no_signal".into(), &3.into())
    );
    let swings = rig.get("/api/v1/bays/north/swings").await;
    assert_eq!(swings.header("cache-control"), "no-store");
    let swings = swings.json();
    let newest_first = [report("b", 1), report("a", 2)];
    assert_eq!(
        swings["swings"],
        serde_json::to_value(newest_first).unwrap()
    );
    let one = rig.get("/api/v1/bays/north/swings/a").await.json();
    assert_eq!(
        (&one["bay"], &one["revision"]),
        (&"north".into(), &2.into())
    );
    let poses = rig.get("/api/v1/bays/north/swings/b/replay").await;
    let poses: protocol::screen::Replay = serde_json::from_slice(&poses.body).unwrap();
    assert_eq!(poses, replay("b"));
    rig.stop().await;
}

#[tokio::test]
async fn errors_of_the_api_are_problems_with_a_code() {
    let rig = Rig::start(Statics::Embedded).await;
    rig.hub.publish(swing("a", 1));
    let cases = [
        ("/api", 404, "api.not_found"),
        ("/api/v2/bays", 404, "api.not_found"),
        ("/api/v1/bays/", 404, "api.not_found"),
        ("/api/v1/bays/west", 404, "bay.not_found"),
        ("/api/v1/bays/west/swings", 404, "bay.not_found"),
        ("/api/v1/bays/north/swings/x", 404, "swing.not_found"),
        ("/api/v1/bays/north/swings/x/replay", 404, "swing.not_found"),
        (
            "/api/v1/bays/north/swings/a/replay",
            404,
            "replay.not_found",
        ),
        ("/api/v1/bays/%ff", 400, "api.bad_request"),
        ("/ws", 400, "api.bad_request"),
    ];
    for (path, status, code) in cases {
        let answer = rig.get(path).await;
        assert_eq!(
            answer.header("content-type"),
            "application/problem+json",
            "{path}"
        );
        let problem = answer.json();
        assert_eq!(
            (answer.status, &problem["code"]),
            (status, &code.into()),
            "{path}"
        );
        assert_eq!(problem["status"], status, "{path}");
        assert!(!problem["detail"].as_str().unwrap().is_empty(), "{path}");
    }
    rig.stop().await;
}

#[tokio::test]
async fn the_live_bay_and_the_pages_are_read_only() {
    let rig = Rig::start(Statics::Embedded).await;
    for method in ["POST", "PUT", "DELETE", "PATCH"] {
        for path in [
            "/api/v1/bays",
            "/api/v1/bays/north/swings/a",
            "/main.js",
            "/",
        ] {
            let request = format!(
                "{method} {path} HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\nContent-Length: 0\r\n\r\n"
            );
            let answer = rig.ask(&request).await;
            assert_eq!(
                (
                    answer.status,
                    answer.header("allow").replace(' ', "").as_str()
                ),
                (405, "GET,HEAD"),
                "{method} {path}"
            );
        }
    }
    rig.stop().await;
}

#[tokio::test]
async fn a_request_for_another_host_is_refused() {
    let rig = Rig::start(Statics::Embedded).await;
    let end = "Connection: close\r\n\r\n";
    for bad in [
        format!("GET / HTTP/1.1\r\nHost: other.example\r\n{end}"),
        format!("GET / HTTP/1.1\r\nHost: localhost\r\nHost: other.example\r\n{end}"),
        format!("GET http://other.example/ HTTP/1.1\r\nHost: localhost\r\n{end}"),
        format!("GET / HTTP/1.1\r\n{end}"),
    ] {
        let answer = rig.ask(&bad).await;
        assert!(
            [400, 403].contains(&answer.status),
            "{bad}: {}",
            answer.status
        );
        assert!(!answer.text().contains("main.js"), "{bad}");
    }
    let good = format!("GET / HTTP/1.1\r\nHost: {}\r\n{end}", rig.address);
    assert_eq!(rig.ask(&good).await.status, 200);
    rig.stop().await;
}
