//! Consents in the store: given, withdrawn, asked for. Each is also an entry, so that who agreed to what and
//! when can be read later.

use protocol::lesson::{Agreed, Said};
use rusqlite::{Transaction, params};

use super::super::ArchiveError;
use super::super::rows::Consent;
use super::entries::Written;
use super::{Store, date, is_minor, maybe_time, time};

impl Store {
    /// What a student consented to, withdrawn ones included.
    ///
    /// # Errors
    /// See [`Store::students`].
    pub fn consents(&self, student: &str) -> Result<Vec<Consent>, ArchiveError> {
        let sql = "SELECT scope, guardian, given_utc_ns, withdrawn_utc_ns FROM consents
            WHERE student = ?1 ORDER BY scope";
        self.all(sql, [student], |row| {
            Ok(Consent {
                scope: row.get(0)?,
                guardian: row.get(1)?,
                given_utc_ns: time(row, 2)?,
                withdrawn_utc_ns: maybe_time(row, 3)?,
            })
        })
    }

    /// Whether a student consented to `scope` and has not withdrawn it, and a guardian where one is needed.
    ///
    /// # Errors
    /// [`ArchiveError::NotConsented`] with the reason in words; [`ArchiveError::Unknown`].
    pub fn require_consent(
        &self,
        student: &str,
        scope: &str,
        now_utc_ns: u64,
    ) -> Result<(), ArchiveError> {
        let told = self.student(student)?;
        let consents = self.consents(student)?;
        let given = consents.iter().find(|c| c.scope == scope);
        let refused = |why: &str| Err(ArchiveError::NotConsented(format!("{student}: {why}")));
        match given {
            None => refused(&format!("no consent to `{scope}` on file")),
            Some(c) if c.withdrawn_utc_ns.is_some() => {
                refused(&format!("the consent to `{scope}` was withdrawn"))
            }
            Some(c) if c.guardian.is_none() && is_minor(told.born, now_utc_ns) => {
                refused("a minor without a guardian's consent")
            }
            Some(_) => Ok(()),
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
        if guardian.is_none() && is_minor(told.born, now_utc_ns) {
            return Err(ArchiveError::NotConsented(format!(
                "born in {}: a guardian consents for a minor",
                told.born
            )));
        }
        let tx = self.db.transaction()?;
        give(&tx, (student, scope), guardian, now_utc_ns)?;
        Ok(tx.commit()?)
    }

    /// Withdraws a consent: it stays on file and does not count any more.
    ///
    /// # Errors
    /// When there is none that counts.
    pub fn withdraw(
        &mut self,
        student: &str,
        scope: &str,
        now_utc_ns: u64,
    ) -> Result<(), ArchiveError> {
        self.student(student)?;
        let tx = self.db.transaction()?;
        let sql = "UPDATE consents SET withdrawn_utc_ns = ?3
            WHERE student = ?1 AND scope = ?2 AND withdrawn_utc_ns IS NULL";
        if tx.execute(sql, params![student, scope, date(now_utc_ns)])? == 0 {
            return Err(ArchiveError::Unfitting(format!(
                "{student}: there is no consent to `{scope}` to withdraw"
            )));
        }
        note(&tx, (student, scope), (false, None), now_utc_ns)?;
        Ok(tx.commit()?)
    }
}

/// Puts a consent on file, in the place of one before.
pub(super) fn give(
    tx: &Transaction<'_>,
    (student, scope): (&str, &str),
    guardian: Option<&str>,
    now_utc_ns: u64,
) -> Result<(), ArchiveError> {
    tx.execute(
        "INSERT OR REPLACE INTO consents (student, scope, guardian, given_utc_ns) VALUES (?1, ?2, ?3, ?4)",
        params![student, scope, guardian, date(now_utc_ns)],
    )?;
    note(tx, (student, scope), (true, guardian), now_utc_ns)
}

fn note(
    tx: &Transaction<'_>,
    (student, scope): (&str, &str),
    (given, guardian): (bool, Option<&str>),
    now_utc_ns: u64,
) -> Result<(), ArchiveError> {
    let said = Said::Consent(Agreed {
        scope: scope.to_owned(),
        given,
        guardian: guardian.map(str::to_owned),
    });
    Written::of(student, &format!("student:{student}"), &said)?.write(tx, now_utc_ns)?;
    Ok(())
}
