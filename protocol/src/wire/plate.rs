//! The plates of a force description: kind, place and, for kind 4, the calibration matrix.

use super::DecodeError;
use super::bytes::{Fields, finite, tiny, within};
use super::describe::Content;
use super::source::Source;
use crate::MAX_PLATES;

const PLATE_BYTES: usize = 208;

/// The plates of a force layout, all or the part that one datagram holds.
#[derive(Debug, Clone, PartialEq)]
pub struct PlateList {
    /// What corners, origins and samples are measured in.
    pub source: Source,
    /// Plates in the whole layout, 1 to [`MAX_PLATES`].
    pub total: u8,
    /// Place of the first of `plates` in the layout.
    pub first: u8,
    /// The plates.
    pub plates: Vec<Plate>,
}

/// One force plate; the conventions are those of C3D force platforms.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Plate {
    /// What its channels mean.
    pub kind: PlateKind,
    /// Corners of the top surface in source axes and units, in the plate's quadrants (+x,+y),
    /// (−x,+y), (−x,−y), (+x,−y).
    pub corners: [[f32; 3]; 4],
    /// Plate axes, source units. Kinds 2 and 4: from the sensor's origin to the middle of the top
    /// surface. Kind 3: sensor half distances and depth.
    pub origin: [f32; 3],
}

/// What the channels of a plate mean; forces in N, moments in N·m, positions in m.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum PlateKind {
    /// Kind 1: Fx Fy Fz, center of pressure x y, free moment.
    Pressure,
    /// Kind 2: Fx Fy Fz Mx My Mz.
    Moments,
    /// Kind 3: Fx12 Fx34 Fy14 Fy23 Fz1 Fz2 Fz3 Fz4.
    Corners,
    /// Kind 4: six raw channels; this matrix (by rows) times them gives kind 2.
    Raw([[f32; 6]; 6]),
}

impl PlateKind {
    /// Channels of a sample.
    #[must_use]
    pub fn channels(&self) -> usize {
        match self {
            Self::Corners => 8,
            Self::Pressure | Self::Moments | Self::Raw(_) => 6,
        }
    }

    /// The number on the wire, which is that of the C3D standard.
    #[must_use]
    pub fn code(&self) -> u8 {
        match self {
            Self::Pressure => 1,
            Self::Moments => 2,
            Self::Corners => 3,
            Self::Raw(_) => 4,
        }
    }
}

impl PlateList {
    pub(super) fn read(fields: &mut Fields<'_>) -> Result<Self, DecodeError> {
        let source = Source::read(fields)?;
        let total = within(
            "plate total",
            fields.u8("plate total")?,
            1,
            MAX_PLATES as u8,
        )?;
        let first = within("first plate", fields.u8("first plate")?, 0, total - 1)?;
        let count = within("plate count", fields.u8("plate count")?, 1, total - first)?;
        fields.skip(5)?;
        let plates = (0..count)
            .map(|_| Plate::read(fields))
            .collect::<Result<_, _>>()?;
        Ok(Self {
            source,
            total,
            first,
            plates,
        })
    }

    pub(super) fn write(&self, out: &mut Vec<u8>) {
        self.source.write(out);
        out.extend([
            self.total,
            self.first,
            tiny(self.plates.len()),
            0,
            0,
            0,
            0,
            0,
        ]);
        self.plates.iter().for_each(|plate| plate.write(out));
    }
}

impl Plate {
    fn read(fields: &mut Fields<'_>) -> Result<Self, DecodeError> {
        let code = within("plate kind", fields.u8("plate kind")?, 1, 4)?;
        fields.skip(3)?;
        let mut corners = [[0.0; 3]; 4];
        fill(fields, "plate corners", corners.as_flattened_mut())?;
        let mut origin = [0.0; 3];
        fill(fields, "plate origin", &mut origin)?;
        let mut matrix = [[0.0; 6]; 6];
        fill(fields, "plate matrix", matrix.as_flattened_mut())?;
        let kind = match code {
            1 => PlateKind::Pressure,
            2 => PlateKind::Moments,
            3 => PlateKind::Corners,
            _ => PlateKind::Raw(matrix),
        };
        Ok(Self {
            kind,
            corners,
            origin,
        })
    }

    fn write(&self, out: &mut Vec<u8>) {
        let matrix = match self.kind {
            PlateKind::Raw(matrix) => matrix,
            _ => [[0.0; 6]; 6],
        };
        out.extend([self.kind.code(), 0, 0, 0]);
        for value in self.corners.as_flattened().iter().chain(&self.origin) {
            out.extend(value.to_le_bytes());
        }
        matrix
            .as_flattened()
            .iter()
            .for_each(|value| out.extend(value.to_le_bytes()));
    }
}

fn fill(fields: &mut Fields<'_>, field: &'static str, to: &mut [f32]) -> Result<(), DecodeError> {
    for value in to {
        *value = finite(field, fields.f32(field)?)?;
    }
    Ok(())
}

/// A whole list as the parts that fit in `bytes` each.
pub(super) fn parts(whole: &PlateList, bytes: usize) -> Vec<Content> {
    let size = bytes / PLATE_BYTES;
    let part = |(index, plates): (usize, &[Plate])| {
        let (total, first) = (tiny(whole.plates.len()), tiny(index * size));
        Content::Forces(PlateList {
            total,
            first,
            plates: plates.to_vec(),
            ..*whole
        })
    };
    whole.plates.chunks(size).enumerate().map(part).collect()
}
