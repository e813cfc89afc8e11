//! Recordings: every datagram that was admitted, with its arrival, and every tick, in the order in
//! which the analysis got them; read back they give the same reports. The container is MCAP
//! (mcap.dev, an open log format: any of its tools opens a recording). What a datagram says, and
//! when to record, is for others.
//!
//! # Format 1
//!
//! One metadata record named `whin` stands before all chunks:
//!
//! | key | value |
//! |---|---|
//! | `whin.format` | `1`; a reader refuses a larger number |
//! | `whin.channel` | number of the channel with the batches |
//! | `bay` | bay id |
//! | `zone` | IANA time zone of the bay |
//! | `program` | version of the program that wrote it |
//! | `clock_zero_utc_ns` | date of arrival 0: nanoseconds since 1970 in UTC, decimal |
//! | `marker_map` | text of the marker map |
//! | `context` | text of the context; absent if there was none |
//! | `late_ns` | how much later than the markers streams tell of things, `stream=nanoseconds` by commas; absent if never told |
//!
//! One channel (topic `datagrams`, encoding `x-whin-batch`, schema `whin.Batch`) has messages that
//! each hold up to 50 ms of *entries*, one after the other, little-endian:
//!
//! | type | field | |
//! |---|---|---|
//! | u32 | length | bytes of the datagram; `ffffffff` marks a tick, which has no bytes |
//! | u64 | time | arrival of the datagram, or the tick, in nanoseconds since arrival 0 |
//! | bytes | datagram | exactly as it came |
//!
//! A message's `log_time` is the date (UTC) of its first entry; its `publish_time` is the device
//! time of its first datagram where there is one that is not negative, else the `log_time`.
//!
//! Two more channels (topics `events` and `reports`, encoding `json`, with their JSON Schemas) hold what
//! an archive's bay found in the datagrams: an event's `publish_time` is its device time, its `log_time`
//! the date at which the swing was complete. Readers of datagrams pass over them.
//!
//! Chunks are compressed by zstd, carry a CRC, close at 256 KiB or 250 ms and are written whole and
//! in order: a torn file has lost the open chunk and nothing else.

mod batch;
mod notes;
mod read;
#[cfg(test)]
mod tests;
mod write;

use std::collections::BTreeMap;
use std::path::PathBuf;

use thiserror::Error;

use crate::errors::Code;

pub use read::{Loss, Recording, read, read_bytes};
pub use write::Recorder;

/// Newest format that this program reads, and the one that it writes.
pub const FORMAT: u32 = 1;

/// Name of the metadata record.
const METADATA: &str = "whin";
/// Its field that stands in recordings of swings only.
const ONLY_SWINGS: &str = "only_swings";

/// What a recording says about itself.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Meta {
    /// Bay id.
    pub bay: String,
    /// IANA time zone of the bay.
    pub zone: String,
    /// Version of the program that wrote it.
    pub program: String,
    /// Date of arrival 0: nanoseconds since 1970 in UTC.
    pub clock_zero_utc_ns: u64,
    /// Text of the marker map.
    pub marker_map: String,
    /// Text of the context, if there was one.
    pub context: Option<String>,
    /// How much later than the markers each stream tells of things, nanoseconds by stream number.
    pub late_ns: BTreeMap<u32, i64>,
    /// Whether only what is around swings was recorded.
    pub only_swings: bool,
}

/// One entry of a recording. Times are nanoseconds since arrival 0.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Recorded {
    /// A datagram as it came.
    Datagram {
        /// When it came.
        arrival_ns: u64,
        /// What came.
        bytes: Vec<u8>,
    },
    /// The analysis was told that time passes.
    Tick {
        /// The time it was told.
        now_ns: u64,
    },
}

/// Why a recording cannot be written or read.
#[derive(Debug, Error)]
pub enum RecordingError {
    /// The file cannot be created; one that exists is not overwritten.
    #[error("cannot create recording: {why}: {}", path.display())]
    Create {
        /// The file.
        path: PathBuf,
        /// What the system says.
        why: std::io::Error,
    },
    /// The file cannot be opened.
    #[error("cannot open recording: {why}: {}", path.display())]
    Open {
        /// The file.
        path: PathBuf,
        /// What the system says.
        why: std::io::Error,
    },
    /// The file cannot be written on. Once it has failed a recording takes nothing more.
    #[error("cannot write recording: {why}: {}", path.display())]
    Write {
        /// The file.
        path: PathBuf,
        /// What the container says.
        why: mcap::McapError,
    },
    /// Not a recording, or torn before it began.
    #[error("not a recording: {why}: {}", path.display())]
    Malformed {
        /// The file.
        path: PathBuf,
        /// What is missing or wrong.
        why: String,
    },
    /// Written by a newer program.
    #[error("recording has format {found}, this program reads up to {FORMAT}: update it: {}", path.display())]
    Newer {
        /// The file.
        path: PathBuf,
        /// Format of the file.
        found: u32,
    },
}

impl RecordingError {
    /// The stable code.
    #[must_use]
    pub fn code(&self) -> Code {
        match self {
            Self::Open { .. } => Code::FileUnreadable,
            Self::Create { .. } | Self::Write { .. } => Code::FileUnwritable,
            Self::Malformed { .. } => Code::RecordingMalformed,
            Self::Newer { .. } => Code::RecordingVersion,
        }
    }
}
