//! Leaks against the synthetic golfer: lessons of ten shots, resampled from a library of analyzed shots of
//! many golfers, each with a leak of his own, graded, mixed or none. Shared by the quick test and the long
//! campaign.
//!
//! Whether a golfer shows a leak is known twice: by his style, and by rules written here anew on the values
//! of his truth, which the generating parameters give. The analysis sees markers and plates only.

#![allow(
    dead_code,
    reason = "the quick test and the campaign use different parts"
)]

use std::collections::BTreeMap;
use std::fmt::Write as _;

use analysis::coaching::band::Source;
use analysis::coaching::leaks::{self, Finding, Key, Leak, Setup, Status, Thresholds};
use analysis::coaching::limits::Limits;
use analysis::coaching::shot::{Metric, Reading, Shot, values};
use analysis::forward::{CaptureParams, Club, GolferParams, PlateParams, Pressure, Style, swing};
use analysis::handed::Handed;
use analysis::measure::{Beside, Measured, measure_beside};
use analysis::uncertainty::{self, Base, Outcome};
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng, SeedableRng};

use crate::accuracy::{BALL, Conditions, context, footing, swing_window};

/// Shots of a lesson's block.
pub(crate) const SHOTS: usize = 10;
/// Draws behind a golfer's uncertainties: they scatter by a sixth themselves.
const DRAWS: u32 = 16;
/// What a coach could set, from this golfer's cohort: unweighting, drop and shift of balanced golfers lie
/// on the other side of at least one of them.
pub(crate) const COUNTER_MOVEMENT: [(Key, f64); 3] = [
    (Key::Unweighting, 0.78),
    (Key::Drop, 0.010),
    (Key::ShiftRange, 0.025),
];

/// One golfer with what is special about him.
#[derive(Debug, Clone)]
pub(crate) struct Case {
    /// Row of the table.
    pub(crate) row: String,
    pub(crate) params: GolferParams,
    pub(crate) noise_m: f64,
}

/// A golfer's analyzed shots beside the truth of the same shots.
#[derive(Debug, Clone)]
pub(crate) struct Golfer {
    pub(crate) case: Case,
    pub(crate) shots: Vec<Shot>,
    pub(crate) truth: Vec<Shot>,
}

/// A golfer of a style. Of 24 in a row every club, side, noise and way of the center of pressure meet once;
/// half of them are inconsistent.
pub(crate) fn case(row: String, style: Style, seed: u64, n: u64) -> Case {
    let mut params = GolferParams::from_seed(seed).with_club(Club::ALL[(n % 3) as usize]);
    let other = |step: u64| (n / step) % 2 == 1;
    params.style = style;
    if other(3) {
        params.handed = Handed::Left;
    }
    if other(12) {
        params.pressure = Pressure::Reverse;
    }
    if other(1) {
        params.scatter = 2.0;
    }
    Case {
        row,
        params,
        noise_m: if other(6) { 0.001 } else { 0.0005 },
    }
}

/// The leak that a style is made to show.
pub(crate) const fn own(style: Style) -> Option<Leak> {
    match style {
        Style::Balanced => None,
        Style::WrongWayFirst => Some(Leak::WrongWayFirst),
        Style::StillLegs => Some(Leak::LegsHeldStill),
        Style::OverRotated => Some(Leak::NotBroughtThrough),
        Style::StandingUp => Some(Leak::StandingUp),
        Style::StretchKept => Some(Leak::StretchKept),
        Style::ArmsWait => Some(Leak::ArmsWait),
        Style::TrailFootLate => Some(Leak::TrailFootLate),
        Style::NoCounterMovement => Some(Leak::NoCounterMovement),
    }
}

