//! Lessons of the synthetic golfer as datagrams: into the pipeline, or as a recording with labels
//! beside it. What happens in a lesson is in `analysis::forward`.

use std::collections::BTreeMap;
use std::path::Path;

use analysis::forward::{Label, Lesson, LessonFrame, LessonParams, PlatePlace, PlateSample};
use anyhow::Context as _;
use protocol::wire::{self, Body, Header, Marker, PlateKind, PlateList, Pulse, Source, Trigger};

use crate::feed::{Due, Feed};
use crate::map::MarkerMap;
use crate::receive::Arrival;
use crate::recording::{Meta, Recorder};

/// Number of the stream with the trigger's pulses.
const TRIGGER_STREAM: u32 = 3;

/// A lesson's sender: frames, samples of plates, and pulses where it has a microphone.
pub struct Sender {
    labels: Vec<String>,
    plates: Option<[wire::Plate; 2]>,
    forces: Option<(u32, Feed)>,
    markers: Option<(u32, Feed)>,
    pulses: Option<Header>,
}

impl Sender {
    /// A sender of a lesson with the labels of a map.
    #[must_use]
    pub fn new(lesson: &Lesson, map: &MarkerMap, pulses: bool) -> Self {
        let golfer = Lesson::landmarks()
            .iter()
            .map(|&l| map.label(l).unwrap_or(l.name()).to_owned());
        Self {
            labels: golfer.collect(),
            plates: lesson.plates().map(|plates| plates.map(described)),
            forces: None,
            markers: None,
            pulses: pulses.then_some(Header {
                stream: TRIGGER_STREAM,
                clock: 1,
                epoch: 1,
                sequence: 0,
                device_time_ns: 0,
            }),
        }
    }

    /// Appends the datagrams of a frame.
    ///
    /// # Errors
    /// When a number does not fit the format.
    pub fn frame(&mut self, frame: &LessonFrame, out: &mut Vec<Due>) -> anyhow::Result<()> {
        let fresh = || {
            let source = Source {
                rate_hz: frame.rate_hz,
                meters_per_unit: Some(1.0),
                bay_from_source: None,
                bay_origin: [0.0; 3],
            };
            let others = (1..).map(|n| format!("other_{n}"));
            let labels = self.labels.iter().cloned().chain(others);
            let labels = labels.take(frame.points.len()).collect();
            let feed = Feed::markers(labels, source, frame.epoch);
            (frame.epoch, feed)
        };
        if self.markers.as_ref().is_none_or(|m| m.0 != frame.epoch) {
            self.markers = Some(fresh());
        }
        if let (Some(header), Some(at_ns)) = (&mut self.pulses, frame.pulse_ns) {
            header.device_time_ns = at_ns;
            let body = Body::Trigger(Trigger {
                pulse: Pulse::Sound,
                strength: None,
            });
            let mut bytes = Vec::new();
            wire::encode(header, &body, &mut bytes)?;
            header.sequence += 1;
            out.push(Due {
                time_ns: at_ns,
                bytes,
            });
        }
        self.samples(frame, out)?;
        let points: Vec<Option<Marker>> = frame
            .points
            .iter()
            .map(|p| {
                p.map(|p| Marker {
                    position: [p.x, p.y, p.z].map(|v| v as f32),
                    residual: 0.0,
                })
            })
            .collect();
        match &mut self.markers {
            Some((_, feed)) => feed.frame(frame.number, frame.time_ns, &points, out),
            None => Ok(()),
        }
    }

