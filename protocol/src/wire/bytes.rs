//! Reading fields one after the other, checked; and the range checks that every field shares.
//! No field has a meaning here.

use super::DecodeError;

/// The rest of a datagram. Every read names its field for the error.
#[derive(Debug, Clone, Copy)]
pub(super) struct Fields<'a>(pub(super) &'a [u8]);

impl<'a> Fields<'a> {
    pub(super) fn array<const N: usize>(
        &mut self,
        field: &'static str,
    ) -> Result<[u8; N], DecodeError> {
        let (head, rest) = self.0.split_first_chunk().ok_or(DecodeError::Short {
            field,
            needed: N,
            left: self.0.len(),
        })?;
        self.0 = rest;
        Ok(*head)
    }

    pub(super) fn bytes(
        &mut self,
        field: &'static str,
        needed: usize,
    ) -> Result<&'a [u8], DecodeError> {
        let (head, rest) = self.0.split_at_checked(needed).ok_or(DecodeError::Short {
            field,
            needed,
            left: self.0.len(),
        })?;
        self.0 = rest;
        Ok(head)
    }

    /// `count` values of `N` bytes, still bytes.
    pub(super) fn chunks<const N: usize>(
        &mut self,
        field: &'static str,
        count: usize,
    ) -> Result<&'a [[u8; N]], DecodeError> {
        Ok(self.bytes(field, count.saturating_mul(N))?.as_chunks().0)
    }

    pub(super) fn skip(&mut self, bytes: usize) -> Result<(), DecodeError> {
        self.bytes("reserved", bytes).map(|_| ())
    }

    pub(super) fn u8(&mut self, field: &'static str) -> Result<u8, DecodeError> {
        self.array::<1>(field).map(|[byte]| byte)
    }

    pub(super) fn u16(&mut self, field: &'static str) -> Result<u16, DecodeError> {
        self.array(field).map(u16::from_le_bytes)
    }

    pub(super) fn u32(&mut self, field: &'static str) -> Result<u32, DecodeError> {
        self.array(field).map(u32::from_le_bytes)
    }

    pub(super) fn u64(&mut self, field: &'static str) -> Result<u64, DecodeError> {
        self.array(field).map(u64::from_le_bytes)
    }

    pub(super) fn i64(&mut self, field: &'static str) -> Result<i64, DecodeError> {
        self.array(field).map(i64::from_le_bytes)
    }

    pub(super) fn f32(&mut self, field: &'static str) -> Result<f32, DecodeError> {
        self.array(field).map(f32::from_le_bytes)
    }

    pub(super) fn f64(&mut self, field: &'static str) -> Result<f64, DecodeError> {
        self.array(field).map(f64::from_le_bytes)
    }
}

/// `got`, if it lies between `least` and `most`, both included.
pub(super) fn within<T: Copy + PartialOrd + Into<i128>>(
    field: &'static str,
    got: T,
    least: T,
    most: T,
) -> Result<T, DecodeError> {
    if (least..=most).contains(&got) {
        return Ok(got);
    }
    Err(DecodeError::Range {
        field,
        got: got.into(),
        least: least.into(),
        most: most.into(),
    })
}

/// `got`, if it is finite.
pub(super) fn finite<T: Copy + Into<f64>>(field: &'static str, got: T) -> Result<T, DecodeError> {
    if got.into().is_finite() {
        return Ok(got);
    }
    Err(DecodeError::Number {
        field,
        got: got.into(),
        expected: "a finite number",
    })
}

/// A length as it goes into a field. What does not fit becomes the largest number, which is over
/// every limit of this format: reading back refuses it.
pub(super) fn short(length: usize) -> u16 {
    u16::try_from(length).unwrap_or(u16::MAX)
}

/// As [`short`], for one byte.
pub(super) fn tiny(length: usize) -> u8 {
    u8::try_from(length).unwrap_or(u8::MAX)
}
