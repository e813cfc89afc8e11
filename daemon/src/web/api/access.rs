//! Logging in and out, pairing displays, and what the Rig page says of access.

use axum::extract::{Path, State};
use axum::http::header::{RETRY_AFTER, SET_COOKIE};
use axum::http::{HeaderValue, StatusCode};
use axum::response::{IntoResponse, Response};
use axum::routing::{delete, get, post, put};
use axum::{Extension, Json};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::ask::Told;
use super::describe::{Operation, shape};
use super::lesson::operation;
use crate::access::{AccessError, Display, Pass, Role, Token};
use crate::web::accept::Ends;
use crate::web::guard::COOKIE_NAME;
use crate::web::problem::Problem;
use crate::web::server::Shared;

/// Seconds that a browser keeps the cookie; the bay ends sessions by itself.
const COOKIE_SECONDS: u32 = 365 * 24 * 3600;

/// A passphrase.
#[derive(Deserialize, JsonSchema)]
struct Login {
    passphrase: String,
}

/// What a session may do.
#[derive(Serialize, JsonSchema)]
struct LoggedIn {
    role: Role,
}

/// The code that the Rig page shows.
#[derive(Deserialize, JsonSchema)]
struct Code {
    code: String,
}

/// The pairing that is open.
#[derive(Serialize, JsonSchema)]
struct Opened {
    /// Six digits, for one display.
    code: String,
    /// For how long it goes.
    seconds: u64,
}

/// Whether names of students are shown.
#[derive(Deserialize, JsonSchema)]
struct Names {
    names: bool,
}

/// A new passphrase.
#[derive(Deserialize, JsonSchema)]
struct NewPassphrase {
    /// Whose: `owner` or `coach`.
    role: Role,
    passphrase: String,
    /// The one of whoever asks.
    own: String,
}

/// What was done.
#[derive(Serialize, JsonSchema)]
struct Done {
    done: bool,
}

/// Access at this moment. Displays see their role only.
#[derive(Serialize, JsonSchema)]
struct Now {
    /// Whether one has to log in at all.
    login: bool,
    /// What whoever asks may do.
    role: Role,
    /// SHA-256 of the certificate, where Whin itself speaks TLS.
    #[serde(skip_serializing_if = "Option::is_none")]
    fingerprint: Option<String>,
    displays: Vec<Display>,
    /// Requests that were refused since the start.
    refused: Vec<Refused>,
}

/// Requests that were refused for one reason.
#[derive(Serialize, JsonSchema)]
struct Refused {
    /// Stable code.
    code: &'static str,
    /// What it means.
    meaning: &'static str,
    count: u64,
}

pub(super) const OPERATIONS: &[Operation] = &[
    operation(
        ("get", "/api/v1/access"),
        || get(now),
        (
            "getAccess",
            "Who asks, which displays are paired, what was refused",
        ),
        None,
        shape::<Now>,
    ),
    operation(
        ("post", "/api/v1/access/login"),
        || post(log_in),
        (
            "logIn",
            "Log in by a passphrase: the answer sets the cookie",
        ),
        Some(shape::<Login>),
        shape::<LoggedIn>,
    ),
    operation(
        ("post", "/api/v1/access/logout"),
        || post(log_out),
        ("logOut", "End this session"),
        None,
        shape::<Done>,
    ),
    operation(
        ("post", "/api/v1/access/pairing"),
        || post(open_pairing),
        (
            "openPairing",
            "A new code for one display; the one before is void",
        ),
        None,
        shape::<Opened>,
    ),
    operation(
        ("post", "/api/v1/access/pair"),
        || post(pair),
        (
            "pair",
            "Pair this display by a code: the answer sets the cookie",
        ),
        Some(shape::<Code>),
        shape::<LoggedIn>,
    ),
    operation(
        ("delete", "/api/v1/access/displays/{display}"),
        || delete(remove),
        ("removeDisplay", "Let a display go"),
        None,
        shape::<Done>,
    ),
    operation(
        ("put", "/api/v1/access/displays/{display}/names"),
        || put(names),
        (
            "showNames",
            "Whether a display shows names of students; for the owner",
        ),
        Some(shape::<Names>),
        shape::<Done>,
    ),
    operation(
        ("put", "/api/v1/access/passphrase"),
        || put(passphrase),
        (
            "setPassphrase",
            "Set the passphrase of a role, whose sessions end; for the owner",
        ),
        Some(shape::<NewPassphrase>),
        shape::<Done>,
    ),
];

