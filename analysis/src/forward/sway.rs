//! Balance: the pelvis, and the trunk with it, gives way a little, so that the ground's force always
//! comes from under the feet. The idea is that of dynamics filters for walking machines: a motion
//! whose zero-moment point leaves the support is shifted smoothly until it does not (Vukobratović &
//! Borovac 2004, Int J Humanoid Robotics 1:157, recalled).
//!
//! What the motion demands is in `momentum`; how the feet share it, in `ground`.

use super::body::Build;
use super::curve::ease;
use super::ground::support;
use super::mass::{G, Placed};
use super::momentum::Dynamics;
use super::posture::{Dof, Posture};
use super::solve::newton;
use nalgebra::{DMatrix, DVector};

/// Distance of the spline's knots, s.
const KNOT_S: f64 = 0.01;

/// The demanded center of pressure is smoothed by a bell of this width (standard deviation, s): what
/// is quicker has to be balanced by the pelvis.
const BELL_S: f64 = 0.045;

/// Share of a shift's effect on the knees that the pelvis takes by rising and dropping a side.
const KEPT: f64 = 0.15;

/// Knots beside an instant that a spline of degree five shows there.
const REACH: usize = 2;

/// A pelvis this far from the habit weighs as much as a center of pressure 0.1 m from where it is
/// wanted, or a vertical force off by 0.1 of the weight, m (X, Z, Y): anywhere, and at the instants
/// that habits are about.
const LOOSE_M: [f64; 3] = [0.05, 0.05, 0.006];
const FIRM_M: [f64; 3] = [0.004, 0.020, 0.002];

/// How a golfer uses the ground: how much (0 to 1) of each habit; without any as the motion asks.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Weight {
    /// Between the feet in the backswing, and on the trail foot late in the downswing.
    pub(super) late: f64,
    /// Never much lighter than at rest.
    pub(super) level: f64,
    /// Back toward the middle between the feet before impact (Ball & Best 2007: one of two usual ways).
    pub(super) back: f64,
}

impl Weight {
    /// As the motion asks.
    pub(super) const USUAL: Self = Self {
        late: 0.0,
        level: 0.0,
        back: 0.0,
    };
}

/// What gives way: the pelvis is shifted and sinks; for the shift it also rises and drops a side, so
/// that only the sinking bends the knees.
const GIVES: [Dof; 5] = [
    Dof::PelvisX,
    Dof::PelvisZ,
    Dof::PelvisY,
    Dof::PelvisY,
    Dof::PelvisOblique,
];

/// A change of the pelvis, m and rad: quintic splines that begin and end at rest.
#[derive(Debug, Clone, Default)]
pub(super) struct Sway {
    from: f64,
    knots: Vec<[f64; GIVES.len()]>,
}

impl Sway {
    /// The posture of time `t`, s, with the change in it.
    pub(super) fn given(&self, t: f64, posture: &Posture) -> Posture {
        posture.plus(&self.at(t))
    }

    fn at(&self, t: f64) -> [(Dof, f64); GIVES.len()] {
        let u = (t - self.from) / KNOT_S;
        let first = u.ceil() - 3.0;
        let mut sum = [0.0; GIVES.len()];
        for step in 0..6_u32 {
            let k = first + f64::from(step);
            if let Some(knot) = index(k).and_then(|k| self.knots.get(k)) {
                let weight = bell(u - k);
                for (sum, knot) in sum.iter_mut().zip(knot) {
                    *sum += weight * knot;
                }
            }
        }
        std::array::from_fn(|i| (GIVES[i], sum[i]))
    }

