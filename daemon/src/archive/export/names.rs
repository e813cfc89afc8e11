//! By which names and dates an export speaks of people: the archive's pseudonyms and true dates, or, in
//! an anonymous one, names and dates that only this archive's key could lead back to it.
//!
//! The key is 32 random bytes in `anonymous.key` beside the store; a backup has it too, an export never.
//! From it come, the same in every anonymous export: another pseudonym of each student, other names of
//! sessions and swings (the archive's own contain dates), and for each student a number of whole days
//! by which his dates are moved back, so that times of day and the days between lessons stay.

use std::fs::{self, File};
use std::io::{Read as _, Write as _};
use std::os::unix::fs::OpenOptionsExt as _;
use std::path::Path;

use protocol::report::{Report, Transport};
use sha2::{Digest as _, Sha256};

use crate::archive::rows::{Session, Student};
use crate::archive::{Archive, ArchiveError, date, sync_dir};

/// Name of the key in the archive's folder.
pub(in crate::archive) const KEY: &str = "anonymous.key";
/// Dates move back by 1 to this many days (ten years).
const DAYS: u64 = 3652;
const DAY_NS: u64 = 86_400_000_000_000;

/// The key of an archive's anonymous names.
pub(super) struct Secret([u8; 32]);

/// Names and dates of one session.
pub(super) struct Names<'a> {
    secret: Option<&'a Secret>,
    session_id: &'a str,
    /// Pseudonym of the student.
    pub(super) student: String,
    /// Name of the session.
    pub(super) session: String,
    back_ns: u64,
}

impl Secret {
    /// The archive's key, which is made when there is none.
    pub(super) fn of(archive: &Archive) -> Result<Self, ArchiveError> {
        let path = archive.dir().join(KEY);
        let failed = |why| ArchiveError::Folder {
            path: path.clone(),
            why,
        };
        if !path.is_file() {
            make(archive.dir(), &path).map_err(failed)?;
        }
        let bytes = fs::read(&path).map_err(failed)?;
        let key = bytes.try_into().ok();
        key.map(Self)
            .ok_or_else(|| ArchiveError::Damaged(format!("{} (32 bytes)", path.display())))
    }

    /// The keyed hash of a name. What is hashed with the key has a fixed length.
    fn hash(&self, what: &str, name: &str) -> [u8; 32] {
        let named = Sha256::digest(format!("{what}\0{name}"));
        let mut hash = Sha256::new();
        hash.update(self.0);
        hash.update(named);
        hash.finalize().into()
    }

    fn name(&self, what: &str, name: &str) -> String {
        let hex: String = self.hash(what, name)[..6]
            .iter()
            .map(|b| format!("{b:02x}"))
            .collect();
        format!("{what}-{hex}")
    }
}

fn make(dir: &Path, path: &Path) -> std::io::Result<()> {
    let mut key = [0; 32];
    File::open("/dev/urandom")?.read_exact(&mut key)?;
    // Whole before it bears its name.
    let part = path.with_extension("part");
    let mut open = File::options();
    let mut file = open
        .write(true)
        .create(true)
        .truncate(true)
        .mode(0o600)
        .open(&part)?;
    file.write_all(&key)?;
    file.sync_all()?;
    fs::rename(&part, path)?;
    sync_dir(dir)
}

impl<'a> Names<'a> {
    pub(super) fn new(secret: Option<&'a Secret>, session: &'a Session) -> Self {
        let days = secret.map_or(0, |s| {
            let hash = s.hash("days", &session.student);
            let (number, _) = hash.split_first_chunk().unwrap_or((&[0; 8], &[]));
            1 + u64::from_le_bytes(*number) % DAYS
        });
        let name =
            |what, name: &str| secret.map_or_else(|| name.to_owned(), |s| s.name(what, name));
        Self {
            secret,
            session_id: &session.id,
            student: name("person", &session.student),
            session: name("lesson", &session.id),
            back_ns: days * DAY_NS,
        }
    }

    pub(super) fn anonymous(&self) -> bool {
        self.secret.is_some()
    }

    /// Name of a swing.
    pub(super) fn swing(&self, id: &str) -> String {
        let whole = || format!("{}\0{id}", self.session_id);
        self.secret
            .map_or_else(|| id.to_owned(), |s| s.name("swing", &whole()))
    }

    /// A date as told.
    pub(super) fn utc_ns(&self, utc_ns: u64) -> u64 {
        utc_ns.saturating_sub(self.back_ns)
    }

    /// A report as told. Device clocks and frame counters may tell a date: in an anonymous one both
    /// count from impact, and how the data arrived is left out.
    pub(super) fn report(&self, mut report: Report) -> Report {
        if !self.anonymous() {
            return report;
        }
        report.id = self.swing(&report.id);
        report.transport = Transport {
            completed_at_ns: None,
            ..report.transport
        };
        let events = &mut report.measurement.events;
        let impact = events.get("impact");
        let zero = impact.map_or((None, None), |e| (e.time_s, e.frame));
        let since = |value: Option<f64>, zero: Option<f64>| Some(value? - zero?);
        for event in events.values_mut() {
            event.time_s = since(event.time_s, zero.0).map(|s| crate::outgoing::rounded(s, 1e6));
            event.frame = since(event.frame, zero.1).map(|n| crate::outgoing::rounded(n, 1e3));
        }
        report
    }
}

/// The student's age at a date, as a band; only the year of birth is known.
pub(super) fn age_band(student: &Student, utc_ns: u64) -> &'static str {
    match date::year(utc_ns) - student.born {
        ..=12 => "under 13",
        13..=17 => "13-17",
        18..=29 => "18-29",
        30..=39 => "30-39",
        40..=49 => "40-49",
        50..=59 => "50-59",
        60..=69 => "60-69",
        _ => "70 and over",
    }
}
