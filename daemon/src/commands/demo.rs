//! `whin demo`: a bay with the synthetic golfer as its student, and its reports on the terminal.

use std::net::SocketAddr;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread::JoinHandle;
use std::time::Duration;

use analysis::context::Context;
use analysis::forward::GolferParams;
use analysis::handed::Handed;
use anyhow::{Context as _, bail};
use crossbeam_channel::{Receiver, RecvTimeoutError, bounded};
use futures_util::future::join_all;
use protocol::report::{Measurement, Report};
use tokio::sync::oneshot;

use super::open::{Opened, Shared, begin, keep_archive, meta, socket};
use super::print;
use super::scenario::{hall, number, students};
use super::serve::{doors, listen, serve_until, signal, statics};
use crate::archive::Archive;
use crate::cli::Demo;
use crate::clock::Clock;
use crate::coach::Coach;
use crate::config::Config;
use crate::demo::{self, Lesson};
use crate::gate::Gate;
use crate::map::MarkerMap;
use crate::refine::Turn;
use crate::{comparison, private, table};

/// Reports and truths waiting for the terminal: far more than one can lag. Full: skipped, the
/// screens have them all the same.
const QUEUE: usize = 64;

pub(super) fn run(args: &Demo) -> anyhow::Result<()> {
    // A demo with a number of shots is a test of the machine: it needs no particular port.
    let port = if args.shots.is_some() { 0 } else { 8080 };
    let http = SocketAddr::from(([127, 0, 0, 1], port));
    let http = args.http.unwrap_or(http);
    private::by_default();
    let shared = Shared {
        clock: Clock::start(),
        turn: Turn::default(),
    };
    let clock = shared.clock;
    let mut config = Config::defaults();
    config.http.listen = http;
    config.archive.dir.clone_from(&args.archive);
    let (access, tls, scheme) = doors(&config, clock)?;
    let listener = listen(http)?;
    let address = listener.local_addr()?;
    let shown = config.shown(None);
    let folder = Folder::new(args.archive.as_deref(), clock);
    let hall = hall(config, args.bays)?;
    let mut store = Archive::create(folder.path())?.store;
    let students = students(&mut store, args.bays, clock.zero_utc_ns())?;
    drop(store);
    if !args.json {
        print(&format!(
            "Open {scheme}://{address}/ — a shot every {:.0} s. {}",
            8.0 / args.pace,
            table::CAUTION
        ))?;
    }
    let stop = Arc::new(AtomicBool::new(false));
    let (mut bays, mut threads, mut done) = (Vec::new(), Vec::new(), Vec::new());
    for (config, student) in hall.iter().zip(&students) {
        let bay = stand(config, (folder.path(), student), args, (&shared, &stop))?;
        bays.push(bay.opened);
        threads.extend(bay.threads);
        done.push(bay.done);
    }
    serve_until(
        listener,
        bays,
        (access, tls, shown, statics(args.statics.clone())),
        async {
            tokio::select! {
                () = signal() => {}
                _ = join_all(done) => {}
            }
        },
    )?;
    stop.store(true, Ordering::Relaxed);
    for thread in threads {
        let name = thread.thread().name().unwrap_or_default().to_owned();
        thread
            .join()
            .map_err(|_panic| anyhow::anyhow!("the {name} thread panicked"))??;
    }
    Ok(())
}

/// A bay of the demo with its golfer.
struct Standing {
    opened: Opened,
    /// The golfer's, and that which prints.
    threads: [JoinHandle<anyhow::Result<()>>; 2],
    /// Told when all shots are through.
    done: oneshot::Receiver<()>,
}

/// A bay in which a student of the scenario stands and swings.
fn stand(
    config: &Config,
    (dir, student): (&Path, &str),
    args: &Demo,
    (shared, stop): (&Shared, &Arc<AtomicBool>),
) -> anyhow::Result<Standing> {
    let clock = shared.clock;
    let map = || MarkerMap::load("whin_32");
    let meta = meta(config, (&map()?, None), clock);
    let told = (meta, &Context::default());
    let kept = keep_archive(dir, (Some(student), None), told, clock)?;
    let golfer = (who(args.seed, kept.coach.clone()), lesson(args));
    let (reports_in, reports) = bounded(QUEUE);
    let doors = (socket(config)?, Gate::default(), map()?);
    let opened = begin(config, doors, (kept, Some(reports_in)), shared)?;
    tracing::info!(bay = config.bay.id.as_str(), "datagrams on {}", opened.udp);
    let (truths_in, truths) = bounded(QUEUE);
    let golfer = demo::spawn(golfer, opened.udp, clock, truths_in, Arc::clone(stop))?;
    let (done_in, done) = oneshot::channel();
    let printer = printing(reports, truths, (args.shots, args.json), done_in)?;
    Ok(Standing {
        opened,
        threads: [golfer, printer],
        done,
    })
}

/// The thread that prints, and tells when all shots are through.
fn printing(
    reports: Receiver<Report>,
    truths: Receiver<Measurement>,
    (shots, json): (Option<u32>, bool),
    done: oneshot::Sender<()>,
) -> std::io::Result<JoinHandle<anyhow::Result<()>>> {
    let named = std::thread::Builder::new().name("print".into());
    named.spawn(move || {
        let printed = print_shots(&reports, &truths, shots, json);
        let _already_stopped = done.send(());
        printed
    })
}

fn lesson(args: &Demo) -> Lesson {
    Lesson {
        epoch: 1,
        pace: args.pace,
        shots: args.shots,
    }
}

/// The golfer who swings: another one for each student who stands in the bay.
fn who(seed: u64, coach: Option<Arc<Coach>>) -> impl FnMut(u64) -> GolferParams + Send + 'static {
    move |shot| {
        let seat = coach.as_ref().and_then(|c| c.seated());
        let student = seat.and_then(|s| s.student);
        let name = student.as_ref().map_or("", |s| s.name.as_str());
        let golfer = demo::golfer(seed + number(name), shot);
        match student.and_then(|s| Handed::from_name(s.side.as_deref()?)) {
            Some(handed) => GolferParams { handed, ..golfer },
            None => golfer,
        }
    }
}

/// The folder of the demo's archive.
enum Folder {
    /// One that was named.
    Named(PathBuf),
    /// One that goes with the demo.
    Borrowed(PathBuf),
}

impl Folder {
    fn new(named: Option<&Path>, clock: Clock) -> Self {
        let own = || {
            let name = format!("whin-demo-{}-{}", std::process::id(), clock.zero_utc_ns());
            Self::Borrowed(std::env::temp_dir().join(name))
        };
        named.map_or_else(own, |dir| Self::Named(dir.to_owned()))
    }

    fn path(&self) -> &Path {
        match self {
            Self::Named(path) | Self::Borrowed(path) => path,
        }
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        if let Self::Borrowed(path) = self
            && let Err(why) = std::fs::remove_dir_all(&*path)
        {
            tracing::warn!("{} is left behind: {why}", path.display());
        }
    }
}

/// The truth of the shot that a report is about: one that was cut by a change of students is left out.
fn truth_of(report: &Report, truths: &Receiver<Measurement>) -> anyhow::Result<Measurement> {
    let impact = |m: &Measurement| m.events.get("impact").and_then(|e| e.time_s);
    loop {
        let truth = truths.recv().context("a report without a shot")?;
        let earlier = impact(&truth)
            .zip(impact(&report.measurement))
            .is_some_and(|(truth, found)| truth < found - 1.0);
        if !earlier {
            return Ok(truth);
        }
    }
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
        let truth = truth_of(&report, truths)?;
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
