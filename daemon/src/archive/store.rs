//! What is asked of the store: one struct of verbs, behind which another database could stand. No
//! SQL outside it and `schema`.
//!
//! Every verb that writes is one transaction and is on the disk when it returns (`synchronous =
//! FULL` with a write-ahead log).

use std::path::Path;
use std::time::Duration;

use rusqlite::{Connection, Row, TransactionBehavior, params};

pub use self::book::{Among, Kept as KeptCalibration, Struck};
pub use self::medians::{Golfer, Medians, Played};
pub use self::moved::Origin;
pub use self::shelf::{Find, Found, Place as PageEnd};
use super::rows::{Recording, Session, Student, Which};
use super::{ArchiveError, date, schema};

/// How long a verb waits for another program's transaction.
const BUSY: Duration = Duration::from_secs(10);
/// Years below which a guardian consents.
const OF_AGE: i64 = 18;

/// The tables of an archive.
#[derive(Debug)]
pub struct Store {
    db: Connection,
}

impl Store {
    /// Opens the store at `path`, which is made or brought to today's version as needed.
    ///
    /// # Errors
    /// When the file is no store, cannot be written, or is newer than this program.
    pub fn open(path: &Path) -> Result<Self, ArchiveError> {
        let mut db = Connection::open(path)?;
        db.busy_timeout(BUSY)?;
        // One that reads first and then writes would be refused at once while another writes: it waits to begin.
        db.set_transaction_behavior(TransactionBehavior::Immediate);
        db.pragma_update(None, "journal_mode", "WAL")?;
        db.pragma_update(None, "synchronous", "FULL")?;
        db.pragma_update(None, "foreign_keys", true)?;
        db.pragma_update(None, "secure_delete", true)?;
        if let Some(copy) = schema::migrate(&mut db, path)? {
            tracing::info!(
                "the archive's store was taken to version {}; the former one is kept as {}",
                schema::VERSION,
                copy.display()
            );
        }
        Ok(Self { db })
    }

    /// Enrolls a student with what was consented to, and gives the pseudonym; `student.id` is not
    /// read. A minor's consents need a guardian.
    ///
    /// # Errors
    /// When a minor has no guardian, or a value makes no sense.
    pub fn enroll(
        &mut self,
        student: &Student,
        (scopes, guardian): (&[&str], Option<&str>),
        now_utc_ns: u64,
    ) -> Result<String, ArchiveError> {
        if guardian.is_none() && !scopes.is_empty() && is_minor(student.born, now_utc_ns) {
            return Err(ArchiveError::NotConsented(format!(
                "born in {}: a guardian consents for a minor",
                student.born
            )));
        }
        let tx = self.db.transaction()?;
        let id: String = tx.query_row("SELECT 's-' || lower(hex(randomblob(5)))", [], first)?;
        let student = Student {
            id: id.clone(),
            ..student.clone()
        };
        told::enter_student(&tx, &student, now_utc_ns)?;
        for scope in scopes {
            agree::give(&tx, (&id, scope), guardian, now_utc_ns)?;
        }
        tx.commit()?;
        Ok(id)
    }

    /// Begins a session.
    ///
    /// # Errors
    /// When there is one of this name, or no such student.
    pub fn begin_session(&mut self, session: &Session) -> Result<(), ArchiveError> {
        self.db.execute(
            "INSERT INTO sessions VALUES (?1, ?2, ?3, ?4, ?5, ?6, NULL)",
            params![
                session.id,
                session.student,
                session.bay,
                session.zone,
                session.program,
                date(session.began_utc_ns)
            ],
        )?;
        Ok(())
    }

    /// Ends a session, and with it the block that runs.
    ///
    /// # Errors
    /// When the store cannot be written.
    pub fn end_session(&mut self, id: &str, now_utc_ns: u64) -> Result<(), ArchiveError> {
        self.set_end(id, Some(now_utc_ns))
    }

    /// Takes a session's end back: it goes on.
    ///
    /// # Errors
    /// When the store cannot be written.
    pub fn reopen_session(&mut self, id: &str) -> Result<(), ArchiveError> {
        self.set_end(id, None)
    }

    fn set_end(&mut self, id: &str, utc_ns: Option<u64>) -> Result<(), ArchiveError> {
        let tx = self.db.transaction()?;
        let sql = "UPDATE sessions SET ended_utc_ns = ?2 WHERE id = ?1";
        tx.execute(sql, params![id, utc_ns.map(date)])?;
        blocks::settle(&tx, id)?;
        Ok(tx.commit()?)
    }

    /// Adds a recording to a session and gives its row.
    ///
    /// # Errors
    /// When there is one of this name, or no such session.
    pub fn add_recording(&mut self, session: &str, file: &str) -> Result<i64, ArchiveError> {
        let sql = "INSERT INTO recordings (session, file) VALUES (?1, ?2)";
        self.db.execute(sql, [session, file])?;
        Ok(self.db.last_insert_rowid())
    }

    /// Ends a recording.
    ///
    /// # Errors
    /// When the store cannot be written.
    pub fn end_recording(&mut self, id: i64, lost: u64, utc_ns: u64) -> Result<(), ArchiveError> {
        let sql = "UPDATE recordings SET lost = ?2, ended_utc_ns = ?3 WHERE id = ?1";
        self.db
            .execute(sql, params![id, date(lost), date(utc_ns)])?;
        Ok(())
    }

