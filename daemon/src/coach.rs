//! The coach's side of a bay: who stands in it (`chair`), blocks, what is entered, and the lesson that the
//! screens show. Values come from the store once a swing is filed; what they mean is computed in
//! `analysis::coaching` and becomes words and units in `coach/view`. Nothing here measures.
//!
//! Verbs block on the disk: the web calls them from threads that may.

mod again;
mod block;
mod calibrate;
mod care;
mod chair;
pub mod cohort;
pub mod compare;
mod findings;
mod golfers;
pub mod hall;
mod judge;
mod moving;
mod place;
pub mod shelf;
mod shots;
mod taps;
mod thresholds;
mod told;
pub mod view;
mod words;

use std::path::Path;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

pub use analysis::coaching::leaks::Leak;
pub use analysis::coaching::shot::Metric;
use crossbeam_channel::{Receiver, Sender};
use protocol::lesson::{
    Ask, Begun, Club, Consent, Entry, Lesson, NewBlock, NewStudent, OnFile, Said, Seat, Student,
};
use protocol::screen::Message;
pub use told::check as check_said;

use crate::archive::board::Board;
use crate::archive::rows::Session;
use crate::archive::store::Store;
use crate::archive::{Archive, ArchiveError, rows};
use crate::clock::Clock;
use crate::hub::Hub;
use crate::map::MarkerMap;
use crate::recent::Recent;
use crate::recording::Meta;
use crate::seat;

use self::care::Checking;
use self::chair::Chair;

/// Shots of a check block when nobody says how many.
const PLANNED: u32 = 10;
/// How long a stop may take to be seen.
const LOOK: Duration = Duration::from_millis(200);

