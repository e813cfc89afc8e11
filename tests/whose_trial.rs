//! Whose calibration trial is it? The golfer's own is always used; of strangers' trials the unlike are
//! refused, and what is used is said with its uncertainty.

use analysis::body::calibration::Calibration;
use analysis::context::Context;
use analysis::forward::{CaptureParams, calibration_trial, swing};
use analysis::measure::{Measured, measure};
use analysis::metrics::catalogue::CATALOGUE;
use analysis::uncertainty::{self, Base, Outcome};

use daemon::map::MarkerMap;
use daemon::synthetic;

use crate::accuracy::{params, swing_window, window};
use crate::bay::Bay;
use crate::support::{analyze, scratch};

const QUIET: CaptureParams = CaptureParams {
    rate_hz: 240.0,
    noise_m: 0.0005,
    dropout: 0.0,
    wobble: false,
    plates: None,
};
/// Everything at once that a bay can do to a golfer's own trial and swing.
const ROUGH: CaptureParams = CaptureParams {
    rate_hz: 240.0,
    noise_m: 0.001,
    dropout: 0.1,
    wobble: true,
    plates: None,
};

fn trial_of(seed: u64, capture: &CaptureParams) -> Option<Calibration> {
    let take = calibration_trial(&params(seed), capture);
    let window = window(&take.frames, &take.landmarks, take.rate_hz);
    let read = analysis::body::trial::read(&window);
    read.ok().map(|t| t.calibration)
}

fn swing_with(seed: u64, capture: &CaptureParams, calibration: Calibration) -> Option<Measured> {
    let take = swing(&params(seed), capture);
    let (window, near) = swing_window(&take);
    let context = Context {
        calibration: Some(calibration),
        ..Context::default()
    };
    measure(&window, near, None, &context).ok()
}

fn refused(measured: &Measured) -> bool {
    measured.notes.iter().any(|n| n.contains("was not used"))
}

/// The golfer's own trial is used, however rough the capture.
#[test]
fn the_own_trial_is_always_used() {
    let mut tried = 0;
    for seed in 0..70 {
        let Some(calibration) = trial_of(seed, &ROUGH) else {
            continue;
        };
        let Some(measured) = swing_with(seed, &ROUGH, calibration) else {
            continue;
        };
        tried += 1;
        assert!(!refused(&measured), "seed {seed}: {:?}", measured.notes);
        assert!(!measured.prepared.calibration.rough, "seed {seed}");
    }
    assert!(tried >= 60, "{tried} of 70 own trials tried");
}

/// Values that hang on a calibration trial.
const RESTING: [&str; 7] = [
    "pelvis_shift@",
    "pelvis_rise@",
    "pelvis_depth@",
    "knee_flexion.",
    "knee_change.",
    "hip_height_difference",
    "pelvis_rotation@",
];
const DRAWS: u32 = 60;
const PAIRS: usize = 12;

/// Errors in standard uncertainties of the values that hang on the trial.
fn errors(seed: u64, measured: &Measured) -> Vec<(String, f64)> {
    let truth = swing(&params(seed), &QUIET).truth;
    let base = Base::new(&measured.prepared).unwrap();
    let number = uncertainty::seed(&measured.prepared);
    let draws: Vec<_> = (0..DRAWS)
        .map(|i| uncertainty::draw(&base, number, i))
        .collect();
    let summary = uncertainty::summarize((&measured.values, &[]), base.truth(), &draws);
    let each = CATALOGUE
        .iter()
        .flat_map(|f| (0..f.len()).map(move |n| (f.value_id(n), f.first + n)));
    each.filter(|(id, _)| RESTING.iter().any(|r| id.starts_with(r)))
        .filter_map(|(id, i)| {
            let error = measured.values.number(i)? - truth.metric(&id)?;
            match summary.values[i].as_ref()? {
                Outcome::Spread(s) if s.standard > 0.0 => Some((id, error / s.standard)),
                _ => None,
            }
        })
        .collect()
}

