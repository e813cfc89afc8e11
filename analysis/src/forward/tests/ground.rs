//! Forces judged by mechanics: momentum of the whole chain differentiated again, moments about other
//! points, energy of the club, and what a person can do.

use super::near;
use crate::forward::ground::soles;
use crate::forward::momentum::{Dynamics, Moving};
use crate::forward::{Club, GolferParams, Style, plan};
use nalgebra::{Point3, Vector3};

const G: f64 = 9.80665;

fn dynamics(params: &GolferParams) -> Dynamics {
    let (motion, masses) = plan::motion(params);
    Dynamics::new(&motion, masses)
}

fn momentum(bodies: &[Moving]) -> Vector3<f64> {
    bodies.iter().map(|m| m.velocity * m.body.mass).sum()
}

/// Angular momentum about a fixed point.
fn angular(bodies: &[Moving], about: &Point3<f64>) -> Vector3<f64> {
    let of =
        |m: &Moving| (m.body.center - about).cross(&(m.velocity * m.body.mass)) + m.own_angular();
    bodies.iter().map(of).sum()
}

/// Newton and Euler over stretches: what the feet give and the weight, added up by Simpson's rule in
/// small steps, is the change of momentum, and the same for moments about three points.
#[test]
fn the_feet_give_what_the_motion_takes() {
    for (seed, style) in (0..8).zip(Style::ALL.into_iter().cycle()) {
        let d = dynamics(&GolferParams {
            style,
            ..GolferParams::from_seed(seed)
        });
        let times = d.motion.times;
        let kg = d.masses.total_kg();
        let points = [
            Point3::origin(),
            Point3::new(0.7, 1.3, -0.4),
            Point3::new(-1.0, 0.2, 2.0),
        ];
        for (from, to) in [
            (times.takeaway - 0.1, times.top),
            (times.top, times.impact),
            (times.impact, times.impact + 0.3),
        ] {
            let steps = 1200_u32;
            let step = (to - from) / f64::from(steps);
            let (mut push, mut turn) = (Vector3::zeros(), [Vector3::zeros(); 3]);
            for i in 0..=steps {
                let t = from + step * f64::from(i);
                let weight = match i {
                    i if i == 0 || i == steps => 1.0,
                    i if i % 2 == 1 => 4.0,
                    _ => 2.0,
                } * step
                    / 3.0;
                let r = d.reaction(t);
                let down = Vector3::y() * (-kg * G);
                push += (r.force[0] + r.force[1] + down) * weight;
                for (sum, about) in turn.iter_mut().zip(&points) {
                    let feet: Vector3<f64> = (0..2)
                        .map(|i| {
                            (r.center[i] - about).cross(&r.force[i]) + Vector3::y() * r.free[i]
                        })
                        .sum();
                    *sum += (feet + (d.mass_center(t) - about).cross(&down)) * weight;
                }
            }
            let (before, after) = (d.moving(from), d.moving(to));
            let won = momentum(&after) - momentum(&before);
            assert!((won - push).norm() < 0.02, "{style:?}: {won} {push}");
            for (sum, about) in turn.iter().zip(&points) {
                let won = angular(&after, about) - angular(&before, about);
                assert!((won - sum).norm() < 0.03, "{style:?}: {won} {sum}");
            }
        }
    }
}

/// The work of the hands is the club's gain of kinetic and potential energy.
#[test]
fn work_on_the_club_is_its_gain_of_energy() {
    for seed in 0..12 {
        let params = GolferParams::from_seed(seed);
        let take = super::at_rate(&params, 20.0);
        let d = dynamics(&params);
        let (top, impact) = (d.club(d.motion.times.top), d.club(d.motion.times.impact));
        let rise = impact.body.center.y - top.body.center.y;
        let gain = impact.energy() - top.energy() + impact.body.mass * G * rise;
        let told = take.truth.metric("work_total").unwrap();
        near("work", told, gain, 0.02);
        let parts = ["work_linear", "work_angular"].map(|id| take.truth.metric(id).unwrap());
        near("parts", parts[0] + parts[1], told, 1e-9);
    }
}

/// Quiet at address both feet carry golfer and club, and the ground gives nothing else to speak of.
#[test]
fn at_address_the_feet_carry_the_weight() {
    for seed in 0..10 {
        let take = super::at_rate(&GolferParams::from_seed(seed), 20.0);
        let facts = take.truth.facts;
        let (person, club) = (facts.person.mass_kg.unwrap(), facts.club.mass_kg);
        let m = |id: &str| take.truth.metric(id).unwrap();
        let both = m("vertical_force.lead@address") + m("vertical_force.trail@address");
        near("weight", both, (person + club) / person, 1e-3);
        let d = dynamics(&GolferParams::from_seed(seed));
        let r = d.reaction(d.motion.times.takeaway - 0.1);
        assert!(r.turning.abs() < 0.5 && r.total.force.x.abs() < 4.0);
        // Statics: the center of pressure is under the mass center.
        let center = d.mass_center(d.motion.times.takeaway - 0.1);
        near("x", r.common.x, center.x, 0.005);
        near("z", r.common.z, center.z, 0.005);
    }
}

/// Mass, height and their ratio are a person's; the segments are the table's within a few percent
/// and together the whole (de Leva 1996: the shares add up to 1).
#[test]
fn people_and_clubs_weigh_what_they_weigh() {
    let mut women = 0;
    for seed in 0..60 {
        let (_, masses) = plan::motion(&GolferParams::from_seed(seed).with_club(Club::Driver));
        let person = masses.facts.person;
        let (kg, m) = (person.mass_kg.unwrap(), person.height_m.unwrap());
        near("sum", masses.person_kg(), kg, 1e-9);
        assert!(
            (50.0..100.0).contains(&kg) && (1.60..1.90).contains(&m),
            "{kg} {m}"
        );
        women += u32::from(person.sex == Some(crate::body::inertia::Sex::Female));
        // The longest club: about 0.3 kg (common practice, no source).
        assert!((0.29..0.34).contains(&masses.facts.club.mass_kg));
    }
    assert!((15..45).contains(&women), "{women}");
}

/// What a person can do, over many people, styles and clubs: until impact both feet push, within
/// their soles and their grip, and together no less than 0.4 and no more than 2.2 body weights
/// (common practice, no source).
#[test]
fn forces_are_those_of_a_person() {
    let mut out = [0_u32; 2];
    for seed in 0..126 {
        let params = GolferParams {
            style: Style::ALL[seed as usize % Style::ALL.len()],
            ..GolferParams::from_seed(seed)
        };
        let d = dynamics(&params);
        let times = d.motion.times;
        let bw = d.masses.person_kg() * G;
        for i in 0.. {
            let t = times.takeaway - 0.05 + 0.004 * f64::from(i);
            if t > times.impact {
                break;
            }
            let r = d.reaction(t);
            let both = r.total.force.y / bw;
            assert!((0.4..2.2).contains(&both), "{params:?} {both} at {t}");
            for (side, sole) in soles(&d.motion, t).iter().enumerate() {
                let f = r.force[side];
                assert!(f.y > 0.0, "{params:?} side {side} at {t}");
                assert!(
                    f.x.hypot(f.z) < 0.9 * f.y,
                    "{params:?} side {side} slips at {t}"
                );
                let off = sole.out(&r.center[side]);
                assert!(off < 1.4, "{params:?} side {side} stands {off} out at {t}");
                out[0] += 1;
                out[1] += u32::from(off > 1.0);
            }
        }
    }
    // The edge of the sole is passed in exceptions only.
    assert!(f64::from(out[1]) < 0.01 * f64::from(out[0]), "{out:?}");
}
