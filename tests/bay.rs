//! The program as a bay: started on free ports, listened to by a real WebSocket client, ended by
//! SIGTERM as a supervisor does.

use std::io::{BufRead as _, BufReader};
use std::net::SocketAddr;
use std::path::Path;
use std::process::{Child, ChildStdout, Command, Stdio};
use std::time::{Duration, Instant};

use futures_util::StreamExt as _;
use serde_json::Value;
use tokio_tungstenite::connect_async;
use tokio_tungstenite::tungstenite::Message;

use crate::support::whin;

/// How long a state may take to come (timing is no part of any test).
const PATIENCE: Duration = Duration::from_secs(30);

/// A running `whin serve`.
pub(crate) struct Bay {
    child: Child,
    said: BufReader<ChildStdout>,
    /// Where datagrams go.
    pub(crate) udp: SocketAddr,
    /// Where screens go.
    pub(crate) http: SocketAddr,
}

/// What the program says next.
fn line(said: &mut BufReader<ChildStdout>) -> String {
    let mut line = String::new();
    said.read_line(&mut line).expect("a line");
    line.replace("https://", "http://")
}

/// The address behind `mark`.
fn after(line: &str, mark: &str) -> SocketAddr {
    let rest = line.split(mark).nth(1);
    let rest = rest.unwrap_or_else(|| panic!("no {mark} in {line:?}"));
    let end = rest.find(['/', ' ', '\n']).unwrap_or(rest.len());
    rest[..end].parse().expect("an address")
}

impl Bay {
    /// Ends the program at once, as a power cut does to it.
    pub(crate) fn kill(&mut self) {
        self.child.kill().expect("it is ours");
        self.child.wait().expect("it has ended");
    }

    /// The system's number of the process.
    pub(crate) fn pid(&self) -> u32 {
        self.child.id()
    }

    /// Starts the program with a marker map and whatever else.
    pub(crate) fn start(map: &str, extra: &[&str]) -> Self {
        Self::start_at("127.0.0.1:0", map, extra)
    }

    /// The same at a given HTTP address.
    pub(crate) fn start_at(http: &str, map: &str, extra: &[&str]) -> Self {
        Self::start_by(whin(), http, map, extra)
    }

    /// The same by a command of one's own that becomes the program.
    pub(crate) fn start_by(mut program: Command, http: &str, map: &str, extra: &[&str]) -> Self {
        let mut child = program
            .args([
                "serve",
                "--udp",
                "127.0.0.1:0",
                "--http",
                http,
                "--markers",
                map,
            ])
            .args(extra)
            .stdout(Stdio::piped())
            .spawn()
            .expect("the program starts");
        let mut said = BufReader::new(child.stdout.take().expect("piped"));
        let line = line(&mut said);
        let after = |mark| after(&line, mark);
        Self {
            udp: after("udp://"),
            http: after("http://"),
            child,
            said,
        }
    }

    /// Where the datagrams of the next bay of a hall go; asked once for each beyond the first.
    pub(crate) fn next_udp(&mut self) -> SocketAddr {
        after(&line(&mut self.said), "udp://")
    }

    /// Address of the page.
    pub(crate) fn url(&self) -> String {
        format!("http://{}/", self.http)
    }

    /// Streams a file at this bay with `whin send`.
    pub(crate) fn send(&self, file: &Path, map: &str, pace: &str) {
        let to = self.udp.to_string();
        let sent = whin()
            .arg("send")
            .arg(file)
            .args(["--to", &to, "--markers", map, "--pace", pace])
            .stdout(Stdio::null())
            .status();
        assert!(sent.expect("send starts").success());
    }

    /// A WebSocket client of this bay.
    pub(crate) async fn listen(&self) -> Listener {
        self.listen_to("").await
    }

    /// The same with a query, such as which bay of a hall is meant.
    pub(crate) async fn listen_to(&self, query: &str) -> Listener {
        let (socket, _) = connect_async(format!("ws://{}/ws{query}", self.http))
            .await
            .expect("the socket opens");
        let mut listener = Listener {
            socket,
            hello: Value::Null,
            health: Value::Null,
        };
        listener.hello = listener.next().await.expect("a hello");
        assert_eq!(listener.hello["type"], "hello");
        listener
    }

