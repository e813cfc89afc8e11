//! The synthetic club: its shape, its rigid pose in the bay, and the points marked on it.
//!
//! The shaft does not flex. How the club moves is decided in `golfer`; where the hands hold it is
//! decided here.

use nalgebra::{Matrix3, Point3, Vector3};

/// Which club is swung.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Club {
    /// The longest club, ball on a tee.
    Driver,
    /// A long club, ball on the floor.
    FiveWood,
    /// A middle iron, ball on the floor.
    SevenIron,
    /// A short iron for pitches and chips.
    Wedge,
    /// The shortest and most upright club, for strokes along the floor.
    Putter,
}

impl Club {
    /// Every club of full swings.
    pub const ALL: [Self; 3] = [Self::Driver, Self::FiveWood, Self::SevenIron];

    /// The name on the command line and on screens.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Driver => "driver",
            Self::FiveWood => "5-wood",
            Self::SevenIron => "7-iron",
            Self::Wedge => "wedge",
            Self::Putter => "putter",
        }
    }

    /// The club with this [`name`](Self::name).
    #[must_use]
    pub fn from_name(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|c| c.name() == name)
    }

    /// Head speed of a practiced golfer of middling strength, m/s (invented; REFERENCES B7 has
    /// 35–58 m/s for the longest club and 29–35 m/s for a 5-iron).
    pub(super) const fn usual_speed(self) -> f64 {
        match self {
            Self::Driver => 45.0,
            Self::FiveWood => 42.0,
            Self::SevenIron => 36.0,
            Self::Wedge | Self::Putter => 31.0,
        }
    }

    /// Dimensions of an invented club of the kind; lengths in m.
    pub(super) fn shape(self) -> Shape {
        match self {
            Self::Driver => Shape {
                length: 1.13,
                lie: 50.5_f64.to_radians(),
                face_out: 0.058,
                face_up: 0.028,
                face_ahead: 0.018,
                half_width: 0.050,
                depth: 0.105,
                tee: 0.036,
            },
            Self::FiveWood => Shape {
                length: 1.06,
                lie: 54_f64.to_radians(),
                face_out: 0.048,
                face_up: 0.020,
                face_ahead: 0.012,
                half_width: 0.040,
                depth: 0.075,
                tee: 0.0,
            },
            Self::SevenIron => Shape {
                length: 0.94,
                lie: 60.5_f64.to_radians(),
                face_out: 0.040,
                face_up: 0.021,
                face_ahead: 0.003,
                half_width: 0.032,
                depth: 0.024,
                tee: 0.0,
            },
            Self::Wedge => Shape {
                length: 0.89,
                lie: 62_f64.to_radians(),
                face_out: 0.041,
                face_up: 0.021,
                face_ahead: 0.002,
                half_width: 0.033,
                depth: 0.026,
                tee: 0.0,
            },
            Self::Putter => Shape {
                length: 0.86,
                lie: 66_f64.to_radians(),
                face_out: 0.045,
                face_up: 0.018,
                face_ahead: 0.004,
                half_width: 0.045,
                depth: 0.050,
                tee: 0.0,
            },
        }
    }
}

/// Radius of the ball, m (the least that the rules of the game allow).
pub(super) const BALL_RADIUS: f64 = 0.02135;

/// Distance of the mid-grip point from the butt, m.
pub(super) const MID_GRIP: f64 = 0.13;

/// Wrist centers in the club frame, m: lead, trail. The hands are rigid with the grip.
pub(super) const WRISTS: [Vector3<f64>; 2] = [
    Vector3::new(0.035, 0.005, 0.012),
    Vector3::new(0.035, 0.100, -0.025),
];

/// Dimensions of a club. The club frame has its origin at the butt, x across the shaft toward the
/// toe, y along the shaft to the head, z out of the face.
#[derive(Debug, Clone, Copy)]
pub(super) struct Shape {
    /// Butt to the floor along the shaft, m.
    pub(super) length: f64,
    /// Angle between shaft and floor when the sole lies flat, rad: as played, some degrees less
    /// than a club lying free, because this shaft does not droop.
    pub(super) lie: f64,
    /// From the shaft's end to the face's center along heel → toe, m.
    pub(super) face_out: f64,
    /// Height of the face's center over the sole, m.
    pub(super) face_up: f64,
    /// Face's center in front of the shaft's axis, m.
    pub(super) face_ahead: f64,
    /// Half the distance between the heel and the toe marker, m.
    half_width: f64,
    /// From the face's center to the marker at the back, m.
    depth: f64,
    /// Height of the tee, m.
    tee: f64,
}

impl Shape {
    /// Height of the ball's center over the floor, m.
    pub(super) fn ball_height(&self) -> f64 {
        BALL_RADIUS + self.tee
    }

    /// The face's reference point in the club frame.
    pub(super) fn face(&self) -> Vector3<f64> {
        let (heel_toe, up) = self.sole();
        Vector3::new(0.0, self.length, self.face_ahead)
            + heel_toe * self.face_out
            + up * self.face_up
    }

