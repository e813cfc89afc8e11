//! Force plates against the motion: what the plates say the ground gave, beside what the movement of
//! golfer and club took (Newton and Euler). It reports and never corrects.
//!
//! Both sides are means over a smooth bell of time that ends before impact, so that the ball's blow is
//! in neither: of the plates the mean of the force itself; of the motion, by parts, that of the mass
//! center under the bell's second derivative and of the angular momentum under its first. No path is
//! differentiated or low-passed near an end.
//!
//! What the movement took comes from `metrics::audit`; which faults are tried is in `faults`, the words
//! are in `words`.

mod faults;
#[cfg(test)]
mod tests;
mod words;

pub use faults::{Axis, Fault};

use nalgebra::{Point3, Vector3};

use super::plate::Surface;
use super::window::{GroundWindow, Reactions};
use super::wrench::Wrench;
use crate::body::inertia::GRAVITY;
use crate::body::segments::Maybe;

/// Half the width of the bell, seconds. It passes half of the power at 7 Hz: a swing's mass center has
/// little beyond, and the noise of markers grows with the square of the frequency (common practice, no
/// source).
const HALF_S: f64 = 0.060;
/// Distance of the bells' middles, seconds.
const STEP_S: f64 = 0.008;
/// Delays that are tried, seconds.
const LAG_MAX_S: f64 = 0.060;
const LAG_STEP_S: f64 = 0.004;

/// The motion of golfer and club, one entry an instant, golfer frame.
#[derive(Debug, Clone)]
pub struct Motion {
    /// Readings a second.
    pub rate_hz: f64,
    /// Device time of every instant, nanoseconds, evenly rising up to impact.
    pub time_ns: Vec<i64>,
    /// The instant from which it is judged.
    pub start: usize,
    /// Mass center of both, metres.
    pub center: Vec<Point3<f64>>,
    /// Mass of both, kg.
    pub mass_kg: f64,
    /// Angular momentum about a fixed point, kg·m²/s.
    pub angular: Vec<Vector3<f64>>,
    /// That point, metres.
    pub about: Point3<f64>,
    /// Body weight (without the club), N.
    pub weight_n: f64,
    /// Whether the body's mass was told (else it is the plates' own).
    pub told: bool,
}

/// How plates and motion agree.
#[derive(Debug, Clone, PartialEq)]
pub struct Audit {
    /// Root mean square of the force that is left over, in body weights.
    pub residual: f64,
    /// The same of the moment about the plates' middle, body weights times metres.
    pub moment: f64,
    /// How late the force stream is against the markers, seconds.
    pub lag_s: f64,
    /// What explains a disagreement, if something clearly does.
    pub fault: Option<Fault>,
    /// The fault in plain sentences with what to do.
    pub findings: Vec<String>,
    /// Every fault that was tried with what it leaves over, in squares of a healthy rig's; the best
    /// first, empty where nothing is odd.
    pub tried: Vec<(Fault, f64)>,
}

/// The plates beside the motion, one entry a bell.
struct Bench<'a> {
    motion: &'a Motion,
    plates: Vec<Carried<'a>>,
    bell: Bell,
    /// First instants of the bells.
    from: Vec<usize>,
    /// What the motion took: force, and moment about the motion's point.
    force: Vec<Vector3<f64>>,
    moment: Vec<Vector3<f64>>,
}

/// Weights of a mean over time, and their first and second derivative.
struct Bell {
    weight: Vec<f64>,
    slope: Vec<f64>,
    bend: Vec<f64>,
}

/// One plate.
struct Carried<'a> {
    /// Its number in sentences.
    name: &'a str,
    surface: Surface,
    /// Its reaction on time.
    wrenches: Side,
    /// The same read so much later, an entry a delay that is tried; `None` where it is not known.
    late: Vec<Option<Side>>,
}

/// Force, and moment about the middle of a plate's surface, one entry a bell.
#[derive(Debug, Clone)]
struct Side {
    force: Vec<Vector3<f64>>,
    moment: Vec<Vector3<f64>>,
}