/// Analyzes some shots of a golfer: the first with draws, whose uncertainties stand for all of them (same
/// golfer, rig and club).
pub(crate) fn analyzed(case: &Case, shots: u64) -> Golfer {
    let conditions = Conditions {
        capture: CaptureParams {
            noise_m: case.noise_m,
            plates: Some(PlateParams::USUAL),
            ..Conditions::usual().capture
        },
        ..Conditions::usual()
    };
    let (mut measured, mut truth) = (Vec::new(), Vec::new());
    let mut told = None;
    for shot in 0..shots {
        let params = GolferParams {
            shot,
            ..case.params.clone()
        };
        let take = swing(&params, &conditions.capture);
        let told = told.get_or_insert_with(|| context(&params, &take.truth.facts, &conditions));
        let (window, near) = swing_window(&take);
        let ground = footing::plates(&take);
        let beside = Beside {
            ground: ground.as_ref(),
            ..Beside::default()
        };
        let found = measure_beside(&window, near, Some(BALL), (told, beside))
            .unwrap_or_else(|why| panic!("{case:?}: {}", why.words()));
        truth.push(as_shot(|m| take.truth.metric(&m.id()), |_| None));
        measured.push(found);
    }
    let uncertainty = drawn(&measured[0]);
    let shots = measured
        .iter()
        .map(|m| as_shot(|i| m.values.number(i.index()), |i| uncertainty[i.index()]));
    Golfer {
        case: case.clone(),
        shots: shots.collect(),
        truth,
    }
}

pub(crate) fn as_shot(
    value: impl Fn(Metric) -> Option<f64>,
    uncertainty: impl Fn(Metric) -> Option<f64>,
) -> Shot {
    let reading = |m| {
        Some(Reading {
            value: value(m)?,
            uncertainty: uncertainty(m),
            limited: false,
        })
    };
    Shot {
        readings: Metric::all().map(reading).collect(),
    }
}

fn drawn(measured: &Measured) -> Vec<Option<f64>> {
    let base = Base::new(&measured.prepared).expect("a base to draw from");
    let seed = uncertainty::seed(&measured.prepared);
    let draws: Vec<_> = (0..DRAWS)
        .map(|i| uncertainty::draw(&base, seed, i))
        .collect();
    let summary = uncertainty::summarize((&measured.values, &[]), base.truth(), &draws);
    let known = |o: &Option<Outcome>| match o {
        Some(Outcome::Spread(s)) => Some(s.standard),
        Some(Outcome::Agreement(share)) => Some(*share),
        _ => None,
    };
    summary.values.iter().map(known).collect()
}

/// Analyzes golfers on two threads, in the order of the cases.
pub(crate) fn library(cases: &[Case], shots: u64, each: impl Fn(&Golfer) + Sync) -> Vec<Golfer> {
    let half = |offset: usize| -> Vec<(usize, Golfer)> {
        let mine = cases.iter().enumerate().skip(offset).step_by(2);
        mine.map(|(n, case)| {
            let golfer = analyzed(case, shots);
            each(&golfer);
            (n, golfer)
        })
        .collect()
    };
    let mut all = std::thread::scope(|scope| {
        let other = scope.spawn(|| half(1));
        let mut all = half(0);
        all.extend(other.join().expect("the other half"));
        all
    });
    all.sort_by_key(|(n, _)| *n);
    all.into_iter().map(|(_, golfer)| golfer).collect()
}

/// The thresholds of the lessons: the defaults and what the coach set.
pub(crate) fn thresholds() -> Thresholds {
    let mut all = Thresholds::default();
    for (key, value) in COUNTER_MOVEMENT {
        assert!(all.set(key, value, Source::Coach("coach".into())));
    }
    all
}

/// What the analysis finds in a block.
pub(crate) fn found(shots: &[&Shot], thresholds: &Thresholds) -> Vec<Finding> {
    let excess = Metric::by_id("rotation_excess.pelvis").expect("in the catalogue");
    let setup = Setup {
        thresholds,
        limits: &Limits::default(),
        excess_detectable: detectable(&values(shots, excess)),
    };
    leaks::find(shots, &setup)
}

