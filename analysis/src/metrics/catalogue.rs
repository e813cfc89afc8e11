//! The catalogue: every metric with its identifier, unit, sign, definition and source.
//!
//! Append-only: a family's `first` index and its events never change, because archives and exports
//! refer to values by index. What computes a family is in the file named after its group.

use crate::swing::event::Event;

/// Unit in which a metric is shown. Inside, values are SI and radians.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Unit {
    /// Seconds.
    Second,
    /// Milliseconds (seconds inside).
    Millisecond,
    /// Metres.
    Metre,
    /// Metres a second.
    MetrePerSecond,
    /// Degrees (radians inside).
    Degree,
    /// A pure number.
    Ratio,
}

impl Unit {
    /// The symbol in reports.
    #[must_use]
    pub const fn symbol(self) -> &'static str {
        match self {
            Self::Second => "s",
            Self::Millisecond => "ms",
            Self::Metre => "m",
            Self::MetrePerSecond => "m/s",
            Self::Degree => "deg",
            Self::Ratio => "ratio",
        }
    }

    /// An inside value in this unit.
    #[must_use]
    pub fn shown(self, inside: f64) -> f64 {
        match self {
            Self::Millisecond => inside * 1e3,
            Self::Degree => inside.to_degrees(),
            Self::Second | Self::Metre | Self::MetrePerSecond | Self::Ratio => inside,
        }
    }
}

/// One metric, or one a event.
#[derive(Debug, Clone, Copy)]
pub struct Family {
    /// Identifier without the event.
    pub id: &'static str,
    /// Index of the first value in the catalogue.
    pub first: usize,
    /// Events at which it is read; empty for a value that belongs to the whole swing.
    pub events: &'static [Event],
    /// Unit shown.
    pub unit: Unit,
    /// What a positive value means.
    pub sign: &'static str,
    /// What it is.
    pub definition: &'static str,
    /// Where the definition comes from.
    pub source: &'static str,
}

impl Family {
    /// Number of values.
    #[must_use]
    pub const fn len(&self) -> usize {
        if self.events.is_empty() {
            1
        } else {
            self.events.len()
        }
    }

    /// Never: a family has at least one value.
    #[must_use]
    pub const fn is_empty(&self) -> bool {
        false
    }

    /// Identifier of the `n`-th value: `pelvis_shift@top`, `tempo_ratio`.
    #[must_use]
    pub fn value_id(&self, n: usize) -> String {
        self.events.get(n).map_or_else(
            || self.id.to_owned(),
            |e| format!("{}@{}", self.id, e.name()),
        )
    }
}

const EVERY: &[Event] = &[
    Event::Address,
    Event::TakeawayEnd,
    Event::LeadArmLevelBack,
    Event::Top,
    Event::LeadArmLevelDown,
    Event::ShaftLevelDown,
    Event::Impact,
];
const ENDS: &[Event] = &[Event::Address, Event::Impact];
const AT_IMPACT: &[Event] = &[Event::Impact];
const OWN: &str = "own definition on ISB axes (Wu & Cavanagh 1995)";
const COMMON: &str = "common practice, no source";
const OPEN: &str = "positive open, negative closed, 0 square to the target line";

macro_rules! catalogue {
    ($($name:ident = $first:literal, $id:literal, $events:expr, $unit:ident, $sign:expr, $definition:literal, $source:expr;)+) => {
        $(
            #[doc = $definition]
            pub const $name: Family = Family {
                id: $id, first: $first, events: $events, unit: Unit::$unit,
                sign: $sign, definition: $definition, source: $source,
            };
        )+
        /// Every family in the order of its index.
        pub const CATALOGUE: &[&Family] = &[$(&$name,)+];
    };
}

