//! A force plate: where it lies in the bay, from its described corners, and the wrench that a sample
//! of its channels means. What follows from a wrench is in `wrench`; zeroing is in `zero`.
//!
//! Conventions of the C3D standard (FORCE_PLATFORM group of the C3D user guide, c3d.org): corners in
//! the plate's quadrants (+x,+y), (−x,+y), (−x,−y), (+x,−y); z = x × y, which points down for a
//! plate in the floor; ORIGIN from the sensor's origin to the middle of the top surface.

use nalgebra::{Matrix3, Point3, Vector3};

use super::wrench::Wrench;
use crate::frame::BayFromSource;
use crate::handed::Handed;

/// Corners further out of one plane than this are told, metres.
const FLAT_M: f64 = 0.01;
/// Opposite sides or diagonals that differ by a larger share are told.
const SKEW: f64 = 0.03;
/// A plate's sides lie between these, metres: beyond, its unit is doubtful.
const SIDE_M: std::ops::RangeInclusive<f64> = 0.1..=3.0;
/// Cosine of the tilt against the floor from which it is told (10 degrees).
const LEVEL: f64 = 0.985;

/// What the channels of a plate mean; forces in N, moments in N·m, positions in m.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum PlateKind {
    /// Type 1: Fx Fy Fz, center of pressure x y (about the middle of the surface), free moment.
    Pressure,
    /// Type 2: Fx Fy Fz Mx My Mz about the sensor's origin.
    Moments,
    /// Type 3: Fx12 Fx34 Fy14 Fy23 Fz1 Fz2 Fz3 Fz4.
    Corners,
    /// Type 4: six raw channels; this matrix (by rows) times them gives type 2.
    Raw([[f32; 6]; 6]),
}

impl PlateKind {
    /// Channels of a sample.
    #[must_use]
    pub const fn channels(&self) -> usize {
        match self {
            Self::Corners => 8,
            Self::Pressure | Self::Moments | Self::Raw(_) => 6,
        }
    }
}

/// A plate as its sender describes it, in source axes and units.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PlateDescription {
    /// What its channels mean.
    pub kind: PlateKind,
    /// Corners of the top surface in the order of the module's words.
    pub corners: [[f32; 3]; 4],
    /// Plate axes. Types 2 and 4: sensor's origin to the middle of the surface. Type 3: half
    /// distances of the sensors along x and y, and their depth. Type 1: not used.
    pub origin: [f32; 3],
}

/// Something about a plate's description that is probably wrong.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Oddity {
    /// The origin's third number is positive, which would put the sensors above the surface. The
    /// plate is read with the sign turned round (of all three for types 2 and 4).
    OriginAbove,
    /// The plate's z axis points up: its corners go round the other way than the standard's.
    AxisUp,
    /// One corner is out of the others' plane, metres.
    NotFlat(f64),
    /// Opposite sides or the diagonals differ by this share.
    Skewed(f64),
    /// It is tilted against the floor by this angle, rad.
    Tilted(f64),
    /// A side is this long, metres: no plate is.
    Side(f64),
}

impl Oddity {
    /// What is odd and what was done, as the end of a sentence about the plate.
    #[must_use]
    pub fn words(&self) -> String {
        match self {
            Self::OriginAbove => "its origin has a positive third number, which would put the sensors above the surface: read with the sign turned round".into(),
            Self::AxisUp => "its corners go round the wrong way (z points up): two corners may be exchanged".into(),
            Self::NotFlat(m) => format!("its corners are {:.0} mm out of one plane", m * 1e3),
            Self::Skewed(share) => format!("its corners are no rectangle ({:.0} %)", share * 1e2),
            Self::Tilted(angle) => format!("it is tilted {:.0} degrees against the floor: are the source's axes right?", angle.to_degrees()),
            Self::Side(m) => format!("a side is {m:.3} m long: is the source's unit right?"),
        }
    }
}

