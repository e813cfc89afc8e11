//! The noise-free motion: every degree of freedom as a curve in time, and the collision.
//!
//! `posture` and `pose` may be asked at any time; nothing is sampled here.

use super::body::{Axes, Build, Pose};
use super::club::{Plane, Shape};
use super::curve::{Curve, Via, ease, ease_integral};
use super::golfer::Keys;
use super::posture::{Dof, Posture};
use super::sway::Sway;
use nalgebra::{Point3, Vector3};

/// When things happen, s from the first frame.
#[derive(Debug, Clone, Copy)]
pub(super) struct Times {
    /// The continuous movement to the top begins.
    pub(super) takeaway: f64,
    /// The club's in-plane turning reverses.
    pub(super) top: f64,
    /// The face reaches the ball's near side.
    pub(super) impact: f64,
    /// Body and club are at rest.
    pub(super) finish: f64,
    /// The club begins to be carried back to address.
    pub(super) carry: f64,
    /// It is back.
    pub(super) back: f64,
    /// The take ends.
    pub(super) end: f64,
}

/// What the joining of the postures in time depends on beside the times.
#[derive(Debug, Clone)]
pub(super) struct Rates {
    /// Lead arm and shaft at impact, rad/s (negative: toward the target).
    pub(super) arm: f64,
    pub(super) shaft: f64,
    /// Loss of the shaft's angular speed in the collision, rad/s.
    pub(super) loss: f64,
    /// Turn of the face about the shaft that an off-center ball sets off, rad/s.
    pub(super) twist: f64,
    /// Pelvis, thorax, lead arm reverse this long before the club, s.
    pub(super) lead: [f64; 3],
    /// Times and the pelvis height and obliquity that give the knees their flexion then.
    pub(super) legs: Vec<(f64, [f64; 2])>,
    /// How the pelvis gives way to keep the balance.
    pub(super) sway: Sway,
    /// Extra points: degree of freedom, share of the downswing's time, share of its way.
    pub(super) detours: Vec<(Dof, f64, f64)>,
}

/// Movement that is not the swing: standing is not stillness.
#[derive(Debug, Clone, Copy)]
pub(super) struct Idle {
    /// Amplitude of the waver, m, its period, s, and its phase, rad.
    pub(super) waver: (f64, f64, f64),
    /// Size of the waggle before the quiet part, rad of the shaft; 0 for none.
    pub(super) waggle: f64,
}

/// A golfer's motion from the first frame to the last.
#[derive(Debug, Clone)]
pub(super) struct Motion {
    pub(super) build: Build,
    pub(super) club: Shape,
    pub(super) times: Times,
    curves: Vec<Curve>,
    rates: Rates,
    release: f64,
    idle: Idle,
}

/// Duration of the collision, s (0.45–0.50 ms: REFERENCES B7).
pub(super) const CONTACT_S: f64 = 0.00045;

/// Share of the backswing at which the takeaway posture is passed.
pub(super) const AWAY: f64 = 0.42;

/// Share of the backswing after which the shaft stays in the plane of the downswing.
const IN_PLANE: f64 = 0.75;

/// Time within which an off-center face stops turning, s.
const TWIST_S: f64 = 0.03;

/// Part of the shaft's way after impact that it drifts slowly while the body finishes, rad.
const DRIFT: f64 = 0.7;

/// Speed at which that drift begins, rad/s.
const DRIFT_SPEED: f64 = 3.0;

/// Acceleration with which the lead arm starts down, in units of its pace.
const ARM_START: f64 = 0.5;

/// Lead arm in the follow-through when it is stretched out, rad.
const ARM_THROUGH: f64 = -1.5;

/// The trail heel begins to rise this long before impact, s.
const HEEL_S: f64 = 0.09;

/// Waggle: start and length, s.
const WAGGLE_S: (f64, f64) = (0.30, 0.70);

impl Motion {
    /// Joins the postures.
    pub(super) fn new(
        (build, club): (&Build, &Shape),
        keys: &Keys,
        times: Times,
        rates: Rates,
        idle: Idle,
    ) -> Self {
        let release = release_time(keys, &times, &rates);
        let curves = Dof::ALL
            .iter()
            .map(|&dof| join(dof, keys, &times, &rates, release))
            .collect();
        Self {
            build: build.clone(),
            club: *club,
            times,
            curves,
            rates,
            release,
            idle,
        }
    }

    /// The posture at time `t`, s.
    pub(super) fn posture(&self, t: f64) -> Posture {
        let mut posture = Posture::from_fn(|dof| self.curves[dof as usize].at(t));
        let since = t - self.times.impact;
        posture[Dof::ShaftAngle] += self.rates.loss * slowed(since, self.release);
        posture[Dof::ShaftRoll] += self.rates.twist * slowed(since, TWIST_S);
        self.add_idle(t, &mut posture);
        self.rates.sway.given(t, &posture)
    }

    /// Everything true at time `t`, s.
    pub(super) fn pose(&self, t: f64) -> Pose {
        self.build.pose(&self.club, &self.posture(t))
    }

