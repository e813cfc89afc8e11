//! One force stream from block to window: places its plates, keeps the last seconds of raw samples in
//! a bounded ring, and feeds each plate's zero. Order is made before, in `stream`.

use std::borrow::Cow;
use std::collections::VecDeque;

use super::now::{self, PlateNow};
use super::plate::{Plate, PlateDescription};
use super::series::{self, Raw};
use super::window::PlateWindow;
use super::zero::{Unsettled, Zeroing};
use crate::clock::Alignment;
use crate::frame::BayFromSource;

/// What no foot but a person presses with, N.
const SOMEBODY_N: f64 = 250.0;
/// Span kept, nanoseconds: a swing's window with room for a late look at it.
const SPAN_NS: i64 = 10_000_000_000;
/// Samples kept at most (10 s at 5 kHz).
const SAMPLES_MAX: usize = 50_000;
/// A plate whose channels say the same for so long is dead, seconds: noise alone moves a working one.
const DEAD_S: f64 = 1.0;
/// The same where all it says is 0: some exporters write that for an empty plate.
const DEAD_AT_ZERO_S: f64 = 20.0;
const DEAD: &str =
    "it is dead: it sends the same numbers all the time; check its cable and amplifier";
/// A jump of time or number beyond this is a new beginning.
const JUMP_NS: i64 = 2_000_000_000;

/// What a force stream says about itself.
#[derive(Debug, Clone, PartialEq)]
pub struct ForceLayout {
    /// Identifier that the stream's blocks cite.
    pub id: u32,
    /// Samples a second.
    pub rate_hz: f64,
    /// Its plates in the order of their channels.
    pub plates: Vec<PlateDescription>,
    /// Source coordinates to the bay frame.
    pub bay_from_source: BayFromSource,
}

/// Consecutive samples of all plates of a layout.
#[derive(Debug, Clone, PartialEq)]
pub struct ForceBlock<'a> {
    /// Layout that gives the channels their meaning.
    pub layout: u32,
    /// Number of the first sample.
    pub first_sample: u64,
    /// Device time of the first sample, nanoseconds.
    pub time_ns: i64,
    /// Values a sample.
    pub channels: usize,
    /// All channels of the first sample, of the second, …; `None` where not measured.
    pub values: Cow<'a, [Option<f32>]>,
}

impl ForceBlock<'_> {
    /// Samples in it.
    #[must_use]
    pub fn samples(&self) -> usize {
        self.values.len().checked_div(self.channels).unwrap_or(0)
    }

    /// The same with values of its own.
    #[must_use]
    pub fn into_owned(self) -> ForceBlock<'static> {
        ForceBlock {
            values: Cow::Owned(self.values.into_owned()),
            ..self
        }
    }
}

#[derive(Debug)]
struct Sample {
    number: u64,
    time_ns: i64,
    values: Vec<Option<f32>>,
}

/// One described plate: its place or why it has none, its channels, its zero.
#[derive(Debug)]
struct Known {
    plate: Result<Plate, &'static str>,
    channels: std::ops::Range<usize>,
    zeroing: Zeroing,
    /// Samples in a row that were the same in all its channels.
    same: u64,
    name: String,
}

/// A force stream under one layout.
#[derive(Debug)]
pub struct Forces {
    layout: ForceLayout,
    plates: Vec<Known>,
    ring: VecDeque<Sample>,
    /// Values of samples that left the ring, to be filled anew. They and the ring are no more than it ever held.
    spent: Vec<Vec<Option<f32>>>,
    samples: u64,
    misfits: u64,
}

impl Forces {
    /// A stream under a described layout; its plates are numbered on from `plates_before`.
    #[must_use]
    pub fn new(layout: ForceLayout, plates_before: usize) -> Self {
        let mut first = 0;
        let known = layout.plates.iter().enumerate().map(|(n, told)| {
            let channels = first..first + told.kind.channels();
            first = channels.end;
            Known {
                plate: Plate::new(told, &layout.bay_from_source),
                channels,
                zeroing: Zeroing::new(layout.rate_hz),
                same: 0,
                name: format!("plate {}", plates_before + n + 1),
            }
        });
        Self {
            plates: known.collect(),
            layout,
            ring: VecDeque::new(),
            spent: Vec::new(),
            samples: 0,
            misfits: 0,
        }
    }

    /// The layout in force.
    #[must_use]
    pub fn layout(&self) -> &ForceLayout {
        &self.layout
    }

    /// Samples in order so far.
    #[must_use]
    pub fn samples(&self) -> u64 {
        self.samples
    }

