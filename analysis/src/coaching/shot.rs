//! One shot as coaching reads it: its measured values in the order of the catalogue.

use crate::metrics::catalogue::{self, CATALOGUE, Family, Unit};
use crate::swing::event::Event;

/// One value of the catalogue, by its index.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Metric(usize);

impl Metric {
    /// The only value of a family, or its first.
    #[must_use]
    pub const fn of(family: &Family) -> Self {
        Self(family.first)
    }

    /// A family's value at an event; `None` when it is not read there.
    #[must_use]
    pub fn at(family: &Family, event: Event) -> Option<Self> {
        let n = family.events.iter().position(|e| *e == event)?;
        Some(Self(family.first + n))
    }

    /// By identifier: `pelvis_shift@top`.
    #[must_use]
    pub fn by_id(id: &str) -> Option<Self> {
        CATALOGUE.iter().find_map(|family| {
            let n = (0..family.len()).find(|n| family.value_id(*n) == id)?;
            Some(Self(family.first + n))
        })
    }

    /// By index in the catalogue.
    #[must_use]
    pub fn by_index(index: usize) -> Option<Self> {
        (index < catalogue::len()).then_some(Self(index))
    }

    /// Every metric, in the catalogue's order.
    pub fn all() -> impl Iterator<Item = Self> {
        (0..catalogue::len()).map(Self)
    }

    /// Index in the catalogue.
    #[must_use]
    pub const fn index(self) -> usize {
        self.0
    }

    /// The family it belongs to.
    #[must_use]
    pub fn family(self) -> &'static Family {
        let at = CATALOGUE.partition_point(|f| f.first <= self.0);
        CATALOGUE[at.max(1) - 1]
    }

    /// Identifier: `pelvis_shift@top`.
    #[must_use]
    pub fn id(self) -> String {
        let family = self.family();
        family.value_id(self.0 - family.first)
    }

    /// The event at which it is read; `None` for a value of the whole swing.
    #[must_use]
    pub fn event(self) -> Option<Event> {
        let family = self.family();
        family.events.get(self.0 - family.first).copied()
    }

    /// Unit in which it is shown.
    #[must_use]
    pub fn unit(self) -> Unit {
        self.family().unit
    }
}

/// One measured value.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reading {
    /// SI, radians.
    pub value: f64,
    /// Standard uncertainty of the rig's noise, where known; of a code the share of draws that agree.
    pub uncertainty: Option<f64>,
    /// Whether something limits it (its words are in the report).
    pub limited: bool,
}

/// One shot.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Shot {
    /// Readings in catalogue order; `None` where not measured. May be shorter than the catalogue: what is
    /// missing was not computed then.
    pub readings: Vec<Option<Reading>>,
}

impl Shot {
    /// The reading of a metric, where measured.
    #[must_use]
    pub fn reading(&self, metric: Metric) -> Option<Reading> {
        self.readings.get(metric.0).copied().flatten()
    }

    /// The value of a metric, where measured.
    #[must_use]
    pub fn value(&self, metric: Metric) -> Option<f64> {
        self.reading(metric).map(|r| r.value)
    }
}

/// The measured values of a metric over shots, in the order of the shots.
#[must_use]
pub fn values(shots: &[&Shot], metric: Metric) -> Vec<f64> {
    shots.iter().filter_map(|s| s.value(metric)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::metrics::catalogue::PELVIS_SHIFT;

    #[test]
    fn a_metric_is_found_by_identifier_index_and_event() {
        for metric in Metric::all() {
            assert_eq!(Metric::by_id(&metric.id()), Some(metric));
            assert_eq!(Metric::by_index(metric.index()), Some(metric));
        }
        let top = Metric::at(&PELVIS_SHIFT, Event::Top);
        assert_eq!(top, Metric::by_id("pelvis_shift@top"));
        assert_eq!(Metric::at(&PELVIS_SHIFT, Event::Finish), None);
        assert_eq!(Metric::by_id("pelvis_shift"), None);
    }
}
