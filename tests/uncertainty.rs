//! Uncertainties against the synthetic golfer, whose noise is not that of the draws (REFERENCES have
//! no table for this: the check is the golfer's own truth), and their way to the screens.

use analysis::forward::{CaptureParams, GolferParams, Style, swing};
use analysis::measure::Measured;
use analysis::metrics::catalogue::CATALOGUE;
use analysis::uncertainty::{self, Base, Draw, Outcome};
use daemon::map::MarkerMap;
use daemon::{refine, synthetic};
use protocol::report::Uncertainty;
use serde_json::Value;

use crate::bay::Bay;
use crate::support::{analyze, analyzed, scratch};

const CAPTURE: CaptureParams = CaptureParams {
    rate_hz: 360.0,
    noise_m: 0.0005,
    dropout: 0.0,
    wobble: false,
    plates: None,
};

fn params(seed: u64) -> GolferParams {
    GolferParams {
        style: Style::ALL[seed as usize % Style::ALL.len()],
        ..GolferParams::from_seed(seed)
    }
}

fn measured(seed: u64, capture: &CaptureParams) -> Measured {
    let map = MarkerMap::load("whin_32").unwrap();
    let take = swing(&params(seed), capture);
    let mut found = analyzed(&synthetic::c3d(&take, &map), map);
    assert_eq!(found.swings.len(), 1, "seed {seed}");
    found.swings.remove(0)
}

/// Error over standard uncertainty, and whether the interval holds the truth, of every value of a swing
/// that has both.
fn judged(seed: u64, draws: u32) -> Vec<(f64, bool)> {
    judged_at(seed, draws, &CAPTURE, |_| true)
}

/// The same for the values of some families.
fn judged_at(
    seed: u64,
    draws: u32,
    capture: &CaptureParams,
    asked: impl Fn(&str) -> bool,
) -> Vec<(f64, bool)> {
    let measured = measured(seed, capture);
    let truth = swing(&params(seed), capture).truth;
    let base = Base::new(&measured.prepared).unwrap();
    let number = uncertainty::seed(&measured.prepared);
    let draws: Vec<Option<Draw>> = (0..draws)
        .map(|i| uncertainty::draw(&base, number, i))
        .collect();
    let summary = uncertainty::summarize((&measured.values, &[]), base.truth(), &draws);
    let each = CATALOGUE
        .iter()
        .flat_map(|f| (0..f.len()).map(move |n| (f.value_id(n), f.first + n)));
    each.filter(|(id, _)| asked(id))
        .filter_map(|(id, i)| {
            let (value, truth) = (measured.values.number(i)?, truth.metric(&id)?);
            match summary.values[i].as_ref()? {
                Outcome::Spread(s) if s.standard > 0.0 => Some((
                    (value - truth).abs() / s.standard,
                    (s.low..=s.high).contains(&truth),
                )),
                _ => None,
            }
        })
        .collect()
}

/// Half the errors of a normal distribution are below 0.674 of its standard deviation (tables of the
/// normal distribution); intervals half or twice as wide as they should be would show 1.35 or 0.34.
#[test]
fn intervals_hold_the_truth_as_often_as_they_say() {
    let mut all: Vec<(f64, bool)> = (0..20).flat_map(|seed| judged(seed, 100)).collect();
    all.sort_by(|a, b| a.0.total_cmp(&b.0));
    let held = all.iter().filter(|a| a.1).count() as f64 / all.len() as f64;
    let median = all[all.len() / 2].0;
    println!("{} values: {held:.3} held, median {median:.3}", all.len());
    assert!(all.len() > 2000, "{} values", all.len());
    assert!((0.5..0.9).contains(&median), "{median}");
    assert!((0.91..0.98).contains(&held), "{held}");
}

