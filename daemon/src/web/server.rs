//! The server: routes put together, run until told to stop.

use std::future::Future;
use std::io;
use std::sync::Arc;
use std::time::Duration;

use axum::Router;
use axum::extract::{Request, State};
use axum::http::HeaderValue;
use axum::http::header::CACHE_CONTROL;
use axum::middleware::{from_fn, from_fn_with_state, map_response};
use axum::response::{IntoResponse, Response};
use protocol::rig::ConfigShown;
use tokio::net::TcpListener;
use tokio::sync::{Semaphore, watch};
use tokio::time::timeout;
use tracing::{debug, warn};

use super::accept::{CONNECTIONS_MAX, Door, Sources, accept};
use super::api::{ROUTES, operations};
use super::guard::guard;
use super::problem::{Problem, for_refusals};
use super::statics::Statics;
use super::tls::Tls;
use crate::access::Access;
use crate::coach::Coach;
use crate::errors::Code;
use crate::hub::Hub;
use crate::pulse::Pulse;

/// Screens at the same time; each may hold a few MiB of the kernel's buffers.
const SCREENS_MAX: u32 = 64;
/// After the stop: how long requests and screens may take to end.
const STOP_LIMIT: Duration = Duration::from_secs(3);

/// What handlers share.
pub(super) type Shared = Arc<Serving>;

/// What is served.
pub struct Site {
    /// The bay.
    pub hub: Arc<Hub>,
    /// The coach's side, where there is an archive.
    pub coach: Option<Arc<Coach>>,
    /// Pages and scripts.
    pub statics: Statics,
    /// How far the analysis of the bay has come.
    pub pulse: Arc<Pulse>,
    /// Who may come in.
    pub access: Arc<Access>,
    /// The configuration in force.
    pub config: ConfigShown,
    /// TLS, where Whin itself speaks it.
    pub tls: Option<Tls>,
}

pub(super) struct Serving {
    pub(super) hub: Arc<Hub>,
    pub(super) coach: Option<Arc<Coach>>,
    pub(super) statics: Statics,
    pub(super) pulse: Arc<Pulse>,
    pub(super) access: Arc<Access>,
    pub(super) config: ConfigShown,
    /// Of the certificate.
    pub(super) fingerprint: Option<String>,
    /// Turns true once: screens say goodbye.
    pub(super) closing: watch::Receiver<bool>,
    /// A place for each screen.
    pub(super) seats: Arc<Semaphore>,
}

/// Serves the bay on a bound socket until `stop` is done; then screens are closed with the reason
/// "closing" and requests get three seconds to end.
///
/// # Errors
/// When the socket fails.
pub async fn serve<S>(listener: TcpListener, site: Site, stop: S) -> io::Result<()>
where
    S: Future<Output = ()> + Send + 'static,
{
    let Site {
        hub,
        coach,
        statics,
        pulse,
        access,
        config,
        tls,
    } = site;
    let (closing, closes) = watch::channel(false);
    let seats = Arc::new(Semaphore::new(SCREENS_MAX as usize));
    let places = Arc::new(Semaphore::new(CONNECTIONS_MAX as usize));
    let site = Serving {
        hub: hub.clone(),
        coach,
        statics,
        pulse,
        access: access.clone(),
        config,
        fingerprint: tls.as_ref().map(|tls| tls.fingerprint.clone()),
        closing: closes.clone(),
        seats: seats.clone(),
    };
    let door = Door {
        router: router(Arc::new(site)),
        tls,
        access,
        places: places.clone(),
        sources: Sources::default(),
        closing: closes,
    };
    let accepting = accept(listener, Arc::new(door));
    tokio::select! {
        ended = accepting => ended?,
        () = hub.pass_poses_on() => {}
        () = stop => {}
    }
    closing.send_replace(true);
    // All places free: every request is answered, every screen has been told and is gone.
    let requests = timeout(STOP_LIMIT, places.acquire_many(CONNECTIONS_MAX));
    let screens = timeout(STOP_LIMIT, seats.acquire_many(SCREENS_MAX));
    let (requests, screens) = tokio::join!(requests, screens);
    if requests.is_err() {
        debug!("requests were still open at the end");
    }
    if screens.is_err() {
        warn!("screens were still open at the end");
    }
    Ok(())
}

fn router(site: Shared) -> Router {
    let routes = ROUTES.iter().fold(Router::new(), |router, (path, method)| {
        router.route(path, method())
    });
    let routes = operations().fold(routes, |router, operation| {
        router.route(operation.path, (operation.made)())
    });
    routes
        .method_not_allowed_fallback(async || Problem::method())
        .layer(from_fn(for_refusals))
        .layer(map_response(not_stored))
        .fallback(anything_else)
        .layer(from_fn_with_state(site.clone(), guard))
        .with_state(site)
}

/// What the API answers changes at any moment.
async fn not_stored(mut response: Response) -> Response {
    response
        .headers_mut()
        .insert(CACHE_CONTROL, HeaderValue::from_static("no-store"));
    response
}

/// Static files; a path under `/api` that does not exist is a problem, not a page.
async fn anything_else(State(site): State<Shared>, request: Request) -> Response {
    let path = request.uri().path();
    if path == "/api" || path.starts_with("/api/") {
        let detail = format!("there is no `{path}`: see /api/v1/openapi.json");
        return Problem::not_found(Code::ApiNotFound, detail).into_response();
    }
    site.statics.answer(request.method(), path)
}
