//! A sender that is no limit: datagrams of a synthetic lesson, encoded beforehand, sent at a given rate in batches
//! of one system call.

use std::io::IoSlice;
use std::net::{SocketAddr, UdpSocket};
use std::os::fd::AsRawFd as _;
use std::time::{Duration, Instant};

use analysis::forward::{Lesson, LessonParams};
use daemon::lesson::Sender;
use daemon::map::MarkerMap;
use nix::sys::socket::{ControlMessage, MsgFlags, MultiHeaders, SockaddrIn, sendmmsg};

/// Datagrams of one system call.
const BATCH: usize = 32;
/// Where the epoch stands in a datagram (the layout in `protocol`).
const EPOCH: usize = 16;
/// Frames of markers a second.
pub(crate) const RATE_HZ: f64 = 1000.0;

/// A lesson as it is sent, each datagram with its time, nanoseconds.
pub(crate) struct Encoded(pub(crate) Vec<(u64, Vec<u8>)>);

/// So many seconds of a lesson at 1000 Hz, with plates at 2000 Hz or without.
pub(crate) fn lesson(seed: u64, length_s: f64, plates: bool) -> Encoded {
    let params = LessonParams {
        rate_hz: RATE_HZ,
        plates,
        ..LessonParams::usual(seed, length_s)
    };
    let mut lesson = Lesson::new(&params);
    let map = MarkerMap::load("whin_32").expect("a shipped map");
    let mut sender = Sender::new(&lesson, &map, true);
    let (mut due, mut all) = (Vec::new(), Vec::new());
    for frame in lesson.by_ref() {
        sender.frame(&frame, &mut due).expect("a frame that fits");
        all.extend(due.drain(..).map(|one| (frame.real_ns, one.bytes)));
    }
    Encoded(all)
}

impl Encoded {
    /// The same from a sender that has begun anew: every datagram of this epoch.
    pub(crate) fn of_epoch(&self, epoch: u32) -> Vec<Vec<u8>> {
        let again = |(_, bytes): &(u64, Vec<u8>)| {
            let mut bytes = bytes.clone();
            bytes[EPOCH..EPOCH + 4].copy_from_slice(&epoch.to_le_bytes());
            bytes
        };
        self.0.iter().map(again).collect()
    }
}

/// Sends all at a rate, datagrams a second, or as fast as it goes; the rate that it came to.
pub(crate) fn send(datagrams: &[Vec<u8>], to: SocketAddr, rate: f64) -> f64 {
    let socket = UdpSocket::bind("127.0.0.1:0").expect("a socket");
    socket.connect(to).expect("loopback");
    let mut headers = MultiHeaders::<SockaddrIn>::preallocate(BATCH, None);
    let addresses = [None; BATCH];
    let no_control: [ControlMessage<'_>; 0] = [];
    let began = Instant::now();
    for (n, batch) in datagrams.chunks(BATCH).enumerate() {
        let due = Duration::from_secs_f64((n * BATCH) as f64 / rate);
        let early = due.saturating_sub(began.elapsed());
        if early > Duration::from_micros(60) {
            std::thread::sleep(early);
        }
        let slices: Vec<[IoSlice<'_>; 1]> = batch.iter().map(|d| [IoSlice::new(d)]).collect();
        let mut sent = 0;
        while sent < slices.len() {
            let all = sendmmsg(
                socket.as_raw_fd(),
                &mut headers,
                &slices[sent..],
                &addresses[..slices.len() - sent],
                no_control,
                MsgFlags::empty(),
            );
            sent += all.expect("loopback takes it").count();
        }
    }
    datagrams.len() as f64 / began.elapsed().as_secs_f64()
}

/// The highest rate at which nothing was lost: doubled until something is, or the sender comes to no more, then
/// halved in between. `tried` gives the rate that the sender came to, if nothing was lost.
pub(crate) fn highest(from: f64, mut tried: impl FnMut(f64) -> Option<f64>) -> f64 {
    let (mut good, mut asked) = (0.0, from);
    let mut bad = loop {
        match tried(asked) {
            Some(came) if came < 0.7 * asked => return came.max(good),
            Some(came) => (good, asked) = (came, 2.0 * asked),
            None => break asked,
        }
    };
    for _ in 0..3 {
        let middle = (good.max(from / 2.0) * bad).sqrt();
        match tried(middle) {
            Some(came) => good = came.max(good),
            None => bad = middle,
        }
    }
    good
}
