//! What is found again, page by page: lessons and swings, newest first.

use rusqlite::types::Value;
use rusqlite::{OptionalExtension as _, Row, ToSql, params};

use super::super::ArchiveError;
use super::super::rows::{Outcome, Session};
use super::{Store, date, first, maybe_time, time, unknown};

/// Which swings are asked for; whatever is `None` does not matter.
#[derive(Debug, Clone, Default)]
pub struct Find {
    /// Student's identifier.
    pub student: Option<String>,
    /// Lesson's identifier.
    pub session: Option<String>,
    /// Block's identifier.
    pub block: Option<i64>,
    /// `shot`, `rehearsal`, …
    pub kind: Option<String>,
    /// Club in words.
    pub club: Option<String>,
    /// `baseline`, `practice`, `check`.
    pub purpose: Option<String>,
    /// Not before, nanoseconds since 1970 in UTC.
    pub from_utc_ns: Option<u64>,
    /// Before.
    pub to_utc_ns: Option<u64>,
    /// Only the swing of this name.
    pub swing: Option<String>,
}

/// Where a page of swings goes on: impact and row of the last one shown.
pub type Place = (u64, i64);

/// A swing as found.
#[derive(Debug, Clone)]
pub struct Found {
    /// Its row, for paging.
    pub row: i64,
    /// Identifier.
    pub id: String,
    /// Its lesson.
    pub session: String,
    /// The student.
    pub student: String,
    /// Kind.
    pub kind: String,
    /// `right` or `left`.
    pub handed: String,
    /// Impact.
    pub impact_utc_ns: u64,
    /// Its block with purpose.
    pub block: Option<i64>,
    /// Purpose of the block.
    pub purpose: Option<String>,
    /// Club in words.
    pub club: Option<String>,
    /// Values of its newest result.
    pub metrics: Vec<u8>,
    /// Number of the calibration that it was measured with.
    pub calibration: Option<u32>,
}

/// A page of swings: first which, then what is shown of them, so that no values are read and sorted for nothing.
fn found(which: &str) -> String {
    format!(
        "SELECT w.id, w.name, w.session, s.student, w.kind, w.handed, w.impact_utc_ns, w.block,
          b.purpose, c.name, r.metrics,
          (SELECT count(*) FROM calibrations k, calibrations own
            WHERE own.id = w.calibration AND k.student = own.student AND k.id <= own.id)
        FROM (SELECT w.id FROM swings w LEFT JOIN blocks b ON b.id = w.block LEFT JOIN clubs c ON c.id = b.club
            WHERE EXISTS (SELECT 1 FROM results r WHERE r.swing = w.id) {which}
            ORDER BY w.impact_utc_ns DESC, w.id DESC LIMIT :limit) page
          CROSS JOIN swings w ON w.id = page.id JOIN sessions s ON s.id = w.session
          JOIN results r ON r.swing = w.id AND r.rowid = (SELECT rowid FROM results n WHERE n.swing = w.id
            ORDER BY measured_utc_ns DESC, analysis DESC LIMIT 1)
          LEFT JOIN blocks b ON b.id = w.block LEFT JOIN clubs c ON c.id = b.club
        ORDER BY w.impact_utc_ns DESC, w.id DESC"
    )
}

/// What is asked for, as conditions with name and value: beside an `IS NULL OR` no index would be used.
fn asked(find: &Find, before: Option<Place>) -> Vec<(&'static str, &'static str, Value)> {
    let text = |text: &Option<String>| text.clone().map(Value::Text);
    let day = |utc_ns: Option<u64>| utc_ns.map(|ns| Value::Integer(date(ns)));
    let student = "w.session IN (SELECT id FROM sessions WHERE student = :student)";
    let all = [
        (student, ":student", text(&find.student)),
        ("w.session = :session", ":session", text(&find.session)),
        ("w.block = :block", ":block", find.block.map(Value::Integer)),
        ("w.kind = :kind", ":kind", text(&find.kind)),
        ("c.name = :club", ":club", text(&find.club)),
        ("b.purpose = :purpose", ":purpose", text(&find.purpose)),
        ("w.impact_utc_ns >= :from", ":from", day(find.from_utc_ns)),
        ("w.impact_utc_ns < :to", ":to", day(find.to_utc_ns)),
        ("w.name = :swing", ":swing", text(&find.swing)),
        (
            "(w.impact_utc_ns, w.id) < (:at, :row)",
            ":at",
            day(before.map(|b| b.0)),
        ),
    ];
    let told = all
        .into_iter()
        .filter_map(|(sql, name, value)| Some((sql, name, value?)));
    told.collect()
}

