//! The demo: a bay on loopback with the synthetic golfer as its student. The golfer is a sender
//! like any other: its takes go through a real socket.

use std::net::{SocketAddr, UdpSocket};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use analysis::forward::{CaptureParams, Club, GolferParams, Take, swing};
use anyhow::Context as _;
use crossbeam_channel::Sender;
use protocol::report::{Measurement, Report};
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

/// How the student of the demo swings.
#[derive(Debug, Clone, Copy)]
pub struct Lesson {
    /// Seed of the student.
    pub seed: u64,
    /// Times faster than life.
    pub pace: f64,
    /// Stop after this many shots.
    pub shots: Option<u32>,
}

/// One take of the lesson.
#[must_use]
pub fn take(seed: u64, shot: u64) -> Take {
    let params = GolferParams {
        shot,
        ..GolferParams::from_seed(seed).with_club(Club::SevenIron)
    };
    let capture = CaptureParams {
        rate_hz: RATE_HZ,
        noise_m: NOISE_M,
        dropout: DROPOUT,
        wobble: true,
    };
    swing(&params, &capture)
}

/// Streams one shot after another to `to` and hands on the truth of each before it is hit. Ends
/// after the lesson's shots or when `stop` is set.
///
/// # Errors
/// When the socket cannot be used.
pub fn stream(
    lesson: Lesson,
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
    let mut feed: Option<Feed> = None;
    let (mut number, start_ns) = (0usize, clock.now_ns());
    for shot in 0..u64::from(lesson.shots.unwrap_or(u32::MAX)) {
        let take = take(lesson.seed, shot);
        let feed =
            feed.get_or_insert_with(|| Feed::markers(synthetic::labels(&take, &map), source, 1));
        let begins = (number as f64 / RATE_HZ, number as f64);
        // Nobody may be listening: the screens show the shot all the same.
        drop(truths.try_send(synthetic::truth(&take.truth, RATE_HZ, begins)));
        for n in 0..take.frames.len() {
            if stop.load(Ordering::Relaxed) {
                return Ok(());
            }
            let time_ns = feed::time_ns(number, RATE_HZ);
            let mut due = Vec::new();
            feed.frame(
                number as u64,
                time_ns,
                &synthetic::frame(&take, n),
                &mut due,
            )?;
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
    lesson: Lesson,
    to: SocketAddr,
    clock: Clock,
    truths: Sender<Measurement>,
    stop: Arc<AtomicBool>,
) -> anyhow::Result<std::thread::JoinHandle<anyhow::Result<()>>> {
    let work = move || stream(lesson, to, clock, &truths, &stop);
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

/// How far a measured value may lie from the golfer's truth: identifier up to its event, tolerance
/// in the unit shown. Wide enough for 0.5 mm noise at 360 Hz with skin wobble; the tight table of
/// the kinematics is the tests'.
const TOLERANCES: &[(&str, f64)] = &[
    ("backswing_time", 0.04),
    ("downswing_time", 0.006),
    ("tempo_ratio", 0.2),
    ("pelvis_shift", 0.008),
    ("pelvis_rise", 0.008),
    ("pelvis_depth", 0.008),
    ("head_shift", 0.008),
    ("head_rise", 0.008),
    ("pelvis_rotation", 2.0),
    ("thorax_rotation", 2.5),
    ("shoulder_line_rotation", 2.5),
    ("separation", 3.5),
    ("separation_peak", 3.5),
    ("knee_flexion.lead", 6.0),
    ("knee_flexion.trail", 6.0),
    ("grip_speed", 0.6),
    ("grip_speed_peak", 0.6),
    ("head_speed", 0.7),
    ("head_speed_peak", 0.7),
    ("shaft_lean", 1.5),
];

/// Events and how far they may lie from the truth, seconds.
const EVENT_TOLERANCES: &[(&str, f64)] = &[
    ("takeaway_start", 0.04),
    ("takeaway_end", 0.005),
    ("top", 0.006),
    ("shaft_level_down", 0.003),
    ("impact", 0.001),
];

/// One line of a comparison.
#[derive(Debug, Clone, PartialEq)]
pub struct Compared {
    /// Event or metric.
    pub id: String,
    /// Measured, if it was.
    pub measured: Option<f64>,
    /// The golfer's truth.
    pub truth: f64,
    /// Unit of both.
    pub unit: String,
    /// Allowed difference.
    pub tolerance: f64,
}

impl Compared {
    /// Whether the measured value is there and close enough.
    #[must_use]
    pub fn holds(&self) -> bool {
        self.measured
            .is_some_and(|m| (m - self.truth).abs() <= self.tolerance)
    }
}

/// A measurement against the golfer's truth: every event and metric that has a tolerance.
#[must_use]
pub fn compare(measured: &Measurement, truth: &Measurement) -> Vec<Compared> {
    let events = EVENT_TOLERANCES.iter().filter_map(|&(id, tolerance)| {
        let time = |m: &Measurement| m.events.get(id).and_then(|e| e.time_s);
        Some(Compared {
            id: id.to_owned(),
            measured: time(measured),
            truth: time(truth)?,
            unit: "s".into(),
            tolerance,
        })
    });
    let metrics = truth.metrics.iter().filter_map(|(id, metric)| {
        let family = id.split('@').next().unwrap_or(id);
        let tolerance = TOLERANCES.iter().find(|t| t.0 == family)?.1;
        let measured = measured.metrics.get(id).and_then(|m| m.value);
        Some(Compared {
            id: id.clone(),
            measured,
            truth: metric.value?,
            unit: metric.unit.clone(),
            tolerance,
        })
    });
    events.chain(metrics).collect()
}

/// The report of one shot beside the truth, as text.
#[must_use]
pub fn shot_text(number: u32, report: &Report, truth: &Measurement) -> String {
    use std::fmt::Write as _;
    let mut out = format!(
        "Shot {number}: {} ({}, {}-handed)\n",
        report.id, report.measurement.kind, report.measurement.handed
    );
    // Writing to a String cannot fail.
    let _ = writeln!(
        out,
        "  {:<40} {:>10} {:>10} {:<6} {:>9}",
        "", "measured", "truth", "unit", "allowed"
    );
    let compared = compare(&report.measurement, truth);
    for c in &compared {
        let measured = c
            .measured
            .map_or_else(|| "—".to_owned(), |m| format!("{m:.3}"));
        let mark = if c.holds() { "" } else { "  OUTSIDE" };
        let _ = writeln!(
            out,
            "  {:<40} {measured:>10} {:>10.3} {:<6} {:>9}{mark}",
            c.id, c.truth, c.unit, c.tolerance
        );
    }
    let held = compared.iter().filter(|c| c.holds()).count();
    let _ = writeln!(out, "  {held} of {} within what is allowed", compared.len());
    out
}
