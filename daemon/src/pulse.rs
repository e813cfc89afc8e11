//! The pulse of a bay's analysis: how far its thread has come, for whoever watches over it. Beaten by
//! `analyze`, looked at by the server and the watchdog.

use std::sync::atomic::{AtomicU64, Ordering};

use crate::clock::Clock;

/// Behind by this much, nanoseconds, the bay is no longer said to be well.
pub const LATE_NS: u64 = 5_000_000_000;
/// Behind by this much, nanoseconds, the analysis hangs: a swing takes less than a second, and the queue
/// before it holds about one.
pub const DEAD_NS: u64 = 30_000_000_000;

/// The last thing that the analysis has worked off, and how many.
#[derive(Debug)]
pub struct Pulse {
    clock: Clock,
    last_ns: AtomicU64,
}

impl Pulse {
    /// A bay that starts now.
    #[must_use]
    pub fn new(clock: Clock) -> Self {
        let last_ns = AtomicU64::new(clock.now_ns());
        Self { clock, last_ns }
    }

    /// An arrival or tick of this time is worked off.
    pub fn beat(&self, now_ns: u64) {
        self.last_ns.fetch_max(now_ns, Ordering::Relaxed);
    }

    /// How long ago what was last worked off had come, nanoseconds: a tick comes ten times a second, so
    /// that more is a queue that is not worked off.
    #[must_use]
    pub fn behind_ns(&self) -> u64 {
        let last = self.last_ns.load(Ordering::Relaxed);
        self.clock.now_ns().saturating_sub(last)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_pulse_goes_forward_only() {
        let clock = Clock::start();
        let pulse = Pulse::new(clock);
        pulse.beat(u64::MAX / 2);
        pulse.beat(1);
        assert_eq!(pulse.behind_ns(), 0, "what came later counts");
    }
}
