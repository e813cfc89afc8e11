//! Tests of what stands on the statistics: comparison, curves, cohorts, retention, association. Expected
//! values are of the construction of each case.

use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng as _, SeedableRng as _};

use super::association::{moved_with, scan};
use super::block::{Role, Stretch};
use super::change::Allowed;
use super::cohort::{Cohort, Draws, Filter, Row, TooFew, separates};
use super::compare::{medoid, student};
use super::curves::{PLACES, TimeMap, over_phases, ribbon};
use super::order::{Interval, median, quantile};
use super::retention::{retention, trend};
use super::shot::{Metric, Reading, Shot};
use crate::handed::Handed;
use crate::metrics::catalogue::Unit;

fn numbers() -> Vec<Metric> {
    Metric::all()
        .filter(|m| m.unit() != Unit::Code)
        .take(30)
        .collect()
}

fn shot(values: &[Option<f64>]) -> Shot {
    let mut shot = Shot::default();
    for (metric, value) in numbers().iter().zip(values) {
        shot.readings.resize(metric.index() + 1, None);
        shot.readings[metric.index()] = value.map(|value| Reading {
            value,
            uncertainty: None,
            limited: false,
        });
    }
    shot
}

fn normal(rng: &mut ChaCha8Rng) -> f64 {
    let mut unit = || (rng.next_u64() >> 11) as f64 / (1_u64 << 53) as f64;
    let radius = (-2.0 * (1.0 - unit()).ln()).sqrt();
    radius * (std::f64::consts::TAU * unit()).cos()
}

#[test]
fn the_medoid_is_the_middle_shot_and_shows_enough() {
    // The second metric scatters a hundred times as much: scaled, it decides no more than the first.
    let rows = [
        [1.0, 300.0],
        [2.0, 200.0],
        [3.0, 250.0],
        [9.0, 0.0],
        [2.5, 230.0],
    ];
    let mut shots: Vec<Shot> = rows.iter().map(|r| shot(&r.map(Some))).collect();
    shots.push(shot(&[None, None]));
    let all: Vec<&Shot> = shots.iter().collect();
    assert_eq!(medoid(&all, &numbers()[..2]), Some(4));
    assert_eq!(medoid(&[], &numbers()), None);
    assert_eq!(medoid(&all[5..], &numbers()), None);
}

#[test]
fn curves_run_over_phases_and_angles_do_not_wrap() {
    let times: Vec<f64> = (0..=200).map(|n| 0.01 * f64::from(n)).collect();
    let line: Vec<Option<f64>> = times.iter().map(|t| Some(2.0 * t)).collect();
    let events = [Some(0.2), Some(1.0), Some(1.25), Some(1.995)];
    let curve = over_phases(&times, &line, &events, false);
    assert_eq!(curve.len(), 3 * PLACES);
    for (place, time) in [
        (0, 0.2),
        (50, 0.6),
        (100, 1.0),
        (101, 1.0),
        (201, 1.25),
        (302, 1.995),
    ] {
        assert!((curve[place].unwrap() - 2.0 * time).abs() < 1e-9, "{place}");
    }
    // An angle that turns once and a half, written from −π to π; the other a whole turn away.
    let turning = |extra: f64| -> Vec<Option<f64>> {
        let wrap = |a: f64| a - std::f64::consts::TAU * (a / std::f64::consts::TAU).round();
        times
            .iter()
            .map(|t| Some(wrap(3.0 + 5.0 * t) + extra))
            .collect()
    };
    let curves: Vec<_> = [0.0, std::f64::consts::TAU]
        .map(|extra| over_phases(&times, &turning(extra), &events, true))
        .into();
    for (place, point) in ribbon(&curves, true).iter().enumerate() {
        let point = point.unwrap();
        assert!(point.sd.unwrap() < 1e-9 && point.curves == 2);
        let start = curves[0][0].unwrap();
        if place == 100 {
            assert!((point.mean - start - 5.0 * 0.8).abs() < 1e-9);
        }
    }
    // No impact, a hole: missing stays missing.
    let mut holed = line.clone();
    holed[60] = None;
    let events = [Some(0.2), Some(1.0), None, Some(1.9)];
    let curve = over_phases(&times, &holed, &events, false);
    assert!(curve[50].is_none() && curve[40].is_some() && curve[150].is_none());
}

#[test]
fn two_swings_run_together() {
    let map = TimeMap::new(
        &[Some(1.0), Some(1.8), None, Some(2.05)],
        &[Some(5.0), Some(6.0), Some(6.1), Some(6.3)],
    );
    let map = map.unwrap();
    for (from, to) in [
        (1.0, 5.0),
        (1.4, 5.5),
        (1.8, 6.0),
        (2.05, 6.3),
        (0.5, 4.5),
        (2.55, 6.8),
    ] {
        assert!((map.at(from) - to).abs() < 1e-12, "{from}");
    }
    assert_eq!(
        TimeMap::new(&[Some(1.0), Some(0.5)], &[Some(0.0), Some(1.0)]),
        None
    );
}