    /// Samples kept.
    #[must_use]
    pub fn kept(&self) -> usize {
        self.ring.len()
    }

    /// Takes the next block. One whose channels are not those of the layout is left out.
    pub fn push(&mut self, block: &ForceBlock<'_>) {
        let wanted = self.plates.last().map_or(0, |p| p.channels.end);
        if block.channels != wanted || wanted == 0 {
            self.misfits += 1;
            return;
        }
        let step_ns = 1e9 / self.layout.rate_hz;
        let broken = self.ring.back().is_some_and(|last| {
            let ahead = block.first_sample.saturating_sub(last.number) as f64 * step_ns;
            block.first_sample <= last.number
                || !(0..=JUMP_NS).contains(&block.time_ns.saturating_sub(last.time_ns))
                || ahead > JUMP_NS as f64
        });
        if broken {
            self.ring.clear();
        }
        for (n, values) in block.values.chunks_exact(wanted).enumerate() {
            let mut own = self.spent.pop().unwrap_or_default();
            own.clear();
            own.extend_from_slice(values);
            self.take(Sample {
                number: block.first_sample + n as u64,
                time_ns: block
                    .time_ns
                    .saturating_add((n as f64 * step_ns).round() as i64),
                values: own,
            });
        }
    }

    fn take(&mut self, sample: Sample) {
        self.samples += 1;
        let last = self.ring.back();
        for known in &mut self.plates {
            let now = sample.values.get(known.channels.clone());
            let then = last.and_then(|s| s.values.get(known.channels.clone()));
            known.same = if now == then { known.same + 1 } else { 0 };
            if let Ok(plate) = &known.plate {
                let wrench = sample.values.get(known.channels.clone());
                let wrench = wrench.and_then(|channels| plate.wrench(channels));
                known.zeroing.push(sample.time_ns, wrench, &plate.up());
            }
        }
        let oldest = sample.time_ns.saturating_sub(SPAN_NS);
        let first_kept = sample.number.saturating_sub(SAMPLES_MAX as u64 - 1);
        self.ring.push_back(sample);
        let gone = |s: &Sample| s.time_ns < oldest || s.number < first_kept;
        while self.ring.front().is_some_and(gone) {
            self.spent.extend(self.ring.pop_front().map(|s| s.values));
        }
    }

    /// Every plate between two times of the markers' clock, nanoseconds. The zero is the last one
    /// before its end.
    #[must_use]
    pub fn window(&self, from_ns: i64, to_ns: i64, alignment: &Alignment) -> Vec<PlateWindow> {
        let (from, to) = (alignment.back(from_ns), alignment.back(to_ns));
        let slots = self.slots(from, to);
        let rate_hz = rate(&slots).unwrap_or(self.layout.rate_hz);
        let time_ns: Vec<i64> = slots.iter().map(|(t, _)| alignment.there(*t)).collect();
        self.plates
            .iter()
            .map(|known| {
                let raw = Raw {
                    rate_hz,
                    time_ns: time_ns.clone(),
                    samples: slots
                        .iter()
                        .map(|(_, s)| s.and_then(|s| s.values.get(known.channels.clone())))
                        .collect(),
                };
                known.window(raw, to, alignment)
            })
            .collect()
    }

    /// Every plate without reactions, and why.
    #[must_use]
    pub fn without_samples(&self, why: &str) -> Vec<PlateWindow> {
        let window = |known: &Known| PlateWindow {
            name: known.name.clone(),
            surface: known.plate.as_ref().ok().map(Plate::surface),
            series: Err(format!("{}: {why}", known.name)),
            alignment: Alignment::Shared,
            notes: vec![known.says(why)],
        };
        self.plates.iter().map(window).collect()
    }

    /// What each plate reads now; `heard`: whether its sender still speaks.
    #[must_use]
    pub fn now(&self, heard: bool) -> Vec<PlateNow> {
        let newest = self.ring.back().filter(|_| heard);
        let from_ns = newest.map_or(i64::MAX, |s| s.time_ns.saturating_sub(now::NOW_NS));
        let each = self.plates.iter().map(|known| {
            let plate = known.plate.as_ref().ok();
            let recent = self.ring.iter().rev().take_while(|s| s.time_ns > from_ns);
            let recent = recent.filter_map(|s| {
                let channels = s.values.get(known.channels.clone())?;
                Some((s.time_ns, channels))
            });
            let (reads, zero) = plate.map_or((None, None), |plate| {
                now::read(plate, recent, &known.zeroing)
            });
            PlateNow {
                name: known.name.clone(),
                corners: plate.map(|p| p.corners),
                reads,
                zero,
            }
        });
        each.collect()
    }

