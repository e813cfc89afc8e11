//! Connections: accepting them within limits, TLS, HTTP/1.1 with time limits, until told to stop. What a
//! request means is elsewhere.

use std::collections::BTreeMap;
use std::io;
use std::net::{IpAddr, SocketAddr};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;

use axum::Router;
use axum::body::Body;
use axum::extract::Request;
use hyper::body::Incoming;
use hyper::server::conn::http1;
use hyper::service::{Service as _, service_fn};
use hyper_util::rt::{TokioIo, TokioTimer};
use hyper_util::service::TowerToHyperService;
use tokio::io::{AsyncRead, AsyncWrite};
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::{OwnedSemaphorePermit, Semaphore, watch};
use tokio::time::{sleep, timeout};
use tracing::{debug, warn};

use super::tls::Tls;
use crate::access::Access;
use crate::errors::Code;

/// Connections at the same time, sockets of screens not counted.
pub(super) const CONNECTIONS_MAX: u32 = 512;
/// Of one source, so that one cannot take all; this machine itself may.
const OF_ONE_SOURCE: u32 = 64;
/// A request's head must come in this time, and the next one on the same connection; so must the handshake.
const HEAD_LIMIT: Duration = Duration::from_secs(10);
/// Data that nobody takes ends the connection after this.
const TAKEN_LIMIT: Duration = Duration::from_secs(30);
/// Bytes of a request's head.
const HEAD_BYTES_MAX: usize = 32 * 1024;
const HEADERS_MAX: usize = 64;
/// After an error of accepting, such as too many open files.
const PAUSE: Duration = Duration::from_millis(200);

/// Both ends of a connection.
#[derive(Debug, Clone, Copy)]
pub(super) struct Ends {
    pub(super) peer: IpAddr,
    pub(super) own: IpAddr,
}

/// What every connection shares.
pub(super) struct Door {
    pub(super) router: Router,
    pub(super) tls: Option<Tls>,
    pub(super) access: Arc<Access>,
    /// A place for each connection; all free: none is left.
    pub(super) places: Arc<Semaphore>,
    pub(super) sources: Sources,
    pub(super) closing: watch::Receiver<bool>,
}

/// Connections by source.
#[derive(Debug, Default, Clone)]
pub(super) struct Sources(Arc<Mutex<BTreeMap<IpAddr, u32>>>);

/// One connection of a source, as long as it lives.
struct Counted {
    sources: Sources,
    peer: IpAddr,
}

impl Sources {
    fn enter(&self, peer: IpAddr) -> Option<Counted> {
        let mut sources = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let most = if peer.is_loopback() {
            CONNECTIONS_MAX
        } else {
            OF_ONE_SOURCE
        };
        let count = sources.entry(peer).or_default();
        if *count >= most {
            return None;
        }
        *count += 1;
        let sources = self.clone();
        Some(Counted { sources, peer })
    }
}

impl Drop for Counted {
    fn drop(&mut self) {
        let mut sources = self
            .sources
            .0
            .lock()
            .unwrap_or_else(PoisonError::into_inner);
        if let Some(count) = sources.get_mut(&self.peer) {
            *count -= 1;
            if *count == 0 {
                sources.remove(&self.peer);
            }
        }
    }
}

/// Accepts until told to close.
pub(super) async fn accept(listener: TcpListener, door: Arc<Door>) -> io::Result<()> {
    let mut closing = door.closing.clone();
    loop {
        let accepted = tokio::select! {
            () = closed(&mut closing) => return Ok(()),
            accepted = listener.accept() => accepted,
        };
        match accepted {
            Ok((stream, peer)) => greet(stream, peer, &door),
            Err(why) => {
                warn!("a connection cannot be accepted: {why}");
                sleep(PAUSE).await;
            }
        }
    }
}

/// Done when the program stops.
async fn closed(closing: &mut watch::Receiver<bool>) {
    // The sender lives as long as the server.
    closing.wait_for(|closing| *closing).await.ok();
}

/// Gives a connection its place, or closes it.
fn greet(stream: TcpStream, peer: SocketAddr, door: &Arc<Door>) {
    let Ok(own) = stream.local_addr() else { return };
    let ends = Ends {
        peer: peer.ip().to_canonical(),
        own: own.ip().to_canonical(),
    };
    let place = door.places.clone().try_acquire_owned().ok();
    let Some((place, counted)) = place.zip(door.sources.enter(ends.peer)) else {
        door.access.count(Code::HttpConnectionsFull);
        return debug!("a connection too many was closed");
    };
    tune(&stream).unwrap_or_else(|why| debug!("options of a socket: {why}"));
    let door = Arc::clone(door);
    tokio::spawn(async move {
        let _kept: (OwnedSemaphorePermit, Counted) = (place, counted);
        let Some(tls) = &door.tls else {
            return talk(stream, ends, &door).await;
        };
        match timeout(HEAD_LIMIT, tls.acceptor.accept(stream)).await {
            Ok(Ok(stream)) => talk(stream, ends, &door).await,
            Ok(Err(why)) => debug!("no TLS: {why}"),
            Err(_late) => debug!("no TLS in time"),
        }
    });
}

/// Small messages must not wait for others to fill a packet; data that nobody takes must not stay for ever.
fn tune(stream: &TcpStream) -> io::Result<()> {
    stream.set_nodelay(true)?;
    #[cfg(target_os = "linux")]
    socket2::SockRef::from(stream).set_tcp_user_timeout(Some(TAKEN_LIMIT))?;
    Ok(())
}

async fn talk<S>(stream: S, ends: Ends, door: &Door)
where
    S: AsyncRead + AsyncWrite + Unpin + Send + 'static,
{
    let router = TowerToHyperService::new(door.router.clone());
    let service = service_fn(move |request: Request<Incoming>| {
        let mut request = request.map(Body::new);
        request.extensions_mut().insert(ends);
        router.call(request)
    });
    let connection = http1::Builder::new()
        .timer(TokioTimer::new())
        .header_read_timeout(HEAD_LIMIT)
        .max_buf_size(HEAD_BYTES_MAX)
        .max_headers(HEADERS_MAX)
        .serve_connection(TokioIo::new(stream), service)
        .with_upgrades();
    tokio::pin!(connection);
    let mut closing = door.closing.clone();
    let ended = tokio::select! {
        ended = &mut connection => ended,
        () = closed(&mut closing) => {
            connection.as_mut().graceful_shutdown();
            connection.await
        }
    };
    ended.unwrap_or_else(|why| debug!("a connection ended: {why}"));
}
