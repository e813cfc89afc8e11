//! Who stands in the bay: seats asked for, the lesson that waits while a guest swings or the coach shows
//! something, and the way back.

use std::sync::Arc;

use protocol::lesson::{About, Entry, NewSeat, Said, Seat, Seated};

use super::{Coach, shots, told, view};
use crate::archive::{Archive, ArchiveError, writer};
use crate::seat;

/// A lesson that nobody ended goes on after a restart when its last sign of life is younger than this.
const GOES_ON_NS: u64 = 4 * 3_600_000_000_000;
/// What is said where nobody was chosen.
const NOBODY: &str = "not recorded: nobody is chosen";
/// What is said where a consent was withdrawn in the lesson.
const WITHDRAWN: &str = "not recorded: the consent was withdrawn";

/// Who stands in the bay.
#[derive(Debug, Clone)]
pub(super) struct Chair {
    pub(super) seat: Option<Seat>,
    /// The lesson that waits while `seat` is a guest's or the coach's.
    pub(super) waiting: Option<Seat>,
    pub(super) note: String,
    /// Row of the calibration that goes.
    calibration: Option<i64>,
    /// What the last change can be taken back to.
    before: Option<Before>,
}

/// What was before a change.
#[derive(Debug, Clone)]
struct Before {
    /// The entry of the change.
    entry: i64,
    seat: Option<Seat>,
    waiting: Option<Seat>,
}

impl Default for Chair {
    fn default() -> Self {
        Self {
            seat: None,
            waiting: None,
            note: NOBODY.into(),
            calibration: None,
            before: None,
        }
    }
}

impl Chair {
    /// The lesson that runs or waits.
    fn lesson(&self) -> Option<&Seat> {
        let runs = self.seat.as_ref().filter(|s| s.session.is_some());
        runs.or(self.waiting.as_ref())
    }
}

/// How a seat is taken.
#[derive(Debug, Clone, Copy, Default)]
struct How<'a> {
    /// The lesson that goes on; none: a new one begins, or that of the same student goes on.
    session: Option<&'a str>,
    /// The entry that is taken back by it.
    undoes: Option<i64>,
    /// What the screen says of nobody.
    note: Option<&'a str>,
}

impl Coach {
    /// The seat that the bay begins with: that of a student, else a lesson that a restart interrupted, else
    /// nobody's.
    pub(super) fn first(&self, student: Option<&str>) -> Result<Arc<seat::Seat>, ArchiveError> {
        let Some(id) = student else {
            return self.go_on();
        };
        let (mut archive, mut chair) = (self.archive(), self.chair());
        let next = self.place(&mut archive, &mut chair, &seated(id, None), How::default())?;
        // Nothing to go back to: the program began so.
        chair.before = None;
        Ok(next.0)
    }

    fn go_on(&self) -> Result<Arc<seat::Seat>, ArchiveError> {
        let now = self.utc_ns();
        let (mut archive, mut chair) = (self.archive(), self.chair());
        let Some((id, alive)) = archive.store.open_session(&self.meta.bay)? else {
            return Ok(Arc::new(nobody(NOBODY)));
        };
        if now.saturating_sub(alive) > GOES_ON_NS {
            archive.store.end_session(&id, alive)?;
            return Ok(Arc::new(nobody(NOBODY)));
        }
        let student = archive.store.student_of(&id)?;
        let entries = archive.store.holds(&student)?;
        let said = shots::Holds::new(&entries).of(&About::Session(id.clone()), "seat");
        let (mode, club) = match said {
            Some(Said::Seat(seat)) => (seat.mode.clone(), seat.club.clone()),
            _ => ("student".to_owned(), None),
        };
        let club = match club {
            Some(club) => Some(club),
            None => view::in_sight(&archive.store.blocks(&id)?).and_then(|b| b.club.clone()),
        };
        let how = How {
            session: Some(&id),
            ..How::default()
        };
        let asked = seated(&student, club);
        let mut next = match self.place(&mut archive, &mut chair, &asked, how) {
            Ok(next) => next.0,
            // Withdrawn or erased meanwhile: it is over.
            Err(ArchiveError::NotConsented(_)) => {
                archive.store.end_session(&id, alive)?;
                return Ok(Arc::new(nobody(NOBODY)));
            }
            Err(why) => return Err(why),
        };
        // Whoever stood there in the student's place still may: nothing is recorded under that name.
        if matches!(mode.as_str(), "guest" | "coach") {
            let asked = NewSeat {
                mode,
                ..NewSeat::default()
            };
            next = self
                .place(&mut archive, &mut chair, &asked, How::default())?
                .0;
        }
        chair.before = None;
        Ok(next)
    }

    /// Places somebody in the bay, from the next datagram on. Gives the seat, and the entry by which it is
    /// undone where a lesson is concerned.
    ///
    /// # Errors
    /// When there is no such student or club, there is no consent, what is told makes no sense, or the bay
    /// is still busy with the last change.
    pub fn sit(&self, asked: &NewSeat) -> Result<(Option<Seat>, Option<i64>), ArchiveError> {
        let (mut archive, mut chair) = (self.archive(), self.chair());
        let entry = self.change(&mut archive, &mut chair, asked, How::default())?;
        Ok((chair.seat.clone(), entry))
    }