/// Mean squares of what is left over: force in body weights, moment in body weights times metres.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Left {
    force: f64,
    moment: f64,
}

/// Compares the plates of a swing with what its motion took.
///
/// # Errors
/// Says what is missing.
pub fn audit(ground: &GroundWindow, motion: &Motion) -> Maybe<Audit> {
    let bench = Bench::new(ground, motion)?;
    let on_time: Vec<&Side> = bench.plates.iter().map(|p| &p.wrenches).collect();
    let left = bench.left(&on_time);
    let lag_s = bench.lag()?;
    let (fault, tried) = faults::explain(&bench, left);
    Ok(Audit {
        tried,
        residual: left.force.sqrt(),
        moment: left.moment.sqrt(),
        lag_s,
        findings: fault.iter().map(|f| words::of(f, &bench)).collect(),
        fault,
    })
}

impl<'a> Bench<'a> {
    fn new(ground: &'a GroundWindow, motion: &'a Motion) -> Maybe<Self> {
        let bell = Bell::new(motion.rate_hz);
        let (n, step) = (
            bell.weight.len(),
            (STEP_S * motion.rate_hz).round().max(1.0),
        );
        let first = motion.start.saturating_sub(n / 2);
        let from: Vec<usize> = (first..)
            .step_by(step as usize)
            .take_while(|i| i + n <= motion.time_ns.len())
            .collect();
        if from.is_empty() {
            return Err("the swing is too short".to_owned());
        }
        let weight = Vector3::y() * (motion.mass_kg * GRAVITY);
        let (mut force, mut moment) = (Vec::new(), Vec::new());
        for &i in &from {
            let center =
                |weights: &[f64]| bell_mean(weights, &motion.center[i..i + n], |c| c.coords);
            let turned = bell_mean(&bell.slope, &motion.angular[i..i + n], |h| *h);
            force.push(center(&bell.bend) * motion.mass_kg + weight);
            let held = (center(&bell.weight) - motion.about.coords).cross(&weight);
            moment.push(held - turned);
        }
        let mut bench = Self {
            motion,
            plates: Vec::new(),
            bell,
            from,
            force,
            moment,
        };
        for plate in &ground.plates {
            let series = plate.series.as_ref().map_err(Clone::clone)?;
            let surface = plate.surface.ok_or("a force plate's place is not known")?;
            let wrenches = bench.read(series, 0.0);
            let wrenches = wrenches.ok_or_else(|| format!("{} sent nothing then", plate.name))?;
            bench.plates.push(Carried {
                name: &plate.name,
                surface,
                wrenches,
                late: Self::lags().map(|s| bench.read(series, s)).collect(),
            });
        }
        if bench.plates.is_empty() {
            return Err("no force plates".to_owned());
        }
        Ok(bench)
    }

    /// A plate's reaction read `late_s` later than its times say; `None` where it is not known.
    fn read(&self, series: &Reactions, late_s: f64) -> Option<Side> {
        let late_ns = (late_s * 1e9).round() as i64;
        let first = *self.from.first()?;
        let times = self.motion.time_ns[first..].iter();
        let all = series.along(times.map(|t| t + late_ns))?;
        let of = |what: fn(&Wrench) -> Vector3<f64>| -> Vec<Vector3<f64>> {
            let under = self.from.iter().map(|i| &all[i - first..]);
            under
                .map(|w| bell_mean(&self.bell.weight, w, what))
                .collect()
        };
        Some(Side {
            force: of(|w| w.force),
            moment: of(|w| w.moment),
        })
    }

    /// What is left over under a bell: force, and moment about the motion's point.
    fn over(&self, sides: &[&Side], i: usize) -> (Vector3<f64>, Vector3<f64>) {
        let mut over = (-self.force[i], -self.moment[i]);
        for (side, plate) in sides.iter().zip(&self.plates) {
            let arm = plate.surface.center - self.motion.about;
            over.0 += side.force[i];
            over.1 += side.moment[i] + arm.cross(&side.force[i]);
        }
        over
    }

