//! How the cost grows when what comes in is doubled: markers, frames a second, and the length of the stream, each
//! through decoding, order, assembly, detection and the measurement of its swings.

use std::time::Instant;

use analysis::analyzer::Analyzer;
use analysis::context::Context;
use analysis::forward::{Lesson, LessonParams};
use daemon::decode::Decoder;
use daemon::feed::Feed;
use daemon::map::MarkerMap;
use nalgebra::Point3;
use protocol::wire::{Marker, Source};

use super::rows::{at_most, median, repeats};

/// No doubling may cost more.
const GOAL: f64 = 2.2;

/// What comes in.
#[derive(Clone, Copy)]
struct Stream {
    length_s: f64,
    rate_hz: f64,
    /// Copies of every marker beside the golfer, under names of their own.
    markers: usize,
}

const USUAL: Stream = Stream {
    length_s: 60.0,
    rate_hz: 500.0,
    markers: 1,
};

pub(crate) fn rows(quick: bool) {
    let doubled = [
        (
            "markers",
            Stream {
                markers: 2,
                ..USUAL
            },
        ),
        (
            "rate",
            Stream {
                rate_hz: 1000.0,
                ..USUAL
            },
        ),
        (
            "duration",
            Stream {
                length_s: 120.0,
                ..USUAL
            },
        ),
    ];
    let usual = datagrams(USUAL);
    for (what, stream) in doubled {
        let double = datagrams(stream);
        let (mut before, mut after) = (Vec::new(), Vec::new());
        for _ in 0..repeats(quick) {
            before.push(cost(&usual));
            after.push(cost(&double));
        }
        let (before, after) = (median(before), median(after));
        let beside = format!("{:.0} ms, then {:.0} ms", 1e3 * before, 1e3 * after);
        at_most(&format!("growth.{what}"), after / before, GOAL, &beside);
    }
}

fn datagrams(stream: Stream) -> Vec<Vec<u8>> {
    let params = LessonParams {
        rate_hz: stream.rate_hz,
        ..LessonParams::usual(3, stream.length_s)
    };
    let map = MarkerMap::load("whin_32").unwrap();
    let names: Vec<String> = Lesson::landmarks()
        .iter()
        .map(|&l| map.label(l).unwrap_or(l.name()).to_owned())
        .collect();
    let labels = (0..stream.markers).flat_map(|copy| {
        let named = names.iter().map(move |name| match copy {
            0 => name.clone(),
            _ => format!("other_{copy}_{name}"),
        });
        named.collect::<Vec<_>>()
    });
    let source = Source {
        rate_hz: stream.rate_hz,
        meters_per_unit: Some(1.0),
        bay_from_source: None,
        bay_origin: [0.0; 3],
    };
    let mut feed = Feed::markers(labels.collect(), source, 1);
    let (mut due, mut all) = (Vec::new(), Vec::new());
    for frame in Lesson::new(&params) {
        let seen = frame
            .points
            .iter()
            .map(|point| point.map(sent))
            .collect::<Vec<_>>();
        let points = seen.repeat(stream.markers);
        feed.frame(frame.number, frame.time_ns, &points, &mut due)
            .unwrap();
        all.extend(due.drain(..).map(|one| one.bytes));
    }
    all
}

fn sent(point: Point3<f64>) -> Marker {
    Marker {
        position: [point.x as f32, point.y as f32, point.z as f32],
        residual: 0.0,
    }
}

/// Seconds for a whole stream.
fn cost(datagrams: &[Vec<u8>]) -> f64 {
    let mut decoder = Decoder::new(MarkerMap::load("whin_32").unwrap());
    let mut analyzer = Analyzer::new(Context::default(), 50_000_000);
    let mut out = Vec::new();
    let began = Instant::now();
    for bytes in datagrams {
        if let Some(input) = decoder.decode(bytes, 0) {
            analyzer.push(input, &mut out);
            out.clear();
        }
    }
    began.elapsed().as_secs_f64()
}
