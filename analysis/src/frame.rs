//! One instant of capture, and the description that gives its numbers a meaning.
//!
//! Conversion from a source's units and axes into the bay frame lives here and nowhere else.
//! Putting frames in order is `stream`'s work.

use nalgebra::{Matrix3, Point3, Vector3};

use crate::landmark::Landmark;

/// What a marker stream says about itself: which column is which landmark, and how its numbers
/// become bay coordinates.
#[derive(Debug, Clone, PartialEq)]
pub struct MarkerLayout {
    /// Identifier that the stream's frames cite.
    pub id: u32,
    /// Frames a second.
    pub rate_hz: f64,
    /// Landmark of each column; `None` for a label that the marker map does not name.
    pub columns: Vec<Option<Landmark>>,
    /// Source coordinates to the bay frame.
    pub bay_from_source: BayFromSource,
    /// Centre of the ball in the bay frame, metres, where the bay knows it.
    pub ball_center: Option<Point3<f64>>,
}

/// Source coordinates (any units and axes) to bay coordinates (metres; X target, Y up, Z).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BayFromSource {
    /// Metres in one source unit.
    pub metres_per_unit: f64,
    /// Rotation from source axes to bay axes.
    pub rotation: Matrix3<f64>,
    /// The bay's origin seen in source coordinates, source units.
    pub origin: Vector3<f64>,
}

impl BayFromSource {
    /// A source that already speaks bay coordinates in metres.
    pub const IDENTITY: Self = Self {
        metres_per_unit: 1.0,
        rotation: Matrix3::new(1.0, 0.0, 0.0, 0.0, 1.0, 0.0, 0.0, 0.0, 1.0),
        origin: Vector3::new(0.0, 0.0, 0.0),
    };

    /// The bay position of a source position.
    #[must_use]
    pub fn point(&self, source: [f32; 3]) -> Point3<f64> {
        let raw = Vector3::new(
            f64::from(source[0]),
            f64::from(source[1]),
            f64::from(source[2]),
        );
        Point3::from(self.rotation * (raw - self.origin) * self.metres_per_unit)
    }
}

/// One instant: every landmark of the layout, in the bay frame.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct CaptureFrame {
    /// Frame number of the sender; 0 is its first frame.
    pub number: u64,
    /// Device time, nanoseconds.
    pub time_ns: i64,
    /// One entry a landmark of [`landmarks`], metres; `None` where the marker was not seen.
    pub points: Vec<Option<Point3<f64>>>,
}

/// The landmarks of a layout in the order of [`CaptureFrame::points`]: declaration order of
/// [`Landmark`], so that the order of a source's columns changes nothing downstream.
#[must_use]
pub fn landmarks(layout: &MarkerLayout) -> Vec<Landmark> {
    let mut named: Vec<Landmark> = layout.columns.iter().copied().flatten().collect();
    named.sort_unstable();
    named.dedup();
    named
}
