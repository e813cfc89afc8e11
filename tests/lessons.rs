//! The judge of lessons: a generated lesson through the analyzer, its reports against the labels.
//! Shared by the tests of `lesson_hours` and the long campaigns. Labels come from `forward`, which shares no
//! detection code with what is judged.

#![allow(
    dead_code,
    reason = "the quick test and the campaign use different parts"
)]

#[path = "lesson_score.rs"]
pub(crate) mod score;

use std::collections::BTreeMap;

use analysis::analyzer::{Analyzer, Content, Input, Output};
use analysis::assemble::FramePart;
use analysis::context::Context;
use analysis::forward::{Label, Lesson, LessonFrame, LessonParams, PlatePlace, PlateSample};
use analysis::frame::{BayFromSource, MarkerLayout};
use analysis::ground::forces::{ForceBlock, ForceLayout};
use analysis::ground::plate::{PlateDescription, PlateKind};
use analysis::stream::Place;
use analysis::swing::event::Event;
use nalgebra::{Point3, Rotation3, Vector3};

/// The bay's ball for the synthetic golfer: its center over the origin.
const BALL: Point3<f64> = Point3::new(0.0, 0.0214, 0.0);

/// What a bay has beside the markers.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Rig {
    /// A microphone beside the ball.
    pub(crate) trigger: bool,
    /// Whether the bay knows where the ball lies.
    pub(crate) ball: bool,
    /// How far the source's axes are turned about the vertical against the bay's, rad.
    pub(crate) turned: f64,
    /// How much later it all happens on the sender's clock, ns.
    pub(crate) later_ns: i64,
}

impl Rig {
    /// Trigger and ball; axes and clock of the lesson.
    pub(crate) const USUAL: Self = Self {
        trigger: true,
        ball: true,
        turned: 0.0,
        later_ns: 0,
    };
}

/// A report, as far as it is judged.
#[derive(Debug, Clone)]
pub(crate) struct Found {
    pub(crate) kind: &'static str,
    pub(crate) confidence: f64,
    pub(crate) impact_s: f64,
    /// Time of the lesson when it was reported, seconds.
    pub(crate) lesson_s: f64,
    pub(crate) impact_found: bool,
    pub(crate) handed: &'static str,
    pub(crate) notes: Vec<String>,
    /// The first report of it: its kind, and how long after impact its last frame was, seconds.
    pub(crate) first: Option<(&'static str, f64)>,
    /// Roughest sizes of the movement, in words.
    pub(crate) size: String,
    /// Force plates against the motion, where both are there: what is left over, body weights.
    pub(crate) audit: Option<f64>,
    /// A fault of the rig that was told.
    pub(crate) accused: Vec<String>,
}

/// A movement that gave no report: device time, kind, why.
#[derive(Debug, Clone)]
pub(crate) struct Dismissed {
    pub(crate) span_s: [f64; 2],
    /// Time of the lesson when it was told, seconds.
    pub(crate) lesson_s: f64,
    pub(crate) kind: &'static str,
    pub(crate) why: String,
}

/// One lesson, labels and what was made of it.
#[derive(Debug, Default)]
pub(crate) struct Run {
    pub(crate) labels: Vec<Label>,
    pub(crate) found: Vec<Found>,
    pub(crate) dismissed: Vec<Dismissed>,
    pub(crate) seconds: f64,
}

/// A lesson through the analyzer, frame by frame; nothing but the reports is kept.
pub(crate) fn run(params: &LessonParams, rig: Rig) -> Run {
    watched(params, rig, |_run| {})
}

/// The same; `look` is shown what was found after every frame.
pub(crate) fn watched(params: &LessonParams, rig: Rig, mut look: impl FnMut(&mut Run)) -> Run {
    let mut lesson = Lesson::new(params);
    let mut feed = Feed::new(rig);
    feed.plates = lesson.plates().map(described);
    let mut run = Run::default();
    for frame in lesson.by_ref() {
        run.seconds += 1.0 / frame.rate_hz;
        feed.push(&frame);
        feed.collect(&mut run);
        look(&mut run);
    }
    feed.analyzer.finish(&mut feed.outputs);
    feed.collect(&mut run);
    assert!(feed.first.is_empty(), "a first report without its swing");
    run.labels = lesson.labels().to_vec();
    run
}

/// The plates of a lesson as their sender describes them.
fn described(plates: [PlatePlace; 2]) -> ForceLayout {
    let plates = plates.map(|PlatePlace { corners, origin }| PlateDescription {
        kind: PlateKind::Moments,
        corners: corners.map(|c| c.coords.map(|v| v as f32).into()),
        origin: origin.map(|v| v as f32).into(),
    });
    ForceLayout {
        id: 1,
        rate_hz: PlateSample::RATE_HZ,
        plates: plates.to_vec(),
        bay_from_source: BayFromSource::IDENTITY,
    }
}

/// Frames of a lesson as inputs of the analyzer.
struct Feed {
    analyzer: Analyzer,
    outputs: Vec<Output>,
    rig: Rig,
    sequence: [u64; 3],
    plates: Option<ForceLayout>,
    epoch: u32,
    time_ns: i64,
    /// First reports whose whole swing has not come: epoch and impact, kind, delay in seconds.
    first: BTreeMap<(u32, i64), (&'static str, f64)>,
}

impl Feed {
    fn new(rig: Rig) -> Self {
        Self {
            analyzer: Analyzer::new(Context::default(), 0),
            outputs: Vec::new(),
            rig,
            sequence: [0; 3],
            plates: None,
            epoch: 0,
            time_ns: 0,
            first: BTreeMap::new(),
        }
    }

