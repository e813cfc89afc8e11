//! One stream of a bay: its datagrams in the order of their sender, each handed to the markers or to the ground; and
//! what is known of it. Which streams a bay keeps is `analyzer`'s business.

use std::collections::BTreeMap;

use super::{Content, Output, Shared};
use crate::assemble::FramePart;
use crate::frame::MarkerLayout;
use crate::ground::book::{ClockStatus, GroundBook};
use crate::landmark::Landmark;
use crate::markers::Markers;
use crate::stream::{Counters, Order, Place, Sequencer};

/// Layouts remembered a stream, so that a late part of the layout before still finds its meaning.
const LAYOUTS_MAX: usize = 4;
/// Device time between two datagrams of a stream from which its sender stood still, nanoseconds.
const PAUSE_NS: i64 = 500_000_000;

/// What is known of one stream.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct StreamStatus {
    /// What it carries: `markers`, `forces`, `trigger`, `unknown`.
    pub content: &'static str,
    /// Described rate, if it described itself.
    pub rate_hz: Option<f64>,
    /// Counters since its sender (re)started.
    pub counters: Counters,
    /// Marker parts that came before their layout was described.
    pub undescribed: u64,
    /// Frames handed on with a part missing.
    pub incomplete: u64,
    /// Frames in order since the layout was described.
    pub frames: u64,
    /// Landmarks described.
    pub landmarks: Vec<Landmark>,
    /// Landmarks not seen in the newest frame.
    pub hidden: Vec<Landmark>,
    /// Sentences on what is odd about its plates.
    pub plates: Vec<String>,
    /// Its clock against the receiver's.
    pub clock: Option<ClockStatus>,
    /// Number of that clock: streams with the same one are compared directly.
    pub clock_number: u32,
    /// How much later than the markers it is told to be, nanoseconds.
    pub late_ns: i64,
    /// When it was last heard, nanoseconds on the receiver's monotonic clock.
    pub heard_ns: u64,
    /// Times its device time went on by half a second and more from one datagram to the next, since its
    /// sender (re)started: what moved then was not seen. Triggers have none.
    pub pauses: u64,
}

/// One stream.
#[derive(Debug)]
pub(super) struct Stream {
    id: u32,
    pub(super) clock: u32,
    sequencer: Sequencer<Content<'static>>,
    layouts: BTreeMap<u32, MarkerLayout>,
    pub(super) markers: Option<Markers>,
    epoch: u32,
    content: &'static str,
    undescribed: u64,
    pub(super) heard_ns: u64,
    /// The largest device time since the sender began.
    newest_ns: Option<i64>,
    pauses: u64,
}

impl Stream {
    pub(super) fn new(id: u32, window_ns: i64) -> Self {
        Self {
            id,
            clock: 0,
            sequencer: Sequencer::new(window_ns),
            layouts: BTreeMap::new(),
            markers: None,
            epoch: 0,
            content: "unknown",
            undescribed: 0,
            heard_ns: 0,
            newest_ns: None,
            pauses: 0,
        }
    }

    pub(super) fn push(
        &mut self,
        place: Place,
        content: Content<'_>,
        shared: &mut Shared,
        out: &mut Vec<Output>,
    ) {
        match self.sequencer.judge(place) {
            Order::Strange => return,
            Order::Restarted => {
                self.finish(shared, out);
                shared.ground.forget(self.id);
                self.sequencer.restart();
                self.layouts.clear();
                self.markers = None;
                (self.undescribed, self.newest_ns, self.pauses) = (0, None, 0);
            }
            Order::Continued => {}
        }
        self.epoch = place.epoch;
        let before = self.newest_ns.replace(
            self.newest_ns
                .map_or(place.time_ns, |t| t.max(place.time_ns)),
        );
        let paused = before.is_some_and(|t| place.time_ns.saturating_sub(t) >= PAUSE_NS);
        let beats = matches!(content, Content::Part(_) | Content::Forces(_));
        self.pauses += u64::from(beats && paused);
        let newest_ns = self.newest_ns(place, &content, &shared.ground);
        shared.ground.heard(self.clock, newest_ns, self.heard_ns);
        // A pulse needs no order, and no later datagram may come that would end its waiting.
        if let Content::Pulse(time_ns) = content {
            shared.ground.pulse(self.id, self.clock, time_ns);
        }
        if self.sequencer.take_next(place) {
            return self.take(content, shared, out);
        }
        let mut ordered = Vec::new();
        let content = content.into_owned();
        self.sequencer.push(place, content, &mut ordered);
        for content in ordered {
            self.take(content, shared, out);
        }
    }

