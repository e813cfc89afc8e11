//! Swings out of the archive, as files for others: JSON, CSV, Parquet or C3D, with a manifest that
//! `sha256sum -c` checks. Students appear by pseudonym, never by name or year of birth; what an
//! anonymous export changes besides is in `names`.

mod names;
mod table;
mod take;
mod window;

use std::collections::BTreeMap;
use std::fs::{self, File};
use std::io::Write as _;
use std::path::{Path, PathBuf};

use protocol::c3d;
use protocol::report::{Measurement, Uncertainty};
use serde::Serialize;
use serde_json::json;
use sha2::{Digest as _, Sha256};

use self::names::{Names, Secret, age_band};
use self::take::{About, take};
use self::window::Streams;
use super::rows::{Outcome, Recording, Session, Swing, Which};
use super::{Archive, ArchiveError, again, date, sync_dir};
use crate::map::MarkerMap;
use crate::recording::{self, Recorded};

pub(super) use self::names::KEY;

/// Name of the manifest.
const MANIFEST: &str = "SHA256SUMS";
/// Version of the files' shape; it stands in each of them.
const FORMAT: u32 = 1;
/// Columns of the CSV.
const COLUMNS: &str = "format,student,session,swing,kind,handed,impact_utc,analysis,metric,value,unit,uncertainty,reason,age_band";

/// Shape of the files.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Shape {
    /// One file a swing, its newest report whole.
    Json,
    /// One table, a line a value.
    Csv,
    /// The same table as Parquet, a file a bay and month.
    Parquet,
    /// One file a swing: its datagrams as a take.
    C3d,
}

/// What is asked for.
#[derive(Debug, Clone, Copy)]
pub struct Ask<'a> {
    /// Sessions.
    pub which: Which<'a>,
    /// Shape of the files.
    pub shape: Shape,
    /// What the files are for.
    pub scope: &'a str,
    /// Other names and dates than the archive's.
    pub anonymous: bool,
    /// Now, nanoseconds since 1970 in UTC.
    pub now_utc_ns: u64,
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
    /// Swings that have no place in a file of this shape, and why.
    pub unfit: Vec<String>,
}

/// One value of one swing, as tables have it.
#[derive(Debug)]
struct Line {
    session: String,
    student: String,
    age_band: &'static str,
    swing: String,
    kind: String,
    handed: String,
    impact_utc_ns: u64,
    analysis: String,
    metric: String,
    unit: String,
    value: Option<f64>,
    uncertainty: Option<f64>,
    quality: &'static str,
    reason: Option<String>,
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

/// A session with how it is told.
struct Told<'a> {
    session: &'a Session,
    names: Names<'a>,
    age_band: &'static str,
}

/// Exports the newest result of each swing to a new folder. Who did not consent to the scope is left
/// out.
///
/// # Errors
/// When the folder exists already or cannot be written, or the store or a recording cannot be read.
pub fn export(archive: &Archive, ask: &Ask<'_>, to: &Path) -> anyhow::Result<Exported> {
    let failed = |why| ArchiveError::Folder {
        path: to.to_owned(),
        why,
    };
    let secret = ask.anonymous.then(|| Secret::of(archive)).transpose()?;
    // Never into a folder that has something: a manifest speaks for all of it.
    fs::create_dir(to).map_err(failed)?;
    let mut out = Out {
        dir: to.to_owned(),
        manifest: String::new(),
        files: 0,
    };
    let mut done = Exported::default();
    let mut csv = format!("{COLUMNS}\n");
    let mut parquet = table::Table::default();
    for session in &archive.store.sessions(ask.which)? {
        if !allowed(archive, session, ask, &mut done)? {
            continue;
        }
        let student = archive.store.student(&session.student)?;
        let told = Told {
            session,
            names: Names::new(secret.as_ref(), session),
            age_band: age_band(&student, session.began_utc_ns),
        };
        if ask.shape == Shape::C3d {
            takes(archive, &told, &mut out, &mut done)?;
            continue;
        }
        for swing in archive.store.swings(Which::Session(&session.id))? {
            let results = archive.store.results(&swing)?;
            let Some(newest) = results.first() else {
                continue;
            };
            done.swings += 1;
            match ask.shape {
                Shape::Json => {
                    let name = told.file(&swing, "json");
                    out.write(&name, &json_file(&told, &swing, newest)?)?;
                }
                Shape::Csv => {
                    let lines = told.lines(&swing, newest)?;
                    lines.iter().for_each(|line| csv.push_str(&line.csv()));
                }
                Shape::Parquet => {
                    for line in told.lines(&swing, newest)? {
                        parquet.add(&session.bay, line)?;
                    }
                }
                Shape::C3d => {}
            }
        }
    }
    if ask.shape == Shape::Csv {
        out.write("metrics.csv", csv.as_bytes())?;
    }
    for file in parquet.files() {
        let (name, bytes) = file?;
        fs::create_dir_all(to.join(&name).parent().unwrap_or(to)).map_err(failed)?;
        out.write(&name, &bytes)?;
    }
    write_whole(&to.join(MANIFEST), out.manifest.as_bytes()).map_err(failed)?;
    sync_dir(to).map_err(failed)?;
    done.files = out.files;
    Ok(done)
}