    fn send(&mut self, stream: u32, time_ns: i64, content: Content<'_>) {
        let sequence = &mut self.sequence[stream as usize - 1];
        let place = Place {
            epoch: self.epoch,
            sequence: *sequence,
            time_ns,
        };
        *sequence += 1;
        let input = Input::Datagram {
            stream,
            clock: 1,
            place,
            received_ns: 0,
            content,
        };
        self.analyzer.push(input, &mut self.outputs);
    }

    fn push(&mut self, frame: &LessonFrame) {
        let time_ns = frame.time_ns + self.rig.later_ns;
        self.time_ns = time_ns;
        let source_from_bay = Rotation3::from_axis_angle(&Vector3::y_axis(), self.rig.turned);
        if frame.epoch != self.epoch {
            self.epoch = frame.epoch;
            self.sequence = [0; 3];
            let mut columns: Vec<_> = Lesson::landmarks().iter().copied().map(Some).collect();
            columns.resize(frame.points.len(), None);
            let layout = MarkerLayout {
                id: frame.epoch,
                rate_hz: frame.rate_hz,
                columns,
                bay_from_source: BayFromSource {
                    rotation: *source_from_bay.inverse().matrix(),
                    ..BayFromSource::IDENTITY
                },
                ball_center: self.rig.ball.then_some(BALL),
            };
            self.send(1, time_ns, Content::Layout(Box::new(layout)));
            if let Some(plates) = self.plates.clone() {
                self.send(3, time_ns, Content::ForceLayout(Box::new(plates)));
            }
        }
        self.push_plates(frame);
        if let Some(pulse_ns) = frame.pulse_ns.filter(|_| self.rig.trigger) {
            let pulse_ns = pulse_ns + self.rig.later_ns;
            self.send(2, pulse_ns, Content::Pulse(pulse_ns));
        }
        let single = |p: Point3<f64>| (source_from_bay * p).coords.map(|v| v as f32).into();
        let part = FramePart {
            layout: frame.epoch,
            number: frame.number,
            time_ns,
            parts: 1,
            first: 0,
            points: frame.points.iter().map(|p| p.map(single)).collect(),
        };
        self.send(1, time_ns, Content::Part(part));
    }

    /// The samples of a frame as one block; the source's axes are the bay's for plates.
    fn push_plates(&mut self, frame: &LessonFrame) {
        let Some(first) = frame.plates.first() else {
            return;
        };
        let values = frame.plates.iter().flat_map(|s| s.channels);
        let block = ForceBlock {
            layout: 1,
            first_sample: first.number,
            time_ns: first.time_ns + self.rig.later_ns,
            channels: 12,
            values: values.flatten().map(|v| Some(v as f32)).collect(),
        };
        self.send(3, block.time_ns, Content::Forces(block));
    }

    fn collect(&mut self, run: &mut Run) {
        for output in self.outputs.drain(..) {
            match output {
                Output::First {
                    epoch,
                    impact_ns,
                    measured,
                } => {
                    let delay_s = (self.time_ns - impact_ns) as f64 * 1e-9;
                    let first = (measured.kind.name(), delay_s);
                    let before = self.first.insert((epoch, impact_ns), first);
                    assert_eq!(before, None, "one first report a swing");
                }
                Output::Swing {
                    epoch,
                    impact_ns,
                    measured,
                } => {
                    let swing = &measured.prepared.swing;
                    run.found.push(Found {
                        kind: measured.kind.name(),
                        confidence: measured.confidence,
                        impact_s: measured.prepared.window.seconds(swing.impact.slot),
                        lesson_s: run.seconds,
                        impact_found: swing.slots.get(Event::Impact).is_some(),
                        handed: measured.prepared.handed.name(),
                        notes: measured.notes.clone(),
                        audit: measured.audit.as_ref().map(|a| a.residual),
                        accused: measured
                            .audit
                            .iter()
                            .flat_map(|a| a.findings.clone())
                            .collect(),
                        first: self.first.remove(&(epoch, impact_ns)),
                        size: format!(
                            "{:?}, {:.1} m/s, address {}, clearance {:?}",
                            swing.extent,
                            swing.pass_mps,
                            !swing.quiet.is_empty(),
                            swing.impact.clearance_m
                        ),
                    });
                }
                Output::NoSwing {
                    time_ns,
                    kind,
                    reason,
                } => run.dismissed.push(Dismissed {
                    span_s: [time_ns as f64 * 1e-9; 2],
                    lesson_s: run.seconds,
                    kind: kind.name(),
                    why: reason,
                }),
                Output::Movement(movement) => run.dismissed.push(Dismissed {
                    span_s: movement.span_ns.map(|t| t as f64 * 1e-9),
                    lesson_s: run.seconds,
                    kind: movement.kind.name(),
                    why: String::new(),
                }),
                Output::Failed { time_ns } => panic!("the analysis failed at {time_ns} ns"),
                Output::State { .. } | Output::Pose(_) | Output::Silent => {}
            }
        }
    }
}