    /// Sentences on what is odd about its plates; empty when all is well.
    #[must_use]
    pub fn remarks(&self) -> Vec<String> {
        let mut remarks = Vec::new();
        for known in &self.plates {
            match &known.plate {
                Ok(plate) => remarks.extend(plate.oddities.iter().map(|o| known.says(&o.words()))),
                Err(why) => remarks.push(known.says(why)),
            }
            // The foot of somebody who stands on another plate is no offset.
            let told = known.zeroing.unsettled().filter(|u| match u {
                Unsettled::Reads(_) => !self.somebody_beside(known),
                Unsettled::Drifted(_) => true,
            });
            remarks.extend(told.map(|u| known.says(&u.words())));
            remarks.extend(self.is_dead(known).then(|| known.says(DEAD)));
        }
        if self.misfits > 0 {
            remarks.push(format!(
                "{} force blocks had another number of channels than described.",
                self.misfits
            ));
        }
        remarks
    }

    /// Whether another plate bears a person in the newest sample.
    fn somebody_beside(&self, known: &Known) -> bool {
        let Some(newest) = self.ring.back() else {
            return false;
        };
        let others = self.plates.iter().filter(|k| k.channels != known.channels);
        others.into_iter().any(|other| {
            let plate = other.plate.as_ref().ok();
            let channels = newest.values.get(other.channels.clone());
            let wrench = plate.zip(channels).and_then(|(p, c)| p.wrench(c));
            let up = plate.zip(wrench).map(|(p, w)| w.force.dot(&p.up()));
            up.is_some_and(|up| up > SOMEBODY_N)
        })
    }

    fn is_dead(&self, known: &Known) -> bool {
        let last = self
            .ring
            .back()
            .map(|s| s.values.get(known.channels.clone()));
        let zero = last
            .flatten()
            .is_some_and(|v| v.iter().all(|v| v.is_none_or(|v| v == 0.0)));
        let limit_s = if zero { DEAD_AT_ZERO_S } else { DEAD_S };
        known.same as f64 > limit_s * self.layout.rate_hz
    }

    /// An even grid of sample numbers between two device times; lost samples are empty slots.
    fn slots(&self, from: i64, to: i64) -> Vec<(i64, Option<&Sample>)> {
        let step_ns = (1e9 / self.layout.rate_hz).round() as i64;
        let mut slots: Vec<(i64, Option<&Sample>)> = Vec::new();
        let mut next = None;
        for sample in self
            .ring
            .iter()
            .filter(|s| (from..=to).contains(&s.time_ns))
        {
            let missing = sample.number - next.unwrap_or(sample.number);
            let before = slots.last().map_or(sample.time_ns, |(t, _)| *t);
            // Evenly over the hole, so that times rise whatever the told rate is.
            let gap = (sample.time_ns - before) / (missing as i64 + 1);
            let gap = if gap > 0 { gap } else { step_ns };
            slots.extend((1..=missing as i64).map(|n| (before + n * gap, None)));
            slots.push((sample.time_ns, Some(sample)));
            next = Some(sample.number + 1);
        }
        slots
    }
}

impl Known {
    fn says(&self, words: &str) -> String {
        format!("Force {}: {words}.", self.name)
    }

    fn window(&self, raw: Raw<'_>, until_ns: i64, alignment: &Alignment) -> PlateWindow {
        let (surface, series, mut notes) = match &self.plate {
            Err(why) => (None, Err((*why).to_owned()), Vec::new()),
            Ok(plate) => {
                let zero = self.zeroing.at(until_ns);
                let odd = plate.oddities.iter().map(|o| self.says(&o.words()));
                let mut notes: Vec<String> = odd.collect();
                let series = series::reactions(plate, raw, zero).map(|(series, words)| {
                    notes.extend(words.iter().map(|w| self.says(w)));
                    series
                });
                (Some(plate.surface()), series, notes)
            }
        };
        let named = |why: String| format!("{}: {why}", self.name);
        notes.extend(series.as_ref().err().map(|why| self.says(why)));
        PlateWindow {
            name: self.name.clone(),
            surface,
            series: series.map_err(named),
            alignment: *alignment,
            notes,
        }
    }
}

/// Samples a second by the device times of the slots.
fn rate(slots: &[(i64, Option<&Sample>)]) -> Option<f64> {
    let span_ns = slots.last()?.0 - slots.first()?.0;
    (slots.len() >= 10 && span_ns > 0).then(|| (slots.len() - 1) as f64 * 1e9 / span_ns as f64)
}

#[cfg(test)]
mod tests;
