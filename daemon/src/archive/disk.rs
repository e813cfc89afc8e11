//! How much room the archive's disk has, and for how long.

use std::collections::VecDeque;
use std::path::Path;

/// Never written into by recordings, so that what is open can be closed and the store can commit:
/// a twentieth of the disk, within these bounds.
const RESERVE_BYTES: std::ops::RangeInclusive<u64> = 2 * MIB..=512 * MIB;
const MIB: u64 = 1024 * 1024;
/// Warn from this many minutes left.
const WARN_MINUTES: f64 = 60.0;
/// The rate of writing is that of the last minute …
const RATE_NS: u64 = 60_000_000_000;
/// … once there are ten seconds of it.
const RATE_NS_LEAST: u64 = 10_000_000_000;

/// Room on a disk, bytes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Space {
    /// For this program.
    pub free: u64,
    /// In all.
    pub total: u64,
}

/// What may be done.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Verdict {
    /// Write.
    Enough,
    /// Write, and warn: about this many minutes are left.
    Low(f64),
    /// Stop, or do not begin.
    Full,
}

/// The room and how fast it goes.
#[derive(Debug, Default)]
pub struct Watch {
    /// Time and bytes written until then.
    written: VecDeque<(u64, u64)>,
}

impl Space {
    /// Of the disk with this folder.
    ///
    /// # Errors
    /// When the system does not say.
    pub fn of(dir: &Path) -> std::io::Result<Self> {
        let stat = nix::sys::statvfs::statvfs(dir)?;
        let fragment = stat.fragment_size();
        Ok(Self {
            free: stat.blocks_available().saturating_mul(fragment),
            total: stat.blocks().saturating_mul(fragment),
        })
    }

    /// What recordings leave alone.
    #[must_use]
    pub fn reserve(&self) -> u64 {
        (self.total / 20).clamp(*RESERVE_BYTES.start(), *RESERVE_BYTES.end())
    }

    /// Whether a recording may begin again: twice the reserve, so that it does not stop at once.
    #[must_use]
    pub fn may_begin(&self) -> bool {
        self.free >= 2 * self.reserve()
    }
}

impl Watch {
    /// Takes the bytes written since the recording began.
    pub fn wrote(&mut self, now_ns: u64, bytes: u64) {
        self.written.push_back((now_ns, bytes));
        while self
            .written
            .get(1)
            .is_some_and(|next| now_ns.saturating_sub(next.0) >= RATE_NS)
        {
            self.written.pop_front();
        }
    }

    /// Minutes until the reserve at the rate of the last minute; `None` before a rate is known.
    #[must_use]
    pub fn minutes_left(&self, space: Space) -> Option<f64> {
        let (first, last) = (self.written.front()?, self.written.back()?);
        let span_ns = last.0.saturating_sub(first.0);
        let bytes = last.1.saturating_sub(first.1);
        if span_ns < RATE_NS_LEAST || bytes == 0 {
            return None;
        }
        let a_minute = bytes as f64 / (span_ns as f64 / 60e9);
        Some(space.free.saturating_sub(space.reserve()) as f64 / a_minute)
    }

    /// What the room allows.
    #[must_use]
    pub fn verdict(&self, space: Space) -> Verdict {
        if space.free < space.reserve() {
            return Verdict::Full;
        }
        match self.minutes_left(space) {
            Some(minutes) if minutes < WARN_MINUTES => Verdict::Low(minutes),
            _ => Verdict::Enough,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_minutes_left_are_the_room_over_the_rate_of_the_last_minute() {
        let space = Space {
            free: 1000 * MIB,
            total: 2000 * MIB,
        };
        let mut watch = Watch::default();
        // First fast, then for more than a minute one MiB a second: the fast part is forgotten.
        watch.wrote(0, 0);
        watch.wrote(5_000_000_000, 500 * MIB);
        assert_eq!(watch.verdict(space), Verdict::Enough, "no rate yet");
        for second in 6..=100 {
            watch.wrote(second * 1_000_000_000, (500 + second) * MIB);
        }
        // 1000 − 100 MiB at 60 MiB a minute.
        assert_eq!(watch.minutes_left(space), Some(15.0));
        assert_eq!(watch.verdict(space), Verdict::Low(15.0));
        let full = Space {
            free: 99 * MIB,
            ..space
        };
        assert_eq!(watch.verdict(full), Verdict::Full);
        assert!(!full.may_begin() && space.may_begin());
    }

    #[test]
    fn the_system_says_how_much_room_there_is() {
        let space = Space::of(&std::env::temp_dir()).unwrap();
        assert!(space.total >= space.free && space.total > MIB);
    }
}