    /// Sessions, oldest first.
    ///
    /// # Errors
    /// See [`Store::students`].
    pub fn sessions(&self, which: Which<'_>) -> Result<Vec<Session>, ArchiveError> {
        let sql = "SELECT id, student, bay, zone, program, began_utc_ns, ended_utc_ns FROM sessions
            WHERE (?1 IS NULL OR student = ?1) AND (?2 IS NULL OR id = ?2) ORDER BY began_utc_ns, id";
        self.all(sql, which.params(), |row| {
            Ok(Session {
                id: row.get(0)?,
                student: row.get(1)?,
                bay: row.get(2)?,
                zone: row.get(3)?,
                program: row.get(4)?,
                began_utc_ns: time(row, 5)?,
                ended_utc_ns: maybe_time(row, 6)?,
            })
        })
    }

    /// Recordings of sessions, in the order of their beginning.
    ///
    /// # Errors
    /// See [`Store::students`].
    pub fn recordings(&self, which: Which<'_>) -> Result<Vec<Recording>, ArchiveError> {
        let sql = "SELECT r.id, session, file, lost, r.ended_utc_ns
            FROM recordings r JOIN sessions s ON s.id = session
            WHERE (?1 IS NULL OR student = ?1) AND (?2 IS NULL OR session = ?2) ORDER BY r.id";
        self.all(sql, which.params(), |row| {
            Ok(Recording {
                id: row.get(0)?,
                session: row.get(1)?,
                file: row.get(2)?,
                lost: time(row, 3)?,
                ended_utc_ns: maybe_time(row, 4)?,
            })
        })
    }

    /// What SQLite finds wrong with its pages and references; empty when all is well.
    ///
    /// # Errors
    /// See [`Store::students`].
    pub fn damage(&self) -> Result<Vec<String>, ArchiveError> {
        let pages: Vec<String> = self.all("PRAGMA integrity_check", [], first)?;
        let mut found: Vec<String> = pages.into_iter().filter(|said| said != "ok").collect();
        found.extend(self.all("PRAGMA foreign_key_check", [], |row| {
            let (table, row): (String, Option<i64>) = (row.get(0)?, row.get(1)?);
            let row = row.unwrap_or_default();
            Ok(format!("row {row} of {table} refers to nothing"))
        })?);
        Ok(found)
    }

    /// Erases a student with consents, sessions, recordings' rows, swings and results, and leaves no
    /// byte of them in the store's files.
    ///
    /// # Errors
    /// When there is no such student, or another program holds the store.
    pub fn erase(&mut self, student: &str) -> Result<(), ArchiveError> {
        let gone = self
            .db
            .execute("DELETE FROM students WHERE id = ?1", [student])?;
        if gone == 0 {
            return Err(unknown("student", student));
        }
        self.db
            .execute_batch("VACUUM; PRAGMA wal_checkpoint(TRUNCATE);")?;
        Ok(())
    }

    /// A consistent copy, whoever writes meanwhile.
    ///
    /// # Errors
    /// When it cannot be written.
    pub fn copy_to(&self, path: &Path) -> Result<(), ArchiveError> {
        copy(&self.db, path)
    }

    fn all<T>(
        &self,
        sql: &str,
        params: impl rusqlite::Params,
        read: impl FnMut(&Row<'_>) -> rusqlite::Result<T>,
    ) -> Result<Vec<T>, ArchiveError> {
        let mut statement = self.db.prepare(sql)?;
        let rows = statement.query_map(params, read)?;
        Ok(rows.collect::<rusqlite::Result<_>>()?)
    }
}

impl Which<'_> {
    /// Student and session as the verbs' two parameters.
    fn params(&self) -> [Option<&str>; 2] {
        match *self {
            Self::All => [None, None],
            Self::Student(id) => [Some(id), None],
            Self::Session(id) => [None, Some(id)],
        }
    }
}

/// A copy of a database, whole before it bears its name.
pub(super) fn copy(db: &Connection, to: &Path) -> Result<(), ArchiveError> {
    let part = to.with_extension("part");
    let failed = |why| ArchiveError::Folder {
        path: to.to_owned(),
        why,
    };
    if part.exists() {
        std::fs::remove_file(&part).map_err(failed)?;
    }
    db.execute("VACUUM INTO ?1", [part.to_string_lossy()])?;
    std::fs::rename(&part, to).map_err(failed)
}

/// Only the year of birth is known: who turns 18 this year may still be 17.
pub(crate) fn is_minor(born: i64, now_utc_ns: u64) -> bool {
    date::year(now_utc_ns) - born <= OF_AGE
}

fn unknown(what: &'static str, name: &str) -> ArchiveError {
    ArchiveError::Unknown {
        what,
        name: name.to_owned(),
    }
}

fn first<T: rusqlite::types::FromSql>(row: &Row<'_>) -> rusqlite::Result<T> {
    row.get(0)
}

/// SQLite's integers have a sign: the year 2262 is the cap.
fn date(ns: u64) -> i64 {
    i64::try_from(ns).unwrap_or(i64::MAX)
}

fn time(row: &Row<'_>, at: usize) -> rusqlite::Result<u64> {
    Ok(row.get::<_, i64>(at)?.max(0).cast_unsigned())
}

fn maybe_time(row: &Row<'_>, at: usize) -> rusqlite::Result<Option<u64>> {
    let found: Option<i64> = row.get(at)?;
    Ok(found.map(|ns| ns.max(0).cast_unsigned()))
}

mod agree;
mod blocks;
mod book;
mod entries;
mod medians;
mod moved;
mod shelf;
mod swings;
#[cfg(test)]
mod tests;
mod told;
