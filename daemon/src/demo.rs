//! The demo: a bay on loopback with the synthetic golfer as its student. The golfer is a sender
//! like any other: its takes go through a real socket.

use std::net::{SocketAddr, UdpSocket};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use analysis::forward::{CaptureParams, Club, GolferParams, PlateParams, Take, swing};
use anyhow::Context as _;
use crossbeam_channel::Sender;
use protocol::report::Measurement;
use protocol::wire::Source;

use crate::clock::Clock;
use crate::feed::{self, Feed};
use crate::map::MarkerMap;
use crate::synthetic;

/// Frames a second of the demo's cameras.
const RATE_HZ: f64 = 360.0;
/// Marker noise, metres (standard deviation a coordinate).
const NOISE_M: f64 = 0.0005;
/// Markers hidden, share of samples.
const DROPOUT: f64 = 0.01;

/// How shots follow each other.
#[derive(Debug, Clone, Copy)]
pub struct Lesson {
    /// Epoch of the sender: another one for each start, as a device's.
    pub epoch: u32,
    /// Times faster than life.
    pub pace: f64,
    /// Stop after this many shots.
    pub shots: Option<u32>,
}

/// The golfer of a seed with the demo's club, at one shot.
#[must_use]
pub fn golfer(seed: u64, shot: u64) -> GolferParams {
    GolferParams {
        shot,
        ..GolferParams::from_seed(seed).with_club(Club::SevenIron)
    }
}

/// One take of the lesson.
#[must_use]
pub fn take(params: &GolferParams) -> Take {
    let capture = CaptureParams {
        rate_hz: RATE_HZ,
        noise_m: NOISE_M,
        dropout: DROPOUT,
        wobble: true,
        plates: Some(PlateParams::USUAL),
    };
    swing(params, &capture)
}

/// Streams one shot after another to `to`, of whoever `who` says stands there, and hands on the truth of
/// each before it is hit. Ends after the lesson's shots or when `stop` is set.
///
/// # Errors
/// When the socket cannot be used.
pub fn stream(
    (mut who, lesson): (impl FnMut(u64) -> GolferParams, Lesson),
    to: SocketAddr,
    clock: Clock,
    truths: &Sender<Measurement>,
    stop: &AtomicBool,
) -> anyhow::Result<()> {
    let socket = UdpSocket::bind("127.0.0.1:0").context("cannot open the golfer's UDP socket")?;
    socket.connect(to)?;
    let map = MarkerMap::load("whin_32")?;
    let source = Source {
        rate_hz: RATE_HZ,
        meters_per_unit: Some(1.0),
        bay_from_source: None,
        bay_origin: [0.0; 3],
    };
    let mut feeds: Option<(Feed, Feed)> = None;
    let (mut stands, mut epoch) = (None, lesson.epoch);
    let (mut number, mut start_ns) = (0usize, clock.now_ns());
    for shot in 0..u64::from(lesson.shots.unwrap_or(u32::MAX)) {
        let take = take(&who(shot));
        let plates = take
            .plates
            .as_ref()
            .context("the demo's golfer stands on plates")?;
        // The plates lie under this golfer's feet: for another one the sender begins anew.
        let described = synthetic::plates(plates, source);
        if stands.as_ref().is_some_and(|before| *before != described) {
            (feeds, epoch) = (None, epoch + 1);
            (number, start_ns) = (0, clock.now_ns());
        }
        stands = Some(described.clone());
        let (markers, forces) = feeds.get_or_insert_with(|| {
            (
                Feed::markers(synthetic::labels(&take, &map), source, epoch),
                Feed::forces(described, epoch),
            )
        });
        let a_frame = (plates.rate_hz / RATE_HZ).round() as u64;
        let begins = (number as f64 / RATE_HZ, number as f64);
        // Nobody may be listening: the screens show the shot all the same.
        drop(truths.try_send(synthetic::truth(&take.truth, RATE_HZ, begins)));
        for n in 0..take.frames.len() {
            if stop.load(Ordering::Relaxed) {
                return Ok(());
            }
            let time_ns = feed::time_ns(number, RATE_HZ);
            let mut due = Vec::new();
            markers.frame(
                number as u64,
                time_ns,
                &synthetic::frame(&take, n),
                &mut due,
            )?;
            let values = synthetic::samples(&take, n);
            forces.samples(number as u64 * a_frame, time_ns, (12, &values), &mut due)?;
            wait_until(start_ns + (time_ns as f64 / lesson.pace) as u64, clock);
            due.iter().for_each(|d| drop(socket.send(&d.bytes)));
            number += 1;
        }
    }
    Ok(())
}

/// A stream on its own thread.
///
/// # Errors
/// When the thread cannot be started.
pub fn spawn(
    golfer: (impl FnMut(u64) -> GolferParams + Send + 'static, Lesson),
    to: SocketAddr,
    clock: Clock,
    truths: Sender<Measurement>,
    stop: Arc<AtomicBool>,
) -> anyhow::Result<std::thread::JoinHandle<anyhow::Result<()>>> {
    let work = move || stream(golfer, to, clock, &truths, &stop);
    std::thread::Builder::new()
        .name("golfer".into())
        .spawn(work)
        .context("cannot start the golfer's thread")
}

fn wait_until(due_ns: u64, clock: Clock) {
    let early_ns = due_ns.saturating_sub(clock.now_ns());
    if early_ns > 0 {
        std::thread::sleep(Duration::from_nanos(early_ns));
    }
}
