//! The 40 bytes that every datagram starts with: who sends, when, and what follows.

use super::DecodeError;
use super::bytes::{Fields, within};
use crate::{HEADER_BYTES, MAJOR, MAX_COUNT, MAX_DATAGRAM, MINOR};

const MAGIC: [u8; 4] = *b"WHIN";
const FLAG_TAGGED: u32 = 1;
/// Where the byte with that flag lies.
const FLAG_PLACE: usize = 20;

/// What every datagram says about itself.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Header {
    /// The stream, unique among all that reach the bay.
    pub stream: u32,
    /// The clock of `device_time_ns`: equal numbers mean one clock.
    pub clock: u32,
    /// Larger after each restart of the sender's sequence or clock.
    pub epoch: u32,
    /// One more with every datagram of the stream. At most [`MAX_COUNT`].
    pub sequence: u64,
    /// Nanoseconds on the sender's clock, from its own zero, within ±[`MAX_COUNT`].
    pub device_time_ns: i64,
}

/// A header with what it announces.
pub(super) struct Opened<'a> {
    pub(super) header: Header,
    pub(super) kind: u8,
    pub(super) body: &'a [u8],
}

pub(super) fn open(datagram: &[u8]) -> Result<Opened<'_>, DecodeError> {
    let mut fields = Fields(datagram);
    // What it is comes first: a stray or newer datagram deserves its own message whatever its size.
    let magic = fields.array("magic")?;
    if magic != MAGIC {
        return Err(DecodeError::Magic(magic));
    }
    let major = fields.u8("major version")?;
    if major != MAJOR {
        return Err(DecodeError::Major(major));
    }
    if datagram.len() > MAX_DATAGRAM {
        return Err(DecodeError::Long(datagram.len()));
    }
    let _minor = fields.u8("minor version")?;
    let kind = fields.u8("kind")?;
    let length = within(
        "header length",
        fields.u8("header length")?,
        HEADER_BYTES as u8,
        u8::MAX,
    )?;
    let header = read(&mut fields)?;
    fields.skip(usize::from(length) - HEADER_BYTES)?;
    Ok(Opened {
        header,
        kind,
        body: fields.0,
    })
}

fn read(fields: &mut Fields<'_>) -> Result<Header, DecodeError> {
    let stream = fields.u32("stream")?;
    let clock = fields.u32("clock")?;
    let epoch = fields.u32("epoch")?;
    if fields.u32("flags")? & FLAG_TAGGED != 0 {
        return Err(DecodeError::Tagged);
    }
    let sequence = within("sequence", fields.u64("sequence")?, 0, MAX_COUNT)?;
    let most = MAX_COUNT.cast_signed();
    let device_time_ns = within("device time", fields.i64("device time")?, -most, most)?;
    Ok(Header {
        stream,
        clock,
        epoch,
        sequence,
        device_time_ns,
    })
}

pub(super) fn write(header: &Header, kind: u8, out: &mut Vec<u8>) {
    out.extend(MAGIC);
    out.extend([MAJOR, MINOR, kind, HEADER_BYTES as u8]);
    for word in [header.stream, header.clock, header.epoch, 0] {
        out.extend(word.to_le_bytes());
    }
    out.extend(header.sequence.to_le_bytes());
    out.extend(header.device_time_ns.to_le_bytes());
}

/// Whether the bytes announce a keyed tag.
pub(super) fn is_tagged(datagram: &[u8]) -> bool {
    let flags = datagram.get(FLAG_PLACE).copied().unwrap_or_default();
    datagram.starts_with(&MAGIC) && u32::from(flags) & FLAG_TAGGED != 0
}

/// Announces a keyed tag, or takes that back.
pub(super) fn set_tagged(datagram: &mut [u8], tagged: bool) {
    if let Some(flags) = datagram.get_mut(FLAG_PLACE) {
        *flags = *flags & !(FLAG_TAGGED as u8) | u8::from(tagged);
    }
}
