//! Order out of a lossy network: one sequencer a stream puts datagrams back in order inside a
//! window of *device* time, and counts what was lost, late, doubled or out of order.
//!
//! Neither the clock of this machine nor the pace of arrival plays a part: the same datagrams give
//! the same order however fast they come. Joining the parts of a frame is `assemble`'s work.

use std::collections::{BTreeMap, BTreeSet};

/// Datagrams held at most while waiting for a missing one (over a second of a busy stream).
const HELD_MAX: usize = 4096;
/// A number this far from the expected one is not believed alone.
const JUMP_MAX: u64 = 65_536;
/// So many datagrams in a row must agree before a strange place is believed.
const AGREEING: u32 = 20;
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
    /// Datagrams set aside because their epoch or number fits nothing: two senders with one stream
    /// id, or a damaged header.
    pub strange: u64,
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
    /// The last strange place, and how many have agreed with it in a row.
    strange: Option<(Place, u32)>,
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

/// What the sequencer makes of a datagram's place.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Order {
    /// Same sender as before.
    Continued,
    /// The sender restarted.
    Restarted,
    /// It fits nothing: left out and counted.
    Strange,
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
            strange: None,
        }
    }

    /// Counters since the sender (re)started.
    #[must_use]
    pub fn counters(&self) -> Counters {
        self.counters
    }

    /// What the sequencer makes of a datagram's place, before it takes it: a sender that restarted
    /// is worked off with [`flush`](Self::flush) first, a strange place is left out.
    pub fn judge(&mut self, place: Place) -> Order {
        let Some(epoch) = self.epoch else {
            return Order::Continued;
        };
        let far = |n: u64| n.abs_diff(place.sequence) > JUMP_MAX;
        if place.epoch == epoch && !self.next.or(self.highest).is_some_and(far) {
            self.strange = None;
            return Order::Continued;
        }
        // A larger epoch is a restart by the format's rule. Anything else needs agreement: it may be a
        // straggler, a second sender, or a damaged number.
        if place.epoch > epoch {
            return Order::Restarted;
        }
        let agrees = |p: &Place| {
            p.epoch == place.epoch && p.sequence.abs_diff(place.sequence) <= HELD_MAX as u64
        };
        let run = self
            .strange
            .filter(|(p, _)| agrees(p))
            .map_or(1, |(_, run)| run + 1);
        self.strange = Some((place, run));
        if run >= AGREEING {
            return Order::Restarted;
        }
        self.counters.received += 1;
        self.counters.strange += 1;
        Order::Strange
    }

    /// Starts afresh after a restart; what was held is gone.
    pub fn restart(&mut self) {
        let (restarts, strange) = (self.counters.restarts + 1, self.counters.strange);
        *self = Self::new(self.window_ns);
        self.counters.restarts = restarts;
        self.counters.strange = strange;
    }

    /// Counts a datagram whose place was judged to continue where it is the next one and none waits: `true`, and it is
    /// to be taken at once. Otherwise [`push`](Self::push) takes it.
    pub fn take_next(&mut self, place: Place) -> bool {
        let next = self.held.is_empty() && self.next == Some(place.sequence);
        if next {
            self.epoch = Some(place.epoch);
            self.counters.received += 1;
            self.highest = self.highest.max(Some(place.sequence));
            self.newest_ns = self.newest_ns.max(place.time_ns);
            self.advance_to(place.sequence);
        }
        next
    }

    /// Takes a datagram whose place was judged to continue, and appends to `out` whatever is now in
    /// order.
    pub fn push(&mut self, place: Place, item: T, out: &mut Vec<T>) {
        self.epoch = Some(place.epoch);
        self.counters.received += 1;
        if self.next.is_some_and(|next| place.sequence < next) {
            self.count_past(place.sequence);
            return;
        }
        if self.held.contains_key(&place.sequence) {
            self.counters.duplicate += 1;
            return;
        }
        if self.highest.is_some_and(|h| place.sequence < h) {
            self.counters.reordered += 1;
        }
        self.highest = self.highest.max(Some(place.sequence));
        self.newest_ns = self.newest_ns.max(place.time_ns);
        self.held.insert(place.sequence, (place.time_ns, item));
        self.release(out);
    }

    /// Gives up all waiting (end of stream, silence): everything held comes out in order.
    pub fn flush(&mut self, out: &mut Vec<T>) {
        while let Some((sequence, (_, item))) = self.held.pop_first() {
            self.advance_to(sequence);
            out.push(item);
        }
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
        let [pushed, at_once] = [false, true].map(|at_once| {
            let mut s = Sequencer::new(window_ms * MS);
            let mut out = Vec::new();
            for &n in sequence {
                let place = Place {
                    epoch: 1,
                    sequence: n,
                    time_ns: i64::try_from(n).unwrap() * MS,
                };
                if at_once && s.take_next(place) {
                    out.push(n);
                } else {
                    s.push(place, n, &mut out);
                }
            }
            s.flush(&mut out);
            (out, s.counters())
        });
        // What is next may go past the sequencer: nothing else changes.
        assert_eq!(at_once, pushed);
        pushed
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
                restarts: 0,
                strange: 0,
            }
        );
    }

    #[test]
    fn a_first_datagram_out_of_order_is_not_late() {
        let (out, c) = run(5, &[3, 1, 2, 4, 5, 6, 7, 8, 9]);
        assert_eq!(out, [1, 2, 3, 4, 5, 6, 7, 8, 9]);
        assert_eq!((c.late, c.lost), (0, 0));
    }

    fn take(s: &mut Sequencer<u64>, epoch: u32, sequence: u64, out: &mut Vec<u64>) -> Order {
        let place = Place {
            epoch,
            sequence,
            time_ns: 0,
        };
        let order = s.judge(place);
        match order {
            Order::Strange => return order,
            Order::Restarted => {
                s.flush(out);
                s.restart();
            }
            Order::Continued => {}
        }
        s.push(place, sequence, out);
        order
    }

    #[test]
    fn a_restarted_sender_starts_afresh() {
        let mut s = Sequencer::new(5 * MS);
        let mut out = Vec::new();
        (100..120).for_each(|n| assert_eq!(take(&mut s, 1, n, &mut out), Order::Continued));
        assert_eq!(take(&mut s, 2, 0, &mut out), Order::Restarted);
        assert_eq!((s.counters().restarts, s.counters().lost), (1, 0));
        // A straggler of the old sender changes nothing.
        assert_eq!(take(&mut s, 1, 120, &mut out), Order::Strange);
        assert_eq!(take(&mut s, 2, 1, &mut out), Order::Continued);
    }

    #[test]
    fn one_damaged_number_is_left_out_and_a_renumbering_sender_is_believed_in_time() {
        let mut s = Sequencer::new(5 * MS);
        let mut out = Vec::new();
        (0..20).for_each(|n| assert_eq!(take(&mut s, 1, n, &mut out), Order::Continued));
        assert_eq!(take(&mut s, 1, 1 << 62, &mut out), Order::Strange);
        assert_eq!(take(&mut s, 1, 20, &mut out), Order::Continued);
        assert_eq!(s.counters().lost, 0);
        let renumbered: Vec<Order> = (0..25)
            .map(|n| take(&mut s, 1, 500_000 + n, &mut out))
            .collect();
        assert_eq!(
            renumbered
                .iter()
                .filter(|o| **o == Order::Restarted)
                .count(),
            1
        );
        assert_eq!(renumbered.last(), Some(&Order::Continued));
    }

    proptest! {
        #[test]
        fn any_order_within_the_window_comes_out_sorted(swaps in proptest::collection::vec(0usize..199, 0..80)) {
            let mut numbers: Vec<u64> = (0..200).collect();
            for i in swaps { numbers.swap(i, i + 1); }
            // What the window promises: how far the newest time may be ahead of one still to come.
            let mut newest = 0;
            let ahead = numbers.iter().map(|&n| { newest = newest.max(n); newest - n });
            let worst = i64::try_from(ahead.max().unwrap_or(0)).unwrap();
            let (out, c) = run(worst, &numbers);
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
