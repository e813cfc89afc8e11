//! The clock of one sender against the receiver's: offset, drift and their uncertainty from pairs of
//! device time and arrival. Pure data; which streams share a clock is the caller's knowledge.
//!
//! Arrivals are late, never early: arrival − device time of every datagram lies above the line that a
//! datagram without delay would draw. The line is the edge of the lower convex hull that spans the
//! mean time, which is the optimum of the linear program of Moon, Skelly & Towsley 1999 (INFOCOM,
//! pp. 227–234; by convex hull: Zhang, Liu & Xia 2002, INFOCOM). The smallest delay there was cannot
//! be told from an offset: it stays in.

use std::collections::VecDeque;

/// One sample, that of the smallest delay, is kept for this stretch of device time.
const BIN_NS: i64 = 500_000_000;
/// Stretches kept: two minutes.
const BINS_MAX: usize = 240;
/// A place this far off the line is a clock that was set (NTP's step threshold, RFC 5905).
const STEP_NS: i64 = 128_000_000;
/// So many samples in a row must agree on a new line …
const AGREEING: usize = 8;
/// … and, where they might only be late, for so long, nanoseconds of arrival.
const LATE_NS: u64 = 1_000_000_000;
/// Below this span no drift is fitted, nanoseconds of device time.
const DRIFT_SPAN_NS: i64 = 10_000_000_000;
/// Drift of a clock of which nothing is known (crystal oscillators; common practice, no source).
const UNKNOWN_DRIFT: f64 = 1e-4;
/// Two clocks do not drift apart faster: a steeper edge is a network that got slower (crystal
/// oscillators of both ends; common practice, no source).
const DRIFT_MAX: f64 = 3e-4;
/// Stretch whose smallest delay tells whether the line still holds.
const RECENT_BINS: usize = 10;

/// What a sample did to the fit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Heard {
    /// It fits the line so far.
    Fits,
    /// It fits nothing so far and was left out.
    Strange,
    /// The device's clock was set, or the sender restarted: the fit began anew.
    Reset,
}

/// Device time to arrival time, as far as it is known.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Line {
    /// The device time at which `offset_ns` holds.
    pub reference_ns: i64,
    /// Arrival − device time there, nanoseconds; contains the smallest delay.
    pub offset_ns: i64,
    /// By how much the receiver's clock runs faster (0.000 001 is 1 ppm).
    pub drift: f64,
    /// Standard uncertainty at the newest sample, nanoseconds; without the smallest delay, which
    /// one-way data cannot show.
    pub uncertainty_ns: f64,
}

impl Line {
    /// Arrival time of what happened at a device time, nanoseconds.
    #[must_use]
    pub fn arrival_ns(&self, device_ns: i64) -> i64 {
        let since = device_ns.saturating_sub(self.reference_ns);
        device_ns
            .saturating_add(self.offset_ns)
            .saturating_add((since as f64 * self.drift).round() as i64)
    }

    /// Device time of what happened at an arrival time, nanoseconds.
    #[must_use]
    pub fn device_ns(&self, arrival_ns: i64) -> i64 {
        let at_reference = self.reference_ns.saturating_add(self.offset_ns);
        let since = arrival_ns.saturating_sub(at_reference) as f64;
        let slower = since * (self.drift / (1.0 + self.drift));
        arrival_ns
            .saturating_sub(self.offset_ns)
            .saturating_sub(slower.round() as i64)
    }
}

/// How one stream's times become another's.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Alignment {
    /// Both read one clock.
    Shared,
    /// Each has its own, known by its line.
    Fitted {
        /// Of the stream that is to be placed.
        from: Line,
        /// Of the stream whose time counts.
        to: Line,
    },
}

impl Alignment {
    /// A time of the first stream on the second one's clock, nanoseconds.
    #[must_use]
    pub fn there(&self, ns: i64) -> i64 {
        match self {
            Self::Shared => ns,
            Self::Fitted { from, to } => to.device_ns(from.arrival_ns(ns)),
        }
    }

    /// A time of the second stream on the first one's clock, nanoseconds.
    #[must_use]
    pub fn back(&self, ns: i64) -> i64 {
        match self {
            Self::Shared => ns,
            Self::Fitted { from, to } => from.device_ns(to.arrival_ns(ns)),
        }
    }

    /// Standard uncertainty, seconds, without the difference of the smallest delays, which one-way
    /// data cannot show.
    #[must_use]
    pub fn uncertainty_s(&self) -> f64 {
        match self {
            Self::Shared => 0.0,
            Self::Fitted { from, to } => from.uncertainty_ns.hypot(to.uncertainty_ns) * 1e-9,
        }
    }
}

