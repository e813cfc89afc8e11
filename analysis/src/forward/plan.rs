//! One shot planned: times, and the rates at impact that give the wanted head speed, direction,
//! grip speed and collision with the face exactly at the ball.

use super::body::Build;
use super::club::{BALL_RADIUS, MID_GRIP, Shape};
use super::golfer::{Keys, knees_bent, lead_knee_bent, leaning};
use super::mass::Masses;
use super::momentum::Dynamics;
use super::motion::{AWAY, CONTACT_S, Idle, Motion, Rates, Times};
use super::noise::{Purpose, Source};
use super::person::Habit;
use super::posture::{Dof, Posture};
use super::solve::newton;
use super::sway::Sway;
use super::{Ball, GolferParams, Pressure};
use nalgebra::Point3;

/// The motion of a shot and what it moves: the person and address from the seed, the rest also from the shot.
pub(super) fn motion(params: &GolferParams) -> (Motion, Masses) {
    let mut person = Source::new(params.seed, Purpose::Person);
    let club = params.club.shape();
    let mut build = Build::draw(params.seed, &mut person, params.club);
    let usual = habits(params, &mut person);
    let mut source = Source::new(params.seed, Purpose::Shot(params.shot));
    let habit = usual.clone().deviated(params.scatter, &mut source);
    let keys = Keys::new(&mut build, &club, &usual, &habit);
    let goal = Goal::draw(&mut source, params, &habit, &club);
    let idle = idle(&mut source);
    let masses = Masses::draw(params.seed, &build, params.club);
    let shot = Shot {
        build,
        club,
        keys,
        goal,
        idle,
        habit,
    };
    balanced(&shot, masses)
}

/// The habits of a person: drawn, then what the parameters ask for.
fn habits(params: &GolferParams, person: &mut Source) -> Habit {
    let mut habit = Habit::draw(person, params.club).styled(params.style, params.degree);
    if let Some((style, degree)) = params.also {
        habit = habit.styled(style, degree);
    }
    if params.pressure == Pressure::Reverse {
        // Who pushes late from the trail foot has no way back to it.
        habit.weight.back = 1.0 - habit.weight.late;
    }
    habit
}

/// The motion that keeps the center of pressure under the feet, with what it moves.
fn balanced(shot: &Shot, masses: Masses) -> (Motion, Masses) {
    let mut sway = Sway::default();
    let mut motion = aim(shot, &sway);
    for _ in 0..ROUNDS {
        sway = sway.improved(&Dynamics::new(&motion, masses.clone()), shot.habit.weight);
        motion = aim(shot, &sway);
    }
    (motion, masses)
}

/// Each round corrects what the last one's approximations left.
const ROUNDS: u32 = 3;

/// The person alone, as in the swings.
pub(super) fn person(params: &GolferParams) -> Build {
    let mut source = Source::new(params.seed, Purpose::Person);
    Build::draw(params.seed, &mut source, params.club)
}

/// What the swing has to bring about at impact.
struct Goal {
    face: Point3<f64>,
    head_speed: f64,
    grip_speed: f64,
    path: f64,
    /// Share of the head's speed that the ball takes.
    loss: f64,
    twist: f64,
}

impl Goal {
    fn draw(source: &mut Source, params: &GolferParams, habit: &Habit, club: &Shape) -> Self {
        let side = if source.unit() < 0.5 { -1.0 } else { 1.0 };
        let (up, out, loss, twist) = match params.ball {
            Ball::Centered => (0.0, 0.0, habit.loss, 0.0),
            Ball::OffCenter => (
                0.0,
                side * source.between(0.014, 0.020),
                source.between(0.14, 0.19),
                9.0 * side,
            ),
            Ball::Soft => (0.0, 0.0, source.between(0.015, 0.08), 0.0),
            Ball::Missed if side > 0.0 => (source.between(0.055, 0.065), 0.0, 0.0, 0.0),
            Ball::Missed => (0.015, -source.between(0.080, 0.095), 0.0, 0.0),
        };
        Self {
            face: Point3::new(-BALL_RADIUS, club.ball_height() + up, out),
            head_speed: params.head_speed_mps,
            grip_speed: params.head_speed_mps * habit.grip_share,
            path: habit.path.to_radians(),
            loss,
            twist,
        }
    }
}

