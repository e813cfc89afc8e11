//! `whin demo`: a bay with the synthetic golfer as its student, and its reports on the terminal.

use std::net::{SocketAddr, UdpSocket};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use analysis::context::Context;
use analysis::forward::GolferParams;
use analysis::handed::Handed;
use anyhow::{Context as _, bail};
use crossbeam_channel::{Receiver, RecvTimeoutError, Sender, bounded};
use protocol::lesson::Club;
use protocol::report::{Measurement, Report};

use super::print;
use super::serve::{
    Kept, bay, doors, keep_archive, listen, meta, serve_until, setup, signal, statics,
};
use crate::archive::Archive;
use crate::archive::rows::Student;
use crate::archive::store::Store;
use crate::cli::Demo;
use crate::clock::Clock;
use crate::coach::Coach;
use crate::config::Config;
use crate::demo::{self, Lesson};
use crate::gate::Gate;
use crate::hub::Hub;
use crate::map::MarkerMap;
use crate::pipeline::{self, Desk, Keep, Running, Start};
use crate::web::Site;
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
    let clock = Clock::start();
    let mut config = Config::defaults();
    config.http.listen = http;
    config.archive.dir.clone_from(&args.archive);
    let (access, tls, scheme) = doors(&config, clock)?;
    config.bay.id = "north".to_owned().try_into().map_err(anyhow::Error::msg)?;
    config.bay.name = "Whin Hollow Studio, bay North".into();
    let folder = Folder::new(args.archive.as_deref(), clock);
    let kept = keep(folder.path(), &config, clock)?;
    let hub = Arc::new(Hub::new(bay(&config, &kept.note)));
    let socket = UdpSocket::bind("127.0.0.1:0").context("cannot open a UDP socket on loopback")?;
    let to = socket.local_addr()?;
    let listener = listen(http)?;
    tracing::info!("datagrams on {to}");
    let address = listener.local_addr()?;
    if !args.json {
        print(&format!(
            "Open {scheme}://{address}/ — a shot every {:.0} s. {}",
            8.0 / args.pace,
            table::CAUTION
        ))?;
    }
    let (reports_in, reports) = bounded(QUEUE);
    let running = start(
        &config,
        (socket, kept.keep, kept.context.unwrap_or_default()),
        (Arc::clone(&hub), kept.desk, reports_in),
        clock,
    )?;
    let (truths_in, truths) = bounded(QUEUE);
    let stop = Arc::new(AtomicBool::new(false));
    let golfer = (who(args.seed, kept.coach.clone()), lesson(args));
    let golfer = demo::spawn(golfer, to, clock, truths_in, Arc::clone(&stop))?;
    let (done_in, done) = tokio::sync::oneshot::channel();
    let printer = printing(reports, truths, (args.shots, args.json), done_in)?;
    serve_until(
        listener,
        Site {
            hub,
            coach: kept.coach,
            statics: statics(args.statics.clone()),
            pulse: running.pulse(),
            access,
            tls,
        },
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

/// The thread that prints, and tells when all shots are through.
fn printing(
    reports: Receiver<Report>,
    truths: Receiver<Measurement>,
    (shots, json): (Option<u32>, bool),
    done: tokio::sync::oneshot::Sender<()>,
) -> std::io::Result<std::thread::JoinHandle<anyhow::Result<()>>> {
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
        let of = STUDENTS.iter().position(|s| s.name == name).unwrap_or(0);
        let golfer = demo::golfer(seed + of as u64, shot);
        match student.and_then(|s| Handed::from_name(s.side.as_deref()?)) {
            Some(handed) => GolferParams { handed, ..golfer },
            None => golfer,
        }
    }
}

/// The bay of the demo.
fn start(
    config: &Config,
    (socket, keep, context): (UdpSocket, Keep, Context),
    (hub, coach, reports): (Arc<Hub>, Option<Desk>, Sender<Report>),
    clock: Clock,
) -> anyhow::Result<Running> {
    pipeline::start(Start {
        socket,
        gate: Gate::default(),
        receive_buffer_bytes: config.udp.receive_buffer_bytes,
        map: MarkerMap::load("whin_32")?,
        setup: setup(config, context),
        keep,
        hub,
        coach,
        reports: Some(reports),
        clock,
    })
}

/// What the demo keeps: the lessons of invented students, who have consented. The first of them stands in
/// the bay.
fn keep(dir: &Path, config: &Config, clock: Clock) -> anyhow::Result<Kept> {
    let first = scenario(&mut Archive::create(dir)?.store, clock.zero_utc_ns())?;
    let map = MarkerMap::load("whin_32")?;
    let meta = meta(config, (&map, None), clock);
    keep_archive(
        dir,
        (Some(&first), None),
        (meta, &Context::default()),
        clock,
    )
}

/// A student of the scenario.
struct Invented {
    name: &'static str,
    side: &'static str,
    sex: &'static str,
    born: i64,
    guardian: Option<&'static str>,
}

const STUDENTS: [Invented; 3] = [
    Invented {
        name: "Ottoline Marsh",
        side: "right",
        sex: "female",
        born: 1965,
        guardian: None,
    },
    Invented {
        name: "Ivo Brandt",
        side: "left",
        sex: "male",
        born: 2002,
        guardian: None,
    },
    Invented {
        name: "Tamsin Okafor-Lee",
        side: "right",
        sex: "female",
        born: 2011,
        guardian: Some("a guardian"),
    },
];

/// The students of the scenario with their clubs, enrolled once. Gives the first one's identifier.
fn scenario(store: &mut Store, now_utc_ns: u64) -> anyhow::Result<String> {
    let known = store.students()?;
    if let Some(known) = known.iter().find(|s| s.name == "Ottoline Marsh") {
        return Ok(known.id.clone());
    }
    let mut first = None;
    for invented in &STUDENTS {
        let student = Student {
            id: String::new(),
            name: invented.name.into(),
            side: Some(invented.side.into()),
            sex: Some(invented.sex.into()),
            height_m: None,
            mass_kg: None,
            born: invented.born,
        };
        let consent = (&["lesson"][..], invented.guardian);
        let id = store.enroll(&student, consent, now_utc_ns)?;
        for club in ["7-iron", "5-wood", "driver"] {
            let club = Club {
                name: club.into(),
                ..Club::default()
            };
            store.add_club(&id, &club, now_utc_ns)?;
        }
        first.get_or_insert(id);
    }
    first.context("the scenario has students")
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
