//! Club, grip and sequence against the synthetic golfer's truth: a small sample always, the full
//! table on demand (`cargo test --release -p analysis --lib accuracy -- --ignored --nocapture`).

use super::catalogue::CATALOGUE;
use crate::context::Context;
use crate::forward::{Ball, CaptureParams, GolferParams, Style, Take, swing};
use crate::frame::CaptureFrame;
use crate::measure::{Measured, measure};
use crate::window::Window;

const EVERYTHING: [&str; 27] = [
    "head_speed@impact",
    "head_speed_peak",
    "grip_speed@impact",
    "grip_speed_peak",
    "grip_speed_peak_time",
    "attack_angle@impact",
    "path_direction@impact",
    "face_direction@address",
    "face_direction@impact",
    "shaft_lean@impact",
    "hinge@address",
    "hinge@top",
    "hinge@shaft_level_down",
    "hinge@impact",
    "hinge_release_start",
    "grip_path_length_down",
    "downswing_plane_slope",
    "downswing_plane_direction",
    "angular_speed_peak.",
    "angular_speed_peak_time.",
    "angular_acceleration_peak.",
    "angular_acceleration_peak_time.",
    "peak_ratio.",
    "arrival_order",
    "arrival_proximal_to_distal",
    "arm_ahead.start",
    "arm_ahead.duration",
];

fn capture(rate_hz: f64, noise_m: f64) -> CaptureParams {
    CaptureParams {
        rate_hz,
        noise_m,
        dropout: 0.0,
        wobble: false,
    }
}

fn measured(take: &Take) -> Measured {
    let frames: Vec<CaptureFrame> = (0_u64..)
        .zip(&take.frames)
        .map(|(number, points)| CaptureFrame {
            number,
            time_ns: (number as f64 / take.rate_hz * 1e9).round() as i64,
            points: points.clone(),
        })
        .collect();
    let window = Window::new(frames.iter(), &take.landmarks, take.rate_hz).unwrap();
    let near = take.truth.event("impact").unwrap() * take.rate_hz;
    let ball = Some(nalgebra::Point3::origin());
    measure(&window, near.round() as usize, ball, &Context::default()).unwrap()
}

/// Error of a value against the truth and the truth, SI and rad; `None` where either is missing.
fn error(take: &Take, found: &Measured, id: &str) -> Option<(f64, f64)> {
    let index = (0..).zip(
        CATALOGUE
            .iter()
            .flat_map(|f| (0..f.len()).map(|n| f.value_id(n))),
    );
    let index = index.into_iter().find(|(_, name)| name == id)?.0;
    let value = found.values.get(index).number()?;
    let whole = id.split_once('@').map_or(id, |s| s.0);
    let truth = take.truth.metric(id).or_else(|| take.truth.metric(whole))?;
    Some((value - truth, truth))
}

fn golfers(seeds: u64, ball: Ball) -> impl Iterator<Item = GolferParams> {
    (0..seeds)
        .zip(Style::ALL.iter().copied().cycle())
        .map(move |(seed, style)| GolferParams {
            style,
            ball,
            ..GolferParams::from_seed(seed)
        })
}

/// The 95th percentile of sizes.
fn percentile(mut sizes: Vec<f64>) -> f64 {
    sizes.sort_unstable_by(f64::total_cmp);
    let at = (0.95 * sizes.len() as f64).ceil() as usize;
    sizes.get(at.saturating_sub(1)).copied().unwrap_or(f64::NAN)
}

