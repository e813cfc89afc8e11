//! The gate of the datagram socket: which sources may send, and with a key which datagrams are real and new.
//! What passes is a plain datagram, so that recordings and replays know nothing of keys.

use std::net::IpAddr;
use std::path::Path;
use std::sync::atomic::{AtomicU64, Ordering};

use protocol::wire::{Key, Refusal, Replays, unseal};
use protocol::{MAX_DATAGRAM, TRAILER_BYTES};

use crate::clock::Clock;
use crate::config::{Network, Udp};
use crate::errors::{Code, wrong};
use crate::private;

/// Who and what may come in.
#[derive(Debug, Default)]
pub struct Gate {
    /// Empty: everybody who reaches the socket.
    allow: Vec<Network>,
    keyed: Option<Keyed>,
}

#[derive(Debug)]
struct Keyed {
    key: Key,
    replays: Replays,
    clock: Clock,
}

/// Why a datagram was turned away.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Turned {
    /// Its source is not on the list.
    Source,
    /// It is not keyed.
    Unkeyed,
    /// Its tag is wrong.
    Forged,
    /// Its date is wrong.
    Stale,
    /// It came before.
    Replayed,
}

/// How many were turned away, by reason.
#[derive(Debug, Default)]
pub struct TurnedAway([AtomicU64; Turned::ALL.len()]);

impl Turned {
    /// Every reason.
    pub const ALL: [Self; 5] = [
        Self::Source,
        Self::Unkeyed,
        Self::Forged,
        Self::Stale,
        Self::Replayed,
    ];

    /// The stable code.
    #[must_use]
    pub fn code(self) -> Code {
        match self {
            Self::Source => Code::UdpSourceRefused,
            Self::Unkeyed => Code::UdpUnkeyed,
            Self::Forged => Code::UdpForged,
            Self::Stale => Code::UdpStale,
            Self::Replayed => Code::UdpReplayed,
        }
    }

    /// What it is and what to do.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::Source => "the sender is not in udp.allow: add it, or find out who sends",
            Self::Unkeyed => {
                "not keyed: give the sender the key file, or find out who else sends here"
            }
            Self::Forged => "keyed with another key, or changed on the way: compare the key files",
            Self::Stale => {
                "sent more than 10 s ago or ahead by its date: set the clocks of both computers"
            }
            Self::Replayed => "came twice: a network that doubles, or somebody who plays back",
        }
    }
}

impl TurnedAway {
    fn count(&self, why: Turned) {
        self.0[why as usize].fetch_add(1, Ordering::Relaxed);
    }

    /// The counts, in the order of [`Turned::ALL`].
    #[must_use]
    pub fn counts(&self) -> [u64; Turned::ALL.len()] {
        self.0.each_ref().map(|n| n.load(Ordering::Relaxed))
    }
}

impl Gate {
    /// The gate that a configuration asks for.
    ///
    /// # Errors
    /// When the key file cannot be used.
    pub fn new(udp: &Udp, clock: Clock) -> anyhow::Result<Self> {
        let keyed = udp.key_file.as_deref().map(key).transpose()?;
        Ok(Self {
            allow: udp.allow.clone(),
            keyed: keyed.map(|key| Keyed {
                key,
                replays: Replays::since(clock.utc_ns()),
                clock,
            }),
        })
    }

    /// Bytes to read at most: one more than the format allows, so that a longer datagram is noticed.
    #[must_use]
    pub fn bytes_max(&self) -> usize {
        let trailer = if self.keyed.is_some() {
            TRAILER_BYTES
        } else {
            0
        };
        MAX_DATAGRAM + trailer + 1
    }

    /// Takes a datagram or turns it away and counts that. What is taken is plain: so many of its bytes.
    pub fn admit(&mut self, from: IpAddr, datagram: &mut [u8], away: &TurnedAway) -> Option<usize> {
        let admitted = self.check(from, datagram);
        admitted.map_err(|why| away.count(why)).ok()
    }