/// The coach's side of one bay.
pub struct Coach {
    archive: Mutex<Archive>,
    meta: Meta,
    clock: Clock,
    map: MarkerMap,
    recent: Arc<Recent>,
    board: Arc<Board>,
    checking: Mutex<Checking>,
    seats: Sender<Arc<seat::Seat>>,
    wake: Sender<()>,
    chair: Mutex<Chair>,
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
        let map = MarkerMap::parse(&meta.marker_map, "of the bay");
        let coach = Self {
            archive: Mutex::new(Archive::create(dir)?),
            map: map.map_err(|why| ArchiveError::Unfitting(format!("{why:#}")))?,
            recent: Arc::default(),
            board: Arc::default(),
            checking: Mutex::default(),
            meta,
            clock,
            seats,
            wake,
            chair: Mutex::new(Chair::default()),
        };
        let first = coach.first(student)?;
        Ok((coach, first))
    }

    /// Begins a block of the lesson that runs.
    ///
    /// # Errors
    /// When no lesson runs, or the purpose is not known.
    pub fn begin_block(&self, asked: &NewBlock) -> Result<Begun, ArchiveError> {
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
        let (id, entry) = archive.store.begin_block(session, purpose, self.utc_ns())?;
        let block = archive.store.block(id)?;
        self.ring();
        Ok(Begun { block, entry })
    }

    /// Ends the block that runs, if one does; gives the entry by which it is undone.
    ///
    /// # Errors
    /// When no lesson runs.
    pub fn end_block(&self) -> Result<Option<i64>, ArchiveError> {
        let mut archive = self.archive();
        let seat = self.chair().seat.clone();
        let session = open(seat.as_ref())?;
        let entry = archive.store.end_block(session, self.utc_ns())?;
        self.ring();
        Ok(entry)
    }

    /// Makes an entry.
    ///
    /// # Errors
    /// As [`Store::enter`], and where a metric, band or list makes no sense.
    pub fn enter(&self, ask: &Ask) -> Result<Entry, ArchiveError> {
        told::check(&ask.said).map_err(ArchiveError::Unfitting)?;
        let entry = {
            let mut archive = self.archive();
            told::fits(&archive.store, ask)?;
            archive.store.enter(ask, self.utc_ns())?
        };
        self.follow(&entry)?;
        self.ring();
        Ok(entry)
    }

    /// Takes an entry back: what held before holds again, be it a value, a block's beginning or end, who
    /// stands in the bay, or whose shot it is.
    ///
    /// # Errors
    /// As [`Store::undo`], and where it cannot be taken back any more, in words.
    pub fn undo(&self, n: i64) -> Result<Entry, ArchiveError> {
        let before = self.archive().store.entry(n)?;
        let entry = match &before.said {
            Some(Said::Seat(_)) => self.stand_up(n)?,
            Some(Said::Moved(_)) => self.move_back(&before)?,
            Some(Said::Consent(_)) => {
                return Err(ArchiveError::Unfitting(
                    "a consent is given or withdrawn anew, by whom it concerns".into(),
                ));
            }
            _ => self.archive().store.undo(n, "coach", self.utc_ns())?,
        };
        self.follow(&entry)?;
        self.ring();
        Ok(entry)
    }

    /// What an entry changes in the bay: another calibration goes from the next shot on.
    fn follow(&self, entry: &Entry) -> Result<(), ArchiveError> {
        if entry.key == "calibration" {
            self.sit_again(&entry.student)?;
        }
        Ok(())
    }

    /// Adds a student.
    ///
    /// # Errors
    /// When a value makes no sense, or a guardian is missing.
    pub fn add_student(&self, new: &NewStudent) -> Result<OnFile, ArchiveError> {
        let student = trimmed(&new.student);
        told::plausible(&student).map_err(ArchiveError::Unfitting)?;
        let scopes: Vec<&str> = new.consents.iter().map(String::as_str).collect();
        let guardian = new.guardian.as_deref().filter(|g| !g.trim().is_empty());
        let mut archive = self.archive();
        let id = archive
            .store
            .enroll(&student, (&scopes, guardian), self.utc_ns())?;
        on_file(&archive.store, &archive.store.student(&id)?, self.utc_ns())
    }

    /// Changes what is told about a student. It goes for the bay from the next seat on. Gives the entry by which
    /// it is undone, where anything changed.
    ///
    /// # Errors
    /// When there is none, or a value makes no sense.
    pub fn tell(&self, id: &str, told: &Student) -> Result<(OnFile, Option<i64>), ArchiveError> {
        let student = Student {
            id: id.to_owned(),
            ..trimmed(told)
        };
        told::plausible(&student).map_err(ArchiveError::Unfitting)?;
        let entry = self.archive().store.tell(&student, self.utc_ns())?;
        self.ring();
        Ok((self.on_file(id)?, entry))
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

    /// Withdraws a consent. Without one to lessons nothing more is recorded from now on; what is on file stays
    /// until it is erased, and is in no export.
    ///
    /// # Errors
    /// As [`Store::withdraw`].
    pub fn withdraw(&self, id: &str, scope: &str) -> Result<OnFile, ArchiveError> {
        self.archive().store.withdraw(id, scope, self.utc_ns())?;
        if scope == "lesson" {
            self.leave(id)?;
        }
        self.on_file(id)
    }

    /// Adds a club.
    ///
    /// # Errors
    /// When there is no such student, or a dimension makes no sense.
    pub fn add_club(&self, student: &str, club: &Club) -> Result<Club, ArchiveError> {
        let mut archive = self.archive();
        told::plausible_club(&archive.store.student(student)?, club)
            .map_err(ArchiveError::Unfitting)?;
        let id = archive.store.add_club(student, club, self.utc_ns())?;
        Ok(archive.store.club(&id)?.0)
    }

    /// Changes what is told about a club, as [`Coach::tell`] does of a student.
    ///
    /// # Errors
    /// When there is none, or a dimension makes no sense.
    pub fn tell_club(&self, id: &str, told: &Club) -> Result<(Club, Option<i64>), ArchiveError> {
        let mut archive = self.archive();
        let student = archive.store.club(id)?.1;
        let club = Club {
            id: id.to_owned(),
            ..told.clone()
        };
        told::plausible_club(&archive.store.student(&student)?, &club)
            .map_err(ArchiveError::Unfitting)?;
        let entry = archive.store.tell_club(&club, self.utc_ns())?;
        self.ring();
        Ok((archive.store.club(id)?.0, entry))
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

    /// The bay's identifier.
    #[must_use]
    pub fn bay(&self) -> &str {
        &self.meta.bay
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
            (chair.seat, chair.waiting),
            self.utc_ns(),
        )
    }

    /// The datagrams of the last minute, filled by the receiver.
    #[must_use]
    pub const fn recent(&self) -> &Arc<Recent> {
        &self.recent
    }

    /// What the archive's thread shows.
    #[must_use]
    pub const fn board(&self) -> &Arc<Board> {
        &self.board
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

fn trimmed(told: &Student) -> Student {
    Student {
        name: told.name.trim().to_owned(),
        ..told.clone()
    }
}

fn open(seat: Option<&Seat>) -> Result<&str, ArchiveError> {
    let session = seat.and_then(|s| s.session.as_deref());
    session.ok_or_else(|| ArchiveError::Unfitting("no lesson runs: choose a student first".into()))
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
        student: student.clone(),
        minor: crate::archive::store::is_minor(student.born, now_utc_ns),
        consents: consents
            .into_iter()
            .map(|c| Consent {
                scope: c.scope,
                guardian: c.guardian,
                given_utc_ns: c.given_utc_ns,
                withdrawn_utc_ns: c.withdrawn_utc_ns,
            })
            .collect(),
        clubs: store.clubs(&student.id)?,
        limits: findings::limit_words(&shots::Holds::new(&holds), &student.id),
        lessons: sessions.len() as u64,
        last_utc_ns: sessions.last().map(|s| s.began_utc_ns),
    })
}
