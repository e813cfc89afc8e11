//! Analyze: one thread from datagram to report. Decodes, pushes into the analyzer, and hands what
//! follows to the screens. Never waits for a disk or a screen.

use std::sync::Arc;
use std::sync::atomic::Ordering;

use analysis::analyzer::{Analyzer, Output};
use analysis::context::Context;
use analysis::frame::CaptureFrame;
use analysis::landmark::Landmark;
use analysis::measure::Measured;
use crossbeam_channel::{Receiver, Sender};
use protocol::report::{Report, Transport};
use protocol::rig::PlateHealth;
use protocol::screen::{Archived, BayState, Health, Live, Queue, Replay, Status};
use protocol::shelf::Curves;
use tracing::{error, info, warn};

use crate::archive::board::Board;
use crate::archive::filing::{Filed, Filing};
use crate::decode::Decoder;
use crate::errors::Code;
use crate::health::{self, Drops, HealthBook};
use crate::map::MarkerMap;
use crate::offline::told;
use crate::outgoing;
use crate::pipeline::{ARRIVALS, RECORDED};
use crate::pulse::Pulse;
use crate::receive::{Arrival, Dropped, Fed};
use crate::refine::{self, Job};
use crate::seat::Seat;

/// Live poses at most this often, nanoseconds of arrival (60 Hz).
const LIVE_EVERY_NS: u64 = 16_666_666;
/// Health this often, nanoseconds.
const HEALTH_EVERY_NS: u64 = 1_000_000_000;
/// What the plates read this often, nanoseconds.
const PLATES_EVERY_NS: u64 = 500_000_000;
/// Why a swing stays without uncertainties when the queue is full.
const TOO_MANY: &str = "too many swings at once";
/// Why a swing is not archived when the queue is full.
const TOO_SLOW: &str = "too many reports wait for the archive's disk";

/// What goes to the screens.
#[derive(Debug)]
pub enum Outgoing {
    /// The bay's state.
    Status(Status),
    /// The newest pose.
    Live(Live),
    /// A report with its replay, of the first look or of the whole swing.
    Swing(Box<(Report, Replay)>),
    /// A later revision of a report.
    Revised(Box<Report>),
    /// Counters and findings.
    Health(Health),
    /// What the plates read now.
    Plates(Vec<PlateHealth>),
    /// What became of a swing in the archive.
    Archived(Archived),
}

/// Where a bay's results go.
#[derive(Debug)]
pub struct Outlets {
    /// To the screens.
    pub outgoing: Sender<Outgoing>,
    /// To be measured again for uncertainties.
    pub refine: Sender<Job>,
    /// To the archive, if there is one, and what it has to say.
    pub archive: Option<(Sender<Filed>, Arc<Board>)>,
}

/// What the thread needs to know of its bay.
#[derive(Debug)]
pub struct Setup {
    /// Bay id.
    pub bay: String,
    /// What was told about golfer and club.
    pub context: Context,
    /// Device time to wait for an overtaken datagram, nanoseconds.
    pub reorder_window_ns: i64,
}

/// The analysis of one bay.
#[derive(Debug)]
pub struct Bay<'a> {
    setup: Setup,
    map: MarkerMap,
    decoder: Decoder,
    analyzer: Analyzer,
    book: HealthBook,
    outlets: Outlets,
    dropped: &'a Dropped,
    outputs: Vec<Output>,
    /// Landmarks of the last pose that was handed on.
    named: Vec<Landmark>,
    live_due_ns: u64,
    health_due_ns: u64,
    plates_due_ns: u64,
    now_ns: u64,
    pulse: Arc<Pulse>,
    /// Arrivals that wait.
    waiting: usize,
}