/// Detectable change of single shots: 2.77 standard deviations of the block (REFERENCES C).
fn detectable(values: &[f64]) -> Option<f64> {
    let n = values.len() as f64;
    let mean = values.iter().sum::<f64>() / n;
    let squares: f64 = values.iter().map(|v| (v - mean).powi(2)).sum();
    (values.len() > 2).then(|| 2.77 * (squares / (n - 1.0)).sqrt())
}

/// Whether a shot's truth shows a leak: METRICS' table written once more, without uncertainties.
pub(crate) fn truly(leak: Leak, shot: &Shot) -> bool {
    let v = |id: &str| shot.value(Metric::by_id(id).expect("in the catalogue"));
    let deg = |id: &str| v(id).map(f64::to_degrees);
    let is = |o: Option<bool>| o.unwrap_or(false);
    match leak {
        Leak::WrongWayFirst => is(v("pelvis_shift@takeaway_end").map(|s| s > -0.010)),
        Leak::LegsHeldStill => {
            let lead = deg("knee_change.lead@top").zip(deg("knee_flexion.lead@address"));
            let still = is(deg("knee_change.trail@top").map(|t| t > -5.0))
                && is(lead.map(|(gain, had)| gain < had));
            let late = |id: &str| is(v(id).map(|o| o > 0.5));
            still || late("knee_onset.lead") || late("knee_onset.trail")
        }
        Leak::NotBroughtThrough => is(deg("rotation_excess.pelvis").map(|e| e > 0.0)),
        Leak::StandingUp => ["top", "impact"].iter().any(|e| {
            is(deg(&format!("inclination_change@{e}")).map(|c| c < -5.0))
                && is(v(&format!("pelvis_depth@{e}")).map(|d| d > 0.0))
        }),
        Leak::StretchKept => {
            let late = v("separation_peak_time").zip(v("downswing_time"));
            is(late.map(|(peak, down)| peak > 0.5 * down))
                && is(v("separation_closed_at_impact").map(|c| c < 0.5))
                && is(v("thorax_rotation@impact").map(|r| r < 0.0))
        }
        Leak::ArmsWait => is(v("arm_ahead.duration").map(|d| d < 0.005)),
        Leak::TrailFootLate => is(v("vertical_force_peak_phase.trail").map(|p| p > 2.5)),
        Leak::NoCounterMovement => {
            is(v("unweighting_min").map(|u| u > COUNTER_MOVEMENT[0].1))
                && is(v("mass_centre_drop").map(|d| d < COUNTER_MOVEMENT[1].1))
                && is(v("pelvis_shift_range.backswing").map(|r| r < COUNTER_MOVEMENT[2].1))
        }
    }
}

/// Lessons and how they were judged.
#[derive(Debug, Default)]
pub(crate) struct Tally {
    /// Row → lessons, and for each leak lessons that show it.
    pub(crate) rows: BTreeMap<String, (usize, [usize; 8])>,
    /// Leak → clear cases of its own style: lessons, found, among the two shown.
    pub(crate) own: [(usize, usize, usize); 8],
    /// Lessons of balanced golfers, and those with any leak.
    pub(crate) clean: (usize, usize),
    /// Leak → by truth: blocks that show it in 8 of 10 shots and more, found; in 2 and fewer, found all the
    /// same; in between, found.
    pub(crate) truth: [[(usize, usize); 3]; 8],
    /// Blocks in which it could not be judged.
    pub(crate) not_judged: [usize; 8],
}

impl Tally {
    /// Resamples lessons from each golfer of the library.
    pub(crate) fn of(library: &[Golfer], lessons_each: usize, seed: u64) -> Self {
        let thresholds = thresholds();
        let mut random = ChaCha8Rng::seed_from_u64(seed);
        let mut tally = Self::default();
        for golfer in library {
            for _ in 0..lessons_each {
                let count = golfer.shots.len() as u32;
                let picked: Vec<usize> = (0..SHOTS)
                    .map(|_| (random.next_u32() % count) as usize)
                    .collect();
                tally.add(golfer, &picked, &thresholds);
            }
        }
        tally
    }

