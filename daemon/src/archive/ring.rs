//! The arrivals of the last seconds, so that a swing finds its window in the recording. Holds no
//! datagrams: their checksums only.

use std::collections::VecDeque;

use protocol::wire;

/// Datagrams remembered: 13 s of the busiest bay (1000 Hz of three parts and 2000 blocks), two times
/// a swing's window. About 5 MB.
const KEPT: usize = 131_072;
/// A window begins this much earlier than its first frame, device time: streams describe themselves
/// each second, so that the window can be read by itself.
const LEAD_NS: i64 = 1_100_000_000;

/// A checksum of datagrams with their arrivals, in their order: CRC-32 (IEEE) over, for each, the
/// arrival (u64) and the CRC-32 of the datagram (u32), little-endian.
#[derive(Debug, Clone, Default)]
pub(super) struct Digest {
    sum: crc32fast::Hasher,
    count: u64,
}

/// What is remembered of a datagram.
#[derive(Debug, Clone, Copy)]
struct Seen {
    arrival_ns: u64,
    crc: u32,
    /// Epoch and device time of a marker frame.
    frame: Option<(u32, i64)>,
}

/// The ring.
#[derive(Debug, Default)]
pub(super) struct Ring {
    seen: VecDeque<Seen>,
    /// Something before the oldest was there and is not remembered.
    forgot: bool,
}

/// A window: its first arrival, that of impact, and the checksum of all between first and last.
#[derive(Debug)]
pub(super) struct Found {
    pub(super) from_ns: u64,
    pub(super) impact_ns: u64,
    pub(super) digest: Digest,
}

impl Digest {
    /// Adds a datagram.
    pub(super) fn add(&mut self, arrival_ns: u64, datagram: &[u8]) {
        self.add_crc(arrival_ns, crc32fast::hash(datagram));
    }

    fn add_crc(&mut self, arrival_ns: u64, crc: u32) {
        self.sum.update(&arrival_ns.to_le_bytes());
        self.sum.update(&crc.to_le_bytes());
        self.count += 1;
    }

    /// How many datagrams, and their checksum.
    #[must_use]
    pub(super) fn read(&self) -> (u64, u32) {
        (self.count, self.sum.clone().finalize())
    }
}

impl Ring {
    pub(super) fn push(&mut self, arrival_ns: u64, datagram: &[u8]) {
        if self.seen.len() == KEPT {
            self.seen.pop_front();
            self.forgot = true;
        }
        let opened = wire::open(datagram).ok().filter(|d| d.is_marker_frame());
        self.seen.push_back(Seen {
            arrival_ns,
            crc: crc32fast::hash(datagram),
            frame: opened.map(|d| (d.header.epoch, d.header.device_time_ns)),
        });
    }

    /// Forgets all: what comes is in another recording.
    pub(super) fn clear(&mut self) {
        self.seen.clear();
        self.forgot = true;
    }

    /// The window of a swing of a sender's `epoch`: device times of its first frame and of impact,
    /// arrival of the datagram that completed it. `None` when its beginning is not remembered.
    pub(super) fn window(
        &self,
        epoch: u32,
        (first_ns, impact_ns): (i64, i64),
        to_ns: u64,
    ) -> Option<Found> {
        let frame =
            |seen: &Seen, from_ns: i64| seen.frame.is_some_and(|(e, t)| e == epoch && t >= from_ns);
        let first = self
            .seen
            .iter()
            .position(|s| frame(s, first_ns - LEAD_NS))?;
        // What came before the oldest may have been a frame of the window.
        if first == 0 && self.forgot {
            return None;
        }
        let mut digest = Digest::default();
        let within = self
            .seen
            .range(first..)
            .take_while(|s| s.arrival_ns <= to_ns);
        within.for_each(|s| digest.add_crc(s.arrival_ns, s.crc));
        let impact = self.seen.range(first..).find(|s| frame(s, impact_ns))?;
        Some(Found {
            from_ns: self.seen.get(first)?.arrival_ns,
            impact_ns: impact.arrival_ns,
            digest,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use protocol::wire::{Body, Header, Pulse, Trigger, encode};

    fn frame(epoch: u32, device_time_ns: i64) -> Vec<u8> {
        let header = Header {
            epoch,
            device_time_ns,
            ..Header::default()
        };
        let mut bytes = Vec::new();
        let body = Trigger {
            pulse: Pulse::Switch,
            strength: None,
        };
        encode(&header, &Body::Trigger(body), &mut bytes).unwrap();
        // Kind 2 at its place in the header: the body is not looked into.
        bytes[6] = 2;
        bytes
    }

    #[test]
    fn a_window_is_of_its_epoch_and_its_digest_is_that_of_its_datagrams() {
        let mut ring = Ring::default();
        for n in 0..100_i64 {
            ring.push(n as u64 * 10, &frame(1, n * 100_000_000));
            ring.push(n as u64 * 10 + 1, b"stray");
        }
        ring.push(995, &frame(2, 0));
        // From 5.0 s: the window begins 1.1 s before, at 3.9 s, arrival 390.
        let found = ring.window(1, (5_000_000_000, 6_000_000_000), 700).unwrap();
        assert_eq!((found.from_ns, found.impact_ns), (390, 600));
        let mut digest = Digest::default();
        for n in 39..=70_i64 {
            digest.add(n as u64 * 10, &frame(1, n * 100_000_000));
            if n < 70 {
                digest.add(n as u64 * 10 + 1, b"stray");
            }
        }
        assert_eq!(found.digest.read(), digest.read());
        assert_eq!(ring.window(2, (0, 0), 1000).unwrap().from_ns, 995);
        assert!(ring.window(3, (0, 0), 1000).is_none());
    }

    #[test]
    fn a_window_whose_beginning_is_forgotten_is_none() {
        let mut ring = Ring::default();
        ring.push(1, &frame(1, 0));
        ring.push(2, &frame(1, 1));
        assert!(
            ring.window(1, (0, 1), 2).is_some(),
            "the first there ever was"
        );
        ring.clear();
        ring.push(3, &frame(1, 2_000_000_000));
        ring.push(4, &frame(1, 4_000_000_000));
        assert!(ring.window(1, (0, 1), 4).is_none());
        assert!(ring.window(1, (4_000_000_000, 4_000_000_000), 4).is_some());
    }
}
