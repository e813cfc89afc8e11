//! The focus: the one to three metrics that the bay shows large, and which of them move live.

use super::shot::Metric;
use crate::body::live::PelvisNow;
use crate::metrics::catalogue::{PELVIS_ROTATION, PELVIS_SHIFT, Unit};

/// At most so many (LOOK: three big numbers).
pub const MOST: usize = 3;

/// Why metrics make no focus.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Refused {
    /// More than three.
    TooMany,
    /// One of them twice.
    Twice,
    /// A code is no number to work on.
    Code,
}

impl Refused {
    /// As a sentence says it.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::TooMany => "a focus has at most three metrics",
            Self::Twice => "this metric is in the focus already",
            Self::Code => "this value is a code and no number to work on",
        }
    }
}

/// Up to three metrics, the most important first.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Focus(Vec<Metric>);

impl Focus {
    /// A focus, or none with an empty list.
    ///
    /// # Errors
    /// Says which rule the list breaks.
    pub fn new(metrics: Vec<Metric>) -> Result<Self, Refused> {
        if metrics.len() > MOST {
            return Err(Refused::TooMany);
        }
        if (1..metrics.len()).any(|i| metrics[..i].contains(&metrics[i])) {
            return Err(Refused::Twice);
        }
        if metrics.iter().any(|m| m.unit() == Unit::Code) {
            return Err(Refused::Code);
        }
        Ok(Self(metrics))
    }

    /// The metrics.
    #[must_use]
    pub fn metrics(&self) -> &[Metric] {
        &self.0
    }
}

/// A number that moves while the golfer does, at address and in slow rehearsals. Both are changes since
/// address.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Live {
    /// Pelvis along the target line, metres.
    PelvisShift,
    /// Pelvis about the vertical, rad.
    PelvisRotation,
}

impl Live {
    /// The live number that belongs to a metric, where one does.
    #[must_use]
    pub fn of(metric: Metric) -> Option<Self> {
        match metric.family().first {
            f if f == PELVIS_SHIFT.first => Some(Self::PelvisShift),
            f if f == PELVIS_ROTATION.first => Some(Self::PelvisRotation),
            _ => None,
        }
    }

    /// Its value now.
    #[must_use]
    pub const fn read(self, now: &PelvisNow) -> f64 {
        match self {
            Self::PelvisShift => now.shift_m,
            Self::PelvisRotation => now.rotation_rad,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn metric(id: &str) -> Metric {
        Metric::by_id(id).unwrap()
    }

    #[test]
    fn a_focus_has_at_most_three_different_numbers() {
        let ids = [
            "pelvis_shift@top",
            "tempo_ratio",
            "hinge@top",
            "separation_peak",
        ];
        let of = |n: usize| Focus::new(ids[..n].iter().map(|i| metric(i)).collect());
        assert_eq!(of(0).unwrap().metrics(), []);
        assert_eq!(of(3).unwrap().metrics().len(), 3);
        assert_eq!(of(4), Err(Refused::TooMany));
        let twice = vec![metric("tempo_ratio"); 2];
        assert_eq!(Focus::new(twice), Err(Refused::Twice));
        let code = vec![metric("arrival_order")];
        assert_eq!(Focus::new(code), Err(Refused::Code));
    }

    #[test]
    fn live_numbers_belong_to_the_pelvis() {
        let now = PelvisNow {
            shift_m: -0.02,
            rotation_rad: -0.7,
        };
        let read = |id: &str| Live::of(metric(id)).map(|l| l.read(&now));
        assert_eq!(read("pelvis_shift@takeaway_end"), Some(-0.02));
        assert_eq!(read("pelvis_rotation@top"), Some(-0.7));
        assert_eq!(read("pelvis_rise@top"), None);
        assert_eq!(read("pelvis_shift_range.backswing"), None);
    }
}
