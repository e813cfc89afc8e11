//! Every thread and every queue of a bay, and their order of beginning and end.
//!
//! ```text
//!  socket ─▶ receive ─▶ [arrivals] ─▶ analyze ─▶ [outgoing] ─▶ publish ─▶ hub ─▶ screens
//!                │                      ├─▶ [refined] ─▶ refine ─▶ [outgoing], [filed]
//!                │                      └─▶ [filed] ─▶ archive ─▶ [outgoing]
//!                └────▶ [recorded] ─▶ archive (or record, without an archive)
//! ```
//!
//! Shutdown closes the source: `stop` ends *receive*, which drops its outlets; each stage works off
//! what it has and drops its own; joins follow the flow.

use std::net::UdpSocket;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread::{Builder, JoinHandle};

use anyhow::{Context as _, anyhow};
use crossbeam_channel::{Receiver, Sender, bounded, never};
use protocol::report::{Report, WHOLE};
use protocol::screen::{Message, ReceiveBuffer, Swing};

use crate::analyze::{self, Bay, Outgoing, Setup};
use crate::archive::board::Board;
use crate::archive::filing::Filed;
use crate::archive::writer;
use crate::clock::Clock;
use crate::coach::{self, Coach};
use crate::errors::Code;
use crate::gate::Gate;
use crate::health::{HealthBook, buffer_words};
use crate::hub::Hub;
use crate::map::MarkerMap;
use crate::pulse::Pulse;
use crate::receive::{self, Dropped, Fed, Outlets};
use crate::record;
use crate::recording::Recorder;
use crate::refine::{self, Turn};
use crate::seat::Seat;

/// Datagrams between receive and analyze: five seconds of a busy bay (1000 Hz markers and two plates), far
/// more than the analysis of one swing takes, also on a computer that many bays share. Full: dropped and
/// counted in `receive`.
pub(crate) const ARRIVALS: usize = 16_384;
/// Datagrams between receive and record: several seconds of a stalled disk. Full: dropped and
/// counted, the recording is incomplete and says so.
pub(crate) const RECORDED: usize = 16_384;
/// Messages between analyze and publish. Full: the live pose is lost (the next one comes); a report
/// that finds it full is an error, which would take a publish thread stalled for seconds.
const OUTGOING: usize = 256;
/// Swings between analyze and refine: as many as a fast player leaves waiting while one is drawn. Full:
/// the swing stays without uncertainties, and the log says so.
const REFINED: usize = 4;
/// Reports between analyze, refine and the archive: minutes of a disk that stands still. Full: the swing
/// is shown as not archived; the recording may still have it.
const FILED: usize = 64;
/// Changes of who stands in the bay, between whoever decides and receive. Full: refused, to be asked
/// again; they take a tenth of a second each.
const SEATS: usize = 4;

/// What a bay needs to start.
pub struct Start {
    /// The bound socket of the datagrams.
    pub socket: UdpSocket,
    /// Whose datagrams are taken.
    pub gate: Gate,
    /// Receive buffer to ask for, bytes.
    pub receive_buffer_bytes: u32,
    /// Marker map.
    pub map: MarkerMap,
    /// Bay id, context, reorder window.
    pub setup: Setup,
    /// What is kept.
    pub keep: Keep,
    /// Where the screens are served from.
    pub hub: Arc<Hub>,
    /// The coach's side, where there is an archive.
    pub coach: Option<Desk>,
    /// Also gets every report (the demo's terminal). Bounded by whoever made it; full: skipped.
    pub reports: Option<Sender<Report>>,
    /// The daemon's clock.
    pub clock: Clock,
    /// Whose swing is refined, among all bays.
    pub turn: Turn,
}

/// The coach's side of a bay with what it hears.
pub struct Desk {
    /// Its verbs.
    pub coach: Arc<Coach>,
    /// Rings when something was filed or entered.
    pub bell: Receiver<()>,
    /// Seats that it orders.
    pub seats: Receiver<Arc<Seat>>,
}

/// Both ends of what keeps the lesson fresh: rung when something was filed or entered.
#[must_use]
pub fn bell() -> (Sender<()>, Receiver<()>) {
    // One ring is enough: whoever hears it looks at everything.
    bounded(1)
}

/// The way of seats from whoever decides to the receiver.
#[must_use]
pub fn seats() -> (Sender<Arc<Seat>>, Receiver<Arc<Seat>>) {
    bounded(SEATS)
}