fn row(golfer: u64, value: f64) -> Row {
    Row {
        golfer,
        consented: true,
        club: Some("driver".into()),
        handed: Some(Handed::Right),
        sex: None,
        age: Some(40),
        head_speed: Some(40.0),
        analysis: 3,
        marker_map: 1,
        shot: shot(&[Some(value)]),
    }
}

fn driver() -> Filter {
    Filter {
        analysis: 3,
        marker_map: 1,
        club: Some("driver".into()),
        handed: None,
        sex: None,
        age: None,
        head_speed: None,
        student: None,
    }
}

#[test]
fn a_cohort_counts_each_golfer_once_and_twenty_or_none() {
    // Golfers 1 to 21 at their numbers; golfer 1 swings a hundred times.
    let mut rows: Vec<Row> = (1..=21).map(|n| row(n, n as f64)).collect();
    rows.extend((0..100).map(|_| row(1, 1.0)));
    let metrics = numbers();
    let cohort = Cohort::of(&rows, &driver()).unwrap();
    assert_eq!(cohort.len(), 21);
    assert_eq!(median(&cohort.medians(metrics[0]).unwrap()), Some(11.0));
    assert_eq!(cohort.medians(metrics[1]), Err(TooFew { golfers: 0 }));
    let band = cohort
        .band(metrics[0], (0.1, 0.9), &mut Draws::new(5))
        .unwrap();
    assert!((band.low.value - 3.0).abs() < 1e-12 && (band.high.value - 19.0).abs() < 1e-12);
    assert!(band.middle.interval.holds(11.0) && band.middle.interval.low < 10.0);
    assert_eq!(
        band,
        cohort
            .band(metrics[0], (0.1, 0.9), &mut Draws::new(5))
            .unwrap()
    );
    // Without the student 20 are left, without a second one 19.
    let filter = Filter {
        student: Some(4),
        ..driver()
    };
    assert_eq!(Cohort::of(&rows, &filter).unwrap().len(), 20);
    for spoil in [
        (|r: &mut Row| r.consented = false) as fn(&mut Row),
        |r| r.analysis = 2,
        |r| r.marker_map = 9,
        |r| r.club = None,
    ] {
        let mut rows = rows.clone();
        rows.iter_mut().filter(|r| r.golfer == 7).for_each(spoil);
        assert_eq!(Cohort::of(&rows, &filter), Err(TooFew { golfers: 19 }));
    }
    let slow = Filter {
        head_speed: Some((30.0, 40.0)),
        ..driver()
    };
    assert_eq!(Cohort::of(&rows, &slow), Err(TooFew { golfers: 0 }));
    let standing = student(
        &[30.0, 31.0, 29.0, 30.5],
        &[1.0, 2.0, 40.0, 30.25],
        Interval {
            low: 1.0,
            high: 30.0,
        },
    );
    assert!((standing.unwrap().share_below - 0.625).abs() < 1e-12);
}

/// The percentile bootstrap as its definition says it: draw, sort, read off.
#[test]
fn counted_draws_are_drawn_lists() {
    let mut rng = ChaCha8Rng::seed_from_u64(8);
    let metrics = numbers();
    // The second metric is not shown by all, the third has ties.
    let rows: Vec<Row> = (0..53)
        .map(|n| {
            let value = normal(&mut rng);
            let values = [
                Some(value),
                (n % 7 != 0).then_some(value),
                Some(value.round()),
            ];
            Row {
                shot: shot(&values),
                ..row(n, 0.0)
            }
        })
        .collect();
    let cohort = Cohort::of(&rows, &driver()).unwrap();
    let mut draws = Draws::new(11);
    for metric in &metrics[..3] {
        let golfers = cohort.medians(*metric).unwrap();
        let mut luck = ChaCha8Rng::seed_from_u64(11);
        let shares = [0.1, 0.5, 0.9];
        let mut drawn = [const { Vec::new() }; 3];
        for _ in 0..1_000 {
            let list: Vec<f64> = golfers
                .iter()
                .map(|_| (u128::from(luck.next_u64()) * golfers.len() as u128) >> 64)
                .map(|pick| golfers[pick as usize])
                .collect();
            for (drawn, share) in drawn.iter_mut().zip(shares) {
                drawn.push(quantile(&list, share).unwrap());
            }
        }
        let band = cohort.band(*metric, (0.1, 0.9), &mut draws).unwrap();
        for (place, (drawn, share)) in [band.low, band.middle, band.high]
            .iter()
            .zip(drawn.iter().zip(shares))
        {
            assert_eq!(Some(place.value), quantile(&golfers, share));
            assert_eq!(Some(place.interval.low), quantile(drawn, 0.025));
            assert_eq!(Some(place.interval.high), quantile(drawn, 0.975));
        }
    }
}

