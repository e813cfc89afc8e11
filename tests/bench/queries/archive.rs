//! An archive of metrics only, with the real tables: golfers who agreed, each with a driver and an iron, lessons of two
//! blocks, shots with packed values; and one student with many shots of one club. No datagrams and no drawings, and
//! reports without content. The same for the same seed, whoever writes it.

use std::path::Path;

use analysis::coaching::shot::Metric;
use analysis::metrics::catalogue::Unit;
use daemon::archive::Archive;
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng as _, SeedableRng as _};
use rusqlite::{Connection, Statement, params};

/// The student with many shots.
pub(super) const REGULAR: &str = "s-regular";
/// 2026-01-01.
const BEGAN: i64 = 1_767_225_600_000_000_000;
const DAY: i64 = 86_400_000_000_000;
/// Shots of a block and of a lesson.
const BLOCK: u32 = 25;
const LESSON: u32 = 2 * BLOCK;
/// Golfers of one transaction.
const TOGETHER: u32 = 50;

/// How much.
pub(super) struct Plan {
    pub(super) golfers: u32,
    pub(super) swings: u32,
    pub(super) regular: u32,
    pub(super) metrics: usize,
    pub(super) seed: u64,
}

impl Plan {
    /// The metrics that are there.
    pub(super) fn numbers(&self) -> Vec<Metric> {
        Metric::all()
            .filter(|m| m.unit() != Unit::Code)
            .take(self.metrics)
            .collect()
    }

    pub(super) fn ids(&self) -> Vec<String> {
        self.numbers().iter().map(|m| m.id()).collect()
    }
}

/// Identifier of a golfer's shot.
pub(super) fn swing(golfer: u32, shot: u32) -> String {
    format!("bay-{golfer:08}-{shot:010}")
}

/// Writes the archive's `part`: 0 is all golfers with their shots, each further one as many shots of them again.
pub(super) fn write(dir: &Path, plan: &Plan, part: u32) {
    drop(Archive::create(dir).expect("an archive"));
    let mut db = Connection::open(dir.join("store.db")).expect("the store");
    db.execute_batch(
        "PRAGMA journal_mode = OFF; PRAGMA synchronous = OFF; PRAGMA cache_size = -200000;",
    )
    .expect("a quick writer");
    if part == 0
        && db.query_row("SELECT count(*) FROM students", [], |r| r.get::<_, u32>(0)) != Ok(0)
    {
        return;
    }
    let mut from = 0;
    while from < plan.golfers {
        let tx = db.transaction().expect("a transaction");
        let mut rows = Rows::of(&tx);
        for golfer in from..(from + TOGETHER).min(plan.golfers) {
            let id = format!("s-{golfer:010x}");
            if part == 0 {
                rows.student(&id, golfer, true);
            }
            rows.shots((&id, golfer), plan, (part * plan.swings, plan.swings));
        }
        if part == 0 && from == 0 {
            rows.student(REGULAR, plan.golfers, false);
            rows.shots((REGULAR, plan.golfers), plan, (0, plan.regular));
        }
        drop(rows);
        tx.commit().expect("written");
        from += TOGETHER;
    }
    db.pragma_update(None, "journal_mode", "WAL")
        .expect("as it was");
}

struct Rows<'a> {
    db: &'a Connection,
    session: Statement<'a>,
    recording: Statement<'a>,
    block: Statement<'a>,
    swing: Statement<'a>,
    result: Statement<'a>,
}

impl<'a> Rows<'a> {
    fn of(db: &'a Connection) -> Self {
        let prepared = |sql| {
            db.prepare(sql)
                .expect("the tables as the program makes them")
        };
        Self {
            session: prepared("INSERT INTO sessions VALUES (?1, ?2, 'bay', 'UTC', '0', ?3, ?4)"),
            recording: prepared("INSERT INTO recordings (session, file, ended_utc_ns) VALUES (?1, ?1 || '.mcap', ?2)"),
            block: prepared(
                "INSERT INTO blocks (session, number, purpose, club, planned, began_utc_ns, ended_utc_ns)
                 VALUES (?1, ?2, 'practice', ?3, 25, ?4, ?5)",
            ),
            swing: prepared(
                "INSERT INTO swings (session, name, kind, handed, impact_utc_ns, recording, from_ns, to_ns, datagrams, digest, block)
                 VALUES (?1, ?2, 'shot', 'right', ?3, ?4, ?5, ?5 + 9, 5, 0, ?6)",
            ),
            result: prepared(
                "INSERT INTO results (swing, analysis, measured_utc_ns, catalogue, report, metrics) VALUES (?1, ?2, ?3, ?4, '{}', ?5)",
            ),
            db,
        }
    }

