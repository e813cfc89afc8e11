//! What the coach's side asks of the store: calibrations, and shots with their values. Students and clubs are in
//! `told`, blocks in `blocks`, what is entered by hand in `entries`.

use protocol::lesson::Said;
use rusqlite::{OptionalExtension as _, Row, params};

use super::super::ArchiveError;
use super::entries::Written;
use super::{Store, date, first, time, unknown};

/// A swing as coaching reads it.
#[derive(Debug, Clone)]
pub struct Struck {
    /// Identifier.
    pub id: String,
    /// Its lesson.
    pub session: String,
    /// `shot`, `swing`, …
    pub kind: String,
    /// `right` or `left`.
    pub handed: String,
    /// Impact.
    pub impact_utc_ns: u64,
    /// Its block.
    pub block: Option<i64>,
    /// Packed values of the newest result, and the version that made it.
    pub metrics: Vec<u8>,
    /// Version of the program that measured.
    pub analysis: String,
    /// Row of the calibration that it was measured with, and its number.
    pub calibration: Option<(i64, u32)>,
}

/// A calibration of a student.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Kept {
    /// Its row.
    pub row: i64,
    /// Which of the student's it is, from 1.
    pub number: u32,
    /// When it was made.
    pub since_utc_ns: u64,
    /// Swings measured with it.
    pub swings: u32,
}