/// At 108 frames a second a driver turns by 25 degrees from one to the next: what is said of the club
/// at impact is off by more than noise tells, and its interval says so.
#[test]
fn few_frames_are_in_the_interval() {
    let capture = CaptureParams {
        rate_hz: 108.0,
        ..CAPTURE
    };
    let families = [
        "head_speed@",
        "attack_angle",
        "path_direction",
        "shaft_lean@impact",
    ];
    let asked = |id: &str| families.iter().any(|f| id.starts_with(f));
    let all: Vec<bool> = (0..16)
        .flat_map(|seed| judged_at(seed, 40, &capture, asked))
        .map(|j| j.1)
        .collect();
    let held = all.iter().filter(|h| **h).count() as f64 / all.len() as f64;
    println!(
        "{} values at 108 frames a second: {held:.3} held",
        all.len()
    );
    assert!(all.len() >= 48, "{} values", all.len());
    assert!(held > 0.88, "{held}");
}

#[test]
fn the_number_of_threads_changes_nothing() {
    let swing = measured(3, &CAPTURE);
    let alone = refine::refined(&swing, 1).unwrap();
    assert_eq!(alone, refine::refined(&swing, 3).unwrap());
    let interval = &alone.metrics["pelvis_rotation@top"].uncertainty;
    assert!(matches!(interval, Some(Uncertainty::Interval { .. })));
}

/// What is hidden and bridged is known less surely, and what quieter cameras see more surely.
#[test]
fn noise_and_holes_widen_intervals() {
    let mean = |capture: &CaptureParams| {
        let m = refine::refined(&measured(5, capture), 2).unwrap();
        let standards: Vec<f64> = m
            .metrics
            .iter()
            .filter(|(id, _)| id.starts_with("head_shift") || id.starts_with("thorax_rotation"))
            .filter_map(|(_, m)| match m.uncertainty {
                Some(Uncertainty::Interval { standard, .. }) => Some(standard),
                _ => None,
            })
            .collect();
        assert!(standards.len() > 7, "{}", standards.len());
        standards.iter().sum::<f64>() / standards.len() as f64
    };
    let (usual, loud) = (
        mean(&CAPTURE),
        mean(&CaptureParams {
            noise_m: 0.001,
            ..CAPTURE
        }),
    );
    let holes = mean(&CaptureParams {
        dropout: 0.2,
        ..CAPTURE
    });
    assert!((1.7..2.3).contains(&(loud / usual)), "{usual} {loud}");
    assert!(holes > 1.05 * usual, "{usual} {holes}");
}

/// The values of a report without what the draws add.
fn bare(mut measurement: Value) -> Value {
    for (part, key) in [("metrics", "uncertainty"), ("events", "uncertainty_s")] {
        for (_, entry) in measurement[part].as_object_mut().unwrap() {
            entry.as_object_mut().unwrap().remove(key);
        }
    }
    measurement
}

#[tokio::test]
async fn the_last_revision_brings_intervals_and_leaves_the_values() {
    let folder = scratch("uncertainty");
    let map = MarkerMap::load("whin_32").unwrap();
    synthetic::write(&swing(&params(2), &CAPTURE), &map, &folder).unwrap();
    let file = folder.join("take.c3d");
    let plain = analyze(&file, &["--no-uncertainty"])["swings"][0].clone();
    let full = analyze(&file, &[])["swings"][0].clone();
    assert_eq!(bare(plain.clone()), plain, "nothing to take off");
    assert_eq!(bare(full.clone()), plain);
    let bay = Bay::start("whin_32", &[]);
    let mut screen = bay.listen().await;
    bay.send(&file, "whin_32", "2");
    let (swings, _) = screen.until_silent().await;
    assert_eq!(swings.len(), 1);
    assert_eq!(swings[0]["revision"], 3);
    assert_eq!(swings[0]["measurement"].to_string(), full.to_string());
    let top = &full["metrics"]["pelvis_rotation@top"];
    let number = |v: &Value| v.as_f64().expect("a number");
    let interval = &top["uncertainty"];
    assert!(number(&interval["standard"]) > 0.0);
    assert!(number(&interval["low"]) < number(&top["value"]));
    assert!(number(&interval["high"]) > number(&top["value"]));
    assert!(number(&full["events"]["top"]["uncertainty_s"]) > 0.0);
    assert_eq!(bay.stop(), Some(0));
}