    fn student(&self, id: &str, golfer: u32, consented: bool) {
        let sex = if golfer.is_multiple_of(2) {
            "female"
        } else {
            "male"
        };
        let sql = "INSERT INTO students (id, name, side, sex, born, since_utc_ns) VALUES (?1, ?2, 'right', ?3, ?4, ?5)";
        let born = 1950 + golfer % 50;
        let name = format!("Golfer {golfer:06}");
        self.db
            .execute(sql, params![id, name, sex, born, BEGAN])
            .expect("a student");
        if consented {
            let sql =
                "INSERT INTO consents (student, scope, given_utc_ns) VALUES (?1, 'research', ?2)";
            self.db.execute(sql, params![id, BEGAN]).expect("a consent");
        }
        for (club, name) in [("", "driver"), ("-iron", "7-iron")] {
            let sql = "INSERT INTO clubs (id, student, name, since_utc_ns) VALUES ('c-' || ?1 || ?2, ?1, ?3, ?4)";
            self.db
                .execute(sql, params![id, club, name, BEGAN])
                .expect("a club");
        }
    }

    /// Shots of a golfer from a number on, in lessons of their own.
    fn shots(&mut self, (id, golfer): (&str, u32), plan: &Plan, (from, count): (u32, u32)) {
        let numbers = plan.numbers();
        let width = numbers.last().map_or(0, |m| m.index() + 1);
        let mut own = ChaCha8Rng::seed_from_u64(plan.seed << 32 | u64::from(golfer));
        let habit: Vec<f64> = numbers.iter().map(|_| bell(&mut own)).collect();
        let mut luck = ChaCha8Rng::seed_from_u64(plan.seed << 32 | u64::from(golfer));
        luck.set_stream(1 + u64::from(from));
        let (mut session, mut recording, mut block) = (String::new(), 0, 0);
        for shot in from..from + count {
            let lesson = shot / LESSON;
            let began = BEGAN + 7 * DAY * i64::from(lesson) + 1_000_000 * i64::from(golfer);
            let at = began + 30_000_000_000 * i64::from(1 + shot % LESSON);
            if shot == from || shot % LESSON == 0 {
                session = format!("bay-{golfer}-{from}-{lesson}");
                let ended = began + DAY / 24;
                self.session
                    .execute(params![session, id, began, ended])
                    .expect("a lesson");
                self.recording
                    .execute(params![session, ended])
                    .expect("a recording");
                recording = self.db.last_insert_rowid();
            }
            if shot == from || shot % BLOCK == 0 {
                let number = 1 + shot % LESSON / BLOCK;
                // The regular one plays one club, the others each in turn.
                let iron = id != REGULAR && number == 2;
                let club = format!("c-{id}{}", if iron { "-iron" } else { "" });
                let ended = at + 30_000_000_000 * i64::from(BLOCK);
                self.block
                    .execute(params![session, number, club, at, ended])
                    .expect("a block");
                block = self.db.last_insert_rowid();
            }
            let name = swing(golfer, shot);
            let place = i64::from(shot) * 10;
            self.swing
                .execute(params![session, name, at, recording, place, block])
                .expect("a swing");
            let swing = self.db.last_insert_rowid();
            let mut values = vec![f64::NAN; width];
            for (metric, habit) in numbers.iter().zip(&habit) {
                values[metric.index()] = 10.0 + 5.0 * habit + bell(&mut luck);
            }
            let version = env!("CARGO_PKG_VERSION");
            self.result
                .execute(params![swing, version, at, width as i64, packed(&values)])
                .expect("a result");
        }
    }
}

/// A value about 0 with a deviation of about 1: the sum of the four parts of one draw.
fn bell(rng: &mut ChaCha8Rng) -> f64 {
    let bits = rng.next_u64();
    let parts = (0..4).map(|n| f64::from((bits >> (16 * n)) as u16) / 65_536.0);
    (parts.sum::<f64>() - 2.0) * 3_f64.sqrt()
}

/// As a row of results has them (`daemon::archive::values`, format 1).
fn packed(values: &[f64]) -> Vec<u8> {
    let mut blob = vec![1];
    blob.extend((values.len() as u16).to_le_bytes());
    blob.extend(values.iter().flat_map(|v| v.to_le_bytes()));
    blob.extend(values.iter().flat_map(|_| f64::NAN.to_le_bytes()));
    blob.extend(values.iter().flat_map(|_| [0, 0]));
    blob.extend(values.iter().map(|v| if v.is_nan() { 2 } else { 0 }));
    blob.extend([0, 0]);
    blob
}