    /// This shift changed such that the motion, in which it already is, demands less from outside
    /// the feet.
    pub(super) fn improved(&self, dynamics: &Dynamics, weight: Weight) -> Self {
        let times = dynamics.motion.times;
        // Its first knot reaches three knots back.
        let from = times.takeaway + 3.0 * KNOT_S;
        let count = index((times.finish - times.takeaway) / KNOT_S).unwrap_or(0) - 6;
        // Instants as far as the first and the last knot reach.
        let at: Vec<Demand> = (0..count + 2 * REACH)
            .zip((0_u32..).map(|i| times.takeaway + KNOT_S * f64::from(i + 1)))
            .map(|(_, t)| Demand::at(dynamics, t))
            .collect();
        let firm = [
            times.takeaway + 0.36 * (times.top - times.takeaway),
            times.takeaway + 0.42 * (times.top - times.takeaway),
            times.top,
            times.impact,
        ];
        let wanted = wanted(dynamics, weight, &at);
        let mut knots = self.knots.clone();
        knots.resize(count, [0.0; GIVES.len()]);
        let steps = [0, 1, 2].map(|axis| {
            let rows: Vec<(f64, f64, f64)> = at
                .iter()
                .zip(&wanted)
                .map(|(d, w)| d.row(axis, w[axis]))
                .collect();
            let before: Vec<f64> = knots.iter().map(|k| k[axis]).collect();
            let stiff = at.iter().enumerate().map(|(i, d)| {
                let near = firm.iter().any(|f| (f - d.t).abs() < 0.6 * KNOT_S);
                // Legs that are nearly straight can sink but not rise.
                let knot = i.saturating_sub(REACH).min(count - 1);
                let risen = axis == 2 && knots[knot][axis] > 0.0;
                0.1 / if near || risen {
                    FIRM_M[axis]
                } else {
                    LOOSE_M[axis]
                }
            });
            solve(&rows, &before, &stiff.collect::<Vec<_>>())
        });
        for (n, knot) in knots.iter_mut().enumerate() {
            let [x, z, sink] = [0, 1, 2].map(|axis| knot[axis] + steps[axis][n]);
            let t = at[n + REACH].t;
            let mut base = dynamics.motion.posture(t);
            for (dof, change) in self.at(t) {
                base[dof] -= change;
            }
            let [rise, oblique] = knees_kept(&dynamics.motion.build, &base, [x, z]);
            let [rise, oblique] = [rise, oblique].map(|change| KEPT * change);
            *knot = [x, z, sink, rise, oblique];
        }
        Self { from, knots }
    }
}

/// How far the pelvis rises and drops its lead side when it is shifted on legs as long as in `base`.
fn knees_kept(build: &Build, base: &Posture, [x, z]: [f64; 2]) -> [f64; 2] {
    let wanted = build.leg_lengths(base);
    let shifted = base.plus(&[(Dof::PelvisX, x), (Dof::PelvisZ, z)]);
    newton([0.0; 2], |&[y, oblique]| {
        let posture = shifted.plus(&[(Dof::PelvisY, y), (Dof::PelvisOblique, oblique)]);
        let found = build.leg_lengths(&posture);
        [0, 1].map(|i| found[i] - wanted[i])
    })
}

/// What the motion demands of the ground at one instant, and what a shift of the trunk does to it.
struct Demand {
    t: f64,
    /// Vertical force, N, and the weight.
    up: f64,
    rest: f64,
    /// Center of pressure, X and Z, m.
    pressure: [f64; 2],
    /// Center of pressure by which a shift of a metre moves it, and an acceleration of 1 m/s²
    /// against it, m.
    weight: f64,
    lever: f64,
}

impl Demand {
    fn at(dynamics: &Dynamics, t: f64) -> Self {
        let ground = dynamics.ground(t);
        // A fall that nearly takes the ground away would ask for the impossible.
        let up = ground.force.y.max(0.3 * G * dynamics.masses.total_kg());
        let (mut mass, mut moment) = (0.0, 0.0);
        for (body, share) in dynamics.placed(t).iter().zip(carried()) {
            let Placed {
                mass: m, center, ..
            } = body;
            mass += share * m;
            moment += share * m * center.y;
        }
        Self {
            t,
            up,
            rest: G * dynamics.masses.total_kg(),
            pressure: [ground.moment.z / up, -ground.moment.x / up],
            weight: mass / dynamics.masses.total_kg(),
            lever: moment / up,
        }
    }

    /// What a shift and its acceleration do, and the change that is wanted: of the center of
    /// pressure (0, 1), m, or of the vertical force (2), in weights.
    fn row(&self, axis: usize, wanted: f64) -> (f64, f64, f64) {
        match axis {
            2 => (0.0, -self.weight / G, wanted - self.up / self.rest),
            // What is far off is not believed to be linear.
            _ => {
                let change = (wanted - self.pressure[axis]).clamp(-1.5, 1.5);
                (self.weight, self.lever, change)
            }
        }
    }
}

/// The share of a shift of the pelvis that each body makes: thighs and shanks hang on the feet.
fn carried() -> impl Iterator<Item = f64> {
    let legs = [0.75, 0.75, 0.3, 0.3, 0.0, 0.0];
    std::iter::repeat_n(1.0, 10).chain(legs).chain([1.0])
}

