//! One marker stream from part to swing: assemble, keep, watch, and look closely when a fast pass is
//! over. Order and counting are done before, in `stream`.

use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::Arc;

use nalgebra::Point3;

use crate::analyzer::{Output, Shared};
use crate::assemble::{Assembler, FramePart};
use crate::body::live::{PelvisNow, PelvisRest};
use crate::frame::{CaptureFrame, MarkerLayout};
use crate::history::{Continuity, History};
use crate::landmark::Landmark;
use crate::measure::{Beside, Look, Measured, Nothing, measure_beside};
use crate::swing::detector::{Detector, FirstLook, Pass, State};

/// Stretch of ground reactions after a fast pass, nanoseconds. Shorter than the detector's tail: samples
/// that come later than the markers are there all the same, however fast they are sent.
const GROUND_TAIL_NS: i64 = 700_000_000;

/// Impacts this close are of one swing, nanoseconds.
const SAME_NS: i64 = 300_000_000;
/// The look after the finish confirms the first one's impact within this, nanoseconds.
const AGREE_NS: i64 = 5_000_000;
/// What a first report says of plates and of a later look that disagrees.
const AWAITED: &str = "not measured yet: the plates' samples are awaited";
const NOT_CONFIRMED: &str =
    "The look after the finish did not confirm this swing: the first report stands.";

/// The state of one marker stream under one layout.
#[derive(Debug)]
pub struct Markers {
    assembler: Assembler,
    history: History,
    detector: Detector,
    rest: PelvisRest,
    hidden: Vec<Landmark>,
    frames: u64,
    epoch: u32,
    clock: u32,
    /// The state that was last put out; `None` before the first frame and after silence.
    announced: Option<State>,
}

impl Markers {
    /// A stream under a described layout; epoch and clock are its sender's.
    #[must_use]
    pub fn new(layout: MarkerLayout, epoch: u32, clock: u32) -> Self {
        Self {
            detector: Detector::new(layout.rate_hz),
            assembler: Assembler::new(layout),
            history: History::default(),
            rest: PelvisRest::default(),
            hidden: Vec::new(),
            frames: 0,
            epoch,
            clock,
            announced: None,
        }
    }

    /// The layout in force.
    #[must_use]
    pub fn layout(&self) -> &MarkerLayout {
        self.assembler.layout()
    }

    /// Landmarks in the order of the poses' points.
    #[must_use]
    pub fn landmarks(&self) -> &[Landmark] {
        self.assembler.landmarks()
    }

    /// Landmarks not seen in the newest frame.
    #[must_use]
    pub fn hidden(&self) -> &[Landmark] {
        &self.hidden
    }

    /// Frames in order so far.
    #[must_use]
    pub fn frames(&self) -> u64 {
        self.frames
    }

    /// Frames handed on with a part missing.
    #[must_use]
    pub fn incomplete(&self) -> u64 {
        self.assembler.incomplete()
    }

    /// Takes the next part.
    pub fn push(&mut self, part: &FramePart<'_>, shared: &Shared, out: &mut Vec<Output>) {
        for frame in self.assembler.push(part) {
            self.take(frame, shared, out);
        }
    }

    /// Nothing comes any more: what waits is worked off.
    pub fn finish(&mut self, shared: &Shared, out: &mut Vec<Output>) {
        if let Some(frame) = self.assembler.flush() {
            self.take(frame, shared, out);
        }
        self.close(shared, out);
    }

    /// Looks at every pass that still waits for its tail.
    fn close(&mut self, shared: &Shared, out: &mut Vec<Output>) {
        while let Some(pass) = self.detector.take_open_pass() {
            self.look(pass, i64::MAX, shared, out);
            self.announce(pass.time_ns, out);
        }
    }

    /// The screens were told that nothing comes: the next frame tells the state again.
    pub fn fall_silent(&mut self) {
        self.announced = None;
    }

