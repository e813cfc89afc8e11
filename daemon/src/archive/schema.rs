//! The tables of the store and how an older store becomes today's. What is asked of them is in
//! `store`.
//!
//! The version stands in SQLite's `user_version`. A step of [`STEPS`] is never changed once released:
//! what is new is a new step.

use std::path::{Path, PathBuf};

use rusqlite::Connection;

use super::ArchiveError;

/// Step n takes a store of version n to n + 1. Times are nanoseconds since 1970 in UTC; arrivals
/// (`from_ns`, `to_ns`) count from the beginning of their recording's clock.
///
/// From version 5 on the values of a result stand before its report, or every question about values would walk
/// through the pages of the reports; and a golfer's medians are kept until a trigger sees anything change that they
/// are made of, whoever changes it.
const STEPS: &[&str] = &[
    "
CREATE TABLE students (
  id TEXT PRIMARY KEY,
  name TEXT NOT NULL,
  side TEXT CHECK (side IN ('right', 'left')),
  sex TEXT CHECK (sex IN ('female', 'male')),
  height_m REAL CHECK (height_m BETWEEN 0.5 AND 2.6),
  born INTEGER NOT NULL CHECK (born BETWEEN 1900 AND 2200),
  since_utc_ns INTEGER NOT NULL
) STRICT;
CREATE TABLE consents (
  student TEXT NOT NULL REFERENCES students ON DELETE CASCADE,
  scope TEXT NOT NULL CHECK (scope IN ('lesson', 'research', 'publication')),
  guardian TEXT,
  given_utc_ns INTEGER NOT NULL,
  PRIMARY KEY (student, scope)
) STRICT;
CREATE TABLE sessions (
  id TEXT PRIMARY KEY,
  student TEXT NOT NULL REFERENCES students ON DELETE CASCADE,
  bay TEXT NOT NULL,
  zone TEXT NOT NULL,
  program TEXT NOT NULL,
  began_utc_ns INTEGER NOT NULL,
  ended_utc_ns INTEGER
) STRICT;
CREATE INDEX sessions_by_student ON sessions (student, began_utc_ns);
CREATE TABLE recordings (
  id INTEGER PRIMARY KEY,
  session TEXT NOT NULL REFERENCES sessions ON DELETE CASCADE,
  file TEXT NOT NULL UNIQUE,
  lost INTEGER NOT NULL DEFAULT 0,
  ended_utc_ns INTEGER
) STRICT;
CREATE INDEX recordings_by_session ON recordings (session);
CREATE TABLE swings (
  id INTEGER PRIMARY KEY,
  session TEXT NOT NULL REFERENCES sessions ON DELETE CASCADE,
  name TEXT NOT NULL,
  kind TEXT NOT NULL,
  handed TEXT NOT NULL,
  impact_utc_ns INTEGER NOT NULL,
  recording INTEGER NOT NULL REFERENCES recordings ON DELETE CASCADE,
  from_ns INTEGER NOT NULL,
  to_ns INTEGER NOT NULL,
  datagrams INTEGER NOT NULL,
  digest INTEGER NOT NULL,
  UNIQUE (session, name)
) STRICT;
CREATE INDEX swings_by_recording ON swings (recording);
CREATE TABLE results (
  swing INTEGER NOT NULL REFERENCES swings ON DELETE CASCADE,
  analysis TEXT NOT NULL,
  measured_utc_ns INTEGER NOT NULL,
  catalogue INTEGER NOT NULL,
  report TEXT NOT NULL,
  metrics BLOB NOT NULL,
  PRIMARY KEY (swing, analysis)
) STRICT;
",
    "
ALTER TABLE students ADD COLUMN mass_kg REAL CHECK (mass_kg BETWEEN 10 AND 300);
CREATE TABLE clubs (
  id TEXT PRIMARY KEY,
  student TEXT NOT NULL REFERENCES students ON DELETE CASCADE,
  name TEXT NOT NULL,
  length_m REAL,
  mass_kg REAL,
  balance_m REAL,
  inertia_kg_m2 REAL,
  loft_deg REAL,
  lie_deg REAL,
  since_utc_ns INTEGER NOT NULL
) STRICT;
CREATE INDEX clubs_by_student ON clubs (student);
CREATE TABLE calibrations (
  id INTEGER PRIMARY KEY,
  student TEXT NOT NULL REFERENCES students ON DELETE CASCADE,
  text TEXT NOT NULL,
  since_utc_ns INTEGER NOT NULL
) STRICT;
CREATE INDEX calibrations_by_student ON calibrations (student);
CREATE TABLE blocks (
  id INTEGER PRIMARY KEY,
  session TEXT NOT NULL REFERENCES sessions ON DELETE CASCADE,
  number INTEGER NOT NULL,
  purpose TEXT NOT NULL CHECK (purpose IN ('baseline', 'practice', 'check')),
  club TEXT REFERENCES clubs ON DELETE SET NULL,
  planned INTEGER NOT NULL CHECK (planned BETWEEN 5 AND 100),
  began_utc_ns INTEGER NOT NULL,
  ended_utc_ns INTEGER,
  UNIQUE (session, number)
) STRICT;
CREATE INDEX blocks_by_club ON blocks (club);
ALTER TABLE swings ADD COLUMN block INTEGER REFERENCES blocks ON DELETE SET NULL;
CREATE INDEX swings_by_block ON swings (block);
CREATE INDEX swings_by_date ON swings (impact_utc_ns);
CREATE TABLE entries (
  n INTEGER PRIMARY KEY AUTOINCREMENT,
  at_utc_ns INTEGER NOT NULL,
  who TEXT NOT NULL,
  student TEXT NOT NULL REFERENCES students ON DELETE CASCADE,
  about TEXT NOT NULL,
  key TEXT NOT NULL,
  said TEXT,
  undoes INTEGER REFERENCES entries ON DELETE SET NULL
) STRICT;
CREATE INDEX entries_by_key ON entries (about, key, n);
CREATE INDEX entries_by_student ON entries (student, n);
CREATE INDEX entries_undone ON entries (undoes);
CREATE TABLE takes (
  swing INTEGER PRIMARY KEY REFERENCES swings ON DELETE CASCADE,
  replay BLOB NOT NULL,
  curves BLOB NOT NULL
) STRICT;
",
    "
ALTER TABLE consents ADD COLUMN withdrawn_utc_ns INTEGER;
ALTER TABLE blocks ADD COLUMN closed_utc_ns INTEGER;
ALTER TABLE blocks ADD COLUMN taken_back INTEGER NOT NULL DEFAULT 0;
UPDATE blocks SET closed_utc_ns = ended_utc_ns WHERE NOT EXISTS (SELECT 1 FROM blocks n
  WHERE n.session = blocks.session AND n.number > blocks.number AND n.began_utc_ns = blocks.ended_utc_ns);
ALTER TABLE swings ADD COLUMN calibration INTEGER REFERENCES calibrations ON DELETE SET NULL;
CREATE TABLE moved (
  swing TEXT NOT NULL,
  student TEXT NOT NULL REFERENCES students ON DELETE CASCADE,
  session TEXT NOT NULL REFERENCES sessions ON DELETE CASCADE,
  recording INTEGER NOT NULL REFERENCES recordings ON DELETE CASCADE,
  calibration INTEGER REFERENCES calibrations ON DELETE SET NULL,
  from_ns INTEGER NOT NULL,
  to_ns INTEGER NOT NULL
) STRICT;
CREATE INDEX moved_by_student ON moved (student);
CREATE INDEX moved_by_recording ON moved (recording);
",
    "
INSERT INTO entries (at_utc_ns, who, student, about, key, said)
  SELECT since_utc_ns, 'coach', id, 'student:' || id, 'student', json_object('key', 'student', 'value',
    json_object('id', id, 'name', name, 'side', side, 'sex', sex, 'height_m', height_m, 'mass_kg', mass_kg,
      'born', born)) FROM students;
INSERT INTO entries (at_utc_ns, who, student, about, key, said)
  SELECT since_utc_ns, 'coach', student, 'club:' || id, 'club', json_object('key', 'club', 'value',
    json_object('id', id, 'name', name, 'length_m', length_m, 'mass_kg', mass_kg, 'balance_m', balance_m,
      'inertia_kg_m2', inertia_kg_m2, 'loft_deg', loft_deg, 'lie_deg', lie_deg)) FROM clubs;
",
    "
CREATE TABLE results_in_order (
  swing INTEGER NOT NULL REFERENCES swings ON DELETE CASCADE,
  analysis TEXT NOT NULL,
  measured_utc_ns INTEGER NOT NULL,
  catalogue INTEGER NOT NULL,
  metrics BLOB NOT NULL,
  report TEXT NOT NULL,
  PRIMARY KEY (swing, analysis)
) STRICT;
INSERT INTO results_in_order SELECT swing, analysis, measured_utc_ns, catalogue, metrics, report FROM results
  ORDER BY rowid;
DROP TABLE results;
ALTER TABLE results_in_order RENAME TO results;
CREATE INDEX swings_by_name ON swings (name);
CREATE INDEX swings_in_session ON swings (session, impact_utc_ns);
CREATE TABLE medians (
  student TEXT NOT NULL REFERENCES students ON DELETE CASCADE,
  selection TEXT NOT NULL,
  analysis TEXT NOT NULL,
  swings INTEGER NOT NULL,
  first_year INTEGER NOT NULL,
  last_year INTEGER NOT NULL,
  medians BLOB NOT NULL,
  PRIMARY KEY (student, selection)
) STRICT;
CREATE TRIGGER swing_filed AFTER INSERT ON swings BEGIN
  DELETE FROM medians WHERE student = (SELECT student FROM sessions WHERE id = NEW.session);
END;
CREATE TRIGGER swing_changed AFTER UPDATE ON swings
  WHEN OLD.session <> NEW.session OR OLD.name <> NEW.name OR OLD.kind <> NEW.kind OR OLD.handed <> NEW.handed
    OR OLD.impact_utc_ns <> NEW.impact_utc_ns OR OLD.block IS NOT NEW.block BEGIN
  DELETE FROM medians WHERE student IN (SELECT student FROM sessions WHERE id IN (OLD.session, NEW.session));
END;
CREATE TRIGGER swing_gone BEFORE DELETE ON swings BEGIN
  DELETE FROM medians WHERE student = (SELECT student FROM sessions WHERE id = OLD.session);
END;
CREATE TRIGGER session_gone BEFORE DELETE ON sessions BEGIN
  DELETE FROM medians WHERE student = OLD.student;
END;
CREATE TRIGGER result_filed AFTER INSERT ON results BEGIN
  DELETE FROM medians WHERE student =
    (SELECT s.student FROM swings w JOIN sessions s ON s.id = w.session WHERE w.id = NEW.swing);
END;
CREATE TRIGGER result_changed AFTER UPDATE ON results BEGIN
  DELETE FROM medians WHERE student IN
    (SELECT s.student FROM swings w JOIN sessions s ON s.id = w.session WHERE w.id IN (OLD.swing, NEW.swing));
END;
CREATE TRIGGER result_gone BEFORE DELETE ON results BEGIN
  DELETE FROM medians WHERE student =
    (SELECT s.student FROM swings w JOIN sessions s ON s.id = w.session WHERE w.id = OLD.swing);
END;
CREATE TRIGGER exclusion_entered AFTER INSERT ON entries WHEN NEW.key = 'excluded' BEGIN
  DELETE FROM medians WHERE student = NEW.student;
END;
CREATE TRIGGER exclusion_changed AFTER UPDATE ON entries WHEN NEW.key = 'excluded' BEGIN
  DELETE FROM medians WHERE student IN (OLD.student, NEW.student);
END;
CREATE TRIGGER block_of_another_club AFTER UPDATE ON blocks WHEN OLD.club IS NOT NEW.club BEGIN
  DELETE FROM medians WHERE student = (SELECT student FROM sessions WHERE id = NEW.session);
END;
CREATE TRIGGER club_renamed AFTER UPDATE ON clubs WHEN OLD.name <> NEW.name BEGIN
  DELETE FROM medians WHERE student = NEW.student;
END;
CREATE TRIGGER club_gone BEFORE DELETE ON clubs BEGIN
  DELETE FROM medians WHERE student = OLD.student;
END;
CREATE TRIGGER consent_changed AFTER UPDATE ON consents BEGIN
  DELETE FROM medians WHERE student = NEW.student;
END;
CREATE TRIGGER consent_gone BEFORE DELETE ON consents BEGIN
  DELETE FROM medians WHERE student = OLD.student;
END;
",
];