impl<'a> Bay<'a> {
    /// A bay that hands on to its outlets.
    #[must_use]
    pub fn new(
        setup: Setup,
        map: MarkerMap,
        book: HealthBook,
        outlets: Outlets,
        (dropped, pulse): (&'a Dropped, Arc<Pulse>),
    ) -> Self {
        let decoder = Decoder::new(map.clone());
        let analyzer = Analyzer::new(
            told(&decoder, setup.context.clone()),
            setup.reorder_window_ns,
        );
        Self {
            setup,
            map,
            decoder,
            analyzer,
            book,
            outlets,
            dropped,
            outputs: Vec::new(),
            named: Vec::new(),
            live_due_ns: 0,
            health_due_ns: 0,
            plates_due_ns: 0,
            now_ns: 0,
            pulse,
            waiting: 0,
        }
    }

    /// Works until the source closes, then works off what waits.
    pub fn run(mut self, arrivals: &Receiver<Fed>) {
        for fed in arrivals {
            self.waiting = arrivals.len();
            match fed {
                Fed::Arrival(arrival) => self.take(&arrival),
                Fed::Seat(seat) => self.change(&seat),
            }
            self.hand_on();
            self.pulse.beat(self.now_ns);
        }
        self.analyzer.finish(&mut self.outputs);
        self.hand_on();
    }

    /// Works off what belongs to the seat before and begins anew, as a replay of the next recording will.
    fn change(&mut self, seat: &Seat) {
        self.analyzer.finish(&mut self.outputs);
        self.hand_on();
        seat.take();
        self.setup.context = Context {
            late_ns: std::mem::take(&mut self.setup.context.late_ns),
            ..seat.context.clone()
        };
        self.decoder = Decoder::new(self.map.clone());
        self.analyzer = Analyzer::new(
            told(&self.decoder, self.setup.context.clone()),
            self.setup.reorder_window_ns,
        );
    }

    fn take(&mut self, arrival: &Arrival) {
        let input = match arrival {
            Arrival::Datagram { received_ns, bytes } => {
                self.now_ns = *received_ns;
                self.decoder.decode(bytes, *received_ns)
            }
            Arrival::Tick { now_ns } => {
                self.now_ns = *now_ns;
                Some(analysis::analyzer::Input::Tick { now_ns: *now_ns })
            }
        };
        if let Some(input) = input {
            self.analyzer.push(input, &mut self.outputs);
        }
    }

    fn hand_on(&mut self) {
        let mut outputs = std::mem::take(&mut self.outputs);
        for output in outputs.drain(..) {
            match output {
                Output::Pose(frame) => self.pose(&frame),
                Output::State { state, time_ns } => {
                    self.state(outgoing::bay_state(state), Some(time_ns))
                }
                Output::Silent => self.state(BayState::NoSignal, None),
                Output::First {
                    epoch,
                    impact_ns,
                    measured,
                } => self.first(
                    filing((&self.setup.bay, epoch, impact_ns), &measured, self.now_ns),
                    &measured,
                ),
                Output::Swing {
                    epoch,
                    impact_ns,
                    measured,
                } => self.swing(
                    filing((&self.setup.bay, epoch, impact_ns), &measured, self.now_ns),
                    measured,
                ),
                Output::NoSwing {
                    time_ns,
                    kind,
                    reason,
                } => {
                    info!(code = %Code::SwingMissed, time_s = time_ns as f64 * 1e-9, kind = kind.name(), "no swing: {reason}");
                    self.book.missed(time_ns, reason);
                }
                Output::Movement(_) => {}
                Output::Failed { time_ns } => {
                    error!(code = %Code::SwingFailed, time_s = time_ns as f64 * 1e-9, "the analysis of one swing failed");
                    self.book.failed();
                }
            }
        }
        self.outputs = outputs;
        if self.now_ns >= self.plates_due_ns {
            self.plates_due_ns = self.now_ns + PLATES_EVERY_NS;
            let plates = health::plates(self.now_ns, &self.analyzer);
            self.offer(Outgoing::Plates(plates));
        }
        if self.now_ns >= self.health_due_ns {
            self.health_due_ns = self.now_ns + HEALTH_EVERY_NS;
            let drops = Drops {
                analysis: self.dropped.analysis.load(Ordering::Relaxed),
                recording: self.dropped.recording.load(Ordering::Relaxed),
                turned_away: self.dropped.turned_away.counts(),
            };
            let archive = self.outlets.archive.as_ref();
            self.book
                .archive(archive.map_or_else(Vec::new, |(_, board)| board.findings()));
            self.book.queues(self.queues());
            let page = self
                .book
                .page(self.now_ns, &self.analyzer, &self.decoder, drops);
            self.offer(Outgoing::Health(page));
        }
    }

    fn queues(&self) -> Vec<Queue> {
        fn of<T>(name: &str, sender: &Sender<T>) -> Queue {
            Queue {
                name: name.into(),
                waiting: sender.len() as u64,
                room: sender.capacity().unwrap_or(usize::MAX) as u64,
            }
        }
        let Outlets {
            outgoing,
            refine,
            archive,
        } = &self.outlets;
        let arrivals = Queue {
            name: "arrivals".into(),
            waiting: self.waiting as u64,
            room: ARRIVALS as u64,
        };
        let mut queues = vec![arrivals, of("outgoing", outgoing), of("refined", refine)];
        if let Some((filed, _)) = archive {
            queues.push(of("filed", filed));
            queues.push(Queue {
                name: "recorded".into(),
                waiting: self.dropped.waiting.load(Ordering::Relaxed),
                room: RECORDED as u64,
            });
        }
        queues
    }

    /// Newest wins: a full queue loses the pose, the next one comes in a moment. Landmarks are named when they
    /// are others than those of the last pose that found room.
    fn pose(&mut self, frame: &CaptureFrame) {
        if self.now_ns < self.live_due_ns {
            return;
        }
        self.live_due_ns = self.now_ns + LIVE_EVERY_NS;
        let pelvis = self.analyzer.pelvis();
        let landmarks = self.analyzer.landmarks();
        let named = self.named == landmarks;
        let live = Live {
            pelvis_shift: pelvis.map(|p| outgoing::rounded(p.shift_m, 1e4)),
            pelvis_rotation: pelvis.map(|p| outgoing::rounded(p.rotation_rad.to_degrees(), 1e2)),
            bay: self.setup.bay.clone(),
            time_s: frame.time_ns as f64 * 1e-9,
            landmarks: landmarks
                .iter()
                .filter(|_| !named)
                .map(|l| l.name().to_owned())
                .collect(),
            points: frame
                .points
                .iter()
                .map(|p| p.map(outgoing::point_f32))
                .collect(),
        };
        if self.offer(Outgoing::Live(live)) && !named {
            self.named = self.analyzer.landmarks().to_vec();
        }
    }

    fn state(&mut self, state: BayState, time_ns: Option<i64>) {
        let status = Status {
            bay: self.setup.bay.clone(),
            state,
            time_s: time_ns.map(|t| t as f64 * 1e-9),
        };
        self.offer(Outgoing::Status(status));
    }

    /// A first report: to the screens only. Archive and uncertainties belong to the whole swing.
    fn first(&self, filing: Filing, measured: &Measured) {
        let report = filing.report;
        info!(swing = %report.id, kind = %report.measurement.kind, "first report");
        self.show(report, measured);
    }

    fn show(&self, report: Report, measured: &Measured) {
        let replay = outgoing::replay(&report.id, measured);
        if !self.offer(Outgoing::Swing(Box::new((report, replay)))) {
            error!(code = %Code::ReportUnpublished, "a report found the way to the screens full");
        }
    }

    fn swing(&mut self, mut filing: Filing, measured: Box<Measured>) {
        let report = filing.report.clone();
        info!(swing = %report.id, kind = %report.measurement.kind, "swing measured");
        let audit = measured.audit.as_ref();
        self.book
            .found(audit.map_or_else(Vec::new, |a| a.findings.clone()));
        self.show(report.clone(), &measured);
        if self.outlets.archive.is_some() {
            filing.take = Some(drawn(&report.id, &measured));
        }
        let job = Job { measured, report };
        self.file(filing);
        // After the report of the whole, so that the revision cannot overtake it.
        if let Err(job) = self.outlets.refine.try_send(job) {
            let report = job.into_inner().report;
            warn!(code = %Code::SwingUnrefined, swing = %report.id, "too many swings wait for their uncertainties: this one gets none");
            let said = outgoing::unrefined(report, TOO_MANY);
            if let Some((filed, _)) = &self.outlets.archive {
                refine::file(filed, &said);
            }
            if !self.offer(Outgoing::Revised(Box::new(said))) {
                error!(code = %Code::ReportUnpublished, "a report found the way to the screens full");
            }
        }
    }

    /// To the archive. Full: the swing stays out of it, is counted in the log, and the screens say so.
    fn file(&self, filing: Filing) {
        let Some((filed, _)) = &self.outlets.archive else {
            return;
        };
        let id = filing.report.id.clone();
        if filed.try_send(Filed::Swing(Box::new(filing))).is_err() {
            error!(code = %Code::SwingUnarchived, swing = %id, "too many reports wait for the archive's disk");
            self.offer(Outgoing::Archived(Archived {
                bay: self.setup.bay.clone(),
                id,
                archived: false,
                reason: Some(TOO_SLOW.into()),
            }));
        }
    }

    /// Whether the screens' queue had room.
    fn offer(&self, outgoing: Outgoing) -> bool {
        self.outlets.outgoing.try_send(outgoing).is_ok()
    }
}

/// A swing as screens and archive get it, completed at an arrival.
pub(crate) fn filing(
    (bay, epoch, impact_ns): (&str, u32, i64),
    measured: &Measured,
    completed_at_ns: u64,
) -> Filing {
    let window = &measured.prepared.window;
    let transport = Transport {
        completed_at_ns: Some(completed_at_ns),
        frames_lost: window.lost() as u64,
        frames: window.len() as u64,
    };
    Filing {
        report: outgoing::report(
            outgoing::swing_id(bay, epoch, impact_ns),
            measured,
            transport,
        ),
        epoch,
        first_ns: window.time_ns.first().copied().unwrap_or_default(),
        impact_ns,
        take: None,
    }
}

/// What is drawn of a swing, for the archive.
pub(crate) fn drawn(id: &str, measured: &Measured) -> Box<(Replay, Curves)> {
    Box::new((
        outgoing::replay(id, measured),
        outgoing::curves(id, measured),
    ))
}
