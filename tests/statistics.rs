//! What coaching concludes from: order statistics beside SciPy, coverage of intervals, and the verdicts on
//! simulated lessons (the small sample of `bash tests/long/change`).

use analysis::coaching::chance::{RankSum, normal_quantile, student_quantile};
use analysis::coaching::order::{
    discovery, dominance, median, quantile, shift, shift_interval, theil_sen,
};
use analysis::coaching::{compare, scatter};
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng as _, SeedableRng as _};
use serde_json::{Value, json};

use crate::change::{Lesson, changed, unchanged};
use crate::change_judge::{Studio, Tally};
use crate::support::{python, scratch};

fn unit(rng: &mut ChaCha8Rng) -> f64 {
    (rng.next_u64() >> 11) as f64 / (1_u64 << 53) as f64
}

fn normal(rng: &mut ChaCha8Rng) -> f64 {
    let radius = (-2.0 * (1.0 - unit(rng)).ln()).sqrt();
    radius * (std::f64::consts::TAU * unit(rng)).cos()
}

fn row(rng: &mut ChaCha8Rng, n: usize, add: f64) -> Vec<f64> {
    (0..n).map(|_| normal(rng) + add).collect()
}

#[track_caller]
fn near(ours: f64, reference: &Value, tolerance: f64) {
    let reference = reference.as_f64().unwrap();
    assert!(
        (ours - reference).abs() <= tolerance * reference.abs().max(1.0),
        "{ours} {reference}"
    );
}

/// One pair of samples; `exact` where there are no ties.
fn sample_equals((x, y, exact): &(Vec<f64>, Vec<f64>, bool), reference: &Value) {
    near(shift(x, y).unwrap(), &reference["shift"], 1e-12);
    near(quantile(x, 0.3).unwrap(), &reference["quantile"], 1e-12);
    let apart = dominance(x, y, 0.05).unwrap();
    near(apart.delta, &reference["delta"], 1e-12);
    near(apart.p, &reference["rank_p"], 1e-10);
    if *exact {
        let u = reference["u"].as_f64().unwrap() as usize;
        near(
            RankSum::new(x.len(), y.len()).at_most(u),
            &reference["below"],
            1e-12,
        );
        let interval = shift_interval(x, y, 0.05);
        near(interval.low, &reference["interval"][0], 1e-12);
        near(interval.high, &reference["interval"][1], 1e-12);
    }
    if x.len() == y.len() {
        let line = theil_sen(x, y, 0.05, 1.0).unwrap();
        let ours = [
            line.slope,
            line.intercept,
            line.interval.low,
            line.interval.high,
        ];
        // SciPy's intercept is median(y) − slope · median(x), ours the median of the rest.
        for (n, ours) in ours.iter().enumerate().filter(|(n, _)| *n != 1) {
            near(*ours, &reference["line"][n], 1e-12);
        }
        let rest: Vec<f64> = x.iter().zip(y).map(|(x, y)| y - line.slope * x).collect();
        assert_eq!(median(&rest), Some(line.intercept));
        near(line.p, &reference["kendall_p"], 1e-10);
    }
}

