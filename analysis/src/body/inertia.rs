//! Mass, mass centre and radii of gyration of the body's segments, and the mass centre of the body
//! from the ends of its segments. Where the ends come from is `segments`' work; the club's own mass
//! belongs to `club`.
//!
//! de Leva 1996, J Biomech 29:1223–1230, Table 4 (adjusted from Zatsiorsky, Seluyanov & Chugunova
//! 1990; college-aged men and women).

use nalgebra::Point3;

/// Standard gravity, m/s² (exact by definition, ISO 80000-3).
pub const GRAVITY: f64 = 9.806_65;

/// Sex in the sense of the table.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Sex {
    /// Female.
    Female,
    /// Male.
    Male,
}

impl Sex {
    /// The sex with this name (`female`, `male`).
    #[must_use]
    pub fn from_name(name: &str) -> Option<Self> {
        match name {
            "female" => Some(Self::Female),
            "male" => Some(Self::Male),
            _ => None,
        }
    }
}

/// A segment of the table. The whole trunk is upper, middle and lower trunk together.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Segment {
    /// Head (with the neck).
    Head,
    /// Whole trunk.
    Trunk,
    /// Upper part of the trunk.
    UpperTrunk,
    /// Middle part of the trunk.
    MidTrunk,
    /// Lower part of the trunk.
    LowerTrunk,
    /// Upper arm, each.
    UpperArm,
    /// Forearm, each.
    Forearm,
    /// Hand, each.
    Hand,
    /// Thigh, each.
    Thigh,
    /// Shank, each.
    Shank,
    /// Foot, each.
    Foot,
}

/// An end of a segment, as the table names it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Endpoint {
    /// Top of the head.
    Vertex,
    /// Midpoint of the angles of the jaw.
    MidGonion,
    /// Tip of the spine of the seventh cervical vertebra.
    Cervicale,
    /// Suprasternal notch.
    Suprasternale,
    /// Lower end of the breastbone.
    Xiphion,
    /// Navel.
    Omphalion,
    /// Midpoint of the shoulder joint centres.
    MidShoulder,
    /// Midpoint of the hip joint centres.
    MidHip,
    /// Shoulder joint centre.
    Shoulder,
    /// Elbow joint centre.
    Elbow,
    /// Wrist joint centre.
    Wrist,
    /// Radial styloid.
    Stylion,
    /// Head of the third metacarpal.
    Metacarpal3,
    /// Tip of the third finger.
    Dactylion3,
    /// Hip joint centre.
    Hip,
    /// Knee joint centre.
    Knee,
    /// Ankle joint centre.
    Ankle,
    /// Lateral malleolus.
    LateralMalleolus,
    /// Tip of the tibia at the inner ankle.
    Sphyrion,
    /// Back of the heel.
    Heel,
    /// Tip of the longest toe.
    ToeTip,
}

/// What the table says of one segment between two ends.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Parameters {
    /// Share of the body's mass, 0 to 1.
    pub mass: f64,
    /// Place of the mass centre: share of the length from the first end.
    pub center: f64,
    /// Radii of gyration about the sagittal, transverse and longitudinal axes through the mass
    /// centre: shares of the length.
    pub gyration: [f64; 3],
}

/// A row: a segment between two ends.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Row {
    /// The segment.
    pub segment: Segment,
    /// First (upper, near) and second end.
    pub ends: (Endpoint, Endpoint),
    /// Of a woman.
    pub female: Parameters,
    /// Of a man.
    pub male: Parameters,
}

use Endpoint as E;
use Segment as S;

