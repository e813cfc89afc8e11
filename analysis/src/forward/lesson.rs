//! Lessons: the synthetic golfer for minutes or hours, shot after shot with everything between them
//! that is none, frame by frame with labels of what each movement was.
//!
//! ```text
//! seed ─▶ script ─▶ scenes ─▶ figure ─▶ faults ─▶ frames with device times, pulses
//!         (a turn   (stances  (marked   (noise,   └─▶ labels
//!         a ball)   in time)  points)   holes …)
//! ```
//!
//! Nothing but the turn under way is held in memory. Full swings are those of `plan`, and every
//! other stroke is one of them in another time and size; between them he goes from stance to stance on
//! eased curves. What is not here: ground forces (`plates` knows swings only),
//! arms that do what no swing needs.

mod apart;
mod company;
mod drills;
mod faults;
mod figure;
mod floor;
mod label;
mod moves;
mod strokes;
mod scene;
mod script;
#[cfg(test)]
mod tests;
mod tissue;

use nalgebra::{Point3, Vector3};

use super::capture::mirrored;
use super::noise::{Colored, Purpose, Source};
use super::skin::MARKERS;
use crate::handed::Handed;
use crate::landmark::Landmark;
use company::Company;
use faults::Faults;
use figure::Stance;
use floor::Floor;
pub use floor::{PlatePlace, PlateSample};
pub use label::{Kind, Label};
use scene::{Scene, Upset};
use script::Script;
use tissue::Tissue;

/// Columns of a frame after the golfer's landmarks, for markers of other people: two hands, or everything.
const HANDS: usize = 6;
const EVERYTHING: usize = MARKERS.len();

/// What a lesson is made of.
#[derive(Debug, Clone, PartialEq)]
#[expect(
    clippy::struct_excessive_bools,
    reason = "independent options of a bay"
)]
pub struct LessonParams {
    /// Golfer and everything that happens.
    pub seed: u64,
    /// Ends after the first ball that is done with at this time, s.
    pub length_s: f64,
    /// Frames per second at the beginning.
    pub rate_hz: f64,
    /// Standard deviation of the noise per coordinate, m.
    pub noise_m: f64,
    /// Share of the marker samples that are missing, in short bursts.
    pub dropout: f64,
    /// The golfer's side at the beginning.
    pub handed: Handed,
    /// Whether clubs and golfers change: out of the bay and in again.
    pub changes: bool,
    /// Whether markers get lost, are exchanged and belong to others, and the microphone hears other bays.
    pub faults: bool,
    /// Whether the sender restarts, jumps in time and changes its rate.
    pub upsets: bool,
    /// Whether the club is marked.
    pub club: bool,
    /// Whether skin markers swing behind the bone when it is accelerated.
    pub wobble: bool,
    /// Whether two force plates lie under the golfer's address.
    pub plates: bool,
}

impl LessonParams {
    /// A right-handed golfer at 360 frames a second, all markers good, changes of club.
    #[must_use]
    pub fn usual(seed: u64, length_s: f64) -> Self {
        Self {
            seed,
            length_s,
            rate_hz: 360.0,
            noise_m: 0.0005,
            dropout: 0.0,
            handed: Handed::Right,
            changes: true,
            faults: false,
            upsets: false,
            club: true,
            wobble: false,
            plates: false,
        }
    }
}

/// One frame of a lesson.
#[derive(Debug, Clone, PartialEq)]
pub struct LessonFrame {
    /// Device time, ns.
    pub time_ns: i64,
    /// Real time since the lesson began, ns: without the jumps of the sender's clock.
    pub real_ns: u64,
    /// Number since the sender's start.
    pub number: u64,
    /// Start of the sender, from 1.
    pub epoch: u32,
    /// Frames per second now.
    pub rate_hz: f64,
    /// The landmarks of [`Lesson::landmarks`], then markers of other people, always as many; bay frame, m.
    pub points: Vec<Option<Point3<f64>>>,
    /// Device time at which a microphone beside the ball heard a blow since the last frame, ns.
    pub pulse_ns: Option<i64>,
    /// What the plates said since the last frame; empty without plates.
    pub plates: Vec<PlateSample>,
}

/// A lesson, frame by frame. The same parameters give the same frames and labels.
pub struct Lesson {
    params: LessonParams,
    script: Script,
    scene: Scene,
    /// Begin of the scene, time of the lesson, s.
    begun_s: f64,
    /// Begin of the sender's epoch or rate: time of the lesson, s, device time, ns, and number of the frame.
    epoch_s: f64,
    epoch_ns: i64,
    first: u64,
    /// Jumps of the sender's clock so far, ns.
    jumped_ns: i64,
    epoch: u32,
    number: u64,
    rate_hz: f64,
    source: Source,
    noise: Vec<[Colored; 3]>,
    faults: Faults,
    company: Option<Company>,
    tissue: Option<Tissue>,
    floor: Option<Floor>,
    sway: [f64; 3],
    pulses: Vec<i64>,
    labels: Vec<Label>,
    done: bool,
}

