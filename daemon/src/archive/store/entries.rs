//! What is entered by hand. An entry is never changed: the newest of its key holds, and taking one back is an
//! entry.

use std::collections::BTreeMap;

use protocol::lesson::{About, Ask, Entry, Said};
use rusqlite::{OptionalExtension as _, Row, Transaction, params};

use super::super::ArchiveError;
use super::blocks::{self, IN_BLOCK};
use super::{Store, date, first, time, told, unknown};

const ENTRY: &str = "SELECT n, at_utc_ns, who, student, about, key, said, undoes FROM entries";

impl Store {
    /// Makes an entry.
    ///
    /// # Errors
    /// When there is nothing of that name, or it cannot be said of it.
    pub fn enter(&mut self, ask: &Ask, now_utc_ns: u64) -> Result<Entry, ArchiveError> {
        if !ask.said.fits(&ask.about) {
            return Err(ArchiveError::Unfitting(format!(
                "`{}` is not said of a {}",
                ask.said.key(),
                kind(&ask.about)
            )));
        }
        let (student, about) = self.owner(&ask.about)?;
        let said =
            serde_json::to_string(&ask.said).map_err(|e| ArchiveError::Damaged(e.to_string()))?;
        let row = Written {
            who: ask.who.as_deref().unwrap_or("coach"),
            student: &student,
            about: &about,
            key: ask.said.key(),
            said: Some(said),
            undoes: None,
        };
        let tx = self.db.transaction()?;
        let n = row.write(&tx, now_utc_ns)?;
        apply(&tx, &row, Some(&ask.said), now_utc_ns)?;
        tx.commit()?;
        self.entry(n)
    }

    /// Enters what a verb did, which is done already.
    ///
    /// # Errors
    /// When there is nothing of that name.
    pub fn note(
        &mut self,
        (about, said): (&About, &Said),
        undoes: Option<i64>,
        now_utc_ns: u64,
    ) -> Result<i64, ArchiveError> {
        let (student, about) = self.owner(about)?;
        let row = Written {
            undoes,
            ..Written::of(&student, &about, said)?
        };
        let tx = self.db.transaction()?;
        let n = row.write(&tx, now_utc_ns)?;
        tx.commit()?;
        Ok(n)
    }

    /// Takes an entry back: what held before holds again.
    ///
    /// # Errors
    /// When there is no such entry, or another of its key came after it and was not taken back.
    pub fn undo(&mut self, n: i64, who: &str, now_utc_ns: u64) -> Result<Entry, ArchiveError> {
        let entry = self.entry(n)?;
        let about = written(&entry.about);
        let tx = self.db.transaction()?;
        let (newest, holds) = standing(&tx, (&about, &entry.key))?;
        if newest != n && holds != Some(n) {
            let first = holds.unwrap_or(newest);
            return Err(ArchiveError::Unfitting(format!(
                "entry {n} is not what holds of its kind, entry {first} is: undo that one first"
            )));
        }
        let before: Option<Option<String>> = tx
            .query_row(
                "SELECT said FROM entries WHERE about = ?1 AND key = ?2 AND n < ?3 ORDER BY n DESC LIMIT 1",
                params![about, entry.key, n],
                first,
            )
            .optional()?;
        let before = before.flatten();
        let row = Written {
            who,
            student: &entry.student,
            about: &about,
            key: entry.key.clone(),
            said: before.clone(),
            undoes: Some(n),
        };
        let made = row.write(&tx, now_utc_ns)?;
        let said = before.map(|text| read_said(&text)).transpose()?;
        apply(&tx, &row, said.as_ref(), now_utc_ns)?;
        tx.commit()?;
        self.entry(made)
    }

    /// An entry by its number.
    ///
    /// # Errors
    /// When there is none.
    pub fn entry(&self, n: i64) -> Result<Entry, ArchiveError> {
        let sql = format!("{ENTRY} WHERE n = ?1");
        let found = self.db.query_row(&sql, [n], raw_entry).optional()?;
        found
            .ok_or_else(|| unknown("entry", &n.to_string()))?
            .read()
    }