/// Whether the student consented; notes it where not.
fn allowed(
    archive: &Archive,
    session: &Session,
    ask: &Ask<'_>,
    done: &mut Exported,
) -> Result<bool, ArchiveError> {
    let student = &session.student;
    let given = archive
        .store
        .require_consent(student, ask.scope, ask.now_utc_ns);
    match given {
        Ok(()) => Ok(true),
        Err(ArchiveError::NotConsented(_)) => {
            if !done.left_out.contains(student) {
                done.left_out.push(student.clone());
            }
            Ok(false)
        }
        Err(why) => Err(why),
    }
}

impl Told<'_> {
    fn file(&self, swing: &Swing, kind: &str) -> String {
        let swing = self.names.swing(&swing.id);
        format!("{}_{swing}.{kind}", self.names.session)
    }

    fn lines(&self, swing: &Swing, result: &Outcome) -> Result<Vec<Line>, ArchiveError> {
        let report = again::report(&result.report)?;
        let line = |(id, metric): (String, protocol::report::Metric)| {
            let uncertainty = match &metric.uncertainty {
                Some(Uncertainty::Interval { standard, .. }) => Some(*standard),
                Some(Uncertainty::Agreement { agreement }) => Some(*agreement),
                Some(Uncertainty::None { .. }) | None => None,
            };
            let quality = match (metric.value, &metric.limited) {
                (None, _) => "missing",
                (Some(_), Some(_)) => "limited",
                (Some(_), None) => "measured",
            };
            Line {
                session: self.names.session.clone(),
                student: self.names.student.clone(),
                age_band: self.age_band,
                swing: self.names.swing(&swing.id),
                kind: swing.kind.clone(),
                handed: swing.handed.clone(),
                impact_utc_ns: self.names.utc_ns(swing.impact_utc_ns),
                analysis: result.analysis.clone(),
                metric: id,
                unit: metric.unit,
                value: metric.value,
                uncertainty,
                quality,
                reason: metric.reason.or(metric.limited),
            }
        };
        Ok(report.measurement.metrics.into_iter().map(line).collect())
    }
}

impl Line {
    /// As a line of the CSV (RFC 4180).
    fn csv(&self) -> String {
        let number = |v: Option<f64>| v.map_or_else(String::new, |v| v.to_string());
        let cells = [
            &FORMAT.to_string(),
            &self.student,
            &self.session,
            &self.swing,
            &self.kind,
            &self.handed,
            &date::words(self.impact_utc_ns),
            &self.analysis,
            &self.metric,
            &number(self.value),
            &self.unit,
            &number(self.uncertainty),
            self.reason.as_deref().unwrap_or_default(),
            self.age_band,
        ];
        cells.map(cell).join(",") + "\n"
    }
}

