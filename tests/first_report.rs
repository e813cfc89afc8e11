//! The first report of a swing against the one of its whole window: sooner, never of another kind, and
//! the same figures as far as it has any.

use std::collections::BTreeMap;

use analysis::analyzer::{Analyzer, Output};
use analysis::context::Context;
use analysis::forward::{CaptureParams, GolferParams, PlateParams, swing};
use analysis::measure::Measured;
use analysis::metrics::catalogue::CATALOGUE;
use analysis::swing::event::Event;
use daemon::decode::Decoder;
use daemon::map::MarkerMap;
use daemon::{feed, outgoing, synthetic};

/// First and whole, with impacts as they name the swing, and the device time of the last frame that was
/// pushed before the first one, nanoseconds.
struct Reports {
    first: (i64, Box<Measured>),
    whole: (i64, Box<Measured>),
    until_ns: i64,
}

fn reports(seed: u64, rate_hz: f64, plates: Option<PlateParams>) -> Reports {
    let capture = CaptureParams {
        rate_hz,
        noise_m: 0.0005,
        dropout: 0.01,
        wobble: false,
        plates,
    };
    let take = swing(&GolferParams::from_seed(seed), &capture);
    let map = MarkerMap::load("whin_32").unwrap();
    let due = feed::of_c3d(&synthetic::c3d(&take, &map), Some(&map), 1).unwrap();
    let mut decoder = Decoder::new(map);
    let mut analyzer = Analyzer::new(Context::default(), 0);
    let (mut out, mut until_ns) = (Vec::new(), 0);
    let (mut first, mut whole) = (None, None);
    for d in &due {
        if let Some(input) = decoder.decode(&d.bytes, 0) {
            analyzer.push(input, &mut out);
        }
        for output in out.drain(..) {
            match output {
                Output::Pose(frame) if first.is_none() => until_ns = frame.time_ns,
                Output::First {
                    impact_ns,
                    measured,
                    ..
                } => {
                    assert!(first.is_none() && whole.is_none());
                    first = Some((impact_ns, measured));
                }
                Output::Swing {
                    impact_ns,
                    measured,
                    ..
                } => {
                    assert!(whole.is_none());
                    whole = Some((impact_ns, measured));
                }
                _ => {}
            }
        }
    }
    analyzer.finish(&mut out);
    Reports {
        first: first.expect("a first report"),
        whole: whole.expect("the whole swing"),
        until_ns,
    }
}

#[test]
fn a_first_report_is_the_whole_one_but_for_what_comes_later() {
    let mut worst: BTreeMap<String, (f64, String)> = BTreeMap::new();
    for seed in 0..6 {
        for rate_hz in [240.0, 360.0, 1000.0] {
            let Reports {
                first,
                whole,
                until_ns,
            } = reports(seed, rate_hz, (seed == 0).then_some(PlateParams::USUAL));
            assert_eq!(first.0, whole.0, "one name");
            assert_eq!(first.1.kind, whole.1.kind);
            // Three frames of held speed end at the latest where the head is fastest.
            let delay_s = (until_ns - first.0) as f64 * 1e-9;
            let frame_s = 1.0 / rate_hz;
            assert!(
                (0.2..0.22 + 0.01 + 2.0 * frame_s).contains(&delay_s),
                "{seed}, {rate_hz} Hz: {delay_s}"
            );
            let (a, b) = (
                outgoing::measurement(&first.1),
                outgoing::measurement(&whole.1),
            );
            for &event in Event::ALL {
                let (a, b) = (&a.events[event.name()], &b.events[event.name()]);
                if matches!(event, Event::Finish | Event::ShaftLevelThrough) {
                    assert!(a.time_s.is_none() && b.time_s.is_some(), "{event:?}");
                    let why = a.reason.as_deref().unwrap();
                    assert!(why.contains("not measured yet"), "{why}");
                    continue;
                }
                assert_eq!(a.time_s.is_some(), b.time_s.is_some(), "{event:?}");
                let off = a.time_s.zip(b.time_s).map_or(0.0, |(a, b)| (a - b).abs());
                assert!(off < 2e-4, "{event:?} {off}");
            }
            for family in CATALOGUE {
                for n in 0..family.len() {
                    let id = family.value_id(n);
                    let (a, b) = (&a.metrics[&id], &b.metrics[&id]);
                    if let (None, Some(_)) = (a.value, b.value) {
                        let why = a.reason.as_deref().unwrap();
                        assert!(why.contains("not measured yet"), "{id}: {why}");
                    }
                    let Some((x, y)) = a.value.zip(b.value) else {
                        continue;
                    };
                    let off = (x - y).abs() / y.abs().max(1.0);
                    let place = worst.entry(a.unit.clone()).or_default();
                    if off > place.0 {
                        *place = (off, format!("{id} of {seed} at {rate_hz} Hz: {x} and {y}"));
                    }
                }
            }
        }
    }
    println!("{worst:#?}");
    for (unit, (off, of)) in &worst {
        assert!(*off < 0.01, "{unit}: {of}");
    }
}