impl Store {
    /// Swings, newest first.
    ///
    /// # Errors
    /// See [`Store::students`]; so of every verb here.
    pub fn find(
        &self,
        find: &Find,
        before: Option<Place>,
        limit: u32,
    ) -> Result<Vec<Found>, ArchiveError> {
        let asked = asked(find, before);
        let which: String = asked.iter().map(|a| format!("AND {} ", a.0)).collect();
        let mut values: Vec<(&str, &dyn ToSql)> = vec![(":limit", &limit)];
        values.extend(
            asked
                .iter()
                .map(|(_, name, value)| (*name, value as &dyn ToSql)),
        );
        if let Some((_, row)) = &before {
            values.push((":row", row));
        }
        self.all(&found(&which), values.as_slice(), |row| {
            Ok(Found {
                row: row.get(0)?,
                id: row.get(1)?,
                session: row.get(2)?,
                student: row.get(3)?,
                kind: row.get(4)?,
                handed: row.get(5)?,
                impact_utc_ns: time(row, 6)?,
                block: row.get(7)?,
                purpose: row.get(8)?,
                club: row.get(9)?,
                metrics: row.get(10)?,
                calibration: Some(row.get(11)?).filter(|number| *number > 0),
            })
        })
    }

    /// Lessons before a date, newest first, with the number of their swings.
    ///
    /// # Errors
    /// See [`Store::students`].
    pub fn lessons(
        &self,
        student: Option<&str>,
        before_utc_ns: Option<u64>,
        limit: u32,
    ) -> Result<Vec<(Session, u32)>, ArchiveError> {
        let sql = "SELECT id, student, bay, zone, program, began_utc_ns, ended_utc_ns,
              (SELECT count(*) FROM swings w WHERE w.session = s.id)
            FROM sessions s WHERE (?1 IS NULL OR student = ?1) AND (?2 IS NULL OR began_utc_ns < ?2)
            ORDER BY began_utc_ns DESC LIMIT ?3";
        self.all(
            sql,
            params![student, before_utc_ns.map(date), limit],
            lesson,
        )
    }

    /// A lesson with the number of its swings.
    ///
    /// # Errors
    /// When there is none.
    pub fn lesson(&self, id: &str) -> Result<(Session, u32), ArchiveError> {
        let sql = "SELECT id, student, bay, zone, program, began_utc_ns, ended_utc_ns,
              (SELECT count(*) FROM swings w WHERE w.session = s.id) FROM sessions s WHERE id = ?1";
        let found = self.db.query_row(sql, [id], lesson).optional()?;
        found.ok_or_else(|| unknown("session", id))
    }

    /// Results of a swing by its identifier, newest first.
    ///
    /// # Errors
    /// When there is none.
    pub fn results_of(&self, swing: &str) -> Result<Vec<Outcome>, ArchiveError> {
        let sql = "SELECT id FROM swings WHERE name = ?1 ORDER BY id DESC LIMIT 1";
        let row: Option<i64> = self.db.query_row(sql, [swing], first).optional()?;
        let row = row.ok_or_else(|| unknown("swing", swing))?;
        self.results_in(row)
    }
}

fn lesson(row: &Row<'_>) -> rusqlite::Result<(Session, u32)> {
    let session = Session {
        id: row.get(0)?,
        student: row.get(1)?,
        bay: row.get(2)?,
        zone: row.get(3)?,
        program: row.get(4)?,
        began_utc_ns: time(row, 5)?,
        ended_utc_ns: maybe_time(row, 6)?,
    };
    Ok((session, row.get(7)?))
}