/// Version of the store that this program writes.
pub(super) const VERSION: u32 = STEPS.len() as u32;

/// Brings a store to today's version. One that is older is first copied beside itself; one that is
/// newer is refused. Returns the copy, if one was made.
pub(super) fn migrate(db: &mut Connection, path: &Path) -> Result<Option<PathBuf>, ArchiveError> {
    steps(db, path, STEPS)
}

fn steps(
    db: &mut Connection,
    path: &Path,
    steps: &[&str],
) -> Result<Option<PathBuf>, ArchiveError> {
    // The lock first: two programs that start at once must not both build the tables.
    let db = db.transaction_with_behavior(rusqlite::TransactionBehavior::Immediate)?;
    let found: u32 = db.pragma_query_value(None, "user_version", |row| row.get(0))?;
    let known = steps.len() as u32;
    if found > known {
        return Err(ArchiveError::Newer { found, known });
    }
    let due = steps.get(found as usize..).unwrap_or_default();
    let copy = (found > 0 && !due.is_empty()).then(|| path.with_extension(format!("v{found}.db")));
    if let Some(copy) = &copy {
        // What is committed is in the file and its log; a second connection copies both.
        super::store::copy(&Connection::open(path)?, copy)?;
    }
    for step in due {
        db.execute_batch(step)?;
    }
    db.pragma_update(None, "user_version", known)?;
    db.commit()?;
    Ok(copy)
}

