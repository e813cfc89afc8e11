//! Leaks on made-up shots: each rule on both sides of its threshold, doubt, counting, ranking, limits, words.
//! Against whole golfers they are judged in the tests crate.

use super::*;
use crate::coaching::band::Source;
use crate::coaching::limits::Limit;
use crate::coaching::shot::Reading;
use crate::coaching::suggestion::CAUTIONS;

/// A shot with values in the units shown and one standard uncertainty each.
fn shot(values: &[(&str, f64, Option<f64>)]) -> Shot {
    let mut shot = Shot::default();
    shot.readings.resize(Metric::all().count(), None);
    for (id, value, uncertainty) in values {
        let metric = Metric::by_id(id).unwrap_or_else(|| panic!("{id}"));
        let one = metric.unit().shown(1.0);
        shot.readings[metric.index()] = Some(Reading {
            value: value / one,
            uncertainty: uncertainty.map(|u| u / one),
            limited: false,
        });
    }
    shot
}

/// What three such shots say of a leak.
fn status(leak: Leak, values: &[(&str, f64, Option<f64>)]) -> Finding {
    over(leak, values, &Thresholds::default(), None)
}

fn over(
    leak: Leak,
    values: &[(&str, f64, Option<f64>)],
    thresholds: &Thresholds,
    excess_detectable: Option<f64>,
) -> Finding {
    let shot = shot(values);
    let setup = Setup {
        thresholds,
        limits: &Limits::default(),
        excess_detectable,
    };
    let found = find(&[&shot, &shot, &shot], &setup);
    found.into_iter().find(|f| f.leak == leak).unwrap()
}

const SHIFT: &str = "pelvis_shift@takeaway_end";

#[test]
fn the_pelvis_goes_the_wrong_way_only_beyond_its_uncertainty() {
    let of = |metres, u| {
        let found = status(Leak::WrongWayFirst, &[(SHIFT, metres, u)]);
        (found.status == Status::Present, found.direction)
    };
    let toward = (true, Some(Direction::Opposite));
    let still = (true, Some(Direction::TooLittle));
    assert_eq!(of(0.020, Some(0.002)), toward);
    assert_eq!(of(0.004, Some(0.002)), toward, "0.1 mm beyond the interval");
    assert_eq!(
        of(0.003, Some(0.002)),
        still,
        "all of the interval within 10 mm"
    );
    assert_eq!(of(-0.004, Some(0.002)), still);
    assert_eq!(of(-0.008, Some(0.002)), (false, None));
    assert_eq!(of(-0.030, Some(0.002)), (false, None));
    // Without an uncertainty the bare value decides, and says so.
    assert_eq!((of(0.011, None), of(0.009, None)), (toward, still));
    let bare = status(Leak::WrongWayFirst, &[(SHIFT, 0.02, None)]);
    assert_eq!((bare.shows, bare.bare), (3, 3));
    let doubt = status(Leak::WrongWayFirst, &[(SHIFT, -0.008, Some(0.002))]);
    assert!(matches!(doubt.status, Status::NotJudged(_)), "{doubt:?}");
    let away = status(Leak::WrongWayFirst, &[(SHIFT, -0.030, Some(0.002))]);
    assert_eq!(away.status, Status::Absent);
}

#[test]
fn legs_are_judged_in_degrees_and_by_their_start() {
    let of = |trail: f64, lead: f64, address: f64, onset: Option<f64>| {
        let mut values = vec![
            ("knee_change.trail@top", trail, Some(0.2)),
            ("knee_change.lead@top", lead, Some(0.2)),
            ("knee_flexion.lead@address", address, Some(0.2)),
        ];
        values.extend(onset.map(|o| ("knee_onset.lead", o, Some(0.01))));
        status(Leak::LegsHeldStill, &values).status == Status::Present
    };
    assert!(of(-2.0, 5.0, 15.0, None));
    assert!(!of(-7.0, 5.0, 15.0, None), "one knee moves");
    assert!(!of(-2.0, 17.0, 15.0, None), "the other one does");
    assert!(of(-7.0, 17.0, 15.0, Some(0.6)), "both, but late");
    assert!(!of(-7.0, 17.0, 15.0, Some(0.3)));
    // Nearly straight at address: 6 degrees more are seven times as much, and still as many degrees.
    assert!(!of(-2.0, 6.0, 1.0, None));
}