    /// Asks the program to end, as a supervisor does, and gives its exit code.
    pub(crate) fn stop(self) -> Option<i32> {
        self.stop_within(PATIENCE)
    }

    /// The same where it may take longer.
    pub(crate) fn stop_within(mut self, patience: Duration) -> Option<i32> {
        let pid = self.child.id().to_string();
        let asked = Command::new("kill")
            .args(["-TERM", &pid])
            .status()
            .expect("kill runs");
        assert!(asked.success());
        let since = Instant::now();
        while since.elapsed() < patience {
            if let Some(status) = self.child.try_wait().expect("a child") {
                return status.code();
            }
            std::thread::sleep(Duration::from_millis(20));
        }
        None
    }
}

impl Drop for Bay {
    fn drop(&mut self) {
        // Ended already, or a failed test: either way nothing may stay, the program under a tracer neither.
        let id = self.child.id();
        let traced = std::fs::read_to_string(format!("/proc/{id}/task/{id}/children"));
        drop(self.child.kill());
        drop(self.child.wait());
        for child in traced.unwrap_or_default().split_whitespace() {
            drop(Command::new("kill").args(["-KILL", child]).status());
        }
    }
}

/// A WebSocket client that keeps the first message and the newest health.
pub(crate) struct Listener {
    socket: tokio_tungstenite::WebSocketStream<
        tokio_tungstenite::MaybeTlsStream<tokio::net::TcpStream>,
    >,
    /// The snapshot.
    pub(crate) hello: Value,
    /// The newest health seen.
    pub(crate) health: Value,
}

impl Listener {
    /// The next message; `None` when the daemon closed the socket.
    pub(crate) async fn next(&mut self) -> Option<Value> {
        loop {
            let next = tokio::time::timeout(PATIENCE, self.socket.next())
                .await
                .expect("a message in time");
            match next? {
                Ok(Message::Text(text)) => return Some(serde_json::from_str(&text).expect("JSON")),
                Ok(Message::Close(_)) | Err(_) => return None,
                Ok(_) => {}
            }
        }
    }

    /// All swings until the bay says that nothing comes any more, each in its last revision (which is
    /// waited for; none comes before an earlier one, and none is of another kind), and the states in
    /// their order.
    pub(crate) async fn until_silent(&mut self) -> (Vec<Value>, Vec<String>) {
        let (mut swings, mut states) = (Vec::new(), Vec::new());
        let refined = |swings: &[Value]| swings.iter().all(|s| s["revision"] == 3);
        while states.last().is_none_or(|s| s != "no_signal") || !refined(&swings) {
            let message = self.next().await.expect("an open socket");
            match message["type"].as_str() {
                Some("swing") => {
                    let revision = |s: &Value| s["revision"].as_u64().expect("a revision");
                    match swings.iter_mut().find(|s| s["id"] == message["id"]) {
                        None => {
                            assert!(revision(&message) < 3, "uncertainties come last");
                            swings.push(message);
                        }
                        Some(before) => {
                            assert_eq!(revision(before) + 1, revision(&message));
                            let kind = |s: &Value| s["measurement"]["kind"].clone();
                            assert_eq!(kind(before), kind(&message));
                            *before = message;
                        }
                    }
                }
                Some("status") => {
                    states.push(message["state"].as_str().unwrap_or_default().to_owned())
                }
                Some("health") => self.health = message,
                _ => {}
            }
        }
        (swings, states)
    }

    /// The next health message that satisfies `wanted`.
    pub(crate) async fn health_where(&mut self, wanted: impl Fn(&Value) -> bool) -> Value {
        let since = Instant::now();
        while since.elapsed() < PATIENCE {
            let message = self.next().await.expect("an open socket");
            if message["type"] == "health" && wanted(&message) {
                return message;
            }
        }
        panic!("no such health in time");
    }
}
