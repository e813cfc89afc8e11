//! `whin serve`: the bay, from configuration to clean end. What demo and bay share is here too.

use std::net::{SocketAddr, UdpSocket};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;

use analysis::context::Context;
use anyhow::Context as _;
use sd_notify::NotifyState;
use tracing::{debug, error, info, warn};

use super::{config, print};
use crate::access::Access;
use crate::analyze::Setup;
use crate::archive::held::Around;
use crate::archive::{Archive, ArchiveError, writer};
use crate::cli::Serve;
use crate::clock::Clock;
use crate::coach::Coach;
use crate::config::{Config, Flags};
use crate::context;
use crate::errors::Code;
use crate::gate::Gate;
use crate::hub::{Bay, Hub};
use crate::map::MarkerMap;
use crate::outgoing;
use crate::pipeline::{self, Desk, Keep, Running, Start};
use crate::private;
use crate::pulse::DEAD_NS;
use crate::recording::{Meta, Recorder};
use crate::seat::Seat;
use crate::web::{self, Site, Statics, Tls};

/// What answers still do when the bay has closed may take so long.
const LAST_WORK: Duration = Duration::from_secs(3);

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
    let shown = config.shown(args.config.as_deref());
    private::by_default();
    let clock = Clock::start();
    let (access, tls, scheme) = doors(&config, clock)?;
    let gate = Gate::new(&config.udp, clock)?;
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
    let kept = keep(&config, (meta, &context), clock)?;
    let context = kept.context.unwrap_or(context);
    let hub = Arc::new(Hub::new(bay(&config, &kept.note)));
    let socket = UdpSocket::bind(config.udp.listen)
        .with_context(|| format!("cannot listen on {} (UDP)", config.udp.listen))?;
    let listener = listen(config.http.listen)?;
    let certificate = tls.as_ref().map_or_else(String::new, |tls| {
        format!("  certificate SHA-256 {}", tls.fingerprint)
    });
    print(&format!(
        "screen {scheme}://{}/  datagrams udp://{}  bay {}{certificate}",
        listener.local_addr()?,
        socket.local_addr()?,
        config.bay.id.as_str()
    ))?;
    let unkept = config.udp.allow.is_empty() && config.udp.key_file.is_none();
    if unkept && !config.udp.listen.ip().is_loopback() {
        warn!("anybody on this network can send datagrams: set allow or key_file under [udp]");
    }
    let running = pipeline::start(Start {
        socket,
        gate,
        receive_buffer_bytes: config.udp.receive_buffer_bytes,
        map,
        setup: setup(&config, context),
        keep: kept.keep,
        hub: Arc::clone(&hub),
        coach: kept.desk,
        reports: None,
        clock,
    })?;
    let site = Site {
        hub,
        coach: kept.coach,
        statics: statics(args.statics),
        pulse: running.pulse(),
        access,
        config: shown,
        tls,
    };
    serve_until(listener, site, running, signal())
}

/// Who may come in by the web, TLS where Whin speaks it, and what addresses begin with.
pub(super) fn doors(
    config: &Config,
    clock: Clock,
) -> anyhow::Result<(Arc<Access>, Option<Tls>, &'static str)> {
    let access = Arc::new(Access::new(config, clock)?);
    let tls = access.policy().tls.then(|| web::tls(config)).transpose()?;
    let scheme = if tls.is_some() { "https" } else { "http" };
    Ok((access, tls, scheme))
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
        only_swings: config.archive.around().is_some(),
    }
}

/// What the bay keeps.
pub(super) struct Kept {
    pub(super) keep: Keep,
    /// How the screen says so.
    pub(super) note: String,
    /// The coach's side, with what its thread hears.
    pub(super) coach: Option<Arc<Coach>>,
    pub(super) desk: Option<Desk>,
    /// What is told about whoever stands in the bay first, where the archive knows.
    pub(super) context: Option<Context>,
}

impl Kept {
    fn only(keep: Keep, note: &str) -> Self {
        Self {
            keep,
            note: note.into(),
            coach: None,
            desk: None,
            context: None,
        }
    }
}

