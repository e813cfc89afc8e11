//! Why a datagram is refused. A small value without allocation: garbage may come by the thousand.

use thiserror::Error;

use crate::{MAJOR, MAX_DATAGRAM};

/// Why bytes are not a datagram that this version can read. The text says what to do where
/// something can be done.
#[derive(Debug, Clone, Copy, PartialEq, Error)]
pub enum DecodeError {
    /// Something else arrived at this port.
    #[error("magic is {hex}, not 57 48 49 4e (WHIN): not a Whin datagram", hex = hex(.0))]
    Magic([u8; 4]),
    /// Written by another major version.
    #[error("major version {0}, this program speaks {MAJOR}: update the {older}", older = older(*.0))]
    Major(u8),
    /// More bytes than any datagram has.
    #[error("{0} bytes, a datagram has at most {MAX_DATAGRAM}")]
    Long(usize),
    /// The datagram ends inside a field.
    #[error("{field} needs {needed} bytes, {left} are left: the datagram is cut")]
    Short {
        /// The field.
        field: &'static str,
        /// Bytes of the field.
        needed: usize,
        /// Bytes of the datagram from the field's start.
        left: usize,
    },
    /// A keyed tag where no key is known: [`unseal`](super::unseal) takes it off.
    #[error("keyed, and this receiver has no key: give it the sender's, or switch it off there")]
    Tagged,
    /// Maybe a newer minor version: count and skip.
    #[error("kind {0} is not known (known are 1 to 4): skipped")]
    Kind(u8),
    /// Maybe a newer minor version: count and skip.
    #[error("described content {0} is not known (known are 1 to 3): skipped")]
    Content(u8),
    /// A whole number outside its range.
    #[error("{field} is {got}, expected {least} to {most}")]
    Range {
        /// The field.
        field: &'static str,
        /// What it says.
        got: i128,
        /// Smallest allowed.
        least: i128,
        /// Largest allowed.
        most: i128,
    },
    /// A real number that makes no sense in its field.
    #[error("{field} is {got}, expected {expected}")]
    Number {
        /// The field.
        field: &'static str,
        /// What it says.
        got: f64,
        /// What would make sense.
        expected: &'static str,
    },
    /// Axes that are not a rotation.
    #[error("axes are no rotation: write orthonormal rows with determinant +1, or zeros")]
    Axes,
    /// A label that is not text.
    #[error("label {index} is not UTF-8 or has control characters")]
    Label {
        /// Place in the layout, from 0.
        index: usize,
    },
}

/// Why something cannot be sent: a receiver would refuse it.
#[derive(Debug, Clone, Copy, PartialEq, Error)]
#[error("a receiver would refuse this datagram: {0}")]
pub struct EncodeError(#[from] pub DecodeError);

/// Who has to be updated when the sender speaks `major`.
fn older(major: u8) -> &'static str {
    if major > MAJOR { "receiver" } else { "sender" }
}

fn hex(bytes: &[u8; 4]) -> String {
    let [a, b, c, d] = bytes;
    format!("{a:02x} {b:02x} {c:02x} {d:02x}")
}