    /// Appends what the plates said since the last frame as one block.
    fn samples(&mut self, frame: &LessonFrame, out: &mut Vec<Due>) -> anyhow::Result<()> {
        let (Some(plates), Some(first)) = (&self.plates, frame.plates.first()) else {
            return Ok(());
        };
        if self.forces.as_ref().is_none_or(|f| f.0 != frame.epoch) {
            let source = Source {
                rate_hz: PlateSample::RATE_HZ,
                meters_per_unit: Some(1.0),
                bay_from_source: None,
                bay_origin: [0.0; 3],
            };
            let list = PlateList {
                source,
                total: 2,
                first: 0,
                plates: plates.to_vec(),
            };
            self.forces = Some((frame.epoch, Feed::forces(list, frame.epoch)));
        }
        let values = frame.plates.iter().flat_map(|s| s.channels).flatten();
        let values: Vec<Option<f32>> = values.map(|v| Some(v as f32)).collect();
        match &mut self.forces {
            Some((_, feed)) => feed.samples(first.number, first.time_ns, (12, &values), out),
            None => Ok(()),
        }
    }
}

fn described(PlatePlace { corners, origin }: PlatePlace) -> wire::Plate {
    wire::Plate {
        kind: PlateKind::Moments,
        corners: corners.map(|c| [c.x, c.y, c.z].map(|v| v as f32)),
        origin: [origin.x, origin.y, origin.z].map(|v| v as f32),
    }
}

/// The whole lesson as it would arrive, frame by frame. One that cannot be sent ends it.
pub fn arrivals<'a>(
    lesson: &'a mut Lesson,
    map: &MarkerMap,
    pulses: bool,
) -> impl Iterator<Item = Arrival> + 'a {
    let mut sender = Sender::new(lesson, map, pulses);
    lesson
        .map_while(move |frame| {
            let mut due = Vec::new();
            sender.frame(&frame, &mut due).ok()?;
            Some(due.into_iter().map(move |due| Arrival::Datagram {
                received_ns: frame.real_ns,
                bytes: due.bytes.into(),
            }))
        })
        .flatten()
}

/// The map without the place of the ball.
///
/// # Errors
/// When the rest is no map.
pub fn ball_unknown(map: &MarkerMap) -> anyhow::Result<MarkerMap> {
    let text: String = map
        .text
        .lines()
        .filter(|line| !line.starts_with("ball"))
        .flat_map(|line| [line, "\n"])
        .collect();
    Ok(MarkerMap::parse(&text, &map.name)?)
}

/// Labels as a file has them.
#[must_use]
pub fn labels(labels: &[Label]) -> serde_json::Value {
    let label = |l: &Label| {
        serde_json::json!({
            "kind": l.kind.name(),
            "impact_s": l.impact_s,
            "start_s": l.start_s,
            "end_s": l.end_s,
            "handed": l.handed.name(),
            "struck": l.struck,
            "scene": l.scene,
        })
    };
    labels.iter().map(label).collect()
}

/// Writes `lesson.mcap` and `labels.json` into a folder, which is made if need be; the labels are
/// given back.
///
/// # Errors
/// When the folder or a file cannot be written, or a recording is there already.
pub fn write(
    params: &LessonParams,
    map: &MarkerMap,
    pulses: bool,
    out: &Path,
) -> anyhow::Result<Vec<Label>> {
    std::fs::create_dir_all(out)
        .with_context(|| format!("cannot make folder {}", out.display()))?;
    let meta = Meta {
        bay: "lesson".into(),
        zone: "UTC".into(),
        program: env!("CARGO_PKG_VERSION").into(),
        clock_zero_utc_ns: 0,
        marker_map: map.text.clone(),
        context: None,
        late_ns: BTreeMap::new(),
        only_swings: false,
    };
    let mut recorder = Recorder::create(&out.join("lesson.mcap"), &meta)?;
    let mut lesson = Lesson::new(params);
    let mut sender = Sender::new(&lesson, map, pulses);
    let mut due = Vec::new();
    for frame in lesson.by_ref() {
        sender.frame(&frame, &mut due)?;
        for datagram in due.drain(..) {
            recorder.push(frame.real_ns, &datagram.bytes, datagram.time_ns)?;
        }
    }
    recorder.finish()?;
    let path = out.join("labels.json");
    let text = serde_json::to_string_pretty(&labels(lesson.labels()))?;
    std::fs::write(&path, text).with_context(|| format!("cannot write {}", path.display()))?;
    Ok(lesson.labels().to_vec())
}
