//! `whin serve`: the bays of a hall, from configuration to clean end. What demo and hall share of the server is
//! here too.

use std::net::SocketAddr;
use std::path::PathBuf;
use std::sync::Arc;
use std::time::Duration;

use anyhow::Context as _;
use protocol::rig::ConfigShown;
use sd_notify::NotifyState;
use tracing::{debug, error};

use super::open::{Opened, Shared, open, socket};
use super::{config, print};
use crate::access::Access;
use crate::cli::Serve;
use crate::clock::Clock;
use crate::config::{Config, Flags};
use crate::errors::Code;
use crate::pipeline::{self, Running};
use crate::private;
use crate::pulse::DEAD_NS;
use crate::refine::Turn;
use crate::several::Several;
use crate::web::{self, Served, Site, Statics, Tls};

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
    let hall = config(args.config.as_deref(), flags)?;
    let shown = hall.shown(args.config.as_deref());
    private::by_default();
    let clock = Clock::start();
    let (access, tls, scheme) = doors(&hall, clock)?;
    let shared = Shared {
        clock,
        turn: Turn::default(),
    };
    // Every port before the first bay: what is taken is told before anything is begun.
    let configs = hall.each();
    let sockets: Vec<_> = configs.iter().map(socket).collect::<Result<_, _>>()?;
    let listener = listen(hall.http.listen)?;
    let address = listener.local_addr()?;
    let certificate = tls.as_ref().map_or_else(String::new, |tls| {
        format!("  certificate SHA-256 {}", tls.fingerprint)
    });
    let (mut bays, mut lines) = (Vec::new(), Vec::new());
    for (config, socket) in configs.iter().zip(sockets) {
        let opened = open(config, socket, &shared)?;
        let (id, udp) = (config.bay.id.as_str(), opened.udp);
        let (page, told) = match bays.is_empty() {
            true => (String::new(), certificate.as_str()),
            false => (format!("?bay={id}"), ""),
        };
        lines.push(format!(
            "screen {scheme}://{address}/{page}  datagrams udp://{udp}  bay {id}{told}"
        ));
        bays.push(opened);
    }
    print(&lines.join("\n"))?;
    let doors = (access, tls, shown, statics(args.statics));
    serve_until(listener, bays, doors, signal())
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
fn supervise(running: &[Running]) {
    let behind_ns = running.iter().map(|bay| bay.pulse().behind_ns());
    let behind_ns = behind_ns.max().unwrap_or_default();
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

/// Who may come in, TLS, the configuration as it is shown, and the pages.
pub(super) type Doors = (Arc<Access>, Option<Tls>, ConfigShown, Statics);

/// Serves the screens until `stop`, then closes the bays: the sources first, the screens last.
pub(super) fn serve_until(
    listener: std::net::TcpListener,
    bays: Vec<Opened>,
    (access, tls, config, statics): Doors,
    stop: impl Future<Output = ()> + std::marker::Send + 'static,
) -> anyhow::Result<()> {
    let (served, running): (Vec<Served>, Vec<Running>) = bays
        .into_iter()
        .map(|bay| (bay.served, bay.running))
        .unzip();
    let site = Site {
        bays: Several::of(served).context("a hall has a bay")?,
        statics,
        access,
        config,
        tls,
    };
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
                    if running.iter().any(Running::has_failed) || server.is_finished() { break }
                    supervise(&running);
                }
            }
        }
        tell_supervisor(&[NotifyState::Stopping]);
        let ended = tokio::task::spawn_blocking(move || pipeline::stop(running)).await;
        // The server may have ended by itself: then nobody waits for this.
        let _nobody_waits = closing.send(());
        server.await??;
        ended?
    });
    // A check of the archive that still runs only reads: nobody waits for its end.
    runtime.shutdown_timeout(LAST_WORK);
    ended
}
