//! Who may ask at all, and what every answer tells the browser to keep to. A page of another site
//! must not reach the bay through the browser of someone in the hall, be it by its own name for
//! this machine (the `Host` check) or by a socket (the `Origin` check). Passwords come later.

use std::net::IpAddr;

use axum::extract::Request;
use axum::http::header::{
    CONTENT_SECURITY_POLICY, HOST, ORIGIN, REFERRER_POLICY, X_CONTENT_TYPE_OPTIONS,
};
use axum::http::{HeaderMap, HeaderName, HeaderValue, Method, Uri};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};

use super::problem::Problem;
use crate::errors::Code;

/// Everything from here, nothing inline, no frames around us.
const POLICY: &str = "default-src 'self'; connect-src 'self'; object-src 'none'; base-uri 'none'; \
    form-action 'none'; frame-ancestors 'none'";

const HEADERS: [(HeaderName, &str); 4] = [
    (CONTENT_SECURITY_POLICY, POLICY),
    (X_CONTENT_TYPE_OPTIONS, "nosniff"),
    (REFERRER_POLICY, "no-referrer"),
    (
        HeaderName::from_static("cross-origin-resource-policy"),
        "same-origin",
    ),
];

/// Refuses requests that name another host; adds the security headers to every answer.
pub(super) async fn guard(request: Request, next: Next) -> Response {
    let allowed = check_host(request.uri(), request.headers()).and_then(|()| {
        let reads = matches!(*request.method(), Method::GET | Method::HEAD);
        // A page of another site may send, though not read: what writes is for our own pages.
        if reads {
            Ok(())
        } else {
            check_origin(request.headers())
        }
    });
    let mut response = match allowed {
        Ok(()) => next.run(request).await,
        Err(problem) => problem.into_response(),
    };
    for (name, value) in HEADERS {
        response
            .headers_mut()
            .insert(name, HeaderValue::from_static(value));
    }
    response
}

/// A request must name this machine, by every name that it gives.
fn check_host(uri: &Uri, headers: &HeaderMap) -> Result<(), Problem> {
    let in_headers = headers
        .get_all(HOST)
        .iter()
        .map(|h| h.to_str().unwrap_or_default());
    let names: Vec<&str> = uri
        .authority()
        .map(|a| a.as_str())
        .into_iter()
        .chain(in_headers)
        .collect();
    if !names.is_empty() && names.iter().all(|name| is_this_machine(name)) {
        return Ok(());
    }
    let detail = "open the page by localhost, 127.0.0.1 or [::1]".into();
    Err(Problem::forbidden(Code::HttpHostRefused, detail))
}

/// Whether `host[:port]` is a name that only this machine has.
fn is_this_machine(host: &str) -> bool {
    let name = match host.strip_prefix('[') {
        Some(v6) => v6.split(']').next().unwrap_or_default(),
        None => host.split(':').next().unwrap_or_default(),
    };
    name.eq_ignore_ascii_case("localhost")
        || name.parse::<IpAddr>().is_ok_and(|ip| ip.is_loopback())
}

/// A socket is for pages of our own and for programs, which send no `Origin`.
pub(super) fn check_origin(headers: &HeaderMap) -> Result<(), Problem> {
    let Some(origin) = headers.get(ORIGIN) else {
        return Ok(());
    };
    let host = headers
        .get(HOST)
        .and_then(|h| h.to_str().ok())
        .unwrap_or_default();
    let own = format!("http://{host}");
    if origin.as_bytes().eq_ignore_ascii_case(own.as_bytes()) {
        return Ok(());
    }
    let detail = "the socket and writing are for pages of this bay only".into();
    Err(Problem::forbidden(Code::SocketOriginRefused, detail))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_names_of_this_machine_pass() {
        for good in [
            "localhost",
            "LocalHost:8080",
            "127.0.0.1:1",
            "127.9.9.9",
            "[::1]:8080",
            "[::1]",
        ] {
            assert!(is_this_machine(good), "{good}");
        }
        let evil = [
            "",
            ":80",
            "localhost.example",
            "example:8080",
            "127.0.0.1.example",
            "10.0.0.1",
            "[::2]",
            "0.0.0.0",
        ];
        for bad in evil {
            assert!(!is_this_machine(bad), "{bad}");
        }
    }

    #[test]
    fn a_socket_opens_to_its_own_page_and_to_programs() {
        let check = |origin: Option<&str>| {
            let mut headers = HeaderMap::new();
            headers.insert(HOST, HeaderValue::from_static("localhost:8080"));
            if let Some(origin) = origin {
                headers.insert(ORIGIN, HeaderValue::from_str(origin).unwrap());
            }
            check_origin(&headers).is_ok()
        };
        assert!(check(None) && check(Some("http://localhost:8080")));
        for bad in [
            "null",
            "http://localhost",
            "http://localhost:8081",
            "https://localhost:8080",
            "http://x.example",
        ] {
            assert!(!check(Some(bad)), "{bad}");
        }
    }
}