#[cfg(test)]
mod tests {
    use protocol::lesson::Student;

    use super::*;

    /// What a store of version 2 held is there, and a block that ended by itself is told from one that the
    /// next one ended.
    #[test]
    fn a_store_of_version_two_keeps_its_lessons() {
        let dir = super::super::test_dir("version-two");
        let path = dir.join("a.db");
        let mut db = Connection::open(&path).unwrap();
        steps(&mut db, &path, &STEPS[..2]).unwrap();
        db.execute_batch(
            "INSERT INTO students (id, name, born, since_utc_ns) VALUES ('s-1', 'Ivo Brandt', 1940, 1);
             INSERT INTO consents VALUES ('s-1', 'lesson', NULL, 5);
             INSERT INTO clubs VALUES ('c-1', 's-1', 'driver', 1.14, NULL, NULL, NULL, NULL, NULL, 6);
             INSERT INTO sessions VALUES ('a-1', 's-1', 'a', 'UTC', '0', 10, NULL);
             INSERT INTO calibrations (student, text, since_utc_ns) VALUES ('s-1', 'kept', 11);
             INSERT INTO recordings (session, file) VALUES ('a-1', 'a-1.mcap');
             INSERT INTO blocks (session, number, purpose, planned, began_utc_ns, ended_utc_ns) VALUES
               ('a-1', 1, 'baseline', 10, 20, 30), ('a-1', 2, 'practice', 10, 30, 40), ('a-1', 3, 'check', 10, 50, NULL);
             INSERT INTO swings (session, name, kind, handed, impact_utc_ns, recording, from_ns, to_ns, datagrams, digest, block)
               VALUES ('a-1', 'a-1-1', 'shot', 'right', 35, 1, 0, 9, 5, 7, 2);",
        )
        .unwrap();
        drop(db);
        let mut store = super::super::store::Store::open(&path).unwrap();
        assert!(path.with_extension("v2.db").is_file());
        let blocks = store.blocks("a-1").unwrap();
        let ends: Vec<_> = blocks.iter().map(|b| b.ended_utc_ns).collect();
        assert_eq!(ends, [Some(30), Some(40), None]);
        assert_eq!(blocks[1].shots, 1);
        let db = Connection::open(&path).unwrap();
        let closed = |n: u32| -> Option<i64> {
            let sql = "SELECT closed_utc_ns FROM blocks WHERE number = ?1";
            db.query_row(sql, [n], |r| r.get(0)).unwrap()
        };
        assert_eq!([closed(1), closed(2), closed(3)], [None, Some(40), None]);
        store.require_consent("s-1", "lesson", 100).unwrap();
        let (calibration, text) = store.calibration("s-1").unwrap().unwrap();
        assert_eq!((calibration, text.as_str()), (1, "kept"));
        assert!(store.damage().unwrap().is_empty());
        // What was told before there were entries about it is the first entry.
        let mut club = store.club("c-1").unwrap().0;
        club.length_m = Some(1.16);
        let entry = store.tell_club(&club, 100).unwrap().unwrap();
        store.undo(entry, "coach", 101).unwrap();
        assert_eq!(store.club("c-1").unwrap().0.length_m, Some(1.14));
        let renamed = Student {
            name: "Ivo Brandt-Lind".into(),
            ..store.student("s-1").unwrap()
        };
        let entry = store.tell(&renamed, 102).unwrap().unwrap();
        store.undo(entry, "coach", 103).unwrap();
        assert_eq!(store.student("s-1").unwrap().name, "Ivo Brandt");
    }

