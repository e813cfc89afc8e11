//! Keyed datagrams: the tag that shows who sent one, and the window in which none passes twice. The bytes are
//! specified in the crate's documentation. Where the key comes from and what time it is are for others.

use std::collections::BTreeMap;
use std::fmt;

use hmac::{Hmac, KeyInit as _, Mac as _};
use sha2::Sha256;
use thiserror::Error;

use super::{DecodeError, Header, header, open};
use crate::{MAX_DATAGRAM, TRAILER_BYTES};

/// Bytes of a key.
pub const KEY_BYTES: usize = 32;
/// Bytes of a tag: the first half of an HMAC-SHA-256 (RFC 4868 truncates it so).
const TAG_BYTES: usize = 16;
/// How far the sender's date may be from the receiver's, nanoseconds.
pub(super) const DATE_WITHIN_NS: u64 = 10_000_000_000;
/// Sequence numbers that a window looks back: a second of a fast stream.
const WINDOW: u64 = 1024;
/// Streams and epochs whose windows are kept; only who has the key can fill them.
const WINDOWS_MAX: usize = 64;

/// A key that sender and receiver share.
#[derive(Clone)]
pub struct Key(Hmac<Sha256>);

/// Why a datagram does not pass a receiver with a key. A small value: forgeries may come by the thousand.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Error)]
pub enum Refusal {
    /// No tag, or no datagram at all.
    #[error("not keyed")]
    Unkeyed,
    /// The tag is not of this key and these bytes.
    #[error("keyed with another key, or changed on the way")]
    Forged,
    /// Sent too long ago, by the sender's date, or before the receiver started.
    #[error("sent more than 10 s ago or ahead by the sender's date")]
    Stale,
    /// It came before.
    #[error("came before")]
    Replayed,
}

/// A datagram whose tag is good: now without flag and trailer.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Unsealed {
    /// Bytes of the datagram as it was before it was keyed.
    pub length: usize,
    /// Its header.
    pub header: Header,
    /// When it was sent by the sender's date, nanoseconds since 1970 in UTC.
    pub sent_utc_ns: u64,
}

impl Key {
    /// A key of these bytes.
    #[must_use]
    pub fn new(bytes: &[u8; KEY_BYTES]) -> Self {
        // HMAC itself fills a key that is shorter than a block with zeros.
        let mut block = [0; 64];
        block[..KEY_BYTES].copy_from_slice(bytes);
        Self(Hmac::new(&block.into()))
    }

    /// A key written as 64 hexadecimal digits, with spaces and line ends around them.
    #[must_use]
    pub fn from_hex(text: &str) -> Option<Self> {
        let digits = text.trim().as_bytes();
        let mut bytes = [0; KEY_BYTES];
        if digits.len() != 2 * KEY_BYTES {
            return None;
        }
        for (byte, pair) in bytes.iter_mut().zip(digits.as_chunks::<2>().0) {
            let [high, low] = pair.map(|digit| char::from(digit).to_digit(16));
            *byte = u8::try_from(high? * 16 + low?).ok()?;
        }
        Some(Self::new(&bytes))
    }

    /// The whole hash of some bytes.
    fn hash(&self, bytes: &[u8]) -> Hmac<Sha256> {
        let mut hash = self.0.clone();
        hash.update(bytes);
        hash
    }
}

impl fmt::Debug for Key {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Key")
    }
}

/// Keys an encoded datagram: sets the flag and appends the trailer.
///
/// # Errors
/// When it is none, or has a tag already.
pub fn seal(datagram: &mut Vec<u8>, key: &Key, sent_utc_ns: u64) -> Result<(), DecodeError> {
    open(datagram)?;
    header::set_tagged(datagram, true);
    datagram.extend(sent_utc_ns.to_le_bytes());
    let tag = key.hash(datagram).finalize().into_bytes();
    datagram.extend(&tag[..TAG_BYTES]);
    Ok(())
}