#[test]
fn an_excess_counts_beyond_the_detectable_change() {
    let values = [("rotation_excess.pelvis", 6.0, Some(1.0))];
    let of = |detectable: Option<f64>| {
        let detectable = detectable.map(f64::to_radians);
        let found = over(
            Leak::NotBroughtThrough,
            &values,
            &Thresholds::default(),
            detectable,
        );
        found.status
    };
    assert_eq!(of(Some(5.0)), Status::Present);
    assert!(matches!(of(Some(7.0)), Status::NotJudged(_)));
    assert_eq!(of(None), Status::Present, "its own 1.96 degrees");
}

#[test]
fn standing_up_needs_trunk_and_pelvis_at_the_same_time() {
    let of = |up: [f64; 2], near: [f64; 2]| {
        let values = [
            ("inclination_change@top", up[0], Some(0.3)),
            ("inclination_change@impact", up[1], Some(0.3)),
            ("pelvis_depth@top", near[0], Some(0.001)),
            ("pelvis_depth@impact", near[1], Some(0.001)),
        ];
        status(Leak::StandingUp, &values).status == Status::Present
    };
    assert!(of([0.0, -12.0], [-0.01, 0.02]));
    assert!(of([-8.0, 0.0], [0.02, -0.02]));
    assert!(!of([-8.0, 0.0], [-0.02, 0.02]), "at different times");
    assert!(!of([0.0, -12.0], [0.0, -0.02]), "trunk alone");
    assert!(!of([0.0, -4.0], [0.0, 0.02]), "within the band");
}

#[test]
fn a_stretch_is_kept_only_where_all_three_say_so() {
    let of = |peak_ms: f64, closed: f64, thorax: f64| {
        let values = [
            ("downswing_time", 0.25, Some(0.002)),
            ("separation_peak_time", peak_ms, Some(3.0)),
            ("separation_closed_at_impact", closed, Some(0.02)),
            ("thorax_rotation@impact", thorax, Some(0.5)),
        ];
        status(Leak::StretchKept, &values)
    };
    let found = of(150.0, 0.25, -9.0);
    assert_eq!(found.status, Status::Present);
    assert!(found.standing().unwrap().contains("disagrees"));
    for kept in [
        of(110.0, 0.25, -9.0),
        of(150.0, 0.6, -9.0),
        of(150.0, 0.25, 5.0),
    ] {
        assert_ne!(kept.status, Status::Present);
    }
    // A missing value decides nothing that the others decide already.
    let open = [
        ("separation_closed_at_impact", 0.8, Some(0.02)),
        ("downswing_time", 0.25, None),
    ];
    assert_eq!(status(Leak::StretchKept, &open).status, Status::Absent);
}

#[test]
fn arms_wait_when_they_are_never_ahead() {
    let of = |ms: f64, u: f64| status(Leak::ArmsWait, &[("arm_ahead.duration", ms, Some(u))]);
    let never = of(0.0, 0.0);
    assert_eq!(never.status, Status::Present);
    assert!(never.standing().unwrap().contains("Common practice"));
    let beside: Vec<_> = never.shots[0]
        .evidence
        .iter()
        .map(|e| e.metric.id())
        .collect();
    assert_eq!(beside, ["arm_ahead.duration", "early_work_share"]);
    assert_eq!(of(30.0, 5.0).status, Status::Absent);
    assert!(matches!(of(0.0, 6.0).status, Status::NotJudged(_)));
}

#[test]
fn the_trail_foot_is_late_when_the_draws_agree() {
    let of = |phase: f64, agree: Option<f64>| {
        let values = [
            ("vertical_force_peak_phase.trail", phase, agree),
            ("vertical_force_peak_time.trail", 50.0, Some(2.0)),
            ("downswing_time", 0.25, Some(0.002)),
        ];
        status(Leak::TrailFootLate, &values)
    };
    let late = of(3.0, Some(1.0));
    assert_eq!(late.status, Status::Present);
    // 50 of 250 ms before impact: 0.6 of the way through the late half.
    assert!((late.severity - 0.6).abs() < 1e-9);
    assert!(matches!(of(3.0, Some(0.8)).status, Status::NotJudged(_)));
    assert_eq!(of(3.0, None).bare, 3);
    for early in [1.0, 2.0] {
        assert_eq!(of(early, Some(1.0)).status, Status::Absent);
    }
}

