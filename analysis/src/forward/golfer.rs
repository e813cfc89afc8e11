//! From habits to the postures that a swing passes through: address, takeaway, top, impact, finish.
//!
//! The knees decide the height and obliquity of the pelvis; the club decides how far the golfer
//! stands from the ball and how much he inclines. How the postures are joined in time is decided
//! in `motion`; how fast and exactly where the head meets the ball, in `plan`.

use super::body::Build;
use super::club::{BALL_RADIUS, Shape};
use super::person::Habit;
use super::posture::{Dof, Posture};
use super::solve::newton;
use nalgebra::Point3;

/// The postures that the curves pass. Height and obliquity of the pelvis follow from the knees at
/// the times of the swing and are final only in `address` and `finish`.
#[derive(Debug, Clone)]
pub(super) struct Keys {
    /// Quiet, the head behind the ball.
    pub(super) address: Posture,
    /// Shaft about level in the takeaway.
    pub(super) away: Posture,
    /// Top of the backswing; each segment reaches its value at its own time.
    pub(super) top: Posture,
    /// The face at the ball.
    pub(super) impact: Posture,
    /// At rest after the swing.
    pub(super) finish: Posture,
}

impl Keys {
    /// The postures of one shot, and the person moved to the right distance from the ball. The
    /// address is that of the `usual` habit, so that all shots of a person start from the same.
    /// At impact the club is only near the ball: `plan` brings it there.
    pub(super) fn new(build: &mut Build, club: &Shape, usual: &Habit, shot: &Habit) -> Self {
        let address = behind_ball(build, club, usual);
        let (top, impact) = (top(&address, shot), impact(&address, shot));
        Self {
            away: away(&address, &top, shot),
            finish: finish(build, &impact),
            address,
            top,
            impact,
        }
    }
}

/// The shaft turned in its plane so that, seen along the ball line, it leans `lean` degrees toward
/// the target from the vertical.
pub(super) fn leaning(posture: &Posture, lean: f64) -> Posture {
    let angle = (lean.to_radians().tan() * posture[Dof::ShaftSlope].sin()).atan();
    posture.with(&[(Dof::ShaftAngle, angle)])
}

fn degrees(values: &[(Dof, f64)]) -> Vec<(Dof, f64)> {
    values
        .iter()
        .map(|&(dof, value)| (dof, value.to_radians()))
        .collect()
}

fn address(build: &Build, club: &Shape, habit: &Habit) -> Posture {
    let [lead, trail] = build.ankles;
    let posture = Posture::default()
        .with(&degrees(&[
            (Dof::PelvisTilt, 21.0),
            (Dof::ThoraxForward, 36.0),
            (Dof::ThoraxSide, habit.side[0]),
            (Dof::ArmSlope, 76.0),
            (Dof::ArmAngle, 16.0),
        ]))
        .with(&[
            (Dof::PelvisX, 0.5 * (lead.x + trail.x)),
            (Dof::PelvisY, lead.y + 0.94 * (build.thigh + build.shank)),
            (Dof::PelvisZ, lead.z - 0.075 * build.scale),
            (Dof::TrailGlide, 0.02),
            (Dof::ArmReach, habit.reach_address),
            (Dof::ShaftSlope, club.lie - 0.04),
        ]);
    leaning(&posture, habit.lean[0])
}

fn top(address: &Posture, habit: &Habit) -> Posture {
    address
        .plus(&[(Dof::PelvisX, habit.shift[1]), (Dof::PelvisZ, -0.004)])
        .plus(&degrees(&[
            (Dof::ThoraxForward, habit.straighten[0]),
            (Dof::PelvisTilt, -3.0),
        ]))
        .with(&degrees(&[
            (Dof::PelvisTurn, habit.pelvis[0]),
            (Dof::ThoraxTurn, habit.thorax[0]),
            (Dof::ThoraxSide, habit.side[1]),
            (Dof::HeadTurn, -14.0),
            (Dof::ArmAngle, habit.arm_top),
            (Dof::ArmSlope, 52.0),
            (Dof::ShaftAngle, habit.shaft_top),
            (Dof::ShaftRoll, 55.0),
        ]))
        .with(&[
            (Dof::LeadGlide, 0.05),
            (Dof::TrailGlide, -0.03),
            (Dof::ArmReach, 0.970),
        ])
}

fn away(address: &Posture, top: &Posture, habit: &Habit) -> Posture {
    let share = |dof| match dof {
        Dof::PelvisTurn => 0.27,
        Dof::ThoraxTurn => 0.38,
        Dof::ArmAngle => 0.31,
        Dof::ShaftRoll | Dof::LeadGlide => 0.45,
        _ => 0.32,
    };
    Posture::from_fn(|dof| address[dof] + share(dof) * (top[dof] - address[dof])).with(&[
        (Dof::PelvisX, address[Dof::PelvisX] + habit.shift[0]),
        (Dof::ShaftAngle, 84_f64.to_radians()),
    ])
}

