//! Angular velocities between the top and impact: of segments from their rotations, of lines from
//! their directions.
//!
//! Rotations go through the logarithm and lines through a frame that turns along, so that a low
//! frame rate does not read slow (REFERENCES A2). What the club does after the collision never
//! enters.

use crate::body::grid;
use crate::body::rotation::angular_velocity;
use crate::body::skeleton::Segment;
use crate::signal::{local_fit, turning};
use nalgebra::{Matrix3, Vector2, Vector3};

/// Least spacing of the instants looked at, seconds: the motion is smooth over more.
const STEP_S: f64 = 0.005;
/// Degree of the fit of a segment's angular velocity.
const SEGMENT_DEGREE: usize = 4;
/// Degree of the fit of a line's direction in the frame that turns with it.
const LINE_DEGREE: usize = 4;
/// Fewest samples on each side of an instant.
const SIDE_MIN: f64 = 4.0;

/// The instants from the top to impact at which everything is read.
#[derive(Debug, Clone)]
pub(super) struct Moments {
    /// Slots, rising; the first one is the top itself, the last one impact.
    pub(super) slots: Vec<f64>,
    /// Frames a second.
    pub(super) rate_hz: f64,
    /// Last slot that belongs to the motion before impact.
    pub(super) before: usize,
}

impl Moments {
    pub(super) fn new(top: f64, impact: f64, before: usize, rate_hz: f64) -> Self {
        let stride = ((STEP_S * rate_hz).round() as usize).max(1);
        let first = top.max(0.0).ceil() as usize;
        let mut slots: Vec<f64> = (first..=before)
            .rev()
            .step_by(stride)
            .map(|i| i as f64)
            .collect();
        if slots.last().is_none_or(|s| *s > top.max(0.0)) {
            slots.push(top.max(0.0));
        }
        slots.reverse();
        slots.push(impact);
        Self {
            slots,
            rate_hz,
            before,
        }
    }

    /// Time of an instant relative to impact, seconds, negative before.
    pub(super) fn relative_s(&self, n: usize) -> f64 {
        (self.slots[n] - self.slots[self.slots.len() - 1]) / self.rate_hz
    }
}

/// How a segment or line turns at each instant.
#[derive(Debug, Clone)]
pub(super) struct Spin {
    /// About its own long axis (segments) or altogether (lines), rad/s.
    pub(super) speed: Vec<f64>,
    /// Slope of that, rad/s².
    pub(super) slope: Vec<f64>,
    /// Slope of the angular velocity about the common normal, rad/s².
    pub(super) common: Vec<f64>,
    /// Moments at which every marker behind it was known.
    pub(super) known: Vec<bool>,
    /// What limits it, in words.
    pub(super) limited: Option<String>,
}

/// A segment from its frames; `half_s` is half of the stretch that is fitted at each
/// instant, seconds.
pub(super) fn of_segment(
    segment: &Segment,
    instants: &Moments,
    normal: Vector3<f64>,
    half_s: f64,
) -> Spin {
    let grid = segment.grid;
    let rate_hz = grid.rate(instants.rate_hz);
    let half = (half_s * rate_hz).max(SIDE_MIN);
    let reach = half.ceil() as usize + 1;
    let first = instants.slots.first().map_or(0.0, |s| grid.place(*s)) as usize;
    let from = first.saturating_sub(reach);
    let last = grid.place(instants.before as f64) as usize;
    let to = (last + 1 + reach).min(segment.frames.len());
    let rotations: Vec<Matrix3<f64>> = segment.frames[from.min(to)..to]
        .iter()
        .map(|f| f.rotation)
        .collect();
    let velocities = angular_velocity(&rotations, 1.0 / rate_hz);
    let own: Vec<[f64; 2]> = velocities
        .iter()
        .zip(&rotations)
        .map(|(w, r)| [w.dot(&r.column(1)), w.dot(&normal)])
        .collect();
    let mut spin = Spin::empty(None);
    for place in instants.slots.iter().map(|s| grid.place(*s)) {
        let near = |i: usize| ((from + i) as f64 - place).abs() <= half;
        let begin = (0..own.len()).find(|&i| near(i)).unwrap_or(own.len());
        let end = (begin..own.len()).find(|&i| !near(i)).unwrap_or(own.len());
        let places = (begin..end).map(|i| (from + i) as f64);
        let seen = grid::seen(&segment.known, place);
        let normal = (end - begin > SEGMENT_DEGREE)
            .then(|| local_fit::Normal::new(places.clone(), SEGMENT_DEGREE, place))
            .flatten();
        let Some(normal) = normal else {
            spin.push([0.0; 3], false);
            continue;
        };
        let mut right = [Vector2::zeros(); local_fit::TERMS_MAX];
        for (at, own) in places.zip(&own[begin..end]) {
            normal.add(at, Vector2::from(*own), &mut right);
        }
        let [value, slope, ..] = normal.solve(right);
        spin.push([value.x, slope.x * rate_hz, slope.y * rate_hz], seen);
    }
    spin
}

