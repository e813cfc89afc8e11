//! How often passphrases and codes may be tried: by each source, and by all together. An attempt costs a hash
//! of 19 MiB and some tens of milliseconds, and gives a guess.

use std::collections::BTreeMap;
use std::net::IpAddr;

/// Attempts of a source that are free of waiting.
const FREE: u32 = 5;
/// The wait doubles with each attempt more, up to this, seconds.
const WAIT_MOST_S: u64 = 900;
/// A source is forgotten after so long, nanoseconds.
const FORGET_NS: u64 = 3_600_000_000_000;
/// Sources that are remembered; the one that was quiet for the longest time makes room.
const SOURCES_MAX: usize = 1024;
/// Attempts of all sources together at once …
const TOGETHER: u64 = 30;
/// … and one more every so often, nanoseconds: 8,640 a day.
const REFILL_NS: u64 = 10_000_000_000;
const SECOND_NS: u64 = 1_000_000_000;

#[derive(Debug)]
pub(super) struct Throttle {
    sources: BTreeMap<IpAddr, Source>,
    left: u64,
    refilled_ns: u64,
}

#[derive(Debug, Clone, Copy, Default)]
struct Source {
    attempts: u32,
    last_ns: u64,
    next_ns: u64,
}

impl Default for Throttle {
    fn default() -> Self {
        Self {
            sources: BTreeMap::new(),
            left: TOGETHER,
            refilled_ns: 0,
        }
    }
}

impl Throttle {
    /// Takes an attempt, or says how many seconds to wait. Counted before its outcome is known, so that
    /// many at once are many.
    pub(super) fn ask(&mut self, from: IpAddr, now_ns: u64) -> Result<(), u64> {
        let from = network(from);
        let wait = |until: u64| until.saturating_sub(now_ns).div_ceil(SECOND_NS);
        let mut source = self.sources.get(&from).copied().unwrap_or_default();
        if now_ns.saturating_sub(source.last_ns) > FORGET_NS {
            source = Source::default();
        }
        if source.next_ns > now_ns {
            return Err(wait(source.next_ns));
        }
        let more = now_ns.saturating_sub(self.refilled_ns) / REFILL_NS;
        self.left = self.left.saturating_add(more).min(TOGETHER);
        self.refilled_ns += more * REFILL_NS;
        let left = self.left.checked_sub(1);
        self.left = left.ok_or_else(|| wait(self.refilled_ns + REFILL_NS).max(1))?;
        source.attempts += 1;
        source.last_ns = now_ns;
        if let Some(beyond) = source.attempts.checked_sub(FREE) {
            let wait_s = 1_u64.checked_shl(beyond).unwrap_or(WAIT_MOST_S);
            source.next_ns = now_ns + wait_s.min(WAIT_MOST_S) * SECOND_NS;
        }
        if self.sources.len() >= SOURCES_MAX && !self.sources.contains_key(&from) {
            let quiet = self.sources.iter().min_by_key(|(_, s)| s.last_ns);
            let quiet = quiet.map(|(address, _)| *address);
            quiet.and_then(|address| self.sources.remove(&address));
        }
        self.sources.insert(from, source);
        Ok(())
    }

    /// The last attempt of this source was a good one.
    pub(super) fn succeeded(&mut self, from: IpAddr) {
        self.sources.remove(&network(from));
        self.left = (self.left + 1).min(TOGETHER);
    }
}

/// Whoever has an IPv6 address has a network of 64 bits of them.
fn network(address: IpAddr) -> IpAddr {
    match address.to_canonical() {
        IpAddr::V6(v6) => IpAddr::V6((v6.to_bits() >> 64 << 64).into()),
        v4 => v4,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn address(n: u32) -> IpAddr {
        IpAddr::V4(n.into())
    }

    #[test]
    fn one_source_gets_five_attempts_and_then_waits_twice_as_long_each_time() {
        let mut throttle = Throttle::default();
        let mut now = 0;
        for _ in 0..FREE {
            assert!(throttle.ask(address(1), now).is_ok());
        }
        for expected_s in [1, 2, 4, 8] {
            assert_eq!(throttle.ask(address(1), now), Err(expected_s));
            now += expected_s * SECOND_NS;
            assert!(throttle.ask(address(1), now).is_ok());
        }
        assert!(throttle.ask(address(2), now).is_ok(), "others go on");
        throttle.succeeded(address(1));
        assert!(throttle.ask(address(1), now).is_ok());
    }

    #[test]
    fn many_sources_together_get_no_more_and_take_no_room() {
        let mut throttle = Throttle::default();
        let passed = |n: &u32| throttle.ask(address(*n), 0).is_ok();
        assert_eq!((0..10_000).filter(passed).count() as u64, TOGETHER);
        // A day of attempts ten times a second.
        let mut throttle = Throttle::default();
        let tries = (0..864_000).filter(|n| {
            throttle
                .ask(address(*n), u64::from(*n) * SECOND_NS / 10)
                .is_ok()
        });
        let passed = tries.count() as u64;
        assert!((8_640..=8_640 + TOGETHER).contains(&passed), "{passed}");
        assert!(throttle.sources.len() <= SOURCES_MAX);
    }

    #[test]
    fn neighbours_of_one_ipv6_network_are_one_source() {
        let mut throttle = Throttle::default();
        let passed = |n: &u16| {
            let from = format!("2001:db8::{n:x}");
            throttle.ask(from.parse().unwrap(), 0).is_ok()
        };
        assert_eq!((0..100).filter(passed).count(), FREE as usize);
    }
}