async fn now(State(site): State<Shared>, Extension(pass): Extension<Pass>) -> Response {
    let whole = pass.role > Role::Display;
    let counts = site.access.counts().into_iter().filter(|_| whole);
    let refused = counts.map(|(code, count)| Refused {
        code: code.as_str(),
        meaning: code.meaning(),
        count,
    });
    let displays = whole.then(|| site.access.displays());
    Json(Now {
        login: site.access.policy().login,
        role: pass.role,
        fingerprint: site.fingerprint.clone().filter(|_| whole),
        displays: displays.unwrap_or_default(),
        refused: refused.collect(),
    })
    .into_response()
}

async fn log_in(
    State(site): State<Shared>,
    Extension(ends): Extension<Ends>,
    Told(told): Told<Login>,
) -> Response {
    let entered = site.access.log_in(told.passphrase, ends.peer).await;
    entered.map_or_else(refused, |(token, role)| entered_as(&token, role))
}

async fn log_out(State(site): State<Shared>, Extension(pass): Extension<Pass>) -> Response {
    site.access.log_out(&pass);
    ([(SET_COOKIE, cookie("", 0))], Json(Done { done: true })).into_response()
}

async fn open_pairing(State(site): State<Shared>, Extension(pass): Extension<Pass>) -> Response {
    let opened = site.access.open_pairing(&pass);
    opened.map_or_else(refused, |(code, seconds)| {
        Json(Opened { code, seconds }).into_response()
    })
}

async fn pair(
    State(site): State<Shared>,
    Extension(ends): Extension<Ends>,
    Told(told): Told<Code>,
) -> Response {
    let paired = site.access.pair(&told.code, ends.peer);
    paired.map_or_else(refused, |token| entered_as(&token, Role::Display))
}

async fn remove(
    State(site): State<Shared>,
    Extension(pass): Extension<Pass>,
    Path(display): Path<String>,
) -> Response {
    done(site.access.remove_display(&display, &pass))
}

async fn names(
    State(site): State<Shared>,
    Extension(pass): Extension<Pass>,
    Path(display): Path<String>,
    Told(told): Told<Names>,
) -> Response {
    done(site.access.show_names(&display, told.names, &pass))
}

async fn passphrase(
    State(site): State<Shared>,
    Extension(pass): Extension<Pass>,
    Extension(ends): Extension<Ends>,
    Told(told): Told<NewPassphrase>,
) -> Response {
    let new = (told.role, told.passphrase);
    let by = (&pass, ends.peer);
    done(site.access.set_passphrase(new, told.own, by).await)
}

fn done(outcome: Result<(), AccessError>) -> Response {
    outcome.map_or_else(refused, |()| Json(Done { done: true }).into_response())
}

fn entered_as(token: &Token, role: Role) -> Response {
    let cookie = cookie(token.text(), COOKIE_SECONDS);
    ([(SET_COOKIE, cookie)], Json(LoggedIn { role })).into_response()
}

/// For this host only, by TLS only, not for scripts, not with what other sites ask for.
fn cookie(token: &str, seconds: u32) -> String {
    format!("{COOKIE_NAME}={token}; Path=/; Max-Age={seconds}; Secure; HttpOnly; SameSite=Strict")
}

fn refused(why: AccessError) -> Response {
    let status = match &why {
        AccessError::Wrong(_) => StatusCode::UNAUTHORIZED,
        AccessError::Throttled(_) => StatusCode::TOO_MANY_REQUESTS,
        AccessError::Weak(_) => StatusCode::UNPROCESSABLE_ENTITY,
        AccessError::Unknown(_) => StatusCode::NOT_FOUND,
        AccessError::Open(_) | AccessError::File { .. } | AccessError::System(_) => {
            StatusCode::INTERNAL_SERVER_ERROR
        }
    };
    if status.is_server_error() {
        tracing::error!(code = %why.code(), "access: {why}");
    }
    let mut response = Problem {
        status,
        code: why.code(),
        detail: why.to_string(),
    }
    .into_response();
    if let AccessError::Throttled(seconds) = why {
        let headers = response.headers_mut();
        headers.insert(RETRY_AFTER, HeaderValue::from(seconds));
    }
    response
}