struct Shot {
    build: Build,
    club: Shape,
    keys: Keys,
    goal: Goal,
    idle: Idle,
    habit: Habit,
}

fn idle(source: &mut Source) -> Idle {
    let waver = (
        source.between(0.0004, 0.0009),
        source.between(2.2, 3.4),
        source.between(0.0, 6.0),
    );
    let waggles = source.unit() < 0.5;
    let size = source.between(0.12, 0.22);
    Idle {
        waver,
        waggle: if waggles { size } else { 0.0 },
    }
}

/// Unknowns at impact: lead arm angle, its reach, the plane's slope and direction, the rates of
/// arm and shaft and the loss of shaft speed (in 10 rad/s, so that all are of one size).
fn aim(shot: &Shot, sway: &Sway) -> Motion {
    let goal = &shot.goal;
    let shaft = expected_shaft_speed(shot);
    let (keys, times) = timed(shot, shaft);
    let rates = with_legs(shot, &keys, times, rates(shot, sway));
    let build = |x: &[f64; 7]| {
        let [arm, reach, slope, azimuth, arm_rate, shaft_rate, loss] = *x;
        let mut keys = keys.clone();
        keys.impact = keys.impact.with(&[
            (Dof::ArmAngle, arm),
            (Dof::ArmReach, reach),
            (Dof::ShaftSlope, slope),
            (Dof::Azimuth, azimuth),
        ]);
        keys.impact = leaning(&keys.impact, shot.habit.lean[1]);
        keys.finish = keys
            .finish
            .with(&[(Dof::ShaftSlope, slope), (Dof::Azimuth, azimuth)]);
        let rates = Rates {
            arm: 10.0 * arm_rate,
            shaft: 10.0 * shaft_rate,
            loss: 10.0 * loss,
            ..rates.clone()
        };
        Motion::new((&shot.build, &shot.club), &keys, times, rates, shot.idle)
    };
    let start = [
        keys.impact[Dof::ArmAngle],
        keys.impact[Dof::ArmReach],
        keys.impact[Dof::ShaftSlope],
        0.0,
        -0.01 * goal.head_speed,
        -0.1 * shaft,
        0.1 * shaft * goal.loss,
    ];
    build(&newton(start, |x| misses(goal, &build(x), x[6])))
}

/// Adds where the pelvis is when the knees are bent as the habit has them. The rest of the body
/// does not depend on it, so that a first motion without it tells where that is.
fn with_legs(shot: &Shot, keys: &Keys, times: Times, rates: Rates) -> Rates {
    let first = Motion::new(
        (&shot.build, &shot.club),
        keys,
        times,
        Rates {
            sway: Sway::default(),
            ..rates.clone()
        },
        shot.idle,
    );
    let at = |t: f64| {
        first
            .posture(t)
            .with(&[(Dof::PelvisY, keys.address[Dof::PelvisY])])
    };
    let leg = |t: f64, bent: Posture| (t, [bent[Dof::PelvisY], bent[Dof::PelvisOblique]]);
    let mut legs = knees(&shot.habit, &times)
        .map(|(t, flexions)| {
            leg(
                t,
                knees_bent(&shot.build, &at(t), flexions, Dof::PelvisOblique),
            )
        })
        .to_vec();
    let [_, impact] = legs.last().map_or([0.0; 2], |l| l.1);
    for (share, flexion) in [(0.18, 16.0), (0.40, 15.0)] {
        let t = times.impact + share * (times.finish - times.impact);
        let oblique = impact + share * (keys.finish[Dof::PelvisOblique] - impact);
        let start = at(t).with(&[(Dof::PelvisOblique, oblique)]);
        legs.push(leg(t, lead_knee_bent(&shot.build, &start, flexion)));
    }
    Rates { legs, ..rates }
}