    /// Whether a student's lesson runs or waits here.
    pub(super) fn teaches(&self, student: &str) -> bool {
        self.chair().lesson().is_some_and(|seat| is(seat, student))
    }

    /// Whether the last change of seats is this entry.
    pub(super) fn was_changed_by(&self, entry: i64) -> bool {
        let chair = self.chair();
        chair.before.as_ref().is_some_and(|b| b.entry == entry)
    }

    /// Takes the last change of seats back: the lesson before goes on, in its block.
    pub(super) fn stand_up(&self, n: i64) -> Result<Entry, ArchiveError> {
        let (mut archive, mut chair) = (self.archive(), self.chair());
        let Some(before) = chair.before.clone().filter(|b| b.entry == n) else {
            return Err(ArchiveError::Unfitting(
                "only the last change of who stands in the bay can be taken back".into(),
            ));
        };
        let lesson = before.waiting.as_ref().or(before.seat.as_ref());
        let session = lesson.and_then(|s| s.session.clone());
        if let Some(session) = &session {
            archive.store.reopen_session(session)?;
        }
        let how = How {
            session: session.as_deref(),
            undoes: Some(n),
            note: None,
        };
        let again = |s: &Seat| {
            let student = s.student.as_ref().map(|s| s.id.clone());
            seated(
                &student.unwrap_or_default(),
                s.club.as_ref().map(|c| c.id.clone()),
            )
        };
        let mut made = None;
        if let Some(lesson) = lesson.filter(|s| s.session.is_some()) {
            made = self.change(&mut archive, &mut chair, &again(lesson), how)?;
        }
        let unkept = before.seat.as_ref().filter(|s| s.session.is_none());
        if unkept.is_some() || before.seat.is_none() {
            let asked = NewSeat {
                mode: unkept.map_or("nobody", |s| &s.mode).to_owned(),
                ..NewSeat::default()
            };
            let entry = self.change(&mut archive, &mut chair, &asked, how)?;
            made = made.or(entry);
        }
        // Going forth and back in turn is what seats are for.
        chair.before = None;
        archive.store.entry(made.unwrap_or(n))
    }

    /// Another calibration of whoever stands in the bay: the same seat with it.
    pub(super) fn sit_again(&self, student: &str) -> Result<(), ArchiveError> {
        let (mut archive, mut chair) = (self.archive(), self.chair());
        let Some(seat) = chair.seat.clone().filter(|s| is(s, student)) else {
            return Ok(());
        };
        let before = chair.before.clone();
        let asked = seated(student, seat.club.map(|c| c.id));
        self.change(&mut archive, &mut chair, &asked, How::default())?;
        chair.before = before;
        Ok(())
    }

    /// A student who may not be recorded any more leaves, be it from a lesson that waits.
    pub(super) fn leave(&self, student: &str) -> Result<(), ArchiveError> {
        let (mut archive, mut chair) = (self.archive(), self.chair());
        if !chair.lesson().is_some_and(|s| is(s, student)) {
            return Ok(());
        }
        let asked = NewSeat {
            mode: "nobody".into(),
            ..NewSeat::default()
        };
        let how = How {
            note: Some(WITHDRAWN),
            ..How::default()
        };
        self.change(&mut archive, &mut chair, &asked, how)?;
        chair.before = None;
        Ok(())
    }

    fn change(
        &self,
        archive: &mut Archive,
        chair: &mut Chair,
        asked: &NewSeat,
        how: How<'_>,
    ) -> Result<Option<i64>, ArchiveError> {
        let busy = || {
            ArchiveError::Unfitting(
                "the bay is still busy with the last change: ask again in a second".into(),
            )
        };
        // Only who holds the chair fills them: there is room for what is asked for here.
        if self.seats.is_full() {
            return Err(busy());
        }
        let (next, entry) = self.place(archive, chair, asked, how)?;
        self.seats.try_send(next).map_err(|_closed| busy())?;
        self.ring();
        Ok(entry)
    }

