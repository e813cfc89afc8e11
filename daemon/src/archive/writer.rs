//! The live path into the archive: one thread that writes the recording of a session and files its
//! swings. A swing counts as archived when its window in the recording and its row in the store are
//! both on the disk; the screens are told so, or why not.
//!
//! The disk may fail or fill up: the recording then stops and goes on in another file when there is
//! room again. Nothing here ever holds up the analysis.

use std::collections::VecDeque;
use std::sync::Arc;
use std::time::Duration;

use crossbeam_channel::{Receiver, Sender, never, select};
use protocol::report::Report;
use protocol::screen::Archived;
use tracing::{error, warn};

use super::board::Board;
use super::filing::{Filed, Filing, completed_ns, outcome, take, window};
use super::held::Around;
use super::ring::Ring;
use super::rows::Session;
use super::tape::Running;
use super::{Archive, ArchiveError};
use crate::analyze::Outgoing;
use crate::clock::Clock;
use crate::errors::Code;
use crate::receive::{Dropped, Fed};
use crate::recording::Meta;
use crate::seat::Seat;

mod taping;

/// Between two rounds: what comes meanwhile (the queue holds a thousand times more) is taken in one. The thread would
/// otherwise be woken for every datagram, which costs more than all that it does with it.
const REST: Duration = Duration::from_millis(10);
/// While a seat changes the analysis is looked at this often.
const SEAT_LOOK: Duration = Duration::from_millis(20);
/// Swings whose revisions may still come.
const REVISED_MAX: usize = 64;

/// What the thread begins with.
#[derive(Debug)]
pub struct Start {
    /// Where to.
    pub archive: Archive,
    /// Who stands in the bay at the beginning.
    pub seat: Arc<Seat>,
    /// What each of its recordings says about itself.
    pub meta: Meta,
    /// The daemon's clock.
    pub clock: Clock,
    /// The catalogue's identifiers, in its order.
    pub ids: Vec<String>,
    /// Only so much around each swing is recorded; without it everything is.
    pub around: Option<Around>,
    /// Whether a session goes on when the bay opens again.
    pub goes_on: bool,
    /// Told whenever something was filed; full: it was told already.
    pub filed: Sender<()>,
}

/// The session's recording now.
enum Tape {
    Running(Box<Running>),
    /// Not before `retry_ns`; why in words.
    Stopped {
        why: String,
        retry_ns: u64,
    },
}

struct Desk<'a> {
    start: Start,
    board: &'a Board,
    dropped: &'a Dropped,
    outgoing: &'a Sender<Outgoing>,
    tape: Tape,
    seat: Arc<Seat>,
    /// Who comes next: no arrival is taken until the analysis has worked off what came before.
    next: Option<Arc<Seat>>,
    /// Session of the last swings filed, for their revisions.
    filed: VecDeque<(String, String)>,
    ring: Ring,
    waiting: VecDeque<Filed>,
    now_ns: u64,
    look_ns: u64,
    /// Datagrams that the queue was too full for, and the stretches of arrivals in which that was.
    lost: u64,
    gaps: VecDeque<(u64, u64)>,
}

/// Works until both sources close, then completes recording and session.
pub fn run(
    start: Start,
    (arrivals, filed): (&Receiver<Fed>, &Receiver<Filed>),
    outgoing: &Sender<Outgoing>,
    (board, dropped): (&Arc<Board>, &Dropped),
) {
    let mut desk = Desk {
        seat: Arc::clone(&start.seat),
        next: None,
        filed: VecDeque::new(),
        start,
        board,
        dropped,
        outgoing,
        tape: Tape::Stopped {
            why: "no datagram came yet".into(),
            retry_ns: 0,
        },
        ring: Ring::default(),
        waiting: VecDeque::new(),
        now_ns: 0,
        look_ns: 0,
        lost: 0,
        gaps: VecDeque::new(),
    };
    let (mut arrivals, mut filed) = (Some(arrivals), Some(filed));
    let (no_arrival, none_filed) = (never(), never());
    while arrivals.is_some() || filed.is_some() {
        // Nothing here is in a hurry: woken for many datagrams at once, not for each.
        std::thread::sleep(REST);
        let held = desk.next.is_some();
        let (next, due) = (
            arrivals.filter(|_| !held).unwrap_or(&no_arrival),
            filed.unwrap_or(&none_filed),
        );
        select! {
            recv(next) -> fed => match fed {
                Ok(fed) => desk.take(fed, next),
                Err(_closed) => {
                    // Nothing more comes: whatever completed a swing is here.
                    desk.now_ns = u64::MAX;
                    arrivals = None;
                }
            },
            recv(due) -> due => match due {
                Ok(due) => desk.waiting.push_back(due),
                Err(_closed) => filed = None,
            },
            default(SEAT_LOOK) => {}
        }
        desk.file_what_is_due();
        if let Some(seat) = desk.next.take_if(|s| s.is_taken() || filed.is_none()) {
            filed.iter().for_each(|f| desk.waiting.extend(f.try_iter()));
            desk.change(seat);
        }
    }
    desk.finish();
}

