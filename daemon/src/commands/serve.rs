//! `whin serve`: the bay, from configuration to clean end. What demo and bay share is here too.

use std::net::{SocketAddr, UdpSocket};
use std::path::PathBuf;
use std::sync::Arc;
use std::time::Duration;

use analysis::context::Context;
use anyhow::Context as _;
use tracing::{info, warn};

use super::{config, print};
use crate::analyze::Setup;
use crate::archive::{Archive, ArchiveError, writer};
use crate::cli::Serve;
use crate::clock::Clock;
use crate::config::{Config, Flags};
use crate::context;
use crate::hub::{Bay, Hub};
use crate::map::MarkerMap;
use crate::outgoing;
use crate::pipeline::{self, Keep, Running, Start};
use crate::recording::{Meta, Recorder};
use crate::web::{self, Statics};

pub(super) fn run(args: Serve) -> anyhow::Result<()> {
    let flags = Flags {
        udp: args.udp,
        http: args.http,
        markers: args.markers,
        context: args.context,
        recording: args.record,
        archive: args.archive,
        student: args.student,
    };
    let config = config(args.config.as_deref(), flags)?;
    web::require_loopback(config.http.listen)?;
    let clock = Clock::start();
    let map = MarkerMap::load(&config.markers.map)?;
    let (context, context_text) = match &config.context.file {
        Some(path) => {
            let told = context::load(path, &map)?;
            told.remarks.iter().for_each(|r| info!("{r}"));
            (told.context, Some(told.text))
        }
        None => (Context::default(), None),
    };
    let meta = meta(&config, (&map, context_text), clock);
    let (keep, note) = keep(&config, meta, clock)?;
    let hub = Arc::new(Hub::new(bay(&config, note)));
    let socket = UdpSocket::bind(config.udp.listen)
        .with_context(|| format!("cannot listen on {} (UDP)", config.udp.listen))?;
    let listener = listen(config.http.listen)?;
    print(&format!(
        "screen http://{}/  datagrams udp://{}  bay {}",
        listener.local_addr()?,
        socket.local_addr()?,
        config.bay.id.as_str()
    ))?;
    let running = pipeline::start(Start {
        socket,
        receive_buffer_bytes: config.udp.receive_buffer_bytes,
        map,
        setup: setup(&config, context),
        keep,
        hub: Arc::clone(&hub),
        reports: None,
        clock,
    })?;
    serve_until(listener, hub, statics(args.statics), running, signal())
}

pub(super) fn setup(config: &Config, context: Context) -> Setup {
    let reorder_window_ns = i64::from(config.markers.reorder_window_millis) * 1_000_000;
    let context = Context {
        late_ns: config.late_millis.nanoseconds(),
        ..context
    };
    Setup {
        bay: config.bay.id.as_str().to_owned(),
        context,
        reorder_window_ns,
    }
}

pub(super) fn bay(config: &Config, recording: &str) -> Bay {
    Bay {
        id: config.bay.id.as_str().to_owned(),
        name: config.bay.name.clone(),
        zone: config.bay.zone.as_str().to_owned(),
        program: env!("CARGO_PKG_VERSION").into(),
        recording: recording.into(),
    }
}

/// What a recording of this bay says about itself.
pub(super) fn meta(
    config: &Config,
    (map, context): (&MarkerMap, Option<String>),
    clock: Clock,
) -> Meta {
    Meta {
        bay: config.bay.id.as_str().to_owned(),
        zone: config.bay.zone.as_str().to_owned(),
        program: env!("CARGO_PKG_VERSION").into(),
        clock_zero_utc_ns: clock.zero_utc_ns(),
        marker_map: map.text.clone(),
        context,
        late_ns: config.late_millis.nanoseconds(),
    }
}

/// What the bay keeps, and how its screen says so. Without a student who consented: nothing.
fn keep(config: &Config, meta: Meta, clock: Clock) -> anyhow::Result<(Keep, &'static str)> {
    if let Some(dir) = &config.archive.dir {
        let archive = Archive::create(dir)?;
        let Some(student) = &config.archive.student else {
            return Ok((Keep::Nothing, "not recorded: no student who consented"));
        };
        return match writer::start(archive, student, (meta, clock), outgoing::value_ids()) {
            Ok(session) => Ok((Keep::Session(Box::new(session)), "recorded")),
            Err(why @ ArchiveError::NotConsented(_)) => {
                warn!(code = %why.code(), "not recorded: {why}");
                Ok((Keep::Nothing, "not recorded: no consent on file"))
            }
            Err(why) => Err(why.into()),
        };
    }
    let Some(dir) = config.recording.dir.as_deref() else {
        return Ok((Keep::Nothing, "not recorded"));
    };
    std::fs::create_dir_all(dir)
        .with_context(|| format!("cannot make folder {}", dir.display()))?;
    let path = dir.join(format!(
        "{}-{}.mcap",
        meta.bay,
        meta.clock_zero_utc_ns / 1_000_000
    ));
    let recorder = Recorder::create(&path, &meta)?;
    Ok((Keep::Recording(Box::new(recorder)), "recording datagrams"))
}

pub(super) fn statics(dir: Option<PathBuf>) -> Statics {
    dir.map_or(Statics::Embedded, Statics::Folder)
}

pub(super) fn listen(address: SocketAddr) -> anyhow::Result<std::net::TcpListener> {
    let listener = std::net::TcpListener::bind(address)
        .with_context(|| format!("cannot listen on {address} (HTTP): choose another port"))?;
    listener.set_nonblocking(true)?;
    Ok(listener)
}

/// Ends when the process is asked to (Ctrl-C, SIGTERM).
pub(super) async fn signal() {
    use tokio::signal::unix::{SignalKind, signal};
    let Ok(mut terminate) = signal(SignalKind::terminate()) else {
        return std::future::pending().await;
    };
    tokio::select! {
        _ = tokio::signal::ctrl_c() => {}
        _ = terminate.recv() => {}
    }
}

/// Serves the screens until `stop`, then closes the bay: the source first, the screens last.
pub(super) fn serve_until(
    listener: std::net::TcpListener,
    hub: Arc<Hub>,
    statics: Statics,
    running: Running,
    stop: impl Future<Output = ()> + std::marker::Send + 'static,
) -> anyhow::Result<()> {
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .worker_threads(2)
        .enable_all()
        .build()?;
    runtime.block_on(async {
        let listener = tokio::net::TcpListener::from_std(listener)?;
        let (closing, closed) = tokio::sync::oneshot::channel::<()>();
        let server = tokio::spawn(web::serve(listener, hub, statics, async {
            drop(closed.await)
        }));
        tokio::pin!(stop);
        let mut watch = tokio::time::interval(Duration::from_millis(500));
        loop {
            tokio::select! {
                () = &mut stop => break,
                _ = watch.tick() => if running.has_failed() || server.is_finished() { break },
            }
        }
        let ended = tokio::task::spawn_blocking(move || running.stop()).await;
        // The server may have ended by itself: then nobody waits for this.
        let _nobody_waits = closing.send(());
        server.await??;
        ended?
    })
}
