//! Files through the same analyzer as the live path: datagram by datagram, without a socket.

use std::path::Path;

use analysis::analyzer::{Analyzer, Input, Output};
use analysis::context::Context;
use analysis::handed::Handed;
use analysis::landmark::Landmark;
use analysis::measure::Measured;
use anyhow::Context as _;
use protocol::c3d::{self, C3d};

use crate::analyze;
use crate::archive::filing::Filing;
use crate::decode::Decoder;
use crate::errors::{Code, wrong};
use crate::feed;
use crate::map::MarkerMap;
use crate::receive::Arrival;
use crate::recording::{self, Recorded, Recording};
use crate::send;

/// Reorder window of the offline path; a file is in order.
pub(crate) const REORDER_NS: i64 = 50_000_000;

/// What a file gave.
#[derive(Debug, Default)]
pub struct Offline {
    /// The swings, in order.
    pub swings: Vec<Measured>,
    /// Plain sentences about the file: oddities tolerated, labels unknown or absent.
    pub remarks: Vec<String>,
}

/// Reads a C3D file; the error names the file.
///
/// # Errors
/// When the file cannot be read or is malformed (section and byte are named).
pub fn read_c3d(path: &Path) -> anyhow::Result<C3d> {
    let bytes = std::fs::read(path).with_context(|| format!("cannot read {}", path.display()))?;
    c3d::read(&bytes).with_context(|| format!("{} is not a usable C3D file", path.display()))
}

/// Reads a C3D file's bytes.
///
/// # Errors
/// When they are malformed (section and byte are named).
pub fn c3d_of(bytes: &[u8]) -> anyhow::Result<C3d> {
    Ok(c3d::read(bytes)?)
}

/// Measures every swing of a C3D take.
///
/// # Errors
/// When the file cannot be read or sent through the datagram format, or no marker is in the map.
pub fn analyze_c3d(path: &Path, map: MarkerMap, context: Context) -> anyhow::Result<Offline> {
    let take = read_c3d(path)?;
    require_labels(&take.labels, path, &map)?;
    let due = feed::of_c3d(&take, Some(&map), 1)?;
    let mut offline = analyze(due.iter().map(at_once), map, context);
    offline.remarks.splice(0..0, take.warnings);
    Ok(offline)
}

/// A datagram of a file: without a stamp, for its streams share one clock.
pub(crate) fn at_once(due: &feed::Due) -> Arrival {
    Arrival::Datagram {
        received_ns: 0,
        bytes: due.bytes.clone().into(),
    }
}

/// What was recorded, as it came.
pub(crate) fn arrival(recorded: Recorded) -> Arrival {
    match recorded {
        Recorded::Datagram { arrival_ns, bytes } => Arrival::Datagram {
            received_ns: arrival_ns,
            bytes: bytes.into(),
        },
        Recorded::Tick { now_ns } => Arrival::Tick { now_ns },
    }
}

/// Refuses a file of which the map knows no label.
pub(crate) fn require_labels(
    labels: &[String],
    path: &Path,
    map: &MarkerMap,
) -> anyhow::Result<()> {
    if labels.iter().any(|l| map.landmark(l).is_some()) {
        return Ok(());
    }
    wrong!(
        Code::MapLabelAbsent,
        "{}: none of its {} labels ({} …) is in marker map `{}`: choose another with --markers",
        path.display(),
        labels.len(),
        labels
            .iter()
            .take(3)
            .cloned()
            .collect::<Vec<_>>()
            .join(", "),
        map.name
    )
}

/// The marker map that a file is read with: the one named, else the one that a recording brings,
/// else our own.
///
/// # Errors
/// When there is no such map, or the file is no recording that this program reads.
pub fn map_for(path: &Path, named: Option<&str>) -> anyhow::Result<MarkerMap> {
    if named.is_none() && send::is_recording(path) {
        let recording = recording::read(path)?;
        let text = &recording.meta().marker_map;
        return Ok(MarkerMap::parse(text, "in the recording")?);
    }
    Ok(MarkerMap::load(named.unwrap_or("whin_32"))?)
}

/// Measures every swing of a recording, with the context it brings unless another is
/// given: the same inputs in the same order as the live bay had.
///
/// # Errors
/// When the file is no recording that this program reads.
pub fn analyze_recording(
    path: &Path,
    map: MarkerMap,
    context: Option<Context>,
    side: Option<Handed>,
) -> anyhow::Result<Offline> {
    let mut recording = recording::read(path)?;
    let meta = recording.meta().clone();
    let context = match (context, &meta.context) {
        (Some(context), _) => context,
        (None, Some(text)) => crate::context::parse(text).context("context in the recording")?,
        (None, None) => Context::default(),
    };
    let context = Context {
        handed: side.or(context.handed),
        late_ns: meta.late_ns,
        ..context
    };
    let mut offline = analyze(recording.by_ref().map(arrival), map, context);
    offline.remarks.extend(
        recording
            .losses()
            .iter()
            .map(|l| format!("{} bytes at byte {} lost: {}", l.bytes, l.at_byte, l.why)),
    );
    Ok(offline)
}

/// One step of a recording that is measured again.
pub enum Again<'a> {
    /// What arrived.
    Arrival(&'a Arrival),
    /// A swing that it completed.
    Swing(Box<Filing>, Box<Measured>),
}