/// Where the center of pressure shall be: what is demanded, smoothed, and drawn into the support.
/// Last the vertical force in weights, drawn toward what legs give.
fn wanted(dynamics: &Dynamics, weight: Weight, at: &[Demand]) -> Vec<[f64; 3]> {
    at.iter()
        .map(|here| {
            let (mut sum, mut total) = ([0.0; 2], 0.0);
            for other in at {
                let share = (-0.5 * ((other.t - here.t) / BELL_S).powi(2)).exp() * other.up;
                total += share;
                sum = [0, 1].map(|i| sum[i] + share * other.pressure[i]);
            }
            let (middle, half) = support(&dynamics.motion);
            let drawn = |value: f64, middle: f64, half: f64| {
                middle + half * ((value - middle) / half).tanh()
            };
            let [x, z] = [0, 1].map(|i| drawn(sum[i] / total, middle[i], half[i]));
            let up = here.up / here.rest;
            let mix = |usual: f64, other: f64, share: f64| (1.0 - share) * usual + share * other;
            let x = mix(x, back(dynamics, here.t, x), weight.back);
            let x = mix(x, late(dynamics, here.t, x), weight.late);
            let (middle, half) = (mix(1.25, 1.35, weight.level), mix(0.90, 0.45, weight.level));
            [x, z, drawn(up, middle, half)]
        })
        .collect()
}

/// A center of pressure drawn between the feet until the top, and toward the trail foot when most of
/// the downswing is over.
fn late(dynamics: &Dynamics, t: f64, x: f64) -> f64 {
    let times = dynamics.motion.times;
    let [lead, trail] = dynamics.motion.build.ankles.map(|a| a.x);
    let before = ease((t - times.takeaway) / 0.2) * (1.0 - ease((t - times.top) / 0.1));
    let done = (t - times.top) / (times.impact - times.top);
    let then = (-0.5 * ((done - 0.72) / 0.17).powi(2)).exp();
    let drawn = x + 0.85 * before * (trail + 0.55 * (lead - trail) - x);
    drawn + 0.95 * then * (trail + 0.10 * (lead - trail) - drawn)
}

/// A center of pressure that turns back from the lead foot in the last part of the downswing.
fn back(dynamics: &Dynamics, t: f64, x: f64) -> f64 {
    let times = dynamics.motion.times;
    let [lead, trail] = dynamics.motion.build.ankles.map(|a| a.x);
    let done = (t - times.top) / (times.impact - times.top);
    let then = (-0.5 * ((done - 1.05) / 0.16).powi(2)).exp();
    x + 0.95 * then * (trail + 0.20 * (lead - trail) - x)
}

/// Knots whose spline x makes weight · x − lever · ẍ the wanted change, as nearly as stiffness
/// against x + before allows (least squares). Instant i + `REACH` is that of knot i.
fn solve(rows: &[(f64, f64, f64)], before: &[f64], stiff: &[f64]) -> DVector<f64> {
    const VALUES: [f64; 3] = [11.0 / 20.0, 13.0 / 60.0, 1.0 / 120.0];
    const BENDS: [f64; 3] = [-1.0, 1.0 / 3.0, 1.0 / 6.0];
    let n = before.len();
    let mut matrix = DMatrix::<f64>::identity(n, n) * 1e-9;
    let mut right = DVector::<f64>::zeros(n);
    let near = |i: usize| i.saturating_sub(2 * REACH)..(i + 1).min(n);
    let mut add = |i: usize, row: &dyn Fn(usize) -> f64, value: f64| {
        for a in near(i) {
            right[a] += row(a) * value;
            for b in near(i) {
                matrix[(a, b)] += row(a) * row(b);
            }
        }
    };
    for (i, &(weight, lever, change)) in rows.iter().enumerate() {
        let value = |k: usize| VALUES[i.abs_diff(k + REACH)];
        let bend = |k: usize| BENDS[i.abs_diff(k + REACH)] / (KNOT_S * KNOT_S);
        add(i, &|k| weight * value(k) - lever * bend(k), change);
        let now: f64 = near(i).map(|k| value(k) * before[k]).sum();
        add(i, &|k| stiff[i] * value(k), -stiff[i] * now);
    }
    matrix
        .cholesky()
        .map_or_else(|| DVector::zeros(n), |c| c.solve(&right))
}

/// The cardinal spline of degree five.
fn bell(x: f64) -> f64 {
    let x = x.abs();
    if x < 1.0 {
        0.55 + x * x * (-0.5 + x * x * (0.25 - x / 12.0))
    } else if x < 2.0 {
        0.425 + x * (0.625 + x * (-1.75 + x * (1.25 + x * (-0.375 + x / 24.0))))
    } else {
        (3.0 - x).max(0.0).powi(5) / 120.0
    }
}

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "checked to be positive and small"
)]
fn index(k: f64) -> Option<usize> {
    (0.0..1e6).contains(&k).then_some(k as usize)
}
