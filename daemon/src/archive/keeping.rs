//! A whole archive copied, and a student erased from it.

use std::fs::{self, File};
use std::path::{Path, PathBuf};

use serde::Serialize;

use super::export::KEY;
use super::rows::Which;
use super::{Archive, ArchiveError, moving, sync_dir};

/// What was copied.
#[derive(Debug, Default, Serialize)]
pub struct Copied {
    /// Recordings.
    pub recordings: usize,
    /// Their bytes.
    pub bytes: u64,
}

/// What was erased, and what is left.
#[derive(Debug, Default, Serialize)]
pub struct Erased {
    /// Sessions.
    pub sessions: usize,
    /// Swings.
    pub swings: usize,
    /// Recordings, each of this student alone.
    pub recordings: usize,
    /// Their bytes.
    pub bytes: u64,
    /// Recordings of others out of which shots of this student were cut.
    pub cut: usize,
    /// Files of the archive in which name or pseudonym still stand, such as copies that a migration
    /// made. Backups and exports elsewhere are not looked at.
    pub still_in: Vec<String>,
}

/// Copies an archive to a new folder while bays go on writing: first the store as it is at one moment,
/// then every recording that it names, which by then holds at least what the store says.
///
/// # Errors
/// When the folder exists already or cannot be written.
pub fn backup(archive: &Archive, to: &Path) -> Result<Copied, ArchiveError> {
    let failed = |path: &Path| {
        let path = path.to_owned();
        move |why| ArchiveError::Folder { path, why }
    };
    fs::create_dir(to).map_err(failed(to))?;
    archive.store.copy_to(&to.join("store.db"))?;
    let copy = Archive::open(to)?;
    let mut done = Copied::default();
    for row in copy.store.recordings(Which::All)? {
        let (from, path) = (archive.recording(&row.file), copy.recording(&row.file));
        done.bytes += fs::copy(&from, &path).map_err(failed(&from))?;
        let synced = File::open(&path).and_then(|file| file.sync_all());
        synced.map_err(failed(&path))?;
        done.recordings += 1;
    }
    // Without it the copy's anonymous exports would have other names.
    let key = archive.dir().join(KEY);
    if key.is_file() {
        fs::copy(&key, to.join(KEY)).map_err(failed(&key))?;
    }
    sync_dir(&copy.recording("")).map_err(failed(to))?;
    Ok(done)
}

/// Erases a student: recordings, then rows. A session is one student's, so nobody else's swings are in
/// those recordings; shots that were moved to the student are cut out of the recordings they were made in.
/// Cut short (a crash), it is to be called again.
///
/// # Errors
/// When there is no such student, or a file cannot be removed.
pub fn erase(archive: &mut Archive, student: &str) -> Result<Erased, ArchiveError> {
    let told = archive.store.student(student)?;
    let which = Which::Student(student);
    let mut done = Erased {
        cut: moving::cut_out(archive, student)?,
        sessions: archive.store.sessions(which)?.len(),
        swings: archive.store.swings(which)?.len(),
        ..Erased::default()
    };
    for row in archive.store.recordings(which)? {
        let path = archive.recording(&row.file);
        let bytes = fs::metadata(&path).map_or(0, |file| file.len());
        match fs::remove_file(&path) {
            Ok(()) => {
                done.recordings += 1;
                done.bytes += bytes;
            }
            Err(why) if why.kind() == std::io::ErrorKind::NotFound => {}
            Err(why) => return Err(ArchiveError::Folder { path, why }),
        }
    }
    archive.store.erase(student)?;
    // Another student of the same name may stay: then the pseudonym alone tells.
    let namesake = archive
        .store
        .students()?
        .iter()
        .any(|s| s.name == told.name);
    for path in files(archive.dir()) {
        let bytes = fs::read(&path).map_err(|why| ArchiveError::Folder {
            path: path.clone(),
            why,
        })?;
        let holds = |word: &str| {
            let word = word.as_bytes();
            !word.is_empty() && bytes.windows(word.len()).any(|w| w == word)
        };
        if holds(&told.id) || (!namesake && holds(&told.name)) {
            done.still_in.push(path.display().to_string());
        }
    }
    Ok(done)
}

/// The archive's own files beside the recordings, which are compressed and name no student.
fn files(dir: &Path) -> Vec<PathBuf> {
    let entries = fs::read_dir(dir).into_iter().flatten().flatten();
    let mut files: Vec<PathBuf> = entries
        .map(|entry| entry.path())
        .filter(|path| path.is_file())
        .collect();
    files.sort_unstable();
    files
}