fn json_file(told: &Told<'_>, swing: &Swing, result: &Outcome) -> Result<Vec<u8>, ArchiveError> {
    let names = &told.names;
    let file = json!({
        "format": FORMAT, "student": names.student, "age_band": told.age_band,
        "session": names.session, "bay": told.session.bay, "zone": told.session.zone,
        "impact_utc_ns": names.utc_ns(swing.impact_utc_ns), "analysis": result.analysis,
        "report": names.report(again::report(&result.report)?),
    });
    // Our own types with text keys: cannot fail.
    serde_json::to_vec_pretty(&file).map_err(|why| ArchiveError::Damaged(why.to_string()))
}

/// The swings of a session as C3D files, recording by recording.
fn takes(
    archive: &Archive,
    told: &Told<'_>,
    out: &mut Out,
    done: &mut Exported,
) -> anyhow::Result<()> {
    let which = Which::Session(&told.session.id);
    let swings = archive.store.swings(which)?;
    for row in archive.store.recordings(which)? {
        let own = swings.iter().filter(|s| s.place.recording == row.id);
        let mut open: BTreeMap<u64, Vec<&Swing>> = BTreeMap::new();
        for swing in own {
            open.entry(swing.place.from_ns).or_default().push(swing);
        }
        if open.is_empty() {
            continue;
        }
        each_window(archive, &row, open, |swing, streams, meta| {
            let results = archive.store.results(swing)?;
            let Some(newest) = results.first() else {
                return Ok(());
            };
            match one_take(told, (swing, newest), streams, meta)? {
                Ok(bytes) => {
                    out.write(&told.file(swing, "c3d"), &bytes)?;
                    done.swings += 1;
                }
                Err(why) => done
                    .unfit
                    .push(format!("{}: {why}", told.names.swing(&swing.id))),
            }
            Ok(())
        })?;
    }
    Ok(())
}

/// The file of a swing, or in words why it makes none.
fn one_take(
    told: &Told<'_>,
    (swing, result): (&Swing, &Outcome),
    streams: &Streams,
    (map, meta): (&MarkerMap, &recording::Meta),
) -> Result<Result<Vec<u8>, String>, ArchiveError> {
    let measurement: Measurement = again::report(&result.report)?.measurement;
    let name = told.names.swing(&swing.id);
    let about = About {
        student: &told.names.student,
        swing: &name,
        measurement: &measurement,
        outcome: result,
        bare_labels: told.names.anonymous(),
    };
    let late_ns = |stream: u32| meta.late_ns.get(&stream).copied().unwrap_or(0);
    let take = take(streams, (map, &late_ns), &about);
    Ok(take.and_then(|take| c3d::write(&take).map_err(|why| why.to_string())))
}

/// Reads a recording once and hands on each swing's streams as soon as its window has passed, so that
/// memory holds only the windows under way.
fn each_window(
    archive: &Archive,
    row: &Recording,
    mut waiting: BTreeMap<u64, Vec<&Swing>>,
    mut each: impl FnMut(&Swing, &Streams, (&MarkerMap, &recording::Meta)) -> anyhow::Result<()>,
) -> anyhow::Result<()> {
    let mut recording = recording::read(&archive.recording(&row.file))?;
    let meta = recording.meta().clone();
    let map = MarkerMap::parse(&meta.marker_map, "in the recording")?;
    let mut open: Vec<(&Swing, Streams)> = Vec::new();
    for entry in recording.by_ref() {
        let Recorded::Datagram { arrival_ns, bytes } = entry else {
            continue;
        };
        while let Some(first) = waiting.first_entry().filter(|w| *w.key() <= arrival_ns) {
            let begun = first.remove().into_iter();
            open.extend(begun.map(|s| (s, Streams::new(epoch(&s.id)))));
        }
        for (swing, streams) in open.extract_if(.., |(s, _)| s.place.to_ns < arrival_ns) {
            each(swing, &streams, (&map, &meta))?;
        }
        for (_, streams) in &mut open {
            streams.push(arrival_ns, &bytes);
        }
    }
    for (swing, streams) in open {
        each(swing, &streams, (&map, &meta))?;
    }
    Ok(())
}

/// The sender's epoch, which an identifier names before the time of impact.
fn epoch(id: &str) -> u32 {
    let part = id.rsplit('-').nth(1).unwrap_or_default();
    u32::from_str_radix(part, 16).unwrap_or(0)
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
