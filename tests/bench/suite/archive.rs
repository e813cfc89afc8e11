//! What keeping everything costs: bytes on the disk beside the raw ones, and the time of the archive's thread beside
//! packing the same bytes in memory and nothing else.

use std::fs;
use std::net::UdpSocket;
use std::time::{Duration, Instant};

use super::bay::Bay;
use super::cpu;
use super::flood;
use super::hall::seat;
use super::rows::at_most;
use super::support::scratch;

/// A chunk of a recording, bytes: what is packed at once.
const CHUNK: usize = 256 * 1024;

pub(crate) fn rows(quick: bool) {
    let seconds = if quick { 15.0 } else { 60.0 };
    let lesson = flood::lesson(2, seconds, true);
    let place = scratch("bench-archive").join("archive");
    let bay = Bay::start("whin_32", &["--archive", place.to_str().unwrap()]);
    seat(bay.http, "bay");
    let socket = UdpSocket::bind("127.0.0.1:0").unwrap();
    let before = cpu::of(bay.pid(), Some("archive"));
    let began = Instant::now();
    for (at_ns, bytes) in &lesson.0 {
        let early = Duration::from_nanos(*at_ns).saturating_sub(began.elapsed());
        if early > Duration::from_micros(200) {
            std::thread::sleep(early);
        }
        socket.send_to(bytes, bay.udp).unwrap();
    }
    std::thread::sleep(Duration::from_secs(3));
    let took = cpu::of(bay.pid(), Some("archive")) - before;
    assert_eq!(bay.stop(), Some(0));
    let files = fs::read_dir(place.join("recordings")).unwrap();
    let kept: u64 = files.map(|f| f.unwrap().metadata().unwrap().len()).sum();
    let raw: Vec<u8> = lesson
        .0
        .iter()
        .flat_map(|(_, bytes)| bytes.iter().copied())
        .collect();
    let (packing, packed) = packed(&raw);
    let megabytes = raw.len() as f64 * 1e-6;
    let beside = format!(
        "{megabytes:.1} MB of datagrams, packed alone {:.3}",
        packed as f64 / raw.len() as f64
    );
    at_most(
        "archive.share_of_raw_bytes",
        kept as f64 / raw.len() as f64,
        0.85,
        &beside,
    );
    let beside = format!(
        "archive's thread {took:.2} s, packing alone {packing:.2} s, {:.2} % of a core",
        100.0 * took / seconds
    );
    at_most("archive.time_beside_packing", took / packing, 1.5, &beside);
}

/// Seconds on a core, and bytes, of packing alone.
fn packed(raw: &[u8]) -> (f64, usize) {
    let before = cpu::own();
    let packed = raw
        .chunks(CHUNK)
        .map(|chunk| zstd::bulk::compress(chunk, LEVEL).unwrap().len())
        .sum();
    (cpu::own() - before, packed)
}

/// The recordings' level.
const LEVEL: i32 = 1;
