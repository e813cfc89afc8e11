//! How everything that has mass moves: momentum, angular momentum and energy of golfer and club, and
//! the force and moment that this motion takes. Which foot gives what is in `ground`.
//!
//! Derivatives are central differences of the exact motion, as everywhere in the golfer.

use super::mass::{BODIES, G, Masses, Placed};
use super::motion::Motion;
use nalgebra::{Matrix3, Point3, Vector3};

/// Half the step of velocities and of their rates, s: errors of both some 1e-6 of the value.
const STEP_S: f64 = 2e-5;
const RATE_S: f64 = 2e-4;

/// A body that moves.
#[derive(Debug, Clone, Copy)]
pub(super) struct Moving {
    pub(super) body: Placed,
    /// Velocity of the mass center, m/s.
    pub(super) velocity: Vector3<f64>,
    /// Angular velocity, rad/s.
    pub(super) spin: Vector3<f64>,
}

impl Moving {
    /// Angular momentum about its own mass center, kg·m²/s.
    pub(super) fn own_angular(&self) -> Vector3<f64> {
        let b = &self.body;
        b.axes * b.inertia.component_mul(&(b.axes.transpose() * self.spin))
    }

    /// Kinetic energy, J.
    pub(super) fn energy(&self) -> f64 {
        0.5 * self.body.mass * self.velocity.norm_squared()
            + 0.5 * self.spin.dot(&self.own_angular())
    }
}

/// Momentum, kg·m/s, and angular momentum about the bay's origin, kg·m²/s.
#[derive(Debug, Clone, Copy)]
struct Momentum {
    linear: Vector3<f64>,
    angular: Vector3<f64>,
}

/// A force and its moment about the bay's origin, N and N·m.
#[derive(Debug, Clone, Copy)]
pub(super) struct Wrench {
    pub(super) force: Vector3<f64>,
    pub(super) moment: Vector3<f64>,
}

/// A motion with its masses.
#[derive(Debug, Clone)]
pub(super) struct Dynamics {
    /// Without the collision: the ball's blow is not the ground's.
    pub(super) motion: Motion,
    /// What moves.
    pub(super) masses: Masses,
}

impl Dynamics {
    /// Of a motion; what the ball does to it is left out.
    pub(super) fn new(motion: &Motion, masses: Masses) -> Self {
        Self {
            motion: motion.without_collision(),
            masses,
        }
    }

    /// Every body at time `t`, s.
    pub(super) fn placed(&self, t: f64) -> [Placed; BODIES] {
        self.masses
            .placed(&self.motion.build, &self.motion.posture(t))
    }

    /// Every body as it moves at time `t`, s.
    pub(super) fn moving(&self, t: f64) -> [Moving; BODIES] {
        moving(t, &|t| self.placed(t))
    }

    /// The club as it moves at time `t`, s; cheaper than all.
    pub(super) fn club(&self, t: f64) -> Moving {
        let at = |t: f64| {
            let pose = self.motion.build.club(&self.motion.posture(t));
            self.masses.club(&pose)
        };
        between(&at(t - STEP_S), &at(t + STEP_S))
    }

    /// Momentum of golfer and club at time `t`, s; kg·m/s.
    pub(super) fn momentum(&self, t: f64) -> Vector3<f64> {
        momentum(&self.moving(t)).linear
    }

    /// Mass center of golfer and club, m.
    pub(super) fn mass_center(&self, t: f64) -> Point3<f64> {
        let sum: Vector3<f64> = self
            .placed(t)
            .iter()
            .map(|b| b.center.coords * b.mass)
            .sum();
        Point3::from(sum / self.masses.total_kg())
    }

    /// What the ground gives at time `t`, s: the rate of momentum less the weight.
    pub(super) fn ground(&self, t: f64) -> Wrench {
        needed(t, |t| self.moving(t))
    }

    /// What the hands give the club at time `t`, s: moment about the bay's origin.
    pub(super) fn hands(&self, t: f64) -> Wrench {
        needed(t, |t| [self.club(t)])
    }
}

/// What the ground gives bodies that are so placed in time, at time `t`, s.
pub(super) fn ground_of(t: f64, placed: &dyn Fn(f64) -> [Placed; BODIES]) -> Wrench {
    needed(t, |t| moving(t, placed))
}

fn moving(t: f64, placed: &dyn Fn(f64) -> [Placed; BODIES]) -> [Moving; BODIES] {
    let (before, after) = (placed(t - STEP_S), placed(t + STEP_S));
    std::array::from_fn(|i| between(&before[i], &after[i]))
}

/// The force and moment that moving bodies take beside their weight.
fn needed<const N: usize>(t: f64, bodies: impl Fn(f64) -> [Moving; N]) -> Wrench {
    let (before, after) = (bodies(t - RATE_S), bodies(t + RATE_S));
    let (from, to) = (momentum(&before), momentum(&after));
    let weight = Vector3::y() * -G;
    let mut wrench = Wrench {
        force: (to.linear - from.linear) / (2.0 * RATE_S),
        moment: (to.angular - from.angular) / (2.0 * RATE_S),
    };
    for (a, b) in before.iter().zip(&after) {
        // Halfway between two so near places is where it is.
        let center = nalgebra::center(&a.body.center, &b.body.center);
        wrench.force -= weight * a.body.mass;
        wrench.moment -= center.coords.cross(&weight) * a.body.mass;
    }
    wrench
}

fn momentum(bodies: &[Moving]) -> Momentum {
    let mut sum = Momentum {
        linear: Vector3::zeros(),
        angular: Vector3::zeros(),
    };
    for m in bodies {
        let p = m.velocity * m.body.mass;
        sum.linear += p;
        sum.angular += m.body.center.coords.cross(&p) + m.own_angular();
    }
    sum
}

fn between(before: &Placed, after: &Placed) -> Moving {
    let turn = after.axes * before.axes.transpose();
    Moving {
        body: Placed {
            center: nalgebra::center(&before.center, &after.center),
            ..*after
        },
        velocity: (after.center - before.center) / (2.0 * STEP_S),
        spin: rotation_vector(&turn) / (2.0 * STEP_S),
    }
}

/// The rotation vector of a small turn: its skew part, whose length is the sine of a tiny angle.
fn rotation_vector(r: &Matrix3<f64>) -> Vector3<f64> {
    0.5 * Vector3::new(
        r[(2, 1)] - r[(1, 2)],
        r[(0, 2)] - r[(2, 0)],
        r[(1, 0)] - r[(0, 1)],
    )
}
