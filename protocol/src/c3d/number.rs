//! Integers and floats as the three kinds of machine wrote them. No lengths are checked here:
//! every function takes exactly the bytes it needs.

/// The machine that wrote the file; byte 4 of the parameter section names it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum ByteOrder {
    /// Little-endian integers, little-endian IEEE floats.
    Intel,
    /// Little-endian integers, VAX `F_floating` reals.
    Dec,
    /// Big-endian integers, big-endian IEEE floats (SGI/MIPS).
    Mips,
}

impl ByteOrder {
    /// From the processor byte: 83 plus 1 (Intel), 2 (DEC) or 3 (MIPS).
    pub(super) fn from_processor(byte: u8) -> Option<Self> {
        match byte {
            84 => Some(Self::Intel),
            85 => Some(Self::Dec),
            86 => Some(Self::Mips),
            _ => None,
        }
    }

    /// An unsigned 16-bit word.
    pub(super) fn u16(self, bytes: [u8; 2]) -> u16 {
        match self {
            Self::Intel | Self::Dec => u16::from_le_bytes(bytes),
            Self::Mips => u16::from_be_bytes(bytes),
        }
    }

    /// A signed 16-bit word.
    pub(super) fn i16(self, bytes: [u8; 2]) -> i16 {
        self.u16(bytes).cast_signed()
    }

    /// A 32-bit real. NaN for the VAX reserved operand and for IEEE NaNs.
    pub(super) fn f32(self, bytes: [u8; 4]) -> f32 {
        match self {
            Self::Intel => f32::from_le_bytes(bytes),
            Self::Mips => f32::from_be_bytes(bytes),
            Self::Dec => vax_f(bytes),
        }
    }
}

/// VAX `F_floating`: two little-endian words, the first with sign (bit 15), exponent in excess 128
/// (bits 14–7) and the high seven bits of the fraction, the second with the rest. The hidden bit
/// stands behind the binary point (0.1f), so the weight of the whole 24-bit integer is
/// 2^(exponent − 128 − 24). Signs are a bit of their own (the standard's guide speaks of two's
/// complement; its sample files do not bear that out).
fn vax_f([low, high, rest_low, rest_high]: [u8; 4]) -> f32 {
    let bits = u32::from_be_bytes([high, low, rest_high, rest_low]);
    let negative = bits >> 31 == 1;
    let exponent = (bits >> 23 & 0xFF).cast_signed();
    if exponent == 0 {
        return if negative { f32::NAN } else { 0.0 };
    }
    let mantissa = f64::from(bits & 0x007F_FFFF | 0x0080_0000);
    let magnitude = mantissa * f64::from(exponent - 152).exp2();
    (if negative { -magnitude } else { magnitude }) as f32
}

/// `bytes` as an array, when there are exactly `N`.
pub(super) fn array<const N: usize>(bytes: &[u8]) -> Option<[u8; N]> {
    bytes.try_into().ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn hex(value: f32) -> u32 {
        value.to_bits()
    }

    /// Header words 7–8 (scale) and 11–12 (rate) of c3d.org sample 2, `pc_real`, `dec_real` and
    /// `sgi_real`: the same numbers in three orders.
    #[test]
    fn the_published_sample_headers_agree() {
        let scale = ByteOrder::Intel.f32([0x12, 0xF7, 0x8F, 0xBE]);
        assert_eq!(
            hex(ByteOrder::Dec.f32([0x8F, 0xBF, 0x12, 0xF7])),
            hex(scale)
        );
        assert_eq!(
            hex(ByteOrder::Mips.f32([0xBE, 0x8F, 0xF7, 0x12])),
            hex(scale)
        );
        assert_eq!(
            hex(ByteOrder::Intel.f32([0x00, 0x00, 0x48, 0x42])),
            hex(50.0)
        );
        assert_eq!(hex(ByteOrder::Dec.f32([0x48, 0x43, 0x00, 0x00])), hex(50.0));
        assert_eq!(
            hex(ByteOrder::Mips.f32([0x42, 0x48, 0x00, 0x00])),
            hex(50.0)
        );
        assert_eq!(ByteOrder::Dec.u16([0x0D, 0x00]), 13);
        assert_eq!(ByteOrder::Mips.u16([0x00, 0x0D]), 13);
        assert_eq!(ByteOrder::Mips.i16([0xFF, 0xFE]), -2);
    }

    /// From the bit layout published at nssdc.gsfc.nasa.gov/nssdc/formats/VAXFloatingPoint.htm:
    /// excess 128, hidden bit, range 2.9e-39 to 1.7e38.
    #[test]
    fn vax_limits() {
        assert_eq!(hex(vax_f([0x80, 0x40, 0, 0])), hex(1.0));
        assert_eq!(hex(vax_f([0x80, 0xC0, 0, 0])), hex(-1.0));
        assert_eq!(hex(vax_f([0, 0, 0, 0])), hex(0.0));
        assert!(vax_f([0, 0x80, 0, 0]).is_nan(), "reserved operand");
        let largest = vax_f([0xFF, 0x7F, 0xFF, 0xFF]);
        assert!((largest / 1.701_411_7e38 - 1.0).abs() < 1e-6, "{largest:e}");
        let smallest = vax_f([0x80, 0x00, 0, 0]);
        assert!(
            (f64::from(smallest) / 2f64.powi(-128) - 1.0).abs() < 1e-9,
            "{smallest:e}"
        );
    }
}
