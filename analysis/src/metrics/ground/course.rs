//! Reactions of feet over time on one grid of times, and how peaks, integrals and instants are read
//! off them. Seconds since the window's first slot; golfer frame; N, N·m, metres.

use nalgebra::{Point2, Point3};

use crate::body::segments::Maybe;
use crate::ground::window::{GroundWindow, PlateWindow};
use crate::ground::wrench::{LOAD_GATE_N, Total, Wrench, total};

/// A number a place of the grid; `None` where not known.
pub(super) type Curve = Vec<Option<f64>>;

/// Times between which everything is read.
#[derive(Debug, Clone)]
pub(super) struct Grid {
    pub(super) t: Vec<f64>,
    time_ns: Vec<i64>,
}

/// One or more plates as one.
#[derive(Debug, Clone)]
pub(super) struct Course {
    /// Upward force, N.
    pub(super) up: Curve,
    /// Force toward the target, N.
    pub(super) along: Curve,
    /// Force toward the ball, N.
    pub(super) across: Curve,
    /// Moment about the vertical through the center of pressure, N·m, positive opening; nothing below
    /// the gate of load.
    pub(super) torque: Curve,
    /// Center of pressure on the floor (toward the target, toward the ball), metres; not known below
    /// the gate.
    pub(super) center: Vec<Option<Point2<f64>>>,
}

impl Grid {
    /// The sample times of the fastest of some plates between two times of the markers' clock,
    /// nanoseconds, with those of the sample before and after. The order of the plates does not matter.
    pub(super) fn new(plates: &[&PlateWindow], zero_ns: i64, [from, to]: [i64; 2]) -> Maybe<Self> {
        let series = plates.iter().filter_map(|p| p.series.as_ref().ok());
        let fastest = series.max_by(|a, b| {
            let rate = a.rate_hz.total_cmp(&b.rate_hz);
            rate.then_with(|| b.time_ns.first().cmp(&a.time_ns.first()))
        });
        let all = &fastest.ok_or("no force plate that works")?.time_ns;
        let first = all.partition_point(|t| *t <= from).saturating_sub(1);
        let last = (all.partition_point(|t| *t < to) + 1).min(all.len());
        let time_ns = all.get(first..last).unwrap_or_default().to_vec();
        if time_ns.len() < 3 {
            return Err("the force plates sent nothing in this swing".into());
        }
        let since = |t: &i64| (t - zero_ns) as f64 * 1e-9;
        Ok(Self {
            t: time_ns.iter().map(since).collect(),
            time_ns,
        })
    }

    /// A curve at a time, straight between two places.
    pub(super) fn at(&self, curve: &[Option<f64>], t: f64) -> Option<f64> {
        let after = self.t.partition_point(|x| *x < t);
        let b = (*curve.get(after)?)?;
        if self.t[after] <= t {
            return Some(b);
        }
        let before = after.checked_sub(1)?;
        let (from, to) = (self.t[before], self.t[after]);
        Some(curve[before]? + (b - curve[before]?) * (t - from) / (to - from))
    }

    /// Mean between two times; of what is between the nearest places where no place is between.
    pub(super) fn mean(&self, curve: &[Option<f64>], [from, to]: [f64; 2]) -> Option<f64> {
        let (first, last) = self.within([from, to]);
        let known = curve.get(first..last)?.iter().flatten();
        let (sum, n) = known.fold((0.0, 0.0), |(s, n), v| (s + v, n + 1.0));
        match n {
            0.0 => self.at(curve, 0.5 * (from + to)),
            n => Some(sum / n),
        }
    }

    /// The largest value between two times and when, by the parabola through a highest place and its
    /// neighbors; the ends count as they are. `None` where a place between is not known.
    pub(super) fn peak(&self, curve: &[Option<f64>], span: [f64; 2]) -> Option<(f64, f64)> {
        let ends = [
            (span[0], self.at(curve, span[0])?),
            (span[1], self.at(curve, span[1])?),
        ];
        let (first, last) = self.within(span);
        let mut best = if ends[1].1 > ends[0].1 {
            ends[1]
        } else {
            ends[0]
        };
        let mut place = None;
        for (i, value) in curve.iter().enumerate().take(last).skip(first) {
            let value = (*value)?;
            if value > best.1 {
                (best, place) = ((self.t[i], value), Some(i));
            }
        }
        Some(
            place
                .and_then(|i| self.vertex(curve, i, span))
                .unwrap_or(best),
        )
    }

