//! A posture: the numbers that place body and club, and what each of them is.
//!
//! Angles in rad, positions in m, bay frame of a right-handed golfer. Geometry lives in `body`.

use std::ops::{Index, IndexMut};

/// One degree of freedom of the golfer.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Dof {
    /// Midpoint of the hip joint centers, X.
    PelvisX,
    /// The same, Y.
    PelvisY,
    /// The same, Z.
    PelvisZ,
    /// Heading of the pelvis, positive open.
    PelvisTurn,
    /// Positive with the lead hip lower.
    PelvisOblique,
    /// Anterior tilt of the pelvis, positive forward.
    PelvisTilt,
    /// Heading of the thorax, positive open.
    ThoraxTurn,
    /// Inclination of the thorax toward the ball.
    ThoraxForward,
    /// Inclination of the thorax away from the target.
    ThoraxSide,
    /// Turn of the head about its long axis, positive open.
    HeadTurn,
    /// Lead shoulder gliding forward on the thorax, m.
    LeadGlide,
    /// Trail shoulder gliding forward on the thorax, m.
    TrailGlide,
    /// Line from lead shoulder to lead wrist in its plane, from down the slope, positive back.
    ArmAngle,
    /// Slope of that plane.
    ArmSlope,
    /// Length of that line ÷ length of the straight arm.
    ArmReach,
    /// Shaft in its plane, from down the slope, positive back.
    ShaftAngle,
    /// Slope of the shaft's plane.
    ShaftSlope,
    /// Face open about the shaft from square to the plane.
    ShaftRoll,
    /// Direction of the shaft's plane seen from above, positive open.
    Azimuth,
    /// Trail heel lifted about the ball of the foot.
    HeelLift,
}

impl Dof {
    /// Every degree of freedom, in the order of declaration.
    pub(super) const ALL: [Self; 20] = [
        Self::PelvisX,
        Self::PelvisY,
        Self::PelvisZ,
        Self::PelvisTurn,
        Self::PelvisOblique,
        Self::PelvisTilt,
        Self::ThoraxTurn,
        Self::ThoraxForward,
        Self::ThoraxSide,
        Self::HeadTurn,
        Self::LeadGlide,
        Self::TrailGlide,
        Self::ArmAngle,
        Self::ArmSlope,
        Self::ArmReach,
        Self::ShaftAngle,
        Self::ShaftSlope,
        Self::ShaftRoll,
        Self::Azimuth,
        Self::HeelLift,
    ];
}

/// A value for every degree of freedom.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Posture([f64; Dof::ALL.len()]);

impl Posture {
    /// The posture whose values are `value(dof)`.
    pub(super) fn from_fn(value: impl Fn(Dof) -> f64) -> Self {
        Self(Dof::ALL.map(value))
    }

    /// The same posture with some values set.
    pub(super) fn with(mut self, values: &[(Dof, f64)]) -> Self {
        for &(dof, value) in values {
            self[dof] = value;
        }
        self
    }

    /// The same posture with some values changed by an amount.
    pub(super) fn plus(mut self, changes: &[(Dof, f64)]) -> Self {
        for &(dof, change) in changes {
            self[dof] += change;
        }
        self
    }
}

impl Index<Dof> for Posture {
    type Output = f64;

    fn index(&self, dof: Dof) -> &f64 {
        &self.0[dof as usize]
    }
}

impl IndexMut<Dof> for Posture {
    fn index_mut(&mut self, dof: Dof) -> &mut f64 {
        &mut self.0[dof as usize]
    }
}
