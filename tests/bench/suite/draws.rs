//! How long the uncertainties of a swing take: 200 draws of one at 360 Hz on two threads.

use std::time::Instant;

use analysis::analyzer::{Analyzer, Output};
use analysis::context::Context;
use analysis::forward::{CaptureParams, GolferParams, swing};
use analysis::measure::Measured;
use daemon::decode::Decoder;
use daemon::map::MarkerMap;
use daemon::{feed, refine, synthetic};

use super::rows::{at_most, median, repeats};

pub(crate) fn rows(quick: bool) {
    let measured = measured();
    let once = |threads| {
        let began = Instant::now();
        refine::refined(&measured, threads).expect("no draw panics");
        began.elapsed().as_secs_f64()
    };
    let (mut one, mut two) = (Vec::new(), Vec::new());
    for _ in 0..repeats(quick) {
        one.push(once(1));
        two.push(once(2));
    }
    let (one, two) = (median(one), median(two));
    let beside = format!(
        "one thread {one:.2} s, two threads {:.2} times faster",
        one / two
    );
    at_most("draws.seconds_on_two_threads", two, 1.0, &beside);
}

fn measured() -> Box<Measured> {
    let capture = CaptureParams {
        rate_hz: 360.0,
        noise_m: 0.0005,
        dropout: 0.01,
        wobble: true,
        plates: None,
    };
    let map = || MarkerMap::load("whin_32").unwrap();
    let take = synthetic::c3d(&swing(&GolferParams::from_seed(1), &capture), &map());
    let (mut decoder, mut analyzer) = (
        Decoder::new(map()),
        Analyzer::new(Context::default(), 50_000_000),
    );
    let mut out = Vec::new();
    for due in feed::of_c3d(&take, Some(&map()), 1).unwrap() {
        if let Some(input) = decoder.decode(&due.bytes, due.time_ns as u64) {
            analyzer.push(input, &mut out);
        }
    }
    analyzer.finish(&mut out);
    let whole = out.into_iter().find_map(|o| match o {
        Output::Swing { measured, .. } => Some(measured),
        _ => None,
    });
    whole.expect("a swing")
}
