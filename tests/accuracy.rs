//! The accuracy table: the analysis against the synthetic golfer over a grid of people, styles,
//! sides, clubs, speeds and strikes. Shared by the quick test and the long campaign.
//!
//! `forward` shares no frame or metric code with what is judged. Errors are in SI and radians.

#![allow(
    dead_code,
    reason = "the quick test and the campaign use different parts"
)]

use std::collections::BTreeMap;
use std::ops::Range;

use analysis::body::trial;
use analysis::context::Context;
use analysis::forward::{
    Ball, CaptureParams, Club, GolferParams, Style, Take, calibration_trial, swing,
};
use analysis::frame::CaptureFrame;
use analysis::handed::Handed;
use analysis::landmark::Landmark;
use analysis::measure::{Measured, measure};
use analysis::metrics::catalogue::CATALOGUE;
use analysis::metrics::{self};
use analysis::swing::event::Event;
use analysis::window::Window;
use nalgebra::Point3;

/// The bay's ball for the synthetic golfer: its center over the origin.
const BALL: Point3<f64> = Point3::new(0.0, 0.0214, 0.0);

/// One row of conditions.
#[derive(Debug, Clone)]
pub(crate) struct Conditions {
    /// The camera.
    pub(crate) capture: CaptureParams,
    /// Whether the golfer did a calibration trial.
    pub(crate) trial: bool,
}

impl Conditions {
    /// 360 Hz, 0.5 mm, nothing hidden, no wobble, with a trial.
    pub(crate) fn usual() -> Self {
        Self {
            capture: CaptureParams {
                rate_hz: 360.0,
                noise_m: 0.0005,
                dropout: 0.0,
                wobble: false,
            },
            trial: true,
        }
    }
}

/// A swing of the grid: every style, both sides, every club, speed and strike come round.
pub(crate) fn params(seed: u64) -> GolferParams {
    let pick = |n: u64, of: usize| usize::try_from(n % of as u64).unwrap_or(0);
    let mut params = GolferParams::from_seed(seed).with_club(Club::ALL[pick(seed / 2, 3)]);
    params.style = Style::ALL[pick(seed, Style::ALL.len())];
    params.handed = if seed.is_multiple_of(2) {
        Handed::Right
    } else {
        Handed::Left
    };
    params.ball = [
        Ball::Centered,
        Ball::Centered,
        Ball::OffCenter,
        Ball::Centered,
        Ball::Missed,
    ][pick(seed, 5)];
    params.head_speed_mps *= [1.0, 0.8, 1.1, 0.9][pick(seed / 3, 4)];
    params
}

/// The window that the analyzer would look at.
pub(crate) fn window(
    frames: &[Vec<Option<Point3<f64>>>],
    landmarks: &[Landmark],
    rate_hz: f64,
) -> Window {
    let mut sorted = landmarks.to_vec();
    sorted.sort_unstable();
    let order: Vec<usize> = sorted
        .iter()
        .filter_map(|l| landmarks.iter().position(|t| t == l))
        .collect();
    let frames: Vec<CaptureFrame> = frames
        .iter()
        .enumerate()
        .map(|(n, points)| CaptureFrame {
            number: n as u64,
            time_ns: (n as f64 * 1e9 / rate_hz).round() as i64,
            points: order.iter().map(|&i| points[i]).collect(),
        })
        .collect();
    Window::new(frames.iter(), &sorted, rate_hz).expect("frames")
}

/// The swing's stretch of a take, as the live bay would cut it.
pub(crate) fn swing_window(take: &Take) -> (Window, usize) {
    let impact = (take.truth.event("impact").expect("an impact") * take.rate_hz) as usize;
    let from = impact.saturating_sub((4.5 * take.rate_hz) as usize);
    let to = (impact + (1.3 * take.rate_hz) as usize).min(take.frames.len());
    let mut all = window(&take.frames[..to], &take.landmarks, take.rate_hz);
    all.keep(from..to);
    (all, impact - from)
}

/// What the bay is told of this golfer.
pub(crate) fn context(params: &GolferParams, conditions: &Conditions) -> Context {
    let calibration = conditions.trial.then(|| {
        let trial = calibration_trial(params, &conditions.capture);
        let window = window(&trial.frames, &trial.landmarks, trial.rate_hz);
        trial::read(&window)
            .expect("a calibration trial")
            .calibration
    });
    Context {
        calibration,
        ..Context::default()
    }
}

/// Errors of one event or metric over the seeds.
#[derive(Debug, Clone, Default)]
pub(crate) struct Errors {
    /// Measured minus truth at the event found.
    pub(crate) found: Vec<f64>,
    /// Measured minus truth, read at the true time of the event.
    pub(crate) read: Vec<f64>,
    /// The truth, to which ratios of error refer.
    pub(crate) truth: Vec<f64>,
    /// Times that a value was due and none was given.
    pub(crate) missing: usize,
}

