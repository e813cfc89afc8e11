//! A shot that was recorded under another student's name: its window copied into a recording of its own, so
//! that the owner's data stand by themselves, and cut out of the original when the owner is erased. The rows
//! are `store::moved`'s matter, who moves what `coach::moving`'s.

use std::fs;
use std::path::{Path, PathBuf};

use anyhow::Context as _;

use super::filing::{Filing, take};
use super::rows::{Outcome, Swing, Take, Which};
use super::store::Origin;
use super::{Archive, ArchiveError, filing, sync_dir};
use crate::offline::{self, Again, arrival};
use crate::receive::Arrival;
use crate::recording::{self, Meta, Recorder};
use crate::{outgoing, record, refine};

/// Impact as another context finds it may differ by this, nanoseconds.
const SAME_SHOT_NS: u64 = 50_000_000;

/// A swing's window and what it gives with what is told.
pub struct Copied {
    /// File name in the archive.
    pub file: String,
    /// The new result; `None` where the shot is not found with that context, so that the old one stays.
    pub outcome: Option<(Outcome, Option<Take>)>,
}

/// Copies a swing's window into a new recording of a session and measures it with another context. Its row
/// is the caller's.
///
/// # Errors
/// When the recording cannot be read, or the copy cannot be written.
pub fn copy(
    from: &Path,
    to: (&Path, &str),
    swing: &Swing,
    (context, now_utc_ns): (Option<&str>, u64),
) -> anyhow::Result<Copied> {
    let (folder, session) = to;
    let mut source = recording::read(from)?;
    let meta = Meta {
        context: context.map(str::to_owned),
        ..source.meta().clone()
    };
    let mut named = (1..).map(|n| format!("{session}-moved-{n}.mcap"));
    let file = named.find(|file| !folder.join(file).exists());
    let file = file.context("no name is left")?;
    let path = folder.join(&file);
    let within = swing.place.from_ns..=swing.place.to_ns;
    let mut recorder = Recorder::create(&path, &meta)?;
    for came in source.by_ref().map(arrival) {
        if within.contains(&at(&came)) {
            record::write(&mut recorder, &came)?;
        }
    }
    recorder.finish()?;
    sync_dir(folder)?;
    let outcome = measure(&path, swing, (context, now_utc_ns))?;
    Ok(Copied { file, outcome })
}

/// Measures the swing of a copied window with a context.
///
/// # Errors
/// When the recording cannot be read.
pub fn measure(
    path: &Path,
    swing: &Swing,
    (context, now_utc_ns): (Option<&str>, u64),
) -> anyhow::Result<Option<(Outcome, Option<Take>)>> {
    let mut nearest: Option<(u64, Filing)> = None;
    let mut failed = None;
    offline::again_told(&mut recording::read(path)?, context, |step| {
        let Again::Swing(filing, measured) = step else {
            return;
        };
        let Some(off_ns) = apart(&swing.id, &filing).filter(|ns| *ns < SAME_SHOT_NS) else {
            return;
        };
        if nearest.as_ref().is_some_and(|(least, _)| *least <= off_ns) {
            return;
        }
        let mut filing = *filing;
        match refine::refined(&measured, refine::threads()) {
            Ok(measurement) => {
                filing.report.measurement = measurement;
                filing.report.revision = protocol::report::REFINED;
            }
            Err(refine::Panicked) => failed = Some("a draw failed: please report it"),
        }
        nearest = Some((off_ns, filing));
    })?;
    if let Some(why) = failed {
        anyhow::bail!(why);
    }
    let Some((_, mut filing)) = nearest else {
        return Ok(None);
    };
    filing.report.id.clone_from(&swing.id);
    let drawn = take(&filing).map_err(anyhow::Error::msg)?;
    let ids = outgoing::value_ids();
    let outcome = filing::outcome(&ids, &filing.report, now_utc_ns).map_err(anyhow::Error::msg)?;
    Ok(Some((outcome, drawn)))
}

/// Whether a report is of the swing of this name, though its impact lies a little off.
pub(super) fn is_of(id: &str, filing: &Filing) -> bool {
    apart(id, filing).is_some_and(|ns| ns < SAME_SHOT_NS)
}