    /// Entries of a student before number `before`, newest first.
    ///
    /// # Errors
    /// See [`Store::students`].
    pub fn entries(
        &self,
        student: &str,
        (before, limit): (i64, u32),
    ) -> Result<Vec<Entry>, ArchiveError> {
        let sql = format!("{ENTRY} WHERE student = ?1 AND n < ?2 ORDER BY n DESC LIMIT ?3");
        let found = self.all(&sql, params![student, before, limit], raw_entry)?;
        found.into_iter().map(Raw::read).collect()
    }

    /// What holds now of everything that was entered for a student, oldest entry first.
    ///
    /// # Errors
    /// See [`Store::students`].
    pub fn holds(&self, student: &str) -> Result<Vec<Entry>, ArchiveError> {
        let sql = format!(
            "{ENTRY} WHERE student = ?1 AND n IN
               (SELECT max(n) FROM entries WHERE student = ?1 GROUP BY about, key) ORDER BY n"
        );
        let found = self.all(&sql, [student], raw_entry)?;
        found.into_iter().map(Raw::read).collect()
    }

    /// Whose it is, and how it is written.
    fn owner(&self, about: &About) -> Result<(String, String), ArchiveError> {
        let student = match about {
            About::Student(id) => self.student(id)?.id,
            About::Club(id) => self.club(id)?.1,
            About::Session(id) => self.student_of(id)?,
            // Also of one that was taken back: it can come again.
            About::Block(id) => self.student_of(&self.session_of_block(*id)?)?,
            About::Swing(id) => {
                let sql = "SELECT s.student FROM swings w JOIN sessions s ON s.id = w.session
                    WHERE w.name = ?1 ORDER BY w.id DESC LIMIT 1";
                let found: Option<String> = self.db.query_row(sql, [id], first).optional()?;
                found.ok_or_else(|| unknown("swing", id))?
            }
        };
        Ok((student, written(about)))
    }
}

/// The newest entry of a key, and the one that holds: what was entered and not taken back since. An undoing
/// that is itself undone brings back what it took.
fn standing(
    tx: &Transaction<'_>,
    (about, key): (&str, &str),
) -> rusqlite::Result<(i64, Option<i64>)> {
    let sql = "SELECT n, undoes FROM entries WHERE about = ?1 AND key = ?2 ORDER BY n";
    let mut statement = tx.prepare(sql)?;
    let rows = statement.query_map([about, key], |row| Ok((row.get(0)?, row.get(1)?)))?;
    let (mut newest, mut stack) = (0, Vec::new());
    // What an undoing took, and what one of an undoing brought back.
    let (mut taken, mut brought) = (BTreeMap::new(), BTreeMap::new());
    for row in rows {
        let (n, undoes): (i64, Option<i64>) = row?;
        newest = n;
        match undoes {
            None => stack.push(n),
            Some(of) => match taken.remove(&of) {
                Some(back) => {
                    stack.push(back);
                    brought.insert(n, back);
                }
                None => {
                    let gone = brought.remove(&of).unwrap_or(of);
                    stack.retain(|held| *held != gone);
                    taken.insert(n, gone);
                }
            },
        }
    }
    Ok((newest, stack.pop()))
}

