//! What the golfer weighs: segments of his own with mass, mass center and inertia, the club as a
//! rigid body, and where all of that is in a posture. How it moves is in `momentum`.
//!
//! Segment parameters: de Leva 1996, J Biomech 29:1223–1230, Table 4, copied here and applied to the
//! true joints under the skin; nobody is the mean of the table, so each segment deviates a little.

use super::body::{Arms, Build, Legs, Trunk, unit};
use super::club::{self, Club};
use super::noise::{Purpose, Source};
use super::person::STATURE;
use super::posture::Posture;
use crate::body::inertia::Sex;
use crate::context::Person;
use nalgebra::{Matrix3, Point3, Vector3};

/// Acceleration of free fall, m/s².
pub(super) const G: f64 = 9.80665;

/// How many bodies move: head, upper, middle and lower trunk; upper arms, forearms, hands; thighs,
/// shanks, feet (lead before trail); the club.
pub(super) const BODIES: usize = 17;

/// The place of the club among the bodies.
const CLUB: usize = 16;

/// The groups of bodies that energies are told of.
pub(super) const GROUPS: [(&str, std::ops::Range<usize>); 4] = [
    ("legs", 10..16),
    ("trunk", 0..4),
    ("arms", 4..10),
    ("club", CLUB..BODIES),
];

/// Mass as a share of the body's, mass center as a share of the length from the first end, radii of
/// gyration ÷ length about the sagittal, transverse and long axis.
#[derive(Debug, Clone, Copy)]
struct Row {
    mass: f64,
    center: f64,
    gyration: [f64; 3],
}

const fn row([mass, center, sagittal, transverse, long]: [f64; 5]) -> Row {
    Row {
        mass,
        center,
        gyration: [sagittal, transverse, long],
    }
}

/// Man and woman of the table: head (vertex to mid-gonion), upper trunk (suprasternale to xiphion),
/// middle trunk (to omphalion), lower trunk (to mid-hip), upper arm, forearm, hand (wrist to third
/// knuckle), thigh, shank, foot (heel to toe tip).
#[expect(clippy::approx_constant, reason = "a printed 0.318 is no 1/pi")]
const TABLE: [[Row; 2]; 10] = [
    [
        row([0.0694, 0.5976, 0.362, 0.376, 0.312]),
        row([0.0668, 0.5894, 0.330, 0.359, 0.318]),
    ],
    [
        row([0.1596, 0.2999, 0.716, 0.454, 0.659]),
        row([0.1545, 0.2077, 0.746, 0.502, 0.718]),
    ],
    [
        row([0.1633, 0.4502, 0.482, 0.383, 0.468]),
        row([0.1465, 0.4512, 0.433, 0.354, 0.415]),
    ],
    [
        row([0.1117, 0.6115, 0.615, 0.551, 0.587]),
        row([0.1247, 0.4920, 0.433, 0.402, 0.444]),
    ],
    [
        row([0.0271, 0.5772, 0.285, 0.269, 0.158]),
        row([0.0255, 0.5754, 0.278, 0.260, 0.148]),
    ],
    [
        row([0.0162, 0.4574, 0.276, 0.265, 0.121]),
        row([0.0138, 0.4559, 0.261, 0.257, 0.094]),
    ],
    [
        row([0.0061, 0.7900, 0.628, 0.513, 0.401]),
        row([0.0056, 0.7474, 0.531, 0.454, 0.335]),
    ],
    [
        row([0.1416, 0.4095, 0.329, 0.329, 0.149]),
        row([0.1478, 0.3612, 0.369, 0.364, 0.162]),
    ],
    [
        row([0.0433, 0.4395, 0.251, 0.246, 0.102]),
        row([0.0481, 0.4352, 0.267, 0.263, 0.092]),
    ],
    [
        row([0.0137, 0.4415, 0.257, 0.245, 0.124]),
        row([0.0129, 0.4014, 0.299, 0.279, 0.139]),
    ],
];

/// The row of each body of the golfer.
const ROWS: [usize; CLUB] = [0, 1, 2, 3, 4, 4, 5, 5, 6, 6, 7, 7, 8, 8, 9, 9];

/// Lengths that the skeleton does not have, as in the same table (its mean man), m at scale 1: head,
/// omphalion to mid-hip, hand, foot.
const HEAD: f64 = 0.2033;
const NAVEL: f64 = 0.1457;
const HAND: f64 = 0.0862;
const FOOT: f64 = 0.2581;

/// Standard deviations of one person's segments from the table: share of the mass, share of the
/// length by which the mass center is off (both are cut at twice that; invented).
const MASS_SD: f64 = 0.015;
const CENTER_SD: f64 = 0.010;