    /// Device time of the last instant that a datagram tells of: it left no earlier.
    fn newest_ns(&self, place: Place, content: &Content<'_>, ground: &GroundBook) -> i64 {
        match (content, ground.stream(self.id)) {
            (Content::Forces(block), Some((_, rate_hz))) => {
                let span = block.samples().saturating_sub(1) as f64 * 1e9 / rate_hz;
                place.time_ns.saturating_add(span.round() as i64)
            }
            _ => place.time_ns,
        }
    }

    pub(super) fn finish(&mut self, shared: &mut Shared, out: &mut Vec<Output>) {
        let mut ordered = Vec::new();
        self.sequencer.flush(&mut ordered);
        for content in ordered {
            self.take(content, shared, out);
        }
        if let Some(markers) = &mut self.markers {
            markers.finish(shared, out);
        }
    }

    /// Takes what is next in order.
    fn take(&mut self, content: Content<'_>, shared: &mut Shared, out: &mut Vec<Output>) {
        match content {
            Content::Layout(layout) => self.describe(*layout, shared, out),
            Content::Part(part) => self.part(&part, shared, out),
            Content::ForceLayout(layout) => {
                self.content = "forces";
                shared.ground.describe(self.id, self.clock, &layout);
            }
            Content::Forces(block) => {
                self.content = "forces";
                self.undescribed += u64::from(!shared.ground.push(self.id, &block));
            }
            Content::Pulse(_) => self.content = "trigger",
            Content::Counted(what) => self.content = what.unwrap_or(self.content),
        }
    }

    fn describe(&mut self, layout: MarkerLayout, shared: &Shared, out: &mut Vec<Output>) {
        self.content = "markers";
        if self.layouts.get(&layout.id) == Some(&layout) {
            return;
        }
        while self.layouts.len() >= LAYOUTS_MAX {
            self.layouts.pop_first();
        }
        // A changed meaning of the columns: what was seen before cannot go on.
        if let Some(markers) = self.markers.as_mut().filter(|m| m.layout().id == layout.id) {
            markers.finish(shared, out);
            self.markers = None;
        }
        self.layouts.insert(layout.id, layout);
    }

    fn part(&mut self, part: &FramePart<'_>, shared: &Shared, out: &mut Vec<Output>) {
        self.content = "markers";
        if self
            .markers
            .as_ref()
            .is_none_or(|m| m.layout().id != part.layout)
        {
            let Some(layout) = self.layouts.get(&part.layout) else {
                self.undescribed += 1;
                return;
            };
            let fresh = Markers::new(layout.clone(), self.epoch, self.clock);
            if let Some(mut old) = self.markers.replace(fresh) {
                old.finish(shared, out);
            }
        }
        if let Some(markers) = &mut self.markers {
            markers.push(part, shared, out);
        }
    }

    pub(super) fn status(&self, ground: &GroundBook) -> StreamStatus {
        let markers = self.markers.as_ref();
        let forces = ground.stream(self.id);
        StreamStatus {
            content: self.content,
            rate_hz: markers
                .map(|m| m.layout().rate_hz)
                .or(forces.map(|(_, rate_hz)| rate_hz)),
            counters: self.sequencer.counters(),
            undescribed: self.undescribed,
            incomplete: markers.map_or(0, |m| m.incomplete()),
            frames: markers.map_or(forces.map_or(0, |(n, _)| n), Markers::frames),
            landmarks: markers.map(|m| m.landmarks().to_vec()).unwrap_or_default(),
            hidden: markers.map(|m| m.hidden().to_vec()).unwrap_or_default(),
            plates: ground.plates(self.id),
            clock: ground.clock(self.clock),
            clock_number: self.clock,
            late_ns: ground.late_ns(self.id),
            heard_ns: self.heard_ns,
            pauses: self.pauses,
        }
    }
}
