//! The whole computation of a bay as one object: `push` inputs, collect outputs.
//!
//! Live, replayed and tested runs are the same line: `for input in inputs { analyzer.push(…) }`.
//! Time arrives as data only. The state is bounded: a few streams, one ring of frames, one open
//! pass. It ends at *measure*: bands, leaks and change are functions over stored values. What one stream does
//! with its datagrams is in `sender`.

mod sender;

use std::collections::BTreeMap;
use std::sync::Arc;

use crate::assemble::FramePart;
use crate::body::live::PelvisNow;
use crate::context::Context;
use crate::frame::{CaptureFrame, MarkerLayout};
use crate::ground::book::GroundBook;
use crate::ground::forces::{ForceBlock, ForceLayout};
use crate::ground::now::PlateNow;
use crate::ground::window::GroundWindow;
use crate::landmark::Landmark;
use crate::markers::Markers;
use crate::measure::Measured;
use crate::stream::Place;
use crate::swing::detector::{Movement, State};
use crate::swing::kind::Kind;
use sender::Stream;
pub use sender::StreamStatus;

/// Streams that one bay accepts; a further one is refused and counted.
pub const STREAMS_MAX: usize = 16;
/// Silence after which a stream's place may be given to another, nanoseconds of arrival.
const ABSENT_NS: u64 = 10_000_000_000;
/// Silence after which a stream's waiting and an open pass are given up, nanoseconds of arrival.
const SILENCE_NS: u64 = 1_000_000_000;

/// What a datagram carried. Points and values may stay where they were decoded: what is in order is taken from
/// there, only what has to wait for an earlier one is copied.
#[derive(Debug, Clone, PartialEq)]
pub enum Content<'a> {
    /// A marker stream describes itself.
    Layout(Box<MarkerLayout>),
    /// A part of a marker frame.
    Part(FramePart<'a>),
    /// A force stream describes itself.
    ForceLayout(Box<ForceLayout>),
    /// Samples of force plates.
    Forces(ForceBlock<'a>),
    /// A trigger noticed impact, device time in nanoseconds.
    Pulse(i64),
    /// Nothing that is measured: part of a description (named), or something refused
    /// (unnamed). It is ordered and counted all the same.
    Counted(Option<&'static str>),
}

impl Content<'_> {
    /// The same with points and values of its own.
    #[must_use]
    pub fn into_owned(self) -> Content<'static> {
        match self {
            Self::Part(part) => Content::Part(part.into_owned()),
            Self::Forces(block) => Content::Forces(block.into_owned()),
            Self::Layout(layout) => Content::Layout(layout),
            Self::ForceLayout(layout) => Content::ForceLayout(layout),
            Self::Pulse(time_ns) => Content::Pulse(time_ns),
            Self::Counted(what) => Content::Counted(what),
        }
    }
}

/// One input.
#[derive(Debug, Clone, PartialEq)]
pub enum Input<'a> {
    /// A decoded datagram.
    Datagram {
        /// Stream id.
        stream: u32,
        /// The clock that its device time is read from.
        clock: u32,
        /// Place in its stream.
        place: Place,
        /// Arrival, nanoseconds on the receiver's monotonic clock.
        received_ns: u64,
        /// What it carried.
        content: Content<'a>,
    },
    /// Time has passed without a datagram.
    Tick {
        /// Nanoseconds on the receiver's monotonic clock.
        now_ns: u64,
    },
}

/// One output.
#[derive(Debug)]
pub enum Output {
    /// The bay's state changed.
    State {
        /// New state.
        state: State,
        /// Device time, nanoseconds.
        time_ns: i64,
    },
    /// A frame in order, for the live view.
    Pose(Arc<CaptureFrame>),
    /// A swing whose kind is settled was measured soon after impact; what lies later is not measured yet.
    /// The same swing follows as [`Output::Swing`], under the same name and of the same kind.
    First {
        /// Epoch of the sender.
        epoch: u32,
        /// Device time of impact, nanoseconds: with the epoch it names the swing.
        impact_ns: i64,
        /// What was measured.
        measured: Box<Measured>,
    },
    /// A swing was measured in its whole window.
    Swing {
        /// Epoch of the sender.
        epoch: u32,
        /// Device time of impact, nanoseconds, as it was found first: with the epoch it names the swing.
        impact_ns: i64,
        /// What was measured.
        measured: Box<Measured>,
    },
    /// A fast pass of the club head gave no swing, and why in words.
    NoSwing {
        /// Device time of the pass, nanoseconds.
        time_ns: i64,
        /// What it was: waggle, abort or other.
        kind: Kind,
        /// Why.
        reason: String,
    },
    /// A movement from an address ended without a pass: a waggle or a swing broken off.
    Movement(Movement),
    /// The analysis of one pass panicked: a fault of the program that costs this swing only.
    Failed {
        /// Device time of the pass, nanoseconds.
        time_ns: i64,
    },
    /// No frames arrive any more.
    Silent,
}

/// What streams share: what is told, and the ground beside the markers.
#[derive(Debug)]
pub struct Shared {
    /// Told of golfer and club.
    pub context: Context,
    /// Plates and clocks.
    pub ground: GroundBook,
}

/// The analyzer of one bay.
#[derive(Debug)]
pub struct Analyzer {
    shared: Shared,
    reorder_window_ns: i64,
    streams: BTreeMap<u32, Stream>,
    refused_streams: u64,
    silent: bool,
}

