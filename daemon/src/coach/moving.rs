//! Shots moved to another student, club or block, and back. How a window is copied and measured again is
//! `archive::moving`'s matter.

use protocol::lesson::{About, Ask, Entry, Move, Moved, Said};

use super::{Coach, told};
use crate::archive::rows::{Outcome, Session, Swing, Take, Which};
use crate::archive::{Archive, ArchiveError, moving};

/// A lesson that began this near to the shot is of the same day, nanoseconds.
const SAME_DAY_NS: u64 = 12 * 3_600_000_000_000;

impl Coach {
    /// Moves a shot.
    ///
    /// # Errors
    /// When student, club or block do not go together with it or may not have it, in words.
    pub fn move_swing(&self, id: &str, asked: &Move) -> Result<Moved, ArchiveError> {
        let mut moved = Moved {
            session: String::new(),
            block: None,
            entries: Vec::new(),
            words: Vec::new(),
        };
        let (swing, owner) = {
            let archive = self.archive();
            let swing = archive.store.swing(id)?;
            let owner = archive.store.student_of(&swing.session)?;
            (swing, owner)
        };
        if let Some(student) = asked.student.as_deref().filter(|s| *s != owner) {
            self.to_student(&swing, student, &mut moved)?;
        }
        let block = match (asked.block, &asked.club) {
            (Some(block), _) => Some(block),
            (None, Some(club)) => Some(self.with_club((&swing, id), club, &mut moved)?),
            (None, None) => None,
        };
        if let Some(block) = block {
            let ask = Ask {
                about: About::Swing(id.to_owned()),
                said: Said::Block(block),
                who: None,
            };
            moved.entries.push(self.enter(&ask)?.n);
        }
        // The last one first.
        moved.entries.reverse();
        let swing = self.archive().store.swing(id)?;
        (moved.session, moved.block) = (swing.session, swing.block);
        self.ring();
        Ok(moved)
    }

    fn to_student(
        &self,
        swing: &Swing,
        student: &str,
        moved: &mut Moved,
    ) -> Result<(), ArchiveError> {
        let now_utc_ns = self.utc_ns();
        let (from, recordings, session, calibration, text) = {
            let mut archive = self.archive();
            archive
                .store
                .require_consent(student, "lesson", now_utc_ns)?;
            let told = archive.store.student(student)?;
            let session = self.lesson_of(&mut archive, swing, student, now_utc_ns)?;
            let (calibration, table) = archive.store.calibration(student)?.unzip();
            let text = told::text(&told, None, table.as_deref());
            let from = recording(&archive, swing)?;
            (from, archive.recording(""), session, calibration, text)
        };
        let told = (Some(text.as_str()), now_utc_ns);
        let copied = moving::copy(&from, (&recordings, &session), swing, told)
            .map_err(|why| ArchiveError::Damaged(format!("{}: {why:#}", swing.id)))?;
        let mut archive = self.archive();
        let row = archive.store.add_recording(&session, &copied.file)?;
        archive.store.end_recording(row, 0, now_utc_ns)?;
        let known = copied.outcome.is_some();
        let calibration = if known {
            calibration
        } else {
            swing.calibration
        };
        let to = (session.as_str(), row, calibration);
        let entry = archive.store.move_swing(swing, to, now_utc_ns)?;
        put(&mut archive, (&session, &swing.id), copied.outcome)?;
        moved.entries.push(entry);
        moved.words.push(if known {
            "The shot is the other student's now and was measured again with what is told of them.".into()
        } else {
            "The shot is the other student's now; it was not found again with what is told of them, so its values stay as they were.".into()
        });
        Ok(())
    }

    /// The lesson of a student that a shot goes to.
    fn lesson_of(
        &self,
        archive: &mut Archive,
        swing: &Swing,
        student: &str,
        now_utc_ns: u64,
    ) -> Result<String, ArchiveError> {
        let at = swing.impact_utc_ns;
        let apart = |s: &Session| s.began_utc_ns.abs_diff(at);
        let all = archive.store.sessions(Which::Student(student))?;
        let near = all.into_iter().filter(|s| apart(s) < SAME_DAY_NS);
        if let Some(near) = near.min_by_key(apart) {
            return Ok(near.id);
        }
        let session = Session {
            id: format!("{}-{}-moved", self.meta.bay, at / 1_000_000),
            student: student.to_owned(),
            bay: self.meta.bay.clone(),
            zone: self.meta.zone.clone(),
            program: self.meta.program.clone(),
            began_utc_ns: at,
            ended_utc_ns: None,
        };
        archive.store.begin_session(&session)?;
        archive
            .store
            .end_session(&session.id, at.saturating_add(1).min(now_utc_ns))?;
        Ok(session.id)
    }