/// What is kept of a bay's work.
#[derive(Default)]
pub enum Keep {
    /// Nothing.
    #[default]
    Nothing,
    /// The datagrams, in one file.
    Recording(Box<Recorder>),
    /// The sessions of students, as they take their seats.
    Archive(Box<writer::Start>),
}

/// A running bay.
#[derive(Debug)]
pub struct Running {
    stop: Arc<AtomicBool>,
    pulse: Arc<Pulse>,
    receive: JoinHandle<std::io::Result<()>>,
    rest: Vec<JoinHandle<()>>,
}

/// Starts the threads of a bay.
///
/// # Errors
/// When the socket cannot be set up or a thread cannot be started.
pub fn start(start: Start) -> anyhow::Result<Running> {
    let Start {
        socket,
        gate,
        receive_buffer_bytes,
        map,
        setup,
        keep,
        hub,
        coach,
        reports,
        clock,
        turn,
    } = start;
    let buffer = sized(&socket, receive_buffer_bytes)?;
    let stop = Arc::new(AtomicBool::new(false));
    let dropped = Arc::new(Dropped::default());
    let (arrivals_in, arrivals) = bounded(ARRIVALS);
    let (outgoing_in, outgoing) = bounded(OUTGOING);
    let (refined_in, refined) = bounded(REFINED);
    let (recorded_in, recorded) = (!matches!(keep, Keep::Nothing))
        .then(|| bounded::<Fed>(RECORDED))
        .unzip();
    let (filed_in, filed) = matches!(keep, Keep::Archive(_))
        .then(|| bounded::<Filed>(FILED))
        .unzip();
    let board = coach.as_ref().map(|desk| Arc::clone(desk.coach.board()));
    let board: Arc<Board> = board.unwrap_or_default();
    let mut rest = Vec::new();
    let outlets = Outlets {
        analysis: arrivals_in,
        recording: recorded_in,
        recent: coach.as_ref().map(|desk| Arc::clone(desk.coach.recent())),
    };
    let seats = coach.as_ref().map_or_else(never, |desk| desk.seats.clone());
    let shared = (Arc::clone(&dropped), Arc::clone(&stop));
    let receive = receiving((socket, gate), clock, (outlets, seats), shared)?;
    let book = HealthBook::new(setup.bay.clone(), buffer);
    let outlets = analyze::Outlets {
        outgoing: outgoing_in.clone(),
        refine: refined_in,
        archive: filed_in.clone().map(|filed| (filed, Arc::clone(&board))),
    };
    let counted = Arc::clone(&dropped);
    let pulse = Arc::new(Pulse::new(clock));
    let beaten = Arc::clone(&pulse);
    rest.push(named("analyze", move || {
        Bay::new(setup, map, book, outlets, (&counted, beaten)).run(&arrivals)
    })?);
    let archive_out = outgoing_in.clone();
    let closing = Arc::clone(&stop);
    rest.push(named("refine", move || {
        let how = (&turn, &*closing);
        refine::run(&refined, &outgoing_in, filed_in.as_ref(), how)
    })?);
    let teach = |desk: Desk| teaching(desk, Arc::clone(&hub), Arc::clone(&stop));
    rest.extend(coach.map(teach).transpose()?);
    rest.push(named("publish", move || {
        publish(&outgoing, &hub, reports.as_ref())
    })?);
    rest.extend(keeper(
        keep,
        (recorded, filed),
        (archive_out, board, dropped),
    )?);
    Ok(Running {
        stop,
        pulse,
        receive,
        rest,
    })
}

/// Asks for the socket's buffer, and says when it is small.
fn sized(socket: &UdpSocket, bytes: u32) -> anyhow::Result<ReceiveBuffer> {
    let buffer = receive::size_buffer(socket, bytes);
    let buffer = buffer.context("the UDP socket refuses a receive buffer")?;
    if buffer.granted < buffer.asked {
        tracing::warn!(code = %Code::UdpBufferSmall, "{}", buffer_words(&buffer));
    }
    Ok(buffer)
}

/// The thread that receives.
fn receiving(
    (socket, gate): (UdpSocket, Gate),
    clock: Clock,
    (outlets, seats): (Outlets, Receiver<Arc<Seat>>),
    (dropped, stop): (Arc<Dropped>, Arc<AtomicBool>),
) -> anyhow::Result<JoinHandle<std::io::Result<()>>> {
    named("receive", move || {
        receive::run((&socket, gate), clock, (&outlets, &seats), &dropped, &stop)
    })
}