    /// The axes of what turns at time `t`, s.
    pub(super) fn axes(&self, t: f64) -> Axes {
        self.build.axes(&self.posture(t))
    }

    /// The same motion had the head met nothing: alike up to impact and smooth across it, so that
    /// differences may be taken there.
    pub(super) fn without_collision(&self) -> Self {
        let mut motion = self.clone();
        (motion.rates.loss, motion.rates.twist) = (0.0, 0.0);
        motion
    }

    /// The face's reference point at time `t`, s.
    pub(super) fn face(&self, t: f64) -> Point3<f64> {
        self.build.face(&self.club, &self.posture(t))
    }

    /// Velocity of the face's reference point, m/s.
    pub(super) fn face_velocity(&self, t: f64) -> Vector3<f64> {
        (self.face(t + STEP_S) - self.face(t - STEP_S)) / (2.0 * STEP_S)
    }

    /// The mid-grip point at time `t`, s.
    pub(super) fn grip(&self, t: f64) -> Point3<f64> {
        self.build.club(&self.posture(t)).grip()
    }

    /// Velocity of the mid-grip point, m/s.
    pub(super) fn grip_velocity(&self, t: f64) -> Vector3<f64> {
        (self.grip(t + STEP_S) - self.grip(t - STEP_S)) / (2.0 * STEP_S)
    }

    /// The plane in which the shaft comes down.
    pub(super) fn downswing_plane(&self) -> Plane {
        let posture = self.posture(self.times.impact);
        Plane::new(posture[Dof::ShaftSlope], posture[Dof::Azimuth])
    }

    fn add_idle(&self, t: f64, posture: &mut Posture) {
        let still = ease((t - self.times.takeaway) / 0.25);
        let (amplitude, period, phase) = self.idle.waver;
        let waver = amplitude * ease(t / 0.4) * (1.0 - still);
        let angle = std::f64::consts::TAU * t / period + phase;
        posture[Dof::PelvisX] += waver * angle.sin();
        posture[Dof::PelvisZ] += waver * (0.7 * angle).cos();
        posture[Dof::ThoraxForward] += waver * (1.3 * angle).sin();
        let u = (2.0 * (t - WAGGLE_S.0) / WAGGLE_S.1 - 1.0).clamp(-1.0, 1.0);
        posture[Dof::ShaftAngle] += self.idle.waggle * (1.0 - u * u).powi(4);
    }
}

/// Half the step of numerical differentiation, s: error and rounding both below 1e-8 m/s.
pub(super) const STEP_S: f64 = 1e-5;

/// Way lost by a unit of speed that is taken in the collision and given back within `over`.
fn slowed(since: f64, over: f64) -> f64 {
    let back = over - CONTACT_S;
    CONTACT_S * ease_integral(since.max(0.0) / CONTACT_S)
        - back * ease_integral((since - CONTACT_S).max(0.0) / back)
}

/// How long the shaft takes to run out after impact, s: at evenly falling speed.
fn release_time(keys: &Keys, times: &Times, rates: &Rates) -> f64 {
    let way = keys.impact[Dof::ShaftAngle] - keys.finish[Dof::ShaftAngle] - DRIFT;
    let room = 0.6 * (times.finish - times.impact);
    (2.0 * way / (DRIFT_SPEED - rates.shaft - rates.loss).max(1.0)).min(room)
}

/// What the collision leaves behind in a degree of freedom, for the curve to take back.
fn left_over(dof: Dof, times: &Times, rates: &Rates, release: f64) -> f64 {
    let long_after = times.finish - times.impact;
    match dof {
        Dof::ShaftAngle => rates.loss * slowed(long_after, release),
        Dof::ShaftRoll => rates.twist * slowed(long_after, TWIST_S),
        _ => 0.0,
    }
}

fn join(dof: Dof, keys: &Keys, times: &Times, rates: &Rates, release: f64) -> Curve {
    let over = left_over(dof, times, rates, release);
    let (address, finish) = (keys.address[dof], keys.finish[dof] - over);
    let mut vias = match dof {
        Dof::ShaftAngle => shaft_vias(keys, times, rates, (release, finish)),
        Dof::ShaftSlope | Dof::Azimuth => plane_vias(dof, keys, times),
        Dof::PelvisY => leg_vias(times, address, rates, 0),
        Dof::PelvisOblique => leg_vias(times, address, rates, 1),
        Dof::HeelLift => vec![
            Via::rest(times.impact - HEEL_S, address),
            Via::at(times.impact, keys.impact[dof]),
        ],
        _ => body_vias(dof, keys, times, rates),
    };
    vias.push(Via::rest(settled(dof, times), finish));
    vias.push(Via::rest(times.carry, finish));
    vias.push(Via::rest(times.back, address - over));
    Curve::through(&vias)
}

/// The arms fold before the trunk has turned out.
fn settled(dof: Dof, times: &Times) -> f64 {
    let share = match dof {
        Dof::ArmReach | Dof::ShaftRoll => 0.8,
        Dof::PelvisTurn | Dof::ThoraxTurn => 0.6,
        _ => 1.0,
    };
    times.impact + share * (times.finish - times.impact)
}

