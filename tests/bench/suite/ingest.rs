//! How many datagrams a second come in without one lost: the bare loop of a socket, decoding and assembling behind
//! it, and the whole program with its archive.

use std::io::IoSliceMut;
use std::net::UdpSocket;
use std::os::fd::AsRawFd as _;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::time::{Duration, Instant};

use analysis::analyzer::{Content, Input};
use analysis::assemble::Assembler;
use daemon::decode::Decoder;
use daemon::map::MarkerMap;
use daemon::receive::size_buffer;
use nix::sys::socket::{MsgFlags, MultiHeaders, SockaddrIn, recvmmsg};
use serde_json::Value;

use super::bay::Bay;
use super::flood::{self, Encoded, highest};
use super::hall::seat;
use super::http;
use super::rows::{at_least, median, repeats, told};
use super::support::scratch;

/// Receive buffer of every socket here, bytes: the program's own.
const BUFFER: u32 = 8 * 1024 * 1024;
/// Where the search begins, datagrams a second.
const FROM: f64 = 20_000.0;
/// Datagrams of one system call.
const BATCH: usize = 64;
/// Longer than any datagram.
const ROOM: usize = 2048;

/// What becomes of datagrams in a loop of one's own; it counts them.
type Take = fn(&UdpSocket, &AtomicU64, &AtomicBool);

pub(crate) fn rows(quick: bool) {
    let lesson = flood::lesson(1, if quick { 40.0 } else { 120.0 }, false);
    let (mut bare, mut batched, mut decoded, mut whole) = (vec![], vec![], vec![], vec![]);
    let mut program = Program::start();
    // In turn, so that what else the machine does meets all of them.
    for _ in 0..repeats(quick) {
        bare.push(highest(FROM, |rate| alone(&lesson, rate, receive)));
        batched.push(highest(FROM, |rate| alone(&lesson, rate, receive_batches)));
        decoded.push(highest(FROM, |rate| alone(&lesson, rate, decode)));
        whole.push(highest(FROM, |rate| program.keeps(&lesson, rate)));
    }
    program.bay.stop();
    let bare = median(bare);
    let beside = |rate: f64| format!("{rate:.0} datagrams a second, bare loop {bare:.0}");
    let [batched, decoded, whole] = [batched, decoded, whole].map(median);
    told("ingest.batches", batched / bare, &beside(batched));
    at_least(
        "ingest.decode_and_assemble",
        decoded / bare,
        0.9,
        &beside(decoded),
    );
    at_least("ingest.whole", whole / bare, 0.5, &beside(whole));
}

/// The rate that the sender came to, if a loop of one's own took every datagram.
fn alone(lesson: &Encoded, rate: f64, take: Take) -> Option<f64> {
    let socket = UdpSocket::bind("127.0.0.1:0").unwrap();
    size_buffer(&socket, BUFFER).unwrap();
    socket
        .set_read_timeout(Some(Duration::from_millis(20)))
        .unwrap();
    let to = socket.local_addr().unwrap();
    let (taken, stop) = (AtomicU64::new(0), AtomicBool::new(false));
    let all: Vec<Vec<u8>> = lesson.of_epoch(1);
    let came = std::thread::scope(|scope| {
        scope.spawn(|| take(&socket, &taken, &stop));
        let came = flood::send(&all, to, rate);
        let since = Instant::now();
        while taken.load(Ordering::Relaxed) < all.len() as u64
            && since.elapsed() < Duration::from_millis(300)
        {
            std::thread::sleep(Duration::from_millis(5));
        }
        stop.store(true, Ordering::Relaxed);
        came
    });
    (taken.into_inner() == all.len() as u64).then_some(came)
}

fn receive(socket: &UdpSocket, taken: &AtomicU64, stop: &AtomicBool) {
    let mut buffer = [0; ROOM];
    while !stop.load(Ordering::Relaxed) {
        if let Ok(n) = socket.recv(&mut buffer) {
            std::hint::black_box(&buffer[..n]);
            taken.fetch_add(1, Ordering::Relaxed);
        }
    }
}