/// One rigid body: mass, kg; mass center as a share of its length; moments of inertia about its own
/// axes (transverse, long, sagittal) through it, kg·m² ÷ length² for the golfer's segments.
#[derive(Debug, Clone, Copy)]
struct Body {
    mass: f64,
    center: f64,
    gyration: Vector3<f64>,
}

/// Mass properties of a club as a rigid body that is alike all round its shaft.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ClubMass {
    /// Mass, kg.
    pub mass_kg: f64,
    /// Butt to the mass center along the shaft, m.
    pub balance_m: f64,
    /// Moment of inertia about any axis across the shaft through the mass center, kg·m².
    pub across_kg_m2: f64,
    /// Moment of inertia about the shaft, kg·m².
    pub along_kg_m2: f64,
}

/// What may be told of a golfer and his club: true, and to be put into a context.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Facts {
    /// Sex, height, and mass without the club.
    pub person: Person,
    /// The club.
    pub club: ClubMass,
}

/// Everything that has mass.
#[derive(Debug, Clone)]
pub(super) struct Masses {
    bodies: [Body; CLUB],
    /// What is told of it.
    pub(super) facts: Facts,
    /// Stature ÷ that of the mean man.
    scale: f64,
}

/// A body in its place: mass, kg; mass center, m; moments of inertia about its axes, kg·m².
#[derive(Debug, Clone, Copy)]
pub(super) struct Placed {
    pub(super) mass: f64,
    pub(super) center: Point3<f64>,
    /// Columns: its own axes in the bay.
    pub(super) axes: Matrix3<f64>,
    pub(super) inertia: Vector3<f64>,
}

impl Masses {
    /// The masses of a person and a club.
    pub(super) fn draw(seed: u64, build: &Build, club: Club) -> Self {
        let mut source = Source::new(seed, Purpose::Mass);
        let sex = if source.unit() < 0.5 {
            Sex::Female
        } else {
            Sex::Male
        };
        let height = STATURE * build.scale;
        // Mass ÷ height² of the trained, kg/m² (common practice, no source).
        let mass = source.around(23.6, 1.4) * height * height;
        let column = if sex == Sex::Male { 0 } else { 1 };
        let mut bodies = ROWS.map(|row| {
            let row = TABLE[row][column];
            let [sagittal, transverse, long] = row.gyration;
            Body {
                mass: row.mass * source.around(1.0, MASS_SD),
                center: row.center + source.around(0.0, CENTER_SD),
                gyration: Vector3::new(transverse, long, sagittal),
            }
        });
        let sum: f64 = bodies.iter().map(|b| b.mass).sum();
        for body in &mut bodies {
            body.mass *= mass / sum;
        }
        Self {
            bodies,
            facts: Facts {
                person: Person {
                    sex: Some(sex),
                    height_m: Some(height),
                    mass_kg: Some(mass),
                },
                club: club_mass(club, &mut source),
            },
            scale: build.scale,
        }
    }

    /// Mass of the golfer without the club, kg.
    pub(super) fn person_kg(&self) -> f64 {
        self.bodies.iter().map(|b| b.mass).sum()
    }

    /// Mass of golfer and club, kg.
    pub(super) fn total_kg(&self) -> f64 {
        self.person_kg() + self.facts.club.mass_kg
    }

    /// Every body in its place.
    pub(super) fn placed(&self, build: &Build, posture: &Posture) -> [Placed; BODIES] {
        let trunk = build.trunk(posture);
        let arms = build.arms(&trunk, posture);
        self.standing(build, (&build.legs(posture), &trunk, &arms))
    }

    /// The same on legs that may stand anywhere.
    pub(super) fn standing(
        &self,
        build: &Build,
        (legs, trunk, arms): (&Legs, &Trunk, &Arms),
    ) -> [Placed; BODIES] {
        let spans = self.spans(build, legs, trunk, arms);
        std::array::from_fn(|i| {
            if i == CLUB {
                self.club(&arms.club)
            } else {
                self.bodies[i].placed(&spans[i])
            }
        })
    }

    /// The club in its place.
    pub(super) fn club(&self, pose: &club::Pose) -> Placed {
        let club = self.facts.club;
        Placed {
            mass: club.mass_kg,
            center: pose.point(Vector3::y() * club.balance_m),
            axes: pose.rotation,
            inertia: Vector3::new(club.across_kg_m2, club.along_kg_m2, club.across_kg_m2),
        }
    }

