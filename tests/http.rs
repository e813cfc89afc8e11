//! A plain HTTP client for the API: one request a connection, JSON both ways.

use std::io::{Read as _, Write as _};
use std::net::{SocketAddr, TcpStream};

use serde_json::Value;

/// Status and body (`null` where it is no JSON).
pub(crate) fn ask(to: SocketAddr, method: &str, path: &str, body: Option<&Value>) -> (u16, Value) {
    let body = body.map(Value::to_string).unwrap_or_default();
    send(to, (method, path), ("application/json", body.as_bytes()))
}

/// The same with a body of any kind.
pub(crate) fn send(
    to: SocketAddr,
    (method, path): (&str, &str),
    (kind, body): (&str, &[u8]),
) -> (u16, Value) {
    let (status, body) = text(to, (method, path), (kind, body));
    (status, serde_json::from_str(&body).unwrap_or_default())
}

/// The same with the answer as it is.
pub(crate) fn text(
    to: SocketAddr,
    (method, path): (&str, &str),
    (kind, body): (&str, &[u8]),
) -> (u16, String) {
    let mut stream = TcpStream::connect(to).expect("the bay listens");
    let head = if body.is_empty() {
        String::new()
    } else {
        let length = body.len();
        format!("Content-Type: {kind}\r\nContent-Length: {length}\r\n")
    };
    write!(
        stream,
        "{method} {path} HTTP/1.1\r\nHost: {to}\r\nConnection: close\r\n{head}\r\n"
    )
    .and_then(|()| stream.write_all(body))
    .expect("sent");
    let mut answer = Vec::new();
    stream.read_to_end(&mut answer).expect("an answer");
    let answer = String::from_utf8_lossy(&answer);
    let (head, body) = answer.split_once("\r\n\r\n").expect("a head");
    let status = head
        .split(' ')
        .nth(1)
        .and_then(|s| s.parse().ok())
        .expect("a status");
    let chunked = head
        .to_ascii_lowercase()
        .contains("transfer-encoding: chunked");
    let body = if chunked {
        joined(body)
    } else {
        body.to_owned()
    };
    (status, body)
}

/// A chunked body in one.
fn joined(body: &str) -> String {
    let (mut whole, mut rest) = (String::new(), body);
    while let Some((size, after)) = rest.split_once("\r\n") {
        let size = usize::from_str_radix(size.trim(), 16).unwrap_or(0);
        if size == 0 {
            break;
        }
        whole.push_str(&after[..size]);
        rest = after[size..].trim_start_matches("\r\n");
    }
    whole
}

/// A bay's API that must answer with 200.
pub(crate) struct Api(pub(crate) SocketAddr);

impl Api {
    pub(crate) fn get(&self, path: &str) -> Value {
        self.done("GET", path, None)
    }

    pub(crate) fn post(&self, path: &str, body: &Value) -> Value {
        self.done("POST", path, Some(body))
    }

    pub(crate) fn put(&self, path: &str, body: &Value) -> Value {
        self.done("PUT", path, Some(body))
    }

    pub(crate) fn done(&self, method: &str, path: &str, body: Option<&Value>) -> Value {
        let (status, answer) = ask(self.0, method, path, body);
        assert_eq!(status, 200, "{method} {path}: {answer}");
        answer
    }
}
