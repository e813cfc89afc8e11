//! Kind 2: where the markers were at one instant, or one part of a set that needs several.

use super::bytes::{Fields, short, tiny, within};
use super::series::{Series, Value};
use super::{DecodeError, Part};
use crate::{MAX_COUNT, MAX_MARKERS, MAX_MARKERS_A_PART};

const MARKER_BYTES: usize = 16;
/// Written for a marker that was not seen.
const NOT_SEEN: f32 = -1.0;

/// One part of a frame of markers.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MarkerFrame<'a> {
    /// Counts frames, also those that were not sent. At most [`MAX_COUNT`].
    pub frame: u64,
    /// The layout that names the markers.
    pub layout: u32,
    /// Which part of the frame this is.
    pub part: Part,
    /// Place of the first of `markers` in the layout.
    pub first: u16,
    /// The markers, `None` where one was not seen.
    pub markers: Markers<'a>,
}

/// The markers of a part, in the order of the layout.
pub type Markers<'a> = Series<'a, Marker, MARKER_BYTES>;

/// One marker that was seen.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Marker {
    /// x, y, z in source axes and units; finite.
    pub position: [f32; 3],
    /// How well the cameras agreed, source units; 0 for a computed or filled point. Not negative.
    pub residual: f32,
}

impl Value<MARKER_BYTES> for Marker {
    fn read(bytes: [u8; MARKER_BYTES]) -> Option<Self> {
        let bits = u128::from_le_bytes(bytes);
        let [x, y, z, residual] = [0, 32, 64, 96].map(|at| f32::from_bits((bits >> at) as u32));
        let seen = residual >= 0.0 && [x, y, z, residual].iter().all(|v| v.is_finite());
        seen.then_some(Self {
            position: [x, y, z],
            residual,
        })
    }

    fn write(value: Option<Self>) -> [u8; MARKER_BYTES] {
        let [x, y, z] = value.map_or([0.0; 3], |v| v.position);
        let residual = value.map_or(NOT_SEEN, |v| v.residual);
        let words = [x, y, z, residual];
        std::array::from_fn(|at| words[at / 4].to_le_bytes()[at % 4])
    }
}

impl<'a> MarkerFrame<'a> {
    pub(super) fn read(body: &'a [u8]) -> Result<Self, DecodeError> {
        let mut fields = Fields(body);
        let frame = within("frame number", fields.u64("frame number")?, 0, MAX_COUNT)?;
        let layout = fields.u32("layout")?;
        let first = fields.u16("first marker")?;
        let count = fields.u16("marker count")?;
        within("marker count", count, 1, MAX_MARKERS_A_PART as u16)?;
        within("first marker", first, 0, MAX_MARKERS as u16 - count)?;
        let part = Part::read(&mut fields)?;
        fields.skip(6)?;
        let bytes = fields.chunks("markers", usize::from(count))?;
        Ok(Self {
            frame,
            layout,
            part,
            first,
            markers: Markers::of_datagram(bytes),
        })
    }

    pub(super) fn write(&self, out: &mut Vec<u8>) {
        out.extend(self.frame.to_le_bytes());
        out.extend(self.layout.to_le_bytes());
        out.extend(self.first.to_le_bytes());
        out.extend(short(self.markers.len()).to_le_bytes());
        self.part.write(out);
        out.extend([0; 6]);
        self.markers.write(out);
    }
}

/// A whole frame as the parts that fit in a datagram each.
pub fn frame_parts(
    layout: u32,
    frame: u64,
    markers: &[Option<Marker>],
) -> impl Iterator<Item = MarkerFrame<'_>> {
    let count = tiny(markers.len().div_ceil(MAX_MARKERS_A_PART));
    markers
        .chunks(MAX_MARKERS_A_PART)
        .enumerate()
        .map(move |(index, chunk)| MarkerFrame {
            frame,
            layout,
            part: Part {
                index: tiny(index),
                count,
            },
            first: short(index * MAX_MARKERS_A_PART),
            markers: chunk.into(),
        })
}