    fn left(&self, sides: &[&Side]) -> Left {
        let (mut left, weight) = (Left::NOTHING, self.motion.weight_n);
        let n = self.force.len().max(1) as f64;
        for i in 0..self.force.len() {
            let (force, moment) = self.over(sides, i);
            left.force += force.norm_squared() / (weight * weight * n);
            left.moment += moment.norm_squared() / (weight * weight * n);
        }
        left
    }

    /// Delays that are tried.
    fn lags() -> impl Iterator<Item = f64> {
        let steps = (LAG_MAX_S / LAG_STEP_S).round() as i32;
        (-steps..=steps).map(|k| f64::from(k) * LAG_STEP_S)
    }

    /// What is left over at each delay that can be read, by the sides of one plate or of all.
    fn each_lag<'b>(
        &'b self,
        sides: impl Fn(usize) -> Option<Vec<&'b Side>>,
    ) -> impl Iterator<Item = (f64, Left)> {
        let left = move |(n, late_s)| Some((late_s, self.left(&sides(n)?)));
        Self::lags().enumerate().filter_map(left)
    }

    /// What is left over with all plates read later.
    fn all_late(&self) -> impl Iterator<Item = (f64, Left)> {
        self.each_lag(|n| self.plates.iter().map(|p| p.late[n].as_ref()).collect())
    }

    /// All plates read at another time: that at which the least force is left over.
    fn lag(&self) -> Maybe<f64> {
        let tried: Vec<(f64, f64)> = self.all_late().map(|(s, left)| (s, left.force)).collect();
        lowest(&tried)
            .map(|l| l.0)
            .ok_or_else(|| "the force plates sent too little".to_owned())
    }
}

/// Sum of what is under a bell, each times its weight.
fn bell_mean<T>(weights: &[f64], of: &[T], what: impl Fn(&T) -> Vector3<f64>) -> Vector3<f64> {
    weights.iter().zip(of).map(|(w, x)| what(x) * *w).sum()
}

impl Bell {
    /// (1 − s²)³, of weight 1; its derivatives as differences, so that they take nothing from a point
    /// that rests or moves evenly.
    fn new(rate_hz: f64) -> Self {
        let half = (HALF_S * rate_hz).round().max(3.0);
        let raw = |k: f64| (1.0 - (k / (half + 1.0)).powi(2)).max(0.0).powi(3);
        let places = || (-half as i64..=half as i64).map(|k| k as f64);
        let sum: f64 = places().map(raw).sum();
        let weight = |k: f64| raw(k) / sum;
        // One place further on each side, where the bell is zero and its differences are not.
        let wide = || (-half as i64 - 1..=half as i64 + 1).map(|k| k as f64);
        let slope = |k: f64| 0.5 * (weight(k + 1.0) - weight(k - 1.0)) * rate_hz;
        let bend =
            |k: f64| (weight(k + 1.0) - 2.0 * weight(k) + weight(k - 1.0)) * rate_hz * rate_hz;
        Self {
            weight: wide().map(weight).collect(),
            slope: wide().map(slope).collect(),
            bend: wide().map(bend).collect(),
        }
    }
}

impl Left {
    const NOTHING: Self = Self {
        force: 0.0,
        moment: 0.0,
    };
}

/// The lowest of evenly spaced samples and its place, by the parabola around it.
fn lowest(samples: &[(f64, f64)]) -> Option<(f64, f64)> {
    let least = (0..samples.len()).min_by(|a, b| samples[*a].1.total_cmp(&samples[*b].1))?;
    let (x, y) = samples[least];
    let around = (least > 0).then(|| samples.get(least + 1)).flatten();
    let Some(after) = around else {
        return Some((x, y));
    };
    let before = samples[least - 1];
    let bend = before.1 - 2.0 * y + after.1;
    if bend <= 0.0 {
        return Some((x, y));
    }
    let shift = 0.5 * (before.1 - after.1) / bend;
    let step = after.0 - x;
    Some((x + shift * step, y - 0.25 * (before.1 - after.1) * shift))
}
