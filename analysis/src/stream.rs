//! Order out of a lossy network: one sequencer a stream puts datagrams back in order inside a
//! window of *device* time, and counts what was lost, late, doubled or out of order.
//!
//! Neither the clock of this machine nor the pace of arrival plays a part: the same datagrams give
//! the same order however fast they come. Joining the parts of a frame is `assemble`'s work.

use std::collections::{BTreeMap, BTreeSet};

/// Datagrams held at most while waiting for a missing one (over a second of a busy stream).
const HELD_MAX: usize = 4096;
/// Lost sequence numbers remembered, to tell a late datagram from a doubled one.
const LOST_REMEMBERED_MAX: usize = 4096;

/// What happened to the datagrams of one stream since its sender (re)started.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Counters {
    /// Datagrams received, doubled ones included.
    pub received: u64,
    /// Sequence numbers given up and never seen.
    pub lost: u64,
    /// Datagrams that came twice.
    pub duplicate: u64,
    /// Datagrams that came after their place was given up.
    pub late: u64,
    /// Datagrams that came out of order but in time.
    pub reordered: u64,
    /// Times the sender restarted (a new epoch).
    pub restarts: u64,
}

/// Puts the datagrams of one stream in order.
#[derive(Debug)]
pub struct Sequencer<T> {
    window_ns: i64,
    epoch: Option<u32>,
    next: Option<u64>,
    highest: Option<u64>,
    newest_ns: i64,
    held: BTreeMap<u64, (i64, T)>,
    lost: BTreeSet<u64>,
    counters: Counters,
}

/// Where a datagram stands in its stream.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Place {
    /// Changes when the sender restarts its sequence or clock.
    pub epoch: u32,
    /// Number of the datagram in the stream.
    pub sequence: u64,
    /// Device time, nanoseconds.
    pub time_ns: i64,
}

/// What the sequencer did with a datagram.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Order {
    /// Same sender as before.
    Continued,
    /// The sender restarted: what was held before came out first.
    Restarted,
}

impl<T> Sequencer<T> {
    /// A sequencer that waits `window_ns` of device time for a missing datagram.
    #[must_use]
    pub fn new(window_ns: i64) -> Self {
        Self {
            window_ns,
            epoch: None,
            next: None,
            highest: None,
            newest_ns: i64::MIN,
            held: BTreeMap::new(),
            lost: BTreeSet::new(),
            counters: Counters::default(),
        }
    }

    /// Counters since the sender (re)started.
    #[must_use]
    pub fn counters(&self) -> Counters {
        self.counters
    }

    /// Whether this epoch differs from the one in progress.
    #[must_use]
    pub fn restarts_with(&self, epoch: u32) -> bool {
        self.epoch.is_some_and(|e| e != epoch)
    }

    /// Takes a datagram and appends to `out` whatever is now in order. A datagram of a new epoch
    /// starts afresh: call [`flush`](Self::flush) first if [`restarts_with`](Self::restarts_with).
    pub fn push(&mut self, place: Place, item: T, out: &mut Vec<T>) -> Order {
        let order = self.enter(place.epoch);
        self.counters.received += 1;
        if self.next.is_some_and(|next| place.sequence < next) {
            self.count_past(place.sequence);
            return order;
        }
        if self.held.contains_key(&place.sequence) {
            self.counters.duplicate += 1;
            return order;
        }
        if self.highest.is_some_and(|h| place.sequence < h) {
            self.counters.reordered += 1;
        }
        self.highest = self.highest.max(Some(place.sequence));
        self.newest_ns = self.newest_ns.max(place.time_ns);
        self.held.insert(place.sequence, (place.time_ns, item));
        self.release(out);
        order
    }

    /// Gives up all waiting (end of stream, silence): everything held comes out in order.
    pub fn flush(&mut self, out: &mut Vec<T>) {
        while let Some((sequence, (_, item))) = self.held.pop_first() {
            self.advance_to(sequence);
            out.push(item);
        }
    }

    fn enter(&mut self, epoch: u32) -> Order {
        if !self.restarts_with(epoch) {
            self.epoch = Some(epoch);
            return Order::Continued;
        }
        let restarts = self.counters.restarts + 1;
        *self = Self::new(self.window_ns);
        self.epoch = Some(epoch);
        self.counters.restarts = restarts;
        Order::Restarted
    }

