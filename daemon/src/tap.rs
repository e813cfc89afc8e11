//! The sync tap of a take or recording: how late each force stream is against the markers, as words and
//! as lines for the configuration. What a tap is and how it is read is in `analysis::ground::tap`.

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::path::Path;

use analysis::analyzer::{Analyzer, Input, Output};
use analysis::context::Context;
use analysis::frame::CaptureFrame;
use analysis::ground::tap::{self, TAPS_MIN, Tap, Watch};
use analysis::landmark::Landmark;

use crate::decode::Decoder;
use crate::errors::{Code, wrong};
use crate::feed;
use crate::map::MarkerMap;
use crate::offline::{self, REORDER_NS};
use crate::receive::Arrival;
use crate::recent::Came;
use crate::{recording, send};

/// What strikes the plate.
const OBJECT: [Landmark; 3] = [
    Landmark::ClubHeadHeel,
    Landmark::ClubHeadToe,
    Landmark::ClubHeadBack,
];
/// The markers of one object tell of one blow within this time, nanoseconds.
const ONE_BLOW_NS: i64 = 60_000_000;
/// The plates' samples around a blow, nanoseconds.
const AROUND_NS: i64 = 400_000_000;
/// The clocks are known well enough for a verdict, seconds.
pub(crate) const SURE_S: f64 = 0.001;
pub(crate) const WHAT_TO_DO: &str = "strike each plate five times with the club's marked head, from a hand's width above, lift it at once, and let nobody stand on the plates";

/// What was heard of taps.
#[derive(Debug, Default)]
pub struct Heard {
    /// Taps with the stream of the plate that was struck, in order.
    pub taps: Vec<(u32, Tap)>,
    /// Blows of the object that no plate told of.
    pub beside: usize,
}

/// Reads the taps of a file and says what they say.
///
/// # Errors
/// When the file cannot be read, or there are too few taps, with what to do.
pub fn read(path: &Path, map: Option<&str>) -> anyhow::Result<String> {
    let map = offline::map_for(path, map)?;
    let heard = if send::is_recording(path) {
        let recording = recording::read(path)?;
        let late_ns = recording.meta().late_ns.clone();
        listen(recording.map(offline::arrival), map, late_ns)
    } else {
        let take = offline::read_c3d(path)?;
        let due = feed::of_c3d(&take, Some(&map), 1)?;
        listen(due.iter().map(offline::at_once), map, BTreeMap::new())
    };
    said(&heard, path)
}

/// Listens to a sequence of arrivals; `late_ns` is what is known of the streams already.
pub fn listen(
    arrivals: impl Iterator<Item = Arrival>,
    map: MarkerMap,
    late_ns: BTreeMap<u32, i64>,
) -> Heard {
    let mut decoder = Decoder::new(map);
    let context = Context {
        late_ns,
        ..Context::default()
    };
    let mut analyzer = Analyzer::new(offline::told(&decoder, context), REORDER_NS);
    let mut object = Object::default();
    let (mut outputs, mut heard) = (Vec::new(), Heard::default());
    for arrival in arrivals {
        let input = match &arrival {
            Arrival::Datagram { received_ns, bytes } => decoder.decode(bytes, *received_ns),
            Arrival::Tick { now_ns } => Some(Input::Tick { now_ns: *now_ns }),
        };
        let Some(input) = input else { continue };
        analyzer.push(input, &mut outputs);
        for output in outputs.drain(..) {
            if let Output::Pose(frame) = output
                && let Some(blow) = object.push(&frame, analyzer.landmarks())
            {
                let around = (blow - AROUND_NS, blow + AROUND_NS);
                let ground = analyzer.ground(around.0, around.1);
                let struck = ground.and_then(|(ground, streams)| {
                    let tap = tap::on_plates(blow, &ground)?;
                    Some((*streams.get(tap.index)?, tap))
                });
                heard.beside += usize::from(struck.is_none());
                heard.taps.extend(struck);
            }
        }
    }
    heard
}

/// The object's markers, each watched; blows that they tell of together are one.
#[derive(Debug, Default)]
struct Object {
    watches: [Watch; 3],
    told: Vec<i64>,
}

impl Object {
    /// A blow that all have told of by now: the mean of their times.
    fn push(&mut self, frame: &CaptureFrame, landmarks: &[Landmark]) -> Option<i64> {
        for (watch, landmark) in self.watches.iter_mut().zip(OBJECT) {
            let place = landmarks.binary_search(&landmark).ok();
            let place = place.and_then(|i| frame.points.get(i).copied().flatten());
            self.told
                .extend(place.and_then(|p| watch.push(frame.time_ns, p)));
        }
        let first = *self.told.first()?;
        let last_look = frame.time_ns - tap::WAIT_NS;
        if last_look - first < ONE_BLOW_NS {
            return None;
        }
        let together = self
            .told
            .iter()
            .filter(|t| (*t - first).abs() < ONE_BLOW_NS);
        let (sum, n) = together.fold((0, 0), |(s, n), t| (s + (t - first), n + 1));
        self.told.retain(|t| (t - first).abs() >= ONE_BLOW_NS);
        Some(first + sum / n)
    }
}

/// A datagram of the last minute as it came.
#[must_use]
pub fn arrival((received_ns, bytes): Came) -> Arrival {
    Arrival::Datagram { received_ns, bytes }
}

/// The taps of each stream.
pub(crate) fn by_stream(heard: &Heard) -> BTreeMap<u32, Vec<Tap>> {
    let mut by_stream: BTreeMap<u32, Vec<Tap>> = BTreeMap::new();
    for (stream, tap) in &heard.taps {
        by_stream.entry(*stream).or_default().push(tap.clone());
    }
    by_stream
}

/// The verdicts as a person reads them.
fn said(heard: &Heard, path: &Path) -> anyhow::Result<String> {
    let mut text = String::new();
    let mut lines = String::new();
    for (stream, taps) in &by_stream(heard) {
        let Some(verdict) = tap::verdict(taps) else {
            writeln!(text, "stream {stream}: {} of {TAPS_MIN} taps", taps.len())?;
            continue;
        };
        let late_ms = 1e3 * verdict.late_s;
        writeln!(
            text,
            "stream {stream}: {} taps, {:.1} ms {} than the markers (± {:.1} ms)",
            verdict.taps,
            late_ms.abs(),
            if late_ms < 0.0 { "earlier" } else { "later" },
            1e3 * verdict.uncertainty_s
        )?;
        for tap in taps {
            writeln!(
                text,
                "  {} at {:.2} s: {:+.1} ms",
                tap.plate,
                tap.time_ns as f64 * 1e-9,
                1e3 * tap.late_s
            )?;
        }
        if verdict.uncertainty_s > SURE_S {
            writeln!(text, "  the taps differ too much: {WHAT_TO_DO}")?;
        } else {
            writeln!(lines, "{stream} = {late_ms:.1}")?;
        }
    }
    if lines.is_empty() {
        wrong!(
            Code::TapUnheard,
            "{}: no verdict ({} taps on plates, {} blows beside them); {WHAT_TO_DO}.\n{text}",
            path.display(),
            heard.taps.len(),
            heard.beside
        );
    }
    Ok(format!(
        "{text}Add to what bay.toml says under [late_millis]:\n{lines}"
    ))
}