/// A plate in its place.
#[derive(Debug, Clone, PartialEq)]
pub struct Plate {
    kind: PlateKind,
    /// As described (sign put right), metres, plate axes.
    origin: Vector3<f64>,
    /// Corners in the bay, metres, in the order of the description.
    pub corners: [Point3<f64>; 4],
    /// Middle of the top surface in the bay, metres.
    pub center: Point3<f64>,
    /// Columns: the plate's x, y, z in the bay; a rotation.
    pub bay_from_plate: Matrix3<f64>,
    /// Half lengths along the plate's x and y, metres.
    pub half: [f64; 2],
    /// What is odd about its description.
    pub oddities: Vec<Oddity>,
}

impl Plate {
    /// A described plate in the bay.
    ///
    /// # Errors
    /// Says why its corners give no surface.
    pub fn new(told: &PlateDescription, bay: &BayFromSource) -> Result<Self, &'static str> {
        let numbers = told.corners.as_flattened().iter().chain(&told.origin);
        if !numbers.copied().all(f32::is_finite) {
            return Err("its description has a number that is not finite");
        }
        let corners = told.corners.map(|c| bay.point(c));
        let [a, b, c, d] = corners.map(|p| p.coords);
        let (along_x, along_y) = ((a + d - b - c) / 2.0, (a + b - c - d) / 2.0);
        let normal = along_x.cross(&along_y);
        let unit = |v: Vector3<f64>| v.try_normalize(1e-6);
        let (Some(x), Some(z)) = (unit(along_x), unit(normal)) else {
            return Err("its corners lie in one line or point");
        };
        let origin = Vector3::from(told.origin.map(f64::from)) * bay.metres_per_unit;
        let (origin, above) = sign_put_right(&told.kind, origin);
        let center = Point3::from((a + b + c + d) / 4.0);
        let mut oddities = Vec::new();
        oddities.extend(above.then_some(Oddity::OriginAbove));
        oddities.extend(odd_corners(&corners, &z));
        Ok(Self {
            kind: told.kind,
            origin,
            corners,
            center,
            bay_from_plate: Matrix3::from_columns(&[x, z.cross(&x), z]),
            half: [along_x.norm() / 2.0, along_y.norm() / 2.0],
            oddities,
        })
    }

    /// What its channels mean.
    #[must_use]
    pub fn kind(&self) -> &PlateKind {
        &self.kind
    }

    /// The bay's upward direction in plate axes.
    #[must_use]
    pub fn up(&self) -> Vector3<f64> {
        self.bay_from_plate.transpose() * Vector3::y()
    }

    /// The wrench that one sample means: plate axes, about the middle of the top surface, in the
    /// sense of the channels. `None` where a channel was not measured.
    #[must_use]
    pub fn wrench(&self, sample: &[Option<f32>]) -> Option<Wrench> {
        let mut channels = [0.0; 8];
        let n = self.kind.channels();
        for (to, from) in channels.iter_mut().zip(sample.get(..n)?) {
            *to = f64::from((*from)?);
        }
        let [fx, fy, fz, mx, my, mz, _, _] = match &self.kind {
            PlateKind::Raw(matrix) => through(matrix, &channels),
            _ => channels,
        };
        let force = Vector3::new(fx, fy, fz);
        Some(match &self.kind {
            PlateKind::Pressure => Wrench {
                force,
                moment: Vector3::new(mx, my, 0.0).cross(&force) + Vector3::new(0.0, 0.0, mz),
            },
            PlateKind::Moments | PlateKind::Raw(_) => Wrench {
                force,
                moment: Vector3::new(mx, my, mz) + force.cross(&self.origin),
            },
            PlateKind::Corners => self.of_corner_sensors(&channels),
        })
    }

    fn of_corner_sensors(&self, c: &[f64; 8]) -> Wrench {
        let [a, b] = [self.origin.x, self.origin.y];
        let force = Vector3::new(c[0] + c[1], c[2] + c[3], c[4] + c[5] + c[6] + c[7]);
        let moment = Vector3::new(
            b * (c[4] + c[5] - c[6] - c[7]),
            a * (-c[4] + c[5] + c[6] - c[7]),
            b * (c[1] - c[0]) + a * (c[2] - c[3]),
        );
        let depth = Vector3::new(0.0, 0.0, self.origin.z);
        Wrench {
            force,
            moment: moment + force.cross(&depth),
        }
    }

    /// A wrench in plate axes turned into the bay's, still about the middle of the surface.
    #[must_use]
    pub fn in_bay(&self, local: &Wrench) -> Wrench {
        local.turned(&self.bay_from_plate)
    }

    /// Its top surface.
    #[must_use]
    pub fn surface(&self) -> Surface {
        let axis = |n: usize| self.bay_from_plate.column(n).into_owned();
        Surface {
            center: self.center,
            along: [axis(0), axis(1)],
            half: self.half,
        }
    }
}

