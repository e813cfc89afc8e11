//! What the archive keeps, as plain structs: students, consents, sessions, recordings, swings, results.
//! How it is kept is in `store`.

pub use protocol::lesson::Student;
use serde::Serialize;

/// What a student, or the guardian of one, agrees to.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Consent {
    /// `lesson`, `research` or `publication`.
    pub scope: String,
    /// Who agreed for a minor.
    pub guardian: Option<String>,
    /// Nanoseconds since 1970 in UTC.
    pub given_utc_ns: u64,
    /// When it was withdrawn; from then on it does not count.
    pub withdrawn_utc_ns: Option<u64>,
}

/// A session: one student in one bay.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Session {
    /// Identifier: bay and date of the beginning in milliseconds.
    pub id: String,
    /// Student's identifier.
    pub student: String,
    /// Bay's identifier.
    pub bay: String,
    /// IANA time zone of the bay.
    pub zone: String,
    /// Version of the program.
    pub program: String,
    /// Nanoseconds since 1970 in UTC.
    pub began_utc_ns: u64,
    /// Absent while it goes on, and after a crash.
    pub ended_utc_ns: Option<u64>,
}

/// A recording of a session.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Recording {
    /// Its row.
    #[serde(skip)]
    pub id: i64,
    /// Session's identifier.
    pub session: String,
    /// File name.
    pub file: String,
    /// Datagrams that the disk was too slow for.
    pub lost: u64,
    /// Absent while it goes on, and after a crash.
    pub ended_utc_ns: Option<u64>,
}

/// Where a swing lies in its recording.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct Place {
    /// Row of the recording.
    #[serde(skip)]
    pub recording: i64,
    /// Arrival of the first datagram of its window, nanoseconds of the recording's clock.
    pub from_ns: u64,
    /// Arrival of the datagram that completed it.
    pub to_ns: u64,
    /// Datagrams between them, both included.
    pub datagrams: u64,
    /// Their digest: count and CRC of the frames.
    pub digest: u32,
}

/// A swing as listed.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Swing {
    /// Its row.
    #[serde(skip)]
    pub row: i64,
    /// Identifier, as in its report.
    pub id: String,
    /// Session's identifier.
    pub session: String,
    /// `shot`, `rehearsal` or `swing`.
    pub kind: String,
    /// `right` or `left`.
    pub handed: String,
    /// Impact, nanoseconds since 1970 in UTC, by arrival.
    pub impact_utc_ns: u64,
    /// Where it lies.
    pub place: Place,
    /// The block it belongs to.
    pub block: Option<i64>,
    /// Row of the calibration that it was measured with.
    #[serde(skip)]
    pub calibration: Option<i64>,
}

/// One measurement of a swing.
#[derive(Debug, Clone, PartialEq)]
pub struct Outcome {
    /// Version of the program that measured.
    pub analysis: String,
    /// When, nanoseconds since 1970 in UTC.
    pub measured_utc_ns: u64,
    /// Values that the catalogue had then.
    pub catalogue: u32,
    /// The report, JSON.
    pub report: String,
    /// The values (`super::values`).
    pub metrics: Vec<u8>,
}

/// What is drawn of a swing (`super::filing`).
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Take {
    /// The pose over time, packed.
    pub replay: Vec<u8>,
    /// Derived signals, packed.
    pub curves: Vec<u8>,
}

/// Which sessions or swings are meant.
#[derive(Debug, Clone, Copy)]
pub enum Which<'a> {
    /// Every one.
    All,
    /// Those of a student.
    Student(&'a str),
    /// Those of a session.
    Session(&'a str),
}
