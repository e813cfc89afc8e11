//! What is found again: lessons, swings, curves, bands, summaries.

use axum::Json;
use axum::extract::{Path, Query, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use axum::routing::{MethodRouter, get};
use protocol::lesson::{Band, Summary};
use protocol::screen::Replay;
use protocol::shelf::{Curves, Kept, Metrics, SessionLine, Sessions, Swings};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::ask::ask;
use super::describe::{Operation, Shape, shape};
use crate::archive::store::Find;
use crate::coach::shelf::{self, Sought};
use crate::coach::{Leak, Metric};
use crate::errors::Code;
use crate::web::problem::Problem;
use crate::web::server::Shared;

pub(super) type Answer = Result<Response, Problem>;

#[derive(Serialize, JsonSchema)]
struct Bands {
    bands: Vec<Band>,
}

pub(super) const fn read(
    path: &'static str,
    made: fn() -> MethodRouter<Shared>,
    (id, summary): (&'static str, &'static str),
    query: &'static [(&'static str, &'static str)],
    answer: Shape,
) -> Operation {
    Operation {
        method: "get",
        path,
        made,
        id,
        summary,
        query,
        body: None,
        file: false,
        answer,
    }
}

pub(super) const OPERATIONS: &[Operation] = &[
    read(
        "/api/v1/metrics",
        || get(metrics),
        (
            "listMetrics",
            "Every metric with unit, sign, definition and source",
        ),
        &[],
        shape::<Metrics>,
    ),
    read(
        "/api/v1/sessions",
        || get(sessions),
        ("listSessions", "Lessons, newest first"),
        &[
            ("student", "Only of this student"),
            ("before", "`next` of the page before"),
        ],
        shape::<Sessions>,
    ),
    read(
        "/api/v1/sessions/{session}",
        || get(session),
        ("getSession", "A lesson with its blocks"),
        &[],
        shape::<SessionLine>,
    ),
    read(
        "/api/v1/sessions/{session}/summary",
        || get(summary),
        ("getSummary", "What the student takes home"),
        &[],
        shape::<Summary>,
    ),
    read(
        "/api/v1/swings",
        || get(swings),
        ("findSwings", "Swings, newest first"),
        &[
            ("student", "Only of this student"),
            ("session", "Only of this lesson"),
            ("block", "Only of this block"),
            ("kind", "`shot`, `rehearsal`, `swing` or `partial`"),
            ("club", "Club in words"),
            ("purpose", "Purpose of the block"),
            ("tag", "Only with this tag"),
            ("leak", "Only those that show this leak, by its identifier"),
            ("from", "Not before, nanoseconds since 1970 in UTC"),
            ("to", "Before, nanoseconds since 1970 in UTC"),
            ("metrics", "Metrics to list beside head speed, by commas"),
            (
                "metric",
                "A metric whose value must lie between `min` and `max`, in its unit",
            ),
            ("min", "Smallest value"),
            ("max", "Largest value"),
            ("before", "`next` of the page before"),
        ],
        shape::<Swings>,
    ),
    read(
        "/api/v1/swings/{swing}",
        || get(swing),
        (
            "getArchivedSwing",
            "A swing with report, notes and who measured it",
        ),
        &[],
        shape::<Kept>,
    ),
    read(
        "/api/v1/swings/{swing}/replay",
        || get(replay),
        ("getArchivedReplay", "The pose over time"),
        &[],
        shape::<Replay>,
    ),
    read(
        "/api/v1/swings/{swing}/curves",
        || get(curves),
        ("getCurves", "Derived signals over time"),
        &[
            ("signals", "Only these, by commas"),
            ("rate", "At no more samples a second"),
        ],
        shape::<Curves>,
    ),
    read(
        "/api/v1/clubs/{club}/bands",
        || get(bands),
        (
            "listBands",
            "The bands of a club, defaults with their sources included",
        ),
        &[],
        shape::<Bands>,
    ),
];

async fn metrics() -> Response {
    Json(shelf::metrics()).into_response()
}

#[derive(Deserialize)]
struct Lessons {
    student: Option<String>,
    before: Option<u64>,
}

async fn sessions(State(site): State<Shared>, Query(asked): Query<Lessons>) -> Answer {
    ask(site, move |coach| {
        coach.sessions(asked.student.as_deref(), asked.before)
    })
    .await
}

async fn session(State(site): State<Shared>, Path(id): Path<String>) -> Answer {
    ask(site, move |coach| coach.session(&id)).await
}

async fn summary(State(site): State<Shared>, Path(id): Path<String>) -> Answer {
    ask(site, move |coach| coach.summary(&id)).await
}

#[derive(Deserialize)]
struct Asked {
    student: Option<String>,
    session: Option<String>,
    block: Option<i64>,
    kind: Option<String>,
    club: Option<String>,
    purpose: Option<String>,
    tag: Option<String>,
    leak: Option<String>,
    from: Option<u64>,
    to: Option<u64>,
    metrics: Option<String>,
    metric: Option<String>,
    min: Option<f64>,
    max: Option<f64>,
    before: Option<String>,
}

pub(super) fn refused(detail: String) -> Problem {
    Problem {
        status: StatusCode::UNPROCESSABLE_ENTITY,
        code: Code::ApiBadRequest,
        detail,
    }
}

/// Names by commas.
pub(super) fn listed(names: Option<&str>) -> Vec<String> {
    let each = names.unwrap_or_default().split(',');
    each.filter(|n| !n.is_empty()).map(str::to_owned).collect()
}

/// A metric that there is.
pub(super) fn metric(id: &str) -> Result<Metric, Problem> {
    Metric::by_id(id)
        .ok_or_else(|| refused(format!("there is no metric `{id}`: see /api/v1/metrics")))
}

fn sought(asked: Asked) -> Result<Sought, Problem> {
    let metrics = listed(asked.metrics.as_deref());
    let before = asked.before.as_deref().map(|text| {
        let place = text
            .split_once('-')
            .and_then(|(at, row)| Some((at.parse().ok()?, row.parse().ok()?)));
        place.ok_or_else(|| refused(format!("before is `{text}`: use `next` of a page")))
    });
    let range = asked.metric.as_deref().map(|id| {
        let (low, high) = (asked.min, asked.max);
        let low = low.unwrap_or(f64::NEG_INFINITY);
        Ok::<_, Problem>((metric(id)?, low, high.unwrap_or(f64::INFINITY)))
    });
    let leak = asked
        .leak
        .as_deref()
        .map(|id| Leak::from_name(id).ok_or_else(|| refused(format!("there is no leak `{id}`"))));
    Ok(Sought {
        leak: leak.transpose()?,
        metrics: metrics
            .iter()
            .map(|id| metric(id))
            .collect::<Result<_, _>>()?,
        before: before.transpose()?,
        range: range.transpose()?,
        tag: asked.tag,
        find: Find {
            student: asked.student,
            session: asked.session,
            block: asked.block,
            kind: asked.kind,
            club: asked.club,
            purpose: asked.purpose,
            from_utc_ns: asked.from,
            to_utc_ns: asked.to,
            swing: None,
        },
    })
}

async fn swings(State(site): State<Shared>, Query(asked): Query<Asked>) -> Answer {
    let sought = sought(asked)?;
    ask(site, move |coach| coach.swings(&sought)).await
}

async fn swing(State(site): State<Shared>, Path(id): Path<String>) -> Answer {
    ask(site, move |coach| coach.swing(&id)).await
}

async fn replay(State(site): State<Shared>, Path(id): Path<String>) -> Answer {
    ask(site, move |coach| coach.replay(&id)).await
}

#[derive(Deserialize)]
struct Drawn {
    signals: Option<String>,
    rate: Option<f64>,
}

async fn curves(
    State(site): State<Shared>,
    Path(id): Path<String>,
    Query(asked): Query<Drawn>,
) -> Answer {
    let signals = listed(asked.signals.as_deref());
    ask(site, move |coach| coach.curves(&id, &signals, asked.rate)).await
}

async fn bands(State(site): State<Shared>, Path(club): Path<String>) -> Answer {
    ask(site, move |coach| {
        Ok(Bands {
            bands: coach.bands(&club)?,
        })
    })
    .await
}
