//! The only place where the daemon reads a clock. Two kinds: a monotonic one that counts from the
//! start of the program (arrival stamps, ticks, intervals) and the wall clock (dates of files and
//! sessions). What the times mean is for others.

use std::time::{Instant, SystemTime, UNIX_EPOCH};

/// A clock that was started once; copies agree.
#[derive(Debug, Clone, Copy)]
pub struct Clock {
    zero: Instant,
    zero_utc_ns: u64,
}

impl Clock {
    /// Starts the clock: its zero is now.
    #[must_use]
    #[expect(
        clippy::disallowed_methods,
        reason = "this is the file that reads the clock"
    )]
    pub fn start() -> Self {
        let since_epoch = SystemTime::now().duration_since(UNIX_EPOCH);
        // A computer whose date lies before 1970 has no date worth keeping.
        let zero_utc_ns = since_epoch.map_or(0, |d| nanoseconds(d.as_nanos()));
        Self {
            zero: Instant::now(),
            zero_utc_ns,
        }
    }

    /// Nanoseconds since the start; never goes back, whatever happens to the date.
    #[must_use]
    pub fn now_ns(&self) -> u64 {
        nanoseconds(self.zero.elapsed().as_nanos())
    }

    /// The date now, nanoseconds since 1970-01-01 00:00 UTC: follows the computer when its date is set. For
    /// comparing with dates of others only; what is kept counts from the start.
    #[must_use]
    #[expect(
        clippy::disallowed_methods,
        reason = "this is the file that reads the clock"
    )]
    pub fn utc_ns(&self) -> u64 {
        let since_epoch = SystemTime::now().duration_since(UNIX_EPOCH);
        since_epoch.map_or(0, |d| nanoseconds(d.as_nanos()))
    }

    /// The date of the start: nanoseconds since 1970-01-01 00:00 UTC.
    #[must_use]
    pub fn zero_utc_ns(&self) -> u64 {
        self.zero_utc_ns
    }
}

/// 2⁶⁴ ns are 584 years: the cap is never seen.
fn nanoseconds(count: u128) -> u64 {
    u64::try_from(count).unwrap_or(u64::MAX)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn time_goes_forward_and_the_date_is_of_this_century() {
        let clock = Clock::start();
        let (first, copy) = (clock.now_ns(), clock);
        assert!(copy.now_ns() >= first);
        let years = clock.zero_utc_ns() / 1_000_000_000 / 31_556_952 + 1970;
        assert!((2024..2100).contains(&years), "{years}");
    }
}