/// A line from its directions, one a slot. `half_s` is half of the stretch that is fitted at each
/// instant; `last` is the last slot that may enter.
pub(super) fn of_line(
    (directions, known): (&[Vector3<f64>], &[bool]),
    instants: &Moments,
    normal: Vector3<f64>,
    (half_s, last): (f64, usize),
) -> Spin {
    let rate_hz = instants.rate_hz;
    let half = (half_s * rate_hz).max(SIDE_MIN);
    let last = last.min(directions.len().saturating_sub(1));
    let mut spin = Spin::empty(None);
    let mut stretches = turning::Stretches::new(rate_hz, LINE_DEGREE);
    for &slot in &instants.slots {
        let end = ((slot + half) as usize).min(last);
        let begin = (end as f64 - 2.0 * half).max(0.0).round() as usize;
        let fit = if known[begin..=end].iter().all(|k| *k) {
            let times = stretches.about(slot, (begin, end + 1 - begin));
            times.and_then(|t| turning::Fit::direction_at(t, |i| directions[begin + i]))
        } else {
            let samples: Vec<_> = (begin..=end)
                .filter(|&i| known[i])
                .map(|i| ((i as f64 - slot) / rate_hz, directions[i]))
                .collect();
            // Nothing is read where more than a third of the stretch is a hole.
            let enough = samples.len() * 3 >= (end + 1 - begin) * 2;
            turning::Fit::direction(&samples, LINE_DEGREE, 0.0).filter(|_| enough)
        };
        match fit {
            Some(fit) => {
                let state = fit.state(0.0);
                let (w, slope) = (state.spin(), state.spin_slope());
                let along = w.try_normalize(1e-9).map_or(0.0, |u| u.dot(&slope));
                spin.push([w.norm(), along, slope.dot(&normal)], true);
            }
            None => spin.push([0.0; 3], false),
        }
    }
    spin
}

impl Spin {
    fn empty(limited: Option<String>) -> Self {
        Self {
            speed: Vec::new(),
            slope: Vec::new(),
            common: Vec::new(),
            known: Vec::new(),
            limited,
        }
    }

    fn push(&mut self, [speed, slope, common]: [f64; 3], known: bool) {
        self.speed.push(speed);
        self.slope.push(slope);
        self.common.push(common);
        self.known.push(known);
    }

    /// The same, with what limits it.
    pub(super) fn limited(self, limited: Option<String>) -> Self {
        Self { limited, ..self }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::body::frames::Frame;
    use crate::body::grid::Grid;
    use nalgebra::Rotation3;

    const RATE: f64 = 240.0;

    fn instants() -> Moments {
        Moments::new(20.3, 79.6, 79, RATE)
    }

    /// An even turn is read exactly at any rate (REFERENCES A2: a plain difference is 0.5 % low at
    /// ten degrees a frame).
    #[test]
    fn an_even_turn_is_read_exactly() {
        let axis = Vector3::new(0.3, 0.8, 0.5) / 0.98_f64.sqrt();
        let rate = 2400_f64.to_radians();
        let rotations: Vec<Matrix3<f64>> = (0..20)
            .map(|i| Rotation3::new(axis * (rate * f64::from(i) / RATE)).into_inner())
            .collect();
        for w in angular_velocity(&rotations, 1.0 / RATE) {
            assert!((w - axis * rate).norm() < 1e-9, "{w}");
        }
    }

    /// A segment that speeds up about its own long axis, which leans by 0.4 rad.
    #[test]
    fn a_segments_speed_and_slope_are_read_along_its_own_axis() {
        let lean = Rotation3::from_euler_angles(0.4, 0.0, 0.0);
        let angle = |t: f64| 2.0 * t + 15.0 * t * t;
        let rotations: Vec<Matrix3<f64>> = (0..100)
            .map(|i| f64::from(i) / RATE)
            .map(|t| (lean * Rotation3::new(Vector3::y() * angle(t))).into_inner())
            .collect();
        let frames: Vec<Frame> = rotations
            .into_iter()
            .map(|rotation| Frame {
                rotation,
                origin: nalgebra::Point3::origin(),
            })
            .collect();
        let segment = Segment {
            frames,
            grid: Grid::EVERY,
            known: vec![true; 100],
            limited: None,
        };
        let spin = of_segment(&segment, &instants(), Vector3::y(), 0.070);
        let (slots, last) = (instants().slots, instants().slots.len() - 1);
        for n in [0, 10, last] {
            let truth = 2.0 + 30.0 * slots[n] / RATE;
            assert!((spin.speed[n] - truth).abs() < 1e-6, "{}", spin.speed[n]);
            assert!((spin.slope[n] - 30.0).abs() < 1e-4);
            assert!((spin.common[n] - 30.0 * 0.4_f64.cos()).abs() < 1e-4);
        }
    }

    /// A line that turns 10 to 40 rad/s in a tilted plane and, after the cut, stands still.
    #[test]
    fn a_line_is_read_up_to_the_cut_and_not_across_it() {
        let tilt = Rotation3::from_euler_angles(0.9, 0.0, 0.2);
        let normal = tilt * Vector3::z();
        let direction = |i: u32| {
            let t = f64::from(i.min(79)) / RATE;
            let a = 5.0 * t + 50.0 * t * t;
            tilt * Vector3::new(a.cos(), a.sin(), 0.0)
        };
        let directions: Vec<_> = (0..120).map(direction).collect();
        let known = vec![true; 120];
        let spin = of_line((&directions, &known), &instants(), normal, (0.025, 79));
        let slots = instants().slots;
        for n in [0, 30, slots.len() - 1] {
            let truth = 5.0 + 100.0 * slots[n] / RATE;
            assert!(
                (spin.speed[n] / truth - 1.0).abs() < 2e-3,
                "{} {truth}",
                spin.speed[n]
            );
            assert!((spin.slope[n] - 100.0).abs() < 3.0, "{}", spin.slope[n]);
            assert!((spin.common[n] - spin.slope[n]).abs() < 1e-6);
        }
    }

    #[test]
    fn a_hole_makes_instants_unknown() {
        let directions = vec![Vector3::x(); 120];
        let mut known = vec![true; 120];
        known[40..60].fill(false);
        let spin = of_line(
            (&directions, &known),
            &instants(),
            Vector3::z(),
            (0.025, 79),
        );
        assert!(!spin.known.iter().all(|k| *k) && spin.known[0]);
    }
}
