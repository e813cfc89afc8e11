//! What is told of students and of their clubs: as it is now, in rows; as it was, and who changed it, in entries.

use protocol::lesson::{Club, Said, Student};
use rusqlite::{OptionalExtension as _, Row, Transaction, params};

use super::super::ArchiveError;
use super::entries::Written;
use super::{Store, date, first, unknown};

const STUDENT: &str = "SELECT id, name, side, sex, height_m, born, mass_kg FROM students";
const CLUB: &str = "SELECT id, name, length_m, mass_kg, balance_m, inertia_kg_m2, loft_deg, lie_deg, student FROM clubs";

impl Store {
    /// Every student, by name.
    ///
    /// # Errors
    /// When the store cannot be read; so of every verb that only reads.
    pub fn students(&self) -> Result<Vec<Student>, ArchiveError> {
        self.all(&format!("{STUDENT} ORDER BY name, id"), [], student)
    }

    /// A student by pseudonym.
    ///
    /// # Errors
    /// When there is none.
    pub fn student(&self, id: &str) -> Result<Student, ArchiveError> {
        let sql = format!("{STUDENT} WHERE id = ?1");
        let found = self.db.query_row(&sql, [id], student).optional()?;
        found.ok_or_else(|| unknown("student", id))
    }

    /// Changes what is told about a student; the identifier says which. Gives the entry, where anything changed.
    ///
    /// # Errors
    /// When there is none, or a value makes no sense.
    pub fn tell(&mut self, told: &Student, now_utc_ns: u64) -> Result<Option<i64>, ArchiveError> {
        if self.student(&told.id)? == *told {
            return Ok(None);
        }
        let tx = self.db.transaction()?;
        let entry = enter_student(&tx, told, now_utc_ns)?;
        tx.commit()?;
        Ok(Some(entry))
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
        let tx = self.db.transaction()?;
        let id: String = tx.query_row("SELECT 'c-' || lower(hex(randomblob(5)))", [], first)?;
        let club = Club {
            id: id.clone(),
            ..club.clone()
        };
        enter_club(&tx, (student, club), now_utc_ns)?;
        tx.commit()?;
        Ok(id)
    }

    /// Changes what is told about a club; the identifier says which. Gives the entry, where anything changed.
    ///
    /// # Errors
    /// When there is none, or a value makes no sense.
    pub fn tell_club(&mut self, told: &Club, now_utc_ns: u64) -> Result<Option<i64>, ArchiveError> {
        let (club, student) = self.club(&told.id)?;
        if club == *told {
            return Ok(None);
        }
        let tx = self.db.transaction()?;
        let entry = enter_club(&tx, (&student, told.clone()), now_utc_ns)?;
        tx.commit()?;
        Ok(Some(entry))
    }

    /// The clubs of a student, in the order in which they were added.
    ///
    /// # Errors
    /// See [`Store::students`].
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
}

/// Writes a student's row with its entry.
pub(super) fn enter_student(
    tx: &Transaction<'_>,
    told: &Student,
    now_utc_ns: u64,
) -> Result<i64, ArchiveError> {
    let said = Said::Student(told.clone());
    put_student(tx, Some(&said), now_utc_ns)?;
    let about = format!("student:{}", told.id);
    Ok(Written::of(&told.id, &about, &said)?.write(tx, now_utc_ns)?)
}

fn enter_club(
    tx: &Transaction<'_>,
    (student, club): (&str, Club),
    now_utc_ns: u64,
) -> Result<i64, ArchiveError> {
    let about = format!("club:{}", club.id);
    let said = Said::Club(club);
    put_club(tx, (student, &about[5..]), Some(&said), now_utc_ns)?;
    Ok(Written::of(student, &about, &said)?.write(tx, now_utc_ns)?)
}

/// Makes a student's row what is said. Nothing said is what was before the first entry: no student.
pub(super) fn put_student(
    tx: &Transaction<'_>,
    said: Option<&Said>,
    now_utc_ns: u64,
) -> Result<(), ArchiveError> {
    let Some(Said::Student(told)) = said else {
        return Err(ArchiveError::Unfitting(
            "this is how the student came in: erasing is another verb".into(),
        ));
    };
    tx.execute(
        "INSERT INTO students (id, name, side, sex, height_m, born, since_utc_ns, mass_kg)
         VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8) ON CONFLICT (id) DO UPDATE SET name = excluded.name,
           side = excluded.side, sex = excluded.sex, height_m = excluded.height_m, born = excluded.born,
           mass_kg = excluded.mass_kg",
        params![
            told.id,
            told.name,
            told.side,
            told.sex,
            told.height_m,
            told.born,
            date(now_utc_ns),
            told.mass_kg
        ],
    )?;
    Ok(())
}

/// Makes a club's row what is said. Nothing said is what was before the first entry: no club, which it can only
/// become again while nothing rests on it.
pub(super) fn put_club(
    tx: &Transaction<'_>,
    (student, id): (&str, &str),
    said: Option<&Said>,
    now_utc_ns: u64,
) -> Result<(), ArchiveError> {
    let Some(Said::Club(told)) = said else {
        let sql = "SELECT EXISTS (SELECT 1 FROM blocks WHERE club = ?1)
            OR EXISTS (SELECT 1 FROM entries WHERE about = 'club:' || ?1 AND key <> 'club')
            OR EXISTS (SELECT 1 FROM entries WHERE student = ?2 AND key = 'seat'
              AND json_extract(said, '$.value.club') = ?1)";
        if tx.query_row(sql, [id, student], first)? {
            return Err(ArchiveError::Unfitting(
                "the club was chosen already: change what is told of it instead".into(),
            ));
        }
        tx.execute("DELETE FROM clubs WHERE id = ?1", [id])?;
        return Ok(());
    };
    tx.execute(
        "INSERT INTO clubs VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10)
         ON CONFLICT (id) DO UPDATE SET name = excluded.name, length_m = excluded.length_m,
           mass_kg = excluded.mass_kg, balance_m = excluded.balance_m, inertia_kg_m2 = excluded.inertia_kg_m2,
           loft_deg = excluded.loft_deg, lie_deg = excluded.lie_deg",
        params![
            id,
            student,
            told.name,
            told.length_m,
            told.mass_kg,
            told.balance_m,
            told.inertia_kg_m2,
            told.loft_deg,
            told.lie_deg,
            date(now_utc_ns)
        ],
    )?;
    Ok(())
}

fn student(row: &Row<'_>) -> rusqlite::Result<Student> {
    Ok(Student {
        id: row.get(0)?,
        name: row.get(1)?,
        side: row.get(2)?,
        sex: row.get(3)?,
        height_m: row.get(4)?,
        born: row.get(5)?,
        mass_kg: row.get(6)?,
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