/// The fit of one sender's clock.
#[derive(Debug, Default)]
pub struct Clock {
    bins: VecDeque<Bin>,
    /// Where the numbers in the bins count from.
    zero: (i64, i64),
    line: Option<Line>,
    strange: Vec<(i64, u64)>,
    resets: u64,
    /// The last pair given by [`follow`](Self::follow).
    followed: Option<(i64, i64)>,
    slowest: Slowest,
}

/// The largest delay beyond the line, nanoseconds: of this second of device time and of the one before.
#[derive(Debug, Default)]
struct Slowest {
    second: i64,
    now: i64,
    before: i64,
}

/// The sample with the smallest delay in a stretch: device time and delay since the zero.
#[derive(Debug, Clone, Copy)]
struct Bin {
    number: i64,
    time: i64,
    delay: i64,
    samples: u64,
}

impl Slowest {
    fn take(&mut self, device_ns: i64, late_ns: i64) {
        let second = device_ns.div_euclid(2 * BIN_NS);
        if second != self.second {
            let follows = self.second.checked_add(1) == Some(second);
            self.before = if follows { self.now } else { 0 };
            (self.second, self.now) = (second, 0);
        }
        self.now = self.now.max(late_ns);
    }
}

impl Clock {
    /// Takes a pair: device time and arrival, nanoseconds.
    pub fn push(&mut self, device_ns: i64, arrival_ns: u64) -> Heard {
        if self.bins.is_empty() {
            self.begin(device_ns, arrival_ns);
            return Heard::Fits;
        }
        let off = self.off_the_line(device_ns, arrival_ns);
        if off.abs() <= STEP_NS {
            self.strange.clear();
            self.slowest.take(device_ns, off);
            self.keep(device_ns, arrival_ns);
            return Heard::Fits;
        }
        self.doubt(device_ns, arrival_ns, off)
    }

    /// The line, once there is a sample.
    #[must_use]
    pub fn line(&self) -> Option<Line> {
        self.line
    }

    /// How often the clock was set or the sender restarted.
    #[must_use]
    pub fn resets(&self) -> u64 {
        self.resets
    }

    /// By how much the slowest sample of the last one to two seconds came later than the line, nanoseconds.
    #[must_use]
    pub fn delay_ns(&self) -> i64 {
        self.slowest.now.max(self.slowest.before)
    }

    /// Samples kept (never more than a fixed number).
    #[must_use]
    pub fn kept(&self) -> usize {
        self.bins.len() + self.strange.len()
    }

    /// The sender restarted: its new times have nothing to do with the old ones.
    pub fn restart(&mut self) {
        let resets = self.resets + u64::from(!self.bins.is_empty());
        *self = Self {
            resets,
            ..Self::default()
        };
    }

    /// Arrival time of a device time, never running back while device time does not (a line that is
    /// fitted better moves by its uncertainty). `None` before the first sample.
    pub fn follow(&mut self, device_ns: i64) -> Option<i64> {
        let now = self.line?.arrival_ns(device_ns);
        let given = match self.followed {
            Some((device, arrival)) if device_ns >= device => now.max(arrival),
            _ => now,
        };
        self.followed = Some((device_ns, given));
        Some(given)
    }

    fn begin(&mut self, device_ns: i64, arrival_ns: u64) {
        self.zero = (device_ns, delay(device_ns, arrival_ns));
        self.bins.clear();
        self.followed = None;
        self.keep(device_ns, arrival_ns);
    }

    /// How far a sample is from the line, nanoseconds; positive: late.
    fn off_the_line(&self, device_ns: i64, arrival_ns: u64) -> i64 {
        self.line.map_or(0, |line| {
            signed(arrival_ns).saturating_sub(line.arrival_ns(device_ns))
        })
    }

    fn keep(&mut self, device_ns: i64, arrival_ns: u64) {
        let time = device_ns.saturating_sub(self.zero.0);
        let bin = Bin {
            number: time.div_euclid(BIN_NS),
            time,
            delay: delay(device_ns, arrival_ns).saturating_sub(self.zero.1),
            samples: 1,
        };
        // Datagrams overtake each other: the place is near the end, seldom at it.
        let place = self.bins.iter().rposition(|b| b.number <= bin.number);
        match place {
            Some(i) if self.bins[i].number == bin.number => {
                let old = &mut self.bins[i];
                let samples = old.samples + 1;
                if bin.delay >= old.delay {
                    old.samples = samples;
                    return;
                }
                *old = bin;
                old.samples = samples;
            }
            Some(i) => self.bins.insert(i + 1, bin),
            None => self.bins.push_front(bin),
        }
        while self.bins.len() > BINS_MAX {
            self.bins.pop_front();
        }
        self.fit();
    }

