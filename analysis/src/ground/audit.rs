//! Force plates against the motion: what the plates say the ground gave, beside what the movement of
//! golfer and club took (Newton and Euler). Both are low-passed alike and compared from the takeaway to
//! impact; the ball's blow comes after. It reports and never corrects.
//!
//! What the movement took comes from `metrics::audit`; which faults are tried is in `faults`, the words
//! are in `words`.

mod faults;
mod words;

pub use faults::{Axis, Fault};

use nalgebra::{Point3, Vector3};

use super::plate::Surface;
use super::window::{GroundWindow, Reactions};
use crate::body::segments::Maybe;
use crate::signal::lowpass::DualPass;

/// Cut-off of both sides, Hz: a swing's mass center has little above 10 Hz, and the noise of twice
/// differentiated markers grows fast beyond (common practice, no source).
const CUTOFF_HZ: f64 = 12.0;
/// Delays that are tried, seconds.
const LAG_MAX_S: f64 = 0.060;
const LAG_STEP_S: f64 = 0.004;

/// What golfer and club took from the ground, one entry an instant, golfer frame.
#[derive(Debug, Clone)]
pub struct Needed {
    /// Instants a second.
    pub rate_hz: f64,
    /// Device time of every instant, nanoseconds, evenly rising up to impact.
    pub time_ns: Vec<i64>,
    /// Instants that are judged; those before are there for the low-pass.
    pub judged_from: usize,
    /// Force, N.
    pub force: Vec<Vector3<f64>>,
    /// Moment about the point, N·m.
    pub moment: Vec<Vector3<f64>>,
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

/// The plates beside the motion.
struct Bench<'a> {
    needed: &'a Needed,
    plates: Vec<Carried<'a>>,
    filter: DualPass,
    /// The motion's side, low-passed.
    force: Vec<Vector3<f64>>,
    moment: Vec<Vector3<f64>>,
}

/// One plate.
struct Carried<'a> {
    /// Its number in sentences.
    name: &'a str,
    surface: Surface,
    series: &'a Reactions,
    /// Its reaction on time.
    wrenches: Side,
}

/// Force, and moment about the middle of a plate's surface, low-passed.
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
pub fn audit(ground: &GroundWindow, needed: &Needed) -> Maybe<Audit> {
    let bench = Bench::new(ground, needed)?;
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
    fn new(ground: &'a GroundWindow, needed: &'a Needed) -> Maybe<Self> {
        let filter = DualPass::butterworth(needed.rate_hz, CUTOFF_HZ);
        let mut bench = Self {
            needed,
            plates: Vec::new(),
            force: Vec::new(),
            moment: Vec::new(),
            filter,
        };
        bench.force = bench.smooth(&needed.force);
        bench.moment = bench.smooth(&needed.moment);
        for plate in &ground.plates {
            let series = plate.series.as_ref().map_err(Clone::clone)?;
            let surface = plate.surface.ok_or("a force plate's place is not known")?;
            let wrenches = bench.read(series, 0.0);
            let wrenches = wrenches.ok_or_else(|| format!("{} sent nothing then", plate.name))?;
            bench.plates.push(Carried {
                name: &plate.name,
                surface,
                series,
                wrenches,
            });
        }
        if bench.plates.is_empty() {
            return Err("no force plates".to_owned());
        }
        Ok(bench)
    }

    fn smooth(&self, series: &[Vector3<f64>]) -> Vec<Vector3<f64>> {
        let axis = |a: usize| -> Vec<f64> { series.iter().map(|v| v[a]).collect() };
        let axes = [axis(0), axis(1), axis(2)];
        let views: Vec<&[f64]> = axes.iter().map(Vec::as_slice).collect();
        let pad = (0.5 * self.needed.rate_hz / CUTOFF_HZ).ceil() as usize * 4;
        let smooth = self.filter.run_many(&views, pad);
        (0..series.len())
            .map(|i| Vector3::new(smooth[0][i], smooth[1][i], smooth[2][i]))
            .collect()
    }

    /// A plate's reaction read `late_s` later than its times say; `None` where it is not known.
    fn read(&self, series: &Reactions, late_s: f64) -> Option<Side> {
        let late_ns = (late_s * 1e9).round() as i64;
        let all = self.needed.time_ns.iter().map(|t| series.at(t + late_ns));
        let all = all.collect::<Option<Vec<_>>>()?;
        let of = |f: fn(&super::wrench::Wrench) -> Vector3<f64>| -> Vec<Vector3<f64>> {
            self.smooth(&all.iter().map(f).collect::<Vec<_>>())
        };
        Some(Side {
            force: of(|w| w.force),
            moment: of(|w| w.moment),
        })
    }

    /// What is left over at an instant: force, and moment about the motion's point.
    fn over(&self, sides: &[&Side], i: usize) -> (Vector3<f64>, Vector3<f64>) {
        let mut over = (-self.force[i], -self.moment[i]);
        for (side, plate) in sides.iter().zip(&self.plates) {
            let arm = plate.surface.center - self.needed.about;
            over.0 += side.force[i];
            over.1 += side.moment[i] + arm.cross(&side.force[i]);
        }
        over
    }

    fn left(&self, sides: &[&Side]) -> Left {
        let (mut left, weight) = (Left::NOTHING, self.needed.weight_n);
        let judged = self.needed.judged_from..self.force.len();
        let n = judged.len().max(1) as f64;
        for i in judged {
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

    /// All plates read at another time: that at which the least force is left over.
    fn lag(&self) -> Maybe<f64> {
        let at = |late_s: f64| {
            let sides = self.plates.iter().map(|p| self.read(p.series, late_s));
            let sides = sides.collect::<Option<Vec<_>>>()?;
            Some((late_s, self.left(&sides.iter().collect::<Vec<_>>()).force))
        };
        let tried: Vec<(f64, f64)> = Self::lags().filter_map(at).collect();
        lowest(&tried)
            .map(|l| l.0)
            .ok_or_else(|| "the force plates sent too little".to_owned())
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