/// Knee flexions (lead, trail; degrees) at times of the swing.
fn knees(habit: &Habit, times: &Times) -> [(f64, [f64; 2]); 5] {
    let [address, top, impact] = habit.knees;
    let between =
        |a: [f64; 2], b: [f64; 2], share: f64| [0, 1].map(|i| a[i] + share * (b[i] - a[i]));
    let backswing = times.top - times.takeaway;
    [
        (
            times.takeaway + AWAY * backswing,
            between(address, top, 0.36),
        ),
        (
            times.takeaway + 0.72 * backswing,
            between(address, top, 0.78),
        ),
        (times.top, top),
        (0.5 * (times.top + times.impact), between(top, impact, 0.5)),
        (times.impact, impact),
    ]
}

/// How far a motion is from the goal, in lengths of 0.1 m and shares.
fn misses(goal: &Goal, motion: &Motion, loss: f64) -> [f64; 7] {
    let t = motion.times.impact;
    let off = (motion.face(t) - goal.face) * 10.0;
    let velocity = motion.without_collision().face_velocity(t);
    let speed = velocity.norm();
    let after = motion.face_velocity(t + CONTACT_S).norm();
    let grip = motion.grip_velocity(t).norm();
    [
        off.x,
        off.y,
        off.z,
        velocity.z.atan2(velocity.x) - goal.path,
        speed / goal.head_speed - 1.0,
        grip / goal.grip_speed - 1.0,
        if goal.loss > 0.0 {
            after / speed - (1.0 - goal.loss)
        } else {
            loss
        },
    ]
}

/// Shaft speed at impact to expect, rad/s: what the grip's own speed leaves over.
fn expected_shaft_speed(shot: &Shot) -> f64 {
    (shot.goal.head_speed - shot.goal.grip_speed) / (shot.club.length - MID_GRIP)
}

/// The downswing's time follows from how fast the shaft must be and how far it has to turn; slow
/// swings go less far back, fast ones are late rather than hurried.
fn timed(shot: &Shot, shaft: f64) -> (Keys, Times) {
    let habit = &shot.habit;
    let mut keys = shot.keys.clone();
    let impact_angle = keys.impact[Dof::ShaftAngle];
    let way = (habit.shaft_top.to_radians() - impact_angle).min(LONGEST_S * shaft / 1.9);
    let shorter = 1.0 - (impact_angle + way) / keys.top[Dof::ShaftAngle];
    keys.top[Dof::ShaftAngle] = impact_angle + way;
    keys.top[Dof::ArmAngle] *= 1.0 - 0.6 * shorter;
    let downswing = (habit.lateness * way / shaft).clamp(SHORTEST_S, LONGEST_S);
    let takeaway = 2.35;
    let top = takeaway + habit.backswing;
    let impact = top + downswing;
    let finish = impact + habit.follow;
    let carry = finish + 0.8;
    let back = carry + 2.5;
    (
        keys,
        Times {
            takeaway,
            top,
            impact,
            finish,
            carry,
            back,
            end: back + 0.6,
        },
    )
}

/// Shortest and longest downswing, s (REFERENCES B2 and H).
const SHORTEST_S: f64 = 0.21;
const LONGEST_S: f64 = 0.32;

fn rates(shot: &Shot, sway: &Sway) -> Rates {
    let habit = &shot.habit;
    let arm = habit.arm_third.map(|way| (Dof::ArmAngle, 0.33, way));
    let thorax = habit.thorax_half.map(|way| (Dof::ThoraxTurn, 0.5, way));
    Rates {
        arm: 0.0,
        shaft: 0.0,
        loss: 0.0,
        twist: shot.goal.twist,
        lead: habit.lead,
        legs: Vec::new(),
        sway: sway.clone(),
        detours: arm.into_iter().chain(thorax).collect(),
    }
}