#[test]
fn groups_are_separated_by_what_separates_them() {
    let mut rng = ChaCha8Rng::seed_from_u64(3);
    let metrics = numbers();
    let mut rows = Vec::new();
    for golfer in 0..60 {
        let fast = golfer % 2 == 0;
        let mut values: Vec<Option<f64>> = (0..30).map(|_| Some(normal(&mut rng))).collect();
        values[3] = values[3].map(|v| v + if fast { 2.0 } else { 0.0 });
        let mut row = row(golfer, 0.0);
        row.head_speed = Some(if fast { 50.0 } else { 35.0 });
        row.shot = shot(&values);
        rows.push(row);
    }
    let group = |from, to| {
        let filter = Filter {
            head_speed: Some((from, to)),
            ..driver()
        };
        Cohort::of(&rows, &filter).unwrap()
    };
    let (slow, fast) = (group(30.0, 40.0), group(40.0, 60.0));
    let found = separates(&slow, &fast, &metrics);
    assert_eq!(found.golfers, (30, 30));
    let found = found.rows;
    assert_eq!(found.len(), 30);
    assert_eq!(found[0].metric, metrics[3]);
    assert!(found[0].found && found[0].dominance.interval.low > 0.3);
    assert!(found.iter().filter(|row| row.found).count() <= 2);
    assert!(found[0].medians.1 - found[0].medians.0 > 1.0 && found[0].golfers == (30, 30));
    // A group beside itself shares everybody: nothing is left.
    let shared = separates(&slow, &slow, &metrics);
    assert_eq!((shared.golfers, shared.rows.len()), ((0, 0), 0));
}

const WOBBLE: [f64; 8] = [0.3, -0.5, 0.1, 0.8, -0.2, -0.9, 0.6, -0.1];

#[test]
fn what_stayed_is_a_share_of_what_changed() {
    let at = |level: f64| WOBBLE.map(|v| v + level);
    let half = retention(&at(0.0), &at(6.0), &at(3.0), None).unwrap();
    assert!((half.share - 0.5).abs() < 1e-12);
    assert!(half.interval.low > 0.2 && half.interval.high < 0.8 && half.interval.holds(0.5));
    assert_eq!(retention(&at(0.0), &at(0.2), &at(0.1), None), None);
    let months: Vec<f64> = (0..6).map(f64::from).collect();
    let medians: Vec<f64> = months.iter().map(|m| 1.0 - 0.25 * m).collect();
    let line = trend(&months, &medians).unwrap();
    assert!((line.slope + 0.25).abs() < 1e-12 && line.interval.high < 0.0);
    assert!(trend(&months[..3], &medians).is_none());
}

/// Published intent of Benjamini & Hochberg: where nothing is there, a find at all is one lesson in twenty.
/// Both metrics drift by three of their standard deviations, so that raw correlation would be everywhere.
#[test]
fn what_moves_together_is_found_and_drift_alone_is_not() {
    let mut rng = ChaCha8Rng::seed_from_u64(5);
    let metrics = numbers();
    let (mut false_lessons, mut found) = (0, 0);
    let lessons = 100;
    for _ in 0..lessons {
        let mut lesson = |tied: bool| -> Vec<Shot> {
            let shots = (0..40).map(|n| {
                let drift = 3.0 * f64::from(n) / 39.0;
                let mut values: Vec<f64> = (0..30).map(|_| normal(&mut rng) + drift).collect();
                if tied {
                    values[0] += values[7];
                }
                shot(&values.iter().map(|v| Some(*v)).collect::<Vec<_>>())
            });
            shots.collect()
        };
        let mut ask = |tied| {
            let shots = lesson(tied);
            moved_with(&[shots.iter().collect()], metrics[0], &metrics)
        };
        false_lessons += usize::from(ask(false).iter().any(|row| row.found));
        let tied = ask(true);
        assert_eq!(tied.len(), 29);
        found += usize::from(tied.iter().any(|row| row.found && row.metric == metrics[7]));
    }
    // Binomial, one-sided 99 %: 12 and more of 100 are too many at 5 %.
    assert!(false_lessons < 12, "{false_lessons}");
    assert!(found > 85, "{found}");
}

#[test]
fn a_scan_finds_what_changed_and_little_else() {
    let mut rng = ChaCha8Rng::seed_from_u64(8);
    let metrics = numbers();
    let mut block = |add: f64| -> Vec<Shot> {
        let shots = (0..12).map(|_| {
            let mut values: Vec<f64> = (0..30).map(|_| normal(&mut rng)).collect();
            values[5] += add;
            shot(&values.iter().map(|v| Some(*v)).collect::<Vec<_>>())
        });
        shots.collect()
    };
    let (before, after) = (block(0.0), block(5.0));
    let stretch = |role, first, shots| Stretch {
        role,
        chose_focus: false,
        session: 1,
        marking: 1,
        first,
        shots,
    };
    let rows = scan(
        &stretch(Role::Baseline, 0, before.iter().collect()),
        &stretch(Role::Check, 12, after.iter().collect()),
        &metrics,
        |_| Allowed::default(),
    );
    assert!(rows.len() > 25, "{}", rows.len());
    let found: Vec<Metric> = rows.iter().filter(|r| r.found).map(|r| r.metric).collect();
    assert_eq!(found, [metrics[5]]);
}