/// The table, alternative ends last; in the order of the paper.
#[expect(clippy::approx_constant, reason = "a printed 0.318 is no 1/pi")]
#[rustfmt::skip]
pub const TABLE: &[Row] = &[
    row(S::Head, (E::Vertex, E::MidGonion), [0.0694, 0.5976, 0.362, 0.376, 0.312], [0.0668, 0.5894, 0.330, 0.359, 0.318]),
    row(S::Trunk, (E::Suprasternale, E::MidHip), [0.4346, 0.4486, 0.372, 0.347, 0.191], [0.4257, 0.4151, 0.357, 0.339, 0.171]),
    row(S::UpperTrunk, (E::Suprasternale, E::Xiphion), [0.1596, 0.2999, 0.716, 0.454, 0.659], [0.1545, 0.2077, 0.746, 0.502, 0.718]),
    row(S::MidTrunk, (E::Xiphion, E::Omphalion), [0.1633, 0.4502, 0.482, 0.383, 0.468], [0.1465, 0.4512, 0.433, 0.354, 0.415]),
    row(S::LowerTrunk, (E::Omphalion, E::MidHip), [0.1117, 0.6115, 0.615, 0.551, 0.587], [0.1247, 0.4920, 0.433, 0.402, 0.444]),
    row(S::UpperArm, (E::Shoulder, E::Elbow), [0.0271, 0.5772, 0.285, 0.269, 0.158], [0.0255, 0.5754, 0.278, 0.260, 0.148]),
    row(S::Forearm, (E::Elbow, E::Wrist), [0.0162, 0.4574, 0.276, 0.265, 0.121], [0.0138, 0.4559, 0.261, 0.257, 0.094]),
    row(S::Hand, (E::Wrist, E::Metacarpal3), [0.0061, 0.7900, 0.628, 0.513, 0.401], [0.0056, 0.7474, 0.531, 0.454, 0.335]),
    row(S::Thigh, (E::Hip, E::Knee), [0.1416, 0.4095, 0.329, 0.329, 0.149], [0.1478, 0.3612, 0.369, 0.364, 0.162]),
    row(S::Shank, (E::Knee, E::Ankle), [0.0433, 0.4395, 0.251, 0.246, 0.102], [0.0481, 0.4352, 0.267, 0.263, 0.092]),
    row(S::Foot, (E::Heel, E::ToeTip), [0.0137, 0.4415, 0.257, 0.245, 0.124], [0.0129, 0.4014, 0.299, 0.279, 0.139]),
    row(S::Head, (E::Vertex, E::Cervicale), [0.0694, 0.5002, 0.303, 0.315, 0.261], [0.0668, 0.4841, 0.271, 0.295, 0.261]),
    row(S::Trunk, (E::Cervicale, E::MidHip), [0.4346, 0.5138, 0.328, 0.306, 0.169], [0.4257, 0.4964, 0.307, 0.292, 0.147]),
    row(S::Trunk, (E::MidShoulder, E::MidHip), [0.4346, 0.4310, 0.384, 0.358, 0.197], [0.4257, 0.3782, 0.379, 0.361, 0.182]),
    row(S::UpperTrunk, (E::Cervicale, E::Xiphion), [0.1596, 0.5066, 0.505, 0.320, 0.465], [0.1545, 0.5050, 0.466, 0.314, 0.449]),
    row(S::Forearm, (E::Elbow, E::Stylion), [0.0162, 0.4608, 0.278, 0.267, 0.122], [0.0138, 0.4592, 0.263, 0.259, 0.095]),
    row(S::Hand, (E::Wrist, E::Dactylion3), [0.0061, 0.3624, 0.288, 0.235, 0.184], [0.0056, 0.3427, 0.244, 0.208, 0.154]),
    row(S::Hand, (E::Stylion, E::Dactylion3), [0.0061, 0.3691, 0.285, 0.233, 0.182], [0.0056, 0.3502, 0.241, 0.206, 0.152]),
    row(S::Hand, (E::Stylion, E::Metacarpal3), [0.0061, 0.7948, 0.614, 0.502, 0.392], [0.0056, 0.7534, 0.519, 0.443, 0.327]),
    row(S::Shank, (E::Knee, E::LateralMalleolus), [0.0433, 0.4459, 0.255, 0.249, 0.103], [0.0481, 0.4416, 0.271, 0.267, 0.093]),
    row(S::Shank, (E::Knee, E::Sphyrion), [0.0433, 0.4524, 0.258, 0.253, 0.105], [0.0481, 0.4481, 0.275, 0.271, 0.094]),
];

