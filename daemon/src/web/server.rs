//! The server: routes put together, run until told to stop.

use std::future::Future;
use std::io;
use std::sync::Arc;
use std::time::Duration;

use axum::Router;
use axum::extract::{Request, State};
use axum::http::HeaderValue;
use axum::http::header::CACHE_CONTROL;
use axum::middleware::{Next, from_fn, from_fn_with_state, map_response};
use axum::response::{IntoResponse, Response};
use futures_util::future::join_all;
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
use crate::coach::hall::Hall;
use crate::errors::Code;
use crate::hub::Hub;
use crate::pulse::Pulse;
use crate::several::Several;

/// Screens at the same time; each may hold a few MiB of the kernel's buffers.
const SCREENS_MAX: u32 = 64;
/// After the stop: how long requests and screens may take to end.
const STOP_LIMIT: Duration = Duration::from_secs(3);

/// What handlers share.
pub(super) type Shared = Arc<Serving>;

/// A bay that is served.
#[derive(Clone)]
pub struct Served {
    /// What it shows.
    pub hub: Arc<Hub>,
    /// The coach's side, where there is an archive.
    pub coach: Option<Arc<Coach>>,
    /// How far its analysis has come.
    pub pulse: Arc<Pulse>,
}

/// What is served.
pub struct Site {
    /// The bays; the first is shown where none is named.
    pub bays: Several<Served>,
    /// Pages and scripts.
    pub statics: Statics,
    /// Who may come in.
    pub access: Arc<Access>,
    /// The configuration in force.
    pub config: ConfigShown,
    /// TLS, where Whin itself speaks it.
    pub tls: Option<Tls>,
}

pub(super) struct Serving {
    pub(super) bays: Several<Served>,
    /// The coach's sides, where there is an archive.
    pub(super) hall: Option<Hall>,
    pub(super) statics: Statics,
    pub(super) access: Arc<Access>,
    pub(super) config: ConfigShown,
    /// Of the certificate.
    pub(super) fingerprint: Option<String>,
    /// Turns true once: screens say goodbye.
    pub(super) closing: watch::Receiver<bool>,
    /// A place for each screen.
    pub(super) seats: Arc<Semaphore>,
}

/// Serves the bays on a bound socket until `stop` is done; then screens are closed with the reason
/// "closing" and requests get three seconds to end.
///
/// # Errors
/// When the socket fails.
pub async fn serve<S>(listener: TcpListener, site: Site, stop: S) -> io::Result<()>
where
    S: Future<Output = ()> + Send + 'static,
{
    let Site {
        bays,
        statics,
        access,
        config,
        tls,
    } = site;
    let (closing, closes) = watch::channel(false);
    let seats = Arc::new(Semaphore::new(SCREENS_MAX as usize));
    let places = Arc::new(Semaphore::new(CONNECTIONS_MAX as usize));
    let site = Serving {
        hall: Several::of(bays.iter().filter_map(|bay| bay.coach.clone())).map(Hall),
        bays: bays.clone(),
        statics,
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
    let poses = join_all(bays.iter().map(|bay| bay.hub.pass_poses_on()));
    tokio::select! {
        ended = accepting => ended?,
        _ = poses => {}
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
        .layer(from_fn_with_state(site.clone(), ring_after_writing))
        .fallback(anything_else)
        .layer(from_fn_with_state(site.clone(), guard))
        .with_state(site)
}

/// What is entered in one bay may be shown in the others.
async fn ring_after_writing(State(site): State<Shared>, request: Request, next: Next) -> Response {
    let writes = !request.method().is_safe();
    let response = next.run(request).await;
    let done = writes && response.status().is_success();
    if let Some(hall) = site.hall.as_ref().filter(|_| done) {
        hall.ring();
    }
    response
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
