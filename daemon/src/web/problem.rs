//! Errors of the API: problem details (RFC 9457) with our stable code.

use axum::Json;
use axum::extract::Request;
use axum::http::header::CONTENT_TYPE;
use axum::http::{HeaderValue, StatusCode};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};
use serde::Serialize;

use crate::errors::Code;

/// Content type of RFC 9457.
const PROBLEM: HeaderValue = HeaderValue::from_static("application/problem+json");

/// What went wrong with a request.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Problem {
    pub(super) status: StatusCode,
    pub(super) code: Code,
    /// This case, and what to do.
    pub(super) detail: String,
}

#[derive(Serialize)]
struct Body<'a> {
    /// The code says it; there is no page about it.
    r#type: &'static str,
    /// As RFC 9457 asks with `about:blank`: the phrase of the status.
    title: &'a str,
    status: u16,
    code: &'static str,
    detail: &'a str,
}

impl Problem {
    pub(super) fn not_found(code: Code, detail: String) -> Self {
        Self {
            status: StatusCode::NOT_FOUND,
            code,
            detail,
        }
    }

    pub(super) fn forbidden(code: Code, detail: String) -> Self {
        Self {
            status: StatusCode::FORBIDDEN,
            code,
            detail,
        }
    }

    /// Nobody has logged in.
    pub(super) fn login() -> Self {
        Self {
            status: StatusCode::UNAUTHORIZED,
            code: Code::AccessNeeded,
            detail: "log in first: open /login".into(),
        }
    }

    /// A path that does not take the method.
    pub(super) fn method() -> Self {
        let detail = "this path does not take this method: see /api/v1/openapi.json".into();
        Self {
            status: StatusCode::METHOD_NOT_ALLOWED,
            code: Code::ApiMethod,
            detail,
        }
    }
}

impl IntoResponse for Problem {
    fn into_response(self) -> Response {
        let title = self.status.canonical_reason().unwrap_or("Error");
        let body = Body {
            r#type: "about:blank",
            title,
            status: self.status.as_u16(),
            code: self.code.as_str(),
            detail: &self.detail,
        };
        let mut response = (self.status, Json(body)).into_response();
        response.extensions_mut().insert(self.code);
        let headers = response.headers_mut();
        headers.insert(CONTENT_TYPE, PROBLEM);
        response
    }
}

/// Turns what axum itself refuses (a path that is no UTF-8, an upgrade that is none) into a problem.
pub(super) async fn for_refusals(request: Request, next: Next) -> Response {
    let response = next.run(request).await;
    let status = response.status();
    let ours = response.headers().get(CONTENT_TYPE) == Some(&PROBLEM);
    if ours || !status.is_client_error() {
        return response;
    }
    let detail = Code::ApiBadRequest.meaning().into();
    Problem {
        status,
        code: Code::ApiBadRequest,
        detail,
    }
    .into_response()
}