/// Measures a recording again as its bay did: with its own marker map and context, each swing with the
/// report that the bay made of it.
///
/// # Errors
/// When the marker map or the context in the recording has a mistake.
pub fn again(recording: &mut Recording, step: impl FnMut(Again<'_>)) -> anyhow::Result<()> {
    let context = recording.meta().context.clone();
    again_told(recording, context.as_deref(), step)
}

/// The same with the text of another context.
///
/// # Errors
/// As [`again`].
pub fn again_told(
    recording: &mut Recording,
    context: Option<&str>,
    mut step: impl FnMut(Again<'_>),
) -> anyhow::Result<()> {
    let meta = recording.meta().clone();
    let mut decoder = Decoder::new(MarkerMap::parse(&meta.marker_map, "in the recording")?);
    let context = context.map(crate::context::parse).transpose();
    let context = Context {
        late_ns: meta.late_ns,
        ..context
            .context("context in the recording")?
            .unwrap_or_default()
    };
    let mut analyzer = Analyzer::new(told(&decoder, context), REORDER_NS);
    let (mut outputs, mut now_ns) = (Vec::new(), 0);
    let hand_on = |outputs: &mut Vec<Output>, now_ns, step: &mut dyn FnMut(Again<'_>)| {
        for output in outputs.drain(..) {
            if let Output::Swing {
                epoch,
                impact_ns,
                measured,
            } = output
            {
                let named = (meta.bay.as_str(), epoch, impact_ns);
                let mut filing = analyze::filing(named, &measured, now_ns);
                filing.take = Some(analyze::drawn(&filing.report.id, &measured));
                step(Again::Swing(Box::new(filing), measured));
            }
        }
    };
    for recorded in recording {
        let arrival = arrival(recorded);
        step(Again::Arrival(&arrival));
        let input = match &arrival {
            Arrival::Datagram { received_ns, bytes } => {
                now_ns = *received_ns;
                decoder.decode(bytes, *received_ns)
            }
            Arrival::Tick { now_ns: tick_ns } => {
                now_ns = *tick_ns;
                Some(Input::Tick { now_ns })
            }
        };
        if let Some(input) = input {
            analyzer.push(input, &mut outputs);
            hand_on(&mut outputs, now_ns, &mut step);
        }
    }
    analyzer.finish(&mut outputs);
    hand_on(&mut outputs, now_ns, &mut step);
    Ok(())
}

/// Measures every swing of a sequence of arrivals.
pub fn analyze(
    arrivals: impl Iterator<Item = Arrival>,
    map: MarkerMap,
    context: Context,
) -> Offline {
    let mut decoder = Decoder::new(map);
    let mut analyzer = Analyzer::new(told(&decoder, context), REORDER_NS);
    let mut outputs = Vec::new();
    let mut found = Offline::default();
    let mut misses = Vec::new();
    let mut keep = |outputs: &mut Vec<Output>| {
        for output in outputs.drain(..) {
            match output {
                Output::Swing { measured, .. } => found.swings.push(*measured),
                Output::NoSwing {
                    time_ns, reason, ..
                } => misses.push(missed(time_ns, &reason)),
                Output::Failed { time_ns } => {
                    misses.push(missed(time_ns, "the analysis failed: please report it"))
                }
                Output::First { .. }
                | Output::State { .. }
                | Output::Pose(_)
                | Output::Movement(_)
                | Output::Silent => {}
            }
        }
    };
    for arrival in arrivals {
        let input = match &arrival {
            Arrival::Datagram { received_ns, bytes } => decoder.decode(bytes, *received_ns),
            Arrival::Tick { now_ns } => Some(Input::Tick { now_ns: *now_ns }),
        };
        if let Some(input) = input {
            analyzer.push(input, &mut outputs);
            keep(&mut outputs);
        }
    }
    analyzer.finish(&mut outputs);
    keep(&mut outputs);
    found.remarks = remarks(&decoder, |_every| true);
    found.remarks.extend(misses);
    found
}

fn missed(time_ns: i64, reason: &str) -> String {
    format!(
        "fast pass of the club head at {:.2} s is no swing: {reason}",
        time_ns as f64 * 1e-9
    )
}

/// The context with what the marker map adds to it.
#[must_use]
pub fn told(decoder: &Decoder, mut context: Context) -> Context {
    let map = decoder.map();
    context.handed = context.handed.or(map.handed);
    context.approximate = map.approximate.clone();
    context
}

/// What the labels of a file lack (of the landmarks expected) or have too much, and what was refused.
pub(crate) fn remarks(decoder: &Decoder, expected: impl Fn(Landmark) -> bool) -> Vec<String> {
    let map = decoder.map();
    let due = |label: &&str| map.landmark(label).is_some_and(&expected);
    let mut remarks = Vec::new();
    for (_, found) in decoder.findings() {
        if !found.unknown.is_empty() {
            remarks.push(format!(
                "labels not in marker map `{}`: {}",
                decoder.map().name,
                found.unknown.join(", ")
            ));
        }
        let absent: Vec<&str> = found
            .absent
            .iter()
            .map(String::as_str)
            .filter(due)
            .collect();
        if !absent.is_empty() {
            remarks.push(format!(
                "in marker map `{}` but not in the file: {}",
                decoder.map().name,
                absent.join(", ")
            ));
        }
        remarks.extend(
            [&found.unusable, &found.contradiction]
                .into_iter()
                .flatten()
                .cloned(),
        );
    }
    remarks.extend(
        decoder
            .refused()
            .map(|(reason, n)| format!("{n} datagrams refused: {reason}")),
    );
    remarks
}
