//! The accuracy table: the analysis against the synthetic golfer over a grid of people, styles,
//! sides, clubs, speeds and strikes. Shared by the quick test and the long campaign.
//!
//! `forward` shares no frame or metric code with what is judged. Errors are in SI and radians.

#![allow(
    dead_code,
    reason = "the quick test and the campaign use different parts"
)]

#[path = "footing.rs"]
pub(crate) mod footing;

use std::collections::BTreeMap;

use analysis::body::trial;
use analysis::context::{ClubGeometry, Context};
use analysis::forward::{
    Ball, CalibrationTake, CaptureParams, Club, Facts, GolferParams, Style, Take,
    calibration_trial, swing,
};
use analysis::frame::CaptureFrame;
use analysis::handed::Handed;
use analysis::landmark::Landmark;
use analysis::measure::{Beside, Measured, measure_beside};
use analysis::metrics;
use analysis::metrics::catalogue::{CATALOGUE, Unit};
use analysis::swing::event::Event;
use analysis::uncertainty::{self, Base, Outcome};
use analysis::window::Window;
use nalgebra::{Point3, Vector3};
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng, SeedableRng};

/// The bay's ball for the synthetic golfer: its center over the origin.
pub(crate) const BALL: Point3<f64> = Point3::new(0.0, 0.0214, 0.0);

/// One row of conditions.
#[derive(Debug, Clone)]
pub(crate) struct Conditions {
    /// The camera.
    pub(crate) capture: CaptureParams,
    /// Whether the golfer did a calibration trial.
    pub(crate) trial: bool,
    /// How far the finger misses the medial side of a joint in that trial, standard deviation per
    /// coordinate, metres.
    pub(crate) palpation_m: f64,
    /// Draws for the intervals; 0 for none.
    pub(crate) draws: u32,
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
                plates: None,
            },
            trial: true,
            palpation_m: 0.0,
            draws: 0,
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

/// Moves each medial marker off its place for the whole of a trial.
fn misplace_medial(trial: &mut CalibrationTake, sd_m: f64, seed: u64) {
    let mut random = ChaCha8Rng::seed_from_u64(seed);
    let mut uniform = || (f64::from(random.next_u32()) + 0.5) / f64::from(u32::MAX);
    // Twelve uniform numbers make a normal one (Irwin–Hall, mathematics).
    let mut normal = || (0..12).map(|_| uniform()).sum::<f64>() - 6.0;
    for (i, landmark) in trial.landmarks.iter().enumerate() {
        if landmark.name().ends_with("_medial") {
            let off = Vector3::new(normal(), normal(), normal()) * sd_m;
            let places = trial.frames.iter_mut().filter_map(|f| f[i].as_mut());
            places.for_each(|p| *p += off);
        }
    }
}

/// What the bay is told of this golfer.
pub(crate) fn context(params: &GolferParams, facts: &Facts, conditions: &Conditions) -> Context {
    let calibration = conditions.trial.then(|| {
        let mut trial = calibration_trial(params, &conditions.capture);
        misplace_medial(&mut trial, conditions.palpation_m, params.seed);
        let window = window(&trial.frames, &trial.landmarks, trial.rate_hz);
        trial::read(&window)
            .expect("a calibration trial")
            .calibration
    });
    Context {
        calibration,
        person: facts.person,
        club_geometry: Some(ClubGeometry {
            mass_kg: Some(facts.club.mass_kg),
            balance_m: Some(facts.club.balance_m),
            inertia_kg_m2: Some(facts.club.across_kg_m2),
            ..ClubGeometry::default()
        }),
        ..Context::default()
    }
}

/// One event or metric of one swing. SI, radians; event times in seconds.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Judged {
    /// Measured minus truth at the event found; `None` where a value was due and none was given.
    pub(crate) found: Option<f64>,
    /// Measured minus truth, read at the true time of the event.
    pub(crate) read: Option<f64>,
    /// The truth.
    pub(crate) truth: f64,
    /// Whether the stated 95 % interval holds the truth, where one is stated.
    pub(crate) held: Option<bool>,
    /// The stated standard uncertainty.
    pub(crate) standard: Option<f64>,
}

/// All of one swing: event or metric (`name@event`) → judgment.
pub(crate) type Record = BTreeMap<String, Judged>;

