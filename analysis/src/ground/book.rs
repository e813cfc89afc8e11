//! What comes beside the markers: all force streams of a bay, the pulses of its triggers, and all its
//! clocks, without which neither has a place in the markers' time. What a look at a swing asks for.

use std::collections::{BTreeMap, VecDeque};

use super::forces::{ForceBlock, ForceLayout, Forces};
use super::now::PlateNow;
use super::window::GroundWindow;
use crate::clock::{Alignment, Clock, Line};

/// Clocks kept at most.
const CLOCKS_MAX: usize = 16;
/// Pulses kept: a minute of a trigger that goes off once a second.
const PULSES_MAX: usize = 64;
const NO_CLOCK: &str = "its clock is not yet known against that of the markers";

/// Force streams, pulses and clocks of one bay; bounded, because streams are.
#[derive(Debug, Default)]
pub struct GroundBook {
    clocks: BTreeMap<u32, Clock>,
    streams: BTreeMap<u32, Entry>,
    pulses: VecDeque<(u32, i64)>,
    late_ns: BTreeMap<u32, i64>,
}

#[derive(Debug)]
struct Entry {
    clock: u32,
    forces: Forces,
}

/// A clock as far as it is known.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ClockStatus {
    /// Its line against the receiver's clock.
    pub line: Line,
    /// How often it was set.
    pub resets: u64,
    /// By how much the slowest datagram of the last one to two seconds came later than the line, nanoseconds.
    pub delay_ns: i64,
}

impl GroundBook {
    /// A book that knows how much later than the markers each stream tells of things, nanoseconds.
    #[must_use]
    pub fn new(late_ns: BTreeMap<u32, i64>) -> Self {
        Self {
            late_ns,
            ..Self::default()
        }
    }

    /// A datagram of a clock came: what it holds was sent no earlier than this device time.
    pub fn heard(&mut self, clock: u32, device_ns: i64, arrival_ns: u64) {
        // Without a stamp it is a file: one clock, and nothing to fit.
        if arrival_ns == 0 {
            return;
        }
        if self.clocks.len() >= CLOCKS_MAX && !self.clocks.contains_key(&clock) {
            return;
        }
        self.clocks
            .entry(clock)
            .or_default()
            .push(device_ns, arrival_ns);
    }

    /// A clock by its number.
    #[must_use]
    pub fn clock(&self, clock: u32) -> Option<ClockStatus> {
        let clock = self.clocks.get(&clock)?;
        Some(ClockStatus {
            line: clock.line()?,
            resets: clock.resets(),
            delay_ns: clock.delay_ns(),
        })
    }

    /// A force stream described itself. What it sent under another description is forgotten.
    pub fn describe(&mut self, stream: u32, clock: u32, layout: &ForceLayout) {
        let same = |e: &Entry| e.forces.layout() == layout && e.clock == clock;
        if self.streams.get(&stream).is_some_and(same) {
            return;
        }
        let before = self.streams.range(..stream);
        let plates = before.map(|(_, e)| e.forces.layout().plates.len()).sum();
        let forces = Forces::new(layout.clone(), plates);
        self.streams.insert(stream, Entry { clock, forces });
    }

    /// Takes the next block of a stream; `false` when its layout was not described.
    pub fn push(&mut self, stream: u32, block: &ForceBlock<'_>) -> bool {
        let entry = self.streams.get_mut(&stream);
        match entry.filter(|e| e.forces.layout().id == block.layout) {
            Some(entry) => {
                entry.forces.push(block);
                true
            }
            None => false,
        }
    }

    /// A trigger stream's pulse at this time of its clock. The same pulse sent again is one.
    pub fn pulse(&mut self, stream: u32, clock: u32, time_ns: i64) {
        let time_ns = time_ns.saturating_sub(self.late_ns(stream));
        if self.pulses.contains(&(clock, time_ns)) {
            return;
        }
        if self.pulses.len() >= PULSES_MAX {
            self.pulses.pop_front();
        }
        self.pulses.push_back((clock, time_ns));
    }