/// The table: event or metric (`name@event`) → errors.
pub(crate) type Table = BTreeMap<String, Errors>;

/// Measures one seed and adds its errors to the table.
pub(crate) fn add(seed: u64, conditions: &Conditions, table: &mut Table) {
    let params = params(seed);
    let take = swing(&params, &conditions.capture);
    let (window, near) = swing_window(&take);
    let context = context(&params, conditions);
    let measured = measure(&window, near, Some(BALL), &context)
        .unwrap_or_else(|why| panic!("seed {seed}: {}", why.words()));
    assert_eq!(measured.prepared.handed, params.handed, "seed {seed}");
    add_events(&take, &measured, table);
    add_metrics(&take, &measured, table);
}

fn add_events(take: &Take, measured: &Measured, table: &mut Table) {
    for &event in Event::ALL {
        let Some(truth) = take.truth.event(event.name()) else {
            continue;
        };
        let errors = table.entry(event.name().to_owned()).or_default();
        let prepared = &measured.prepared;
        match prepared.swing.slots.get(event) {
            Some(slot) => {
                errors.found.push(prepared.window.seconds(slot) - truth);
                errors.truth.push(truth);
            }
            None => errors.missing += 1,
        }
    }
}

fn add_metrics(take: &Take, measured: &Measured, table: &mut Table) {
    let mut moved = measured.prepared.clone();
    for &event in Event::ALL {
        if let Some(truth) = take.truth.event(event.name())
            && event != Event::Address
        {
            let slot = truth * moved.window.rate_hz - moved.window.first_number as f64;
            moved.swing.slots.set(event, Some(slot));
        }
    }
    let read = metrics::measure(&moved);
    for family in CATALOGUE {
        for n in 0..family.len() {
            let id = family.value_id(n);
            let Some(truth) = take.truth.metric(&id) else {
                continue;
            };
            let errors = table.entry(id).or_default();
            match measured.values.get(family.first + n).number() {
                Some(value) => {
                    errors.found.push(value - truth);
                    errors.truth.push(truth);
                }
                None => errors.missing += 1,
            }
            if let Some(value) = read.get(family.first + n).number() {
                errors.read.push(value - truth);
            }
        }
    }
}

/// Seeds shared out over two threads; the table does not depend on how.
pub(crate) fn table(seeds: Range<u64>, conditions: &Conditions) -> Table {
    let half = |offset: u64| {
        let mut table = Table::new();
        for seed in seeds.clone().filter(|s| s % 2 == offset) {
            add(seed, conditions, &mut table);
        }
        table
    };
    let (mut a, b) = std::thread::scope(|scope| {
        let other = scope.spawn(|| half(1));
        (half(0), other.join().expect("the other half"))
    });
    for (id, errors) in b {
        let into = a.entry(id).or_default();
        into.found.extend(errors.found);
        into.read.extend(errors.read);
        into.truth.extend(errors.truth);
        into.missing += errors.missing;
    }
    a
}

/// 95th percentile of the absolute values.
pub(crate) fn percentile_95(errors: &[f64]) -> Option<f64> {
    let mut errors: Vec<f64> = errors.iter().map(|e| e.abs()).collect();
    errors.sort_by(f64::total_cmp);
    errors
        .get((errors.len() * 95 / 100).min(errors.len().saturating_sub(1)))
        .copied()
}

/// The middle of signed values: what is left of a bias.
pub(crate) fn median(errors: &[f64]) -> Option<f64> {
    let mut errors = errors.to_vec();
    errors.sort_by(f64::total_cmp);
    errors.get(errors.len() / 2).copied()
}

/// The table as text, in the units of reports: number, 95th percentile at the found event and at
/// the true one, bias, and how often nothing was measured.
pub(crate) fn text(table: &Table) -> String {
    let mut lines = vec![format!(
        "{:<38} {:>5} {:>10} {:>10} {:>10} {:>6}  unit",
        "95th percentile of |error|", "n", "found", "true time", "median", "none"
    )];
    for (id, errors) in table {
        let family = CATALOGUE
            .iter()
            .find(|f| (0..f.len()).any(|n| f.value_id(n) == *id));
        let (shown, unit): (Box<dyn Fn(f64) -> f64>, &str) = match family {
            Some(f) => (Box::new(|v| f.unit.shown(v)), f.unit.symbol()),
            None => (Box::new(|v| v * 1e3), "ms"),
        };
        let cell =
            |v: Option<f64>| v.map_or_else(|| "—".to_owned(), |v| format!("{:.3}", shown(v)));
        lines.push(format!(
            "{id:<38} {:>5} {:>10} {:>10} {:>10} {:>6}  {unit}",
            errors.found.len(),
            cell(percentile_95(&errors.found)),
            cell(percentile_95(&errors.read)),
            cell(median(&errors.found)),
            errors.missing
        ));
    }
    lines.join("\n")
}