/// Checks the tag and takes flag and trailer off in place: the first `length` bytes are then the datagram as
/// every receiver reads it. Says nothing about when it was sent or whether it came before.
///
/// # Errors
/// [`Refusal::Unkeyed`] and [`Refusal::Forged`]; the bytes are then as they were.
pub fn unseal(datagram: &mut [u8], key: &Key) -> Result<Unsealed, Refusal> {
    let tagged = header::is_tagged(datagram);
    let length = datagram.len().checked_sub(TRAILER_BYTES);
    let length = length.filter(|length| tagged && *length <= MAX_DATAGRAM);
    let length = length.ok_or(Refusal::Unkeyed)?;
    let (told, tag) = datagram.split_at(length + TRAILER_BYTES - TAG_BYTES);
    // Compares in constant time.
    let good = key.hash(told).verify_truncated_left(tag);
    good.map_err(|_other| Refusal::Forged)?;
    let sent = told.last_chunk().copied().unwrap_or_default();
    header::set_tagged(datagram, false);
    let opened = datagram.get(..length).and_then(|plain| open(plain).ok());
    // Only who has the key can send something else; it must not be taken for a datagram.
    let header = opened.ok_or(Refusal::Unkeyed)?.header;
    Ok(Unsealed {
        length,
        header,
        sent_utc_ns: u64::from_le_bytes(sent),
    })
}

/// What has come, so that nothing passes twice.
#[derive(Debug)]
pub struct Replays {
    /// Nothing older is taken, nanoseconds since 1970 in UTC.
    since_utc_ns: u64,
    /// By stream and epoch.
    windows: BTreeMap<(u32, u32), Window>,
}

#[derive(Debug)]
struct Window {
    newest: u64,
    /// Bit n of word w: `newest` − (64 w + n) came.
    seen: [u64; (WINDOW / 64) as usize],
    used_utc_ns: u64,
}

impl Replays {
    /// A receiver that starts now: what was sent before it, it has not seen and does not take.
    #[must_use]
    pub fn since(now_utc_ns: u64) -> Self {
        Self {
            since_utc_ns: now_utc_ns,
            windows: BTreeMap::new(),
        }
    }

    /// Takes note of a datagram whose tag is good.
    ///
    /// # Errors
    /// [`Refusal::Stale`] and [`Refusal::Replayed`].
    pub fn take(&mut self, datagram: &Unsealed, now_utc_ns: u64) -> Result<(), Refusal> {
        let sent = datagram.sent_utc_ns;
        if sent < self.since_utc_ns || sent.abs_diff(now_utc_ns) > DATE_WITHIN_NS {
            return Err(Refusal::Stale);
        }
        let Header {
            stream,
            epoch,
            sequence,
            ..
        } = datagram.header;
        if !self.windows.contains_key(&(stream, epoch)) {
            self.make_room(now_utc_ns);
        }
        let fresh = Window {
            newest: sequence,
            seen: [0; _],
            used_utc_ns: now_utc_ns,
        };
        let window = self.windows.entry((stream, epoch)).or_insert(fresh);
        window.used_utc_ns = now_utc_ns;
        window.take(sequence)
    }

    /// A window is needed as long as something of its time may come again; a newer one takes the place of the
    /// oldest.
    fn make_room(&mut self, now_utc_ns: u64) {
        let needed = |w: &Window| w.used_utc_ns.abs_diff(now_utc_ns) <= 2 * DATE_WITHIN_NS;
        self.windows.retain(|_, window| needed(window));
        if self.windows.len() >= WINDOWS_MAX {
            let oldest = self.windows.iter().min_by_key(|(_, w)| w.used_utc_ns);
            let oldest = oldest.map(|(key, _)| *key);
            oldest.and_then(|key| self.windows.remove(&key));
        }
    }
}

impl Window {
    fn take(&mut self, sequence: u64) -> Result<(), Refusal> {
        if let Some(ahead) = sequence.checked_sub(self.newest) {
            self.advance(ahead);
            self.newest = sequence;
        }
        let behind = self.newest - sequence;
        let word = self.seen.get_mut((behind / 64) as usize);
        let word = word.ok_or(Refusal::Replayed)?;
        let bit = 1 << (behind % 64);
        if *word & bit != 0 {
            return Err(Refusal::Replayed);
        }
        *word |= bit;
        Ok(())
    }

    /// Moves everything that was seen back by so many places.
    fn advance(&mut self, ahead: u64) {
        let (words, bits) = ((ahead / 64) as usize, ahead % 64);
        let before = self.seen;
        let at = |place: Option<usize>| place.and_then(|p| before.get(p)).copied().unwrap_or(0);
        for (n, word) in self.seen.iter_mut().enumerate() {
            let (near, far) = (n.checked_sub(words), n.checked_sub(words + 1));
            // A shift by 64 would be none.
            let carried = at(far).checked_shr(64 - bits as u32).unwrap_or(0);
            *word = at(near) << bits | carried;
        }
    }
}
