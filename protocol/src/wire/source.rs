//! What positions and rates of a source are measured in, as far as the source knows.

use super::DecodeError;
use super::bytes::{Fields, finite};
use crate::MAX_RATE_HZ;

/// How far two rows of a rotation may be from orthonormal: written with three decimals is enough.
const ROTATION_TOLERANCE: f64 = 1e-3;

/// Rate, unit, axes and origin of a source. A source point p lies at
/// `meters_per_unit · bay_from_source · (p − bay_origin)` in the bay.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Source {
    /// Frames or samples a second, above 0, at most [`MAX_RATE_HZ`].
    pub rate_hz: f64,
    /// Meters of one unit of length, 1e-6 to 1e3; `None` when the sender does not know.
    pub meters_per_unit: Option<f64>,
    /// Rotation matrix by rows; `None` when the sender does not know.
    pub bay_from_source: Option<[[f64; 3]; 3]>,
    /// The bay's origin as a point of the source, in source units.
    pub bay_origin: [f64; 3],
}

impl Source {
    pub(super) fn read(fields: &mut Fields<'_>) -> Result<Self, DecodeError> {
        let rate_hz = rate(fields.f64("rate")?)?;
        let meters_per_unit = unit(fields.f64("meters per unit")?)?;
        let mut rows = [[0.0; 3]; 3];
        for value in rows.as_flattened_mut() {
            *value = finite("axes", fields.f64("axes")?)?;
        }
        let mut bay_origin = [0.0; 3];
        for value in &mut bay_origin {
            *value = finite("origin", fields.f64("origin")?)?;
        }
        Ok(Self {
            rate_hz,
            meters_per_unit,
            bay_from_source: axes(rows)?,
            bay_origin,
        })
    }

    pub(super) fn write(&self, out: &mut Vec<u8>) {
        let head = [self.rate_hz, self.meters_per_unit.unwrap_or(0.0)];
        let rows = self.bay_from_source.unwrap_or_default();
        for value in head
            .iter()
            .chain(rows.as_flattened())
            .chain(&self.bay_origin)
        {
            out.extend(value.to_le_bytes());
        }
    }
}

fn rate(got: f64) -> Result<f64, DecodeError> {
    if got > 0.0 && got <= MAX_RATE_HZ {
        return Ok(got);
    }
    Err(DecodeError::Number {
        field: "rate",
        got,
        expected: "above 0 Hz, at most 100000",
    })
}

fn unit(got: f64) -> Result<Option<f64>, DecodeError> {
    match got {
        0.0 => Ok(None),
        1e-6..=1e3 => Ok(Some(got)),
        _ => Err(DecodeError::Number {
            field: "meters per unit",
            got,
            expected: "0.001 for mm, 1 for m (1e-6 to 1e3), 0 for unknown",
        }),
    }
}

fn axes(rows: [[f64; 3]; 3]) -> Result<Option<[[f64; 3]; 3]>, DecodeError> {
    if rows.as_flattened().iter().all(|v| *v == 0.0) {
        return Ok(None);
    }
    let [x, y, z] = rows;
    let near = |got: f64, wanted: f64| (got - wanted).abs() <= ROTATION_TOLERANCE;
    let unit = rows.iter().all(|row| near(dot(*row, *row), 1.0));
    let square = near(dot(x, y), 0.0) && near(dot(y, z), 0.0) && near(dot(z, x), 0.0);
    if unit && square && dot(cross(x, y), z) > 0.0 {
        Ok(Some(rows))
    } else {
        Err(DecodeError::Axes)
    }
}

fn dot(a: [f64; 3], b: [f64; 3]) -> f64 {
    a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
}

fn cross(a: [f64; 3], b: [f64; 3]) -> [f64; 3] {
    [
        a[1] * b[2] - a[2] * b[1],
        a[2] * b[0] - a[0] * b[2],
        a[0] * b[1] - a[1] * b[0],
    ]
}