/// Shift, rank-inversion interval, exact and asymptotic rank sum, Theil–Sen with interval, Kendall's test,
/// Cliff's delta, quantiles, Benjamini–Hochberg, normal and t quantiles: as SciPy has them.
#[test]
fn order_statistics_equal_scipy() {
    let mut rng = ChaCha8Rng::seed_from_u64(7);
    let sizes = [(5, 5), (8, 8), (6, 11), (20, 20), (9, 4), (31, 31)];
    let mut samples: Vec<(Vec<f64>, Vec<f64>, bool)> = sizes
        .iter()
        .map(|(n, m)| (row(&mut rng, *n, 0.0), row(&mut rng, *m, 0.7), true))
        .collect();
    // With ties: no exact distribution.
    let coarse = |values: Vec<f64>| -> Vec<f64> { values.iter().map(|v| v.round()).collect() };
    for n in [8, 15] {
        let y = coarse(row(&mut rng, n, 0.5));
        samples.push(((0..n).map(|i| i as f64).collect(), y, false));
        samples.push((
            coarse(row(&mut rng, n, 0.0)),
            coarse(row(&mut rng, n + 3, 0.9)),
            false,
        ));
    }
    let p: Vec<Vec<f64>> = [1, 7, 40]
        .iter()
        .map(|n| (0..*n).map(|_| unit(&mut rng).powi(3)).collect())
        .collect();
    let tails = [0.4, 0.1, 0.025, 1e-3, 1e-6];
    let freedoms = [1.0, 3.7, 12.0, 90.0];
    let input = json!({
        "samples": samples.iter().map(|(x, y, exact)| json!({"x": x, "y": y, "exact": exact})).collect::<Vec<_>>(),
        "discovery": p, "tails": tails, "freedoms": freedoms,
    });
    let path = scratch("statistics").join("input.json");
    std::fs::write(&path, input.to_string()).unwrap();
    let answers: Value =
        serde_json::from_str(&python("reference/statistics.py", &[path.as_os_str()])).unwrap();
    for (n, sample) in samples.iter().enumerate() {
        sample_equals(sample, &answers["samples"][n]);
    }
    for (n, p) in p.iter().enumerate() {
        for (k, adjusted) in discovery(p).iter().enumerate() {
            near(*adjusted, &answers["discovery"][n][k], 1e-12);
        }
    }
    for (n, tail) in tails.iter().enumerate() {
        near(normal_quantile(*tail), &answers["normal"][n], 1e-10);
        for (k, freedom) in freedoms.iter().enumerate() {
            near(
                student_quantile(*tail, *freedom),
                &answers["student"][n][k],
                1e-8,
            );
        }
    }
}

/// Published pairs of standard error of measurement and detectable change, and the table of Shrout &
/// Fleiss 1979 (six persons, four judges: ICC(2,1) 0.29, ICC(3,1) 0.71; from memory).
#[test]
fn reliability_is_as_published() {
    for (icc, error, change) in [(0.90, 1.897, 5.26), (0.75, 3.00, 8.32), (0.95, 1.34, 3.72)] {
        let ours = scatter::standard_error(6.0, icc);
        assert!((ours - error).abs() < 0.005, "{ours} {error}");
        assert!((scatter::detectable_change(ours) - change).abs() < 0.005);
    }
    // A published pair of metres.
    assert!((scatter::detectable_change(12.05) - 33.41).abs() < 0.02);
    let table = [
        [9.0, 2.0, 5.0, 8.0],
        [6.0, 1.0, 3.0, 2.0],
        [8.0, 4.0, 6.0, 8.0],
        [7.0, 1.0, 2.0, 6.0],
        [10.0, 5.0, 6.0, 9.0],
        [6.0, 2.0, 4.0, 7.0],
    ];
    let icc = scatter::intraclass(&table.map(|row| row.to_vec())).unwrap();
    assert!((icc.agreement - 0.29).abs() < 0.005, "{icc:?}");
    assert!((icc.consistency - 0.71).abs() < 0.006, "{icc:?}");
}

/// Intervals hold what they say they hold: shift of independent shots, Theil–Sen, Cliff's delta of groups
/// of cohort size, shift of blocks whose neighbours are alike (0.3).
#[test]
fn intervals_cover_the_truth() {
    const DRAWS: usize = 600;
    let mut rng = ChaCha8Rng::seed_from_u64(11);
    let mut held = [0; 4];
    for _ in 0..DRAWS {
        let (x, y) = (row(&mut rng, 8, 0.0), row(&mut rng, 9, 1.0));
        held[0] += usize::from(shift_interval(&x, &y, 0.05).holds(1.0));
        let when: Vec<f64> = (0..15).map(f64::from).collect();
        let line: Vec<f64> = when.iter().map(|t| 0.2 * t + normal(&mut rng)).collect();
        held[1] += usize::from(
            theil_sen(&when, &line, 0.05, 1.0)
                .unwrap()
                .interval
                .holds(0.2),
        );
        // P(Y > X) − P(Y < X) of normals √2 apart: 2 Φ(1) − 1.
        let (x, y) = (row(&mut rng, 25, 0.0), row(&mut rng, 40, 2.0_f64.sqrt()));
        held[2] += usize::from(
            dominance(&x, &y, 0.05)
                .unwrap()
                .interval
                .holds(0.682_689_49),
        );
        let mut last = normal(&mut rng);
        let mut alike = |n: usize, add: f64| -> Vec<f64> {
            let mut next = || {
                last = 0.3 * last + 0.91_f64.sqrt() * normal(&mut rng);
                last + add
            };
            (0..n).map(|_| next()).collect()
        };
        let (x, y) = (alike(10, 0.0), alike(10, 1.0));
        let difference = compare::blocks(&x, &y).unwrap();
        held[3] += usize::from(difference.interval.unwrap().holds(1.0));
    }
    for (n, held) in held.iter().enumerate() {
        // 95 % less three standard errors of so many draws.
        let share = *held as f64 / DRAWS as f64;
        assert!(share > 0.923, "interval {n} holds {share}");
    }
}