/// Golfers with strangers' trials: the more unlike the sizes, the surer it is refused; what is used
/// is never wrong by much more than its stated uncertainty.
#[test]
fn a_strangers_trial_is_refused_or_its_uncertainty_holds() {
    let strangers: Vec<_> = (100..130)
        .map(|s| (s, trial_of(s, &QUIET).unwrap()))
        .collect();
    let (mut refusals, mut used) = ([(0, 0); 3], Vec::new());
    for seed in 0..12 {
        let take = swing(&params(seed), &QUIET);
        let (window, near) = swing_window(&take);
        let own = trial_of(seed, &QUIET).unwrap();
        for (stranger, trial) in &strangers {
            let context = Context {
                calibration: Some(trial.clone()),
                ..Context::default()
            };
            let measured = measure(&window, near, None, &context).unwrap();
            let unlike = trial.lengths.shanks[0].unwrap() / own.lengths.shanks[0].unwrap() - 1.0;
            let class = ((unlike.abs() / 0.03) as usize).min(2);
            refusals[class].1 += 1;
            if refused(&measured) {
                refusals[class].0 += 1;
                assert!(measured.notes.iter().any(|n| n.contains(" mm")));
            } else {
                used.push((seed, *stranger, measured));
            }
        }
    }
    println!("refused of tried, by 0-3, 3-6, over 6 % of the lower leg: {refusals:?}");
    let step = (used.len() / PAIRS).max(1);
    let mut all = Vec::new();
    for (seed, stranger, measured) in used.iter().step_by(step) {
        let found = errors(*seed, measured);
        let worst = found.iter().max_by(|a, b| a.1.abs().total_cmp(&b.1.abs()));
        println!("golfer {seed}, trial of {stranger}: {worst:?}");
        all.extend(found);
    }
    let within = |k: f64| all.iter().filter(|e| e.1.abs() <= k).count() as f64 / all.len() as f64;
    println!(
        "{} values: {:.3} within 2, {:.3} within 3, {:.3} within 4 standard uncertainties",
        all.len(),
        within(2.0),
        within(3.0),
        within(4.0)
    );
    let [alike, other, unlike] = refusals;
    assert!(unlike.1 > 50 && unlike.0 == unlike.1, "{unlike:?}");
    assert!(other.0 * 10 >= other.1 * 9, "{other:?}");
    assert!(alike.0 * 5 >= alike.1, "{alike:?}");
    assert!(within(2.0) > 0.85 && within(3.0) > 0.95);
    assert!(
        all.iter().all(|e| e.1.abs() < 6.0),
        "a confident wrong number"
    );
}

/// Live: a bay that is told a calibration trial and records. The screen's report rests on the trial,
/// revision 3 has intervals, and the recording alone gives the same measurement.
#[tokio::test]
async fn a_recorded_bay_uses_the_trial_it_is_told() {
    let folder = scratch("told-trial");
    let map = MarkerMap::load("whin_32").unwrap();
    synthetic::write(&swing(&params(4), &QUIET), &map, &folder).unwrap();
    synthetic::write_calibration(&calibration_trial(&params(4), &QUIET), &map, &folder).unwrap();
    let told = folder.join("golfer.toml");
    std::fs::write(
        &told,
        "version = 1\ncalibration_trial = \"calibration.c3d\"\n",
    )
    .unwrap();
    let kept = folder.join("recordings");
    std::fs::create_dir(&kept).unwrap();
    let [told_arg, kept_arg] = [&told, &kept].map(|p| p.to_str().unwrap());
    let bay = Bay::start("whin_32", &["--record", kept_arg, "--context", told_arg]);
    let mut screen = bay.listen().await;
    bay.send(&folder.join("take.c3d"), "whin_32", "2");
    let (swings, _) = screen.until_silent().await;
    assert_eq!(bay.stop(), Some(0));
    assert_eq!(swings.len(), 1);
    let live = &swings[0]["measurement"];
    let notes = live["notes"].as_array().unwrap();
    let says = |words: &str| notes.iter().any(|n| n.as_str().unwrap().contains(words));
    assert!(says("hip centers from the trial's movement"), "{notes:?}");
    let knee = &live["metrics"]["knee_flexion.lead@top"];
    assert!(knee["limited"].is_null(), "{knee}");
    assert_eq!(swings[0]["revision"], 3);
    assert!(knee["uncertainty"]["standard"].as_f64().unwrap() > 0.0);
    // The trial and the context file are gone: the recording needs neither.
    std::fs::remove_file(&told).unwrap();
    std::fs::remove_file(folder.join("calibration.c3d")).unwrap();
    let recording = std::fs::read_dir(&kept).unwrap().next().unwrap().unwrap();
    let again = analyze(&recording.path(), &[]);
    assert_eq!(again["swings"][0].to_string(), live.to_string());
}
