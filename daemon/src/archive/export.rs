//! Swings out of the archive, as files for others: JSON or CSV, with a manifest that `sha256sum -c`
//! checks. Students appear by pseudonym only.

use std::fs::{self, File};
use std::io::Write as _;
use std::path::{Path, PathBuf};

use serde::Serialize;
use serde_json::json;
use sha2::{Digest as _, Sha256};

use super::rows::{Outcome, Session, Swing, Which};
use super::{Archive, ArchiveError, again, date, sync_dir};

/// Name of the manifest.
const MANIFEST: &str = "SHA256SUMS";
/// Version of the files' shape; it stands in each of them.
const FORMAT: u32 = 1;
/// Columns of the CSV.
const COLUMNS: &str = "format,student,session,swing,kind,handed,impact_utc,analysis,metric,value,unit,uncertainty,reason";

/// Shape of the files.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Shape {
    /// One file a swing, its newest report whole.
    Json,
    /// One table, a line a value.
    Csv,
}

/// What was written.
#[derive(Debug, Default, Serialize)]
pub struct Exported {
    /// Swings in the files.
    pub swings: usize,
    /// Files, without the manifest.
    pub files: usize,
    /// Students whose swings were left out, because they did not consent to that use.
    pub left_out: Vec<String>,
}

/// A folder that is being filled.
struct Out {
    dir: PathBuf,
    manifest: String,
    files: usize,
}

impl Out {
    fn write(&mut self, name: &str, bytes: &[u8]) -> Result<(), ArchiveError> {
        let path = self.dir.join(name);
        write_whole(&path, bytes).map_err(|why| ArchiveError::Folder { path, why })?;
        let hash = Sha256::digest(bytes);
        let hex: String = hash.iter().map(|b| format!("{b:02x}")).collect();
        self.manifest.push_str(&format!("{hex}  {name}\n"));
        self.files += 1;
        Ok(())
    }
}

/// Exports the newest result of each swing to a new folder. `scope` is what the files are for: who did
/// not consent to it is left out.
///
/// # Errors
/// When the folder exists already or cannot be written, or the store cannot be read.
pub fn export(
    archive: &Archive,
    which: Which<'_>,
    (shape, scope): (Shape, &str),
    (to, now_utc_ns): (&Path, u64),
) -> Result<Exported, ArchiveError> {
    let failed = |why| ArchiveError::Folder {
        path: to.to_owned(),
        why,
    };
    // Never into a folder that has something: a manifest speaks for all of it.
    fs::create_dir(to).map_err(failed)?;
    let mut out = Out {
        dir: to.to_owned(),
        manifest: String::new(),
        files: 0,
    };
    let mut done = Exported::default();
    let mut table = format!("{COLUMNS}\n");
    for session in archive.store.sessions(which)? {
        match archive
            .store
            .require_consent(&session.student, scope, now_utc_ns)
        {
            Ok(()) => {}
            Err(ArchiveError::NotConsented(_)) => {
                if !done.left_out.contains(&session.student) {
                    done.left_out.push(session.student);
                }
                continue;
            }
            Err(why) => return Err(why),
        }
        for swing in archive.store.swings(Which::Session(&session.id))? {
            let results = archive.store.results(&swing)?;
            let Some(newest) = results.first() else {
                continue;
            };
            done.swings += 1;
            match shape {
                Shape::Json => {
                    let name = format!("{}_{}.json", session.id, swing.id);
                    out.write(&name, &json_file(&session, &swing, newest)?)?;
                }
                Shape::Csv => lines(&mut table, &session, &swing, newest)?,
            }
        }
    }
    if shape == Shape::Csv {
        out.write("metrics.csv", table.as_bytes())?;
    }
    write_whole(&to.join(MANIFEST), out.manifest.as_bytes()).map_err(failed)?;
    sync_dir(to).map_err(failed)?;
    done.files = out.files;
    Ok(done)
}

fn json_file(session: &Session, swing: &Swing, result: &Outcome) -> Result<Vec<u8>, ArchiveError> {
    let file = json!({
        "format": FORMAT, "student": session.student, "session": session.id, "bay": session.bay,
        "zone": session.zone, "impact_utc_ns": swing.impact_utc_ns, "analysis": result.analysis,
        "report": again::report(&result.report)?,
    });
    // Our own types with text keys: cannot fail.
    serde_json::to_vec_pretty(&file).map_err(|why| ArchiveError::Damaged(why.to_string()))
}

fn lines(
    table: &mut String,
    session: &Session,
    swing: &Swing,
    result: &Outcome,
) -> Result<(), ArchiveError> {
    let report = again::report(&result.report)?;
    let when = date::words(swing.impact_utc_ns);
    for (id, metric) in &report.measurement.metrics {
        let number = |v: Option<f64>| v.map_or_else(String::new, |v| v.to_string());
        let standard = match &metric.uncertainty {
            Some(protocol::report::Uncertainty::Interval { standard, .. }) => Some(*standard),
            _ => None,
        };
        let reason = metric.reason.as_deref().or(metric.limited.as_deref());
        let cells = [
            &FORMAT.to_string(),
            &session.student,
            &session.id,
            &swing.id,
            &swing.kind,
            &swing.handed,
            &when,
            &result.analysis,
            id,
            &number(metric.value),
            &metric.unit,
            &number(standard),
            reason.unwrap_or_default(),
        ];
        table.push_str(&cells.map(cell).join(","));
        table.push('\n');
    }
    Ok(())
}

/// A cell as RFC 4180 has it.
fn cell(text: &str) -> String {
    if text.contains([',', '"', '\n', '\r']) {
        return format!("\"{}\"", text.replace('"', "\"\""));
    }
    text.to_owned()
}

fn write_whole(path: &Path, bytes: &[u8]) -> std::io::Result<()> {
    let mut file = File::create_new(path)?;
    file.write_all(bytes)?;
    file.sync_all()
}
