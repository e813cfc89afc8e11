//! What the technician asks of the archive's side of a bay: how archive and disk are, whether everything in it
//! is whole, and what the datagrams of the last minute say of taps and places of the club's head.

use std::sync::{MutexGuard, PoisonError};

use protocol::rig::{ArchiveState, NewPlace, NewTap, Placed, Taps, Verification};

use super::{Coach, place, taps};
use crate::archive::disk::Space;
use crate::archive::{Archive, ArchiveError, verify};
use crate::tap;

/// Seconds of taps, and when nobody says how many.
const TAP_SECONDS: std::ops::RangeInclusive<f64> = 3.0..=60.0;
const TAP_USUAL_S: f64 = 30.0;
/// So far back a place is read, nanoseconds: senders describe themselves once a second.
const PLACE_NS: u64 = 4_000_000_000;
const BACKUP: &str = "“whin archive backup --to FOLDER” makes a copy while the bay runs: keep it on another disk, and check it there with “whin archive verify”.";

/// The check of everything in the archive.
#[derive(Debug, Default)]
pub(super) struct Checking {
    runs: bool,
    last: Option<Verification>,
}

/// Says that the check has ended, however it did.
struct Ends<'a>(&'a Coach);

impl Drop for Ends<'_> {
    fn drop(&mut self) {
        self.0.checking().runs = false;
    }
}

impl Coach {
    /// The archive and its disk.
    ///
    /// # Errors
    /// When its folder is gone.
    pub fn archive_state(&self) -> Result<ArchiveState, ArchiveError> {
        let path = self.archive().dir().to_owned();
        let space = Space::of(&path).map_err(|why| ArchiveError::Folder {
            path: path.clone(),
            why,
        })?;
        let tape = self.board().tape();
        let checking = self.checking();
        Ok(ArchiveState {
            path: path.display().to_string(),
            free_bytes: space.free,
            reserve_bytes: space.reserve(),
            minutes_left: tape.minutes_left.map(f64::round),
            recording: tape.recording,
            stopped: tape.stopped,
            waiting: tape.waiting as u64,
            verified: checking.last.clone(),
            verifying: checking.runs,
            backup: BACKUP.into(),
        })
    }

    /// Whether a check may begin now; it counts as begun.
    pub fn begin_check(&self) -> bool {
        !std::mem::replace(&mut self.checking().runs, true)
    }

    /// Looks at everything in the archive, beside the bay's work; takes minutes.
    pub fn check(&self) {
        let _ends = Ends(self);
        let began_ns = self.clock.now_ns();
        let dir = self.archive().dir().to_owned();
        // Through an opening of its own, so that lesson and archive go on meanwhile.
        let found = Archive::open(&dir).and_then(|archive| verify::verify(&archive));
        let took_s = self.clock.now_ns().saturating_sub(began_ns) as f64 * 1e-9;
        let found = match found {
            Ok(found) => Verification {
                at_utc_ns: self.utc_ns(),
                took_s,
                damaged: found.damaged(),
                sessions: found.sessions as u64,
                recordings: found.recordings as u64,
                swings: found.swings as u64,
                findings: found.findings,
            },
            Err(why) => Verification {
                at_utc_ns: self.utc_ns(),
                took_s,
                damaged: true,
                sessions: 0,
                recordings: 0,
                swings: 0,
                findings: vec![crate::health::finding(why.code(), "error", why.to_string())],
            },
        };
        self.checking().last = Some(found);
    }

    /// What the datagrams of the last seconds say of sync taps.
    ///
    /// # Errors
    /// When the number of seconds makes no sense.
    pub fn read_taps(&self, asked: &NewTap) -> Result<Taps, ArchiveError> {
        let seconds = asked.seconds.unwrap_or(TAP_USUAL_S);
        if !TAP_SECONDS.contains(&seconds) {
            let (from, to) = (TAP_SECONDS.start(), TAP_SECONDS.end());
            return Err(ArchiveError::Unfitting(format!(
                "seconds is {seconds}: expected {from} to {to}"
            )));
        }
        let since_ns = self.clock.now_ns().saturating_sub((seconds * 1e9) as u64);
        let late_ns = &self.meta.late_ns;
        let came = self.recent.since(since_ns).into_iter();
        let arrivals = came.map(tap::arrival);
        let heard = tap::listen(arrivals, self.map.clone(), late_ns.clone());
        Ok(taps::told(&heard, late_ns))
    }

    /// Where the club's head stands now, as the place of the ball or a second one on the target line.
    ///
    /// # Errors
    /// In words, when it does not stand still, is hidden or up in the air.
    pub fn read_place(&self, asked: &NewPlace) -> Result<Placed, ArchiveError> {
        let since_ns = self.clock.now_ns().saturating_sub(PLACE_NS);
        let came = self.recent.since(since_ns);
        let arrivals = came.iter().map(|(at, bytes)| (*at, &**bytes));
        place::read(arrivals, &self.map, asked.ball).map_err(ArchiveError::Unfitting)
    }

    fn checking(&self) -> MutexGuard<'_, Checking> {
        self.checking.lock().unwrap_or_else(PoisonError::into_inner)
    }
}
