//! Who may ask, for what, and what every answer tells the browser to keep to. A page of another site must not
//! reach the bay through the browser of someone in the hall, be it by its own name for this machine (the
//! `Host` check), by a form or by a socket (the `Origin` check). Where others can connect, everything but the
//! login page needs a session, whose role says what it is for. Bodies come whole, in time and short.

use std::net::IpAddr;
use std::time::Duration;

use axum::body::{Body, to_bytes};
use axum::extract::{Request, State};
use axum::http::header::{
    ACCEPT, CONTENT_SECURITY_POLICY, COOKIE, HOST, LOCATION, ORIGIN, REFERRER_POLICY,
    STRICT_TRANSPORT_SECURITY, X_CONTENT_TYPE_OPTIONS,
};
use axum::http::{HeaderMap, HeaderName, HeaderValue, Method, StatusCode, Uri};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};
use tokio::time::timeout;

use super::accept::Ends;
use super::problem::Problem;
use super::server::Shared;
use crate::access::{Policy, Role};
use crate::errors::Code;

/// The session's cookie. The prefix keeps it to this host, TLS and all paths (RFC 6265bis).
pub(super) const COOKIE_NAME: &str = "__Host-whin";
/// Bytes of a body: what is entered by hand is far shorter.
const BODY_BYTES_MAX: usize = 256 * 1024;
/// Where a whole file is sent, a calibration trial …
const FILE_PATH: &str = "/calibrations/c3d";
/// … and how long it may be: a minute of a thousand frames a second with sixty markers, several times.
pub(super) const FILE_BYTES_MAX: usize = 64 << 20;
/// A whole body must come in this time.
const BODY_LIMIT: Duration = Duration::from_secs(10);
/// A year: whoever came by TLS once does not come without.
const HSTS: HeaderValue = HeaderValue::from_static("max-age=31536000");
/// What the login page is made of.
const LOGIN_PAGE: [&str; 10] = [
    "/login",
    "/login.html",
    "/login/login.css",
    "/login/main.js",
    "/page.js",
    "/palette.js",
    "/theme.js",
    "/favicon.ico",
    "/favicon.svg",
    "/healthz",
];

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

/// Refuses what may not be asked; adds the security headers to every answer; counts refusals.
pub(super) async fn guard(State(site): State<Shared>, request: Request, next: Next) -> Response {
    let access = &site.access;
    let mut response = match checked(&site, request) {
        Ok(request) => match whole(request).await {
            Ok(request) => next.run(request).await,
            Err(problem) => problem.into_response(),
        },
        Err(refused) => *refused,
    };
    if let Some(code) = response.extensions().get::<Code>()
        && response.status().is_client_error()
    {
        access.count(*code);
    }
    for (name, value) in HEADERS {
        let value = HeaderValue::from_static(value);
        response.headers_mut().insert(name, value);
    }
    if access.policy().https {
        response
            .headers_mut()
            .insert(STRICT_TRANSPORT_SECURITY, HSTS);
    }
    response
}

/// The request with the pass of whoever asks, or the answer that refuses it.
fn checked(site: &Shared, mut request: Request) -> Result<Request, Box<Response>> {
    let refused = |problem: Problem| Box::new(problem.into_response());
    let policy = site.access.policy();
    let own = request.extensions().get::<Ends>().map(|ends| ends.own);
    check_host(&request, policy, own).map_err(refused)?;
    if !reads(request.method()) {
        // A page of another site may send, though not read: what writes is for our own pages.
        check_origin(request.headers(), policy).map_err(refused)?;
    }
    let path = request.uri().path();
    let pass = site.access.pass(token(request.headers()));
    match pass {
        Some(pass) if may(pass.role, request.method(), path) => {
            request.extensions_mut().insert(pass);
        }
        _ if is_open(request.method(), path) => {}
        Some(pass) => {
            let detail = format!("this is not for a {}", word(pass.role));
            return Err(refused(Problem::forbidden(Code::AccessDenied, detail)));
        }
        None if wants_page(&request) => return Err(Box::new(to_login(request.uri()))),
        None => return Err(refused(Problem::login())),
    }
    Ok(request)
}

/// The request with its whole body; what reads has none.
async fn whole(request: Request) -> Result<Request, Problem> {
    let (parts, body) = request.into_parts();
    if reads(&parts.method) {
        return Ok(Request::from_parts(parts, Body::empty()));
    }
    let refused = |status, code: Code, detail: &str| Problem {
        status,
        code,
        detail: detail.into(),
    };
    let late = |_late| {
        let detail = "the whole body must come within 10 s";
        refused(StatusCode::REQUEST_TIMEOUT, Code::HttpSlow, detail)
    };
    let most = if parts.uri.path().ends_with(FILE_PATH) {
        FILE_BYTES_MAX
    } else {
        BODY_BYTES_MAX
    };
    let long = |_long| {
        let detail = format!("a body has at most {} KiB here", most / 1024);
        refused(StatusCode::PAYLOAD_TOO_LARGE, Code::HttpOversize, &detail)
    };
    let bytes = timeout(BODY_LIMIT, to_bytes(body, most)).await;
    let bytes = bytes.map_err(late)?.map_err(long)?;
    Ok(Request::from_parts(parts, bytes.into()))
}

