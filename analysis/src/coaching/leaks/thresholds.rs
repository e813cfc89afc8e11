//! The numbers that decide what counts as a leak: plain data, each with a source, each for the coach to
//! change.

use std::collections::BTreeMap;

use super::Leak;
use crate::coaching::band::Source;
use crate::metrics::catalogue::Unit;

const DEG: f64 = std::f64::consts::PI / 180.0;

macro_rules! keys {
    ($($(#[$doc:meta])* $variant:ident = $name:literal, $unit:ident, $default:expr, $scale:expr;)+) => {
        /// Which number.
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
        pub enum Key {
            $($(#[$doc])* $variant,)+
        }

        impl Key {
            /// Every number.
            pub const ALL: &'static [Self] = &[$(Self::$variant,)+];

            /// Stable name for storage.
            #[must_use]
            pub const fn name(self) -> &'static str {
                match self { $(Self::$variant => $name,)+ }
            }

            /// Unit in which it is shown.
            #[must_use]
            pub const fn unit(self) -> Unit {
                match self { $(Self::$variant => Unit::$unit,)+ }
            }

            /// The default, SI and radians; `None`: off until the coach sets it. All are common practice.
            #[must_use]
            pub const fn default(self) -> Option<f64> {
                match self { $(Self::$variant => $default,)+ }
            }

            /// How far beyond it counts as one step of severity (own choice; it decides only the order of
            /// leaks that are as frequent): SI, radians.
            #[must_use]
            pub const fn scale(self) -> f64 {
                match self { $(Self::$variant => $scale,)+ }
            }
        }
    };
}

keys! {
    /// Share of the block's shots that must show a leak.
    Often = "often", Ratio, Some(0.5), 1.0;
    /// A pelvis that stays within this on both sides of its place does not shift (METRICS).
    NoShift = "no_shift", Millimetre, Some(0.010), 0.030;
    /// The trail knee loses at least this much flexion by the top (REFERENCES H).
    TrailKneeLoses = "trail_knee_loses", Degree, Some(5.0 * DEG), 5.0 * DEG;
    /// The lead knee gains at least this many times its flexion at address (METRICS: as much again).
    LeadKneeGains = "lead_knee_gains", Ratio, Some(1.0), 1.0;
    /// The knees begin to change within this share of the backswing (METRICS: half).
    KneeOnset = "knee_onset", Ratio, Some(0.5), 0.25;
    /// Largest excess of pelvis rotation wound up over brought through (REFERENCES H: 0).
    Excess = "excess", Degree, Some(0.0), 10.0 * DEG;
    /// The thorax may straighten by this much since address.
    Straightening = "straightening", Degree, Some(5.0 * DEG), 5.0 * DEG;
    /// A peak of the separation after this share of the downswing is late.
    StretchPeak = "stretch_peak", Ratio, Some(0.5), 0.5;
    /// Less of the separation than this gone at impact is little.
    StretchClosed = "stretch_closed", Ratio, Some(0.5), 0.5;
    /// A lead arm ahead for less than this is never ahead (what the measurement can tell from noise).
    ArmAhead = "arm_ahead", Millisecond, Some(0.005), 0.005;
    /// Share of the draws that must agree on the phase of the trail foot's peak.
    PhaseAgreement = "phase_agreement", Percent, Some(0.95), 0.05;
    /// Least upward force above which nothing was unweighted.
    Unweighting = "unweighting", BodyWeight, None, 0.10;
    /// A mass center that sinks less than this hardly sinks.
    Drop = "drop", Millimetre, None, 0.010;
    /// A pelvis that shifts over less than this in the backswing hardly shifts.
    ShiftRange = "shift_range", Millimetre, None, 0.010;
}

impl Key {
    /// What it means, for whoever sets it.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Often => "share of a block's shots that must show a leak",
            Self::NoShift => "a pelvis that stays within this on both sides does not shift",
            Self::TrailKneeLoses => "the trail knee loses at least this much flexion by the top",
            Self::LeadKneeGains => {
                "the lead knee gains at least this many times its flexion at address"
            }
            Self::KneeOnset => "the knees begin to change within this share of the backswing",
            Self::Excess => "largest pelvis rotation wound up more than brought through",
            Self::Straightening => "the thorax may straighten by this much since address",
            Self::StretchPeak => {
                "a peak of the separation after this share of the downswing is late"
            }
            Self::StretchClosed => "less of the separation than this gone at impact is little",
            Self::ArmAhead => "a lead arm ahead for less than this is never ahead",
            Self::PhaseAgreement => {
                "share of the draws that must agree on when the trail foot pushes most"
            }
            Self::Unweighting => "least upward force above which nothing was unweighted",
            Self::Drop => "a mass center that sinks less than this hardly sinks",
            Self::ShiftRange => {
                "a pelvis that shifts over less than this in the backswing hardly shifts"
            }
        }
    }

    /// The number with this [`name`](Self::name).
    #[must_use]
    pub fn from_name(name: &str) -> Option<Self> {
        Self::ALL.iter().copied().find(|k| k.name() == name)
    }
}

/// A number and where it comes from.
#[derive(Debug, Clone, PartialEq)]
pub struct Threshold {
    /// SI, radians.
    pub value: f64,
    /// Source.
    pub source: Source,
}

/// All numbers of one student and club.
#[derive(Debug, Clone, PartialEq)]
pub struct Thresholds(BTreeMap<Key, Threshold>);

impl Default for Thresholds {
    fn default() -> Self {
        let common = |value| Threshold {
            value,
            source: Source::CommonPractice,
        };
        let set = |&key: &Key| Some((key, common(key.default()?)));
        Self(Key::ALL.iter().filter_map(set).collect())
    }
}

impl Thresholds {
    /// A number, where set.
    #[must_use]
    pub fn get(&self, key: Key) -> Option<&Threshold> {
        self.0.get(&key)
    }

    /// Sets a number; `false` where it is no number or negative (an excess may be) and nothing changed.
    #[must_use]
    pub fn set(&mut self, key: Key, value: f64, source: Source) -> bool {
        let sound = value.is_finite() && (value >= 0.0 || key == Key::Excess);
        if sound {
            self.0.insert(key, Threshold { value, source });
        }
        sound
    }

    /// Takes a number away: what needs it is off.
    pub fn clear(&mut self, key: Key) {
        self.0.remove(&key);
    }

    /// Whether a leak is looked for: all its numbers are set.
    #[must_use]
    pub fn on(&self, leak: Leak) -> bool {
        needs(leak).iter().all(|k| self.0.contains_key(k))
    }

    pub(super) fn often(&self) -> f64 {
        self.value(Key::Often)
    }

    /// A number of a leak that is on.
    pub(super) fn value(&self, key: Key) -> f64 {
        self.0.get(&key).map_or(f64::INFINITY, |t| t.value)
    }
}

/// The numbers that a leak needs.
pub(super) const fn needs(leak: Leak) -> &'static [Key] {
    match leak {
        Leak::WrongWayFirst => &[Key::Often, Key::NoShift],
        Leak::LegsHeldStill => &[
            Key::Often,
            Key::TrailKneeLoses,
            Key::LeadKneeGains,
            Key::KneeOnset,
        ],
        Leak::NotBroughtThrough => &[Key::Often, Key::Excess],
        Leak::StandingUp => &[Key::Often, Key::Straightening],
        Leak::StretchKept => &[Key::Often, Key::StretchPeak, Key::StretchClosed],
        Leak::ArmsWait => &[Key::Often, Key::ArmAhead],
        Leak::TrailFootLate => &[Key::Often, Key::PhaseAgreement],
        Leak::NoCounterMovement => &[Key::Often, Key::Unweighting, Key::Drop, Key::ShiftRange],
    }
}