fn impact(address: &Posture, habit: &Habit) -> Posture {
    let posture = address
        .plus(&[
            (Dof::PelvisX, habit.shift[2]),
            (Dof::PelvisZ, habit.depth_impact),
        ])
        .plus(&degrees(&[
            (Dof::ThoraxForward, habit.straighten[1]),
            (Dof::PelvisTilt, -8.0),
        ]))
        .with(&degrees(&[
            (Dof::PelvisTurn, habit.pelvis[1]),
            (Dof::ThoraxTurn, habit.thorax[1]),
            (Dof::ThoraxSide, habit.side[2]),
            (Dof::HeadTurn, -6.0),
            (Dof::ArmSlope, 67.0),
            (Dof::HeelLift, 9.0),
        ]))
        .plus(&degrees(&[(Dof::ShaftSlope, 3.0)]))
        .with(&[
            (Dof::LeadGlide, 0.05),
            (Dof::TrailGlide, 0.05),
            (Dof::ArmReach, 0.972),
        ]);
    leaning(&posture, habit.lean[1])
}

fn finish(build: &Build, impact: &Posture) -> Posture {
    let posture = impact
        .with(&degrees(&[
            (Dof::PelvisTurn, 92.0),
            (Dof::PelvisOblique, -4.0),
            (Dof::PelvisTilt, 0.0),
            (Dof::ThoraxTurn, 118.0),
            (Dof::ThoraxForward, 8.0),
            (Dof::ThoraxSide, 3.0),
            (Dof::HeadTurn, 75.0),
            (Dof::ArmAngle, -150.0),
            (Dof::ArmSlope, 58.0),
            (Dof::ShaftAngle, -285.0),
            (Dof::ShaftRoll, -70.0),
            (Dof::HeelLift, 72.0),
        ]))
        .with(&[
            (Dof::PelvisX, build.ankles[0].x - 0.09),
            (Dof::PelvisZ, build.ankles[0].z - 0.035),
            (Dof::LeadGlide, -0.03),
            (Dof::TrailGlide, 0.07),
            (Dof::ArmReach, 0.62),
        ]);
    knees_bent(build, &posture, [13.0, 17.0], Dof::PelvisX)
}

/// Pelvis height, and obliquity or place along the target line, such that the knees have the flexions (degrees).
/// Solved on the distances hip to ankle, which stay smooth where a flexion would end at the
/// straight leg.
pub(super) fn knees_bent(build: &Build, posture: &Posture, flexions: [f64; 2], by: Dof) -> Posture {
    let wanted = flexions.map(|flexion| build.hip_to_ankle(flexion.to_radians()));
    let set = |x: &[f64; 2]| posture.with(&[(Dof::PelvisY, x[0]), (by, x[1])]);
    let x = newton([posture[Dof::PelvisY], posture[by]], |x| {
        let found = build.leg_lengths(&set(x));
        [0, 1].map(|i| found[i] - wanted[i])
    });
    set(&x)
}

/// Pelvis height such that the lead knee has the flexion (degrees); the trail leg follows.
pub(super) fn lead_knee_bent(build: &Build, posture: &Posture, flexion: f64) -> Posture {
    let wanted = build.hip_to_ankle(flexion.to_radians());
    let set = |&[y]: &[f64; 1]| posture.with(&[(Dof::PelvisY, y)]);
    let y = newton([posture[Dof::PelvisY]], |y| {
        [build.leg_lengths(&set(y))[0] - wanted]
    });
    set(&y)
}

/// The address with the face a little behind the ball. The lead arm swings to the club, the trunk
/// inclines until the hands are as high as the club's slope asks, the feet step to the distance.
fn behind_ball(build: &mut Build, club: &Shape, habit: &Habit) -> Posture {
    let posture = knees_bent(
        build,
        &address(build, club, habit),
        habit.knees[0],
        Dof::PelvisOblique,
    );
    let set = |&[arm, incline]: &[f64; 2]| {
        posture
            .plus(&[
                (Dof::ThoraxForward, incline),
                (Dof::ArmSlope, 0.5 * incline),
                (Dof::ShaftSlope, 0.3 * incline),
            ])
            .with(&[(Dof::ArmAngle, arm)])
    };
    let behind = Point3::new(-BALL_RADIUS - 0.014, club.face_up + 0.004, 0.0);
    let x = newton([posture[Dof::ArmAngle], 0.0], |x| {
        let off = build.face(club, &set(x)) - behind;
        [off.x, off.y]
    });
    let stand = behind.z - build.face(club, &set(&x)).z;
    for ankle in &mut build.ankles {
        ankle.z += stand;
    }
    leaning(&set(&x).plus(&[(Dof::PelvisZ, stand)]), habit.lean[0])
}