fn reads(method: &Method) -> bool {
    matches!(*method, Method::GET | Method::HEAD)
}

/// What needs no session: the login page, logging in and pairing, and whether the program lives.
fn is_open(method: &Method, path: &str) -> bool {
    if reads(method) {
        return LOGIN_PAGE.contains(&path);
    }
    let tries = ["/api/v1/access/login", "/api/v1/access/pair"];
    *method == Method::POST && tries.contains(&path)
}

/// Whether a role may ask for this at all.
fn may(role: Role, method: &Method, path: &str) -> bool {
    match role {
        Role::Owner => true,
        Role::Coach => reads(method) || !for_the_owner(path),
        Role::Display => reads(method) && for_displays(path),
    }
}

fn for_the_owner(path: &str) -> bool {
    path == "/api/v1/access/passphrase"
        || path.starts_with("/api/v1/access/displays/") && path.ends_with("/names")
}

/// The bay's page with what it is made of, its socket, and swings that have no name on them.
fn for_displays(path: &str) -> bool {
    if let Some(asked) = path.strip_prefix("/api/v1/") {
        let parts: Vec<&str> = asked.split('/').collect();
        return matches!(
            parts[..],
            ["access"] | ["bays", _] | ["bays", _, "swings"] | ["bays", _, "swings", _, "replay"]
        );
    }
    let pages = ["/lesson", "/shelf", "/rig", "/metrics"];
    let page = pages.contains(&path) || path.ends_with(".html") && path != "/index.html";
    !page && path != "/api" && !path.starts_with("/api/")
}

fn word(role: Role) -> &'static str {
    match role {
        Role::Display => "display",
        Role::Coach => "coach",
        Role::Owner => "owner",
    }
}

/// Whether a person's browser goes to a page.
fn wants_page(request: &Request) -> bool {
    let accept = request.headers().get(ACCEPT);
    let html = accept.is_some_and(|a| a.as_bytes().starts_with(b"text/html"));
    request.method() == Method::GET && html && !request.uri().path().starts_with("/api")
}

/// To the login page, and from there on to where they wanted to go.
fn to_login(uri: &Uri) -> Response {
    let path = uri.path();
    // The page takes only plain paths of ours.
    let plain = |c: char| c.is_ascii_alphanumeric() || "/._-".contains(c);
    let to = if path.chars().all(plain) { path } else { "/" };
    (
        StatusCode::SEE_OTHER,
        [(LOCATION, format!("/login?to={to}"))],
    )
        .into_response()
}

/// The token in the cookies, if there is exactly one.
fn token(headers: &HeaderMap) -> Option<&str> {
    let cookies = headers.get_all(COOKIE).iter();
    let cookies = cookies
        .filter_map(|c| c.to_str().ok())
        .flat_map(|c| c.split(';'));
    let mut tokens = cookies.filter_map(|c| c.trim().strip_prefix(COOKIE_NAME)?.strip_prefix('='));
    let first = tokens.next()?;
    tokens.next().is_none().then_some(first)
}

/// A request must name this computer, by every name that it gives.
fn check_host(request: &Request, policy: &Policy, own: Option<IpAddr>) -> Result<(), Problem> {
    let in_headers = request.headers().get_all(HOST).iter();
    let in_headers = in_headers.map(|h| h.to_str().unwrap_or_default());
    let in_address = request.uri().authority().map(|a| a.as_str());
    let names: Vec<&str> = in_address.into_iter().chain(in_headers).collect();
    let known = |name: &&str| is_this_computer(name, policy, own);
    if !names.is_empty() && names.iter().all(known) {
        return Ok(());
    }
    let detail =
        "open the page by localhost, by this computer's address, or by a name under http.names";
    Err(Problem::forbidden(Code::HttpHostRefused, detail.into()))
}

/// Whether `host[:port]` is a name of this computer. Another site can give its own name our address, but not
/// our address another meaning.
fn is_this_computer(host: &str, policy: &Policy, own: Option<IpAddr>) -> bool {
    let name = host_name(host);
    let address = name.parse::<IpAddr>().ok().map(|ip| ip.to_canonical());
    is_this_machine(host)
        || address.is_some() && address == own
        || policy
            .names
            .iter()
            .any(|known| known.eq_ignore_ascii_case(name))
}

