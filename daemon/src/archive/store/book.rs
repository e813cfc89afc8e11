//! What the coach's side asks of the store: clubs, calibrations, blocks and the shots in them. What is entered
//! by hand is in `entries`.

use protocol::lesson::{Block, Club};
use rusqlite::{OptionalExtension as _, Row, params};

use super::super::ArchiveError;
use super::super::rows::Student;
use super::{Store, date, first, maybe_time, time, unknown};

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
    /// Changes what is told about a student; the identifier says which.
    ///
    /// # Errors
    /// When there is none, or a value makes no sense.
    pub fn tell(&mut self, student: &Student) -> Result<(), ArchiveError> {
        let sql = "UPDATE students SET name = ?2, side = ?3, sex = ?4, height_m = ?5, born = ?6, mass_kg = ?7 WHERE id = ?1";
        let told = params![
            student.id,
            student.name,
            student.side,
            student.sex,
            student.height_m,
            student.born,
            student.mass_kg
        ];
        match self.db.execute(sql, told)? {
            0 => Err(unknown("student", &student.id)),
            _ => Ok(()),
        }
    }

    /// Puts a consent on file; a minor's needs a guardian.
    ///
    /// # Errors
    /// When there is no such student, or no guardian where one is needed.
    pub fn consent(
        &mut self,
        student: &str,
        (scope, guardian): (&str, Option<&str>),
        now_utc_ns: u64,
    ) -> Result<(), ArchiveError> {
        let told = self.student(student)?;
        if guardian.is_none() && super::is_minor(told.born, now_utc_ns) {
            return Err(ArchiveError::NotConsented(format!(
                "born in {}: a guardian consents for a minor",
                told.born
            )));
        }
        let values = params![student, scope, guardian, date(now_utc_ns)];
        let sql = "INSERT OR REPLACE INTO consents VALUES (?1, ?2, ?3, ?4)";
        self.db.execute(sql, values)?;
        Ok(())
    }

    /// Adds a club and gives its identifier; `club.id` is not read.
    ///
    /// # Errors
    /// When there is no such student.
    pub fn add_club(
        &mut self,
        student: &str,
        club: &Club,
        now_utc_ns: u64,
    ) -> Result<String, ArchiveError> {
        self.student(student)?;
        let id: String =
            self.db
                .query_row("SELECT 'c-' || lower(hex(randomblob(5)))", [], first)?;
        self.db.execute(
            "INSERT INTO clubs VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10)",
            params![
                id,
                student,
                club.name,
                club.length_m,
                club.mass_kg,
                club.balance_m,
                club.inertia_kg_m2,
                club.loft_deg,
                club.lie_deg,
                date(now_utc_ns)
            ],
        )?;
        Ok(id)
    }

    /// The clubs of a student, in the order in which they were added.
    ///
    /// # Errors
    /// See [`Store::students`]; so of every verb that only reads.
    pub fn clubs(&self, student: &str) -> Result<Vec<Club>, ArchiveError> {
        let sql = format!("{CLUB} WHERE student = ?1 ORDER BY since_utc_ns, id");
        self.all(&sql, [student], club)
    }

    /// A club with its student.
    ///
    /// # Errors
    /// When there is none.
    pub fn club(&self, id: &str) -> Result<(Club, String), ArchiveError> {
        let sql = format!("{CLUB} WHERE id = ?1");
        let read = |row: &Row<'_>| Ok((club(row)?, row.get(8)?));
        let found = self.db.query_row(&sql, [id], read).optional()?;
        found.ok_or_else(|| unknown("club", id))
    }

    /// Keeps a calibration as the table of a context file.
    ///
    /// # Errors
    /// When there is no such student.
    pub fn calibrate(
        &mut self,
        student: &str,
        text: &str,
        now_utc_ns: u64,
    ) -> Result<(), ArchiveError> {
        let sql = "INSERT INTO calibrations (student, text, since_utc_ns) VALUES (?1, ?2, ?3)";
        self.db
            .execute(sql, params![student, text, date(now_utc_ns)])?;
        Ok(())
    }

    /// The newest calibration of a student.
    ///
    /// # Errors
    /// See [`Store::students`].
    pub fn calibration(&self, student: &str) -> Result<Option<String>, ArchiveError> {
        let sql = "SELECT text FROM calibrations WHERE student = ?1 ORDER BY id DESC LIMIT 1";
        Ok(self.db.query_row(sql, [student], first).optional()?)
    }

    /// Begins a block; the one before of the lesson ends.
    ///
    /// # Errors
    /// When there is no such lesson or club.
    pub fn begin_block(
        &mut self,
        session: &str,
        (purpose, club, planned): (&str, Option<&str>, u32),
        now_utc_ns: u64,
    ) -> Result<i64, ArchiveError> {
        let tx = self.db.transaction()?;
        let now = date(now_utc_ns);
        let end = "UPDATE blocks SET ended_utc_ns = ?2 WHERE session = ?1 AND ended_utc_ns IS NULL";
        tx.execute(end, params![session, now])?;
        tx.execute(
            "INSERT INTO blocks (session, number, purpose, club, began_utc_ns, planned) VALUES
             (?1, (SELECT 1 + coalesce(max(number), 0) FROM blocks WHERE session = ?1), ?2, ?3, ?4, ?5)",
            params![session, purpose, club, now, planned],
        )?;
        let id = tx.last_insert_rowid();
        tx.commit()?;
        Ok(id)
    }

    /// Ends the open block of a lesson, if there is one.
    ///
    /// # Errors
    /// When the store cannot be written.
    pub fn end_block(&mut self, session: &str, now_utc_ns: u64) -> Result<(), ArchiveError> {
        let sql = "UPDATE blocks SET ended_utc_ns = ?2 WHERE session = ?1 AND ended_utc_ns IS NULL";
        self.db.execute(sql, params![session, date(now_utc_ns)])?;
        Ok(())
    }

    /// The blocks of a lesson, oldest first.
    ///
    /// # Errors
    /// See [`Store::students`].
    pub fn blocks(&self, session: &str) -> Result<Vec<Block>, ArchiveError> {
        let sql = format!("{BLOCK} WHERE b.session = ?1 ORDER BY number");
        self.all(&sql, [session], block)
    }

    /// A block by identifier.
    ///
    /// # Errors
    /// When there is none.
    pub fn block(&self, id: i64) -> Result<Block, ArchiveError> {
        let sql = format!("{BLOCK} WHERE b.id = ?1");
        let found = self.db.query_row(&sql, [id], block).optional()?;
        found.ok_or_else(|| unknown("block", &id.to_string()))
    }

    /// The blocks of a club over all lessons, oldest first.
    ///
    /// # Errors
    /// See [`Store::students`].
    pub fn blocks_of_club(&self, club: &str) -> Result<Vec<Block>, ArchiveError> {
        let sql = format!("{BLOCK} WHERE club = ?1 ORDER BY began_utc_ns, b.id");
        self.all(&sql, [club], block)
    }

    /// Swings with the values of their newest result, oldest first.
    ///
    /// # Errors
    /// See [`Store::students`].
    pub fn struck(&self, among: Among<'_>) -> Result<Vec<Struck>, ArchiveError> {
        let (block, session, club, swing) = match among {
            Among::Block(id) => (Some(id), None, None, None),
            Among::Session(id) => (None, Some(id), None, None),
            Among::Club(id) => (None, None, Some(id), None),
            Among::Swing(id) => (None, None, None, Some(id)),
        };
        let sql = "SELECT w.name, w.session, w.kind, w.handed, w.impact_utc_ns, w.block, r.metrics, r.analysis
            FROM swings w JOIN results r ON r.swing = w.id
            WHERE (?1 IS NULL OR w.block = ?1) AND (?2 IS NULL OR w.session = ?2)
              AND (?3 IS NULL OR w.block IN (SELECT id FROM blocks WHERE club = ?3))
              AND (?4 IS NULL OR w.name = ?4)
              AND r.rowid = (SELECT rowid FROM results n WHERE n.swing = w.id
                ORDER BY measured_utc_ns DESC, analysis DESC LIMIT 1)
            ORDER BY w.impact_utc_ns, w.id";
        self.all(sql, params![block, session, club, swing], struck)
    }

    /// Shots of a student with the club in words, oldest first.
    ///
    /// # Errors
    /// See [`Store::students`].
    pub fn struck_with_club(
        &self,
        student: &str,
    ) -> Result<Vec<(Struck, Option<String>)>, ArchiveError> {
        let sql = "SELECT w.name, w.session, w.kind, w.handed, w.impact_utc_ns, w.block, r.metrics, r.analysis, c.name
            FROM swings w JOIN sessions s ON s.id = w.session JOIN results r ON r.swing = w.id
              LEFT JOIN blocks b ON b.id = w.block LEFT JOIN clubs c ON c.id = b.club
            WHERE s.student = ?1 AND w.kind IN ('shot', 'swing')
              AND r.rowid = (SELECT rowid FROM results n WHERE n.swing = w.id
                ORDER BY measured_utc_ns DESC, analysis DESC LIMIT 1)
            ORDER BY w.impact_utc_ns, w.id";
        self.all(sql, [student], |row| Ok((struck(row)?, row.get(8)?)))
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

const CLUB: &str = "SELECT id, name, length_m, mass_kg, balance_m, inertia_kg_m2, loft_deg, lie_deg, student FROM clubs";
const BLOCK: &str = "SELECT b.id, b.session, number, purpose, club, began_utc_ns, ended_utc_ns, planned,
    (SELECT count(*) FROM swings w WHERE w.block = b.id AND kind IN ('shot', 'swing')
       AND NOT EXISTS (SELECT 1 FROM entries e WHERE e.about = 'swing:' || w.name AND e.key = 'excluded'
         AND e.n = (SELECT max(n) FROM entries f WHERE f.about = e.about AND f.key = e.key)
         AND json_extract(e.said, '$.value') IS NOT NULL))
    FROM blocks b";

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
    })
}

fn club(row: &Row<'_>) -> rusqlite::Result<Club> {
    Ok(Club {
        id: row.get(0)?,
        name: row.get(1)?,
        length_m: row.get(2)?,
        mass_kg: row.get(3)?,
        balance_m: row.get(4)?,
        inertia_kg_m2: row.get(5)?,
        loft_deg: row.get(6)?,
        lie_deg: row.get(7)?,
    })
}

fn block(row: &Row<'_>) -> rusqlite::Result<Block> {
    Ok(Block {
        id: row.get(0)?,
        session: row.get(1)?,
        number: row.get(2)?,
        purpose: row.get(3)?,
        club: row.get(4)?,
        began_utc_ns: time(row, 5)?,
        ended_utc_ns: maybe_time(row, 6)?,
        planned: row.get(7)?,
        shots: row.get(8)?,
    })
}
