//! From a request to the coach's side and back: bodies as JSON, questions on threads that may wait for the
//! disk, refusals as problems.

use axum::Json;
use axum::body::Bytes;
use axum::extract::{FromRequest, Request};
use axum::http::StatusCode;
use axum::http::header::CONTENT_TYPE;
use axum::response::{IntoResponse, Response};
use serde::Serialize;
use serde::de::DeserializeOwned;

use crate::archive::ArchiveError;
use crate::coach::Coach;
use crate::coach::hall::Hall;
use crate::errors::Code;
use crate::web::problem::Problem;
use crate::web::server::Shared;

/// A body that is JSON of a known shape.
pub(super) struct Told<T>(pub(super) T);

impl<T: DeserializeOwned> FromRequest<Shared> for Told<T> {
    type Rejection = Problem;

    async fn from_request(request: Request, site: &Shared) -> Result<Self, Problem> {
        let refused = |status, detail: String| Problem {
            status,
            code: Code::ApiBadRequest,
            detail,
        };
        let kind = request.headers().get(CONTENT_TYPE);
        // A form of another site's page can be sent to us without asking, JSON cannot.
        if !kind.is_some_and(|k| k.as_bytes().starts_with(b"application/json")) {
            let detail = "send a body of content type application/json".into();
            return Err(refused(StatusCode::UNSUPPORTED_MEDIA_TYPE, detail));
        }
        let bytes = Bytes::from_request(request, site)
            .await
            .map_err(|e| refused(e.status(), e.body_text()))?;
        let told = serde_json::from_slice(&bytes);
        told.map(Self)
            .map_err(|e| refused(StatusCode::UNPROCESSABLE_ENTITY, format!("the body: {e}")))
    }
}

/// A body that is a file, sent as bytes.
pub(super) struct Uploaded(pub(super) Bytes);

impl FromRequest<Shared> for Uploaded {
    type Rejection = Problem;

    async fn from_request(request: Request, site: &Shared) -> Result<Self, Problem> {
        let refused = |status, detail: String| Problem {
            status,
            code: Code::ApiBadRequest,
            detail,
        };
        let kind = request.headers().get(CONTENT_TYPE);
        // As JSON, no form can send it.
        if kind.is_none_or(|k| k.as_bytes() != b"application/octet-stream") {
            let detail = "send the file as content type application/octet-stream".into();
            return Err(refused(StatusCode::UNSUPPORTED_MEDIA_TYPE, detail));
        }
        let bytes = Bytes::from_request(request, site).await;
        bytes
            .map(Self)
            .map_err(|e| refused(e.status(), e.body_text()))
    }
}

/// Asks what the archive knows, whichever bay is meant; the answer is JSON.
pub(super) async fn ask<T, Q>(site: Shared, question: Q) -> Result<Response, Problem>
where
    T: Serialize + Send + 'static,
    Q: FnOnce(&Coach) -> Result<T, ArchiveError> + Send + 'static,
{
    ask_hall(site, |hall| question(hall.first())).await
}

/// Asks the coach's side of a bay.
pub(super) async fn ask_bay<T, Q>(
    site: Shared,
    bay: String,
    question: Q,
) -> Result<Response, Problem>
where
    T: Serialize + Send + 'static,
    Q: FnOnce(&Coach) -> Result<T, ArchiveError> + Send + 'static,
{
    site.shown(Some(&bay))?;
    ask_hall(site, move |hall| question(hall.bay(&bay))).await
}

/// Asks the coach's sides of all bays, where it concerns whoever stands in one of them.
pub(super) async fn ask_hall<T, Q>(site: Shared, question: Q) -> Result<Response, Problem>
where
    T: Serialize + Send + 'static,
    Q: FnOnce(&Hall) -> Result<T, ArchiveError> + Send + 'static,
{
    let Some(hall) = site.hall.clone() else {
        let detail = "this bay has no archive: start it with --archive DIR".into();
        return Err(Problem {
            status: StatusCode::CONFLICT,
            code: Code::ArchiveAbsent,
            detail,
        });
    };
    let asked = tokio::task::spawn_blocking(move || question(&hall)).await;
    let answer = asked.map_err(|_panic| Problem {
        status: StatusCode::INTERNAL_SERVER_ERROR,
        code: Code::Internal,
        detail: "answering failed; please report it".into(),
    })?;
    Ok(Json(answer.map_err(problem)?).into_response())
}

fn problem(error: ArchiveError) -> Problem {
    let status = match &error {
        ArchiveError::Unknown { .. } | ArchiveError::Absent(_) => StatusCode::NOT_FOUND,
        ArchiveError::NotConsented(_) => StatusCode::FORBIDDEN,
        ArchiveError::Unfitting(_) | ArchiveError::Trial(_) => StatusCode::UNPROCESSABLE_ENTITY,
        _ => StatusCode::INTERNAL_SERVER_ERROR,
    };
    if status.is_server_error() {
        tracing::error!(code = %error.code(), "the archive cannot answer: {error}");
    }
    Problem {
        status,
        code: error.code(),
        detail: error.to_string(),
    }
}