/// Between the impact in a swing's name (microseconds) and that of a report, nanoseconds.
fn apart(id: &str, filing: &Filing) -> Option<u64> {
    let mut parts = id.rsplitn(3, '-');
    let micros: i64 = parts.next()?.parse().ok()?;
    let epoch = u32::from_str_radix(parts.next()?, 16).ok()?;
    (epoch == filing.epoch).then(|| filing.impact_ns.abs_diff(micros * 1000))
}

/// Cuts the windows of a student's moved shots out of the recordings they were made in; what is also in the
/// window of a swing that stays is left. Gives how many files were written anew.
///
/// # Errors
/// When such a recording still runs, or cannot be read or written.
pub fn cut_out(archive: &Archive, student: &str) -> Result<usize, ArchiveError> {
    let origins = archive.store.origins(student)?;
    let mut files: Vec<&Origin> = origins.iter().collect();
    files.sort_by_key(|o| o.recording);
    files.dedup_by_key(|o| o.recording);
    for one in &files {
        let (session, _) = archive.store.lesson(&one.session)?;
        if session.ended_utc_ns.is_none() && !one.ended {
            return Err(ArchiveError::Unfitting(format!(
                "{} holds a shot of {student} and still runs: end that lesson first",
                one.file
            )));
        }
        let cuts: Vec<(u64, u64)> = origins
            .iter()
            .filter(|o| o.recording == one.recording)
            .map(|o| (o.from_ns, o.to_ns))
            .collect();
        let stay = archive.store.swings(Which::Session(&one.session))?;
        let stay = stay.iter().filter(|s| s.place.recording == one.recording);
        let stay: Vec<(u64, u64)> = stay.map(|s| (s.place.from_ns, s.place.to_ns)).collect();
        let path = archive.recording(&one.file);
        let failed = |why: anyhow::Error| ArchiveError::Damaged(format!("{} ({why:#})", one.file));
        without(&path, &cuts, &stay).map_err(failed)?;
    }
    Ok(files.len())
}

fn without(path: &Path, cuts: &[(u64, u64)], stay: &[(u64, u64)]) -> anyhow::Result<()> {
    let within = |windows: &[(u64, u64)], at: u64| windows.iter().any(|w| w.0 <= at && at <= w.1);
    let part: PathBuf = path.with_extension("part");
    if part.exists() {
        fs::remove_file(&part)?;
    }
    let mut source = recording::read(path)?;
    let mut recorder = Recorder::create(&part, &source.meta().clone())?;
    for came in source.by_ref().map(arrival) {
        let at = at(&came);
        if !within(cuts, at) || within(stay, at) {
            record::write(&mut recorder, &came)?;
        }
    }
    recorder.finish()?;
    fs::rename(&part, path)?;
    Ok(sync_dir(path.parent().unwrap_or(Path::new("")))?)
}

fn at(came: &Arrival) -> u64 {
    match came {
        Arrival::Datagram { received_ns, .. } => *received_ns,
        Arrival::Tick { now_ns } => *now_ns,
    }
}

#[cfg(test)]
mod tests {
    use protocol::report::{Measurement, Report, Transport};
    use std::collections::BTreeMap;

    use super::*;

    #[test]
    fn a_shot_is_known_by_epoch_and_impact_even_where_that_moved_a_little() {
        let filing = |epoch, impact_ns| Filing {
            report: Report {
                id: String::new(),
                revision: 2,
                unrefined: None,
                measurement: Measurement {
                    kind: "shot".into(),
                    confidence: None,
                    handed: "right".into(),
                    events: BTreeMap::new(),
                    metrics: BTreeMap::new(),
                    club_length_m: None,
                    markers: Vec::new(),
                    notes: Vec::new(),
                },
                transport: Transport::default(),
            },
            epoch,
            first_ns: 0,
            impact_ns,
            take: None,
        };
        let name = outgoing::swing_id("north-2", 0x1f, 3_357_684_000);
        assert!(is_of(&name, &filing(0x1f, 3_357_684_000)));
        assert!(is_of(&name, &filing(0x1f, 3_358_100_000)));
        assert!(!is_of(&name, &filing(0x1f, 3_957_684_000)));
        assert!(!is_of(&name, &filing(0x20, 3_357_684_000)));
        assert!(is_of(&outgoing::swing_id("n", 1, 0), &filing(1, 0)));
        assert!(!is_of("a take", &filing(1, 0)));
    }
}