    pub(crate) fn add(&mut self, golfer: &Golfer, picked: &[usize], thresholds: &Thresholds) {
        let block: Vec<&Shot> = picked.iter().map(|i| &golfer.shots[*i]).collect();
        let found = found(&block, thresholds);
        let shown = leaks::shown(&found);
        let params = &golfer.case.params;
        let clear = (params.degree - 1.0).abs() < 1e-9 && params.also.is_none();
        let row = self.rows.entry(golfer.case.row.clone()).or_default();
        row.0 += 1;
        for finding in &found {
            let n = place(finding.leak);
            let present = finding.status == Status::Present;
            row.1[n] += usize::from(present);
            self.not_judged[n] += usize::from(matches!(finding.status, Status::NotJudged(_)));
            let true_shots = picked
                .iter()
                .filter(|i| truly(finding.leak, &golfer.truth[**i]))
                .count();
            let kind = match true_shots * 10 / picked.len() {
                8.. => 0,
                ..=2 => 1,
                _ => 2,
            };
            self.truth[n][kind].0 += 1;
            self.truth[n][kind].1 += usize::from(present);
            if clear && own(params.style) == Some(finding.leak) {
                let own = &mut self.own[n];
                own.0 += 1;
                own.1 += usize::from(present);
                own.2 += usize::from(shown.iter().any(|f| f.leak == finding.leak));
            }
        }
        if params.style == Style::Balanced && params.also.is_none() {
            self.clean.0 += 1;
            let any = found.iter().any(|f| f.status == Status::Present);
            self.clean.1 += usize::from(any);
        }
    }

    /// The table: rows are golfers, columns leaks, cells the share of lessons that show it, in percent.
    pub(crate) fn text(&self) -> String {
        let percent = |k: usize, n: usize| match (k, n) {
            (_, 0) => "-".to_owned(),
            (0, _) => ".".to_owned(),
            (k, n) => format!("{}", (100 * k + n / 2) / n),
        };
        let mut out = format!("{:<44} {:>7}", "% of lessons that show", "lessons");
        for leak in Leak::ALL {
            let words = leak.name().split('_');
            let short: String = words.map(|w| &w[..w.len().min(3)]).collect();
            write!(out, " {short:>10}").expect("text");
        }
        out.push('\n');
        for (row, (lessons, shows)) in &self.rows {
            write!(out, "{row:<44} {lessons:>7}").expect("text");
            for k in shows {
                write!(out, " {:>10}", percent(*k, *lessons)).expect("text");
            }
            out.push('\n');
        }
        writeln!(
            out,
            "\n{:<22} {:>8} {:>6} {:>6} | {:>8} {:>6} | {:>8} {:>6} | {:>8} {:>6} | {:>10}",
            "leak",
            "own",
            "found",
            "shown",
            "truly",
            "found",
            "not",
            "found",
            "between",
            "found",
            "not judged"
        )
        .expect("text");
        for leak in Leak::ALL {
            let n = place(leak);
            let ((lessons, found, shown), [yes, no, some]) = (self.own[n], self.truth[n]);
            writeln!(
                out,
                "{:<22} {lessons:>8} {found:>6} {shown:>6} | {:>8} {:>6} | {:>8} {:>6} | {:>8} {:>6} | {:>10}",
                leak.name(), yes.0, yes.1, no.0, no.1, some.0, some.1, self.not_judged[n]
            )
            .expect("text");
        }
        let (own, found) = self.sensitivity();
        writeln!(
            out,
            "\nown leak found in {found} of {own} lessons; any leak in {} of {} lessons of balanced golfers",
            self.clean.1, self.clean.0
        )
        .expect("text");
        out
    }

    /// Lessons of clear cases, and those whose own leak was found.
    pub(crate) fn sensitivity(&self) -> (usize, usize) {
        let sum = |of: fn(&(usize, usize, usize)) -> usize| self.own.iter().map(of).sum();
        (sum(|o| o.0), sum(|o| o.1))
    }
}

fn place(leak: Leak) -> usize {
    Leak::ALL.iter().position(|l| *l == leak).unwrap_or(0)
}