    fn count_past(&mut self, sequence: u64) {
        if self.lost.remove(&sequence) {
            self.counters.late += 1;
            self.counters.lost -= 1;
        } else {
            self.counters.duplicate += 1;
        }
    }

    /// Releases what is contiguous, and what has waited for longer than the window.
    fn release(&mut self, out: &mut Vec<T>) {
        while let Some((&sequence, &(time_ns, _))) = self.held.first_key_value() {
            let waited = self.newest_ns.saturating_sub(time_ns) > self.window_ns;
            if self.next != Some(sequence) && !waited && self.held.len() <= HELD_MAX {
                return;
            }
            self.advance_to(sequence);
            if let Some((_, (_, item))) = self.held.pop_first() {
                out.push(item);
            }
        }
    }

    /// Moves the expected number past `sequence`, counting what lies between as lost.
    fn advance_to(&mut self, sequence: u64) {
        if let Some(next) = self.next {
            let gap = sequence.saturating_sub(next);
            self.counters.lost += gap;
            let remembered = gap.min(LOST_REMEMBERED_MAX as u64);
            self.lost.extend(sequence - remembered..sequence);
            while self.lost.len() > LOST_REMEMBERED_MAX {
                self.lost.pop_first();
            }
        }
        self.next = Some(sequence.saturating_add(1));
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const MS: i64 = 1_000_000;

    fn run(window_ms: i64, sequence: &[u64]) -> (Vec<u64>, Counters) {
        let mut s = Sequencer::new(window_ms * MS);
        let mut out = Vec::new();
        for &n in sequence {
            let place = Place {
                epoch: 1,
                sequence: n,
                time_ns: i64::try_from(n).unwrap() * MS,
            };
            s.push(place, n, &mut out);
        }
        s.flush(&mut out);
        (out, s.counters())
    }

    #[test]
    fn order_loss_doubles_and_lateness_are_told_apart() {
        let (out, c) = run(5, &[0, 2, 1, 1, 3, 5, 6, 7, 8, 9, 10, 11, 12, 4, 13]);
        assert_eq!(out, [0, 1, 2, 3, 5, 6, 7, 8, 9, 10, 11, 12, 13]);
        assert_eq!(
            c,
            Counters {
                received: 15,
                lost: 0,
                duplicate: 1,
                late: 1,
                reordered: 1,
                restarts: 0
            }
        );
    }

    #[test]
    fn a_first_datagram_out_of_order_is_not_late() {
        let (out, c) = run(5, &[3, 1, 2, 4, 5, 6, 7, 8, 9]);
        assert_eq!(out, [1, 2, 3, 4, 5, 6, 7, 8, 9]);
        assert_eq!((c.late, c.lost), (0, 0));
    }

    #[test]
    fn a_restarted_sender_starts_afresh() {
        let mut s = Sequencer::new(5 * MS);
        let mut out = Vec::new();
        for n in 100..120 {
            s.push(
                Place {
                    epoch: 1,
                    sequence: n,
                    time_ns: 0,
                },
                n,
                &mut out,
            );
        }
        assert!(s.restarts_with(2));
        s.flush(&mut out);
        assert_eq!(
            s.push(
                Place {
                    epoch: 2,
                    sequence: 0,
                    time_ns: 0
                },
                0,
                &mut out
            ),
            Order::Restarted
        );
        assert_eq!(s.counters().restarts, 1);
        assert_eq!(s.counters().lost, 0);
    }

    proptest! {
        #[test]
        fn any_order_within_the_window_comes_out_sorted(swaps in proptest::collection::vec(0usize..199, 0..80)) {
            let mut numbers: Vec<u64> = (0..200).collect();
            for i in swaps { numbers.swap(i, i + 1); }
            // Neighbour swaps can carry a number far; only those inside the window are promised.
            let worst = numbers.iter().enumerate().map(|(i, &n)| (i as i64 - n as i64).abs()).max().unwrap_or(0);
            let (out, c) = run(worst + 1, &numbers);
            prop_assert_eq!(out, (0..200).collect::<Vec<_>>());
            prop_assert_eq!(c.lost, 0);
        }

        #[test]
        fn whatever_comes_the_output_rises(numbers in proptest::collection::vec(0u64..300, 0..400)) {
            let (out, c) = run(10, &numbers);
            prop_assert!(out.windows(2).all(|w| w[0] < w[1]));
            prop_assert_eq!(out.len() as u64 + c.duplicate + c.late, c.received);
        }
    }
}