/// The thread that shows the lesson.
fn teaching(desk: Desk, hub: Arc<Hub>, stop: Arc<AtomicBool>) -> anyhow::Result<JoinHandle<()>> {
    named("coach", move || {
        coach::run(&desk.coach, &desk.bell, &hub, &stop)
    })
}

/// The thread that keeps what is kept, with its sources and what the archive tells and is told.
fn keeper(
    keep: Keep,
    sources: (Option<Receiver<Fed>>, Option<Receiver<Filed>>),
    (outgoing, board, dropped): (Sender<Outgoing>, Arc<Board>, Arc<Dropped>),
) -> anyhow::Result<Option<JoinHandle<()>>> {
    Ok(match (keep, sources) {
        (Keep::Recording(recorder), (Some(recorded), _)) => {
            Some(named("record", move || record::run(*recorder, &recorded))?)
        }
        (Keep::Archive(archive), (Some(recorded), Some(filed))) => {
            let work = move || {
                let sources = (&recorded, &filed);
                writer::run(*archive, sources, &outgoing, (&board, &dropped));
            };
            Some(named("archive", work)?)
        }
        _ => None,
    })
}

/// Closes the sources of all bays and waits until everything is worked off.
///
/// # Errors
/// That of the first bay which had one, after all have ended.
pub fn stop(bays: Vec<Running>) -> anyhow::Result<()> {
    bays.iter().for_each(Running::close);
    let ended: Vec<_> = bays.into_iter().map(Running::stop).collect();
    ended.into_iter().collect()
}

impl Running {
    /// How far the analysis has come.
    #[must_use]
    pub fn pulse(&self) -> Arc<Pulse> {
        Arc::clone(&self.pulse)
    }

    /// Whether a thread of the bay has ended by itself, which only a fault can do.
    #[must_use]
    pub fn has_failed(&self) -> bool {
        self.receive.is_finished() || self.rest.iter().any(JoinHandle::is_finished)
    }

    fn close(&self) {
        self.stop.store(true, Ordering::Relaxed);
    }

    /// Closes the source and waits until everything is worked off.
    ///
    /// # Errors
    /// When the socket had failed or a thread had panicked.
    pub fn stop(self) -> anyhow::Result<()> {
        self.close();
        let received = self
            .receive
            .join()
            .map_err(|_panic| anyhow!("the receive thread panicked"))?;
        for thread in self.rest {
            let name = thread.thread().name().unwrap_or_default().to_owned();
            thread
                .join()
                .map_err(|_panic| anyhow!("the {name} thread panicked"))?;
        }
        received.context("the UDP socket failed")
    }
}

fn named<T: Send + 'static>(
    name: &str,
    work: impl FnOnce() -> T + Send + 'static,
) -> anyhow::Result<JoinHandle<T>> {
    Builder::new()
        .name(name.into())
        .spawn(work)
        .with_context(|| format!("cannot start the {name} thread"))
}

/// Hands messages to the hub, which never blocks.
fn publish(outgoing: &Receiver<Outgoing>, hub: &Hub, reports: Option<&Sender<Report>>) {
    for message in outgoing {
        match message {
            Outgoing::Live(live) => hub.live(live),
            Outgoing::Status(status) => hub.publish(Message::Status(status)),
            Outgoing::Plates(plates) => hub.keep_plates(plates),
            Outgoing::Health(health) => hub.publish(Message::Health(health)),
            Outgoing::Archived(said) => hub.publish(Message::Archived(said)),
            Outgoing::Revised(report) => hub.publish(Message::Swing(Swing {
                bay: hub.bay().id.clone(),
                report: *report,
            })),
            Outgoing::Swing(both) => {
                let (report, replay) = *both;
                // The terminal wants each swing once, and whole.
                if let Some(reports) = reports.filter(|_| report.revision == WHOLE) {
                    // Nobody may be listening any more: the screens get the report all the same.
                    drop(reports.try_send(report.clone()));
                }
                // First the replay, so that a screen that asks for it at once finds it.
                hub.keep_replay(replay);
                hub.publish(Message::Swing(Swing {
                    bay: hub.bay().id.clone(),
                    report,
                }));
            }
        }
    }
}