    /// Vertex of the parabola through three places; `None` where the middle one is not the highest.
    fn vertex(&self, curve: &[Option<f64>], i: usize, span: [f64; 2]) -> Option<(f64, f64)> {
        let l = (*curve.get(i.checked_sub(1)?)?)?;
        let (c, r) = (curve[i]?, (*curve.get(i + 1)?)?);
        let bend = l - 2.0 * c + r;
        if l > c || r > c || bend >= 0.0 {
            return None;
        }
        let step = 0.5 * (self.t[i + 1] - self.t[i - 1]);
        let shift = 0.5 * (l - r) / bend;
        let t = (self.t[i] + shift * step).clamp(span[0], span[1]);
        let shift = (t - self.t[i]) / step;
        Some((t, c + 0.5 * shift * ((r - l) + shift * bend)))
    }

    /// Integral between two times by trapezoids.
    pub(super) fn integral(&self, curve: &[Option<f64>], span: [f64; 2]) -> Option<f64> {
        let (first, last) = self.within(span);
        let mut before = (span[0], self.at(curve, span[0])?);
        let end = (span[1], self.at(curve, span[1])?);
        let between = self.t.iter().zip(curve).take(last).skip(first);
        let between = between.map(|(t, v)| Some((*t, (*v)?)));
        let mut sum = 0.0;
        for now in between.chain([Some(end)]) {
            let now = now?;
            sum += 0.5 * (now.1 + before.1) * (now.0 - before.0);
            before = now;
        }
        Some(sum)
    }

    /// Slope by central differences, a second.
    pub(super) fn slope(&self, curve: &[Option<f64>]) -> Curve {
        let of = |i: usize| {
            let (a, b) = (i.saturating_sub(1), (i + 1).min(curve.len() - 1));
            Some((curve[b]? - curve[a]?) / (self.t[b] - self.t[a]))
        };
        (0..curve.len()).map(of).collect()
    }

    /// Way of a center of pressure between two times, by chords of `step_s` and what is left.
    pub(super) fn way(
        &self,
        center: &[Option<Point2<f64>>],
        [from, to]: [f64; 2],
        step_s: f64,
    ) -> Option<f64> {
        let axis = |a: usize| -> Curve { center.iter().map(|p| Some((*p)?[a])).collect() };
        let [x, z] = [axis(0), axis(1)];
        let place = |t: f64| Some(Point2::new(self.at(&x, t)?, self.at(&z, t)?));
        let whole = ((to - from) / step_s).floor() as usize;
        let times = (1..=whole).map(|k| from + k as f64 * step_s).chain([to]);
        let mut before = place(from)?;
        let mut way = 0.0;
        for t in times {
            let now = place(t)?;
            way += (now - before).norm();
            before = now;
        }
        Some(way)
    }

    /// Places strictly between two times.
    fn within(&self, [from, to]: [f64; 2]) -> (usize, usize) {
        let first = self.t.partition_point(|t| *t <= from);
        (first, self.t.partition_point(|t| *t < to).max(first))
    }
}

impl Course {
    /// Some plates of a window together on a grid.
    pub(super) fn new(
        ground: &GroundWindow,
        plates: &[usize],
        grid: Result<&Grid, &String>,
    ) -> Maybe<Self> {
        let plates: Vec<_> = plates
            .iter()
            .map(|&n| {
                let plate = &ground.plates[n];
                let series = plate.series.as_ref().map_err(Clone::clone)?;
                let surface = plate.surface.ok_or("a force plate's place is not known")?;
                Ok((surface.center, series))
            })
            .collect::<Maybe<_>>()?;
        let grid = grid.map_err(Clone::clone)?;
        let places = grid.t.len();
        let mut course = Self {
            up: Vec::with_capacity(places),
            along: Vec::with_capacity(places),
            across: Vec::with_capacity(places),
            torque: Vec::with_capacity(places),
            center: Vec::with_capacity(places),
        };
        let mut parts: Vec<(Point3<f64>, Wrench)> = Vec::with_capacity(plates.len());
        for &t in &grid.time_ns {
            parts.clear();
            parts.extend(
                plates
                    .iter()
                    .filter_map(|(center, series)| Some((*center, series.at(t)?))),
            );
            let whole = parts.len() == plates.len();
            course.push(whole.then(|| total(&parts, LOAD_GATE_N)));
        }
        Ok(course)
    }

    fn push(&mut self, total: Option<Total>) {
        self.up.push(total.map(|t| t.force.y));
        self.along.push(total.map(|t| t.force.x));
        self.across.push(total.map(|t| t.force.z));
        self.torque
            .push(total.map(|t| t.vertical_moment.unwrap_or(0.0)));
        let center = total.and_then(|t| t.center);
        self.center.push(center.map(|p| Point2::new(p.x, p.z)));
    }
}