/// The rectangle that feet stand on.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Surface {
    /// Its middle, metres.
    pub center: Point3<f64>,
    /// Unit vectors along its sides.
    pub along: [Vector3<f64>; 2],
    /// Half lengths along them, metres.
    pub half: [f64; 2],
}

impl Surface {
    /// A position in the surface's coordinates, metres from its middle along its sides.
    #[must_use]
    pub fn coordinates(&self, p: &Point3<f64>) -> [f64; 2] {
        self.along.map(|axis| axis.dot(&(p - self.center)))
    }

    /// Whether the point above or below `p` is on it, give or take `margin` metres.
    #[must_use]
    pub fn carries(&self, p: &Point3<f64>, margin: f64) -> bool {
        let on = self.coordinates(p);
        on.iter()
            .zip(self.half)
            .all(|(v, half)| v.abs() <= half + margin)
    }

    /// The same in the golfer frame (and back).
    #[must_use]
    pub fn mirrored(&self, handed: Handed) -> Self {
        Self {
            center: handed.mirror_point(self.center),
            along: self.along.map(|axis| handed.mirror_vector(axis)),
            half: self.half,
        }
    }
}

/// The origin with the sign that a sensor below the surface has, and whether it was turned round.
fn sign_put_right(kind: &PlateKind, origin: Vector3<f64>) -> (Vector3<f64>, bool) {
    let above = origin.z > 0.0;
    match kind {
        PlateKind::Pressure => (Vector3::zeros(), false),
        PlateKind::Moments | PlateKind::Raw(_) if above => (-origin, true),
        PlateKind::Corners if above => (Vector3::new(origin.x, origin.y, -origin.z), true),
        _ => (origin, false),
    }
}

fn odd_corners(corners: &[Point3<f64>; 4], z: &Vector3<f64>) -> Vec<Oddity> {
    let [a, b, c, d] = corners;
    let mut odd = Vec::new();
    if z.y > 0.5 {
        odd.push(Oddity::AxisUp);
    }
    if z.y.abs() < LEVEL {
        odd.push(Oddity::Tilted(z.y.abs().acos()));
    }
    // Half the distance of the diagonals' middles is how far each corner is off the plane of all.
    let warp = ((a - b) + (c - d)).dot(z).abs() / 4.0;
    if warp > FLAT_M {
        odd.push(Oddity::NotFlat(warp));
    }
    let pairs = [(a - b, d - c), (a - d, b - c), (a - c, b - d)];
    let skew = |(p, q): (Vector3<f64>, Vector3<f64>)| {
        (p.norm() - q.norm()).abs() / p.norm().max(q.norm()).max(1e-9)
    };
    let worst = pairs.into_iter().map(skew).fold(0.0, f64::max);
    if worst > SKEW {
        odd.push(Oddity::Skewed(worst));
    }
    let sides = [(a - b).norm(), (a - d).norm()];
    odd.extend(
        sides
            .into_iter()
            .find(|s| !SIDE_M.contains(s))
            .map(Oddity::Side),
    );
    odd
}

fn through(matrix: &[[f32; 6]; 6], channels: &[f64; 8]) -> [f64; 8] {
    let mut out = [0.0; 8];
    for (to, row) in out.iter_mut().zip(matrix) {
        *to = row
            .iter()
            .zip(channels)
            .map(|(m, c)| f64::from(*m) * c)
            .sum();
    }
    out
}

#[cfg(test)]
mod tests;
