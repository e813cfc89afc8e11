//! Shots that belong to another student than the one under whose name they were recorded. Where the original
//! lies is kept, so that it can be moved back, and be cut out when its owner is erased.

use protocol::lesson::Said;
use rusqlite::{OptionalExtension as _, params};

use super::super::ArchiveError;
use super::super::rows::Swing;
use super::entries::Written;
use super::{Store, blocks, date, first, time};

/// Where the original of a moved shot lies.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Origin {
    /// Its row.
    pub row: i64,
    /// The lesson under which it was recorded.
    pub session: String,
    /// Row of the recording.
    pub recording: i64,
    /// Its file.
    pub file: String,
    /// Row of the calibration that it was measured with.
    pub calibration: Option<i64>,
    /// Whether that recording has ended.
    pub ended: bool,
    /// First arrival of the window, nanoseconds of the recording's clock.
    pub from_ns: u64,
    /// Last one.
    pub to_ns: u64,
}

impl Store {
    /// Moves a swing to a lesson of another student, into a recording of that lesson; gives the entry.
    /// What was entered about it goes along.
    ///
    /// # Errors
    /// When that lesson has a swing of this name already.
    pub fn move_swing(
        &mut self,
        swing: &Swing,
        (session, recording, calibration): (&str, i64, Option<i64>),
        now_utc_ns: u64,
    ) -> Result<i64, ArchiveError> {
        let student = self.student_of(session)?;
        let about = format!("swing:{}", swing.id);
        let tx = self.db.transaction()?;
        tx.execute(
            "INSERT INTO moved (swing, student, session, recording, calibration, from_ns, to_ns)
             VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)",
            params![
                swing.id,
                student,
                swing.session,
                swing.place.recording,
                swing.calibration,
                date(swing.place.from_ns),
                date(swing.place.to_ns)
            ],
        )?;
        tx.execute(
            "UPDATE swings SET session = ?2, recording = ?3, block = NULL, calibration = ?4 WHERE id = ?1",
            params![swing.row, session, recording, calibration],
        )?;
        // Also of where it was before it was moved once already.
        let owned = "UPDATE moved SET student = ?2 WHERE swing = ?1";
        tx.execute(owned, params![swing.id, student])?;
        let entered = "UPDATE entries SET student = ?2 WHERE about = ?1";
        tx.execute(entered, params![about, student])?;
        let said = Said::Moved(session.to_owned());
        let entry = Written::of(&student, &about, &said)?.write(&tx, now_utc_ns)?;
        blocks::settle(&tx, session)?;
        tx.commit()?;
        Ok(entry)
    }

    /// Moves a swing back to where it was recorded; gives the entry.
    ///
    /// # Errors
    /// When it was not moved, or what it was moved from is gone.
    pub fn move_back(
        &mut self,
        swing: &Swing,
        undoes: i64,
        now_utc_ns: u64,
    ) -> Result<i64, ArchiveError> {
        let origin = self.origin(&swing.id)?;
        let student = self.student_of(&origin.session)?;
        let about = format!("swing:{}", swing.id);
        let tx = self.db.transaction()?;
        tx.execute("DELETE FROM moved WHERE rowid = ?1", [origin.row])?;
        tx.execute(
            "UPDATE swings SET session = ?2, recording = ?3, block = NULL, calibration = ?4 WHERE id = ?1",
            params![swing.row, origin.session, origin.recording, origin.calibration],
        )?;
        let owned = "UPDATE moved SET student = ?2 WHERE swing = ?1";
        tx.execute(owned, params![swing.id, student])?;
        let entered = "UPDATE entries SET student = ?2 WHERE about = ?1";
        tx.execute(entered, params![about, student])?;
        let entry = Written {
            undoes: Some(undoes),
            ..Written::of(&student, &about, &Said::Moved(origin.session.clone()))?
        };
        let entry = entry.write(&tx, now_utc_ns)?;
        blocks::settle(&tx, &origin.session)?;
        tx.commit()?;
        Ok(entry)
    }

    /// Where the originals of a student's moved shots lie.
    ///
    /// # Errors
    /// See [`Store::students`].
    pub fn origins(&self, student: &str) -> Result<Vec<Origin>, ArchiveError> {
        self.origins_of(None, Some(student))
    }

    /// Where the original of a moved shot lies.
    ///
    /// # Errors
    /// When it was not moved, or what it was moved from is gone.
    pub fn origin(&self, swing: &str) -> Result<Origin, ArchiveError> {
        let found = self.origins_of(Some(swing), None)?.pop();
        found.ok_or_else(|| {
            ArchiveError::Unfitting(format!(
                "{swing} cannot be moved back: the lesson it was recorded in is not there any more"
            ))
        })
    }

    fn origins_of(
        &self,
        swing: Option<&str>,
        student: Option<&str>,
    ) -> Result<Vec<Origin>, ArchiveError> {
        let sql = "SELECT m.rowid, m.session, m.recording, r.file, r.ended_utc_ns IS NOT NULL, m.from_ns, m.to_ns, m.calibration
            FROM moved m JOIN recordings r ON r.id = m.recording
            WHERE (?1 IS NULL OR m.swing = ?1) AND (?2 IS NULL OR m.student = ?2) ORDER BY m.rowid";
        self.all(sql, params![swing, student], |row| {
            Ok(Origin {
                row: row.get(0)?,
                session: row.get(1)?,
                recording: row.get(2)?,
                file: row.get(3)?,
                ended: row.get(4)?,
                from_ns: time(row, 5)?,
                to_ns: time(row, 6)?,
                calibration: row.get(7)?,
            })
        })
    }

    /// Takes a recording's row away that has no swing any more, and gives its file's name.
    ///
    /// # Errors
    /// When the store cannot be written.
    pub fn drop_recording(&mut self, row: i64) -> Result<Option<String>, ArchiveError> {
        let sql = "DELETE FROM recordings WHERE id = ?1
            AND NOT EXISTS (SELECT 1 FROM swings WHERE recording = ?1) RETURNING file";
        Ok(self.db.query_row(sql, [row], first).optional()?)
    }

    /// A swing by its name.
    ///
    /// # Errors
    /// When there is none.
    pub fn swing(&self, id: &str) -> Result<Swing, ArchiveError> {
        let found = self.swings_named(id)?.pop();
        found.ok_or_else(|| super::unknown("swing", id))
    }
}
