//! Force and moment of the ground on the golfer: center of pressure, free moment, and several plates
//! as one. What a plate's channels mean is in `plate`.
//!
//! Formulas as in the C3D user guide's force plate pages: with F and M about the middle of the top
//! surface in plate axes, x = −My ÷ Fz, y = Mx ÷ Fz, Tz = Mz − (x Fy − y Fx). They take it for
//! granted that the ground only pushes; spikes that pull are not in them.

use nalgebra::{Matrix3, Point3, Vector3};

use super::plate::Plate;
use crate::handed::Handed;

/// Vertical force from which a center of pressure is given, N (20 N in published extraction scripts;
/// its noise goes with 1 ÷ force, so what is shown may ask for more).
pub const LOAD_GATE_N: f64 = 20.0;

/// A force, and a moment about a point that its holder names. N, N·m.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Wrench {
    /// Force, N.
    pub force: Vector3<f64>,
    /// Moment, N·m.
    pub moment: Vector3<f64>,
}

impl Wrench {
    /// The reaction to it.
    #[must_use]
    pub fn opposite(&self) -> Self {
        Self {
            force: -self.force,
            moment: -self.moment,
        }
    }

    /// The same without `offset` (both about the same point).
    #[must_use]
    pub fn without(&self, offset: &Self) -> Self {
        Self {
            force: self.force - offset.force,
            moment: self.moment - offset.moment,
        }
    }

    /// In axes turned by `rotation`.
    #[must_use]
    pub fn turned(&self, rotation: &Matrix3<f64>) -> Self {
        Self {
            force: rotation * self.force,
            moment: rotation * self.moment,
        }
    }

    /// The same in the golfer frame, or back: a moment mirrors as an axial vector does.
    #[must_use]
    pub fn mirrored(&self, handed: Handed) -> Self {
        Self {
            force: handed.mirror_vector(self.force),
            moment: match handed {
                Handed::Right => self.moment,
                Handed::Left => -handed.mirror_vector(self.moment),
            },
        }
    }

    /// The six numbers: force, then moment.
    #[must_use]
    pub fn numbers(&self) -> [f64; 6] {
        let (f, m) = (self.force, self.moment);
        [f.x, f.y, f.z, m.x, m.y, m.z]
    }

    /// From the six numbers.
    #[must_use]
    pub fn from_numbers([a, b, c, d, e, f]: [f64; 6]) -> Self {
        Self {
            force: Vector3::new(a, b, c),
            moment: Vector3::new(d, e, f),
        }
    }
}

/// Where a wrench acts on a surface.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pressure {
    /// Center of pressure in the bay, metres.
    pub center: Point3<f64>,
    /// Moment about the bay's vertical (up) through it, N·m.
    pub free_moment: f64,
}

/// Center of pressure and free moment of a wrench in plate axes about the middle of the surface;
/// `None` below `gate_n` of force across the surface. The sense is that of the wrench: of the
/// ground on the golfer, if that is what it is.
#[must_use]
pub fn pressure(plate: &Plate, local: &Wrench, gate_n: f64) -> Option<Pressure> {
    let (f, m) = (local.force, local.moment);
    if f.z.abs() < gate_n.max(f64::MIN_POSITIVE) {
        return None;
    }
    let (x, y) = (-m.y / f.z, m.x / f.z);
    let about_z = m.z - (x * f.y - y * f.x);
    let z_up = plate.bay_from_plate[(1, 2)];
    Some(Pressure {
        center: plate.center + plate.bay_from_plate * Vector3::new(x, y, 0.0),
        free_moment: about_z * z_up,
    })
}

/// The wrenches of several plates as one.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Total {
    /// Sum of the forces in the bay, N.
    pub force: Vector3<f64>,
    /// Common center of pressure, metres; `None` below the gate.
    pub center: Option<Point3<f64>>,
    /// Moment about the vertical through it, N·m: the free moments and the couple of the feet's
    /// horizontal forces.
    pub vertical_moment: Option<f64>,
}

/// Adds bay wrenches, each about the point given beside it. The common center lies at the mean height
/// of those points, weighted by vertical force.
#[must_use]
pub fn total(parts: &[(Point3<f64>, Wrench)], gate_n: f64) -> Total {
    let force: Vector3<f64> = parts.iter().map(|(_, w)| w.force).sum();
    if force.y.abs() < gate_n.max(f64::MIN_POSITIVE) {
        return Total {
            force,
            center: None,
            vertical_moment: None,
        };
    }
    let height = parts.iter().map(|(p, w)| p.y * w.force.y).sum::<f64>() / force.y;
    let base = Point3::new(0.0, height, 0.0);
    let moment: Vector3<f64> = parts
        .iter()
        .map(|(p, w)| w.moment + (p - base).cross(&w.force))
        .sum();
    // M = p × F + T·up with p = (x, 0, z).
    let (x, z) = (moment.z / force.y, -moment.x / force.y);
    Total {
        force,
        center: Some(Point3::new(x, height, z)),
        vertical_moment: Some(moment.y - (z * force.x - x * force.z)),
    }
}

/// Share of the vertical force that the first of two plates carries; `None` below the gate.
#[must_use]
pub fn share(first: &Wrench, second: &Wrench, gate_n: f64) -> Option<f64> {
    let sum = first.force.y + second.force.y;
    (sum >= gate_n.max(f64::MIN_POSITIVE)).then(|| first.force.y / sum)
}