/// A bay with an archive: students take their seats by the API, the first one may be told.
pub(super) fn keep_archive(
    dir: &Path,
    (student, around): (Option<&str>, Option<Around>),
    (meta, context): (Meta, &Context),
    clock: Clock,
) -> anyhow::Result<Kept> {
    let (wake, bell) = pipeline::bell();
    let (orders, seats) = pipeline::seats();
    let goes_on = student.is_none();
    let outlets = (orders, wake.clone());
    let told = (meta.context.clone(), context);
    let (coach, seat) = match Coach::start(dir, (meta.clone(), clock), outlets.clone(), student) {
        Err(why @ ArchiveError::NotConsented(_)) => {
            warn!(code = %why.code(), "not recorded: {why}");
            Coach::start(dir, (meta.clone(), clock), outlets, None)?
        }
        started => started?,
    };
    // A context file that was named on purpose beats what the archive knows of the first student.
    let seat = match told {
        (Some(text), context) => Arc::new(Seat::new(
            seat.session.clone(),
            (context.clone(), Some(text)),
            seat.note.clone(),
        )),
        (None, _) => seat,
    };
    let coach = Arc::new(coach);
    let writer = writer::Start {
        archive: Archive::create(dir)?,
        seat: Arc::clone(&seat),
        meta,
        clock,
        ids: outgoing::value_ids(),
        around,
        goes_on,
        filed: wake,
    };
    Ok(Kept {
        keep: Keep::Archive(Box::new(writer)),
        note: seat.note.clone(),
        coach: Some(Arc::clone(&coach)),
        desk: Some(Desk { coach, bell, seats }),
        context: Some(seat.context.clone()),
    })
}

fn keep(config: &Config, (meta, context): (Meta, &Context), clock: Clock) -> anyhow::Result<Kept> {
    if let Some(dir) = &config.archive.dir {
        let student = config.archive.student.as_deref();
        let around = config.archive.around();
        return keep_archive(dir, (student, around), (meta, context), clock);
    }
    let Some(dir) = config.recording.dir.as_deref() else {
        return Ok(Kept::only(Keep::Nothing, "not recorded"));
    };
    std::fs::create_dir_all(dir)
        .with_context(|| format!("cannot make folder {}", dir.display()))?;
    let path = dir.join(format!(
        "{}-{}.mcap",
        meta.bay,
        meta.clock_zero_utc_ns / 1_000_000
    ));
    let recorder = Recorder::create(&path, &meta)?;
    Ok(Kept::only(
        Keep::Recording(Box::new(recorder)),
        "recording datagrams",
    ))
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

/// Tells a supervisor that the bay lives; an analysis that hangs cannot be ended from inside, so that the
/// process ends at once: every swing shown as archived is on the disk, and the supervisor starts it anew.
fn supervise(running: &Running) {
    let behind_ns = running.pulse().behind_ns();
    if behind_ns >= DEAD_NS {
        error!(code = %Code::AnalysisHangs, "nothing was worked off for {} s: the program ends", behind_ns / 1_000_000_000);
        std::process::exit(Code::AnalysisHangs.exit_code().into());
    }
    tell_supervisor(&[NotifyState::Watchdog]);
}

/// To systemd, where it has started this program and asked for it (sd_notify(3)).
fn tell_supervisor(state: &[NotifyState<'_>]) {
    if let Err(why) = sd_notify::notify(state) {
        debug!("the supervisor could not be told: {why}");
    }
}

/// Serves the screens until `stop`, then closes the bay: the source first, the screens last.
pub(super) fn serve_until(
    listener: std::net::TcpListener,
    site: Site,
    running: Running,
    stop: impl Future<Output = ()> + std::marker::Send + 'static,
) -> anyhow::Result<()> {
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .worker_threads(2)
        .enable_all()
        .build()?;
    let ended = runtime.block_on(async {
        let listener = tokio::net::TcpListener::from_std(listener)?;
        let (closing, closed) = tokio::sync::oneshot::channel::<()>();
        let server = tokio::spawn(web::serve(listener, site, async { drop(closed.await) }));
        tokio::pin!(stop);
        tell_supervisor(&[NotifyState::Ready]);
        let mut watch = tokio::time::interval(Duration::from_millis(500));
        loop {
            tokio::select! {
                () = &mut stop => break,
                _ = watch.tick() => {
                    if running.has_failed() || server.is_finished() { break }
                    supervise(&running);
                }
            }
        }
        tell_supervisor(&[NotifyState::Stopping]);
        let ended = tokio::task::spawn_blocking(move || running.stop()).await;
        // The server may have ended by itself: then nobody waits for this.
        let _nobody_waits = closing.send(());
        server.await??;
        ended?
    });
    // A check of the archive that still runs only reads: nobody waits for its end.
    runtime.shutdown_timeout(LAST_WORK);
    ended
}
