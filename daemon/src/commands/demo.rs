//! `whin demo`: a bay with the synthetic golfer as its student, and its reports on the terminal.

use std::net::{SocketAddr, UdpSocket};
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use analysis::context::Context;
use anyhow::{Context as _, bail};
use crossbeam_channel::{Receiver, RecvTimeoutError, Sender, bounded};
use protocol::report::{Measurement, Report};

use super::print;
use super::serve::{bay, listen, meta, serve_until, setup, signal, statics};
use crate::archive::rows::Student;
use crate::archive::{Archive, writer};
use crate::cli::Demo;
use crate::clock::Clock;
use crate::config::Config;
use crate::demo::{self, Lesson};
use crate::hub::Hub;
use crate::map::MarkerMap;
use crate::pipeline::{self, Keep, Running, Start};
use crate::{comparison, outgoing, table, web};

/// Reports and truths waiting for the terminal: far more than one can lag. Full: skipped, the
/// screens have them all the same.
const QUEUE: usize = 64;

pub(super) fn run(args: &Demo) -> anyhow::Result<()> {
    // A demo with a number of shots is a test of the machine: it needs no particular port.
    let port = if args.shots.is_some() { 0 } else { 8080 };
    let http = args
        .http
        .unwrap_or_else(|| SocketAddr::from(([127, 0, 0, 1], port)));
    web::require_loopback(http)?;
    let clock = Clock::start();
    let mut config = Config::defaults();
    config.bay.id = "north".to_owned().try_into().map_err(anyhow::Error::msg)?;
    config.bay.name = "Whin Hollow Studio, bay North".into();
    let (keep, note) = keep(args.archive.as_deref(), &config, clock)?;
    let hub = Arc::new(Hub::new(bay(&config, note)));
    let socket = UdpSocket::bind("127.0.0.1:0").context("cannot open a UDP socket on loopback")?;
    let to = socket.local_addr()?;
    let listener = listen(http)?;
    tracing::info!("datagrams on {to}");
    let address = listener.local_addr()?;
    if !args.json {
        print(&format!(
            "Open http://{address}/ — a shot every {:.0} s. {}",
            8.0 / args.pace,
            table::CAUTION
        ))?;
    }
    let (reports_in, reports) = bounded(QUEUE);
    let running = start(
        &config,
        (socket, keep),
        (Arc::clone(&hub), reports_in),
        clock,
    )?;
    let (truths_in, truths) = bounded(QUEUE);
    let stop = Arc::new(AtomicBool::new(false));
    let lesson = Lesson {
        seed: args.seed,
        pace: args.pace,
        shots: args.shots,
    };
    let golfer = demo::spawn(lesson, to, clock, truths_in, Arc::clone(&stop))?;
    let json = args.json;
    let (done_in, done) = tokio::sync::oneshot::channel();
    let printer = std::thread::Builder::new()
        .name("print".into())
        .spawn(move || {
            let printed = print_shots(&reports, &truths, lesson.shots, json);
            let _already_stopped = done_in.send(());
            printed
        })?;
    serve_until(
        listener,
        hub,
        statics(args.statics.clone()),
        running,
        async {
            tokio::select! {
                () = signal() => {}
                _ = done => {}
            }
        },
    )?;
    stop.store(true, Ordering::Relaxed);
    golfer
        .join()
        .map_err(|_panic| anyhow::anyhow!("the golfer's thread panicked"))??;
    printer
        .join()
        .map_err(|_panic| anyhow::anyhow!("the printing thread panicked"))?
}

/// The bay of the demo.
fn start(
    config: &Config,
    (socket, keep): (UdpSocket, Keep),
    (hub, reports): (Arc<Hub>, Sender<Report>),
    clock: Clock,
) -> anyhow::Result<Running> {
    pipeline::start(Start {
        socket,
        receive_buffer_bytes: config.udp.receive_buffer_bytes,
        map: MarkerMap::load("whin_32")?,
        setup: setup(config, Context::default()),
        keep,
        hub,
        reports: Some(reports),
        clock,
    })
}

/// What the demo keeps: the session of an invented student, who is enrolled once and has consented.
fn keep(dir: Option<&Path>, config: &Config, clock: Clock) -> anyhow::Result<(Keep, &'static str)> {
    let Some(dir) = dir else {
        return Ok((Keep::Nothing, "demo, not recorded"));
    };
    let mut archive = Archive::create(dir)?;
    let invented = Student {
        id: String::new(),
        name: "Ottoline Marsh".into(),
        side: Some("right".into()),
        sex: Some("female".into()),
        height_m: None,
        born: 1965,
    };
    let known = archive.store.students()?;
    let id = match known.into_iter().find(|s| s.name == invented.name) {
        Some(known) => known.id,
        None => archive
            .store
            .enroll(&invented, (&["lesson"], None), clock.zero_utc_ns())?,
    };
    let map = MarkerMap::load("whin_32")?;
    let meta = meta(config, (&map, None), clock);
    let session = writer::start(archive, &id, (meta, clock), outgoing::value_ids())?;
    Ok((Keep::Session(Box::new(session)), "demo, recorded"))
}

/// Prints one report a shot beside its truth. Ends after `shots`, or when the bay has closed.
fn print_shots(
    reports: &Receiver<Report>,
    truths: &Receiver<Measurement>,
    shots: Option<u32>,
    json: bool,
) -> anyhow::Result<()> {
    let mut printed = 0;
    while shots.is_none_or(|n| printed < n) {
        let report = match reports.recv_timeout(Duration::from_secs(60)) {
            Ok(report) => report,
            Err(RecvTimeoutError::Disconnected) => break,
            Err(RecvTimeoutError::Timeout) => {
                bail!("no report for a minute: shot {} was not found", printed + 1)
            }
        };
        let truth = truths.recv().context("a report without a shot")?;
        printed += 1;
        let text = if json {
            serde_json::json!({ "shot": printed, "report": report, "truth": truth }).to_string()
        } else {
            comparison::shot_text(printed, &report, &truth)
        };
        print(&text)?;
    }
    Ok(())
}
