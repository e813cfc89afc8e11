//! The club as a rigid body on two hands: force and couple at the mid-grip point, power and energy, in
//! one instant (inverse dynamics by Newton and Euler; weight included). How its motion is read from
//! markers is `metrics`' work.
//!
//! The club's turning about its own shaft is left out: its moment of inertia there is a hundredth of
//! that across, a quarter of a joule in a full swing.

use nalgebra::Vector3;

use super::MID_GRIP_FROM_BUTT_M;
use super::mass::ClubMass;
use crate::body::inertia::GRAVITY;
use crate::signal::turning::State;

/// How a club moves in one instant: mid-grip point, balance point, direction from grip to head.
#[derive(Debug, Clone, Copy)]
pub struct Motion {
    /// Mid-grip point, metres.
    pub grip: State,
    /// Balance point, metres.
    pub center: State,
    /// Unit vector along the shaft, grip to head.
    pub axis: State,
}

/// What the hands do to it then.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Load {
    /// Net force of the hands, N.
    pub force: Vector3<f64>,
    /// Their couple at the mid-grip point, N·m.
    pub couple: Vector3<f64>,
    /// Power of the force, W.
    pub linear_w: f64,
    /// Power of the couple, W.
    pub angular_w: f64,
}

/// Balance point below the mid-grip point, metres.
#[must_use]
pub fn below_grip_m(club: &ClubMass) -> f64 {
    club.balance_m - MID_GRIP_FROM_BUTT_M
}

/// Kinetic energy, J.
#[must_use]
pub fn kinetic_j(club: &ClubMass, motion: &Motion) -> f64 {
    let turning = club.inertia_kg_m2 * motion.axis.spin().norm_squared();
    0.5 * (club.mass_kg * motion.center.velocity.norm_squared() + turning)
}

/// Kinetic and potential energy (against the bay's floor), J.
#[must_use]
pub fn energy_j(club: &ClubMass, motion: &Motion) -> f64 {
    kinetic_j(club, motion) + club.mass_kg * GRAVITY * motion.center.value.y
}

/// Force, couple and their power.
#[must_use]
pub fn load(club: &ClubMass, motion: &Motion) -> Load {
    let Motion { grip, center, axis } = motion;
    let force = (center.acceleration + Vector3::y() * GRAVITY) * club.mass_kg;
    let turning = axis.spin_slope() * club.inertia_kg_m2;
    let couple = turning + (center.value - grip.value).cross(&force);
    Load {
        force,
        couple,
        linear_w: force.dot(&grip.velocity),
        angular_w: couple.dot(&axis.spin()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const CLUB: ClubMass = ClubMass {
        mass_kg: 0.4,
        balance_m: 0.63,
        inertia_kg_m2: 0.05,
        assumed: false,
    };

    /// A rod held at the mid-grip point, which moves at `v` and gains `a`, turning in the plane x, y by
    /// `angle` from straight down with rate `w` and its slope `s`; its balance point is half a metre off.
    fn rod([v, a]: [Vector3<f64>; 2], angle: f64, w: f64, s: f64) -> Motion {
        let (sin, cos) = angle.sin_cos();
        let (along, ahead) = (Vector3::new(sin, -cos, 0.0), Vector3::new(cos, sin, 0.0));
        let state = |value, velocity, acceleration| State {
            value,
            velocity,
            acceleration,
        };
        let axis = state(along, ahead * w, ahead * s - along * (w * w));
        let point = |r: f64| {
            let velocity = v + axis.velocity * r;
            state(along * r, velocity, a + axis.acceleration * r)
        };
        Motion {
            grip: point(0.0),
            center: point(0.5),
            axis,
        }
    }

    /// By hand: held still, level, turning at 10 rad/s: force toward the hand 0.4 · 0.5 · 100 = 20 N
    /// and up the weight 3.92 N; the couple holds the weight, 3.922 66 · 0.5 N·m; energy ½ (0.4 · 5² +
    /// 0.05 · 10²) = 7.5 J.
    #[test]
    fn a_rod_that_turns_evenly_by_hand() {
        let level = std::f64::consts::FRAC_PI_2;
        let motion = rod([Vector3::zeros(); 2], level, 10.0, 0.0);
        let load = load(&CLUB, &motion);
        assert!((load.force - Vector3::new(-20.0, 3.922_66, 0.0)).norm() < 1e-9);
        assert!((load.couple - Vector3::z() * 1.961_33).norm() < 1e-9);
        assert!(load.linear_w.abs() < 1e-9 && (load.angular_w - 19.6133).abs() < 1e-9);
        assert!((kinetic_j(&CLUB, &motion) - 7.5).abs() < 1e-9);
    }

    /// A pendulum let go level needs no couple at its pivot: (I + m r²) s = −m g r, so that
    /// s = −0.2 · 9.806 65 ÷ 0.15 = −13.075 53 rad/s² (physics).
    #[test]
    fn a_free_pendulum_needs_no_couple() {
        let level = std::f64::consts::FRAC_PI_2;
        let motion = rod([Vector3::zeros(); 2], level, 0.0, -0.2 * GRAVITY / 0.15);
        assert!(load(&CLUB, &motion).couple.norm() < 1e-9);
        // Falling freely it needs nothing at all.
        let falling = rod([Vector3::zeros(), -Vector3::y() * GRAVITY], 0.3, 0.0, 0.0);
        let load = load(&CLUB, &falling);
        assert!(load.force.norm() < 1e-9 && load.couple.norm() < 1e-9);
    }

    /// Work and energy: power is the rate of change of the energy for any motion (physics). The hand
    /// goes round and the rod swings; the rate is differenced over 2 µs.
    #[test]
    fn power_is_the_rate_of_the_energy() {
        let at = |t: f64| {
            let v = Vector3::new((3.0 * t).cos(), 2.0 * t, 0.0);
            let a = Vector3::new(-3.0 * (3.0 * t).sin(), 2.0, 0.0);
            let place = Vector3::new((3.0 * t).sin() / 3.0, t * t, 0.0);
            let mut motion = rod([v, a], 0.4 + 5.0 * t * t, 10.0 * t, 10.0);
            motion.grip.value += place;
            motion.center.value += place;
            motion
        };
        for t in [0.1, 0.5, 0.9] {
            let load = load(&CLUB, &at(t));
            let gain = energy_j(&CLUB, &at(t + 1e-6)) - energy_j(&CLUB, &at(t - 1e-6));
            let power = load.linear_w + load.angular_w;
            assert!(
                (gain / 2e-6 - power).abs() < 1e-5 * power.abs().max(1.0),
                "{power}"
            );
        }
    }
}