#[test]
fn no_counter_movement_is_off_until_the_coach_sets_it() {
    let values = [
        ("unweighting_min", 90.0, Some(1.0)),
        ("mass_centre_drop", 0.002, None),
        ("pelvis_shift_range.backswing", 0.010, Some(0.001)),
    ];
    assert_eq!(status(Leak::NoCounterMovement, &values).status, Status::Off);
    let mut set = Thresholds::default();
    for (key, value) in [
        (Key::Unweighting, 0.8),
        (Key::Drop, 0.01),
        (Key::ShiftRange, 0.02),
    ] {
        assert!(set.set(key, value, Source::Coach("c1".into())));
    }
    let found = over(Leak::NoCounterMovement, &values, &set, None);
    assert_eq!((found.status, found.bare), (Status::Present, 3));
    set.clear(Key::Drop);
    let off = over(Leak::NoCounterMovement, &values, &set, None);
    assert_eq!(off.status, Status::Off);
}

#[test]
fn thresholds_are_named_sourced_and_checked() {
    let mut all = Thresholds::default();
    for &key in Key::ALL {
        assert_eq!(Key::from_name(key.name()), Some(key));
        assert_eq!(all.get(key).map(|t| t.value), key.default());
        assert!(
            all.get(key)
                .is_none_or(|t| t.source == Source::CommonPractice)
        );
        assert!(key.scale() > 0.0);
    }
    assert!(!all.set(Key::NoShift, f64::NAN, Source::CommonPractice));
    assert!(!all.set(Key::NoShift, -0.01, Source::CommonPractice));
    assert!(all.set(Key::Excess, -0.1, Source::Coach("c1".into())));
}

