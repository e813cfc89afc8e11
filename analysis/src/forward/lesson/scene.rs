//! Scenes: what the golfer does for some seconds, as a function of time, and how one leads to the next.
//! Which scene follows which is decided in `script`.

use std::sync::Arc;

use nalgebra::{Isometry3, Point3};

use super::super::curve::{Curve, Via, ease};
use super::super::motion::Motion;
use super::super::posture::{Dof, Posture};
use super::figure::{Figure, Foot, Place, Stance};
use super::label::Kind;
use crate::handed::Handed;

/// Time of the scene (s) to where everything is.
pub(super) type Course = Arc<dyn Fn(f64) -> Stance + Send + Sync>;

/// Time of the scene to a pose of the club's own and its share in the club's pose.
pub(super) type Loose = Arc<dyn Fn(f64) -> (f64, Isometry3<f64>) + Send + Sync>;

/// What the sender does when a scene begins.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Upset {
    /// It is silent for this long, s, and starts anew, perhaps with another rate (Hz).
    Restart(f64, Option<f64>),
    /// Its clock jumps, s: forward, or back where negative.
    Jump(f64),
    /// It goes on with so many frames per second and tells nobody.
    Rate(f64),
}

/// What a scene is in the labels; times of the scene, s.
#[derive(Debug, Clone, Copy)]
pub(super) struct Told {
    pub(super) kind: Kind,
    pub(super) from: f64,
    pub(super) to: f64,
    pub(super) impact: Option<f64>,
    /// Whether a ball was struck.
    pub(super) struck: bool,
}

/// Some seconds of a lesson.
#[derive(Clone)]
pub(super) struct Scene {
    pub(super) name: &'static str,
    pub(super) length: f64,
    pub(super) figure: Arc<Figure>,
    pub(super) handed: Handed,
    pub(super) course: Course,
    /// The same without any blow, for strokes: what the ground has to give.
    pub(super) smooth: Option<Course>,
    pub(super) loose: Option<Loose>,
    /// Whether the club's markers can be seen.
    pub(super) club: bool,
    /// Whether only the chest's markers are there.
    pub(super) jacket: bool,
    /// Whether the coach's hands are at hip and elbow.
    pub(super) coach: bool,
    pub(super) told: Option<Told>,
    pub(super) upset: Option<Upset>,
}

/// Eased from one stance to another; feet that have to move step one after the other.
pub(super) fn joined(from: Stance, to: Stance, length: f64) -> Course {
    let steps = [0, 1].map(|i| Step {
        from: from.feet[i],
        to: to.feet[i],
        time: [(0.06, 0.47), (0.53, 0.94)][i],
    });
    let way = steps.map(|s| s.way()).iter().sum::<f64>();
    let dip = (0.25 * way).min(DIP_M);
    Arc::new(move |t| {
        let u = (t / length).clamp(0.0, 1.0);
        let mut stance = mixed(&from, &to, ease(u));
        stance.feet = steps.map(|step| step.at(u));
        stance.posture[Dof::PelvisY] -= dip * ease(u / 0.3) * ease((1.0 - u) / 0.3);
        stance
    })
}

/// Who steps sinks a little, so that no leg comes to its end, m.
const DIP_M: f64 = 0.05;

/// All but the feet.
fn mixed(from: &Stance, to: &Stance, share: f64) -> Stance {
    let mix = |a: f64, b: f64| a + share * (b - a);
    Stance {
        posture: Posture::from_fn(|dof| mix(from.posture[dof], to.posture[dof])),
        place: from.place.toward(to.place, share),
        hold: [0, 1].map(|i| mix(from.hold[i], to.hold[i])),
        order: mix(from.order, to.order),
        flip: mix(from.flip, to.flip),
        seat: mix(from.seat, to.seat),
        feet: from.feet,
    }
}

#[derive(Debug, Clone, Copy)]
struct Step {
    from: Foot,
    to: Foot,
    time: (f64, f64),
}

impl Step {
    /// How far the foot goes, m; a turn counts.
    fn way(&self) -> f64 {
        let Self { from, to, .. } = self;
        (to.x - from.x).hypot(to.z - from.z) + 0.1 * (to.heading - from.heading).abs()
    }

    fn at(&self, u: f64) -> Foot {
        let Self { from, to, time } = self;
        let v = ((u - time.0) / (time.1 - time.0)).clamp(0.0, 1.0);
        let share = ease(v);
        let up = (0.15 * self.way()).min(0.05) * 64.0 * (v * (1.0 - v)).powi(3);
        let mix = |a: f64, b: f64| a + share * (b - a);
        Foot {
            x: mix(from.x, to.x),
            z: mix(from.z, to.z),
            heading: mix(from.heading, to.heading),
            lift: mix(from.lift, to.lift) + up,
        }
    }
}

/// Longest step of one foot past the other, m, and mean speed of walking, m/s.
const STRIDE_M: f64 = 0.36;
const WALK_MPS: f64 = 0.75;

