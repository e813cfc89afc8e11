//! The ground under the feet: what each foot gives of the force and moment that the motion takes.
//!
//! Force and moment of both feet together follow from the motion (`momentum`) and are exact. How two
//! feet share them is not in the motion: here the vertical forces follow from where the common
//! center of pressure lies between the feet, and the rest from a plain pattern.

use super::body::{Build, SIDES, about_y};
use super::curve::ease;
use super::momentum::{Dynamics, Wrench};
use super::motion::Motion;
use super::posture::Dof;
use nalgebra::{Point3, Vector3};

/// What the ground does to the golfer at one instant; lead, trail.
#[derive(Debug, Clone, Copy)]
pub(super) struct Reaction {
    /// Force on each foot, N.
    pub(super) force: [Vector3<f64>; 2],
    /// Center of pressure of each foot, on the floor, m.
    pub(super) center: [Point3<f64>; 2],
    /// Free moment of each foot about the vertical, N·m.
    pub(super) free: [f64; 2],
    /// Force of both and its moment about the bay's origin.
    pub(super) total: Wrench,
    /// Center of pressure of both.
    pub(super) common: Point3<f64>,
    /// Moment of both about the vertical through it, N·m.
    pub(super) turning: f64,
}

/// How sharply the feet's shares go to nothing and to all, in distances of the feet.
const SHARPNESS: f64 = 0.05;

/// Feet that stand apart push apart: horizontal force ÷ the vertical of the lighter foot, about
/// (invented).
const SPREAD: f64 = 0.12;

/// Share of the turning that the feet give by pushing in opposite directions, and how hard they may
/// do so: horizontal force ÷ vertical force of the lighter foot.
const COUPLE: f64 = 0.8;
const GRIP: f64 = 0.35;

/// Half the width of a sole, and how far it reaches behind and before the ankle center, m at scale 1.
const SOLE_HALF: f64 = 0.045;
const SOLE: [f64; 2] = [-0.055, 0.200];

/// The heel is off the floor when it is lifted by this angle, rad.
const LIFTED: f64 = 0.2;

/// A sole on the floor: middle of what touches, axes (across, along), half sizes along them, m.
#[derive(Debug, Clone, Copy)]
pub(super) struct Sole {
    pub(super) middle: Point3<f64>,
    axes: [Vector3<f64>; 2],
    half: [f64; 2],
}

impl Sole {
    fn of(motion: &Motion, t: f64, side: usize) -> Self {
        let lift = if side == 1 {
            motion.posture(t)[Dof::HeelLift]
        } else {
            0.0
        };
        let build = &motion.build;
        Self::at(
            build,
            build.ankles[side],
            SIDES[side] * build.flare[side],
            lift,
        )
    }

    /// Of a foot whose ankle is there when it is flat, that points so (rad) and whose heel is lifted so (rad).
    pub(super) fn at(build: &Build, ankle: Point3<f64>, heading: f64, lift: f64) -> Self {
        let flat = about_y(heading);
        let turned = about_y(heading + 0.9 * lift);
        let [across, along] = [0, 2].map(|i| turned.column(i).into_owned());
        // Of a lifted foot only what is before the ball touches.
        let off = ease(lift / LIFTED);
        let ball = build.toe_from_ankle().z;
        let pivot = ankle + flat * build.toe_from_ankle();
        let (back, front) = (SOLE[0] * build.scale, SOLE[1] * build.scale);
        let from_ball = [back - ball, front - ball];
        let rear = from_ball[0] + off * (-0.02 - from_ball[0]);
        let middle = pivot + along * (0.5 * (rear + from_ball[1]));
        Self {
            middle: Point3::new(middle.x, 0.0, middle.z),
            axes: [across, along],
            half: [SOLE_HALF * build.scale, 0.5 * (from_ball[1] - rear)],
        }
    }

    /// How far out a point is: 1 at the edge.
    #[cfg(test)]
    pub(super) fn out(&self, p: &Point3<f64>) -> f64 {
        let off = p - self.middle;
        [0, 1]
            .map(|i| off.dot(&self.axes[i]).abs() / self.half[i])
            .into_iter()
            .fold(0.0, f64::max)
    }

    /// An offset drawn inside the sole, smoothly.
    fn drawn(&self, off: &Vector3<f64>) -> Vector3<f64> {
        let part = |i: usize| {
            let half = 0.9 * self.half[i];
            self.axes[i] * (half * (off.dot(&self.axes[i]) / half).tanh())
        };
        part(0) + part(1)
    }
}

