//! The datagrams of a swing's window put together again: frames by number, samples by number, and how
//! the clocks of their senders lie. Nothing is measured here; what a file is made of is in `take`.

use std::collections::BTreeMap;

use analysis::clock::{Clock, Line};
use protocol::wire::{self, Body, Content, Describe, Header, Marker, Plate, Source};

/// One frame of markers; of several parts each fills its own.
#[derive(Debug)]
pub(super) struct Frame {
    pub(super) time_ns: i64,
    layout: u32,
    points: BTreeMap<usize, Marker>,
}

/// What a description says, by the layout it is cited by.
#[derive(Debug)]
pub(super) struct Layout<T> {
    pub(super) source: Source,
    /// By place; absent where a part of the description is not in the window.
    items: BTreeMap<usize, T>,
    pub(super) total: usize,
}

/// A marker stream under one layout.
#[derive(Debug, Default)]
pub(super) struct Markers {
    pub(super) clock: u32,
    layouts: BTreeMap<u32, Layout<String>>,
    pub(super) frames: BTreeMap<u64, Frame>,
}

/// A force stream under its newest layout.
#[derive(Debug, Default)]
pub(super) struct Forces {
    pub(super) clock: u32,
    epoch: u32,
    layout: u32,
    layouts: BTreeMap<u32, Layout<Plate>>,
    samples: BTreeMap<u64, Sample>,
}

/// A sample: device time of its block, its place in it, its values.
type Sample = (i64, usize, Vec<Option<f32>>);

/// All streams of a window; markers of one epoch only.
#[derive(Debug, Default)]
pub(super) struct Streams {
    epoch: u32,
    markers: BTreeMap<u32, Markers>,
    forces: BTreeMap<u32, Forces>,
    clocks: BTreeMap<u32, Clock>,
}

impl<T: Clone> Layout<T> {
    /// The items in order, `None` for those that no description in the window has.
    pub(super) fn items(&self) -> Vec<Option<T>> {
        (0..self.total)
            .map(|n| self.items.get(&n).cloned())
            .collect()
    }

    fn join(
        layouts: &mut BTreeMap<u32, Self>,
        id: u32,
        source: Source,
        (total, first): (usize, usize),
        items: &[T],
    ) {
        let open = layouts.entry(id).or_insert_with(|| Self {
            source,
            items: BTreeMap::new(),
            total,
        });
        open.items.extend((first..).zip(items.iter().cloned()));
    }
}

impl Streams {
    /// Nothing yet; `epoch` is that of the swing's sender.
    pub(super) fn new(epoch: u32) -> Self {
        Self {
            epoch,
            ..Self::default()
        }
    }

    /// Adds a datagram; one that is none, or damaged, was no part of the measurement either.
    pub(super) fn push(&mut self, arrival_ns: u64, datagram: &[u8]) {
        let Ok((header, body)) = wire::decode(datagram) else {
            return;
        };
        match body {
            Body::Describe(describe) => self.describe(&header, describe),
            Body::MarkerFrame(frame) if header.epoch == self.epoch => {
                self.heard(header.clock, header.device_time_ns, arrival_ns);
                let stream = self.markers.entry(header.stream).or_default();
                stream.clock = header.clock;
                let fresh = || Frame {
                    time_ns: header.device_time_ns,
                    layout: frame.layout,
                    points: BTreeMap::new(),
                };
                let open = stream.frames.entry(frame.frame).or_insert_with(fresh);
                if open.layout == frame.layout {
                    let places = usize::from(frame.first)..;
                    let seen = places.zip(frame.markers.iter());
                    open.points.extend(seen.filter_map(|(n, m)| Some((n, m?))));
                }
            }
            Body::ForceBlock(block) => {
                let stream = self.forces.entry(header.stream).or_default();
                if (stream.epoch, stream.layout) != (header.epoch, block.layout) {
                    stream.samples.clear();
                    (stream.epoch, stream.layout) = (header.epoch, block.layout);
                }
                stream.clock = header.clock;
                let values: Vec<Option<f32>> = block.values.iter().collect();
                let samples = values.chunks_exact(usize::from(block.channels).max(1));
                let numbered = (block.first_sample..).zip(samples.enumerate());
                let time_ns = header.device_time_ns;
                stream.samples.extend(
                    numbered.map(|(number, (n, values))| (number, (time_ns, n, values.to_vec()))),
                );
                // The newest sample is what its arrival is late by least.
                let rate_hz = stream.layout().map(|l| l.source.rate_hz);
                if let Some(rate_hz) = rate_hz {
                    let last = block.samples().saturating_sub(1);
                    self.heard(header.clock, later(time_ns, last, rate_hz), arrival_ns);
                }
            }
            Body::MarkerFrame(_) | Body::Trigger(_) => {}
        }
    }

