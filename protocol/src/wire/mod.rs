//! Datagrams of the capture systems: bytes to values and back. The format is specified in the
//! crate's documentation.
//!
//! [`open`] checks the header, [`Datagram::body`] the rest; [`decode`] does both. After that every
//! number is inside its range and every value that was not measured is `None`. [`encode`] writes one
//! datagram; [`describe_parts`] and [`frame_parts`] cut what does not fit in one. [`seal`] and [`unseal`] put a key
//! on a datagram and take it off. Sockets, sequence
//! and the joining of parts are for others.

mod bytes;
mod describe;
mod error;
mod force_block;
mod header;
mod keyed;
mod marker_frame;
mod plate;
mod series;
mod source;
#[cfg(test)]
mod tests;
mod trigger;

pub use describe::{Content, Describe, LabelList, describe_parts};
pub use error::{DecodeError, EncodeError};
pub use force_block::{ForceBlock, Values};
pub use header::Header;
pub use keyed::{KEY_BYTES, Key, Refusal, Replays, Unsealed, seal, unseal};
pub use marker_frame::{Marker, MarkerFrame, Markers, frame_parts};
pub use plate::{Plate, PlateKind, PlateList};
pub use series::{Series, Value};
pub use source::Source;
pub use trigger::{Pulse, Trigger};

use bytes::{Fields, within};

/// A datagram whose header is good; its body has not been read.
///
/// Kept apart so that a receiver can count the sequence number of what it cannot read.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Datagram<'a> {
    /// The header.
    pub header: Header,
    kind: u8,
    body: &'a [u8],
}

/// What a datagram carries.
#[derive(Debug, Clone, PartialEq)]
pub enum Body<'a> {
    /// Kind 1.
    Describe(Describe),
    /// Kind 2.
    MarkerFrame(MarkerFrame<'a>),
    /// Kind 3.
    ForceBlock(ForceBlock<'a>),
    /// Kind 4.
    Trigger(Trigger),
}

/// Which part of something that needs several datagrams.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Part {
    /// From 0, below `count`.
    pub index: u8,
    /// At least 1.
    pub count: u8,
}

/// Checks the header of a datagram.
///
/// # Errors
/// When the bytes are no datagram of this major version or the header is damaged.
pub fn open(datagram: &[u8]) -> Result<Datagram<'_>, DecodeError> {
    let header::Opened { header, kind, body } = header::open(datagram)?;
    Ok(Datagram { header, kind, body })
}

/// Checks a whole datagram.
///
/// # Errors
/// As [`open`] and [`Datagram::body`].
pub fn decode(datagram: &[u8]) -> Result<(Header, Body<'_>), DecodeError> {
    let datagram = open(datagram)?;
    Ok((datagram.header, datagram.body()?))
}

/// Replaces the content of `out` by one datagram.
///
/// What is written is read back, so that nothing leaves that a receiver would refuse. A value that
/// is not finite is written as not measured.
///
/// # Errors
/// When a field is outside its range or the datagram would be too long; `out` is then empty.
pub fn encode(header: &Header, body: &Body<'_>, out: &mut Vec<u8>) -> Result<(), EncodeError> {
    out.clear();
    header::write(header, body.kind(), out);
    match body {
        Body::Describe(describe) => describe.write(out),
        Body::MarkerFrame(frame) => frame.write(out),
        Body::ForceBlock(block) => block.write(out),
        Body::Trigger(trigger) => trigger.write(out),
    }
    let refused = decode(out).err();
    refused.map_or(Ok(()), |why| {
        out.clear();
        Err(why.into())
    })
}

impl<'a> Datagram<'a> {
    /// Whether the header announces a marker frame; the body may be damaged.
    #[must_use]
    pub fn is_marker_frame(&self) -> bool {
        self.kind == 2
    }

    /// Reads the body.
    ///
    /// # Errors
    /// When the kind is not known or a field is damaged.
    pub fn body(&self) -> Result<Body<'a>, DecodeError> {
        match self.kind {
            1 => Describe::read(self.body).map(Body::Describe),
            2 => MarkerFrame::read(self.body).map(Body::MarkerFrame),
            3 => ForceBlock::read(self.body).map(Body::ForceBlock),
            4 => Trigger::read(self.body).map(Body::Trigger),
            unknown => Err(DecodeError::Kind(unknown)),
        }
    }
}

impl Body<'_> {
    fn kind(&self) -> u8 {
        match self {
            Self::Describe(_) => 1,
            Self::MarkerFrame(_) => 2,
            Self::ForceBlock(_) => 3,
            Self::Trigger(_) => 4,
        }
    }
}

impl Part {
    /// The only part.
    pub const WHOLE: Self = Self { index: 0, count: 1 };

    fn read(fields: &mut Fields<'_>) -> Result<Self, DecodeError> {
        let index = fields.u8("part")?;
        let count = within("parts", fields.u8("parts")?, 1, u8::MAX)?;
        within("part", index, 0, count - 1)?;
        Ok(Self { index, count })
    }

    fn write(self, out: &mut Vec<u8>) {
        out.extend([self.index, self.count]);
    }
}
