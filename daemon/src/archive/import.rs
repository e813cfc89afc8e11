//! C3D files as swings of a student: each file becomes datagrams, the datagrams a recording of the
//! archive, and the recording is measured as every other. A file in which no swing is found leaves
//! nothing behind.

use std::path::{Path, PathBuf};

use analysis::context::Context;
use serde::Serialize;

use super::again::{self, reanalyze};
use super::rows::{Session, Which};
use super::{Archive, sync_dir};
use crate::feed::{self, Due};
use crate::map::MarkerMap;
use crate::offline::{self, read_c3d, require_labels};
use crate::receive::Arrival;
use crate::record;
use crate::recording::{Meta, Recorder};

/// Bay of imported sessions.
const BAY: &str = "import";
/// Between the last moment of a file and the first of the next, nanoseconds.
const APART_NS: u64 = 1_000_000_000;

/// What is to be imported, and how.
pub struct Ask<'a> {
    /// Whose swings they are.
    pub student: &'a str,
    /// Reads the files' labels.
    pub map: &'a MarkerMap,
    /// What is known of the golfer, and its text.
    pub context: Option<(&'a Context, &'a str)>,
    /// Date of the first file, nanoseconds since 1970 in UTC; the others follow it.
    pub utc_ns: u64,
    /// Now, nanoseconds since 1970 in UTC.
    pub now_utc_ns: u64,
    /// Also how surely each value is known.
    pub uncertainty: bool,
}

/// What came of it.
#[derive(Debug, Default, Serialize)]
pub struct Imported {
    /// The new session; absent when no file had a swing.
    pub session: Option<String>,
    /// Its swings.
    pub swings: Vec<String>,
    /// Files that were left out, and why.
    pub left_out: Vec<String>,
}

/// Imports files into one new session; `done` is called with each file that is through.
///
/// # Errors
/// When the student has not consented or the archive cannot be written. A file that cannot be used is
/// no error: it is named in the result.
pub fn import(
    archive: &mut Archive,
    ids: &[String],
    ask: &Ask<'_>,
    files: &[PathBuf],
    done: &(dyn Fn() + Sync),
) -> anyhow::Result<Imported> {
    let store = &archive.store;
    store.require_consent(ask.student, "lesson", ask.now_utc_ns)?;
    let mut imported = Imported::default();
    let session = Session {
        id: format!("{BAY}-{}", ask.now_utc_ns / 1_000_000),
        student: ask.student.to_owned(),
        bay: BAY.to_owned(),
        zone: "UTC".to_owned(),
        program: env!("CARGO_PKG_VERSION").to_owned(),
        began_utc_ns: ask.utc_ns,
        ended_utc_ns: None,
    };
    let mut begins_utc_ns = ask.utc_ns;
    for (path, number) in files.iter().zip(1..) {
        match datagrams(path, ask, number) {
            Ok(due) => {
                if imported.session.is_none() {
                    archive.store.begin_session(&session)?;
                    imported.session = Some(session.id.clone());
                }
                keep(archive, (&session, number), (ask, begins_utc_ns), &due)?;
                let last_ns = due.last().map_or(0, arrival_ns);
                begins_utc_ns = begins_utc_ns.saturating_add(last_ns + APART_NS);
            }
            Err(why) => imported
                .left_out
                .push(format!("{}: {why:#}", path.display())),
        }
        done();
    }
    if imported.session.is_some() {
        let again = again::Ask {
            which: Which::Session(&session.id),
            swing: None,
            uncertainty: ask.uncertainty,
            now_utc_ns: ask.now_utc_ns,
        };
        imported.swings = reanalyze(archive, ids, again, &|| {})?.added;
        archive.store.end_session(&session.id, begins_utc_ns)?;
    }
    Ok(imported)
}

/// The datagrams of a file in which there is a swing.
fn datagrams(path: &Path, ask: &Ask<'_>, epoch: u32) -> anyhow::Result<Vec<Due>> {
    let take = read_c3d(path)?;
    require_labels(&take.labels, path, ask.map)?;
    let due = feed::of_c3d(&take, Some(ask.map), epoch)?;
    let context = ask.context.map(|(context, _)| context.clone());
    let arrivals = due.iter().map(arrival);
    let found = offline::analyze(arrivals, ask.map.clone(), context.unwrap_or_default());
    if found.swings.is_empty() {
        let misses: Vec<&str> = found.remarks.iter().map(String::as_str).collect();
        anyhow::bail!("no swing found ({})", misses.join("; "));
    }
    Ok(due)
}

/// A datagram as if it had come at once.
fn arrival(due: &Due) -> Arrival {
    Arrival::Datagram {
        received_ns: arrival_ns(due),
        bytes: due.bytes.clone().into(),
    }
}

fn arrival_ns(due: &Due) -> u64 {
    due.time_ns.max(0).cast_unsigned()
}

/// The datagrams as a recording of the session: first the file, then its row.
fn keep(
    archive: &mut Archive,
    (session, number): (&Session, u32),
    (ask, zero_utc_ns): (&Ask<'_>, u64),
    due: &[Due],
) -> anyhow::Result<()> {
    let meta = Meta {
        bay: session.bay.clone(),
        zone: session.zone.clone(),
        program: session.program.clone(),
        clock_zero_utc_ns: zero_utc_ns,
        marker_map: ask.map.text.clone(),
        context: ask.context.map(|(_, text)| text.to_owned()),
        late_ns: ask
            .context
            .map(|(c, _)| c.late_ns.clone())
            .unwrap_or_default(),
        only_swings: false,
    };
    let file = format!("{}-{number}.mcap", session.id);
    let path = archive.recording(&file);
    let mut recorder = Recorder::create(&path, &meta)?;
    for due in due {
        record::write(&mut recorder, &arrival(due))?;
    }
    recorder.finish()?;
    sync_dir(&archive.recording(""))?;
    let row = archive.store.add_recording(&session.id, &file)?;
    archive.store.end_recording(row, 0, ask.now_utc_ns)?;
    Ok(())
}