impl Lesson {
    /// The lesson from its beginning: the golfer walks in.
    #[must_use]
    pub fn new(params: &LessonParams) -> Self {
        let mut script = Script::new(params);
        let mut source = Source::new(params.seed, Purpose::LessonNoise);
        let scene = script.next();
        let mut lesson = Self {
            noise: noise(&mut source, params.rate_hz),
            faults: Faults::new(&mut source, params),
            company: params
                .faults
                .then(|| Company::new(params.seed, &mut source)),
            tissue: params.wobble.then(Tissue::default),
            sway: [0; 3].map(|_| source.between(2.2, 4.0)),
            source,
            params: params.clone(),
            floor: params.plates.then(|| Floor::new(params, &scene.figure)),
            script,
            scene,
            begun_s: 0.0,
            epoch_s: 0.0,
            epoch_ns: 0,
            first: 0,
            jumped_ns: 0,
            epoch: 1,
            number: 0,
            rate_hz: params.rate_hz,
            pulses: Vec::new(),
            labels: Vec::new(),
            done: false,
        };
        lesson.begin();
        lesson
    }

    /// What the first positions of a frame are.
    #[must_use]
    pub const fn landmarks() -> &'static [Landmark] {
        &MARKERS
    }

    /// What has been done so far, in order of time: complete when the frames are over.
    #[must_use]
    pub fn labels(&self) -> &[Label] {
        &self.labels
    }

    /// Where the plates lie, if there are any.
    #[must_use]
    pub fn plates(&self) -> Option<[PlatePlace; 2]> {
        self.floor.as_ref().map(Floor::places)
    }

    /// Upset and label of the scene that begins.
    fn begin(&mut self) {
        match self.scene.upset {
            Some(Upset::Restart(silence_s, rate_hz)) => {
                let now_ns = self.device_ns(self.begun_s);
                // The golfer waits for the sender.
                self.epoch_s = self.begun_s;
                self.epoch_ns = now_ns + nanoseconds(silence_s);
                self.epoch += 1;
                (self.number, self.first) = (0, 0);
                self.rate_hz = rate_hz.unwrap_or(self.rate_hz);
                self.noise = noise(&mut self.source, self.rate_hz);
            }
            Some(Upset::Rate(rate_hz)) => {
                self.epoch_ns = self.device_ns(self.begun_s);
                self.epoch_s = self.begun_s;
                self.first = self.number;
                self.rate_hz = rate_hz;
                self.noise = noise(&mut self.source, self.rate_hz);
            }
            Some(Upset::Jump(by_s)) => {
                self.epoch_ns += nanoseconds(by_s);
                self.jumped_ns += nanoseconds(by_s);
            }
            None => {}
        }
        if let Some(told) = self.scene.told {
            let device = |t: f64| self.device_ns(self.begun_s + t) as f64 * 1e-9;
            let label = Label {
                kind: told.kind,
                scene: self.scene.name,
                impact_s: told.impact.map(device),
                struck: told.struck,
                start_s: device(told.from),
                end_s: device(told.to),
                handed: self.scene.handed,
                lesson_s: self.begun_s + told.from,
            };
            // Two movements of one name that follow at once are one.
            match self.labels.last_mut() {
                Some(last)
                    if last.scene == label.scene
                        && last.impact_s.is_none()
                        && label.impact_s.is_none()
                        && label.start_s - last.end_s < 0.05 =>
                {
                    last.end_s = label.end_s;
                }
                _ => self.labels.push(label),
            }
            if let Some(t) = told.impact.filter(|_| told.struck) {
                let late_s = self.source.between(0.001, 0.003);
                self.pulses.push(self.device_ns(self.begun_s + t + late_s));
            }
        }
        if self.params.faults && self.source.unit() < NEIGHBOUR_SHARE {
            self.hear_the_neighbour();
        }
    }

    /// A ball struck in the next bay, at any time but that of this one's.
    fn hear_the_neighbour(&mut self) {
        let t = self.source.between(0.0, self.scene.length);
        let impact = self.scene.told.and_then(|told| told.impact);
        if impact.is_none_or(|own| (t - own).abs() > NEIGHBOUR_APART_S) {
            self.pulses.push(self.device_ns(self.begun_s + t));
        }
    }

    fn device_ns(&self, t: f64) -> i64 {
        self.epoch_ns + nanoseconds(t - self.epoch_s)
    }

    /// True positions at time `t` of the lesson, s.
    fn seen(&mut self, t: f64) -> Vec<Option<Point3<f64>>> {
        let since = t - self.begun_s;
        let stance = wavering((self.scene.course)(since), t, &self.sway);
        let loose = self.scene.loose.as_ref().map(|loose| loose(since));
        let mut seen = self.scene.figure.seen(&stance, loose);
        if let Some(tissue) = &mut self.tissue {
            tissue.shake(t, &mut seen.markers);
        }
        let club = self.scene.club && self.params.club;
        let visible = |(p, landmark): (Point3<f64>, &Landmark)| {
            let worn = !self.scene.jacket || CHEST.contains(landmark);
            (inside(&p) && worn && (club || !landmark.is_club())).then_some(p)
        };
        let frame = seen
            .markers
            .into_iter()
            .zip(&MARKERS)
            .map(visible)
            .collect();
        let mut frame = match self.scene.handed {
            Handed::Right => frame,
            Handed::Left => mirrored(&frame, &MARKERS),
        };
        if self.scene.coach {
            let at = |l: Landmark| frame[MARKERS.iter().position(|&m| m == l)?];
            // Knuckles and wrist of each hand, a little behind the skin they touch.
            for hand in [at(Landmark::RightAsis), at(Landmark::LeftElbow)] {
                for n in [0.0, 1.0, 2.0] {
                    let off = Vector3::new(-0.05 - 0.03 * n, 0.02 * n, -0.04 * n * (2.0 - n));
                    frame.push(hand.map(|p| p + off));
                }
            }
        }
        frame
    }
}