/// Measures one seed against its truth.
pub(crate) fn judge(seed: u64, conditions: &Conditions) -> Record {
    let params = params(seed);
    let take = swing(&params, &conditions.capture);
    let (window, near) = swing_window(&take);
    let context = context(&params, &take.truth.facts, conditions);
    let ground = footing::plates(&take);
    let beside = Beside {
        ground: ground.as_ref(),
        ..Beside::default()
    };
    let measured = measure_beside(&window, near, Some(BALL), (&context, beside))
        .unwrap_or_else(|why| panic!("seed {seed}: {}", why.words()));
    assert_eq!(measured.prepared.handed, params.handed, "seed {seed}");
    let mut record = Record::new();
    add_events(&take, &measured, &mut record);
    add_metrics(&take, &measured, &mut record);
    add_pressure(&take, &measured, &mut record);
    if conditions.draws > 0 {
        add_intervals(&measured, conditions.draws, &mut record);
    }
    record
}

fn add_events(take: &Take, measured: &Measured, record: &mut Record) {
    let prepared = &measured.prepared;
    for &event in Event::ALL {
        let Some(truth) = take.truth.event(event.name()) else {
            continue;
        };
        let slot = prepared.swing.slots.get(event);
        let judged = Judged {
            found: slot.map(|slot| prepared.window.seconds(slot) - truth),
            read: None,
            truth,
            held: None,
            standard: None,
        };
        record.insert(event.name().to_owned(), judged);
    }
}

/// How far the common center of pressure is off between takeaway and impact, read every 10 ms: the 95th
/// percentile of one swing as a line of the table (`cop`, metres). The feet bear far more than a fifth of
/// the weight all that time.
fn add_pressure(take: &Take, measured: &Measured, record: &mut Record) {
    let Some(ground) = measured.prepared.ground.as_deref() else {
        return;
    };
    let time = |event: &str| take.truth.event(event).expect("an event");
    let (from, to) = (time("takeaway_start"), time("impact"));
    let steps = ((to - from) / 0.01) as u32;
    let off = (0..=steps).map(|i| {
        let t = from + 0.01 * f64::from(i);
        let center = ground.total_at((t * 1e9) as i64, 20.0).ok()?.center?;
        let off = center - take.truth.standing(t);
        Some(off.x.hypot(off.z))
    });
    let worst = off.collect::<Option<Vec<f64>>>();
    let worst = worst.and_then(|off| percentile_95(&off));
    let judged = Judged {
        found: worst,
        read: None,
        truth: 0.0,
        held: None,
        standard: None,
    };
    record.insert("cop".to_owned(), judged);
}

fn add_metrics(take: &Take, measured: &Measured, record: &mut Record) {
    let mut moved = measured.prepared.clone();
    for &event in Event::ALL {
        if let Some(truth) = take.truth.event(event.name())
            && event != Event::Address
        {
            let slot = truth * moved.window.rate_hz - moved.window.first_number as f64;
            moved.swing.slots.set(event, Some(slot));
        }
    }
    let read = metrics::measure(&moved, None);
    for (id, index) in ids() {
        if let Some(truth) = take.truth.metric(&id) {
            let error = |v: Option<f64>| v.map(|v| v - truth);
            let judged = Judged {
                found: error(measured.values.number(index)),
                read: error(read.number(index)),
                truth,
                held: None,
                standard: None,
            };
            record.insert(id, judged);
        }
    }
}

/// What is 0 by definition differs from it by rounding only, and its interval has no width.
const ROUNDING: f64 = 1e-9;

fn add_intervals(measured: &Measured, draws: u32, record: &mut Record) {
    let base = Base::new(&measured.prepared).expect("a base to draw from");
    let seed = uncertainty::seed(&measured.prepared);
    let draws: Vec<_> = (0..draws)
        .map(|i| uncertainty::draw(&base, seed, i))
        .collect();
    let summary = uncertainty::summarize((&measured.values, &[]), base.truth(), &draws);
    for (id, index) in ids() {
        let Some(judged) = record.get_mut(&id) else {
            continue;
        };
        if let (Some(Outcome::Spread(s)), Some(value)) =
            (&summary.values[index], measured.values.number(index))
        {
            let off = judged.found.unwrap_or_default();
            let truth = value - off;
            judged.held = Some((s.low - ROUNDING..=s.high + ROUNDING).contains(&truth));
            judged.standard = Some(s.standard);
        }
    }
}