fn host_name(host: &str) -> &str {
    match host.strip_prefix('[') {
        Some(v6) => v6.split(']').next().unwrap_or_default(),
        None => host.split(':').next().unwrap_or_default(),
    }
}

/// Whether `host[:port]` is a name that only this machine has.
fn is_this_machine(host: &str) -> bool {
    let name = host_name(host);
    name.eq_ignore_ascii_case("localhost")
        || name.parse::<IpAddr>().is_ok_and(|ip| ip.is_loopback())
}

/// A socket is for pages of our own and for programs, which send no `Origin`.
pub(super) fn check_origin(headers: &HeaderMap, policy: &Policy) -> Result<(), Problem> {
    // Where a browser says itself that another site asks, that is enough.
    let site = headers.get("sec-fetch-site").map(HeaderValue::as_bytes);
    let ours = site.is_none_or(|site| site == b"same-origin" || site == b"none");
    let origin = headers.get(ORIGIN).map(HeaderValue::as_bytes);
    let host = headers.get(HOST).and_then(|h| h.to_str().ok());
    let scheme = if policy.https { "https" } else { "http" };
    let own = format!("{scheme}://{}", host.unwrap_or_default());
    if ours && origin.is_none_or(|origin| origin.eq_ignore_ascii_case(own.as_bytes())) {
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
            let plain = check_origin(&headers, &Policy::default()).is_ok();
            let https = Policy {
                https: true,
                ..Policy::default()
            };
            (plain, check_origin(&headers, &https).is_ok())
        };
        assert_eq!(check(None), (true, true));
        assert_eq!(check(Some("http://localhost:8080")), (true, false));
        assert_eq!(check(Some("https://localhost:8080")), (false, true));
        for bad in [
            "null",
            "http://localhost",
            "http://localhost:8081",
            "https://localhost",
            "http://x.example",
        ] {
            assert_eq!(check(Some(bad)), (false, false), "{bad}");
        }
    }

    #[test]
    fn names_that_are_told_and_the_own_address_pass() {
        let policy = Policy {
            names: vec!["bay.example".into()],
            ..Policy::default()
        };
        let own = Some("192.0.2.5".parse().unwrap());
        for good in [
            "bay.example",
            "BAY.example:8443",
            "192.0.2.5:8443",
            "localhost",
        ] {
            assert!(is_this_computer(good, &policy, own), "{good}");
        }
        for bad in [
            "",
            "x.bay.example",
            "bay.example.x",
            "192.0.2.6",
            "192.0.2.5.x",
        ] {
            assert!(!is_this_computer(bad, &policy, own), "{bad}");
        }
    }

    #[test]
    fn a_display_reads_the_bay_and_a_coach_does_not_set_passphrases() {
        let display = |method: Method, path: &str| may(Role::Display, &method, path);
        let seen = [
            "/",
            "/main.js",
            "/bay/panel.js",
            "/ws",
            "/api/v1/access",
            "/api/v1/bays/north/swings/a/replay",
        ];
        for path in seen {
            assert!(display(Method::GET, path), "{path}");
            assert!(!display(Method::POST, path), "{path}");
        }
        let hidden = [
            "/lesson",
            "/lesson.html",
            "/shelf",
            "/rig",
            "/metrics",
            "/api",
            "/api/v1/students",
            "/api/v1/bays/north/lesson",
            "/api/v1/entries",
            "/api/v1/openapi.json",
            "/api/v1/bays/north/swings/a/replay/x",
        ];
        for path in hidden {
            assert!(!display(Method::GET, path), "{path}");
            assert!(may(Role::Coach, &Method::GET, path), "{path}");
        }
        let passphrase = (
            "/api/v1/access/passphrase",
            "/api/v1/access/displays/a/names",
        );
        for path in [passphrase.0, passphrase.1] {
            assert!(!may(Role::Coach, &Method::PUT, path));
            assert!(may(Role::Owner, &Method::PUT, path));
        }
        assert!(may(
            Role::Coach,
            &Method::DELETE,
            "/api/v1/access/displays/a"
        ));
    }

    #[test]
    fn two_tokens_are_none() {
        let with = |cookies: &[&'static str]| {
            let mut headers = HeaderMap::new();
            for cookie in cookies {
                headers.append(COOKIE, HeaderValue::from_static(cookie));
            }
            token(&headers).map(str::to_owned)
        };
        assert_eq!(with(&["a=1; __Host-whin=x; b=2"]).as_deref(), Some("x"));
        for none in [
            &["__Host-whinx=1"][..],
            &["__Host-whin=x", "__Host-whin=y"],
            &["__Host-whin=x; __Host-whin=x"],
            &[],
        ] {
            assert_eq!(with(none), None);
        }
    }
}
