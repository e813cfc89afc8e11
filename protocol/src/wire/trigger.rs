//! Kind 4: one pulse of a device that notices impact.

use super::DecodeError;
use super::bytes::{Fields, within};

/// One pulse; its time is the header's.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Trigger {
    /// What noticed it.
    pub pulse: Pulse,
    /// Peak on the sender's own scale, 0 or more; `None` when unknown.
    pub strength: Option<f32>,
}

/// What notices impact.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Pulse {
    /// A microphone.
    Sound,
    /// A switch, light gate or the like.
    Switch,
}

impl Pulse {
    pub(super) fn read(fields: &mut Fields<'_>) -> Result<Self, DecodeError> {
        match within("pulse", fields.u8("pulse")?, 1, 2)? {
            1 => Ok(Self::Sound),
            _ => Ok(Self::Switch),
        }
    }

    pub(super) fn code(self) -> u8 {
        match self {
            Self::Sound => 1,
            Self::Switch => 2,
        }
    }
}

impl Trigger {
    pub(super) fn read(body: &[u8]) -> Result<Self, DecodeError> {
        let mut fields = Fields(body);
        let pulse = Pulse::read(&mut fields)?;
        fields.skip(3)?;
        let strength = Some(fields.f32("strength")?).filter(|s| s.is_finite());
        match strength {
            Some(s) if s < 0.0 => Err(DecodeError::Number {
                field: "strength",
                got: s.into(),
                expected: "0 or more, or NaN for unknown",
            }),
            _ => Ok(Self { pulse, strength }),
        }
    }

    pub(super) fn write(&self, out: &mut Vec<u8>) {
        out.extend([self.pulse.code(), 0, 0, 0]);
        out.extend(self.strength.unwrap_or(f32::NAN).to_le_bytes());
    }
}
