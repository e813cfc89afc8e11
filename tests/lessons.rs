//! The judge of lessons: a generated lesson through the analyzer, its reports against the labels.
//! Shared by the tests of `lesson_hours` and the long campaigns. Labels come from `forward`, which shares no
//! detection code with what is judged.

#![allow(
    dead_code,
    reason = "the quick test and the campaign use different parts"
)]

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
/// A report is of a label when its impact is this close, seconds.
const MATCH_S: f64 = 0.25;
/// And when it came at most so long after the movement, seconds: a clock that jumps back shows a time twice.
const SOON_S: f64 = 4.0;

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

    fn send(&mut self, stream: u32, time_ns: i64, content: Content) {
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

/// Counts over lessons.
#[derive(Debug, Default)]
pub(crate) struct Score {
    /// (truth, found) → how often.
    pub(crate) confusion: BTreeMap<(String, String), usize>,
    /// Impact found minus truth by kind, seconds.
    pub(crate) impact_off_s: BTreeMap<&'static str, Vec<f64>>,
    /// Movements without a report: truth, scene, what was said.
    pub(crate) silent: BTreeMap<String, usize>,
    pub(crate) wrong_side: usize,
    /// First reports: kind → delays after impact, seconds; how many a later look did not confirm.
    pub(crate) first_s: BTreeMap<&'static str, Vec<f64>>,
    pub(crate) unconfirmed: usize,
    /// Reports with plates that could be held against the motion: what is left over, body weights.
    pub(crate) audits: Vec<f64>,
    /// Reports that tell a fault of the rig.
    pub(crate) accused: usize,
    pub(crate) seconds: f64,
    /// What went wrong, in words.
    pub(crate) faults: Vec<String>,
}

impl Score {
    /// Adds a lesson.
    pub(crate) fn add(&mut self, name: &str, run: &Run) {
        self.seconds += run.seconds;
        self.add_first(name, run);
        self.add_audits(name, run);
        let mut taken = vec![false; run.found.len()];
        let mut count = |truth: &str, found: &str| {
            *self
                .confusion
                .entry((truth.into(), found.into()))
                .or_default() += 1;
        };
        for label in &run.labels {
            let of = run
                .found
                .iter()
                .enumerate()
                .filter(|(i, f)| !taken[*i] && is_of(f, label))
                .min_by(|a, b| off(a.1, label).total_cmp(&off(b.1, label)));
            let truth = label.kind.name();
            let Some((i, found)) = of else {
                let why = dismissed(run, label);
                count(truth, why.map_or("—", |d| d.kind));
                let name_of = (truth, label.scene, why.map_or("", |d| d.why.as_str()));
                *self.silent.entry(format!("{name_of:?}")).or_default() += 1;
                if matches!(truth, "shot" | "rehearsal" | "partial") {
                    let words = why.map_or("nothing seen", |d| d.why.as_str());
                    self.faults.push(format!(
                        "{name}: {truth} ({}) at {:.2} s not reported: {words}",
                        label.scene,
                        label.impact_s.unwrap_or(label.start_s)
                    ));
                }
                continue;
            };
            taken[i] = true;
            count(truth, found.kind);
            if found.kind != truth {
                self.faults.push(format!(
                    "{name}: {truth} ({}) at {:.2} s reported as {} ({:.2}, {}) {:?}",
                    label.scene,
                    label.impact_s.unwrap_or(label.start_s),
                    found.kind,
                    found.confidence,
                    found.size,
                    found.notes.first()
                ));
            }
            if let Some(t) = label.impact_s.filter(|_| found.impact_found) {
                self.impact_off_s
                    .entry(truth)
                    .or_default()
                    .push(found.impact_s - t);
            }
            if found.handed != label.handed.name() {
                self.wrong_side += 1;
                self.faults.push(format!(
                    "{name}: {truth} ({}) at {:.2} s {}",
                    label.scene, label.start_s, found.handed
                ));
            }
        }
        self.add_unclaimed(name, run, &taken);
    }

    /// First reports beside the last ones of the same swings.
    fn add_first(&mut self, name: &str, run: &Run) {
        for found in &run.found {
            let Some((kind, delay_s)) = found.first else {
                continue;
            };
            assert_eq!(kind, found.kind, "a first report keeps its kind");
            self.first_s.entry(kind).or_default().push(delay_s);
            let unsure = |n: &String| n.contains("did not confirm");
            if found.notes.iter().any(unsure) {
                self.unconfirmed += 1;
                self.faults.push(format!(
                    "{name}: {kind} at {:.2} s not confirmed ({})",
                    found.impact_s, found.size
                ));
            }
        }
    }

    /// What plates and motion left over; the rigs of lessons are healthy.
    fn add_audits(&mut self, name: &str, run: &Run) {
        for found in &run.found {
            self.audits.extend(found.audit);
            self.accused += usize::from(!found.accused.is_empty());
            let during = run.labels.iter().find(|l| is_of(found, l));
            for words in &found.accused {
                self.faults.push(format!(
                    "{name}: {} ({:?}) at {:.2} s accuses the rig: {words}",
                    found.kind,
                    during.map(|l| l.scene),
                    found.impact_s
                ));
            }
        }
    }

    /// Reports that no label claims.
    fn add_unclaimed(&mut self, name: &str, run: &Run, taken: &[bool]) {
        for (found, _) in run.found.iter().zip(taken).filter(|(_, t)| !**t) {
            let place = ("—".to_owned(), found.kind.to_owned());
            *self.confusion.entry(place).or_default() += 1;
            let during = run
                .labels
                .iter()
                .find(|l| (l.start_s..=l.end_s).contains(&found.impact_s));
            self.faults.push(format!(
                "{name}: {} at {:.2} s ({}) is none (during {:?})",
                found.kind,
                found.impact_s,
                found.size,
                during.map(|l| (l.kind.name(), l.scene, l.impact_s))
            ));
        }
    }

    fn of(&self, truth: &str, found: &[&str]) -> usize {
        let all = self.confusion.iter();
        all.filter(|((t, f), _)| t == truth && (found.is_empty() || found.contains(&f.as_str())))
            .map(|(_, n)| n)
            .sum()
    }

    /// Share of shots reported as a shot or, the ball unknown, as a swing.
    pub(crate) fn recall(&self) -> f64 {
        self.of("shot", &["shot", "swing"]) as f64 / self.of("shot", &[]).max(1) as f64
    }

    /// Reports of a shot where there was none.
    pub(crate) fn false_shots(&self) -> usize {
        let all = self.confusion.iter();
        all.filter(|((t, f), _)| t != "shot" && f == "shot")
            .map(|(_, n)| n)
            .sum()
    }

    /// Reports where nothing is to be reported.
    pub(crate) fn false_reports(&self) -> usize {
        ["waggle", "abort", "other", "—"]
            .iter()
            .map(|t| self.of(t, &["shot", "swing", "rehearsal", "partial"]))
            .sum()
    }

    /// Strokes left open (`swing`: neither club, ball nor trigger can tell).
    fn open(&self) -> usize {
        let strokes = ["shot", "rehearsal", "partial"];
        strokes.iter().map(|k| self.of(k, &["swing"])).sum()
    }

    /// Share of shots, rehearsals and partial strokes reported as what they are, those left open
    /// (`swing`) apart; and all movements, where no report is right for the others.
    pub(crate) fn kind_accuracy(&self) -> (f64, f64) {
        let strokes = ["shot", "rehearsal", "partial"];
        let right: usize = strokes.iter().map(|k| self.of(k, &[k])).sum();
        let all: usize = strokes
            .iter()
            .map(|k| self.of(k, &[]) - self.of(k, &["swing"]))
            .sum();
        let none = ["waggle", "abort", "other", "—"];
        let others = ["waggle", "abort", "other"];
        let silent: usize = others.iter().map(|k| self.of(k, &none)).sum();
        let rest: usize = others.iter().map(|k| self.of(k, &[])).sum();
        (
            right as f64 / all.max(1) as f64,
            (right + silent) as f64 / (all + rest + self.of("—", &[])).max(1) as f64,
        )
    }

    /// Share of strokes reported as what they are, where what is left open counts as wrong.
    fn plain_accuracy(&self) -> f64 {
        let strokes = ["shot", "rehearsal", "partial"];
        let right: usize = strokes.iter().map(|k| self.of(k, &[k])).sum();
        let all: usize = strokes.iter().map(|k| self.of(k, &[])).sum();
        right as f64 / all.max(1) as f64
    }

    /// How often each kind of movement was reported as which.
    fn confused(&self) -> String {
        const KINDS: [&str; 8] = [
            "shot",
            "rehearsal",
            "swing",
            "partial",
            "waggle",
            "abort",
            "other",
            "—",
        ];
        let mut text = format!("{:>10} |", "truth");
        for kind in KINDS {
            text += &format!("{kind:>10}");
        }
        text.push('\n');
        for truth in KINDS.iter().filter(|k| **k != "swing") {
            text += &format!("{truth:>10} |");
            for found in KINDS {
                text += &format!("{:>10}", self.of(truth, &[found]));
            }
            text.push('\n');
        }
        text
    }

    /// The confusion table with its sums.
    pub(crate) fn table(&self) -> String {
        let mut text = self.confused();
        let (strokes, all) = self.kind_accuracy();
        text += &line(format!(
            "{:.2} h; recall of shots {:.2} %, false shots {}, false reports {}, kinds right {:.2} % of strokes, {:.2} % of all, wrong side {}",
            self.seconds / 3600.0,
            100.0 * self.recall(),
            self.false_shots(),
            self.false_reports(),
            100.0 * strokes,
            100.0 * all,
            self.wrong_side
        ));
        text += &line(format!(
            "left open as `swing` and counted apart: {}; without that {:.2} % of strokes",
            self.open(),
            100.0 * self.plain_accuracy()
        ));
        for (kind, off) in &self.impact_off_s {
            let mut off: Vec<f64> = off.iter().map(|s| s.abs() * 1e3).collect();
            off.sort_unstable_by(f64::total_cmp);
            let at = |share: f64| off[(share * (off.len() - 1) as f64) as usize];
            let [middle, most, all] = [0.5, 0.95, 1.0].map(at);
            text += &line(format!(
                "impact of {kind}: off by {middle:.2} ms (median), {most:.2} ms (95 %), {all:.1} ms (worst) of {}",
                off.len()
            ));
        }
        for (kind, delays) in &self.first_s {
            let longest = delays.iter().copied().fold(0.0, f64::max);
            text += &line(format!(
                "first report of {kind}: {} of {}, at most {:.0} ms after impact",
                delays.len(),
                self.reported(kind),
                1e3 * longest
            ));
        }
        text += &line(format!("first reports not confirmed: {}", self.unconfirmed));
        if !self.audits.is_empty() {
            let mut left = self.audits.clone();
            left.sort_unstable_by(f64::total_cmp);
            let at = |share: f64| left[(share * (left.len() - 1) as f64) as usize];
            text += &line(format!(
                "plates held against the motion in {} reports: {:.3} body weights left over (median), {:.3} (95 %); rigs accused {}",
                left.len(),
                at(0.5),
                at(0.95),
                self.accused
            ));
        }
        text
    }

    fn reported(&self, kind: &str) -> usize {
        let all = self.confusion.iter().filter(|((_, f), _)| f == kind);
        all.map(|(_, n)| n).sum()
    }
}

fn line(text: String) -> String {
    text + "\n"
}

/// Whether a report is of a label: by impact, or by time where a label has none.
fn is_of(found: &Found, label: &Label) -> bool {
    is_soon(found.lesson_s, label)
        && match label.impact_s {
            Some(t) => (found.impact_s - t).abs() < MATCH_S,
            None => (label.start_s..=label.end_s).contains(&found.impact_s),
        }
}

/// Whether what was said at a time of the lesson can be of a label.
fn is_soon(lesson_s: f64, label: &Label) -> bool {
    let begun = label.lesson_s;
    (begun..begun + label.end_s - label.start_s + SOON_S).contains(&lesson_s)
}

fn off(found: &Found, label: &Label) -> f64 {
    label.impact_s.map_or(0.0, |t| (found.impact_s - t).abs())
}

/// What was said of a movement that gave no report.
fn dismissed<'a>(run: &'a Run, label: &Label) -> Option<&'a Dismissed> {
    let overlaps = |d: &&Dismissed| {
        is_soon(d.lesson_s, label) && d.span_s[0] <= label.end_s && d.span_s[1] >= label.start_s
    };
    let near = |d: &&Dismissed| {
        let at = label.impact_s.unwrap_or(label.end_s);
        ((d.span_s[1] - at).abs() * 1e6) as i64
    };
    run.dismissed.iter().filter(overlaps).min_by_key(near)
}