/// Values with which a leak shows, and in how many of ten shots.
type Showing<'a> = (&'a [(&'a str, f64, Option<f64>)], usize);

/// Shots in which a leak shows in so many of ten.
fn block(showing: &[Showing<'_>]) -> Vec<Shot> {
    (0..10)
        .map(|n| {
            let values = showing.iter().flat_map(|(values, times)| {
                let flip = if n < *times { 1.0 } else { -1.0 };
                values.iter().map(move |(id, v, u)| (*id, flip * v, *u))
            });
            shot(&values.collect::<Vec<_>>())
        })
        .collect()
}

fn ranked(showing: &[Showing<'_>], limits: &Limits) -> Vec<Leak> {
    let shots = block(showing);
    let shots: Vec<&Shot> = shots.iter().collect();
    let setup = Setup {
        thresholds: &Thresholds::default(),
        limits,
        excess_detectable: None,
    };
    let found = find(&shots, &setup);
    assert!(shown(&found).len() <= SHOWN);
    let present = found.iter().filter(|f| f.status == Status::Present);
    present.map(|f| f.leak).collect()
}

#[test]
fn the_order_is_direction_frequency_severity_and_time() {
    let wrong: &[_] = &[(SHIFT, 0.03, Some(0.001))];
    let excess: &[_] = &[("rotation_excess.pelvis", 20.0, Some(1.0))];
    let stand: &[_] = &[
        ("inclination_change@impact", -12.0, Some(0.1)),
        ("pelvis_depth@impact", 0.03, Some(0.001)),
    ];
    let free = Limits::default();
    // Opposite first, however rare.
    assert_eq!(
        ranked(&[(excess, 10), (wrong, 6)], &free),
        [Leak::WrongWayFirst, Leak::NotBroughtThrough]
    );
    // Then the more frequent.
    assert_eq!(
        ranked(&[(excess, 7), (stand, 9)], &free),
        [Leak::StandingUp, Leak::NotBroughtThrough]
    );
    // As frequent: the farther (2 steps of 10 degrees against 1.4 of 5).
    assert_eq!(
        ranked(&[(excess, 9), (stand, 9)], &free),
        [Leak::NotBroughtThrough, Leak::StandingUp]
    );
    // As far: the earlier.
    let as_far: &[_] = &[("rotation_excess.pelvis", 14.0, Some(1.0))];
    assert_eq!(
        ranked(&[(stand, 9), (as_far, 9)], &free),
        [Leak::NotBroughtThrough, Leak::StandingUp]
    );
    // Fewer than half of the shots show none.
    assert_eq!(ranked(&[(excess, 4)], &free), []);
    let limits = Limits {
        each: vec![Limit {
            areas: vec![Area::Rotation],
            note: "no full rotation: physiotherapist's advice".into(),
        }],
        ..Limits::default()
    };
    assert_eq!(
        ranked(&[(excess, 10)], &limits),
        [],
        "the limit takes it away"
    );
}

#[test]
fn a_block_says_how_often_and_needs_three_shots() {
    let wrong: &[_] = &[(SHIFT, 0.03, Some(0.001))];
    let shots = block(&[(wrong, 7)]);
    let shots: Vec<&Shot> = shots.iter().collect();
    let setup = Setup {
        thresholds: &Thresholds::default(),
        limits: &Limits::default(),
        excess_detectable: None,
    };
    let all = find(&shots, &setup);
    assert_eq!(all[0].how_often(), "7 of 10 shots");
    assert_eq!(all.len(), Leak::ALL.len(), "all can be inspected");
    let two = find(&shots[..2], &setup);
    let status = &two
        .iter()
        .find(|f| f.leak == Leak::WrongWayFirst)
        .unwrap()
        .status;
    assert!(matches!(status, Status::NotJudged(_)));
}

/// What coaching says, here and in its other files.
fn every_text() -> Vec<String> {
    use crate::coaching::band::{Reason, Unsound};
    use crate::coaching::focus::Refused;
    use crate::coaching::load::Standing;
    let standing = [
        Standing::Go { left: 1 },
        Standing::Rest { seconds: 1.0 },
        Standing::Enough,
        Standing::Tired,
        Standing::Stop,
    ];
    let unsound = [
        Unsound::NoEdge,
        Unsound::NotANumber,
        Unsound::Order,
        Unsound::Code,
    ];
    let mut all = texts();
    all.extend(standing.map(Standing::words));
    all.extend(unsound.map(Unsound::words));
    all.extend([Refused::TooMany, Refused::Twice, Refused::Code].map(Refused::words));
    all.extend(Area::ALL.map(Area::words));
    let mut all: Vec<String> = all.into_iter().map(str::to_owned).collect();
    let reasons = [Reason::Straddles, Reason::KneeStraight];
    all.extend(reasons.iter().map(|r| r.words().to_owned()));
    all.push(Source::CommonPractice.words());
    all
}

/// Words of schools and programs by their beginnings (LOOK), in halves so that this list is not what it
/// looks for; the second list must not begin a word, because a sentence must not say that a pattern costs
/// or makes speed.
#[test]
fn every_text_speaks_our_words_claims_no_cause_and_comes_with_cautions() {
    let avoid = [
        ("sw", "ay"),
        ("thr", "ust"),
        ("li", "ft"),
        ("be", "nd"),
        ("tu", "rn"),
        ("fac", "tor"),
        ("sma", "sh"),
        ("hang", "ing"),
        ("post", "ure"),
        ("exten", "sion"),
        ("rever", "se"),
        ("pla", "ne"),
        ("corri", "dor"),
        ("signa", "ture"),
        ("sequ", "ence"),
        ("hip ", "rise"),
    ]
    .map(|(a, b)| format!("{a}{b}"));
    let cause = [
        "costs",
        "because",
        "causes",
        "caused",
        "leads to",
        "makes you",
        "fault",
        "error",
    ];
    for text in every_text() {
        let words = format!(" {}", text.to_lowercase());
        for word in avoid.iter().map(String::as_str).chain(cause) {
            let begins = [' ', '-', '(']
                .iter()
                .any(|c| words.contains(&format!("{c}{word}")));
            assert!(!begins, "{word}: {text}");
        }
        assert!(!words.contains(|c: char| c.is_ascii_digit()), "{text}");
    }
    for leak in Leak::ALL {
        assert_eq!(Leak::from_name(leak.name()), Some(leak));
        assert!(leak.slope_metric().is_some());
        for direction in [
            Direction::Opposite,
            Direction::TooLittle,
            Direction::TooMuch,
        ] {
            let finding = Finding {
                direction: Some(direction),
                ..status(leak, &[])
            };
            let made = finding.suggestion(&Limits::default()).unwrap();
            assert_eq!(made.cautions(), CAUTIONS, "{}", made.text());
            assert!(texts().contains(&made.text()) && texts().contains(&finding.sentence()));
            assert!(finding.about_speed().starts_with("Coaches expect"));
        }
    }
}