const fn row(
    segment: Segment,
    ends: (Endpoint, Endpoint),
    male: [f64; 5],
    female: [f64; 5],
) -> Row {
    Row {
        segment,
        ends,
        female: parameters_of(female),
        male: parameters_of(male),
    }
}

const fn parameters_of([mass, center, sagittal, transverse, long]: [f64; 5]) -> Parameters {
    Parameters {
        mass,
        center,
        gyration: [sagittal, transverse, long],
    }
}

/// The parameters of a segment between these ends; `None` where the table has no such row.
#[must_use]
pub fn parameters(segment: Segment, ends: (Endpoint, Endpoint), sex: Sex) -> Option<Parameters> {
    let row = TABLE
        .iter()
        .find(|r| r.segment == segment && r.ends == ends)?;
    Some(match sex {
        Sex::Female => row.female,
        Sex::Male => row.male,
    })
}

/// A segment placed in space: its parameters and its two ends in the table's order, metres.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Placed {
    /// What the table says.
    pub parameters: Parameters,
    /// First and second end.
    pub ends: (Point3<f64>, Point3<f64>),
}

impl Placed {
    /// The segment's mass centre, metres.
    #[must_use]
    pub fn center(&self) -> Point3<f64> {
        self.ends.0 + (self.ends.1 - self.ends.0) * self.parameters.center
    }

    /// Moments of inertia about the sagittal, transverse and longitudinal axes through the mass
    /// centre, kg·m², for a body of this mass.
    #[must_use]
    pub fn moments(&self, body_mass_kg: f64) -> [f64; 3] {
        let length = (self.ends.1 - self.ends.0).norm();
        self.parameters
            .gyration
            .map(|r| body_mass_kg * self.parameters.mass * (r * length).powi(2))
    }
}

/// Mass centre of several segments together.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Center {
    /// The point, metres.
    pub point: Point3<f64>,
    /// Share of the body's mass behind it: 1 when every segment was given, less when some are
    /// missing (the point is then the centre of those given, not of the body).
    pub mass: f64,
}

/// Mass centre over the segments given; `None` without any.
#[must_use]
pub fn whole_body_center(segments: &[Placed]) -> Option<Center> {
    let mass: f64 = segments.iter().map(|s| s.parameters.mass).sum();
    if mass <= 0.0 {
        return None;
    }
    let mut point = Point3::origin();
    for s in segments {
        point += s.center().coords * (s.parameters.mass / mass);
    }
    Some(Center { point, mass })
}

#[cfg(test)]
mod tests {
    use super::*;

    const WHOLE: [(Segment, f64); 8] = [
        (S::Head, 1.0),
        (S::Trunk, 1.0),
        (S::UpperArm, 2.0),
        (S::Forearm, 2.0),
        (S::Hand, 2.0),
        (S::Thigh, 2.0),
        (S::Shank, 2.0),
        (S::Foot, 2.0),
    ];

    fn first(segment: Segment, sex: Sex) -> Parameters {
        let row = TABLE.iter().find(|r| r.segment == segment).unwrap();
        parameters(segment, row.ends, sex).unwrap()
    }

    /// Masses of the table add up to the body: 1.0000 for men, 0.9999 for women as printed; the
    /// trunk's parts to the trunk within the print's rounding.
    #[test]
    fn masses_add_up() {
        for (sex, whole) in [(Sex::Male, 1.0), (Sex::Female, 0.9999)] {
            let sum: f64 = WHOLE.iter().map(|(s, n)| n * first(*s, sex).mass).sum();
            assert!((sum - whole).abs() < 1e-9, "{sex:?}: {sum}");
            let parts: f64 = [S::UpperTrunk, S::MidTrunk, S::LowerTrunk]
                .map(|s| first(s, sex).mass)
                .iter()
                .sum();
            assert!((parts - first(S::Trunk, sex).mass).abs() < 1.5e-4);
        }
    }

