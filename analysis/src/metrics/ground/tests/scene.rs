//! A golfer on two plates whose forces are built by hand.

use nalgebra::{Point3, Vector3};

use super::super::*;
use crate::body::inertia::GRAVITY;
use crate::clock::Alignment;
use crate::context::{Context, Person};
use crate::forward::{CaptureParams, GolferParams, swing};
use crate::frame::CaptureFrame;
use crate::ground::plate::Surface;
use crate::ground::window::Reactions;
use crate::ground::wrench::Wrench;
use crate::ground::zero::Zero;
use crate::handed::Handed;
use crate::landmark::Landmark;
use crate::measure::{Beside, Measured, measure_beside};
use crate::window::Window;

pub(super) const RATE_HZ: f64 = 240.0;
pub(super) const PLATES_HZ: f64 = 1000.0;
/// A person who weighs a thousand newtons.
pub(super) const WEIGHT_N: f64 = 1000.0;

/// What one foot feels: force, place of its center of pressure from the foot's middle, free moment;
/// in the golfer frame (right-handed world), about a time since address in seconds.
pub(super) type Feels = dyn Fn(f64) -> ([f64; 3], [f64; 2], f64);

/// The markers of a golfer and where the feet stand.
pub(super) struct Scene {
    pub(super) window: Window,
    pub(super) near: usize,
    /// Middles of heel and toe marker in the bay: lead, trail.
    pub(super) middles: [Point3<f64>; 2],
    pub(super) handed: Handed,
    pub(super) address_s: f64,
    pub(super) events: Vec<(String, f64)>,
}

pub(super) fn scene(handed: Handed) -> Scene {
    let params = GolferParams {
        handed,
        ..GolferParams::from_seed(6)
    };
    let capture = CaptureParams {
        rate_hz: RATE_HZ,
        noise_m: 0.0,
        dropout: 0.0,
        plates: None,
        wobble: false,
    };
    let take = swing(&params, &capture);
    let mut landmarks = take.landmarks.clone();
    landmarks.sort_unstable();
    let column = |l: Landmark| take.landmarks.iter().position(|t| *t == l).unwrap();
    let frames: Vec<CaptureFrame> = take
        .frames
        .iter()
        .enumerate()
        .map(|(n, points)| CaptureFrame {
            number: n as u64,
            time_ns: (n as f64 * 1e9 / RATE_HZ).round() as i64,
            points: landmarks.iter().map(|&l| points[column(l)]).collect(),
        })
        .collect();
    let first = |l: Landmark| take.frames[0][column(l)].unwrap();
    use Landmark as L;
    let [left, right] = [[L::LeftHeel, L::LeftToe], [L::RightHeel, L::RightToe]]
        .map(|[heel, toe]| nalgebra::center(&first(heel), &first(toe)));
    Scene {
        window: Window::new(frames.iter(), &landmarks, RATE_HZ).unwrap(),
        near: (take.truth.event("impact").unwrap() * RATE_HZ) as usize,
        middles: match handed {
            Handed::Right => [left, right],
            Handed::Left => [right, left],
        },
        handed,
        address_s: take.truth.event("address").unwrap(),
        events: take
            .truth
            .events
            .iter()
            .map(|(n, t)| ((*n).to_owned(), *t))
            .collect(),
    }
}

impl Scene {
    pub(super) fn time(&self, event: &str) -> f64 {
        self.events.iter().find(|e| e.0 == event).unwrap().1 - self.address_s
    }

    /// A plate under a foot, its middle a hand's breadth off the foot's so that moments count.
    pub(super) fn plate(&self, foot: usize, feels: &Feels) -> PlateWindow {
        let middle = self.middles[foot];
        let center = Point3::new(middle.x + [0.03, -0.03][foot], 0.0, middle.z + 0.02);
        let times = 0..(self.window.len() as f64 / RATE_HZ * PLATES_HZ) as i64;
        let wrench = |n: i64| {
            let (force, [x, z], free) = feels(n as f64 / PLATES_HZ - self.address_s);
            // The world of a left-handed golfer is the mirror image: a vector's z turns round, of a
            // turning sense everything else does.
            let side = if self.handed == Handed::Left {
                -1.0
            } else {
                1.0
            };
            let force = Vector3::new(force[0], force[1], side * force[2]);
            let at = Point3::new(middle.x + x, 0.0, middle.z + side * z);
            Wrench {
                force,
                moment: (at - center).cross(&force) + Vector3::new(0.0, side * free, 0.0),
            }
        };
        PlateWindow {
            name: format!("plate of foot {foot}"),
            surface: Some(Surface {
                center,
                along: [Vector3::x(), Vector3::z()],
                half: [0.12, 0.3],
            }),
            series: Ok(Reactions {
                rate_hz: PLATES_HZ,
                time_ns: times.clone().map(|n| n * 1_000_000).collect(),
                wrenches: times.map(wrench).map(Some).collect(),
                sharp: Vec::new(),
                zero: Some(Zero {
                    time_ns: 0,
                    offset: Wrench::default(),
                    noise: Wrench::default(),
                }),
                noise: Wrench::default(),
            }),
            alignment: Alignment::Shared,
            notes: Vec::new(),
        }
    }

    pub(super) fn measured(&self, plates: Vec<PlateWindow>) -> Measured {
        let context = Context {
            handed: Some(self.handed),
            person: Person {
                mass_kg: Some(WEIGHT_N / GRAVITY),
                ..Person::default()
            },
            ..Context::default()
        };
        let ground = GroundWindow { plates };
        let beside = Beside {
            ground: Some(&ground),
            ..Beside::default()
        };
        measure_beside(&self.window, self.near, None, (&context, beside))
            .unwrap_or_else(|why| panic!("{}", why.words()))
    }

    pub(super) fn of(&self, lead: &Feels, trail: &Feels) -> Measured {
        self.measured(vec![self.plate(0, lead), self.plate(1, trail)])
    }
}