    /// The club's markers in the club frame: butt, lower shaft, heel, toe, back.
    pub(super) fn markers(&self) -> [Vector3<f64>; 5] {
        let (heel_toe, up) = self.sole();
        let across = heel_toe * self.half_width;
        [
            Vector3::zeros(),
            Vector3::new(0.0, self.length - 0.14, 0.0),
            self.face() - across,
            self.face() + across,
            self.face() + up * 0.012 - Vector3::z() * self.depth,
        ]
    }

    /// Heel → toe and up in the club frame, with the sole flat on the floor.
    fn sole(&self) -> (Vector3<f64>, Vector3<f64>) {
        let (sin, cos) = self.lie.sin_cos();
        (Vector3::new(sin, cos, 0.0), Vector3::new(cos, -sin, 0.0))
    }
}

/// A tilted plane that contains a horizontal line near the target line.
#[derive(Debug, Clone, Copy)]
pub(super) struct Plane {
    /// The horizontal line, toward the target.
    pub(super) along: Vector3<f64>,
    /// Up the slope, away from the ball.
    pub(super) up_slope: Vector3<f64>,
    /// Out of the plane, up and toward the ball.
    pub(super) normal: Vector3<f64>,
}

impl Plane {
    /// The plane that rises at `slope` from the floor toward the golfer; its horizontal line is
    /// turned by `azimuth` (positive open, seen from above).
    pub(super) fn new(slope: f64, azimuth: f64) -> Self {
        let (sin, cos) = azimuth.sin_cos();
        let outward = Vector3::new(sin, 0.0, cos);
        let (rise, run) = slope.sin_cos();
        Self {
            along: Vector3::new(cos, 0.0, -sin),
            up_slope: Vector3::y() * rise - outward * run,
            normal: Vector3::y() * run + outward * rise,
        }
    }

    /// The direction at `angle` from straight down the slope, positive away from the target.
    pub(super) fn direction(&self, angle: f64) -> Vector3<f64> {
        -self.up_slope * angle.cos() - self.along * angle.sin()
    }
}

/// Orientation of the club frame: shaft in `plane` at `angle` from straight down the slope, the
/// face turned open by `roll` about the shaft from square to the plane.
pub(super) fn bay_from_club(plane: &Plane, angle: f64, roll: f64) -> Matrix3<f64> {
    let shaft = plane.direction(angle);
    let face = plane.along * angle.cos() - plane.up_slope * angle.sin();
    let (sin, cos) = roll.sin_cos();
    Matrix3::from_columns(&[
        plane.normal * cos - face * sin,
        shaft,
        face * cos + plane.normal * sin,
    ])
}

/// A club in the bay.
#[derive(Debug, Clone, Copy)]
pub(super) struct Pose {
    /// The butt, m.
    pub(super) butt: Point3<f64>,
    /// Orientation of the club frame.
    pub(super) rotation: Matrix3<f64>,
}

impl Pose {
    /// A point of the club frame in the bay.
    pub(super) fn point(&self, local: Vector3<f64>) -> Point3<f64> {
        self.butt + self.rotation * local
    }

    /// The mid-grip point.
    pub(super) fn grip(&self) -> Point3<f64> {
        self.point(Vector3::y() * MID_GRIP)
    }

    /// The shaft's direction, butt to head.
    pub(super) fn shaft(&self) -> Vector3<f64> {
        self.rotation.column(1).into_owned()
    }
}

#[cfg(test)]
mod tests {
    use super::{Club, Plane, bay_from_club};
    use nalgebra::Vector3;

    #[test]
    fn soled_at_its_lie_the_head_points_its_toe_outward_and_lies_level() {
        for club in Club::ALL {
            let shape = club.shape();
            let rotation = bay_from_club(&Plane::new(shape.lie, 0.0), 0.0, 0.0);
            assert!((rotation.determinant() - 1.0).abs() < 1e-12);
            let m = shape.markers().map(|p| rotation * p);
            let heel_to_toe = (m[3] - m[2]) / (m[3] - m[2]).norm();
            assert!((heel_to_toe - Vector3::z()).norm() < 1e-12);
            let sole = rotation * Vector3::new(0.0, shape.length, 0.0);
            assert!(((rotation * shape.face() - sole).y - shape.face_up).abs() < 1e-12);
        }
    }

    #[test]
    fn rolled_open_by_the_slope_a_level_shaft_has_its_toe_straight_up() {
        let slope = 0.9;
        let r = bay_from_club(&Plane::new(slope, 0.0), std::f64::consts::FRAC_PI_2, slope);
        assert!((r.column(0) - Vector3::y()).norm() < 1e-12);
        assert!(
            (r.column(1) + Vector3::x()).norm() < 1e-12,
            "the shaft points away from the target"
        );
    }

    #[test]
    fn names_round_trip() {
        for club in Club::ALL {
            assert_eq!(Club::from_name(club.name()), Some(club));
        }
    }
}