    fn take(&mut self, frame: Arc<CaptureFrame>, shared: &Shared, out: &mut Vec<Output>) {
        let time_ns = frame.time_ns;
        if !self
            .history
            .goes_on(&frame, self.assembler.layout().rate_hz)
        {
            // What came before the break is all that there will be of its swings.
            self.close(shared, out);
        }
        let due = self.watch(&frame);
        out.push(Output::Pose(frame));
        out.extend(self.detector.take_movement().map(Output::Movement));
        if let Some(pass) = due {
            self.look(pass, time_ns, shared, out);
        }
        if let Some(pass) = self.detector.first_due(time_ns) {
            self.look_first(pass, time_ns, shared, out);
        }
        self.announce(time_ns, out);
    }

    /// Keeps a frame and lets the live detector see it.
    fn watch(&mut self, frame: &Arc<CaptureFrame>) -> Option<Pass> {
        let rate_hz = self.assembler.layout().rate_hz;
        let landmarks = self.assembler.landmarks();
        let unseen = landmarks
            .iter()
            .zip(&frame.points)
            .filter(|(_, p)| p.is_none());
        self.hidden.clear();
        self.hidden.extend(unseen.map(|(l, _)| *l));
        self.frames += 1;
        let kept = Arc::clone(frame);
        let assembler = &mut self.assembler;
        let gone = |frame| assembler.give_back(frame);
        if self.history.push(kept, rate_hz, gone) == Continuity::Broken {
            self.detector = Detector::new(rate_hz);
        }
        let landmarks = self.assembler.landmarks();
        let before = self.detector.state();
        let due = self.detector.push(frame, landmarks);
        if self.detector.state() == State::AtAddress {
            if before != State::AtAddress {
                self.rest.clear();
            }
            self.rest.add(|l| point(landmarks, frame, l));
        }
        due
    }

    /// The pelvis since address in the newest frame, at address and while the swing is under way.
    #[must_use]
    pub fn pelvis(&self) -> Option<PelvisNow> {
        let frame = self.history.newest()?;
        let under_way = matches!(self.detector.state(), State::AtAddress | State::InMotion);
        let now = under_way.then(|| self.rest.now(|l| point(self.landmarks(), frame, l)));
        now.flatten()
    }

    fn announce(&mut self, time_ns: i64, out: &mut Vec<Output>) {
        let state = self.detector.state();
        if self.announced.replace(state) != Some(state) {
            out.push(Output::State { state, time_ns });
        }
    }

    /// The first look at a pass: reported where the kind is settled already.
    fn look_first(&mut self, pass: Pass, until_ns: i64, shared: &Shared, out: &mut Vec<Output>) {
        let look = Look::First {
            trigger: shared.ground.has_trigger(),
        };
        let Seen::Swing(measured) = self.measured(&pass, (until_ns, look), shared) else {
            return;
        };
        let impact_ns = impact_ns(&measured);
        if self.is_reported(impact_ns) {
            return;
        }
        let found = FirstLook {
            until_ns,
            impact_ns,
            kind: measured.kind,
        };
        self.detector.settled(&pass, found);
        out.push(Output::First {
            epoch: self.epoch,
            impact_ns,
            measured,
        });
    }

    /// The look at the whole window of a pass.
    fn look(&mut self, pass: Pass, until_ns: i64, shared: &Shared, out: &mut Vec<Output>) {
        let seen = self.measured(&pass, (until_ns, Look::Whole), shared);
        if let Some(first) = pass.first {
            let measured = self.confirmed(&pass, seen, shared);
            out.extend(measured.map(|m| self.swing(first.impact_ns, m)));
            return;
        }
        let time_ns = pass.time_ns;
        let measured = match seen {
            Seen::Swing(measured) => Some(measured),
            Seen::Failed => {
                out.push(Output::Failed { time_ns });
                None
            }
            Seen::Nothing(why) => {
                if !self.detector.follows_swing(&pass) {
                    out.extend(why.map(|nothing| Output::NoSwing {
                        time_ns,
                        kind: nothing.kind(),
                        reason: nothing.words().to_owned(),
                    }));
                }
                None
            }
        };
        let measured = measured.map(|m| (impact_ns(&m), m));
        let reported = measured.as_ref().is_some_and(|m| self.is_reported(m.0));
        self.detector.judged(measured.as_ref().map(|m| m.0));
        let measured = measured.filter(|_| !reported);
        out.extend(measured.map(|(impact_ns, m)| self.swing(impact_ns, m)));
    }

