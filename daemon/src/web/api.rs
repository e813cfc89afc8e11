//! The paths of the server and what they answer: the live bay here, the coach's side in `lesson`.
//! `openapi.json` describes the first by hand, `describe` the rest from its types; a test keeps both
//! together with what is served.

mod access;
mod ask;
mod compare;
mod describe;
mod lesson;
mod rig;
mod shelf;
mod shots;

use std::sync::Arc;

use axum::Json;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::http::header::CONTENT_TYPE;
use axum::response::{IntoResponse, Response};
use axum::routing::{MethodRouter, get};
use protocol::report::Report;
use protocol::screen::{Archived, BayState, Swing};
use serde::Serialize;

use self::describe::Operation;
use super::gauges;
use super::problem::Problem;
use super::server::{Served, Serving, Shared};
use super::socket;
use crate::errors::Code;
use crate::hub::Hub;
use crate::pulse::LATE_NS;

/// Makes what answers at a path.
type Made = fn() -> MethodRouter<Shared>;

/// Every operation that is described by its types.
pub(super) fn operations() -> impl Iterator<Item = Operation> {
    let all = [
        access::OPERATIONS,
        lesson::OPERATIONS,
        shots::OPERATIONS,
        shelf::OPERATIONS,
        compare::OPERATIONS,
        rig::OPERATIONS,
    ];
    all.into_iter().flatten().copied()
}

/// The OpenAPI document, as served.
pub(super) fn document() -> &'static str {
    describe::document(operations())
}

/// The paths of the live bay: read only.
pub(super) const ROUTES: &[(&str, Made)] = &[
    ("/ws", || get(socket::open)),
    ("/healthz", || get(healthz)),
    ("/metrics", || get(gauges::metrics)),
    ("/api/v1/openapi.json", || get(openapi)),
    ("/api/v1/bays", || get(bays)),
    ("/api/v1/bays/{bay}", || get(bay)),
    ("/api/v1/bays/{bay}/swings", || get(swings)),
    ("/api/v1/bays/{bay}/swings/{id}", || get(swing)),
    ("/api/v1/bays/{bay}/swings/{id}/replay", || get(replay)),
];

/// Whether the bays work, for a supervisor.
#[derive(Serialize)]
struct Alive {
    /// `ok`, or `behind`: the analysis does not come along.
    status: &'static str,
    /// Age of what the slowest of them has worked off last, seconds.
    behind_s: f64,
}

#[derive(Serialize)]
struct Bays<'a> {
    bays: Vec<Listed<'a>>,
}

#[derive(Serialize)]
struct Listed<'a> {
    id: &'a str,
    name: &'a str,
    state: BayState,
}

#[derive(Serialize)]
struct Swings<'a> {
    bay: &'a str,
    /// Newest first.
    swings: Vec<&'a Report>,
}

/// A swing, and what became of it in the archive where that is known.
#[derive(Serialize)]
struct Kept {
    #[serde(flatten)]
    swing: Swing,
    #[serde(skip_serializing_if = "Option::is_none")]
    archived: Option<Archived>,
}

async fn healthz(State(site): State<Shared>) -> Response {
    let behind_ns = site.bays.iter().map(|bay| bay.pulse.behind_ns());
    let behind_ns = behind_ns.max().unwrap_or_default();
    let (code, status) = match behind_ns {
        LATE_NS.. => (StatusCode::SERVICE_UNAVAILABLE, "behind"),
        _ => (StatusCode::OK, "ok"),
    };
    let behind_s = behind_ns as f64 * 1e-9;
    (code, Json(Alive { status, behind_s })).into_response()
}

async fn openapi() -> Response {
    ([(CONTENT_TYPE, "application/json")], document()).into_response()
}

async fn bays(State(site): State<Shared>) -> Response {
    let bays = site.bays.iter().map(|bay| Listed {
        id: &bay.hub.bay().id,
        name: &bay.hub.bay().name,
        state: bay.hub.state(),
    });
    let bays = bays.collect();
    Json(Bays { bays }).into_response()
}

async fn bay(State(site): State<Shared>, Path(bay): Path<String>) -> Result<Response, Problem> {
    let hub = hub(&site, &bay)?;
    Ok(Json(hub.now()).into_response())
}

async fn swings(State(site): State<Shared>, Path(bay): Path<String>) -> Result<Response, Problem> {
    let held = hub(&site, &bay)?.swings();
    let swings = held.iter().map(|report| &**report).collect();
    Ok(Json(Swings { bay: &bay, swings }).into_response())
}

async fn swing(
    State(site): State<Shared>,
    Path((bay, id)): Path<(String, String)>,
) -> Result<Response, Problem> {
    let hub = hub(&site, &bay)?;
    let report = held(hub, &id)?;
    let archived = hub.archived(&id);
    let swing = Swing {
        bay,
        report: (*report).clone(),
    };
    Ok(Json(Kept { swing, archived }).into_response())
}

async fn replay(
    State(site): State<Shared>,
    Path((bay, id)): Path<(String, String)>,
) -> Result<Response, Problem> {
    let hub = hub(&site, &bay)?;
    held(hub, &id)?;
    let missing = || {
        Problem::not_found(
            Code::ReplayNotFound,
            format!("swing `{id}` of bay `{bay}` has no replay in memory"),
        )
    };
    Ok(Json(&*hub.replay(&id).ok_or_else(missing)?).into_response())
}

impl Serving {
    /// The bay that is asked for; the first one when none is named.
    pub(super) fn shown(&self, bay: Option<&str>) -> Result<&Served, Problem> {
        let Some(asked) = bay else {
            return Ok(self.bays.first());
        };
        let found = self.bays.iter().find(|bay| bay.hub.bay().id == asked);
        found.ok_or_else(|| {
            let ids = self
                .bays
                .iter()
                .map(|bay| format!("`{}`", bay.hub.bay().id));
            let known: Vec<String> = ids.collect();
            let detail = format!("there is no bay `{asked}`, only {}", known.join(", "));
            Problem::not_found(Code::BayNotFound, detail)
        })
    }
}

fn hub<'a>(site: &'a Shared, bay: &str) -> Result<&'a Hub, Problem> {
    Ok(&site.shown(Some(bay))?.hub)
}

fn held(hub: &Hub, id: &str) -> Result<Arc<Report>, Problem> {
    let bay = &hub.bay().id;
    hub.swing(id).ok_or_else(|| {
        let detail = format!("bay `{bay}` has no swing `{id}` among the last 20");
        Problem::not_found(Code::SwingNotFound, detail)
    })
}