impl Desk<'_> {
    /// Takes what came, and all that waits behind it, until somebody else stands in the bay.
    fn take(&mut self, first: Fed, behind: &Receiver<Fed>) {
        for fed in std::iter::once(first).chain(behind.try_iter()) {
            match fed {
                Fed::Arrival(arrival) => self.arrival(&arrival),
                Fed::Seat(seat) => {
                    self.next = Some(seat);
                    return;
                }
            }
        }
    }

    /// Everything that came before is filed into the seat that ends.
    fn change(&mut self, seat: Arc<Seat>) {
        let now_ns = std::mem::replace(&mut self.now_ns, u64::MAX);
        self.file_what_is_due();
        self.now_ns = now_ns;
        self.close_tape("nobody's session is open");
        self.ring.clear();
        // Who placed the next one ended the session before in the store.
        self.seat = seat;
        self.board.show(Vec::new());
        self.look();
    }

    /// Files what waits, in its order, as far as the recording has come.
    fn file_what_is_due(&mut self) {
        while let Some(next) = self.waiting.pop_front() {
            match next {
                Filed::Swing(filing) if completed_ns(&filing.report) > self.now_ns => {
                    self.waiting.push_front(Filed::Swing(filing));
                    return;
                }
                Filed::Swing(filing) => self.file(*filing),
                Filed::Revised(report) => self.revise(&report),
            }
        }
    }

    fn file(&mut self, filing: Filing) {
        let id = filing.report.id.clone();
        let reason = self.try_file(&filing).err();
        if let Some(why) = &reason {
            warn!(code = %Code::SwingUnarchived, swing = %id, "not archived: {why}");
        }
        let said = Archived {
            bay: self.start.meta.bay.clone(),
            id,
            archived: reason.is_none(),
            reason,
        };
        self.start.filed.try_send(()).ok();
        // Blocks for a moment at most: publishing waits for nobody. Closed: the bay ends.
        drop(self.outgoing.send(Outgoing::Archived(said)));
    }

    fn try_file(&mut self, filing: &Filing) -> Result<(), String> {
        let to_ns = completed_ns(&filing.report);
        let row = match (&self.tape, &self.seat.session) {
            (Tape::Running(running), Some(_)) => running.row,
            (_, None) => return Err(self.seat.note.clone()),
            (Tape::Stopped { why, .. }, _) => return Err(format!("recording stopped: {why}")),
        };
        let found = window(&self.ring, filing);
        let found = found.ok_or("the recording did not run during all of the swing")?;
        if self
            .gaps
            .iter()
            .any(|g| g.0 <= to_ns && g.1 >= found.from_ns)
        {
            return Err("datagrams are missing in the recording: the disk is too slow".into());
        }
        if let Tape::Running(running) = &mut self.tape {
            if !running.has_since(found.from_ns) {
                return Err("the swing was found too late: what came before it is gone".into());
            }
            running.synced_ns = self.now_ns;
            if let Err(why) = running.keep(&filing.report, to_ns) {
                let why = format!("the disk fails: {why}");
                self.stop(Code::ArchiveStopped, why.clone());
                return Err(why);
            }
        }
        let zero_utc_ns = self.start.meta.clock_zero_utc_ns;
        let session = self.seat.session.as_ref().map_or("", |s| &s.id).to_owned();
        let mut swing = found.swing(filing, (&session, row), zero_utc_ns);
        swing.calibration = self.seat.calibration;
        self.filed.push_back((swing.id.clone(), session));
        if self.filed.len() > REVISED_MAX {
            self.filed.pop_front();
        }
        let outcome = outcome(&self.start.ids, &filing.report, self.utc_ns())?;
        let stored = self
            .start
            .archive
            .store
            .add_swing(&swing, &outcome, take(filing)?.as_ref());
        stored.map_err(|why| why.to_string())
    }

    fn revise(&mut self, report: &Report) {
        let mut filed = self.filed.iter();
        let Some((id, session)) = filed.find(|(id, _)| *id == report.id) else {
            return;
        };
        let swing = (session.clone(), id.clone());
        // Never into the recording of whoever came after: it would outlive this student's erasure.
        let same = self.seat.session.as_ref().is_some_and(|s| s.id == swing.0);
        if let Tape::Running(running) = &mut self.tape
            && same
            && let Err(why) = running.recorder.note(report, completed_ns(report))
        {
            self.stop(Code::ArchiveStopped, format!("the disk fails: {why}"));
        }
        let swing = (swing.0.as_str(), swing.1.as_str());
        let put = outcome(&self.start.ids, report, self.utc_ns()).and_then(|outcome| {
            let put = self.start.archive.store.put_result(swing, &outcome);
            put.map_err(|why| why.to_string())
        });
        match put {
            Ok(_found) => {
                self.start.filed.try_send(()).ok();
            }
            Err(why) => {
                error!(code = %Code::SwingUnarchived, swing = %report.id, "revision not archived: {why}");
            }
        }
    }

    fn finish(mut self) {
        self.close_tape("the bay has closed");
        if let Some(session) = self.seat.session.as_ref().filter(|_| !self.start.goes_on) {
            self.end_session(&session.id.clone());
        }
    }

    fn end_session(&mut self, id: &str) {
        let utc_ns = self.utc_ns();
        if let Err(why) = self.start.archive.store.end_session(id, utc_ns) {
            error!(code = %why.code(), "session's end not noted: {why}");
        }
    }

    fn utc_ns(&self) -> u64 {
        let clock = self.start.clock;
        clock.zero_utc_ns().saturating_add(clock.now_ns())
    }
}

/// A session that begins now, of a student who may be recorded.
///
/// # Errors
/// [`ArchiveError::NotConsented`], [`ArchiveError::Unknown`], or what the store says.
pub fn session(
    archive: &Archive,
    student: &str,
    (meta, now_utc_ns): (&Meta, u64),
) -> Result<Session, ArchiveError> {
    let store = &archive.store;
    store.require_consent(student, "lesson", now_utc_ns)?;
    Ok(Session {
        id: format!("{}-{}", meta.bay, now_utc_ns / 1_000_000),
        student: student.to_owned(),
        bay: meta.bay.clone(),
        zone: meta.zone.clone(),
        program: meta.program.clone(),
        began_utc_ns: now_utc_ns,
        ended_utc_ns: None,
    })
}