/// Of sixty metrics of two blocks whose shots are alike at their neighbors, twelve are shifted by two standard
/// deviations in half of the comparisons: of what is called real, one in twenty is none at most (the definition of
/// the false-discovery rate, Benjamini & Hochberg 1995). An interval excludes 0 exactly where p is below 0.05.
#[test]
fn of_many_differences_looked_at_together_few_real_ones_are_none() {
    const COMPARISONS: usize = 400;
    let mut rng = ChaCha8Rng::seed_from_u64(11);
    let mut shots = |n: usize, add: f64| -> Vec<f64> {
        let mut last = normal(&mut rng);
        let mut next = || {
            last = 0.3 * last + 0.91_f64.sqrt() * normal(&mut rng);
            last + add
        };
        (0..n).map(|_| next()).collect()
    };
    let (mut share, mut found, mut alone) = (0.0, 0, 0);
    for comparison in 0..COMPARISONS {
        let shifted = if comparison % 2 == 0 { 12 } else { 0 };
        let differences: Vec<compare::Difference> = (0..60)
            .map(|metric| {
                let shift = if metric < shifted { 2.0 } else { 0.0 };
                compare::blocks(&shots(10, 0.0), &shots(20, shift)).unwrap()
            })
            .collect();
        for difference in &differences {
            let outside = !difference.interval.unwrap().holds(0.0);
            assert_eq!(outside, difference.p <= 0.05, "{difference:?}");
        }
        let real = compare::real(&differences);
        let is_none = |n: &usize| *n >= shifted && real[*n];
        let (wrong, all) = (
            (0..60).filter(is_none).count(),
            real.iter().filter(|r| **r).count(),
        );
        share += wrong as f64 / all.max(1) as f64;
        found += all - wrong;
        let excluded = differences[shifted..].iter();
        alone += usize::from(excluded.filter(|d| d.p <= 0.05).count() > 0);
    }
    share /= COMPARISONS as f64;
    let seen = found as f64 / (12 * COMPARISONS / 2) as f64;
    println!("false among real {share:.4}, seen {seen:.3}, one alone in {alone} of {COMPARISONS}");
    // Three standard errors of shares that are 0 or nearly so.
    assert!(share <= 0.05 + 0.033, "{share}");
    // Two standard deviations by 10 against 20 shots that are alike: four of five are seen.
    assert!(seen > 0.7, "{seen}");
    assert!(alone > COMPARISONS / 2, "what it is for");
}

/// On lessons without a change, whatever their neighbours, drifts, days, looks and shapes, no more than 5 %
/// are called real.
#[test]
fn no_change_is_called_none() {
    let mut studio = Studio::default();
    for lesson in unchanged() {
        let tally = Tally::of(&mut studio, &lesson, 1, 200);
        assert!(tally.at_most_five_percent(), "{}: {tally:?}", lesson.name);
        assert!(
            tally.last <= tally.ever && tally.judged * 10 >= tally.played * 9,
            "{tally:?}"
        );
    }
}

/// True changes are seen as often as predicted: 5 points, and what so few lessons leave open.
#[test]
fn true_changes_are_seen_as_predicted() {
    let mut studio = Studio::default();
    for design in changed() {
        for size in [1.5, 2.5] {
            let tally = Tally::of(&mut studio, &Lesson { size, ..design }, 9, 200);
            let p = tally.predicted;
            let open = 3.0 * (p * (1.0 - p) / tally.judged as f64).sqrt();
            let apart = (tally.rate() - p).abs();
            assert!(apart < 0.05 + open, "{} {size}: {tally:?}", design.name);
        }
    }
}
