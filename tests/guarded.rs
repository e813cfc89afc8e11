//! A bay that everybody has to log in to, and who calls at it: the attacks of `access` and `access_displays`
//! are made with them.

use std::io::{ErrorKind, Read as _, Write as _};
use std::net::{IpAddr, SocketAddr, TcpStream};
use std::path::PathBuf;
use std::process::Stdio;
use std::time::Duration;

use futures_util::StreamExt as _;
use serde_json::{Value, json};
use tokio_tungstenite::client_async;
use tokio_tungstenite::tungstenite::client::IntoClientRequest as _;

use crate::bay::Bay;
use crate::support::{scratch, whin};
pub(crate) const COACH: &str = "four words of a coach";
pub(crate) const OWNER: &str = "other words of the owner";

/// A bay that everybody has to log in to, by plain HTTP as behind a proxy, and what it keeps.
pub(crate) struct Guarded {
    pub(crate) bay: Bay,
    pub(crate) dir: PathBuf,
}

impl Guarded {
    pub(crate) fn start(name: &str, http: &str, extra: &[&str]) -> Self {
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

    pub(crate) fn from(&self, source: [u8; 4]) -> Caller {
        Caller {
            to: self.bay.http,
            source: source.into(),
            cookie: String::new(),
        }
    }

    pub(crate) fn logged_in(&self, words: &str) -> Caller {
        let mut caller = self.from([127, 0, 0, 1]);
        let answer = caller.post("/api/v1/access/login", &json!({ "passphrase": words }));
        assert_eq!(answer.status, 200, "{}", answer.head);
        caller.cookie = answer.cookie();
        caller
    }
}

/// Somebody who asks, from an address of their own.
pub(crate) struct Caller {
    pub(crate) to: SocketAddr,
    pub(crate) source: IpAddr,
    pub(crate) cookie: String,
}

pub(crate) struct Answer {
    pub(crate) status: u16,
    pub(crate) head: String,
    pub(crate) body: Value,
}

impl Answer {
    pub(crate) fn header(&self, name: &str) -> Option<&str> {
        let mut lines = self.head.lines().filter_map(|line| line.split_once(": "));
        lines
            .find(|(n, _)| n.eq_ignore_ascii_case(name))
            .map(|(_, value)| value)
    }

    pub(crate) fn cookie(&self) -> String {
        let cookie = self.header("set-cookie").expect("a cookie");
        for flag in ["Secure", "HttpOnly", "SameSite=Strict", "Path=/"] {
            assert!(cookie.contains(flag), "{cookie}");
        }
        cookie.split(';').next().unwrap().to_owned()
    }
}

impl Caller {
    pub(crate) fn connect(&self) -> TcpStream {
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

    pub(crate) fn head(&self, method: &str, path: &str, more: &str) -> String {
        let Self { to, cookie, .. } = self;
        let cookie = if cookie.is_empty() {
            String::new()
        } else {
            format!("Cookie: {cookie}\r\n")
        };
        format!("{method} {path} HTTP/1.1\r\nHost: {to}\r\n{cookie}{more}")
    }

    pub(crate) fn ask(&self, method: &str, path: &str, more: &str, body: &str) -> Answer {
        let mut stream = self.connect();
        let length = if body.is_empty() {
            String::new()
        } else {
            format!("Content-Length: {}\r\n", body.len())
        };
        let head = self.head(method, path, more);
        let asked = write!(stream, "{head}{length}Connection: close\r\n\r\n{body}");
        // Refused before all was written: the answer is there all the same.
        let cut = [ErrorKind::BrokenPipe, ErrorKind::ConnectionReset];
        assert!(asked.is_ok() || asked.is_err_and(|why| cut.contains(&why.kind())));
        answer(&mut stream)
    }

    pub(crate) fn get(&self, path: &str) -> Answer {
        self.ask("GET", path, "", "")
    }

    pub(crate) fn post(&self, path: &str, body: &Value) -> Answer {
        self.send("POST", path, body)
    }

    pub(crate) fn send(&self, method: &str, path: &str, body: &Value) -> Answer {
        let kind = "Content-Type: application/json\r\n";
        self.ask(method, path, kind, &body.to_string())
    }

    /// How often the bay has refused for a reason.
    pub(crate) fn refused(&self, code: &str) -> u64 {
        let now = self.get("/api/v1/access");
        assert_eq!(now.status, 200);
        let refused = now.body["refused"].as_array().unwrap().clone();
        let found = refused.iter().find(|r| r["code"] == code);
        found.map_or(0, |r| r["count"].as_u64().unwrap())
    }

    /// The hello of a socket, or the status that refuses it.
    pub(crate) async fn socket(&self, origin: &str) -> Result<Value, u16> {
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
pub(crate) fn answer(stream: &mut TcpStream) -> Answer {
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

pub(crate) const PROXY: &str = "tls = \"proxy\"";