/// Both soles at time `t`, s; lead, trail.
pub(super) fn soles(motion: &Motion, t: f64) -> [Sole; 2] {
    [0, 1].map(|side| Sole::of(motion, t, side))
}

/// Middle and half extent (X, Z) of where the common center of pressure is at ease, m.
pub(super) fn support(motion: &Motion) -> ([f64; 2], [f64; 2]) {
    let [lead, trail] = motion.build.ankles;
    (
        [0.5 * (lead.x + trail.x), lead.z + 0.040],
        [0.40 * (lead.x - trail.x), 0.07],
    )
}

impl Dynamics {
    /// What each foot gets from the ground at time `t`, s.
    pub(super) fn reaction(&self, t: f64) -> Reaction {
        Reaction::shared(self.ground(t), &soles(&self.motion, t), [1.0; 2])
    }
}

impl Reaction {
    /// What the ground gives, shared by two feet; `contact` is 0 for a foot in the air, 1 for one that stands.
    pub(super) fn shared(total: Wrench, soles: &[Sole; 2], contact: [f64; 2]) -> Self {
        let (force, moment) = (total.force, total.moment);
        let common = Point3::new(moment.z / force.y, 0.0, -moment.x / force.y);
        let turning = moment.y - (common.z * force.x - common.x * force.z);
        let line = soles[0].middle - soles[1].middle;
        let place = (common - soles[1].middle).dot(&line) / line.norm_squared();
        let wished = between_nothing_and_all(place);
        let [lead, trail] = [wished * contact[0], (1.0 - wished) * contact[1]];
        // Somebody in mid-air would have no foot to stand on: nobody here is.
        let lead = if lead + trail > 0.0 {
            lead / (lead + trail)
        } else {
            wished
        };
        let shares = [lead, 1.0 - lead];
        let center = centers(soles, shares, &common);
        let up = shares.map(|share| share * force.y);
        let (forces, free) = sideways(&center, up, &force, turning);
        Self {
            force: forces,
            center,
            free,
            total,
            common,
            turning,
        }
    }
}

/// Centers of pressure whose mean, weighted by the shares, is the common one: both off their middle
/// by the same way, but the lighter foot's never off its sole.
fn centers(soles: &[Sole; 2], shares: [f64; 2], common: &Point3<f64>) -> [Point3<f64>; 2] {
    let mean = soles[0].middle.coords * shares[0] + soles[1].middle.coords * shares[1];
    let off = common.coords - mean;
    let light = usize::from(shares[0] > shares[1]);
    let heavy = 1 - light;
    let little = soles[light].drawn(&off);
    let rest = (off - little * shares[light]) / shares[heavy];
    let mut center = [soles[0].middle, soles[1].middle];
    center[light] += little;
    center[heavy] += rest;
    center
}

/// Forces with their horizontal parts, and the free moments: their sums are the wanted ones.
fn sideways(
    center: &[Point3<f64>; 2],
    up: [f64; 2],
    force: &Vector3<f64>,
    turning: f64,
) -> ([Vector3<f64>; 2], [f64; 2]) {
    let line = center[0] - center[1];
    let (apart, along) = (line.norm(), line / line.norm());
    let across = Vector3::y().cross(&along);
    // One newton along `across` on the lead foot against one on the trail foot turns by `apart`.
    let light = up[0] * up[1] / (up[0] + up[1]);
    let most = (GRIP * light).max(1e-9);
    let wished = COUPLE * turning / apart;
    let couple = most * (wished / most).tanh();
    let pair = across * couple - along * (SPREAD * light);
    let left = turning - apart * couple;
    let share = up.map(|u| u / (up[0] + up[1]));
    let level = Vector3::new(force.x, 0.0, force.z);
    let forces = [
        Vector3::y() * up[0] + level * share[0] + pair,
        Vector3::y() * up[1] + level * share[1] - pair,
    ];
    (forces, share.map(|s| s * left))
}

/// The place itself well between 0 and 1, and never quite either.
fn between_nothing_and_all(place: f64) -> f64 {
    let soft = |x: f64| SHARPNESS * (x / SHARPNESS).exp().ln_1p();
    soft(place) - soft(place - 1.0)
}
