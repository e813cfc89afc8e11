//! Whether everything is there: the store's pages and references, every recording to its last chunk,
//! every swing's window to the byte. Repairs nothing.

use std::collections::BTreeSet;
use std::fs;

use protocol::screen::Finding;
use serde::Serialize;

use super::ring::Digest;
use super::rows::{Recording, Swing, Which};
use super::{Archive, ArchiveError};
use crate::errors::Code;
use crate::health::finding;
use crate::recording::{self, Loss, Recorded};

/// What was looked at and found.
#[derive(Debug, Default, Serialize)]
pub struct Verified {
    /// Sessions in the store.
    pub sessions: usize,
    /// Recordings in the store.
    pub recordings: usize,
    /// Swings in the store.
    pub swings: usize,
    /// Datagrams in the recordings.
    pub datagrams: u64,
    /// What is wrong (`error`) or odd (`info`, `warning`).
    pub findings: Vec<Finding>,
}

/// A swing's window while its recording is read.
struct Checked<'a> {
    swing: &'a Swing,
    digest: Digest,
}

impl Verified {
    /// Whether something is missing or damaged.
    #[must_use]
    pub fn damaged(&self) -> bool {
        self.findings.iter().any(|f| f.severity == "error")
    }

    fn say(&mut self, severity: &str, text: String) {
        self.findings
            .push(finding(Code::ArchiveDamaged, severity, text));
    }
}

/// Looks at the whole archive.
///
/// # Errors
/// When the store cannot be read at all.
pub fn verify(archive: &Archive) -> Result<Verified, ArchiveError> {
    let store = &archive.store;
    let recordings = store.recordings(Which::All)?;
    let swings = store.swings(Which::All)?;
    let mut found = Verified {
        sessions: store.sessions(Which::All)?.len(),
        recordings: recordings.len(),
        swings: swings.len(),
        ..Verified::default()
    };
    for said in store.damage()? {
        found.say("error", format!("store: {said}"));
    }
    for swing in &swings {
        if store.results(swing)?.is_empty() {
            found.say("error", format!("swing {} has no result", swing.id));
        }
    }
    for row in &recordings {
        let own = swings.iter().filter(|s| s.place.recording == row.id);
        check(archive, row, own, &mut found);
    }
    let known: BTreeSet<&str> = recordings.iter().map(|r| r.file.as_str()).collect();
    let files = fs::read_dir(archive.recording(""));
    for file in files.into_iter().flatten().flatten() {
        let name = file.file_name();
        let name = name.to_string_lossy();
        if !known.contains(&*name) {
            found.say(
                "warning",
                format!("{name} is in the folder but in no session"),
            );
        }
    }
    Ok(found)
}

/// Reads one recording to its end and compares the windows of its swings.
fn check<'a>(
    archive: &Archive,
    row: &Recording,
    swings: impl Iterator<Item = &'a Swing>,
    found: &mut Verified,
) {
    let path = archive.recording(&row.file);
    let mut windows: Vec<Checked<'_>> = swings
        .map(|swing| Checked {
            swing,
            digest: Digest::default(),
        })
        .collect();
    match recording::read(&path) {
        Ok(mut recording) => {
            let mut datagrams = 0;
            for entry in recording.by_ref() {
                if let Recorded::Datagram { arrival_ns, bytes } = entry {
                    datagrams += 1;
                    for window in &mut windows {
                        let place = &window.swing.place;
                        if (place.from_ns..=place.to_ns).contains(&arrival_ns) {
                            window.digest.add(arrival_ns, &bytes);
                        }
                    }
                }
            }
            found.datagrams += datagrams;
            let bytes = fs::metadata(&path).map_or(0, |file| file.len());
            say_losses(row, recording.losses(), bytes, found);
        }
        Err(why) => found.say("error", why.to_string()),
    }
    for Checked { swing, digest } in windows {
        let (count, sum) = digest.read();
        if (count, sum) != (swing.place.datagrams, swing.place.digest) {
            found.say(
                "error",
                format!(
                    "swing {} of {}: its window has {count} of {} datagrams{}",
                    swing.id,
                    swing.session,
                    swing.place.datagrams,
                    if count == swing.place.datagrams {
                        ", changed ones among them"
                    } else {
                        ""
                    }
                ),
            );
        }
    }
    if row.lost > 0 {
        found.say(
            "warning",
            format!("{}: {} datagrams never reached it", row.file, row.lost),
        );
    }
}

/// A torn end is what a crash leaves; anything else is damage.
fn say_losses(row: &Recording, losses: &[Loss], file_bytes: u64, found: &mut Verified) {
    for loss in losses {
        let tail = loss.at_byte + loss.bytes >= file_bytes;
        if tail && row.ended_utc_ns.is_none() {
            let text = format!(
                "{} was not completed (still open, or the program was killed): {} bytes at its end hold nothing",
                row.file, loss.bytes
            );
            found.say("info", text);
        } else {
            let text = format!(
                "{}: {} bytes at byte {} are lost: {}",
                row.file, loss.bytes, loss.at_byte, loss.why
            );
            found.say("error", text);
        }
    }
}
