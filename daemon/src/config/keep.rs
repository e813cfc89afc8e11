//! The part of the configuration that says what is kept, and where: recordings of datagrams, the archive.

use std::ops::Range;
use std::path::{Path, PathBuf};

use serde::Deserialize;

use super::{optional, within};
use crate::archive::held::Around;

/// Before a swing at least the longest window that is measured (9.6 s before the pass, 1.3 s after it, the
/// streams' descriptions before it).
const BEFORE_SECONDS: Range<u32> = 14..61;
/// After a swing.
const AFTER_SECONDS: Range<u32> = 0..61;

/// What is kept of the datagrams.
#[derive(Debug, Clone, Default, PartialEq, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Recording {
    /// Folder for recordings; without one nothing is recorded.
    pub dir: Option<PathBuf>,
}

/// Where sessions of students are kept.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Archive {
    /// Folder of the archive; without one nothing is kept.
    pub dir: Option<PathBuf>,
    /// Pseudonym of the student whose session begins; without one nothing is recorded.
    pub student: Option<String>,
    /// What of a session is recorded.
    pub record: Recorded,
    /// Seconds before a swing, where only swings are recorded.
    #[serde(deserialize_with = "before")]
    pub before_seconds: u32,
    /// Seconds after it.
    #[serde(deserialize_with = "after")]
    pub after_seconds: u32,
}

/// What of a session is recorded.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Recorded {
    /// Every datagram.
    #[default]
    All,
    /// Those around swings.
    Swings,
}

impl Default for Archive {
    fn default() -> Self {
        Self {
            dir: None,
            student: None,
            record: Recorded::All,
            before_seconds: BEFORE_SECONDS.start,
            after_seconds: 3,
        }
    }
}

impl Archive {
    /// How much around each swing is recorded; without a value everything is.
    #[must_use]
    pub fn around(&self) -> Option<Around> {
        let ns = |seconds: u32| u64::from(seconds) * 1_000_000_000;
        (self.dir.is_some() && self.record == Recorded::Swings).then(|| Around {
            before_ns: ns(self.before_seconds),
            after_ns: ns(self.after_seconds),
        })
    }
}

impl Recorded {
    fn as_str(self) -> &'static str {
        match self {
            Self::All => "all",
            Self::Swings => "swings",
        }
    }
}

/// The sections of a file with these values and a word on each.
pub(super) fn to_toml(recording: &Recording, archive: &Archive) -> String {
    format!(
        "\
[recording]
# Folder for recordings of the datagrams; without it nothing is recorded.
{recording_dir}

[archive]
# Folder of the archive, and the student whose session begins when the bay starts: a pseudonym that
# `whin archive enroll` gives. Without a student who consented nothing is recorded.
{archive_dir}
{archive_student}
# \"all\" datagrams of a session, or those around \"swings\". The latter needs a tenth of the disk, but what was
# no swing cannot be looked at again, and plates that were empty earlier than this have no zero in it.
record = \"{record}\"
before_seconds = {before}
after_seconds = {after}
",
        recording_dir = optional("dir", recording.dir.as_deref(), "recordings"),
        archive_dir = optional("dir", archive.dir.as_deref(), "archive"),
        archive_student = optional(
            "student",
            archive.student.as_deref().map(Path::new),
            "s-0123456789"
        ),
        record = archive.record.as_str(),
        before = archive.before_seconds,
        after = archive.after_seconds,
    )
}

fn before<'de, D: serde::Deserializer<'de>>(from: D) -> Result<u32, D::Error> {
    within(u32::deserialize(from)?, &BEFORE_SECONDS)
}

fn after<'de, D: serde::Deserializer<'de>>(from: D) -> Result<u32, D::Error> {
    within(u32::deserialize(from)?, &AFTER_SECONDS)
}