    /// Whether a trigger has gone off lately: the bay has one.
    #[must_use]
    pub fn has_trigger(&self) -> bool {
        !self.pulses.is_empty()
    }

    /// Pulses between two times of the markers' clock, nanoseconds, rising. One whose clock is not yet
    /// known against the markers' is left out.
    #[must_use]
    pub fn pulses(&self, markers: u32, from_ns: i64, to_ns: i64) -> Vec<i64> {
        let placed = self.pulses.iter().filter_map(|&(clock, time_ns)| {
            let alignment = self.alignment(clock, markers)?;
            Some(alignment.there(time_ns))
        });
        let mut placed: Vec<i64> = placed.filter(|t| (from_ns..=to_ns).contains(t)).collect();
        placed.sort_unstable();
        placed
    }

    /// A stream is gone, or its sender restarted.
    pub fn forget(&mut self, stream: u32) {
        self.streams.remove(&stream);
    }

    /// Samples of a stream so far, and its rate.
    #[must_use]
    pub fn stream(&self, stream: u32) -> Option<(u64, f64)> {
        let forces = &self.streams.get(&stream)?.forces;
        Some((forces.samples(), forces.layout().rate_hz))
    }

    /// Sentences on what is odd about the plates of a stream.
    #[must_use]
    pub fn plates(&self, stream: u32) -> Vec<String> {
        let entry = self.streams.get(&stream);
        entry.map(|e| e.forces.remarks()).unwrap_or_default()
    }

    /// What the plates of a stream read now; `heard`: whether its sender still speaks.
    #[must_use]
    pub fn now(&self, stream: u32, heard: bool) -> Vec<PlateNow> {
        let entry = self.streams.get(&stream);
        entry.map(|e| e.forces.now(heard)).unwrap_or_default()
    }

    /// All plates between two times of the markers' clock, nanoseconds; `None` without plates.
    #[must_use]
    pub fn window(&self, markers: u32, from_ns: i64, to_ns: i64) -> Option<GroundWindow> {
        let plates = self.streams.iter().flat_map(|(stream, entry)| {
            match self.alignment(entry.clock, markers) {
                Some(alignment) => {
                    let late = self.late_ns(*stream);
                    let (from, to) = (from_ns.saturating_add(late), to_ns.saturating_add(late));
                    let mut plates = entry.forces.window(from, to, &alignment);
                    plates.iter_mut().for_each(|p| p.earlier(late));
                    plates
                }
                None => entry.forces.without_samples(NO_CLOCK),
            }
        });
        let plates: Vec<_> = plates.collect();
        (!plates.is_empty()).then_some(GroundWindow { plates })
    }

    /// The plates without their samples, and why; `None` without plates.
    #[must_use]
    pub fn without_samples(&self, why: &str) -> Option<GroundWindow> {
        let streams = self.streams.values();
        let plates: Vec<_> = streams
            .flat_map(|e| e.forces.without_samples(why))
            .collect();
        (!plates.is_empty()).then_some(GroundWindow { plates })
    }

    /// The stream of a plate of [`Self::window`], by its place there.
    #[must_use]
    pub fn plate_stream(&self, place: usize) -> Option<u32> {
        let streams = self.streams.iter();
        let mut plates =
            streams.flat_map(|(id, e)| e.forces.layout().plates.iter().map(move |_plate| *id));
        plates.nth(place)
    }

    /// How much later than the markers a stream is told to be, nanoseconds.
    #[must_use]
    pub fn late_ns(&self, stream: u32) -> i64 {
        self.late_ns.get(&stream).copied().unwrap_or_default()
    }

    /// How the times of one clock become another's; `None` where one of them is not known.
    fn alignment(&self, from: u32, to: u32) -> Option<Alignment> {
        if from == to {
            return Some(Alignment::Shared);
        }
        Some(Alignment::Fitted {
            from: self.clock(from)?.line,
            to: self.clock(to)?.line,
        })
    }
}
