//! Swings in the store: filed with a result of each version and what is drawn of them, and listed.

use rusqlite::{OptionalExtension as _, Row, Transaction, params};

use super::super::ArchiveError;
use super::super::rows::{Outcome, Place, Swing, Take, Which};
use super::blocks::IN_BLOCK;
use super::{Store, date, first, time};

impl Store {
    /// Adds a swing with its first result; `swing.row` is not read. A swing that is there already
    /// keeps its place, and the result takes that of the same version's.
    ///
    /// # Errors
    /// When the store cannot be written.
    pub fn add_swing(
        &mut self,
        swing: &Swing,
        outcome: &Outcome,
        take: Option<&Take>,
    ) -> Result<(), ArchiveError> {
        let tx = self.db.transaction()?;
        let place = &swing.place;
        tx.execute(
            "INSERT INTO swings (session, name, kind, handed, impact_utc_ns, recording, from_ns, to_ns, datagrams, digest, calibration)
             VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11) ON CONFLICT (session, name) DO NOTHING",
            params![
                swing.session,
                swing.id,
                swing.kind,
                swing.handed,
                date(swing.impact_utc_ns),
                place.recording,
                date(place.from_ns),
                date(place.to_ns),
                date(place.datagrams),
                place.digest,
                swing.calibration
            ],
        )?;
        tx.execute(
            &format!("UPDATE swings SET block = {IN_BLOCK} WHERE session = ?1 AND name = ?2"),
            [&swing.session, &swing.id],
        )?;
        let same =
            "SELECT from_ns = ?3 AND recording = ?4 FROM swings WHERE session = ?1 AND name = ?2";
        let known = params![
            swing.session,
            swing.id,
            date(place.from_ns),
            place.recording
        ];
        if !tx.query_row(same, known, first::<bool>)? {
            return Err(ArchiveError::Unfitting(format!(
                "another swing is filed as {}: the sender began anew without a new epoch",
                swing.id
            )));
        }
        put(&tx, (&swing.session, &swing.id), outcome)?;
        if let Some(take) = take {
            draw(&tx, (&swing.session, &swing.id), take)?;
        }
        Ok(tx.commit()?)
    }

    /// Keeps a result of a swing: in the place of that of the same version, beside those of others.
    /// False when there is no such swing.
    ///
    /// # Errors
    /// When the store cannot be written.
    pub fn put_result(
        &mut self,
        swing: (&str, &str),
        outcome: &Outcome,
    ) -> Result<bool, ArchiveError> {
        let tx = self.db.transaction()?;
        let put = put(&tx, swing, outcome)?;
        tx.commit()?;
        Ok(put)
    }

    /// Keeps what is drawn of a swing in the place of what was kept.
    ///
    /// # Errors
    /// When the store cannot be written.
    pub fn put_take(&mut self, swing: (&str, &str), take: &Take) -> Result<(), ArchiveError> {
        let tx = self.db.transaction()?;
        draw(&tx, swing, take)?;
        Ok(tx.commit()?)
    }

    /// What is drawn of a swing, if it was kept.
    ///
    /// # Errors
    /// See [`Store::students`].
    pub fn take(&self, swing: &str) -> Result<Option<Take>, ArchiveError> {
        let sql = "SELECT replay, curves FROM takes WHERE swing =
            (SELECT id FROM swings WHERE name = ?1 ORDER BY id DESC LIMIT 1)";
        let read = |row: &Row<'_>| {
            Ok(Take {
                replay: row.get(0)?,
                curves: row.get(1)?,
            })
        };
        Ok(self.db.query_row(sql, [swing], read).optional()?)
    }

    /// Swings, oldest first.
    ///
    /// # Errors
    /// See [`Store::students`].
    pub fn swings(&self, which: Which<'_>) -> Result<Vec<Swing>, ArchiveError> {
        match which {
            Which::All => self.listed("1", []),
            Which::Student(id) => self.listed(
                "session IN (SELECT id FROM sessions WHERE student = ?1)",
                [id],
            ),
            Which::Session(id) => self.listed("session = ?1", [id]),
        }
    }

    /// Swings of a name, oldest first.
    pub(super) fn swings_named(&self, name: &str) -> Result<Vec<Swing>, ArchiveError> {
        self.listed("name = ?1", [name])
    }

    fn listed(&self, which: &str, of: impl rusqlite::Params) -> Result<Vec<Swing>, ArchiveError> {
        let sql = format!("SELECT id, name, session, kind, handed, impact_utc_ns, recording, from_ns, to_ns, datagrams, digest, block, calibration
            FROM swings WHERE {which} ORDER BY impact_utc_ns, id");
        self.all(&sql, of, |row| {
            Ok(Swing {
                row: row.get(0)?,
                id: row.get(1)?,
                session: row.get(2)?,
                kind: row.get(3)?,
                handed: row.get(4)?,
                impact_utc_ns: time(row, 5)?,
                place: Place {
                    recording: row.get(6)?,
                    from_ns: time(row, 7)?,
                    to_ns: time(row, 8)?,
                    datagrams: time(row, 9)?,
                    digest: row.get(10)?,
                },
                block: row.get(11)?,
                calibration: row.get(12)?,
            })
        })
    }

    /// Results of a swing, newest first.
    ///
    /// # Errors
    /// See [`Store::students`].
    pub fn results(&self, swing: &Swing) -> Result<Vec<Outcome>, ArchiveError> {
        self.results_in(swing.row)
    }

    pub(super) fn results_in(&self, row: i64) -> Result<Vec<Outcome>, ArchiveError> {
        let sql = "SELECT analysis, measured_utc_ns, catalogue, report, metrics FROM results
            WHERE swing = ?1 ORDER BY measured_utc_ns DESC, analysis DESC";
        self.all(sql, [row], |row| {
            Ok(Outcome {
                analysis: row.get(0)?,
                measured_utc_ns: time(row, 1)?,
                catalogue: row.get(2)?,
                report: row.get(3)?,
                metrics: row.get(4)?,
            })
        })
    }
}

fn draw(tx: &Transaction<'_>, (session, name): (&str, &str), take: &Take) -> rusqlite::Result<()> {
    let sql = "INSERT OR REPLACE INTO takes
        SELECT id, ?3, ?4 FROM swings WHERE session = ?1 AND name = ?2";
    tx.execute(sql, params![session, name, take.replay, take.curves])?;
    Ok(())
}

fn put(
    tx: &Transaction<'_>,
    (session, name): (&str, &str),
    outcome: &Outcome,
) -> Result<bool, ArchiveError> {
    let find = "SELECT id FROM swings WHERE session = ?1 AND name = ?2";
    let row: Option<i64> = tx.query_row(find, [session, name], first).optional()?;
    let Some(row) = row else { return Ok(false) };
    tx.execute(
        "INSERT OR REPLACE INTO results (swing, analysis, measured_utc_ns, catalogue, report, metrics)
         VALUES (?1, ?2, ?3, ?4, ?5, ?6)",
        params![
            row,
            outcome.analysis,
            date(outcome.measured_utc_ns),
            outcome.catalogue,
            outcome.report,
            outcome.metrics
        ],
    )?;
    Ok(true)
}