/// Every value of the catalogue with its index.
fn ids() -> impl Iterator<Item = (String, usize)> {
    CATALOGUE
        .iter()
        .flat_map(|f| (0..f.len()).map(move |n| (f.value_id(n), f.first + n)))
}

/// Seeds shared out over two threads, in the order of the seeds; each record is handed on as it is
/// made.
pub(crate) fn judge_all(
    seeds: &[u64],
    conditions: &Conditions,
    each: impl Fn(u64, &Record) + Sync,
) -> Vec<Record> {
    let half = |offset: usize| -> Vec<(u64, Record)> {
        let mine = seeds.iter().skip(offset).step_by(2);
        mine.map(|&seed| {
            let record = judge(seed, conditions);
            each(seed, &record);
            (seed, record)
        })
        .collect()
    };
    let mut all = std::thread::scope(|scope| {
        let other = scope.spawn(|| half(1));
        let mut all = half(0);
        all.extend(other.join().expect("the other half"));
        all
    });
    all.sort_by_key(|(seed, _)| *seed);
    all.into_iter().map(|(_, record)| record).collect()
}

/// Errors of one event or metric over the seeds.
#[derive(Debug, Clone, Default)]
pub(crate) struct Errors {
    /// At the event found.
    pub(crate) found: Vec<f64>,
    /// Read at the true time of the event.
    pub(crate) read: Vec<f64>,
    /// The truth behind each of `found`.
    pub(crate) truth: Vec<f64>,
    /// Intervals that hold the truth, and intervals stated.
    pub(crate) held: (usize, usize),
    /// Stated standard uncertainties.
    pub(crate) standard: Vec<f64>,
    /// Times that a value was due and none was given.
    pub(crate) missing: usize,
}

/// Event or metric → errors.
pub(crate) type Table = BTreeMap<String, Errors>;

/// The table of many swings.
pub(crate) fn table(records: &[Record]) -> Table {
    let mut table = Table::new();
    for (id, judged) in records.iter().flatten() {
        let errors = table.entry(id.clone()).or_default();
        match judged.found {
            Some(error) => {
                errors.found.push(error);
                errors.truth.push(judged.truth);
            }
            None => errors.missing += 1,
        }
        errors.read.extend(judged.read);
        errors.standard.extend(judged.standard);
        if let Some(held) = judged.held {
            errors.held.0 += usize::from(held);
            errors.held.1 += 1;
        }
    }
    table
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

/// The unit of a line, and a value in it.
pub(crate) fn unit_of(id: &str) -> (&'static str, impl Fn(f64) -> f64 + use<>) {
    let family = CATALOGUE
        .iter()
        .find(|f| (0..f.len()).any(|n| f.value_id(n) == id));
    let unit = family.map(|f| f.unit);
    let symbol = match unit {
        Some(Unit::Metre) => "mm",
        None if id == "cop" => "mm",
        Some(unit) => unit.symbol(),
        None => "ms",
    };
    (symbol, move |v| match unit {
        Some(Unit::Metre) | None => v * 1e3,
        Some(unit) => unit.shown(v),
    })
}

/// The table as text: how often, 95th percentiles of the error at the found event and at the true one,
/// the median error, how often nothing was measured, the median of the stated standard uncertainties,
/// and the share of intervals that hold the truth.
pub(crate) fn text(table: &Table) -> String {
    let mut lines = vec![format!(
        "{:<40} {:>5} {:>9} {:>9} {:>9} {:>5} {:>9} {:>7}  unit",
        "95th percentile of |error|", "n", "found", "true time", "median", "none", "stated", "held"
    )];
    for (id, errors) in table {
        let (unit, shown) = unit_of(id);
        let cell =
            |v: Option<f64>| v.map_or_else(|| "—".to_owned(), |v| format!("{:.3}", shown(v) + 0.0));
        let held = match errors.held {
            (_, 0) => "—".to_owned(),
            (k, n) => format!("{:.1} %", 100.0 * k as f64 / n as f64),
        };
        lines.push(format!(
            "{id:<40} {:>5} {:>9} {:>9} {:>9} {:>5} {:>9} {held:>7}  {unit}",
            errors.found.len(),
            cell(percentile_95(&errors.found)),
            cell(percentile_95(&errors.read)),
            cell(median(&errors.found)),
            errors.missing,
            cell(median(&errors.standard)),
        ));
    }
    lines.join("\n") + "\n"
}
