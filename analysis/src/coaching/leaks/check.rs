//! One value against one threshold, beyond the uncertainty or not, and how such outcomes combine.

use crate::coaching::band::COVER;
use crate::coaching::shot::{Metric, Shot};

/// Whether something shows.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Outcome {
    /// Beyond the uncertainty.
    Yes,
    /// Not, beyond the uncertainty.
    No,
    /// The value lies closer to the threshold than it is known.
    Unsure,
    /// Not measured.
    Missing,
}

impl Outcome {
    /// All must show (Kleene's three values: what is not known decides nothing that is decided already).
    pub(super) fn and(self, other: Self) -> Self {
        match (self, other) {
            (Self::No, _) | (_, Self::No) => Self::No,
            (Self::Missing, _) | (_, Self::Missing) => Self::Missing,
            (Self::Unsure, _) | (_, Self::Unsure) => Self::Unsure,
            (Self::Yes, Self::Yes) => Self::Yes,
        }
    }

    /// One is enough.
    pub(super) fn or(self, other: Self) -> Self {
        match (self, other) {
            (Self::Yes, _) | (_, Self::Yes) => Self::Yes,
            (Self::Missing, _) | (_, Self::Missing) => Self::Missing,
            (Self::Unsure, _) | (_, Self::Unsure) => Self::Unsure,
            (Self::No, Self::No) => Self::No,
        }
    }
}

/// Which side of a threshold shows the leak.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Side {
    /// Above it.
    Above,
    /// Below it.
    Below,
}

/// A metric that was looked at in one shot; SI, radians. When it is read is the metric's event.
#[derive(Debug, Clone, PartialEq)]
pub struct Evidence {
    /// Which.
    pub metric: Metric,
    /// Its value, where measured.
    pub value: Option<f64>,
    /// Its standard uncertainty, where known.
    pub uncertainty: Option<f64>,
    /// What it was held against; `None` for what is only shown beside.
    pub threshold: Option<f64>,
    /// How far it lies on the side that shows the leak, negative on the other.
    pub beyond: Option<f64>,
    /// What it says.
    pub outcome: Outcome,
}

impl Evidence {
    /// A value against a threshold; `margin` is what it must be beyond where that is not its own
    /// uncertainty.
    pub(super) fn of(
        shot: &Shot,
        metric: Metric,
        (side, threshold): (Side, f64),
        margin: Option<f64>,
    ) -> Self {
        let reading = shot.reading(metric);
        let uncertainty = reading.and_then(|r| r.uncertainty);
        let wide = margin.or(uncertainty.map(|u| COVER * u)).unwrap_or(0.0);
        let sign = match side {
            Side::Above => 1.0,
            Side::Below => -1.0,
        };
        let beyond = reading.map(|r| sign * (r.value - threshold));
        let outcome = match beyond {
            None => Outcome::Missing,
            Some(b) if b > wide => Outcome::Yes,
            Some(b) if b <= -wide => Outcome::No,
            Some(_) => Outcome::Unsure,
        };
        Self {
            metric,
            value: reading.map(|r| r.value),
            uncertainty,
            threshold: Some(threshold),
            beyond,
            outcome,
        }
    }

    /// What is shown beside and decides nothing.
    pub(super) fn beside(shot: &Shot, metric: Metric) -> Self {
        let reading = shot.reading(metric);
        Self {
            metric,
            value: reading.map(|r| r.value),
            uncertainty: reading.and_then(|r| r.uncertainty),
            threshold: None,
            beyond: None,
            outcome: if reading.is_some() {
                Outcome::No
            } else {
                Outcome::Missing
            },
        }
    }

    /// Whether it decided something by a value whose uncertainty is not known.
    pub(super) fn is_bare(&self) -> bool {
        self.threshold.is_some() && self.value.is_some() && self.uncertainty.is_none()
    }
}