/// What an entry changes beside itself: what is told of students and clubs, blocks and which shots are in them
/// are columns, so that they can be asked for.
fn apply(
    tx: &Transaction<'_>,
    row: &Written<'_>,
    said: Option<&Said>,
    now_utc_ns: u64,
) -> Result<(), ArchiveError> {
    match (row.about.split_once(':'), row.key.as_str()) {
        (Some(("swing", swing)), "block") => {
            let sql = format!("UPDATE swings SET block = {IN_BLOCK} WHERE name = ?1");
            tx.execute(&sql, [swing])?;
            Ok(())
        }
        (Some(("student", _)), "student") => told::put_student(tx, said, now_utc_ns),
        (Some(("club", id)), "club") => told::put_club(tx, (row.student, id), said, now_utc_ns),
        (Some(("block", id)), key) => match id.parse() {
            Ok(id) => Ok(blocks::apply(tx, id, key, said)?),
            Err(_odd) => Ok(()),
        },
        _ => Ok(()),
    }
}

/// An entry to be written.
pub(super) struct Written<'a> {
    pub(super) who: &'a str,
    pub(super) student: &'a str,
    pub(super) about: &'a str,
    pub(super) key: String,
    pub(super) said: Option<String>,
    pub(super) undoes: Option<i64>,
}

impl<'a> Written<'a> {
    /// What a verb of the coach enters beside what it does.
    pub(super) fn of(student: &'a str, about: &'a str, said: &Said) -> Result<Self, ArchiveError> {
        let text = serde_json::to_string(said).map_err(|e| ArchiveError::Damaged(e.to_string()))?;
        Ok(Self {
            who: "coach",
            student,
            about,
            key: said.key(),
            said: Some(text),
            undoes: None,
        })
    }

    pub(super) fn write(&self, tx: &Transaction<'_>, now_utc_ns: u64) -> rusqlite::Result<i64> {
        tx.execute(
            "INSERT INTO entries (at_utc_ns, who, student, about, key, said, undoes)
             VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)",
            params![
                date(now_utc_ns),
                self.who,
                self.student,
                self.about,
                self.key,
                self.said,
                self.undoes
            ],
        )?;
        Ok(tx.last_insert_rowid())
    }
}

/// An entry as it lies in its row.
struct Raw {
    entry: (i64, u64, String, String, Option<i64>),
    about: String,
    key: String,
    said: Option<String>,
}

fn raw_entry(row: &Row<'_>) -> rusqlite::Result<Raw> {
    Ok(Raw {
        entry: (
            row.get(0)?,
            time(row, 1)?,
            row.get(2)?,
            row.get(3)?,
            row.get(7)?,
        ),
        about: row.get(4)?,
        key: row.get(5)?,
        said: row.get(6)?,
    })
}

impl Raw {
    fn read(self) -> Result<Entry, ArchiveError> {
        let damaged = || ArchiveError::Damaged(format!("entry {}", self.entry.0));
        let (kind, name) = self.about.split_once(':').ok_or_else(damaged)?;
        let about = match kind {
            "student" => About::Student(name.into()),
            "club" => About::Club(name.into()),
            "session" => About::Session(name.into()),
            "block" => About::Block(name.parse().map_err(|_e| damaged())?),
            "swing" => About::Swing(name.into()),
            _ => return Err(damaged()),
        };
        let said = self.said.as_deref().map(read_said).transpose()?;
        let (n, at_utc_ns, who, student, undoes) = self.entry;
        Ok(Entry {
            n,
            at_utc_ns,
            who,
            student,
            about,
            key: self.key,
            said,
            undoes,
        })
    }
}

fn read_said(text: &str) -> Result<Said, ArchiveError> {
    serde_json::from_str(text).map_err(|e| ArchiveError::Damaged(format!("an entry ({e})")))
}

/// How it is written in a row.
fn written(about: &About) -> String {
    let kind = kind(about);
    match about {
        About::Student(id) | About::Club(id) | About::Session(id) | About::Swing(id) => {
            format!("{kind}:{id}")
        }
        About::Block(id) => format!("{kind}:{id}"),
    }
}

fn kind(about: &About) -> &'static str {
    match about {
        About::Student(_) => "student",
        About::Club(_) => "club",
        About::Session(_) => "session",
        About::Block(_) => "block",
        About::Swing(_) => "swing",
    }
}