/// Nobody stands like a post: the stance at time `t` of the lesson, s, with periods of `sway`, s.
fn wavering(mut stance: Stance, t: f64, sway: &[f64; 3]) -> Stance {
    use super::posture::Dof;
    let wave = |i: usize| (std::f64::consts::TAU * t / sway[i]).sin();
    stance.posture = stance.posture.plus(&[
        (Dof::PelvisX, 0.0006 * wave(0)),
        (Dof::PelvisZ, 0.0006 * wave(1)),
        (Dof::ThoraxForward, 0.0006 * wave(2)),
    ]);
    stance
}

/// What a jacket bears.
const CHEST: [Landmark; 6] = [
    Landmark::C7,
    Landmark::T8,
    Landmark::SternalNotch,
    Landmark::Xiphoid,
    Landmark::LeftAcromion,
    Landmark::RightAcromion,
];

/// Share of the scenes in which the microphone hears the next bay, and how far from an impact of this one
/// at least, s: nothing could tell a pulse that comes with a rehearsal from a foam ball's.
const NEIGHBOUR_SHARE: f64 = 0.2;
const NEIGHBOUR_APART_S: f64 = 0.2;

/// Half the size of what the cameras see, m.
const VOLUME_M: f64 = 2.3;

fn inside(p: &Point3<f64>) -> bool {
    (p.x + 0.4).abs() < VOLUME_M && (p.z + 0.4).abs() < VOLUME_M
}

fn nanoseconds(seconds: f64) -> i64 {
    #[expect(clippy::cast_possible_truncation, reason = "lessons are no centuries")]
    let ns = (seconds * 1e9).round() as i64;
    ns
}

fn noise(source: &mut Source, rate_hz: f64) -> Vec<[Colored; 3]> {
    let columns = MARKERS.len() + EVERYTHING;
    std::iter::repeat_with(|| std::array::from_fn(|_| Colored::new(source, 1.0 / rate_hz)))
        .take(columns)
        .collect()
}

impl Iterator for Lesson {
    type Item = LessonFrame;

    fn next(&mut self) -> Option<LessonFrame> {
        #[expect(clippy::cast_precision_loss, reason = "fewer than 2^52 frames")]
        let mut t = self.epoch_s + (self.number - self.first) as f64 / self.rate_hz;
        while t >= self.begun_s + self.scene.length {
            self.begun_s += self.scene.length;
            if self.script.between_turns() && self.begun_s >= self.params.length_s {
                self.done = true;
            }
            if self.done {
                return None;
            }
            self.scene = self.script.next();
            self.begin();
            if self.number == self.first {
                t = self.epoch_s;
            }
        }
        let time_ns = self.device_ns(t);
        let mut points = self.seen(t);
        match &mut self.company {
            Some(company) => {
                points.resize(MARKERS.len() + EVERYTHING, None);
                let own = company.seen(t, &mut self.source);
                for (point, other) in points[MARKERS.len()..].iter_mut().zip(own) {
                    *point = point.or(other);
                }
            }
            None => points.resize(MARKERS.len() + HANDS, None),
        }
        self.faults
            .disturb(t, 1.0 / self.rate_hz, &mut points, &mut self.source);
        for (column, (point, noise)) in points.iter_mut().zip(&mut self.noise).enumerate() {
            // Nobody's marker has no noise.
            if column >= MARKERS.len() && point.is_none() {
                continue;
            }
            let shake = noise.each_mut().map(|axis| axis.next(&mut self.source));
            *point = point.map(|p| p + Vector3::from(shake) * self.params.noise_m);
        }
        let plates = match &mut self.floor {
            Some(floor) => floor.until(t, (&self.scene, self.begun_s, &self.sway)),
            None => Vec::new(),
        };
        let plates = plates.into_iter().map(|(at, channels)| PlateSample {
            number: at.number,
            time_ns: self.device_ns(at.t),
            channels,
        });
        let plates = plates.collect();
        let due = self.pulses.iter().position(|&ns| ns <= time_ns);
        let frame = LessonFrame {
            time_ns,
            real_ns: (time_ns - self.jumped_ns).unsigned_abs(),
            number: self.number,
            epoch: self.epoch,
            rate_hz: self.rate_hz,
            points,
            pulse_ns: due.map(|i| self.pulses.remove(i)),
            plates,
        };
        self.number += 1;
        Some(frame)
    }
}
