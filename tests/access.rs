//! Attacks on the web side of a bay that others can reach: each is refused with its status and counted. Real
//! program, real sockets; the browser's part is in `browser/foreign.py`.
//!
//! Statuses are those of RFC 9110 (401, 403, 408, 413) and RFC 6585 (429).

use std::io::{Read as _, Write as _};
use std::net::TcpStream;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use serde_json::{Value, json};

use crate::support::{python, scratch, whin};

use crate::guarded::{COACH, Caller, Guarded, PROXY, answer};

#[tokio::test]
async fn without_a_session_there_is_the_login_page_and_nothing_else() {
    let guarded = Guarded::start("access-nobody", PROXY, &[]);
    let nobody = guarded.from([127, 0, 0, 1]);
    for open in [
        "/login",
        "/login/main.js",
        "/login/login.css",
        "/healthz",
        "/palette.js",
    ] {
        assert_eq!(nobody.get(open).status, 200, "{open}");
    }
    let closed = [
        "/",
        "/main.js",
        "/lesson",
        "/shelf.html",
        "/rig",
        "/metrics",
        "/nowhere",
        "/api/v1/access",
        "/api/v1/bays",
        "/api/v1/students",
        "/api/v1/openapi.json",
        "/ws",
        "/login/../main.js",
        "/login%2f..%2fmain.js",
        "/%2e%2e/%2e%2e/etc/passwd",
        "/%252e%252e/etc/passwd",
    ];
    let coach = guarded.logged_in(COACH);
    let before = coach.refused("access.needed");
    for path in closed {
        assert_eq!(nobody.get(path).status, 401, "{path}");
        for method in ["POST", "PUT", "DELETE"] {
            assert_eq!(
                nobody.send(method, path, &json!({})).status,
                401,
                "{method} {path}"
            );
        }
    }
    let all = closed.len() as u64 * 4;
    assert_eq!(coach.refused("access.needed"), before + all);
    // A person is shown the way, and only to a page of ours.
    let page = nobody.ask("GET", "/rig", "Accept: text/html\r\n", "");
    assert_eq!(
        (page.status, page.header("location")),
        (303, Some("/login?to=/rig"))
    );
    let odd = nobody.ask("GET", "//evil.example/%0d%0ax", "Accept: text/html\r\n", "");
    assert_eq!(odd.header("location"), Some("/login?to=/"));
}

#[tokio::test]
async fn invented_tokens_and_ended_sessions_are_nobodys() {
    let guarded = Guarded::start("access-tokens", PROXY, &[]);
    let coach = guarded.logged_in(COACH);
    // Invented and doubled cookies.
    for cookie in [
        "__Host-whin=",
        &format!("__Host-whin={}", "0".repeat(64)),
        &format!("{}; {}", coach.cookie, coach.cookie),
    ] {
        let invented = Caller {
            cookie: cookie.to_owned(),
            ..guarded.from([127, 0, 0, 1])
        };
        assert_eq!(invented.get("/api/v1/access").status, 401, "{cookie}");
    }
    assert_eq!(coach.get("/api/v1/access").body["role"], "coach");
    // Logged out is out.
    assert_eq!(coach.post("/api/v1/access/logout", &json!({})).status, 200);
    assert_eq!(coach.get("/api/v1/access").status, 401);
    // No secret has got into a file or the log of access.
    let token = coach.cookie.split('=').nth(1).unwrap();
    for file in std::fs::read_dir(&guarded.dir).unwrap() {
        let path = file.unwrap().path();
        let text = std::fs::read_to_string(&path).unwrap();
        assert!(
            !text.contains(token) && !text.contains(COACH),
            "{}",
            path.display()
        );
    }
    let log = std::fs::read_to_string(guarded.dir.join("access.log")).unwrap();
    assert!(
        log.contains("\"login\"") && log.contains("\"logout\""),
        "{log}"
    );
}

