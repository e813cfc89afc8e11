//! The coach's side of a bay: who stands in it, blocks, what is entered, and the lesson that the screens
//! show. Values come from the store once a swing is filed; what they mean is computed in
//! `analysis::coaching` and becomes words and units in `coach/view`. Nothing here measures.
//!
//! Verbs block on the disk: the web calls them from threads that may.

mod block;
pub mod cohort;
pub mod compare;
mod findings;
mod judge;
pub mod shelf;
mod shots;
mod told;
pub mod view;
mod words;

use std::path::Path;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

pub use analysis::coaching::shot::Metric;
use crossbeam_channel::{Receiver, Sender};
use protocol::lesson::{
    Ask, Block, Club, Consent, Entry, Lesson, NewBlock, NewSeat, NewStudent, OnFile, Seat, Student,
};
use protocol::screen::Message;

use crate::archive::rows::Session;
use crate::archive::store::Store;
use crate::archive::{Archive, ArchiveError, rows, writer};
use crate::clock::Clock;
use crate::hub::Hub;
use crate::recording::Meta;
use crate::seat;

/// A lesson that nobody ended goes on after a restart when its last sign of life is younger than this.
const GOES_ON_NS: u64 = 4 * 3_600_000_000_000;
/// Shots of a check block when nobody says how many.
const PLANNED: u32 = 10;
/// How long a stop may take to be seen.
const LOOK: Duration = Duration::from_millis(200);
/// What is said where nobody was chosen.
const NOBODY: &str = "not recorded: nobody is chosen";

/// The coach's side of one bay.
pub struct Coach {
    archive: Mutex<Archive>,
    meta: Meta,
    clock: Clock,
    seats: Sender<Arc<seat::Seat>>,
    wake: Sender<()>,
    chair: Mutex<Chair>,
}

/// Who stands in the bay.
#[derive(Debug, Clone)]
struct Chair {
    seat: Option<Seat>,
    note: String,
}

impl Coach {
    /// The coach's side of a bay whose sessions lie in an archive, and the seat that it begins with: that of
    /// `student`, else a lesson of this bay that nobody ended, else nobody.
    ///
    /// # Errors
    /// When the archive cannot be opened or the student is not in it.
    pub fn start(
        dir: &Path,
        (meta, clock): (Meta, Clock),
        (seats, wake): (Sender<Arc<seat::Seat>>, Sender<()>),
        student: Option<&str>,
    ) -> Result<(Self, Arc<seat::Seat>), ArchiveError> {
        let coach = Self {
            archive: Mutex::new(Archive::create(dir)?),
            meta,
            clock,
            seats,
            wake,
            chair: Mutex::new(Chair {
                seat: None,
                note: NOBODY.into(),
            }),
        };
        let first = match student {
            Some(id) => {
                let asked = NewSeat {
                    mode: "student".into(),
                    student: Some(id.to_owned()),
                    club: None,
                };
                coach.place(&asked, None)?
            }
            None => coach.go_on()?,
        };
        Ok((coach, first))
    }

    /// The seat of a lesson that a restart interrupted.
    fn go_on(&self) -> Result<Arc<seat::Seat>, ArchiveError> {
        let now = self.utc_ns();
        let found = self.archive().store.open_session(&self.meta.bay)?;
        let Some((id, alive)) = found else {
            return Ok(Arc::new(nobody(NOBODY)));
        };
        if now.saturating_sub(alive) > GOES_ON_NS {
            self.archive().store.end_session(&id, alive)?;
            return Ok(Arc::new(nobody(NOBODY)));
        }
        let (student, club) = {
            let archive = self.archive();
            let blocks = archive.store.blocks(&id)?;
            let club = blocks.last().and_then(|b| b.club.clone());
            (archive.store.student_of(&id)?, club)
        };
        let asked = NewSeat {
            mode: "student".into(),
            student: Some(student),
            club,
        };
        self.place(&asked, Some(id))
    }

