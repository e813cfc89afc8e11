//! The archive: a folder that keeps who swung, what was recorded and what was measured, so that every
//! shot is found again and can be measured again.
//!
//! ```text
//! DIR/store.db                 students, consents, sessions, swings, results (SQLite: `schema`)
//! DIR/recordings/SESSION.mcap  every datagram of a session (`crate::recording`)
//! ```
//!
//! A session whose recording had to stop and went on has `SESSION-2.mcap` and so forth. `writer` is
//! the live path; the other files are the verbs of `whin archive`. SQL is in `store` and `schema`
//! only.

pub mod again;
pub mod board;
pub mod date;
pub mod disk;
pub mod export;
pub mod filing;
pub mod held;
pub mod import;
pub mod keeping;
pub mod moving;
pub mod recover;
pub mod rows;
pub mod store;
pub mod values;
pub mod verify;
pub mod writer;

mod ring;
mod schema;
mod tape;

use std::fs::File;
use std::path::{Path, PathBuf};

use thiserror::Error;

use crate::errors::Code;
use crate::private;
use store::Store;

/// An open archive.
#[derive(Debug)]
pub struct Archive {
    dir: PathBuf,
    /// Its tables.
    pub store: Store,
}

/// Why an archive cannot be used.
#[derive(Debug, Error)]
pub enum ArchiveError {
    /// There is none.
    #[error("no archive at {}: `whin archive enroll` makes one", .0.display())]
    Absent(PathBuf),
    /// The folder cannot be made or written.
    #[error("archive {}: {why}", path.display())]
    Folder {
        /// The folder or file.
        path: PathBuf,
        /// What the system says.
        why: std::io::Error,
    },
    /// Made by a newer program.
    #[error(
        "the archive's store has version {found}, this program reads up to {known}: update the program"
    )]
    Newer {
        /// Version of the store.
        found: u32,
        /// The newest that this program knows.
        known: u32,
    },
    /// The store refuses.
    #[error("the archive's store: {0}")]
    Store(#[from] rusqlite::Error),
    /// No student, session or swing of this name.
    #[error("the archive has no {what} `{name}`")]
    Unknown {
        /// What was looked for.
        what: &'static str,
        /// By which name.
        name: String,
    },
    /// Something in the store is not what it should be.
    #[error("{0} is damaged")]
    Damaged(String),
    /// The student may not be recorded.
    #[error("{0}")]
    NotConsented(String),
    /// What is asked for does not go together.
    #[error("{0}")]
    Unfitting(String),
    /// A calibration trial gives no calibration.
    #[error("no calibration: {0}")]
    Trial(String),
}

impl ArchiveError {
    /// The stable code.
    #[must_use]
    pub fn code(&self) -> Code {
        match self {
            Self::Absent(_) => Code::ArchiveAbsent,
            Self::Folder { .. } => Code::FileUnwritable,
            Self::Newer { .. } => Code::ArchiveVersion,
            Self::Store(_) => Code::ArchiveStore,
            Self::Unknown { .. } => Code::ArchiveUnknown,
            Self::Damaged(_) => Code::ArchiveDamaged,
            Self::NotConsented(_) => Code::ConsentMissing,
            Self::Unfitting(_) => Code::ArchiveUnfitting,
            Self::Trial(_) => Code::TrialUnusable,
        }
    }
}

impl Archive {
    /// Opens the archive in a folder, which is made when there is none.
    ///
    /// # Errors
    /// When the folder cannot be written or the store is newer than this program.
    pub fn create(dir: &Path) -> Result<Self, ArchiveError> {
        let recordings = dir.join("recordings");
        let failed = |path: &Path| {
            let path = path.to_owned();
            move |why| ArchiveError::Folder { path, why }
        };
        // Names, bodies and how they move: for this user only.
        private::folder(dir).map_err(failed(dir))?;
        private::folder(&recordings).map_err(failed(&recordings))?;
        let archive = Self {
            dir: dir.to_owned(),
            store: Store::open(&dir.join("store.db"))?,
        };
        // The names in the folders must outlive a power cut as well as the files.
        sync_dir(dir).map_err(failed(dir))?;
        Ok(archive)
    }

    /// Opens an archive that exists.
    ///
    /// # Errors
    /// As [`Archive::create`], and when there is none.
    pub fn open(dir: &Path) -> Result<Self, ArchiveError> {
        if !dir.join("store.db").is_file() {
            return Err(ArchiveError::Absent(dir.to_owned()));
        }
        Self::create(dir)
    }

    /// The folder.
    #[must_use]
    pub fn dir(&self) -> &Path {
        &self.dir
    }

    /// Where a recording of this name lies.
    #[must_use]
    pub fn recording(&self, file: &str) -> PathBuf {
        self.dir.join("recordings").join(file)
    }
}

/// Brings the names in a folder to the disk.
pub(crate) fn sync_dir(dir: &Path) -> std::io::Result<()> {
    File::open(dir)?.sync_all()
}

/// An empty folder of one test.
#[cfg(test)]
pub(crate) fn test_dir(name: &str) -> PathBuf {
    let dir = std::env::temp_dir().join(format!("whin-archive-{}-{name}", std::process::id()));
    drop(std::fs::remove_dir_all(&dir));
    std::fs::create_dir_all(&dir).expect("a temporary folder");
    dir
}