    /// The block of the shot's lesson with a club; made where there is none.
    fn with_club(
        &self,
        (was, id): (&Swing, &str),
        club: &str,
        moved: &mut Moved,
    ) -> Result<i64, ArchiveError> {
        let mut archive = self.archive();
        let store = &mut archive.store;
        let swing = store.swing(id)?;
        let (club, owner) = store.club(club)?;
        if owner != store.student_of(&swing.session)? {
            return Err(ArchiveError::Unfitting(format!(
                "club {} is not that student's",
                club.id
            )));
        }
        let purpose = match was.block {
            Some(block) => store.block(block)?.purpose,
            None => "practice".to_owned(),
        };
        let blocks = store.blocks(&swing.session)?;
        let of_club = |b: &&protocol::lesson::Block| b.club.as_ref() == Some(&club.id);
        let fits = blocks
            .iter()
            .rev()
            .find(|b| of_club(b) && b.purpose == purpose);
        if let Some(fits) = fits.or_else(|| blocks.iter().rev().find(of_club)) {
            return Ok(fits.id);
        }
        let told = (purpose.as_str(), Some(club.id.as_str()), super::PLANNED);
        let at = (swing.impact_utc_ns, self.utc_ns());
        let (block, entry) = store.block_aside(&swing.session, told, at)?;
        moved.entries.push(entry);
        moved.words.push(format!(
            "A {purpose} block with {} was made for it.",
            club.name
        ));
        Ok(block)
    }

    /// Moves a shot back to the lesson it was recorded in.
    pub(super) fn move_back(&self, entry: &Entry) -> Result<Entry, ArchiveError> {
        let About::Swing(id) = &entry.about else {
            return Err(ArchiveError::Damaged(format!("entry {}", entry.n)));
        };
        let now_utc_ns = self.utc_ns();
        let (swing, from, original) = {
            let archive = self.archive();
            let swing = archive.store.swing(id)?;
            let origin = archive.store.origin(id)?;
            let from = recording(&archive, &swing)?;
            (swing, from, archive.recording(&origin.file))
        };
        let damaged = |why: anyhow::Error| ArchiveError::Damaged(format!("{id}: {why:#}"));
        let meta = crate::recording::read(&original).map_err(|why| damaged(why.into()))?;
        let context = meta.meta().context.clone();
        let outcome =
            moving::measure(&from, &swing, (context.as_deref(), now_utc_ns)).map_err(damaged)?;
        let mut archive = self.archive();
        let made = archive.store.move_back(&swing, entry.n, now_utc_ns)?;
        let back = archive.store.swing(id)?;
        put(&mut archive, (&back.session, id), outcome)?;
        if archive
            .store
            .drop_recording(swing.place.recording)?
            .is_some()
        {
            std::fs::remove_file(&from).map_err(|why| ArchiveError::Folder { path: from, why })?;
        }
        archive.store.entry(made)
    }
}

/// Where the recording of a swing lies.
fn recording(archive: &Archive, swing: &Swing) -> Result<std::path::PathBuf, ArchiveError> {
    let rows = archive.store.recordings(Which::Session(&swing.session))?;
    let own = rows.into_iter().find(|r| r.id == swing.place.recording);
    let own = own.ok_or_else(|| ArchiveError::Damaged(format!("the recording of {}", swing.id)))?;
    Ok(archive.recording(&own.file))
}

fn put(
    archive: &mut Archive,
    named: (&str, &str),
    outcome: Option<(Outcome, Option<Take>)>,
) -> Result<(), ArchiveError> {
    if let Some((outcome, drawn)) = outcome {
        archive.store.put_result(named, &outcome)?;
        if let Some(drawn) = drawn {
            archive.store.put_take(named, &drawn)?;
        }
    }
    Ok(())
}