    /// Places somebody in the bay, from the next datagram on.
    ///
    /// # Errors
    /// When there is no such student or club, there is no consent, what is told makes no sense, or the bay
    /// is still busy with the last change.
    pub fn sit(&self, asked: &NewSeat) -> Result<Option<Seat>, ArchiveError> {
        let next = self.place(asked, None)?;
        if self.seats.try_send(next).is_err() {
            return Err(ArchiveError::Unfitting(
                "the bay is still busy with the last change: ask again in a second".into(),
            ));
        }
        self.ring();
        Ok(self.chair().seat.clone())
    }

    fn place(
        &self,
        asked: &NewSeat,
        session: Option<String>,
    ) -> Result<Arc<seat::Seat>, ArchiveError> {
        let now_utc_ns = self.utc_ns();
        let mut archive = self.archive();
        let mut chair = self.chair();
        let before = chair.seat.clone();
        let placed = match asked.mode.as_str() {
            "student" => {
                let id = asked.student.as_deref().unwrap_or_default();
                let of_same = before
                    .as_ref()
                    .filter(|s| s.student.as_ref().is_some_and(|s| s.id == id))
                    .and_then(|s| s.session.clone());
                self.student(&mut archive, (asked, id), session.or(of_same))?
            }
            "guest" => (
                Some(unkept("guest", now_utc_ns)),
                nobody("guest: not recorded"),
            ),
            "coach" => (
                Some(unkept("coach", now_utc_ns)),
                nobody("the coach shows something: not recorded"),
            ),
            "nobody" => (None, nobody(NOBODY)),
            odd => {
                return Err(ArchiveError::Unfitting(format!(
                    "mode `{odd}` is not known: use student, guest, coach or nobody"
                )));
            }
        };
        if let Some(left) = before.and_then(|s| s.session)
            && placed
                .0
                .as_ref()
                .is_none_or(|s| s.session.as_ref() != Some(&left))
        {
            archive.store.end_block(&left, now_utc_ns)?;
            archive.store.end_session(&left, now_utc_ns)?;
        }
        chair.note.clone_from(&placed.1.note);
        chair.seat = placed.0;
        Ok(Arc::new(placed.1))
    }

    /// A student's seat: the lesson goes on where one is named, else a new one begins.
    fn student(
        &self,
        archive: &mut Archive,
        (asked, id): (&NewSeat, &str),
        goes_on: Option<String>,
    ) -> Result<(Option<Seat>, seat::Seat), ArchiveError> {
        let now_utc_ns = self.utc_ns();
        let student = archive.store.student(id)?;
        let club = match asked.club.as_deref().filter(|c| !c.is_empty()) {
            Some(club) => {
                let (club, owner) = archive.store.club(club)?;
                if owner != id {
                    return Err(ArchiveError::Unfitting(format!(
                        "club {} is not {id}'s",
                        club.id
                    )));
                }
                Some(club)
            }
            None => None,
        };
        let calibration = archive.store.calibration(id)?;
        let text = told::text(&student, club.as_ref(), calibration.as_deref());
        let context = crate::context::parse(&text)
            .map_err(|why| ArchiveError::Unfitting(format!("{why:#}")))?;
        let mut session = writer::session(archive, id, (&self.meta, now_utc_ns))?;
        if let Some(open) = goes_on {
            session.id = open;
        } else {
            archive.store.begin_session(&session)?;
        }
        let club_id = club.as_ref().map(|c| c.id.as_str());
        let blocks = archive.store.blocks(&session.id)?;
        if let Some(open) = blocks.last().filter(|b| b.ended_utc_ns.is_none())
            && open.club.as_deref() != club_id
        {
            let purpose = (open.purpose.as_str(), club_id, open.planned);
            archive
                .store
                .begin_block(&session.id, purpose, now_utc_ns)?;
        }
        let seat = Seat {
            mode: "student".into(),
            session: Some(session.id.clone()),
            student: Some(told::shown(&student)),
            club,
            since_utc_ns: now_utc_ns,
        };
        let next = seat::Seat::new(Some(session), (context, Some(text)), "recorded");
        Ok((Some(seat), next))
    }