    fn heard(&mut self, clock: u32, device_ns: i64, arrival_ns: u64) {
        let clock = self.clocks.entry(clock).or_default();
        clock.push(device_ns, arrival_ns);
    }

    fn describe(&mut self, header: &Header, describe: Describe) {
        let id = describe.layout;
        match describe.content {
            Content::Markers(list) if header.epoch == self.epoch => {
                let layouts = &mut self.markers.entry(header.stream).or_default().layouts;
                let places = (usize::from(list.total), usize::from(list.first));
                Layout::join(layouts, id, list.source, places, &list.labels);
            }
            Content::Forces(list) => {
                let layouts = &mut self.forces.entry(header.stream).or_default().layouts;
                let places = (usize::from(list.total), usize::from(list.first));
                Layout::join(layouts, id, list.source, places, &list.plates);
            }
            Content::Markers(_) | Content::Trigger(_) => {}
        }
    }

    /// The stream that has this frame at this device time (seconds), give or take two frames.
    pub(super) fn with_frame(&self, number: f64, time_s: f64) -> Option<&Markers> {
        let near = |m: &&Markers| {
            let rate_hz = m.layout().map_or(1.0, |(_, l)| l.source.rate_hz);
            let next = m.frames.range(number.max(0.0) as u64..).next();
            next.is_some_and(|(&found, frame)| {
                let due_s = time_s + (found as f64 - number) / rate_hz;
                (frame.time_ns as f64 * 1e-9 - due_s).abs() * rate_hz < 2.0
            })
        };
        self.markers.values().find(near)
    }

    /// Force streams that say what they carry, by number of the stream.
    pub(super) fn forces(&self) -> impl Iterator<Item = (u32, &Forces, &Layout<Plate>)> {
        self.forces
            .iter()
            .filter_map(|(&id, stream)| Some((id, stream, stream.layout()?)))
    }

    /// How the clock of `from` is read on that of `to`: `None` when one of them was never heard.
    pub(super) fn between(&self, from: u32, to: u32) -> Option<impl Fn(i64) -> i64> {
        let line = |clock: u32| self.clocks.get(&clock)?.line();
        let lines: Option<(Line, Line)> = match from == to {
            true => None,
            false => Some((line(from)?, line(to)?)),
        };
        Some(move |ns: i64| lines.map_or(ns, |(a, b)| b.device_ns(a.arrival_ns(ns))))
    }
}

impl Forces {
    fn layout(&self) -> Option<&Layout<Plate>> {
        self.layouts.get(&self.layout)
    }

    /// Device time and values of each sample that came, in order.
    pub(super) fn samples(&self, rate_hz: f64) -> impl Iterator<Item = (i64, &[Option<f32>])> {
        self.samples
            .values()
            .map(move |(ns, n, values)| (later(*ns, *n, rate_hz), values.as_slice()))
    }
}

/// The time of sample `n` of a block.
fn later(block_ns: i64, n: usize, rate_hz: f64) -> i64 {
    block_ns.saturating_add((n as f64 * 1e9 / rate_hz).round() as i64)
}

impl Markers {
    /// The layout of most frames.
    pub(super) fn layout(&self) -> Option<(u32, &Layout<String>)> {
        let mut counts: BTreeMap<u32, usize> = BTreeMap::new();
        for frame in self.frames.values() {
            *counts.entry(frame.layout).or_default() += 1;
        }
        let (id, _) = counts.into_iter().max_by_key(|&(_, count)| count)?;
        Some((id, self.layouts.get(&id)?))
    }

    /// The points of frame `number` in a layout's order; none seen where it never came.
    pub(super) fn points(&self, number: u64, (layout, total): (u32, usize)) -> Vec<Option<Marker>> {
        let frame = self.frames.get(&number).filter(|f| f.layout == layout);
        (0..total).map(|n| frame?.points.get(&n).copied()).collect()
    }
}