    /// A segment keeps its mass whichever ends measure it, and sensible values otherwise.
    #[test]
    fn other_ends_move_no_mass() {
        assert_eq!(TABLE.len(), 21);
        for row in TABLE {
            for sex in [Sex::Female, Sex::Male] {
                let p = parameters(row.segment, row.ends, sex).unwrap();
                assert!((p.mass - first(row.segment, sex).mass).abs() < 1e-12);
                assert!(p.center > 0.2 && p.center < 0.8, "{row:?}");
                assert!(p.gyration.iter().all(|r| *r > 0.05 && *r < 0.8), "{row:?}");
            }
        }
        assert!(parameters(S::Foot, (E::Hip, E::Knee), Sex::Male).is_none());
    }

    /// The trunk measured from notch to hips or by its three parts has its centre in the same place:
    /// the table's own consistency, within 0.6 % of its length. Lengths of the paper's mean male
    /// subject (from memory): 170.7, 215.5, 145.7 mm.
    #[test]
    fn a_trunk_in_parts_is_the_trunk() {
        let heights = [0.5319, 0.3612, 0.1457, 0.0].map(|y| Point3::new(0.0, y, 0.0));
        let part = |s, ends, a: usize, b: usize| Placed {
            parameters: parameters(s, ends, Sex::Male).unwrap(),
            ends: (heights[a], heights[b]),
        };
        let whole = part(S::Trunk, (E::Suprasternale, E::MidHip), 0, 3);
        let parts = [
            part(S::UpperTrunk, (E::Suprasternale, E::Xiphion), 0, 1),
            part(S::MidTrunk, (E::Xiphion, E::Omphalion), 1, 2),
            part(S::LowerTrunk, (E::Omphalion, E::MidHip), 2, 3),
        ];
        let together = whole_body_center(&parts).unwrap();
        assert!((together.point - whole.center()).norm() < 0.0032);
        assert!((together.mass - 0.4346).abs() < 1e-9);
    }

    /// Worked by hand: a man's thigh of 0.4 m and shank of 0.4 m in line, hip at the origin. Centres
    /// at 0.1638 and 0.5758 m; together (0.1416 · 0.1638 + 0.0433 · 0.5758) ÷ 0.1849 = 0.260 282 m.
    /// Transverse moment of the thigh at 80 kg: 80 · 0.1416 · (0.329 · 0.4)² = 0.196 184 kg·m².
    #[test]
    fn a_leg_by_hand() {
        let at = |y: f64| Point3::new(0.0, -y, 0.0);
        let thigh = Placed {
            parameters: parameters(S::Thigh, (E::Hip, E::Knee), Sex::Male).unwrap(),
            ends: (at(0.0), at(0.4)),
        };
        let shank = Placed {
            parameters: parameters(S::Shank, (E::Knee, E::Ankle), Sex::Male).unwrap(),
            ends: (at(0.4), at(0.8)),
        };
        let leg = whole_body_center(&[thigh, shank]).unwrap();
        assert!((leg.point - at(0.260_282)).norm() < 1e-6, "{leg:?}");
        assert!((leg.mass - 0.1849).abs() < 1e-12);
        assert!((thigh.moments(80.0)[1] - 0.196_184).abs() < 1e-6);
        assert!(whole_body_center(&[]).is_none());
    }

    #[test]
    fn a_sex_has_a_name() {
        assert_eq!(Sex::from_name("female"), Some(Sex::Female));
        assert_eq!(Sex::from_name("male"), Some(Sex::Male));
        assert_eq!(Sex::from_name("other"), None);
    }
}