    /// Begins a block of the lesson that runs.
    ///
    /// # Errors
    /// When no lesson runs, or the purpose is not known.
    pub fn begin_block(&self, asked: &NewBlock) -> Result<Block, ArchiveError> {
        if !["baseline", "practice", "check"].contains(&asked.purpose.as_str()) {
            return Err(ArchiveError::Unfitting(format!(
                "purpose `{}` is not known: use baseline, practice or check",
                asked.purpose
            )));
        }
        let mut archive = self.archive();
        let seat = self.chair().seat.clone();
        let session = open(seat.as_ref())?;
        let club = seat.as_ref().and_then(|s| s.club.as_ref());
        let planned = asked.planned.unwrap_or(PLANNED);
        if !(5..=100).contains(&planned) {
            return Err(ArchiveError::Unfitting(format!(
                "planned is {planned}: expected 5 to 100 shots"
            )));
        }
        let purpose = (asked.purpose.as_str(), club.map(|c| c.id.as_str()), planned);
        let id = archive.store.begin_block(session, purpose, self.utc_ns())?;
        let block = archive.store.block(id)?;
        self.ring();
        Ok(block)
    }

    /// Ends the block that runs, if one does.
    ///
    /// # Errors
    /// When no lesson runs.
    pub fn end_block(&self) -> Result<(), ArchiveError> {
        let mut archive = self.archive();
        let seat = self.chair().seat.clone();
        archive
            .store
            .end_block(open(seat.as_ref())?, self.utc_ns())?;
        self.ring();
        Ok(())
    }

    /// Makes an entry.
    ///
    /// # Errors
    /// As [`Store::enter`], and where a metric, band or list makes no sense.
    pub fn enter(&self, ask: &Ask) -> Result<Entry, ArchiveError> {
        told::check(&ask.said).map_err(ArchiveError::Unfitting)?;
        let entry = self.archive().store.enter(ask, self.utc_ns())?;
        self.ring();
        Ok(entry)
    }

    /// Takes an entry back.
    ///
    /// # Errors
    /// As [`Store::undo`].
    pub fn undo(&self, n: i64) -> Result<Entry, ArchiveError> {
        let entry = self.archive().store.undo(n, "coach", self.utc_ns())?;
        self.ring();
        Ok(entry)
    }

    /// Adds a student.
    ///
    /// # Errors
    /// When a value makes no sense, or a guardian is missing.
    pub fn add_student(&self, new: &NewStudent) -> Result<OnFile, ArchiveError> {
        let student = told::row(&new.student);
        told::plausible(&student).map_err(ArchiveError::Unfitting)?;
        let scopes: Vec<&str> = new.consents.iter().map(String::as_str).collect();
        let guardian = new.guardian.as_deref().filter(|g| !g.trim().is_empty());
        let mut archive = self.archive();
        let id = archive
            .store
            .enroll(&student, (&scopes, guardian), self.utc_ns())?;
        on_file(&archive.store, &archive.store.student(&id)?, self.utc_ns())
    }

    /// Changes what is told about a student. It goes for the bay from the next seat on.
    ///
    /// # Errors
    /// When there is none, or a value makes no sense.
    pub fn tell(&self, id: &str, told: &Student) -> Result<OnFile, ArchiveError> {
        let row = rows::Student {
            id: id.to_owned(),
            ..told::row(told)
        };
        told::plausible(&row).map_err(ArchiveError::Unfitting)?;
        self.archive().store.tell(&row)?;
        self.on_file(id)
    }

    /// Puts a consent on file.
    ///
    /// # Errors
    /// As [`Store::consent`].
    pub fn consent(&self, id: &str, given: &Consent) -> Result<OnFile, ArchiveError> {
        let guardian = given.guardian.as_deref().filter(|g| !g.trim().is_empty());
        let scope = (given.scope.as_str(), guardian);
        self.archive().store.consent(id, scope, self.utc_ns())?;
        self.on_file(id)
    }

    /// Adds a club.
    ///
    /// # Errors
    /// When there is no such student, or a dimension makes no sense.
    pub fn add_club(&self, student: &str, club: &Club) -> Result<Club, ArchiveError> {
        if club.name.trim().is_empty() {
            return Err(ArchiveError::Unfitting("a club has a name".into()));
        }
        let mut archive = self.archive();
        let of = archive.store.student(student)?;
        crate::context::parse(&told::text(&of, Some(club), None))
            .map_err(|why| ArchiveError::Unfitting(format!("{why:#}")))?;
        let id = archive.store.add_club(student, club, self.utc_ns())?;
        Ok(archive.store.club(&id)?.0)
    }