    fn place(
        &self,
        archive: &mut Archive,
        chair: &mut Chair,
        asked: &NewSeat,
        how: How<'_>,
    ) -> Result<(Arc<seat::Seat>, Option<i64>), ArchiveError> {
        let now_utc_ns = self.utc_ns();
        let before = (chair.seat.clone(), chair.waiting.clone());
        let lesson = chair.lesson().cloned();
        let unkept = |note: &str| {
            let seat = Seat {
                mode: asked.mode.clone(),
                session: None,
                student: None,
                club: None,
                since_utc_ns: now_utc_ns,
            };
            (Some(seat), nobody(note))
        };
        let (seat, next) = match asked.mode.as_str() {
            "student" => {
                let id = asked.student.as_deref().unwrap_or_default();
                let of_same = lesson.as_ref().filter(|s| is(s, id));
                let of_same = of_same.and_then(|s| s.session.as_deref());
                self.student(archive, chair, (asked, id), how.session.or(of_same))?
            }
            "back" => {
                let waits = chair
                    .waiting
                    .as_ref()
                    .and_then(|s| s.student.as_ref().zip(Some(s)));
                let Some((student, waits)) = waits else {
                    return Err(ArchiveError::Unfitting("no lesson waits".into()));
                };
                let (student, session) = (student.id.clone(), waits.session.clone());
                let asked = seated(&student, waits.club.as_ref().map(|c| c.id.clone()));
                self.student(archive, chair, (&asked, &student), session.as_deref())?
            }
            "guest" => unkept("guest: not recorded"),
            "coach" => unkept("the coach shows something: not recorded"),
            "nobody" => (None, nobody(how.note.unwrap_or(NOBODY))),
            odd => {
                return Err(ArchiveError::Unfitting(format!(
                    "mode `{odd}` is not known: use student, guest, coach, back or nobody"
                )));
            }
        };
        chair.waiting = match &seat {
            Some(seat) if seat.session.is_none() => lesson.clone(),
            _ => None,
        };
        chair.note.clone_from(&next.note);
        chair.calibration = next
            .calibration
            .or(chair.waiting.as_ref().and(chair.calibration));
        chair.seat = seat;
        let entry = note_change(archive, chair, lesson.as_ref(), (how.undoes, now_utc_ns))?;
        chair.before = entry.map(|entry| Before {
            entry,
            seat: before.0,
            waiting: before.1,
        });
        Ok((Arc::new(next), entry))
    }

    /// A student's seat: the lesson goes on where one is named, else a new one begins.
    fn student(
        &self,
        archive: &mut Archive,
        chair: &Chair,
        (asked, id): (&NewSeat, &str),
        goes_on: Option<&str>,
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
        let (calibration, table) = archive.store.calibration(id)?.unzip();
        let text = told::text(&student, club.as_ref(), table.as_deref());
        let context = crate::context::parse(&text)
            .map_err(|why| ArchiveError::Unfitting(format!("{why:#}")))?;
        let mut session = writer::session(archive, id, (&self.meta, now_utc_ns))?;
        if let Some(open) = goes_on {
            session.id = open.to_owned();
        } else {
            archive.store.begin_session(&session)?;
        }
        let club_id = club.as_ref().map(|c| c.id.as_str());
        let marked_anew =
            goes_on.is_some() && chair.seat.is_some() && calibration != chair.calibration;
        let blocks = archive.store.blocks(&session.id)?;
        if let Some(open) = blocks.iter().find(|b| b.runs())
            && (open.club.as_deref() != club_id || marked_anew && open.shots > 0)
        {
            let purpose = (open.purpose.as_str(), club_id, open.planned);
            archive
                .store
                .begin_block(&session.id, purpose, now_utc_ns)?;
        }
        let seat = Seat {
            mode: "student".into(),
            session: Some(session.id.clone()),
            student: Some(student.clone()),
            club,
            since_utc_ns: now_utc_ns,
        };
        let next = seat::Seat::new(Some(session), (context, Some(text)), "recorded");
        Ok((Some(seat), next.calibrated(calibration)))
    }
}

/// Ends the lesson that is left, and enters what changed about the lessons concerned; gives the entry by
/// which it is undone.
fn note_change(
    archive: &mut Archive,
    chair: &Chair,
    was: Option<&Seat>,
    (undoes, now_utc_ns): (Option<i64>, u64),
) -> Result<Option<i64>, ArchiveError> {
    let taken_back = match undoes {
        Some(n) => Some(archive.store.entry(n)?),
        None => None,
    };
    let mut note = |session: &str, mode: &str, club: Option<String>| {
        let about = About::Session(session.to_owned());
        let said = Said::Seat(Seated {
            mode: mode.to_owned(),
            club,
        });
        let own = taken_back.as_ref().filter(|e| e.about == about);
        archive
            .store
            .note((&about, &said), own.map(|e| e.n), now_utc_ns)
    };
    let now = chair.lesson().and_then(|s| s.session.clone().zip(Some(s)));
    let left = was.and_then(|s| s.session.as_deref());
    let left = left.filter(|left| now.as_ref().is_none_or(|(s, _)| s != left));
    let mut entries = Vec::new();
    if let Some(left) = left {
        entries.push(note(left, "nobody", None)?);
    }
    if let Some((session, lesson)) = &now {
        let mode = chair.seat.as_ref().map_or("nobody", |s| &s.mode);
        let club = lesson.club.as_ref().map(|c| c.id.clone());
        entries.push(note(session, mode, club)?);
    }
    if let Some(left) = left {
        archive.store.end_session(left, now_utc_ns)?;
    }
    Ok(entries.pop())
}

fn is(seat: &Seat, student: &str) -> bool {
    seat.student.as_ref().is_some_and(|s| s.id == student)
}

fn seated(student: &str, club: Option<String>) -> NewSeat {
    NewSeat {
        mode: "student".into(),
        student: Some(student.to_owned()),
        club,
    }
}

fn nobody(note: &str) -> seat::Seat {
    seat::Seat::new(None, Default::default(), note)
}
