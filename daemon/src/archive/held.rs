//! Arrivals that wait for a swing: where only the time around swings is recorded, each arrival stands in
//! this line until a swing is found in it or it is too old. Whether and where it is written is
//! `writer`'s business.

use std::collections::VecDeque;

use crate::receive::Arrival;

/// Bytes of datagrams that may wait: a minute of the busiest bay (1000 Hz, two plates at 2000 Hz). More
/// of them at once is a flood; the oldest go.
const BYTES_MAX: usize = 64 << 20;
/// What an entry costs beside its bytes.
const ENTRY_BYTES: usize = size_of::<Arrival>() + 16;

/// How much around a swing is recorded, nanoseconds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Around {
    /// Before the arrival that completed the swing.
    pub before_ns: u64,
    /// After it.
    pub after_ns: u64,
}

/// The line.
#[derive(Debug)]
pub(super) struct Held {
    around: Around,
    line: VecDeque<Arrival>,
    bytes: usize,
    /// Arrival of the youngest datagram that went without being written.
    gone_ns: Option<u64>,
    /// Until then arrivals are written as they come.
    open_to_ns: u64,
}

impl Held {
    pub(super) fn new(around: Around) -> Self {
        Self {
            around,
            line: VecDeque::new(),
            bytes: 0,
            gone_ns: None,
            open_to_ns: 0,
        }
    }

    /// Whether what arrives at a time is written at once, as it follows a swing.
    pub(super) fn is_open(&self, at_ns: u64) -> bool {
        at_ns <= self.open_to_ns
    }

    /// Puts an arrival in the line; the oldest go.
    pub(super) fn push(&mut self, arrival: &Arrival) {
        self.bytes += size(arrival);
        self.line.push_back(arrival.clone());
        let since_ns = time(arrival).saturating_sub(self.around.before_ns);
        while let Some(oldest) = self.line.front()
            && (time(oldest) < since_ns || self.bytes > BYTES_MAX)
        {
            self.bytes -= size(oldest);
            if matches!(oldest, Arrival::Datagram { .. }) {
                self.gone_ns = Some(time(oldest));
            }
            self.line.pop_front();
        }
    }

    /// Whether no datagram from this arrival on went unwritten.
    pub(super) fn has_since(&self, from_ns: u64) -> bool {
        self.gone_ns.is_none_or(|gone| gone < from_ns)
    }

    /// A swing was complete: all that waits is to be written, and what comes for a while.
    pub(super) fn open(&mut self, complete_ns: u64) -> VecDeque<Arrival> {
        self.open_to_ns = complete_ns.saturating_add(self.around.after_ns);
        self.bytes = 0;
        std::mem::take(&mut self.line)
    }
}

fn time(arrival: &Arrival) -> u64 {
    match arrival {
        Arrival::Datagram { received_ns, .. } => *received_ns,
        Arrival::Tick { now_ns } => *now_ns,
    }
}

fn size(arrival: &Arrival) -> usize {
    let bytes: usize = match arrival {
        Arrival::Datagram { bytes, .. } => bytes.len(),
        Arrival::Tick { .. } => 0,
    };
    bytes + ENTRY_BYTES
}

#[cfg(test)]
mod tests {
    use super::*;

    fn datagram(received_ns: u64, length: usize) -> Arrival {
        Arrival::Datagram {
            received_ns,
            bytes: vec![0; length].into(),
        }
    }

    fn held() -> Held {
        Held::new(Around {
            before_ns: 100,
            after_ns: 20,
        })
    }

    #[test]
    fn what_waits_is_written_once_and_what_follows_for_a_while() {
        let mut held = held();
        (0..50).for_each(|n| held.push(&datagram(n * 10, 5)));
        // 490 came last: 390 and younger wait.
        assert!(held.has_since(390) && !held.has_since(380));
        let written: Vec<u64> = held.open(485).iter().map(time).collect();
        assert_eq!(written, (39..50).map(|n| n * 10).collect::<Vec<_>>());
        assert!(held.open(485).is_empty());
        assert!(held.is_open(505) && !held.is_open(506));
        // Later swings may begin in what is written already.
        assert!(held.has_since(390));
    }

    #[test]
    fn a_flood_pushes_the_oldest_out_and_is_told() {
        let mut held = held();
        (0..1200).for_each(|n| held.push(&datagram(n / 100, 65_000)));
        assert!(held.bytes <= BYTES_MAX);
        assert!(!held.has_since(0));
        held.push(&Arrival::Tick { now_ns: 12 });
        assert!(held.line.len() < 1201);
    }
}
