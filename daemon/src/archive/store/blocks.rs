//! Blocks of a lesson. When one ends follows from the blocks beside it, from what was entered, and from the
//! lesson's own end; which shots are in it follows from the time of impact unless the coach moved them. So a
//! block that is taken back, or one that was ended too early, leaves no trace in the others.

use protocol::lesson::{Block, Said};
use rusqlite::{OptionalExtension as _, Row, Transaction, params};

use super::super::ArchiveError;
use super::entries::Written;
use super::{Store, date, first, maybe_time, time, unknown};

impl Store {
    /// Begins a block; the one before of the lesson ends. Gives the block and its entry.
    ///
    /// # Errors
    /// When there is no such lesson or club.
    pub fn begin_block(
        &mut self,
        session: &str,
        (purpose, club, planned): (&str, Option<&str>, u32),
        now_utc_ns: u64,
    ) -> Result<(i64, i64), ArchiveError> {
        let began = (now_utc_ns, None);
        self.new_block(session, (purpose, club, planned), (began, now_utc_ns))
    }

    /// A block of no time of its own, for shots that are moved into it: it ends no other.
    ///
    /// # Errors
    /// As [`Store::begin_block`].
    pub fn block_aside(
        &mut self,
        session: &str,
        told: (&str, Option<&str>, u32),
        (at_utc_ns, now_utc_ns): (u64, u64),
    ) -> Result<(i64, i64), ArchiveError> {
        self.new_block(session, told, ((at_utc_ns, Some(at_utc_ns)), now_utc_ns))
    }

    fn new_block(
        &mut self,
        session: &str,
        (purpose, club, planned): (&str, Option<&str>, u32),
        ((began, closed), now_utc_ns): ((u64, Option<u64>), u64),
    ) -> Result<(i64, i64), ArchiveError> {
        let student = self.student_of(session)?;
        let tx = self.db.transaction()?;
        tx.execute(
            "INSERT INTO blocks (session, number, purpose, club, began_utc_ns, planned, closed_utc_ns) VALUES
             (?1, (SELECT 1 + coalesce(max(number), 0) FROM blocks WHERE session = ?1), ?2, ?3, ?4, ?5, ?6)",
            params![session, purpose, club, date(began), planned, closed.map(date)],
        )?;
        let id = tx.last_insert_rowid();
        let said = Said::Begun(closed != Some(began));
        let entry = Written::of(&student, &format!("block:{id}"), &said)?.write(&tx, now_utc_ns)?;
        settle(&tx, session)?;
        tx.commit()?;
        Ok((id, entry))
    }

    /// Ends the open block of a lesson, if there is one, and gives the entry of it.
    ///
    /// # Errors
    /// When the store cannot be written.
    pub fn end_block(
        &mut self,
        session: &str,
        now_utc_ns: u64,
    ) -> Result<Option<i64>, ArchiveError> {
        let Some(open) = self.blocks(session)?.into_iter().find(Block::runs) else {
            return Ok(None);
        };
        let student = self.student_of(session)?;
        let tx = self.db.transaction()?;
        let said = Said::Ended(Some(now_utc_ns));
        let about = format!("block:{}", open.id);
        let entry = Written::of(&student, &about, &said)?.write(&tx, now_utc_ns)?;
        apply(&tx, open.id, "ended", Some(&said))?;
        tx.commit()?;
        Ok(Some(entry))
    }

    /// The blocks of a lesson, oldest first.
    ///
    /// # Errors
    /// See [`Store::students`].
    pub fn blocks(&self, session: &str) -> Result<Vec<Block>, ArchiveError> {
        let sql = format!(
            "{BLOCK} WHERE b.session = ?1 AND NOT taken_back ORDER BY began_utc_ns, number"
        );
        self.all(&sql, [session], block)
    }

    /// A block by identifier.
    ///
    /// # Errors
    /// When there is none, or it was taken back.
    pub fn block(&self, id: i64) -> Result<Block, ArchiveError> {
        let sql = format!("{BLOCK} WHERE b.id = ?1 AND NOT taken_back");
        let found = self.db.query_row(&sql, [id], block).optional()?;
        found.ok_or_else(|| unknown("block", &id.to_string()))
    }