    /// A sample far off the line: a late one, a damaged time, or a clock that was set.
    fn doubt(&mut self, device_ns: i64, arrival_ns: u64, off: i64) -> Heard {
        let agrees = |&(d, a): &(i64, u64)| {
            delay(device_ns, arrival_ns).abs_diff(delay(d, a)) <= STEP_NS.unsigned_abs()
        };
        if !self.strange.last().is_some_and(agrees) {
            self.strange.clear();
        }
        self.strange.push((device_ns, arrival_ns));
        let waited = self
            .strange
            .first()
            .map_or(0, |(_, first)| arrival_ns.saturating_sub(*first));
        let enough = self.strange.len() >= AGREEING && (off < 0 || waited >= LATE_NS);
        if !enough {
            // A thinned run stays bounded: its first sample keeps the time, the last ones agreement.
            if self.strange.len() > 2 * AGREEING {
                self.strange.remove(1);
            }
            return Heard::Strange;
        }
        let run = std::mem::take(&mut self.strange);
        self.resets += 1;
        let (device, arrival) = run[0];
        self.begin(device, arrival);
        run[1..].iter().for_each(|&(d, a)| self.keep(d, a));
        Heard::Reset
    }

    fn fit(&mut self) {
        let (Some(first), Some(last)) = (self.bins.front(), self.bins.back()) else {
            return;
        };
        let span = last.time - first.time;
        let (time, delay, drift, unknown) = if span < DRIFT_SPAN_NS {
            let (time, delay) = self.touching(0.0);
            (time, delay, 0.0, UNKNOWN_DRIFT)
        } else {
            let (time, delay, drift) = self.hull_edge();
            let possible = drift.clamp(-DRIFT_MAX, DRIFT_MAX);
            let (time, delay) = match (drift - possible).abs() {
                0.0 => (time, delay),
                _ => self.touching(possible),
            };
            (time, delay, possible, (drift - possible).abs())
        };
        let residual = |b: &Bin| b.delay as f64 - (delay + (b.time as f64 - time) * drift);
        let mut residuals: Vec<f64> = self.bins.iter().map(residual).collect();
        let recent = residuals.iter().rev().take(RECENT_BINS);
        let recent = recent.copied().fold(f64::INFINITY, f64::min).max(0.0);
        residuals.sort_unstable_by(f64::total_cmp);
        let middle = residuals[residuals.len() / 2].max(0.0);
        let unknown = unknown * (span as f64).max(BIN_NS as f64);
        let reference = last.time as f64;
        let offset = delay + (reference - time) * drift;
        self.line = Some(Line {
            reference_ns: self.zero.0.saturating_add(last.time),
            offset_ns: self.zero.1.saturating_add(offset.round() as i64),
            drift,
            uncertainty_ns: middle.max(recent).hypot(unknown).max(1.0),
        });
    }

    /// Where a line of this slope under all samples touches them.
    fn touching(&self, slope: f64) -> (f64, f64) {
        let height = |b: &Bin| b.delay as f64 - slope * b.time as f64;
        let lowest = self
            .bins
            .iter()
            .min_by(|a, b| height(a).total_cmp(&height(b)));
        lowest.map_or((0.0, 0.0), |b| (b.time as f64, b.delay as f64))
    }

    /// The edge of the lower convex hull that spans the mean time: a point of it and its slope.
    fn hull_edge(&self) -> (f64, f64, f64) {
        let mut hull: Vec<(f64, f64)> = Vec::with_capacity(self.bins.len());
        for b in &self.bins {
            let p = (b.time as f64, b.delay as f64);
            while let [.., a, m] = hull[..] {
                let turn = (m.0 - a.0) * (p.1 - a.1) - (m.1 - a.1) * (p.0 - a.0);
                if turn > 0.0 {
                    break;
                }
                hull.pop();
            }
            hull.push(p);
        }
        let samples: f64 = self.bins.iter().map(|b| b.samples as f64).sum();
        let weighted = self.bins.iter().map(|b| b.samples as f64 * b.time as f64);
        let mean = weighted.sum::<f64>() / samples;
        let edge = hull.windows(2).find(|e| mean <= e[1].0);
        match edge {
            Some(&[a, b]) if b.0 > a.0 => (a.0, a.1, (b.1 - a.1) / (b.0 - a.0)),
            _ => hull.last().map_or((0.0, 0.0, 0.0), |p| (p.0, p.1, 0.0)),
        }
    }
}

fn delay(device_ns: i64, arrival_ns: u64) -> i64 {
    signed(arrival_ns).saturating_sub(device_ns)
}

fn signed(ns: u64) -> i64 {
    i64::try_from(ns).unwrap_or(i64::MAX)
}

#[cfg(test)]
mod tests;