    /// The ends of every segment and a direction across it.
    fn spans(&self, build: &Build, legs: &Legs, trunk: &Trunk, arms: &Arms) -> [Span; CLUB] {
        let s = self.scale;
        let across = trunk.thorax.column(0).into_owned();
        let lead = legs.pelvis.column(0).into_owned();
        let vertex = trunk.top + trunk.head * Vector3::new(0.0, 0.295, 0.025) * s;
        let xiphion = trunk.top - trunk.thorax.column(1) * build.chest;
        let navel = legs.middle + legs.pelvis.column(1) * (NAVEL * s);
        let head = trunk.head.column(0).into_owned();
        let jaw = vertex - trunk.head.column(1) * (HEAD * s);
        let hands = [0, 1].map(|i| {
            // The knuckles lie about the grip, a little further down the shaft than the wrist.
            let wrist = club::WRISTS[i];
            let knuckles = unit(Vector3::new(-wrist.x, 0.06, -wrist.z)) * (HAND * s);
            let pose = &arms.club;
            let axis = pose.rotation.column(0).into_owned();
            (
                arms.wrists[i],
                arms.wrists[i] + pose.rotation * knuckles,
                axis,
            )
        });
        let feet = [0, 1].map(|i| {
            let (ankle, axes) = (legs.ankles[i], &legs.feet[i]);
            let heel = Vector3::new(0.0, 0.03 - build.ankles[i].y, -0.055 * s);
            let heel = ankle + axes * heel;
            (
                heel,
                heel + axes.column(2) * (FOOT * s),
                axes.column(0).into_owned(),
            )
        });
        let arm = |i: usize| {
            (
                arms.elbows[i] - arms.shoulders[i],
                arms.wrists[i] - arms.elbows[i],
            )
        };
        let leg = |i: usize| (legs.knees[i] - legs.hips[i], legs.ankles[i] - legs.knees[i]);
        let hinge = |(a, b): (Vector3<f64>, Vector3<f64>)| a.cross(&b);
        let limb = |from: [Point3<f64>; 2], to: [Point3<f64>; 2], axis: [Vector3<f64>; 2]| {
            [0, 1].map(|i| Span(from[i], to[i], axis[i]))
        };
        let (elbow, knee) = ([0, 1].map(|i| hinge(arm(i))), [0, 1].map(|i| hinge(leg(i))));
        let [[a, b], [c, d]] = [
            limb(arms.shoulders, arms.elbows, elbow),
            limb(arms.elbows, arms.wrists, elbow),
        ];
        let [[e, f], [g, h]] = [
            limb(legs.hips, legs.knees, knee),
            limb(legs.knees, legs.ankles, knee),
        ];
        let of = |(from, to, axis): (Point3<f64>, Point3<f64>, Vector3<f64>)| Span(from, to, axis);
        [
            Span(vertex, jaw, head),
            Span(trunk.top, xiphion, across),
            Span(xiphion, navel, across + lead),
            Span(navel, legs.middle, lead),
            a,
            b,
            c,
            d,
            of(hands[0]),
            of(hands[1]),
            e,
            f,
            g,
            h,
            of(feet[0]),
            of(feet[1]),
        ]
    }
}

/// First end, second end, and a direction roughly transverse.
#[derive(Debug, Clone, Copy)]
struct Span(Point3<f64>, Point3<f64>, Vector3<f64>);

impl Body {
    fn placed(&self, &Span(from, to, across): &Span) -> Placed {
        let line = to - from;
        let length = line.norm();
        let long = unit(line);
        let transverse = unit(across - long * across.dot(&long));
        Placed {
            mass: self.mass,
            center: from + line * self.center,
            axes: Matrix3::from_columns(&[transverse, long, transverse.cross(&long)]),
            inertia: self.gyration.map(|r| self.mass * (r * length).powi(2)),
        }
    }
}

/// An invented club of the kind, of usual size (common practice, no source), a little its own.
fn club_mass(club: Club, source: &mut Source) -> ClubMass {
    let (mass, balance, across, along) = match club {
        Club::Driver => (0.315, 0.855, 0.053, 0.0006),
        Club::FiveWood => (0.335, 0.810, 0.048, 0.0005),
        Club::SevenIron => (0.420, 0.730, 0.044, 0.0004),
        Club::Wedge => (0.460, 0.690, 0.042, 0.0004),
        Club::Putter => (0.520, 0.660, 0.045, 0.0006),
    };
    ClubMass {
        mass_kg: mass * source.around(1.0, 0.012),
        balance_m: balance * source.around(1.0, 0.006),
        across_kg_m2: across * source.around(1.0, 0.02),
        along_kg_m2: along * source.around(1.0, 0.02),
    }
}