fn receive_batches(socket: &UdpSocket, taken: &AtomicU64, stop: &AtomicBool) {
    let mut room = vec![[0_u8; ROOM]; BATCH];
    let mut headers = MultiHeaders::<SockaddrIn>::preallocate(BATCH, None);
    while !stop.load(Ordering::Relaxed) {
        let mut slices: Vec<[IoSliceMut<'_>; 1]> =
            room.iter_mut().map(|r| [IoSliceMut::new(r)]).collect();
        let wait = MsgFlags::MSG_WAITFORONE;
        let came = recvmmsg(
            socket.as_raw_fd(),
            &mut headers,
            slices.iter_mut(),
            wait,
            None,
        );
        if let Ok(came) = came {
            taken.fetch_add(came.count() as u64, Ordering::Relaxed);
        }
    }
}

fn decode(socket: &UdpSocket, taken: &AtomicU64, stop: &AtomicBool) {
    let mut decoder = Decoder::new(MarkerMap::load("whin_32").unwrap());
    let mut assembler = None;
    let mut buffer = [0; ROOM];
    while !stop.load(Ordering::Relaxed) {
        let Ok(n) = socket.recv(&mut buffer) else {
            continue;
        };
        taken.fetch_add(1, Ordering::Relaxed);
        let Some(Input::Datagram { content, .. }) = decoder.decode(&buffer[..n], 0) else {
            continue;
        };
        match content {
            Content::Layout(layout) => assembler = Some(Assembler::new(*layout)),
            Content::Part(part) => {
                if let Some(assembler) = assembler.as_mut() {
                    for frame in assembler.push(&part) {
                        assembler.give_back(std::hint::black_box(frame));
                    }
                }
            }
            _ => {}
        }
    }
}

/// The program with an archive and a student in the bay.
struct Program {
    bay: Bay,
    epoch: u32,
}

impl Program {
    fn start() -> Self {
        let place = scratch("bench-ingest").join("archive");
        let bay = Bay::start("whin_32", &["--archive", place.to_str().unwrap()]);
        seat(bay.http, "bay");
        Self { bay, epoch: 0 }
    }

    /// The rate that the sender came to, if the program took, analyzed and recorded every datagram.
    fn keeps(&mut self, lesson: &Encoded, rate: f64) -> Option<f64> {
        self.epoch += 1;
        let all = lesson.of_epoch(self.epoch);
        let lost_before = self.losses();
        let came = flood::send(&all, self.bay.udp, rate);
        // Its own numbers come once a second, and a swing may still be worked off.
        std::thread::sleep(Duration::from_millis(2500));
        let whole = self.losses() == lost_before && self.received() == all.len() as u64;
        whole.then_some(came)
    }

    fn health(&self) -> Value {
        let (status, bay) = http::ask(self.bay.http, "GET", "/api/v1/bays/bay", None);
        assert_eq!(status, 200);
        bay["health"].clone()
    }

    /// Datagrams of the sender's present start, over all streams.
    fn received(&self) -> u64 {
        let health = self.health();
        let streams = health["streams"].as_array().unwrap();
        let lost: u64 = streams.iter().map(|s| s["lost"].as_u64().unwrap()).sum();
        let received: u64 = streams
            .iter()
            .map(|s| s["received"].as_u64().unwrap())
            .sum();
        if lost == 0 { received } else { 0 }
    }

    /// What was dropped since the program's start, and what is said of the recording.
    fn losses(&self) -> (u64, String) {
        let health = self.health();
        let findings = health["findings"].as_array().unwrap().iter();
        let recording = findings.filter(|f| f["code"].as_str().unwrap().starts_with("recording."));
        let said = recording.map(Value::to_string).collect();
        (health["dropped"].as_u64().unwrap_or(0), said)
    }
}