/// The way of trunk, legs and arms up to impact, and of the arms to where both are nearly straight
/// in front of the turning trunk once more.
fn body_vias(dof: Dof, keys: &Keys, times: &Times, rates: &Rates) -> Vec<Via> {
    let mut vias = vec![
        Via::rest(times.takeaway, keys.address[dof]),
        away_via(dof, keys, times),
    ];
    vias.push(top_via(dof, keys, times, rates));
    for &(_, time, way) in rates.detours.iter().filter(|d| d.0 == dof) {
        let t = times.top + time * (times.impact - times.top);
        vias.push(Via::at(
            t,
            keys.top[dof] + way * (keys.impact[dof] - keys.top[dof]),
        ));
    }
    vias.push(impact_via(dof, keys, times, rates));
    if dof == Dof::ArmAngle {
        vias.push(Via::at(
            times.impact + 0.28 * (times.finish - times.impact),
            ARM_THROUGH,
        ));
    }
    vias
}

/// The pelvis' height (0) or obliquity (1) on its way up to the finish.
fn leg_vias(times: &Times, address: f64, rates: &Rates, which: usize) -> Vec<Via> {
    let start = Via::rest(times.takeaway, address);
    let way = rates.legs.iter().map(|(t, leg)| Via::at(*t, leg[which]));
    std::iter::once(start).chain(way).collect()
}

fn away_via(dof: Dof, keys: &Keys, times: &Times) -> Via {
    let backswing = times.top - times.takeaway;
    let away = Via::at(times.takeaway + AWAY * backswing, keys.away[dof]);
    match dof {
        // The first shift of the pelvis is nearly over with the takeaway.
        Dof::PelvisX => away.moving(1.1 * (keys.away[dof] - keys.address[dof]) / backswing),
        _ => away,
    }
}

/// Each segment has its own top.
fn top_via(dof: Dof, keys: &Keys, times: &Times, rates: &Rates) -> Via {
    let [pelvis, thorax, arm] = rates.lead;
    let at = |lead: f64| Via::at(times.top - lead, keys.top[dof]);
    match dof {
        Dof::PelvisX => at(pelvis),
        Dof::PelvisTurn => at(pelvis).moving(0.0),
        Dof::ThoraxTurn => at(thorax).moving(0.0),
        Dof::ArmAngle => at(arm)
            .moving(0.0)
            .accelerating(-ARM_START * pace(dof, keys, times)),
        _ => at(0.02),
    }
}

fn impact_via(dof: Dof, keys: &Keys, times: &Times, rates: &Rates) -> Via {
    let impact = Via::at(times.impact, keys.impact[dof]);
    match dof {
        Dof::ArmAngle => impact.moving(rates.arm),
        Dof::ArmReach => impact.moving(0.0),
        // The trunk turns on at about the speed that runs out evenly until it is settled.
        Dof::PelvisTurn | Dof::ThoraxTurn => {
            let left = keys.finish[dof] - keys.impact[dof];
            impact.moving(1.9 * left / (settled(dof, times) - times.impact))
        }
        _ => impact,
    }
}

/// Way from top to impact ÷ square of the downswing's time: the measure of its accelerations.
fn pace(dof: Dof, keys: &Keys, times: &Times) -> f64 {
    (keys.top[dof] - keys.impact[dof]) / (times.impact - times.top).powi(2)
}

/// The shaft's way in its plane until it has run out. It starts down gently, does its first sixth
/// in two fifths of the time, so that the angle to the arm is kept, and still speeds up at impact.
fn shaft_vias(
    keys: &Keys,
    times: &Times,
    rates: &Rates,
    (release, finish): (f64, f64),
) -> Vec<Via> {
    let dof = Dof::ShaftAngle;
    let downswing = times.impact - times.top;
    let pace = pace(dof, keys, times);
    vec![
        Via::rest(times.takeaway, keys.address[dof]),
        Via::at(
            times.takeaway + AWAY * (times.top - times.takeaway),
            keys.away[dof],
        ),
        Via::at(times.top, keys.top[dof])
            .moving(0.0)
            .accelerating(-0.9 * pace),
        Via::at(
            times.top + 0.4 * downswing,
            keys.top[dof] - 0.165 * pace * downswing * downswing,
        ),
        Via::at(times.impact, keys.impact[dof])
            .moving(rates.shaft)
            .accelerating(-1.4 * pace),
        Via::at(times.impact + release, finish + DRIFT)
            .moving(-DRIFT_SPEED)
            .accelerating(0.0),
    ]
}

/// The shaft's plane is that of impact from late in the backswing until after impact, so that the
/// top is the instant at which the shaft's turning about that plane's normal is zero, exactly.
fn plane_vias(dof: Dof, keys: &Keys, times: &Times) -> Vec<Via> {
    let in_plane = times.takeaway + IN_PLANE * (times.top - times.takeaway);
    vec![
        Via::rest(times.takeaway, keys.address[dof]),
        Via::rest(in_plane, keys.impact[dof]),
        Via::rest(times.impact + 0.05, keys.impact[dof]),
    ]
}