    /// The swing of a first report after its finish. It is never withdrawn and keeps its kind: where the
    /// later look disagrees, the first one stands.
    fn confirmed(&self, pass: &Pass, seen: Seen, shared: &Shared) -> Option<Box<Measured>> {
        let first = pass.first?;
        let agrees = |m: &Measured| {
            m.kind == first.kind && (impact_ns(m) - first.impact_ns).abs() < AGREE_NS
        };
        // The first look again, and what it settled stays settled.
        let look = Look::First { trigger: false };
        match seen {
            Seen::Swing(measured) if agrees(&measured) => Some(measured),
            _ => match self.measured(pass, (first.until_ns, look), shared) {
                Seen::Swing(mut measured) => {
                    measured.notes.push(NOT_CONFIRMED.to_owned());
                    Some(measured)
                }
                _ => None,
            },
        }
    }

    fn swing(&self, impact_ns: i64, measured: Box<Measured>) -> Output {
        Output::Swing {
            epoch: self.epoch,
            impact_ns,
            measured,
        }
    }

    /// Two passes of one swing (a top that is fast, a rebound) are one swing.
    fn is_reported(&self, impact_ns: i64) -> bool {
        let last = self.detector.reported_ns();
        last.is_some_and(|last| (impact_ns - last).abs() <= SAME_NS)
    }

    /// What the window of a pass shows, up to a time; a first look takes nothing from other streams,
    /// which may be behind.
    fn measured(&self, pass: &Pass, (until_ns, look): (i64, Look), shared: &Shared) -> Seen {
        let layout = self.assembler.layout();
        let from_ns = pass.time_ns.saturating_sub(pass.lead_ns);
        let window = self.history.window(
            from_ns,
            until_ns,
            self.assembler.landmarks(),
            layout.rate_hz,
        );
        let ground_ns = pass.time_ns.saturating_add(GROUND_TAIL_NS);
        let (ground, pulses_ns) = match look {
            Look::First { .. } => (shared.ground.without_samples(AWAITED), Vec::new()),
            Look::Whole => (
                shared.ground.window(self.clock, from_ns, ground_ns),
                shared.ground.pulses(self.clock, from_ns, ground_ns),
            ),
        };
        let Some(window) = window else {
            return Seen::Nothing(None);
        };
        let near = pass.number.saturating_sub(window.first_number) as usize;
        let beside = Beside {
            ground: ground.as_ref(),
            pulses_ns: &pulses_ns,
            look,
        };
        // Pure functions of owned data: nothing half-changed survives an unwinding.
        let attempt = AssertUnwindSafe(|| {
            measure_beside(&window, near, layout.ball_center, (&shared.context, beside))
        });
        match catch_unwind(attempt) {
            Ok(Ok(measured)) => Seen::Swing(Box::new(measured)),
            Ok(Err(nothing)) => Seen::Nothing(Some(nothing)),
            Err(_panic) => Seen::Failed,
        }
    }
}

/// What a look at a window gave.
enum Seen {
    Swing(Box<Measured>),
    /// No swing, with the reason where there was a window at all.
    Nothing(Option<Nothing>),
    /// A fault of the program.
    Failed,
}

/// Device time of impact, nanoseconds.
fn impact_ns(measured: &Measured) -> i64 {
    let prepared = &measured.prepared;
    (prepared.window.seconds(prepared.swing.impact.slot) * 1e9).round() as i64
}

/// A landmark in a frame.
fn point(landmarks: &[Landmark], frame: &CaptureFrame, landmark: Landmark) -> Option<Point3<f64>> {
    let place = landmarks.binary_search(&landmark).ok()?;
    frame.points.get(place).copied().flatten()
}