/// Limits of the table of the project's issue on accuracy, in a sample small enough for every run.
#[test]
fn a_few_swings_are_within_their_limits() {
    for params in golfers(6, Ball::Centered) {
        let take = swing(&params, &capture(360.0, 0.0005));
        let found = measured(&take);
        let off = |id: &str| error(&take, &found, id).unwrap_or_else(|| panic!("no {id}"));
        let (speed, truth) = off("head_speed@impact");
        assert!(speed.abs() < (0.01 * truth).max(0.3), "head speed {speed}");
        for segment in ["pelvis", "thorax", "lead_arm", "club"] {
            let (speed, truth) = off(&format!("angular_speed_peak.{segment}"));
            assert!(speed.abs() < 0.03 * truth, "{segment} {speed} of {truth}");
            let (time, _) = off(&format!("angular_speed_peak_time.{segment}"));
            assert!(time.abs() < 0.012, "{segment} {time}");
        }
        for (id, limit) in [
            ("attack_angle@impact", 0.01),
            ("path_direction@impact", 0.01),
            ("downswing_plane_slope", 0.005),
            ("hinge@top", 0.05),
            ("grip_path_length_down", 0.01),
        ] {
            let (error, _) = off(id);
            assert!(error.abs() < limit, "{id} {error}");
        }
    }
}

#[test]
#[ignore = "a table to read; takes a minute"]
#[expect(clippy::print_stdout, reason = "the table is what it is for")]
fn table() {
    let seeds = 42;
    let cases = [
        ("360 Hz 0.5 mm", 360.0, 0.0005, Ball::Centered),
        ("360 Hz clean", 360.0, 0.0, Ball::Centered),
        ("240 Hz 0.5 mm", 240.0, 0.0005, Ball::Centered),
        ("1000 Hz 0.5 mm", 1000.0, 0.0005, Ball::Centered),
        ("360 Hz 1 mm", 360.0, 0.001, Ball::Centered),
        ("off-center", 360.0, 0.0005, Ball::OffCenter),
        ("missed", 360.0, 0.0005, Ball::Missed),
    ];
    let mut rows: Vec<(String, Vec<String>)> = Vec::new();
    for (name, rate, noise, ball) in cases {
        let takes: Vec<(Take, Measured)> = golfers(seeds, ball)
            .map(|p| swing(&p, &capture(rate, noise)))
            .map(|t| (measured(&t), t))
            .map(|(m, t)| (t, m))
            .collect();
        column(&mut rows, name, &takes);
    }
    for (id, cells) in rows {
        println!("{id:42} {}", cells.join(" "));
    }
}

fn column(rows: &mut Vec<(String, Vec<String>)>, name: &str, takes: &[(Take, Measured)]) {
    let mut put = |id: String, cell: String| match rows.iter_mut().find(|r| r.0 == id) {
        Some(row) => row.1.push(cell),
        None => rows.push((id, vec![cell])),
    };
    put(String::new(), format!("{name:>20}"));
    let impact = takes.iter().map(|(take, found)| {
        let slot = found.prepared.swing.impact.slot;
        found.prepared.window.seconds(slot) - take.truth.event("impact").unwrap()
    });
    put(
        "impact (s)".into(),
        summary(impact.map(|e| (e, 1.0)).collect()),
    );
    for family in CATALOGUE {
        for id in (0..family.len()).map(|n| family.value_id(n)) {
            if !EVERYTHING.iter().any(|e| id.starts_with(e)) {
                continue;
            }
            let errors: Vec<_> = takes.iter().filter_map(|(t, m)| error(t, m, &id)).collect();
            let scale = family.unit.shown(1.0);
            let shown = errors.iter().map(|(e, t)| (e * scale, t * scale)).collect();
            put(format!("{id} ({})", family.unit.symbol()), summary(shown));
        }
    }
}

/// 95th percentile of the size, of the relative size (percent), mean error, number.
fn summary(errors: Vec<(f64, f64)>) -> String {
    let size = percentile(errors.iter().map(|e| e.0.abs()).collect());
    let relative = percentile(errors.iter().map(|e| 100.0 * (e.0 / e.1).abs()).collect());
    let mean = errors.iter().map(|e| e.0).sum::<f64>() / errors.len().max(1) as f64;
    format!("{size:8.4}{relative:6.1}%{mean:+9.4}/{:<3}", errors.len())
}
