//! Kind 3: consecutive samples of all force plates.

use super::DecodeError;
use super::bytes::{Fields, short, within};
use super::series::{Series, Value};
use crate::{HEADER_BYTES, MAX_CHANNELS, MAX_COUNT, MAX_DATAGRAM};

const VALUE_BYTES: usize = 4;
/// Where the values start.
const VALUES_AT: usize = HEADER_BYTES + 16;

/// Several samples of all plates of a layout.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ForceBlock<'a> {
    /// Number of the first sample. At most [`MAX_COUNT`].
    pub first_sample: u64,
    /// The layout that describes the plates.
    pub layout: u32,
    /// Values a sample: the channels of all plates, plate after plate.
    pub channels: u8,
    /// All channels of the first sample, of the second, …; `None` where one was not measured.
    pub values: Values<'a>,
}

/// The values of a block in the units of their plate's kind (N, N·m, m).
pub type Values<'a> = Series<'a, f32, VALUE_BYTES>;

impl Value<VALUE_BYTES> for f32 {
    fn read(bytes: [u8; VALUE_BYTES]) -> Option<Self> {
        Some(Self::from_le_bytes(bytes)).filter(|v| v.is_finite())
    }

    fn write(value: Option<Self>) -> [u8; VALUE_BYTES] {
        value.unwrap_or(Self::NAN).to_le_bytes()
    }
}

impl<'a> ForceBlock<'a> {
    /// How many samples of `channels` values fit in a datagram; 0 without channels.
    #[must_use]
    pub fn samples_that_fit(channels: u8) -> usize {
        ((MAX_DATAGRAM - VALUES_AT) / VALUE_BYTES)
            .checked_div(usize::from(channels))
            .unwrap_or(0)
    }

    /// Samples in this block; 0 without channels.
    #[must_use]
    pub fn samples(&self) -> usize {
        self.values
            .len()
            .checked_div(usize::from(self.channels))
            .unwrap_or(0)
    }

    pub(super) fn read(body: &'a [u8]) -> Result<Self, DecodeError> {
        let mut fields = Fields(body);
        let first_sample = within("sample number", fields.u64("sample number")?, 0, MAX_COUNT)?;
        let layout = fields.u32("layout")?;
        let samples = fields.u16("samples")?;
        let channels = within("channels", fields.u8("channels")?, 1, MAX_CHANNELS as u8)?;
        within(
            "samples",
            samples,
            1,
            Self::samples_that_fit(channels) as u16,
        )?;
        fields.skip(1)?;
        let bytes = fields.chunks("values", usize::from(samples) * usize::from(channels))?;
        Ok(Self {
            first_sample,
            layout,
            channels,
            values: Values::of_datagram(bytes),
        })
    }

    /// Values that do not fill a sample make the block one sample longer than its values, so that
    /// reading back refuses it.
    pub(super) fn write(&self, out: &mut Vec<u8>) {
        let samples = self
            .values
            .len()
            .div_ceil(usize::from(self.channels).max(1));
        out.extend(self.first_sample.to_le_bytes());
        out.extend(self.layout.to_le_bytes());
        out.extend(short(samples).to_le_bytes());
        out.extend([self.channels, 0]);
        self.values.write(out);
    }
}
