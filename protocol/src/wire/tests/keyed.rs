//! Tags against the published vectors of HMAC-SHA-256; forged, changed, stale and repeated datagrams.

use super::super::keyed::DATE_WITHIN_NS;
use super::*;
use crate::wire::{Key, Refusal, Replays, Unsealed, seal, unseal};
use crate::{MAX_DATAGRAM, TRAILER_BYTES};
use proptest::prelude::*;

const NOW: u64 = 1_800_000_000_000_000_000;

fn key() -> Key {
    Key::from_hex(&format!(" {}\n", "0b".repeat(32))).unwrap()
}

fn sealed() -> Vec<u8> {
    let mut bytes = datagram(4, "01 00 00 00  00 00 40 3f");
    seal(&mut bytes, &key(), NOW).unwrap();
    bytes
}

#[test]
fn a_tag_is_that_of_the_standard_library_of_another_language() {
    // Python 3: hmac.new(bytes.fromhex("0b" * 32), bytes, "sha256").hexdigest()[:32] of the 56 bytes before
    // the tag. hmac of the Python standard library is checked against RFC 4231 by its own tests.
    let bytes = sealed();
    assert_eq!(bytes.len(), 48 + TRAILER_BYTES);
    assert_eq!(bytes[20], 1, "the flag");
    assert_eq!(bytes[48..56], NOW.to_le_bytes());
    assert_eq!(hex_of(&bytes[56..]), "2e0bbd341c464d904b2ca727ab4452c2");
}

#[test]
fn what_was_keyed_comes_back_as_it_was() {
    let plain = datagram(4, "01 00 00 00  00 00 40 3f");
    let mut bytes = sealed();
    let unsealed = unseal(&mut bytes, &key()).unwrap();
    assert_eq!(bytes[..unsealed.length], plain);
    assert_eq!((unsealed.header, unsealed.sent_utc_ns), (HEADER, NOW));
    assert!(seal(&mut sealed(), &key(), NOW).is_err(), "only once");
    let mut largest = datagram(4, "01 00 00 00  00 00 40 3f");
    largest.resize(MAX_DATAGRAM, 0);
    seal(&mut largest, &key(), NOW).unwrap();
    assert_eq!(unseal(&mut largest, &key()).unwrap().length, MAX_DATAGRAM);
}

#[test]
fn every_changed_bit_another_key_and_no_tag_are_refused() {
    let good = sealed();
    for bit in 0..good.len() * 8 {
        let mut changed = good.clone();
        changed[bit / 8] ^= 1 << (bit % 8);
        let refused = unseal(&mut changed, &key()).unwrap_err();
        // Without magic or flag it is not keyed at all.
        let expected = if bit < 4 * 8 || bit == 20 * 8 {
            Refusal::Unkeyed
        } else {
            Refusal::Forged
        };
        assert_eq!(refused, expected, "bit {bit}");
    }
    let other = Key::new(&[7; 32]);
    assert_eq!(unseal(&mut sealed(), &other), Err(Refusal::Forged));
    let mut plain = datagram(4, "01 00 00 00  00 00 40 3f");
    assert_eq!(unseal(&mut plain, &key()), Err(Refusal::Unkeyed));
    for bad in [
        "",
        "0b",
        &"0g".repeat(32),
        &"0b".repeat(33),
        &"é".repeat(32),
    ] {
        assert!(Key::from_hex(bad).is_none(), "{bad}");
    }
    assert_eq!(format!("{:?}", key()), "Key", "a key is never printed");
}

fn told(stream: u32, epoch: u32, sequence: u64, sent_utc_ns: u64) -> Unsealed {
    Unsealed {
        length: 48,
        header: Header {
            stream,
            epoch,
            sequence,
            ..HEADER
        },
        sent_utc_ns,
    }
}

#[test]
fn the_date_must_be_near_and_after_the_start() {
    let mut replays = Replays::since(NOW);
    let late = NOW + 2 * DATE_WITHIN_NS;
    for (n, (sent, now, expected)) in [
        (NOW - 1, NOW, Err(Refusal::Stale)),
        (NOW, NOW, Ok(())),
        (late - DATE_WITHIN_NS, late, Ok(())),
        (late - DATE_WITHIN_NS - 1, late, Err(Refusal::Stale)),
        (late + DATE_WITHIN_NS, late, Ok(())),
        (late + DATE_WITHIN_NS + 1, late, Err(Refusal::Stale)),
    ]
    .into_iter()
    .enumerate()
    {
        assert_eq!(
            replays.take(&told(1, 1, n as u64, sent), now),
            expected,
            "{n}"
        );
    }
}

#[test]
fn many_epochs_take_no_more_room_and_do_not_let_a_repetition_pass() {
    let mut replays = Replays::since(0);
    for epoch in 0..10_000 {
        assert!(replays.take(&told(1, epoch, 5, NOW), NOW).is_ok());
        assert!(replays.take(&told(1, epoch, 5, NOW), NOW).is_err());
    }
}

proptest! {
    /// Against a plain set: nothing passes twice; what is new and not far behind passes.
    #[test]
    fn nothing_passes_twice(jumps in prop::collection::vec(-1500_i64..1500, 1..300)) {
        let mut replays = Replays::since(0);
        let (mut seen, mut newest) = (std::collections::BTreeSet::new(), 0_u64);
        let mut at = 100_000_u64;
        for jump in jumps {
            at = at.saturating_add_signed(jump);
            let passed = replays.take(&told(1, 1, at, NOW), NOW).is_ok();
            let expected = !seen.contains(&at) && (at >= newest || newest - at < 1024);
            prop_assert_eq!(passed, expected);
            seen.insert(at);
            newest = newest.max(at);
        }
    }
}

fn hex_of(bytes: &[u8]) -> String {
    bytes.iter().map(|b| format!("{b:02x}")).collect()
}