    /// The blocks of a club over all lessons, oldest first.
    ///
    /// # Errors
    /// See [`Store::students`].
    pub fn blocks_of_club(&self, club: &str) -> Result<Vec<Block>, ArchiveError> {
        let sql = format!("{BLOCK} WHERE club = ?1 AND NOT taken_back ORDER BY began_utc_ns, b.id");
        self.all(&sql, [club], block)
    }

    /// The lesson of a block, also of one that was taken back.
    pub(super) fn session_of_block(&self, id: i64) -> Result<String, ArchiveError> {
        let sql = "SELECT session FROM blocks WHERE id = ?1";
        let found = self.db.query_row(sql, [id], first).optional()?;
        found.ok_or_else(|| unknown("block", &id.to_string()))
    }
}

/// What an entry about a block's beginning or end changes beside itself.
pub(super) fn apply(
    tx: &Transaction<'_>,
    block: i64,
    key: &str,
    said: Option<&Said>,
) -> rusqlite::Result<()> {
    match (key, said) {
        ("begun", said) => {
            let taken_back = !matches!(said, Some(Said::Begun(_)));
            let sql = "UPDATE blocks SET taken_back = ?2 WHERE id = ?1";
            tx.execute(sql, params![block, taken_back])?;
        }
        ("ended", said) => {
            let at = match said {
                Some(Said::Ended(at)) => at.map(date),
                _ => None,
            };
            let sql = "UPDATE blocks SET closed_utc_ns = ?2 WHERE id = ?1";
            tx.execute(sql, params![block, at])?;
        }
        _ => return Ok(()),
    }
    let sql = "SELECT session FROM blocks WHERE id = ?1";
    let session: Option<String> = tx.query_row(sql, [block], first).optional()?;
    session.map_or(Ok(()), |session| settle(tx, &session))
}

/// Works out again when the blocks of a lesson end and which shots are in them. A block of no time ends no
/// other.
pub(super) fn settle(tx: &Transaction<'_>, session: &str) -> rusqlite::Result<()> {
    tx.execute(
        "UPDATE blocks SET ended_utc_ns = (SELECT min(at) FROM (
             SELECT blocks.closed_utc_ns AS at
             UNION ALL SELECT n.began_utc_ns FROM blocks n WHERE n.session = ?1 AND NOT n.taken_back
               AND (n.began_utc_ns, n.number) > (blocks.began_utc_ns, blocks.number)
               AND coalesce(n.closed_utc_ns > n.began_utc_ns, 1)
             UNION ALL SELECT s.ended_utc_ns FROM sessions s WHERE s.id = ?1
           ) WHERE at IS NOT NULL)
         WHERE session = ?1",
        [session],
    )?;
    tx.execute(
        &format!("UPDATE swings SET block = {IN_BLOCK} WHERE session = ?1"),
        [session],
    )?;
    Ok(())
}

/// The block of a swing: the one that the coach moved it to, else the one that ran at impact.
pub(super) const IN_BLOCK: &str = "coalesce(
    (SELECT b.id FROM entries e JOIN blocks b ON b.id = json_extract(e.said, '$.value')
       WHERE e.about = 'swing:' || swings.name AND e.key = 'block' AND b.session = swings.session
         AND NOT b.taken_back
         AND e.n = (SELECT max(n) FROM entries f WHERE f.about = e.about AND f.key = 'block')),
    (SELECT b.id FROM blocks b WHERE b.session = swings.session AND NOT b.taken_back
       AND b.began_utc_ns <= swings.impact_utc_ns
       AND (b.ended_utc_ns IS NULL OR b.ended_utc_ns > swings.impact_utc_ns)
       ORDER BY b.began_utc_ns DESC, b.number DESC LIMIT 1))";

const BLOCK: &str = "SELECT b.id, b.session, number, purpose, club, began_utc_ns, ended_utc_ns, planned,
    (SELECT count(*) FROM swings w WHERE w.block = b.id AND kind IN ('shot', 'swing')
       AND NOT EXISTS (SELECT 1 FROM entries e WHERE e.about = 'swing:' || w.name AND e.key = 'excluded'
         AND e.n = (SELECT max(n) FROM entries f WHERE f.about = e.about AND f.key = e.key)
         AND json_extract(e.said, '$.value') IS NOT NULL))
    FROM blocks b";

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
