//! One screen on the socket: a hello, then what the hub has for it, until either side ends it.
//! Nothing that a screen sends is looked at.

use std::sync::Arc;
use std::time::Duration;

use axum::extract::ws::{CloseFrame, Message, Utf8Bytes, WebSocket, WebSocketUpgrade, close_code};
use axum::extract::{FromRequestParts, Query, Request, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use futures_util::stream::{SplitSink, SplitStream};
use futures_util::{SinkExt, StreamExt};
use serde::Deserialize;
use tokio::time::{interval, timeout};
use tracing::debug;

use super::guard::check_origin;
use super::problem::Problem;
use super::server::{Serving, Shared};
use crate::access::Pass;
use crate::errors::Code;
use crate::hub::Subscription;

/// Inbound messages are not looked at, so there is no need for long ones.
const INBOUND_BYTES_MAX: usize = 1024;
/// A screen that does not take a message in this time is treated as one that fell behind.
const SEND_LIMIT: Duration = Duration::from_secs(5);
/// How long a closing screen may take to read and answer.
const CLOSE_LIMIT: Duration = Duration::from_secs(2);

/// How often it is looked whether the session still goes.
const LOOK: Duration = Duration::from_secs(2);

/// Why a connection ends.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum End {
    /// The screen closed it or is gone.
    Gone,
    /// It could not keep up.
    Behind,
    /// The program stops.
    Closing,
    /// Its session has ended.
    Out,
}

/// What a screen asks for.
#[derive(Deserialize)]
pub(super) struct Asked {
    /// The bay that it shows; the first one when it names none.
    bay: Option<String>,
}

/// `GET /ws`: becomes a socket if the request may, the bay is one and there is a place.
pub(super) async fn open(
    State(site): State<Shared>,
    Query(asked): Query<Asked>,
    request: Request,
) -> Response {
    if let Err(problem) = check_origin(request.headers(), site.access.policy()) {
        return problem.into_response();
    }
    // The guard has put it there.
    let Some(pass) = request.extensions().get::<Pass>().cloned() else {
        return Problem::login().into_response();
    };
    let (mut parts, _no_body) = request.into_parts();
    let upgrade = match WebSocketUpgrade::from_request_parts(&mut parts, &()).await {
        Ok(upgrade) => upgrade,
        Err(refused) => return refused.into_response(),
    };
    let bay = match site.shown(asked.bay.as_deref()) {
        Ok(bay) => Arc::clone(&bay.hub),
        Err(problem) => return problem.into_response(),
    };
    let Ok(seat) = site.seats.clone().try_acquire_owned() else {
        let detail = "close a screen that is not needed".into();
        return Problem {
            status: StatusCode::SERVICE_UNAVAILABLE,
            code: Code::SocketsFull,
            detail,
        }
        .into_response();
    };
    let limited = upgrade
        .max_message_size(INBOUND_BYTES_MAX)
        .max_frame_size(INBOUND_BYTES_MAX);
    limited.on_upgrade(async move |socket| {
        let messages = bay.subscribe_as(pass.names);
        let end = talk(socket, messages, (&site, &pass)).await;
        debug!(?end, "screen left");
        drop(seat);
    })
}

async fn talk(
    socket: WebSocket,
    mut messages: Subscription,
    (site, pass): (&Serving, &Pass),
) -> End {
    let mut closing = site.closing.clone();
    let (mut out, mut inbound) = socket.split();
    let fell_behind = messages.fell_behind();
    // A sending that hangs is dropped half-way by the first of the others; the socket keeps the rest
    // of the frame, so that the close frame still comes after whole messages.
    let end = tokio::select! {
        biased;
        _ = closing.wait_for(|closing| *closing) => End::Closing,
        () = fell_behind.notified() => End::Behind,
        () = ended(site, pass) => End::Out,
        () = ignore(&mut inbound) => End::Gone,
        end = send_all(&mut out, &mut messages) => end,
    };
    let goodbye = async {
        if let Some(frame) = end.frame() {
            out.send(Message::Close(Some(frame))).await.ok();
            ignore(&mut inbound).await;
        }
    };
    timeout(CLOSE_LIMIT, goodbye).await.ok();
    end
}

async fn send_all(out: &mut SplitSink<WebSocket, Message>, messages: &mut Subscription) -> End {
    while let Some(text) = messages.next().await {
        match timeout(SEND_LIMIT, out.send(Message::Text(text))).await {
            Ok(Ok(())) => {}
            Ok(Err(_)) => return End::Gone,
            Err(_) => return End::Behind,
        }
    }
    End::Behind
}

/// Done when the session has ended: a logout or a removed display must not look on.
async fn ended(site: &Serving, pass: &Pass) {
    let mut look = interval(LOOK);
    while site.access.holds(pass) {
        look.tick().await;
    }
}

/// Reads until the screen closes or is gone. Reading is what answers pings and close frames.
async fn ignore(inbound: &mut SplitStream<WebSocket>) {
    while let Some(Ok(_)) = inbound.next().await {}
}

impl End {
    fn frame(self) -> Option<CloseFrame> {
        let (code, reason) = match self {
            Self::Gone => return None,
            Self::Behind => (
                close_code::AGAIN,
                "fell behind: connect again for a snapshot",
            ),
            Self::Out => (close_code::POLICY, "log in again"),
            Self::Closing => (close_code::AWAY, "closing"),
        };
        Some(CloseFrame {
            code,
            reason: Utf8Bytes::from_static(reason),
        })
    }
}