    fn check(&mut self, from: IpAddr, datagram: &mut [u8]) -> Result<usize, Turned> {
        if !self.allow.is_empty() && !self.allow.iter().any(|network| network.holds(from)) {
            return Err(Turned::Source);
        }
        let Some(keyed) = &mut self.keyed else {
            return Ok(datagram.len());
        };
        let unsealed = unseal(datagram, &keyed.key).map_err(turned)?;
        let taken = keyed.replays.take(&unsealed, keyed.clock.utc_ns());
        taken.map_err(turned)?;
        Ok(unsealed.length)
    }
}

fn turned(why: Refusal) -> Turned {
    match why {
        Refusal::Unkeyed => Turned::Unkeyed,
        Refusal::Forged => Turned::Forged,
        Refusal::Stale => Turned::Stale,
        Refusal::Replayed => Turned::Replayed,
    }
}

/// The key in a file.
///
/// # Errors
/// When the file cannot be read, others may read it, or it holds no key.
pub fn key(path: &Path) -> anyhow::Result<Key> {
    let text = match private::read(path) {
        Ok(text) => text,
        Err(why) => wrong!(Code::KeyUnusable, "key file {}: {why}", path.display()),
    };
    let Some(key) = Key::from_hex(&text) else {
        wrong!(
            Code::KeyUnusable,
            "key file {}: 64 hexadecimal digits are needed: `whin access new-key FILE` makes one",
            path.display()
        );
    };
    Ok(key)
}

#[cfg(test)]
mod tests {
    use super::*;
    use protocol::wire::{Body, Header, Pulse, Trigger, encode, seal};

    fn trigger(sequence: u64) -> Vec<u8> {
        let header = Header {
            sequence,
            ..Header::default()
        };
        let body = Body::Trigger(Trigger {
            pulse: Pulse::Sound,
            strength: None,
        });
        let mut bytes = Vec::new();
        encode(&header, &body, &mut bytes).unwrap();
        bytes
    }

    #[test]
    fn a_gate_with_a_key_takes_each_real_datagram_once_and_counts_the_rest() {
        let (key, clock) = (Key::new(&[9; 32]), Clock::start());
        let mut gate = Gate {
            allow: vec![Network::try_from("192.0.2.0/24".to_owned()).unwrap()],
            keyed: Some(Keyed {
                key: key.clone(),
                replays: Replays::since(clock.utc_ns()),
                clock,
            }),
        };
        let away = TurnedAway::default();
        let mut offer = |from: &str, bytes: &[u8]| {
            let mut bytes = bytes.to_vec();
            let taken = gate.admit(from.parse().unwrap(), &mut bytes, &away);
            taken.map(|length| bytes[..length].to_vec())
        };
        let sealed = |sequence, by: &Key, sent| {
            let mut bytes = trigger(sequence);
            seal(&mut bytes, by, sent).unwrap();
            bytes
        };
        let now = clock.utc_ns();
        let good = sealed(0, &key, now);
        assert_eq!(offer("192.0.2.9", &good), Some(trigger(0)));
        assert_eq!(offer("192.0.2.9", &good), None);
        assert_eq!(offer("198.51.100.1", &sealed(1, &key, now)), None);
        assert_eq!(offer("192.0.2.9", &trigger(1)), None);
        assert_eq!(
            offer("192.0.2.9", &sealed(1, &Key::new(&[8; 32]), now)),
            None
        );
        assert_eq!(
            offer("192.0.2.9", &sealed(1, &key, now - 60_000_000_000)),
            None
        );
        assert_eq!(offer("192.0.2.9", &sealed(1, &key, now)), Some(trigger(1)));
        assert_eq!(away.counts(), [1, 1, 1, 1, 1]);
    }

    #[test]
    fn a_gate_without_a_list_and_key_takes_everything_as_it_is() {
        let mut gate = Gate::default();
        let away = TurnedAway::default();
        let mut bytes = *b"anything";
        let taken = gate.admit("203.0.113.1".parse().unwrap(), &mut bytes, &away);
        assert_eq!((taken, gate.bytes_max()), (Some(8), MAX_DATAGRAM + 1));
    }
}