impl Analyzer {
    /// An analyzer that waits `reorder_window_ns` of device time for a missing datagram.
    #[must_use]
    pub fn new(context: Context, reorder_window_ns: i64) -> Self {
        Self {
            shared: Shared {
                ground: GroundBook::new(context.late_ns.clone()),
                context,
            },
            reorder_window_ns,
            streams: BTreeMap::new(),
            refused_streams: 0,
            silent: true,
        }
    }

    /// Takes one input and appends what follows from it to `out`.
    pub fn push(&mut self, input: Input<'_>, out: &mut Vec<Output>) {
        match input {
            Input::Tick { now_ns } => self.tick(now_ns, out),
            Input::Datagram {
                stream,
                clock,
                place,
                received_ns,
                content,
            } => {
                if !self.has_room(stream, &content, received_ns) {
                    self.refused_streams += 1;
                    return;
                }
                self.silent = false;
                let window = self.reorder_window_ns;
                let entry = self
                    .streams
                    .entry(stream)
                    .or_insert_with(|| Stream::new(stream, window));
                entry.heard_ns = received_ns;
                entry.clock = clock;
                entry.push(place, content, &mut self.shared, out);
            }
        }
    }

    /// The end of all input: whatever waits is worked off.
    pub fn finish(&mut self, out: &mut Vec<Output>) {
        self.work_off(|_every| true, out);
    }

    /// Ends the waiting of streams: plates first, so that the last swing still finds its ground.
    fn work_off(&mut self, which: impl Fn(&Stream) -> bool, out: &mut Vec<Output>) {
        for markers in [false, true] {
            let of_kind = |s: &&mut Stream| s.markers.is_some() == markers && which(s);
            for stream in self.streams.values_mut().filter(of_kind) {
                stream.finish(&mut self.shared, out);
            }
        }
    }

    /// What is known of each stream, by id.
    pub fn streams(&self) -> impl Iterator<Item = (u32, StreamStatus)> + '_ {
        self.streams
            .iter()
            .map(|(&id, s)| (id, s.status(&self.shared.ground)))
    }

    /// Landmarks of the poses, in the order of their points.
    #[must_use]
    pub fn landmarks(&self) -> &[Landmark] {
        let markers = self.streams.values().find_map(|s| s.markers.as_ref());
        markers.map_or(&[], |m| m.landmarks())
    }

    /// The pelvis since address in the newest frame, at address and while a swing is under way.
    #[must_use]
    pub fn pelvis(&self) -> Option<PelvisNow> {
        let markers = self.streams.values().find_map(|s| s.markers.as_ref());
        markers.and_then(Markers::pelvis)
    }

    /// The plates between two times of the markers' clock, nanoseconds, with the stream of each; `None`
    /// without markers or plates.
    #[must_use]
    pub fn ground(&self, from_ns: i64, to_ns: i64) -> Option<(GroundWindow, Vec<u32>)> {
        let markers = self.streams.values().find(|s| s.markers.is_some())?;
        let ground = &self.shared.ground;
        let window = ground.window(markers.clock, from_ns, to_ns)?;
        let streams = (0..window.plates.len()).filter_map(|n| ground.plate_stream(n));
        let streams = streams.collect();
        Some((window, streams))
    }

    /// What every plate reads now, with its stream; `now_ns` is the arrival up to which is known who speaks.
    pub fn plates(&self, now_ns: u64) -> impl Iterator<Item = (u32, PlateNow)> + '_ {
        self.streams.iter().flat_map(move |(&id, stream)| {
            let heard = now_ns.saturating_sub(stream.heard_ns) < SILENCE_NS;
            let plates = self.shared.ground.now(id, heard);
            plates.into_iter().map(move |plate| (id, plate))
        })
    }

    /// Datagrams refused because there were too many streams.
    #[must_use]
    pub fn refused_streams(&self) -> u64 {
        self.refused_streams
    }

    /// Whether a stream may be kept. A new one needs something understood in it; when all places are
    /// taken, the stream that carries no markers or has been silent for longest gives way.
    fn has_room(&mut self, stream: u32, content: &Content<'_>, now_ns: u64) -> bool {
        if self.streams.contains_key(&stream) {
            return true;
        }
        if matches!(content, Content::Counted(None)) {
            return false;
        }
        if self.streams.len() >= STREAMS_MAX {
            let worth = |s: &Stream| (s.markers.is_some(), s.heard_ns);
            let least = self.streams.iter().min_by_key(|(_, s)| worth(s));
            let gives_way = least.filter(|(_, s)| {
                s.markers.is_none() || now_ns.saturating_sub(s.heard_ns) > ABSENT_NS
            });
            let Some(id) = gives_way.map(|(id, _)| *id) else {
                return false;
            };
            self.streams.remove(&id);
            self.shared.ground.forget(id);
        }
        true
    }

    fn tick(&mut self, now_ns: u64, out: &mut Vec<Output>) {
        let quiet = |s: &Stream| now_ns.saturating_sub(s.heard_ns) >= SILENCE_NS;
        self.work_off(quiet, out);
        if !self.silent && self.streams.values().all(quiet) {
            self.silent = true;
            self.streams
                .values_mut()
                .filter_map(|s| s.markers.as_mut())
                .for_each(Markers::fall_silent);
            out.push(Output::Silent);
        }
    }
}
