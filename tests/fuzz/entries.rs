//! What each fuzz target does with some bytes. Shared by the fuzzer and the ordinary test of the corpus. Each
//! says whether the bytes were taken for good, so that a corpus which only ever meets the first check is
//! noticed. A panic is the finding.

use std::path::Path;

use analysis::analyzer::{Analyzer, Input, Output};
use analysis::context::Context;
use daemon::config::Config;
use daemon::decode::Decoder;
use daemon::map::MarkerMap;
use daemon::{coach, context, feed, offline, recording};
use protocol::lesson::{
    Ask, Club, Consent, Move, NewBlock, NewCalibration, NewSeat, NewStudent, Student,
};
use protocol::screen::Message;
use protocol::wire::{self, Body, Content, Key, Replays};

/// Bytes to whether they were taken.
pub(crate) type Entry = fn(&[u8]) -> bool;

/// Every target by its name, which is its corpus folder's.
pub(crate) const ALL: &[(&str, Entry)] = &[
    ("datagram", datagram),
    ("stream", stream),
    ("keyed", keyed),
    ("c3d", c3d),
    ("recording", recording),
    ("map", map),
    ("config", config),
    ("context", told),
    ("api", api),
    ("screen", screen),
];

/// The key of the seeds.
pub(crate) const KEY: [u8; 32] = [7; 32];
/// The date at which seeds of keyed datagrams were sent, and at which they are looked at.
pub(crate) const SENT_NS: u64 = 1_800_000_000_000_000_000;

/// One datagram. Whatever is read can be written, and reads as the same again.
fn datagram(bytes: &[u8]) -> bool {
    let Ok((header, body)) = wire::decode(bytes) else {
        return false;
    };
    let mut again = Vec::new();
    wire::encode(&header, &body, &mut again).expect("what was read can be written");
    let (header_again, body_again) = wire::decode(&again).expect("and read again");
    assert_eq!(header, header_again);
    match (&body, &body_again) {
        (Body::MarkerFrame(a), Body::MarkerFrame(b)) => {
            assert!(a.markers.iter().eq(b.markers.iter()));
        }
        (Body::ForceBlock(a), Body::ForceBlock(b)) => {
            assert!(a.values.iter().eq(b.values.iter()));
        }
        (Body::Describe(a), Body::Describe(b)) => {
            if let (Content::Markers(a), Content::Markers(b)) = (&a.content, &b.content) {
                assert_eq!(a.labels, b.labels);
            }
        }
        (Body::Trigger(_), Body::Trigger(_)) => {}
        _ => panic!("another kind was read again"),
    }
    true
}

/// Datagrams in a row, each behind its length in two bytes, through decoder and analyzer; length 0 is a second
/// that passes.
fn stream(bytes: &[u8]) -> bool {
    thread_local! {
        static MAP: MarkerMap = MarkerMap::load("whin_32").expect("a shipped map");
    }
    let mut decoder = Decoder::new(MAP.with(Clone::clone));
    let mut analyzer = Analyzer::new(offline::told(&decoder, Context::default()), 50_000_000);
    let (mut outputs, mut rest, mut now_ns, mut poses) = (Vec::new(), bytes, 0u64, false);
    while let Some((length, after)) = rest.split_first_chunk::<2>() {
        let length = usize::from(u16::from_le_bytes(*length)).min(after.len());
        let (datagram, after) = after.split_at(length);
        rest = after;
        let input = match length {
            0 => {
                now_ns += 1_000_000_000;
                Some(Input::Tick { now_ns })
            }
            _ => decoder.decode(datagram, now_ns),
        };
        now_ns += 1_000_000;
        if let Some(input) = input {
            analyzer.push(input, &mut outputs);
        }
        poses |= outputs.iter().any(|o| matches!(o, Output::Pose(_)));
        outputs.clear();
    }
    analyzer.finish(&mut outputs);
    poses | outputs.iter().any(|o| matches!(o, Output::Pose(_)))
}

/// A datagram at a gate with a key; what it takes once it takes no second time.
fn keyed(bytes: &[u8]) -> bool {
    let key = Key::new(&KEY);
    let mut datagram = bytes.to_vec();
    let Ok(unsealed) = wire::unseal(&mut datagram, &key) else {
        return false;
    };
    assert!(unsealed.length <= datagram.len());
    let mut replays = Replays::since(SENT_NS - 1);
    let taken = replays.take(&unsealed, SENT_NS).is_ok();
    assert!(replays.take(&unsealed, SENT_NS).is_err(), "taken twice");
    taken
}

/// A C3D file: what is read is never larger than what was there, and small ones go on as datagrams.
fn c3d(bytes: &[u8]) -> bool {
    let Ok(take) = offline::c3d_of(bytes) else {
        return false;
    };
    let points = take.frames.len() * take.labels.len();
    assert!(points <= bytes.len(), "{points} points of so few bytes");
    if take.frames.len() <= 64 {
        // A take that does not fit the format is refused in words.
        drop(feed::of_c3d(&take, None, 1));
    }
    true
}

/// A recording, whole or torn: read to its end; losses lie inside the file.
fn recording(bytes: &[u8]) -> bool {
    let Ok(mut read) = recording::read_bytes(bytes.to_vec(), Path::new("fuzzed.mcap")) else {
        return false;
    };
    let entries = read.by_ref().count();
    for loss in read.losses() {
        assert!(loss.at_byte.saturating_add(loss.bytes) <= bytes.len() as u64 + 9);
    }
    entries > 0
}

fn text(bytes: &[u8]) -> Option<&str> {
    std::str::from_utf8(bytes).ok()
}

/// A marker map.
fn map(bytes: &[u8]) -> bool {
    text(bytes).is_some_and(|text| MarkerMap::parse(text, "fuzzed").is_ok())
}

/// A configuration. What is read is printed and read as the same.
fn config(bytes: &[u8]) -> bool {
    let read = |text: &str| Config::from_toml(text, Path::new("fuzzed.toml"));
    let Some(Ok(config)) = text(bytes).map(read) else {
        return false;
    };
    let printed = config.to_toml();
    assert_eq!(read(&printed).ok().as_ref(), Some(&config), "{printed}");
    true
}

/// What is told of golfer and club.
fn told(bytes: &[u8]) -> bool {
    text(bytes).is_some_and(|text| context::parse(text).is_ok())
}

/// The body of a request: the first byte says of which kind.
fn api(bytes: &[u8]) -> bool {
    fn is<T: serde::de::DeserializeOwned>(json: &[u8]) -> bool {
        serde_json::from_slice::<T>(json).is_ok()
    }
    let Some((kind, json)) = bytes.split_first() else {
        return false;
    };
    match kind {
        b'a' => match serde_json::from_slice::<Ask>(json) {
            Ok(ask) => coach::check_said(&ask.said).is_ok(),
            Err(_) => false,
        },
        b'b' => is::<NewBlock>(json),
        b'c' => is::<Club>(json),
        b'k' => is::<NewCalibration>(json),
        b'm' => is::<Move>(json),
        b'n' => is::<NewStudent>(json),
        b'o' => is::<Consent>(json),
        b's' => is::<NewSeat>(json),
        b't' => is::<Student>(json),
        _ => false,
    }
}

/// A message of the socket, as screens and our own readers take it. (What a screen sends is looked at by nobody.)
fn screen(bytes: &[u8]) -> bool {
    let Ok(message) = serde_json::from_slice::<Message>(bytes) else {
        return false;
    };
    let written = serde_json::to_vec(&message).expect("what was read can be written");
    serde_json::from_slice::<Message>(&written).expect("and read again");
    true
}