catalogue! {
    BACKSWING_TIME = 0, "backswing_time", &[], Second, "longer is larger", "Time from takeaway start to the top.", COMMON;
    DOWNSWING_TIME = 1, "downswing_time", &[], Second, "longer is larger", "Time from the top to impact.", COMMON;
    TEMPO_RATIO = 2, "tempo_ratio", &[], Ratio, "larger: backswing longer against the downswing", "Backswing time divided by downswing time.", COMMON;
    REVERSAL_LEAD_PELVIS = 3, "reversal_lead.pelvis", &[], Millisecond, "positive: before the top of the club", "Time by which the pelvis turns back before the club does.", "Burden 1998 (pelvis turns before the club)";
    REVERSAL_LEAD_THORAX = 4, "reversal_lead.thorax", &[], Millisecond, "positive: before the top of the club", "Time by which the thorax turns back before the club does.", OWN;
    REVERSAL_LEAD_LEAD_ARM = 5, "reversal_lead.lead_arm", &[], Millisecond, "positive: before the top of the club", "Time by which the lead arm turns back, about the downswing plane's normal, before the club does.", OWN;
    PELVIS_SHIFT = 6, "pelvis_shift", EVERY, Metre, "positive toward the target", "Pelvis point (midpoint of the hip joint centers) along the target line, since address.", OWN;
    PELVIS_RISE = 13, "pelvis_rise", EVERY, Metre, "positive up", "Pelvis point upward, since address.", OWN;
    PELVIS_DEPTH = 20, "pelvis_depth", EVERY, Metre, "positive toward the ball line", "Pelvis point toward the ball line, since address.", OWN;
    HEAD_SHIFT = 27, "head_shift", EVERY, Metre, "positive toward the target", "Middle of the head's markers along the target line, since address.", OWN;
    HEAD_RISE = 34, "head_rise", EVERY, Metre, "positive up", "Middle of the head's markers upward, since address.", OWN;
    PELVIS_ROTATION = 41, "pelvis_rotation", EVERY, Degree, OPEN, "Heading of the pelvis' mediolateral axis seen from above.", "Wu 2002 (pelvis axes)";
    THORAX_ROTATION = 48, "thorax_rotation", EVERY, Degree, OPEN, "Heading of the thorax' mediolateral axis seen from above.", "Wu 2005 (thorax axes); Wheat 2007";
    SHOULDER_LINE_ROTATION = 55, "shoulder_line_rotation", EVERY, Degree, OPEN, "Heading of the line between the acromia; not the thorax: biased by -16 deg at the top.", "Wheat 2007";
    SEPARATION = 62, "separation", EVERY, Degree, "positive: thorax more closed than the pelvis", "Pelvis rotation minus thorax rotation.", "difference of headings, REFERENCES A10";
    SEPARATION_PEAK = 69, "separation_peak", &[], Degree, "positive: thorax more closed than the pelvis", "Largest separation between takeaway start and impact.", "Cheetham 2001";
    SEPARATION_PEAK_TIME = 70, "separation_peak_time", &[], Millisecond, "positive: after the top", "Time of the largest separation relative to the top.", OWN;
    KNEE_FLEXION_LEAD = 71, "knee_flexion.lead", EVERY, Degree, "0 straight, positive flexed", "Angle between thigh and shank of the lead leg.", "Grood & Suntay 1983 (flexion), three-point form";
    KNEE_FLEXION_TRAIL = 78, "knee_flexion.trail", EVERY, Degree, "0 straight, positive flexed", "Angle between thigh and shank of the trail leg.", "Grood & Suntay 1983 (flexion), three-point form";
    GRIP_SPEED_PEAK = 85, "grip_speed_peak", &[], MetrePerSecond, "speed", "Largest speed of the mid-grip point between the top and impact.", COMMON;
    GRIP_SPEED = 86, "grip_speed", AT_IMPACT, MetrePerSecond, "speed", "Speed of the mid-grip point right before impact.", COMMON;
    GRIP_SPEED_PEAK_TIME = 87, "grip_speed_peak_time", &[], Millisecond, "positive: before impact", "Time of the grip's largest speed before impact.", COMMON;
    HEAD_SPEED = 88, "head_speed", AT_IMPACT, MetrePerSecond, "speed", "Speed of the face's reference point right before impact: path cut at the collision, arc length fitted over the last 40 ms.", "REFERENCES A3 (cut before smoothing)";
    HEAD_SPEED_PEAK = 89, "head_speed_peak", &[], MetrePerSecond, "speed", "Largest speed of the face's reference point between the top and impact.", COMMON;
    HEAD_SPEED_PEAK_TIME = 90, "head_speed_peak_time", &[], Millisecond, "positive: before impact", "Time of the head's largest speed before impact.", COMMON;
    SHAFT_LEAN = 91, "shaft_lean", ENDS, Degree, "positive: grip nearer to the target than the head", "Angle of the shaft against the vertical, seen face on.", COMMON;
}

/// Number of values in the catalogue.
#[must_use]
pub fn len() -> usize {
    CATALOGUE.iter().map(|f| f.len()).sum()
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeSet;

    #[test]
    fn indices_follow_each_other_without_holes_or_overlap() {
        let mut next = 0;
        for family in CATALOGUE {
            assert_eq!(family.first, next, "{}", family.id);
            next += family.len();
        }
    }

    #[test]
    fn identifiers_are_unique_and_every_entry_is_described() {
        let ids: Vec<String> = CATALOGUE
            .iter()
            .flat_map(|f| (0..f.len()).map(|n| f.value_id(n)))
            .collect();
        assert_eq!(ids.iter().collect::<BTreeSet<_>>().len(), ids.len());
        for f in CATALOGUE {
            assert!(
                !f.definition.is_empty() && !f.source.is_empty() && !f.sign.is_empty(),
                "{}",
                f.id
            );
        }
    }
}
