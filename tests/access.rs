//! Attacks on the web side of a bay that others can reach: each is refused with its status and counted. Real
//! program, real sockets; the browser's part is in `browser/foreign.py`.
//!
//! Statuses are those of RFC 9110 (401, 403, 408, 413) and RFC 6585 (429).

use std::io::{ErrorKind, Read as _, Write as _};
use std::net::{IpAddr, SocketAddr, TcpStream};
use std::path::PathBuf;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use futures_util::StreamExt as _;
use serde_json::{Value, json};
use tokio_tungstenite::client_async;
use tokio_tungstenite::tungstenite::client::IntoClientRequest as _;

use crate::bay::Bay;
use crate::support::{python, scratch, whin};

const COACH: &str = "four words of a coach";
const OWNER: &str = "other words of the owner";

/// A bay that everybody has to log in to, by plain HTTP as behind a proxy, and what it keeps.
struct Guarded {
    bay: Bay,
    dir: PathBuf,
}

impl Guarded {
    fn start(name: &str, http: &str, extra: &[&str]) -> Self {
        let dir = scratch(name);
        let config = dir.join("bay.toml");
        let text = format!("version = 1\n[http]\n{http}\n[access]\nfile = \"access.toml\"\n");
        std::fs::write(&config, text).unwrap();
        let config = config.display().to_string();
        for (role, words) in [("coach", COACH), ("owner", OWNER)] {
            let mut set = whin()
                .args([
                    "access",
                    "set-passphrase",
                    "--role",
                    role,
                    "--config",
                    &config,
                ])
                .stdin(Stdio::piped())
                .stdout(Stdio::null())
                .spawn()
                .unwrap();
            writeln!(set.stdin.take().unwrap(), "{words}").unwrap();
            assert!(set.wait().unwrap().success());
        }
        let mut all = vec!["--config", &config];
        all.extend(extra);
        let bay = Bay::start("whin_32", &all);
        Self { bay, dir }
    }

    fn from(&self, source: [u8; 4]) -> Caller {
        Caller {
            to: self.bay.http,
            source: source.into(),
            cookie: String::new(),
        }
    }

    fn logged_in(&self, words: &str) -> Caller {
        let mut caller = self.from([127, 0, 0, 1]);
        let answer = caller.post("/api/v1/access/login", &json!({ "passphrase": words }));
        assert_eq!(answer.status, 200, "{}", answer.head);
        caller.cookie = answer.cookie();
        caller
    }
}

/// Somebody who asks, from an address of their own.
struct Caller {
    to: SocketAddr,
    source: IpAddr,
    cookie: String,
}

struct Answer {
    status: u16,
    head: String,
    body: Value,
}

impl Answer {
    fn header(&self, name: &str) -> Option<&str> {
        let mut lines = self.head.lines().filter_map(|line| line.split_once(": "));
        lines
            .find(|(n, _)| n.eq_ignore_ascii_case(name))
            .map(|(_, value)| value)
    }

    fn cookie(&self) -> String {
        let cookie = self.header("set-cookie").expect("a cookie");
        for flag in ["Secure", "HttpOnly", "SameSite=Strict", "Path=/"] {
            assert!(cookie.contains(flag), "{cookie}");
        }
        cookie.split(';').next().unwrap().to_owned()
    }
}

impl Caller {
    fn connect(&self) -> TcpStream {
        use socket2::{Domain, Socket, Type};
        let socket = Socket::new(Domain::IPV4, Type::STREAM, None).unwrap();
        socket
            .bind(&SocketAddr::new(self.source, 0).into())
            .unwrap();
        socket.connect(&self.to.into()).unwrap();
        let stream = TcpStream::from(socket);
        stream
            .set_read_timeout(Some(Duration::from_secs(30)))
            .unwrap();
        stream
    }

    fn head(&self, method: &str, path: &str, more: &str) -> String {
        let Self { to, cookie, .. } = self;
        let cookie = if cookie.is_empty() {
            String::new()
        } else {
            format!("Cookie: {cookie}\r\n")
        };
        format!("{method} {path} HTTP/1.1\r\nHost: {to}\r\n{cookie}{more}")
    }

    fn ask(&self, method: &str, path: &str, more: &str, body: &str) -> Answer {
        let mut stream = self.connect();
        let length = if body.is_empty() {
            String::new()
        } else {
            format!("Content-Length: {}\r\n", body.len())
        };
        let head = self.head(method, path, more);
        write!(stream, "{head}{length}Connection: close\r\n\r\n{body}").unwrap();
        answer(&mut stream)
    }

    fn get(&self, path: &str) -> Answer {
        self.ask("GET", path, "", "")
    }

    fn post(&self, path: &str, body: &Value) -> Answer {
        self.send("POST", path, body)
    }

    fn send(&self, method: &str, path: &str, body: &Value) -> Answer {
        let kind = "Content-Type: application/json\r\n";
        self.ask(method, path, kind, &body.to_string())
    }

    /// How often the bay has refused for a reason.
    fn refused(&self, code: &str) -> u64 {
        let now = self.get("/api/v1/access");
        assert_eq!(now.status, 200);
        let refused = now.body["refused"].as_array().unwrap().clone();
        let found = refused.iter().find(|r| r["code"] == code);
        found.map_or(0, |r| r["count"].as_u64().unwrap())
    }

    /// The hello of a socket, or the status that refuses it.
    async fn socket(&self, origin: &str) -> Result<Value, u16> {
        let mut request = format!("ws://{}/ws", self.to)
            .into_client_request()
            .unwrap();
        let headers = request.headers_mut();
        headers.insert("origin", origin.parse().unwrap());
        headers.insert("cookie", self.cookie.parse().unwrap());
        let stream = tokio::net::TcpStream::connect(self.to).await.unwrap();
        match client_async(request, stream).await {
            Ok((mut socket, _)) => {
                let first = socket.next().await.unwrap().unwrap();
                Ok(serde_json::from_str(first.to_text().unwrap()).unwrap())
            }
            Err(tokio_tungstenite::tungstenite::Error::Http(answer)) => {
                Err(answer.status().as_u16())
            }
            Err(other) => panic!("{other}"),
        }
    }
}

/// The whole answer on a connection that is closed behind it.
fn answer(stream: &mut TcpStream) -> Answer {
    let mut bytes = Vec::new();
    match stream.read_to_end(&mut bytes) {
        Ok(_) => {}
        // Refused before all was read.
        Err(why) if why.kind() == ErrorKind::ConnectionReset => {}
        Err(why) => panic!("{why}"),
    }
    let text = String::from_utf8_lossy(&bytes);
    let (head, body) = text.split_once("\r\n\r\n").unwrap_or((&text, ""));
    let status = head.split(' ').nth(1).and_then(|s| s.parse().ok());
    Answer {
        status: status.unwrap_or(0),
        head: head.to_owned(),
        body: serde_json::from_str(body).unwrap_or_default(),
    }
}

const PROXY: &str = "tls = \"proxy\"";

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
        "/api/v1/bays/bay/plates",
        "/api/v1/archive",
        "/api/v1/config",
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