    /// A student with what is on file.
    ///
    /// # Errors
    /// When there is none.
    pub fn on_file(&self, id: &str) -> Result<OnFile, ArchiveError> {
        let archive = self.archive();
        on_file(&archive.store, &archive.store.student(id)?, self.utc_ns())
    }

    /// Every student, by name.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn students(&self) -> Result<Vec<OnFile>, ArchiveError> {
        let archive = self.archive();
        let all = archive.store.students()?;
        all.iter()
            .map(|s| on_file(&archive.store, s, self.utc_ns()))
            .collect()
    }

    /// Who stands in the bay.
    #[must_use]
    pub fn seated(&self) -> Option<Seat> {
        self.chair().seat.clone()
    }

    /// Asks the archive, which nobody else of the web holds meanwhile.
    pub fn ask<T>(&self, question: impl FnOnce(&Archive) -> T) -> T {
        question(&self.archive())
    }

    /// The lesson at this moment.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn lesson(&self) -> Result<Lesson, ArchiveError> {
        let chair = self.chair().clone();
        view::lesson(
            &self.archive().store,
            (&self.meta.bay, &chair.note),
            chair.seat,
            self.utc_ns(),
        )
    }

    /// Nanoseconds since 1970 in UTC.
    #[must_use]
    pub fn utc_ns(&self) -> u64 {
        self.clock.zero_utc_ns().saturating_add(self.clock.now_ns())
    }

    /// Something changed. Full: it was said already.
    fn ring(&self) {
        self.wake.try_send(()).ok();
    }

    /// A panic elsewhere must not take the coach's side along: every verb is one transaction.
    fn archive(&self) -> MutexGuard<'_, Archive> {
        self.archive.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Taken after the archive, never before it.
    fn chair(&self) -> MutexGuard<'_, Chair> {
        self.chair.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// Shows the lesson anew whenever the bell rings, until told to stop.
pub fn run(coach: &Coach, bell: &Receiver<()>, hub: &Hub, stop: &AtomicBool) {
    loop {
        match coach.lesson() {
            Ok(lesson) => hub.publish(Message::Lesson(Box::new(lesson))),
            Err(why) => tracing::error!(code = %why.code(), "the lesson is not shown: {why}"),
        }
        while bell.recv_timeout(LOOK).is_err() {
            if stop.load(Ordering::Relaxed) {
                return;
            }
        }
    }
}

fn open(seat: Option<&Seat>) -> Result<&str, ArchiveError> {
    let session = seat.and_then(|s| s.session.as_deref());
    session.ok_or_else(|| ArchiveError::Unfitting("no lesson runs: choose a student first".into()))
}

fn unkept(mode: &str, since_utc_ns: u64) -> Seat {
    Seat {
        mode: mode.into(),
        session: None,
        student: None,
        club: None,
        since_utc_ns,
    }
}

fn nobody(note: &str) -> seat::Seat {
    seat::Seat::new(None, Default::default(), note)
}

fn on_file(
    store: &Store,
    student: &rows::Student,
    now_utc_ns: u64,
) -> Result<OnFile, ArchiveError> {
    let sessions: Vec<Session> = store.sessions(rows::Which::Student(&student.id))?;
    let consents = store.consents(&student.id)?;
    let holds = store.holds(&student.id)?;
    Ok(OnFile {
        student: told::shown(student),
        minor: crate::archive::store::is_minor(student.born, now_utc_ns),
        consents: consents
            .into_iter()
            .map(|c| Consent {
                scope: c.scope,
                guardian: c.guardian,
                given_utc_ns: c.given_utc_ns,
            })
            .collect(),
        clubs: store.clubs(&student.id)?,
        limits: findings::limit_words(&shots::Holds::new(&holds), &student.id),
        lessons: sessions.len() as u64,
        last_utc_ns: sessions.last().map(|s| s.began_utc_ns),
    })
}