/// Walks to a stance: turns into the way, walks, turns out of it. Also gives how long it takes, s.
pub(super) fn walked(from: Stance, to: Stance) -> (Course, f64) {
    let distance = from.place.distance(to.place);
    let (dx, dz) = (to.place.x - from.place.x, to.place.z - from.place.z);
    let (begin, end) = (from.place.heading, to.place.heading);
    let middle = 0.5 * (begin + end);
    // Short ways are walked without turning.
    let ahead = if distance > 0.9 {
        let way = dx.atan2(dz);
        let turns = ((way - middle) / std::f64::consts::TAU).round();
        way - turns * std::f64::consts::TAU
    } else {
        middle
    };
    let turning = (ahead - begin).abs() + (end - ahead).abs();
    let length = (distance / WALK_MPS + 0.45 * turning).max(1.2);
    let heading = Curve::through(&[
        Via::rest(0.0, begin),
        Via::at(0.3 * length, ahead),
        Via::at(0.7 * length, ahead),
        Via::rest(length, end),
    ]);
    let path = move |t: f64| Place {
        heading: heading.at(t),
        ..from.place.toward(to.place, ease(t / length))
    };
    let steps = steps(&path, (&from, &to), length, distance, turning);
    let course = move |t: f64| {
        let mut feet = from.feet;
        for (side, step) in &steps {
            if t / length > step.time.0 {
                feet[*side] = step.at(t / length);
            }
        }
        let mut mixed = mixed(&from, &to, ease(t / (0.8 * length).min(1.6)));
        mixed.posture[Dof::PelvisY] -= 0.5 * DIP_M * ease(t / 0.5) * ease((length - t) / 0.5);
        Stance {
            feet,
            place: path(t),
            ..mixed
        }
    };
    (Arc::new(course), length)
}

/// Both feet by turns, each to where the golfer is half a step later.
fn steps(
    path: &impl Fn(f64) -> Place,
    (from, to): (&Stance, &Stance),
    length: f64,
    distance: f64,
    turning: f64,
) -> Vec<(usize, Step)> {
    let local = [0, 1].map(|i| {
        let (foot, place) = (to.feet[i], to.place);
        let still = Place {
            x: 0.0,
            z: 0.0,
            heading: -place.heading,
        };
        still.foot(Foot {
            x: foot.x - place.x,
            z: foot.z - place.z,
            ..foot
        })
    });
    let count = (1.875 * distance / STRIDE_M)
        .max(turning / 0.5)
        .ceil()
        .max(2.0);
    let mut feet = from.feet;
    let mut steps = Vec::new();
    let mut k = 0.0;
    while k < count {
        let side = steps.len() % 2;
        let landing = ((k + 1.5) / count * length).min(length);
        let target = if k + 2.0 >= count {
            to.feet[side]
        } else {
            path(landing).foot(local[side])
        };
        steps.push((
            side,
            Step {
                from: feet[side],
                to: target,
                time: ((k + 0.06) / count, (k + 0.94) / count),
            },
        ));
        feet[side] = target;
        k += 1.0;
    }
    steps
}

/// The stance with some values changed along curves.
pub(super) fn varied(base: Stance, changes: Vec<(Dof, Curve)>) -> Course {
    Arc::new(move |t| {
        let mut stance = base;
        for (dof, curve) in &changes {
            stance.posture[*dof] += curve.at(t);
        }
        stance
    })
}

/// A swing's motion in another time and size.
#[derive(Clone)]
pub(super) struct Stroke {
    pub(super) motion: Arc<Motion>,
    /// Time of the scene to that of the motion.
    pub(super) time: Curve,
    /// Share of the motion that club and arms, and that trunk and legs make.
    pub(super) size: [f64; 2],
    /// Where the face is to be at the motion's impact, bay, and when that is in the scene.
    pub(super) aim: Option<(Point3<f64>, f64)>,
    /// What the feet do beside: whose foot moves, how far (x, z), from when to when.
    pub(super) steps: Vec<(usize, [f64; 2], (f64, f64))>,
    /// Whether the pelvis is on a seat and stays there.
    pub(super) seated: bool,
}

impl Stroke {
    /// The course from a stance on; the motion's way is added to its posture.
    pub(super) fn course(&self, figure: &Figure, from: Stance) -> Course {
        let plain = self.plain(from);
        let miss = self.aim.map_or([0.0; 3], |(aim, t)| {
            let held = figure.seen(&plain(t), None).held;
            let face = held * Point3::from(figure.shape.face());
            (aim - face).into()
        });
        let until = self.aim.map_or(1.0, |(_, t)| 0.7 * t);
        Arc::new(move |t| {
            let mut stance = plain(t);
            let share = ease(t / until);
            stance.place = stance.place.moved(share * miss[0], share * miss[2]);
            stance.posture[Dof::PelvisY] += share * miss[1];
            stance
        })
    }

    fn plain(&self, from: Stance) -> Course {
        let zero = self.motion.posture(self.time.at(0.0));
        let stroke = self.clone();
        Arc::new(move |t| {
            let now = stroke.motion.posture(stroke.time.at(t));
            let mut stance = from;
            stance.posture = Posture::from_fn(|dof| {
                from.posture[dof] + stroke.share(dof) * (now[dof] - zero[dof])
            });
            for &(side, [x, z], time) in &stroke.steps {
                let start = stance.feet[side];
                let to = Foot {
                    x: start.x + x,
                    z: start.z + z,
                    ..start
                };
                let step = Step {
                    from: start,
                    to,
                    time,
                };
                stance.feet[side] = step.at(t);
            }
            stance
        })
    }

    fn share(&self, dof: Dof) -> f64 {
        let [club, body] = self.size;
        match dof {
            Dof::PelvisX
            | Dof::PelvisY
            | Dof::PelvisZ
            | Dof::PelvisTurn
            | Dof::PelvisOblique
            | Dof::PelvisTilt
            | Dof::HeelLift
                if self.seated =>
            {
                0.0
            }
            Dof::ArmAngle
            | Dof::ArmSlope
            | Dof::ArmReach
            | Dof::ShaftAngle
            | Dof::ShaftSlope
            | Dof::ShaftRoll
            | Dof::Azimuth => club,
            _ => body,
        }
    }
}
