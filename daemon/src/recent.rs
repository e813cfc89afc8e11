//! The datagrams of the last minute, as they came: what a calibration trial is taken from when the coach asks
//! for one. Bounded in time and bytes; the receiver never waits for it.

use std::collections::VecDeque;
use std::sync::{Mutex, PoisonError};

use bytes::Bytes;

/// So far back, nanoseconds of arrival.
pub const KEPT_NS: u64 = 60_000_000_000;
/// Bytes at most: a minute of the busiest bay has fewer.
const KEPT_BYTES: usize = 96 << 20;

/// A datagram with its arrival, nanoseconds on the daemon's clock.
pub type Came = (u64, Bytes);

/// The ring.
#[derive(Debug, Default)]
pub struct Recent(Mutex<Held>);

#[derive(Debug, Default)]
struct Held {
    came: VecDeque<Came>,
    bytes: usize,
}

impl Recent {
    /// Takes what waits, unless somebody reads just now: then it goes on waiting.
    pub fn offer(&self, waiting: &mut Vec<Came>) {
        let Ok(mut held) = self.0.try_lock() else {
            return;
        };
        for came in waiting.drain(..) {
            held.push(came);
        }
    }

    /// What came since an arrival.
    #[must_use]
    pub fn since(&self, from_ns: u64) -> Vec<Came> {
        let held = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let from = held.came.partition_point(|(at, _)| *at < from_ns);
        held.came.range(from..).cloned().collect()
    }
}

impl Held {
    fn push(&mut self, came: Came) {
        let oldest_ns = came.0.saturating_sub(KEPT_NS);
        self.bytes += came.1.len();
        self.came.push_back(came);
        while self.bytes > KEPT_BYTES || self.came.front().is_some_and(|(at, _)| *at < oldest_ns) {
            let Some((_, bytes)) = self.came.pop_front() else {
                return;
            };
            self.bytes -= bytes.len();
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_minute_is_kept_and_whoever_reads_holds_nobody_up() {
        let recent = Recent::default();
        let second = |n: u64| (n * 1_000_000_000, Bytes::from(vec![n as u8]));
        let mut waiting: Vec<Came> = (0..100).map(second).collect();
        let reading = recent.0.lock().unwrap();
        recent.offer(&mut waiting);
        assert_eq!(waiting.len(), 100, "it waits");
        drop(reading);
        recent.offer(&mut waiting);
        assert!(waiting.is_empty());
        assert_eq!(recent.since(0).len(), 61);
        let last = recent.since(97_000_000_000);
        assert_eq!(
            last.iter().map(|(_, b)| b[0]).collect::<Vec<_>>(),
            [97, 98, 99]
        );
    }
}
