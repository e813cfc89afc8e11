//! Refine: how surely each value of a swing is known, by the draws of `analysis::uncertainty` on
//! several threads, for the last revision of its report. Live as a stage behind a short queue, offline as a call.
//!
//! Which thread makes which draw changes nothing: a draw is known by its number, and the sums follow
//! the numbers. A draw that panics costs the refinement of that swing only.

use std::num::NonZeroUsize;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::atomic::{AtomicBool, AtomicU32, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use std::thread;

use analysis::measure::Measured;
use analysis::swing::event::Event;
use analysis::uncertainty::{self, Base, DRAWS, Draw, Summary};
use crossbeam_channel::{Receiver, Sender};
use protocol::report::{Measurement, REFINED, Report};
use tracing::{error, info};

use crate::analyze::Outgoing;
use crate::archive::filing::Filed;
use crate::errors::Code;
use crate::outgoing;

/// How far refining steps back: the kernel's nice value.
#[cfg(target_os = "linux")]
const NICE: i32 = 5;

/// A swing that waits for its uncertainties.
#[derive(Debug)]
pub struct Job {
    /// What was measured.
    pub measured: Box<Measured>,
    /// The report of the whole of it.
    pub report: Report,
}

/// A draw panicked, a fault of the program.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Panicked;

/// Why a swing of a live bay stays without uncertainties.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Unrefined {
    Panicked,
    /// The bay closes: nobody waits for draws.
    Stopped,
}

/// Threads for draws: one core stays with the live path.
#[must_use]
pub fn threads() -> usize {
    let cores = thread::available_parallelism().map_or(1, NonZeroUsize::get);
    cores.saturating_sub(1).max(1)
}

/// Whose swing is refined among the bays of the program: one at a time, on all threads that there are for it.
#[derive(Debug, Clone, Default)]
pub struct Turn(Arc<Mutex<()>>);

/// The live path of every bay comes before this thread and those that it makes: they get the time that is left.
#[cfg(target_os = "linux")]
fn step_back() {
    // Nobody has to allow it; a kernel without it runs the threads as equals.
    if let Err(why) = rustix::process::setpriority_process(None, NICE) {
        tracing::debug!("refining runs at the live path's priority: {why}");
    }
}

#[cfg(not(target_os = "linux"))]
fn step_back() {}

/// Works until the analysis closes its end. Once the bay is asked to stop, what still waits is told to stay as
/// it is, and the draws in hand are given up: a restart takes no longer than one draw, and `analyze` of the recording
/// gives the rest.
pub fn run(
    jobs: &Receiver<Job>,
    outgoing: &Sender<Outgoing>,
    archive: Option<&Sender<Filed>>,
    (turn, stop): (&Turn, &AtomicBool),
) {
    step_back();
    let publish = |report: Report| {
        if let Some(filed) = archive {
            file(filed, &report);
        }
        publish(outgoing, report);
    };
    for job in jobs {
        let own_turn = turn.0.lock().unwrap_or_else(PoisonError::into_inner);
        // Asked after the wait: at the end of a hall each bay has a swing in hand.
        if stop.load(Ordering::Relaxed) {
            publish(outgoing::unrefined(job.report, "the bay was closing"));
            continue;
        }
        let refined = refined_until(&job.measured, threads(), stop);
        drop(own_turn);
        match refined {
            Err(Unrefined::Stopped) => {
                publish(outgoing::unrefined(job.report, "the bay was closing"));
            }
            Ok(measurement) => {
                let report = Report {
                    revision: REFINED,
                    measurement,
                    ..job.report
                };
                info!(swing = %report.id, revision = report.revision, "uncertainties known");
                publish(report);
            }
            Err(Unrefined::Panicked) => {
                error!(code = %Code::SwingUnrefined, swing = %job.report.id, "a draw failed: the swing stays without uncertainties");
                let said = outgoing::unrefined(job.report, "a fault of the program, see its log");
                publish(said);
            }
        }
    }
}

/// A revision to the archive. Full: it keeps the report before, which the recording can replace.
pub(crate) fn file(filed: &Sender<Filed>, report: &Report) {
    let revised = Filed::Revised(Box::new(report.clone()));
    if filed.try_send(revised).is_err() {
        error!(code = %Code::SwingUnarchived, swing = %report.id, "the archive keeps a report without uncertainties: too many wait for its disk");
    }
}

fn publish(outgoing: &Sender<Outgoing>, report: Report) {
    let revised = Outgoing::Revised(Box::new(report));
    if outgoing.try_send(revised).is_err() {
        error!(code = %Code::ReportUnpublished, "a report found the way to the screens full");
    }
}

/// The measured part of a report with uncertainties, or with a note why there are none.
///
/// # Errors
/// When a draw panics, a fault of the program.
pub fn refined(measured: &Measured, threads: usize) -> Result<Measurement, Panicked> {
    let never = AtomicBool::new(false);
    refined_until(measured, threads, &never).map_err(|_panic| Panicked)
}

/// The same, given up when `stop` is set.
fn refined_until(
    measured: &Measured,
    threads: usize,
    stop: &AtomicBool,
) -> Result<Measurement, Unrefined> {
    let mut measurement = outgoing::measurement(measured);
    let base = catch_unwind(AssertUnwindSafe(|| Base::new(&measured.prepared)));
    match base.map_err(|_panic| Unrefined::Panicked)? {
        Ok(base) => {
            let seed = uncertainty::seed(&measured.prepared);
            let draws = draws(&base, seed, (threads, stop))?;
            outgoing::add_uncertainty(&mut measurement, &summary(measured, &base, &draws));
        }
        Err(why) => measurement.notes.push(format!("No uncertainties: {why}.")),
    }
    Ok(measurement)
}

fn summary(measured: &Measured, base: &Base, draws: &[Option<Draw>]) -> Summary {
    let prepared = &measured.prepared;
    let time = |&e: &Event| Some(prepared.window.seconds(prepared.swing.slots.get(e)?));
    let events: Vec<Option<f64>> = Event::ALL.iter().map(time).collect();
    uncertainty::summarize((&measured.values, &events), base.truth(), draws)
}

/// Draws with their numbers.
type Numbered = Vec<(u32, Option<Draw>)>;

/// Every draw in the order of its number.
fn draws(
    base: &Base,
    seed: u64,
    (threads, stop): (usize, &AtomicBool),
) -> Result<Vec<Option<Draw>>, Unrefined> {
    let next = AtomicU32::new(0);
    let work = || {
        let mut made = Vec::new();
        loop {
            let i = next.fetch_add(1, Ordering::Relaxed);
            if i >= DRAWS {
                return Ok(made);
            }
            if stop.load(Ordering::Relaxed) {
                return Err(Unrefined::Stopped);
            }
            let draw = catch_unwind(AssertUnwindSafe(|| uncertainty::draw(base, seed, i)));
            made.push((i, draw.map_err(|_panic| Unrefined::Panicked)?));
        }
    };
    let parts: Result<Vec<Numbered>, Unrefined> = thread::scope(|scope| {
        let helpers: Vec<_> = (1..threads).map(|_| scope.spawn(work)).collect();
        let own = work();
        let joined = helpers
            .into_iter()
            .map(|h| h.join().unwrap_or(Err(Unrefined::Panicked)));
        std::iter::once(own).chain(joined).collect()
    });
    let mut all: Vec<(u32, Option<Draw>)> = parts?.into_iter().flatten().collect();
    all.sort_unstable_by_key(|d| d.0);
    Ok(all.into_iter().map(|d| d.1).collect())
}