/// Which swings coaching asks for.
#[derive(Debug, Clone, Copy)]
pub enum Among<'a> {
    /// Of a block.
    Block(i64),
    /// Of a lesson.
    Session(&'a str),
    /// Of a club.
    Club(&'a str),
    /// The swing of this name.
    Swing(&'a str),
}

impl Store {
    /// Keeps a calibration as the table of a context file, to go from now on; gives its number and entry.
    ///
    /// # Errors
    /// When there is no such student.
    pub fn calibrate(
        &mut self,
        student: &str,
        text: &str,
        now_utc_ns: u64,
    ) -> Result<(u32, i64), ArchiveError> {
        self.student(student)?;
        let tx = self.db.transaction()?;
        let sql = "INSERT INTO calibrations (student, text, since_utc_ns) VALUES (?1, ?2, ?3)";
        tx.execute(sql, params![student, text, date(now_utc_ns)])?;
        let sql = "SELECT count(*) FROM calibrations WHERE student = ?1";
        let number: u32 = tx.query_row(sql, [student], first)?;
        let said = Said::Calibration(Some(number));
        let entry =
            Written::of(student, &format!("student:{student}"), &said)?.write(&tx, now_utc_ns)?;
        tx.commit()?;
        Ok((number, entry))
    }

    /// The calibrations of a student, oldest first.
    ///
    /// # Errors
    /// See [`Store::students`].
    pub fn calibrations(&self, student: &str) -> Result<Vec<Kept>, ArchiveError> {
        let sql =
            "SELECT id, since_utc_ns, (SELECT count(*) FROM swings w WHERE w.calibration = c.id)
            FROM calibrations c WHERE student = ?1 ORDER BY id";
        let mut all = self.all(sql, [student], |row| {
            Ok(Kept {
                row: row.get(0)?,
                number: 0,
                since_utc_ns: time(row, 1)?,
                swings: row.get(2)?,
            })
        })?;
        for (kept, number) in all.iter_mut().zip(1..) {
            kept.number = number;
        }
        Ok(all)
    }

    /// The calibration of a student that goes now, by its row, with its table: the one entered, where
    /// nothing was entered the newest.
    ///
    /// # Errors
    /// See [`Store::students`].
    pub fn calibration(&self, student: &str) -> Result<Option<(i64, String)>, ArchiveError> {
        let entered = "SELECT json_extract(said, '$.value') FROM entries
            WHERE about = 'student:' || ?1 AND key = 'calibration' ORDER BY n DESC LIMIT 1";
        let entered: Option<Option<i64>> =
            self.db.query_row(entered, [student], first).optional()?;
        let read = |row: &Row<'_>| Ok((row.get(0)?, row.get(1)?));
        // Entered by number: the so manieth of the student.
        let place = match entered {
            None => return Ok(self.newest_calibration(student)?),
            Some(None) => return Ok(None),
            Some(Some(number)) => number.max(1) - 1,
        };
        let sql =
            "SELECT id, text FROM calibrations WHERE student = ?1 ORDER BY id LIMIT 1 OFFSET ?2";
        let found = self.db.query_row(sql, params![student, place], read);
        Ok(found.optional()?)
    }

    fn newest_calibration(&self, student: &str) -> rusqlite::Result<Option<(i64, String)>> {
        let sql = "SELECT id, text FROM calibrations WHERE student = ?1 ORDER BY id DESC LIMIT 1";
        let read = |row: &Row<'_>| Ok((row.get(0)?, row.get(1)?));
        self.db.query_row(sql, [student], read).optional()
    }

    /// Measured lengths of a club in the shots of a block, newest first, at most `limit`; and the same of
    /// its shots in other lessons.
    ///
    /// # Errors
    /// See [`Store::students`].
    pub fn club_lengths(
        &self,
        (block, club): (i64, &str),
        limit: u32,
    ) -> Result<[Vec<f64>; 2], ArchiveError> {
        let sql = "SELECT json_extract(r.report, '$.measurement.club_length_m') AS length
            FROM swings w JOIN results r ON r.swing = w.id JOIN blocks b ON b.id = w.block
            WHERE b.club = ?2 AND w.kind IN ('shot', 'swing') AND length IS NOT NULL
              AND CASE ?3 WHEN 0 THEN b.id = ?1
                ELSE b.session <> (SELECT session FROM blocks WHERE id = ?1) END
              AND r.rowid = (SELECT rowid FROM results n WHERE n.swing = w.id
                ORDER BY measured_utc_ns DESC, analysis DESC LIMIT 1)
            ORDER BY w.impact_utc_ns DESC LIMIT ?4";
        let of = |others: i64| self.all(sql, params![block, club, others, limit], first);
        Ok([of(0)?, of(1)?])
    }

    /// Swings with the values of their newest result, oldest first.
    ///
    /// # Errors
    /// See [`Store::students`].
    pub fn struck(&self, among: Among<'_>) -> Result<Vec<Struck>, ArchiveError> {
        // One condition each: with all of them beside each other no index would be used.
        let (of, key): (_, &dyn rusqlite::ToSql) = match &among {
            Among::Block(id) => ("w.block = ?1", id),
            Among::Session(id) => ("w.session = ?1", id),
            Among::Club(id) => ("w.block IN (SELECT id FROM blocks WHERE club = ?1)", id),
            Among::Swing(id) => ("w.name = ?1", id),
        };
        let sql = format!("SELECT w.name, w.session, w.kind, w.handed, w.impact_utc_ns, w.block, r.metrics, r.analysis, {NUMBERED}
            FROM swings w JOIN results r ON r.swing = w.id
            WHERE {of} AND r.rowid = (SELECT rowid FROM results n WHERE n.swing = w.id
                ORDER BY measured_utc_ns DESC, analysis DESC LIMIT 1)
            ORDER BY w.impact_utc_ns, w.id");
        self.all(&sql, [key], struck)
    }

    /// The student of a lesson.
    ///
    /// # Errors
    /// When there is no such lesson.
    pub fn student_of(&self, session: &str) -> Result<String, ArchiveError> {
        let sql = "SELECT student FROM sessions WHERE id = ?1";
        let found = self.db.query_row(sql, [session], first).optional()?;
        found.ok_or_else(|| unknown("session", session))
    }

    /// The lesson of a bay that nobody ended, newest first.
    ///
    /// # Errors
    /// See [`Store::students`].
    pub fn open_session(&self, bay: &str) -> Result<Option<(String, u64)>, ArchiveError> {
        let sql = "SELECT id, max(began_utc_ns, coalesce((SELECT max(impact_utc_ns) FROM swings w WHERE w.session = s.id), 0))
            FROM sessions s WHERE bay = ?1 AND ended_utc_ns IS NULL ORDER BY began_utc_ns DESC LIMIT 1";
        let read = |row: &Row<'_>| Ok((row.get(0)?, time(row, 1)?));
        Ok(self.db.query_row(sql, [bay], read).optional()?)
    }
}

/// The calibration of swing `w` by row and number.
const NUMBERED: &str = "w.calibration, (SELECT count(*) FROM calibrations k, calibrations own
      WHERE own.id = w.calibration AND k.student = own.student AND k.id <= own.id)";
fn struck(row: &Row<'_>) -> rusqlite::Result<Struck> {
    Ok(Struck {
        id: row.get(0)?,
        session: row.get(1)?,
        kind: row.get(2)?,
        handed: row.get(3)?,
        impact_utc_ns: time(row, 4)?,
        block: row.get(5)?,
        metrics: row.get(6)?,
        analysis: row.get(7)?,
        calibration: row.get::<_, Option<i64>>(8)?.zip(row.get(9)?),
    })
}
