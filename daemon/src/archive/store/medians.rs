//! What golfers do in the middle, for questions about many of them: medians of a golfer's swings by selection, kept
//! until a trigger of `schema` sees anything change that they are made of. What a selection is and how medians are
//! made is `coach::golfers`' business.

use rusqlite::{ErrorCode, OptionalExtension as _, Row, Transaction, TransactionBehavior, params};

use super::super::ArchiveError;
use super::{Store, first, time};

/// Medians of a golfer's swings.
#[derive(Debug, Clone, PartialEq)]
pub struct Medians {
    /// Swings that they are of.
    pub swings: u32,
    /// Years of the first swing and of the last one; 0 without swings.
    pub years: (i64, i64),
    /// In the catalogue's order, SI and radians; NaN where there is none.
    pub medians: Vec<f64>,
}

/// A student as questions about many golfers see one.
#[derive(Debug, Clone, PartialEq)]
pub struct Golfer {
    /// The student.
    pub student: String,
    /// `female` or `male`.
    pub sex: Option<String>,
    /// Year of birth.
    pub born: i64,
    /// Medians of the selection that was asked for, where they are kept.
    pub kept: Option<Medians>,
}

/// A swing of a golfer with what selections ask for.
#[derive(Debug, Clone)]
pub struct Played {
    /// Identifier.
    pub id: String,
    /// `right` or `left`.
    pub handed: String,
    /// Impact.
    pub impact_utc_ns: u64,
    /// Club in words.
    pub club: Option<String>,
    /// Version of the program that made the newest result.
    pub analysis: String,
    /// Its packed values.
    pub metrics: Vec<u8>,
}

impl Store {
    /// Students who agreed to be part of cohorts, in the order of [`Store::students`], with the medians that are kept
    /// of a selection and version. With `club`: who has one of this name.
    ///
    /// # Errors
    /// See [`Store::students`]; so of every verb here.
    pub fn golfers(
        &self,
        (selection, analysis): (&str, &str),
        club: Option<&str>,
    ) -> Result<Vec<Golfer>, ArchiveError> {
        let sql = "SELECT s.id, s.sex, s.born, m.swings, m.first_year, m.last_year, m.medians
            FROM students s
              JOIN consents c ON c.student = s.id AND c.scope = 'research' AND c.withdrawn_utc_ns IS NULL
              LEFT JOIN medians m ON m.student = s.id AND m.selection = ?1 AND m.analysis = ?2
            WHERE ?3 IS NULL OR EXISTS (SELECT 1 FROM clubs b WHERE b.student = s.id AND b.name = ?3)
            ORDER BY s.name, s.id";
        self.all(sql, params![selection, analysis, club], |row| {
            let swings: Option<u32> = row.get(3)?;
            Ok(Golfer {
                student: row.get(0)?,
                sex: row.get(1)?,
                born: row.get(2)?,
                kept: swings.map(|_| medians(row, 3)).transpose()?,
            })
        })
    }

    /// Some of those golfers of whom no medians are kept.
    ///
    /// # Errors
    /// See [`Store::students`].
    pub fn golfers_without(
        &self,
        (selection, analysis): (&str, &str),
        club: Option<&str>,
        limit: u32,
    ) -> Result<Vec<String>, ArchiveError> {
        let sql = "SELECT s.id FROM students s
              JOIN consents c ON c.student = s.id AND c.scope = 'research' AND c.withdrawn_utc_ns IS NULL
            WHERE (?3 IS NULL OR EXISTS (SELECT 1 FROM clubs b WHERE b.student = s.id AND b.name = ?3))
              AND NOT EXISTS (SELECT 1 FROM medians m
                WHERE m.student = s.id AND m.selection = ?1 AND m.analysis = ?2)
            LIMIT ?4";
        self.all(sql, params![selection, analysis, club, limit], first)
    }

    /// Medians that are kept of a golfer's selection and version.
    ///
    /// # Errors
    /// See [`Store::students`].
    pub fn medians(
        &self,
        student: &str,
        (selection, analysis): (&str, &str),
    ) -> Result<Option<Medians>, ArchiveError> {
        let sql = "SELECT swings, first_year, last_year, medians FROM medians
            WHERE student = ?1 AND selection = ?2 AND analysis = ?3";
        let mut statement = self.db.prepare(sql)?;
        let found = statement.query_row([student, selection, analysis], |row| medians(row, 0));
        Ok(found.optional()?)
    }

    /// Makes medians of golfers by `make` and keeps them, as of one moment: where somebody writes meanwhile they are
    /// given and not kept, which is what `false` says.
    ///
    /// # Errors
    /// Those of `make`.
    pub fn make_medians(
        &self,
        (selection, analysis): (&str, &str),
        golfers: &[&str],
        make: impl Fn(&str) -> Result<Medians, ArchiveError>,
    ) -> Result<(Vec<Medians>, bool), ArchiveError> {
        // It reads first, so that nobody waits for it; SQLite refuses to write what was read before another wrote.
        let tx = Transaction::new_unchecked(&self.db, TransactionBehavior::Deferred)?;
        let made: Vec<Medians> = golfers.iter().map(|g| make(g)).collect::<Result<_, _>>()?;
        let keep = || -> rusqlite::Result<()> {
            let mut statement = tx.prepare(
                "INSERT OR REPLACE INTO medians (student, selection, analysis, swings, first_year, last_year, medians)
                 VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)",
            )?;
            for (student, made) in golfers.iter().zip(&made) {
                let bytes: Vec<u8> = made.medians.iter().flat_map(|v| v.to_le_bytes()).collect();
                let (first, last) = made.years;
                statement.execute(params![
                    student,
                    selection,
                    analysis,
                    made.swings,
                    first,
                    last,
                    bytes
                ])?;
            }
            Ok(())
        };
        match keep().and_then(|()| tx.commit()) {
            Ok(()) => Ok((made, true)),
            Err(e) if e.sqlite_error_code() == Some(ErrorCode::DatabaseBusy) => Ok((made, false)),
            Err(e) => Err(e.into()),
        }
    }

    /// Shots of a student with the values of their newest result, oldest first.
    ///
    /// # Errors
    /// See [`Store::students`].
    pub fn played(&self, student: &str) -> Result<Vec<Played>, ArchiveError> {
        let sql = "SELECT w.name, w.handed, w.impact_utc_ns, c.name, r.analysis, r.metrics
            FROM sessions s CROSS JOIN swings w ON w.session = s.id JOIN results r ON r.swing = w.id
              LEFT JOIN blocks b ON b.id = w.block LEFT JOIN clubs c ON c.id = b.club
            WHERE s.student = ?1 AND w.kind IN ('shot', 'swing')
              AND r.rowid = (SELECT rowid FROM results n WHERE n.swing = w.id
                ORDER BY measured_utc_ns DESC, analysis DESC LIMIT 1)
            ORDER BY w.impact_utc_ns, w.id";
        self.all(sql, [student], |row| {
            Ok(Played {
                id: row.get(0)?,
                handed: row.get(1)?,
                impact_utc_ns: time(row, 2)?,
                club: row.get(3)?,
                analysis: row.get(4)?,
                metrics: row.get(5)?,
            })
        })
    }
}

fn medians(row: &Row<'_>, at: usize) -> rusqlite::Result<Medians> {
    let bytes = row.get_ref(at + 3)?.as_blob()?;
    Ok(Medians {
        swings: row.get(at)?,
        years: (row.get(at + 1)?, row.get(at + 2)?),
        medians: bytes
            .as_chunks()
            .0
            .iter()
            .map(|b| f64::from_le_bytes(*b))
            .collect(),
    })
}