#[tokio::test]
async fn other_sites_cannot_use_a_session() {
    let guarded = Guarded::start("access-sites", PROXY, &[]);
    let coach = guarded.logged_in(COACH);
    let own = format!("https://{}", coach.to);
    assert_eq!(coach.socket(&own).await.unwrap()["type"], "hello");
    let wrong = [
        "null".to_owned(),
        format!("http://{}", coach.to),
        "https://evil.example".into(),
        format!("https://{}.evil.example", coach.to),
        "https://127.0.0.1".into(),
    ];
    for origin in &wrong {
        assert_eq!(coach.socket(origin).await, Err(403), "{origin}");
        let headers = format!("Origin: {origin}\r\nContent-Type: application/json\r\n");
        let posted = coach.ask("POST", "/api/v1/access/pairing", &headers, "{}");
        assert_eq!(posted.status, 403, "{origin}");
    }
    let fetched = "Sec-Fetch-Site: cross-site\r\n";
    let posted = coach.ask("POST", "/api/v1/access/pairing", fetched, "");
    assert_eq!(
        (posted.status, &posted.body["code"]),
        (403, &"socket.origin_refused".into())
    );
    assert_eq!(
        coach.refused("socket.origin_refused"),
        2 * wrong.len() as u64 + 1
    );
    // A form cannot send JSON without asking first; another name is not this bay.
    let form = "Content-Type: application/x-www-form-urlencoded\r\n";
    assert_eq!(
        coach.ask("POST", "/api/v1/students", form, "name=x").status,
        415
    );
    let mut stream = coach.connect();
    write!(
        stream,
        "GET / HTTP/1.1\r\nHost: evil.example\r\nCookie: {}\r\nConnection: close\r\n\r\n",
        coach.cookie
    )
    .unwrap();
    assert_eq!(answer(&mut stream).status, 403);
    assert_eq!(coach.refused("http.host_refused"), 1);
}

#[test]
fn slow_and_long_requests_end_and_others_go_on() {
    let guarded = Guarded::start("access-slow", PROXY, &[]);
    let coach = guarded.logged_in(COACH);
    // Heads that never end, and a body that does not.
    let attacker = guarded.from([127, 0, 0, 9]);
    let mut heads: Vec<TcpStream> = (0..200).map(|_| attacker.connect()).collect();
    for stream in &mut heads {
        write!(stream, "GET / HTTP/1.1\r\nHost: x\r\nX: ").unwrap();
    }
    let mut body = coach.connect();
    let head = coach.head(
        "POST",
        "/api/v1/students",
        "Content-Type: application/json\r\n",
    );
    write!(
        body,
        "{head}Content-Length: 100\r\nConnection: close\r\n\r\n{{"
    )
    .unwrap();
    let since = Instant::now();
    assert_eq!(coach.get("/api/v1/access").status, 200, "others go on");
    assert!(since.elapsed() < Duration::from_secs(5));
    let long = format!("\"{}\"", "x".repeat(300 * 1024));
    let sent = coach.ask(
        "POST",
        "/api/v1/students",
        "Content-Type: application/json\r\n",
        &long,
    );
    assert_eq!(sent.status, 413);
    let many = "X: y\r\n".repeat(100);
    assert_eq!(coach.ask("GET", "/", &many, "").status, 431);
    let wide = format!("X: {}\r\n", "y".repeat(64 * 1024));
    assert_eq!(coach.ask("GET", "/", &wide, "").status, 431);
    assert_eq!(answer(&mut body).status, 408);
    for mut stream in heads {
        // Closed without or with 408; a drop more does not keep it open.
        drop(write!(stream, "y"));
        assert!([0, 408].contains(&answer(&mut stream).status));
    }
    assert!(
        since.elapsed() < Duration::from_secs(25),
        "{:?}",
        since.elapsed()
    );
    assert_eq!(
        (coach.refused("http.oversize"), coach.refused("http.slow")),
        (1, 1)
    );
}

/// Seconds of processor time that a process has used (proc(5): fields 14 and 15, clock ticks of 10 ms).
fn processor_s(pid: u32) -> f64 {
    let stat = std::fs::read_to_string(format!("/proc/{pid}/stat")).unwrap();
    let after = stat.rsplit(')').next().unwrap();
    let ticks = |n: usize| {
        after
            .split_whitespace()
            .nth(n)
            .unwrap()
            .parse::<f64>()
            .unwrap()
    };
    (ticks(11) + ticks(12)) / 100.0
}