    #[test]
    fn an_older_store_is_copied_and_taken_on_and_a_newer_one_refused() {
        let dir = super::super::test_dir("schema");
        let path = dir.join("a.db");
        let mut db = Connection::open(&path).unwrap();
        let first = "CREATE TABLE t (a TEXT) STRICT; INSERT INTO t VALUES ('kept');";
        let second = "ALTER TABLE t ADD COLUMN b INTEGER NOT NULL DEFAULT 7;";
        assert_eq!(steps(&mut db, &path, &[first]).unwrap(), None);
        let copy = steps(&mut db, &path, &[first, second]).unwrap().unwrap();
        let row = |db: &Connection, what: &str| -> String {
            db.query_row(&format!("SELECT {what} FROM t"), [], |r| r.get(0))
                .unwrap()
        };
        assert_eq!(row(&db, "a || b"), "kept7");
        let copied = Connection::open(copy).unwrap();
        assert_eq!(row(&copied, "a"), "kept");
        assert!(copied.prepare("SELECT b FROM t").is_err());
        // Nothing is due any more, and a program that knows one step only stays away.
        assert_eq!(steps(&mut db, &path, &[first, second]).unwrap(), None);
        let refused = steps(&mut db, &path, &[first]).unwrap_err().to_string();
        assert!(
            refused.contains("version 2") && refused.contains("up to 1"),
            "{refused}"
        );
    }
}