#[test]
fn ten_thousand_logins_cost_little_and_lock_nobody_else_out() {
    let guarded = Guarded::start("access-logins", PROXY, &[]);
    let attacker = guarded.from([127, 0, 0, 8]);
    let before = processor_s(guarded.bay.pid());
    let mut stream = attacker.connect();
    let body = json!({ "passphrase": "a guess of many words" }).to_string();
    let more = format!(
        "Content-Type: application/json\r\nContent-Length: {}\r\n",
        body.len()
    );
    let request = attacker.head("POST", "/api/v1/access/login", &more) + "\r\n" + &body;
    let (mut tried, mut throttled, mut text) = (0, 0, Vec::new());
    for _ in 0..10_000 {
        stream.write_all(request.as_bytes()).unwrap();
        text.clear();
        // Answers are short and come one by one; each ends with its object's end.
        let mut piece = [0; 4096];
        while !text.ends_with(b"}") {
            let read = stream.read(&mut piece).unwrap();
            assert!(read > 0, "the connection was closed");
            text.extend_from_slice(&piece[..read]);
        }
        if text.starts_with(b"HTTP/1.1 401") {
            tried += 1;
        } else {
            assert!(text.starts_with(b"HTTP/1.1 429"));
            let head = String::from_utf8_lossy(&text).to_ascii_lowercase();
            assert!(head.contains("retry-after: "), "{head}");
            throttled += 1;
        }
    }
    let used = processor_s(guarded.bay.pid()) - before;
    // Five are free; then the wait doubles: 1, 2, 4, … s.
    assert!((5..12).contains(&tried), "{tried} were tried");
    assert_eq!(tried + throttled, 10_000);
    // Not a figure of speed, but two orders of magnitude below ten thousand hashes of some 30 ms each.
    assert!(used < 10.0, "{used} s of processor time");
    let coach = guarded.logged_in(COACH);
    assert_eq!(coach.refused("access.throttled"), throttled);
    assert_eq!(coach.refused("access.wrong"), tried);
}

#[test]
fn others_are_not_let_near_without_a_passphrase() {
    let started = whin()
        .args(["serve", "--http", "0.0.0.0:0", "--udp", "127.0.0.1:0"])
        .output()
        .unwrap();
    assert_eq!(started.status.code(), Some(2));
    let said = String::from_utf8_lossy(&started.stderr).into_owned();
    assert!(said.contains("whin access set-passphrase"), "{said}");
}

/// TLS against Python's OpenSSL, and a real browser on a foreign page.
#[test]
fn a_foreign_page_in_a_browser_that_is_logged_in_gets_nothing() {
    let guarded = Guarded::start("access-browser", "tls = \"always\"", &[]);
    let certificate = guarded.dir.join("access.pem");
    let url = format!("https://localhost:{}", guarded.bay.http.port());
    let said = python(
        "browser/foreign.py",
        &[url.as_ref(), certificate.as_os_str(), COACH.as_ref()],
    );
    let verdict: Value = serde_json::from_str(&said).expect("a verdict in JSON");
    assert_eq!(verdict["ok"], true, "{:#}", verdict["failures"]);
}

#[test]
fn what_the_archive_keeps_is_for_this_user_only() {
    use std::os::unix::fs::MetadataExt as _;
    let dir = scratch("access-modes").join("archive");
    let archive = dir.display().to_string();
    // Whatever the shell says.
    let command = format!(
        "umask 000; exec {} archive enroll --archive '{archive}' --name Nobody --born 1980 --consent lesson",
        whin().get_program().display()
    );
    let enrolled = Command::new("sh")
        .args(["-c", &command])
        .stdout(Stdio::null())
        .status();
    assert!(enrolled.unwrap().success());
    let mut open = vec![dir];
    let mut seen = 0;
    while let Some(path) = open.pop() {
        let found = std::fs::metadata(&path).unwrap();
        let expected = if found.is_dir() { 0o700 } else { 0o600 };
        assert_eq!(found.mode() & 0o777, expected, "{}", path.display());
        seen += 1;
        if found.is_dir() {
            open.extend(std::fs::read_dir(&path).unwrap().map(|e| e.unwrap().path()));
        }
    }
    assert!(seen >= 3, "folder, recordings, store");
}
