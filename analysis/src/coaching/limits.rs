//! Limits on a student: which movements a physiotherapist, the coach or the student took out of the lesson,
//! and what is therefore not judged, toned or suggested. Values are measured and kept all the same.

use super::leaks::Leak;
use super::shot::Metric;

// Beginnings of the identifiers whose bands and tones a limit takes away.
const OF_ROTATION: &[&str] = &[
    "pelvis_rotation",
    "thorax_rotation",
    "shoulder_line_rotation",
    "separation",
    "rotation_",
    "angular_speed_peak.pelvis",
    "angular_speed_peak.thorax",
    "angular_acceleration_peak.pelvis",
    "angular_acceleration_peak.thorax",
];
const OF_BACK: &[&str] = &[
    "thorax_",
    "shoulder_line_rotation",
    "separation",
    "rotation_",
    "inclination_change",
    "pelvis_anterior_tilt",
    "pelvis_obliquity",
    "angular_speed_peak.thorax",
    "angular_acceleration_peak.thorax",
];
const OF_LEAD_KNEE: &[&str] = &[
    "knee_flexion.lead",
    "knee_change.lead",
    "knee_ratio.lead",
    "knee_onset.lead",
    "hip_height_difference",
    "vertical_force_peak.lead",
    "loading_rate.lead",
    "free_moment_peak.lead",
    "mass_centre_drop",
    "unweighting_min",
];
const OF_TRAIL_KNEE: &[&str] = &[
    "knee_flexion.trail",
    "knee_change.trail",
    "knee_onset.trail",
    "hip_height_difference",
    "vertical_force_peak.trail",
    "free_moment_peak.trail",
    "mass_centre_drop",
    "unweighting_min",
];
const OF_HIPS: &[&str] = &[
    "pelvis_",
    "rotation_range_down.pelvis",
    "rotation_rate_down.pelvis",
    "rotation_balance.pelvis",
    "rotation_excess.pelvis",
    "separation",
    "hip_height_difference",
    "angular_speed_peak.pelvis",
    "angular_acceleration_peak.pelvis",
];
const OF_SHOULDERS: &[&str] = &[
    "shoulder_line_rotation",
    "rotation_range_down.shoulders",
    "rotation_rate_down.shoulders",
    "rotation_balance.shoulders",
    "rotation_excess.shoulders",
    "arm_ahead",
    "angular_speed_peak.lead_arm",
    "angular_acceleration_peak.lead_arm",
];
const OF_PUSHING: &[&str] = &[
    "vertical_force",
    "unweighting_min",
    "loading_rate",
    "lateral_force",
    "fore_aft_couple",
    "free_moment",
    "ground_torque",
    "vertical_impulse",
    "mass_centre_drop",
];

/// A movement that a limit names.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Area {
    /// Full rotation of pelvis and trunk, and their stretch against each other.
    Rotation,
    /// The back: rotation, inclination and side inclination of the trunk.
    Back,
    /// The lead knee.
    LeadKnee,
    /// The trail knee.
    TrailKnee,
    /// The hips: rotation and shift of the pelvis.
    Hips,
    /// The shoulders and the lead arm.
    Shoulders,
    /// Wrists and hands.
    Wrists,
    /// Pushing hard into the ground.
    Pushing,
    /// Swings with all one has.
    MaximalEffort,
}

impl Area {
    /// Every area.
    pub const ALL: [Self; 9] = [
        Self::Rotation,
        Self::Back,
        Self::LeadKnee,
        Self::TrailKnee,
        Self::Hips,
        Self::Shoulders,
        Self::Wrists,
        Self::Pushing,
        Self::MaximalEffort,
    ];

    /// Stable name for storage.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Rotation => "rotation",
            Self::Back => "back",
            Self::LeadKnee => "lead_knee",
            Self::TrailKnee => "trail_knee",
            Self::Hips => "hips",
            Self::Shoulders => "shoulders",
            Self::Wrists => "wrists",
            Self::Pushing => "pushing",
            Self::MaximalEffort => "maximal_effort",
        }
    }

    /// The area with this [`name`](Self::name).
    #[must_use]
    pub fn from_name(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|a| a.name() == name)
    }

    /// As a sentence says it.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Rotation => "full rotation",
            Self::Back => "the back",
            Self::LeadKnee => "the lead knee",
            Self::TrailKnee => "the trail knee",
            Self::Hips => "the hips",
            Self::Shoulders => "the shoulders",
            Self::Wrists => "the wrists",
            Self::Pushing => "pushing hard into the ground",
            Self::MaximalEffort => "swings with full effort",
        }
    }

    /// Beginnings of the identifiers whose bands and tones it takes away.
    const fn families(self) -> &'static [&'static str] {
        match self {
            Self::Rotation => OF_ROTATION,
            Self::Back => OF_BACK,
            Self::LeadKnee => OF_LEAD_KNEE,
            Self::TrailKnee => OF_TRAIL_KNEE,
            Self::Hips => OF_HIPS,
            Self::Shoulders => OF_SHOULDERS,
            Self::Wrists => &["hinge"],
            Self::Pushing => OF_PUSHING,
            Self::MaximalEffort => &[],
        }
    }

    /// Whether a metric is about this movement.
    #[must_use]
    pub fn covers(self, metric: Metric) -> bool {
        let id = metric.id();
        self.families().iter().any(|f| id.starts_with(f))
    }

    /// Whether mending a leak asks for this movement.
    #[must_use]
    pub fn covers_leak(self, leak: Leak) -> bool {
        leak.asks_for().contains(&self)
    }
}

/// A group that gets no cues to swing with full effort, and a lower count of such swings.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Age {
    /// Turns 18 this year or later (who turns 18 this year counts as a minor, here as elsewhere).
    Junior,
    /// In between, or not told.
    #[default]
    Adult,
    /// 55 and older (common practice, no source).
    Senior,
}

impl Age {
    /// From the year of birth.
    #[must_use]
    pub const fn of(birth_year: i32, this_year: i32) -> Self {
        match this_year - birth_year {
            ..=18 => Self::Junior,
            19..=54 => Self::Adult,
            _ => Self::Senior,
        }
    }
}

/// One limit: the movements it names and why, in the coach's words.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Limit {
    /// Movements taken out.
    pub areas: Vec<Area>,
    /// Free text: `no full rotation: physiotherapist's advice`.
    pub note: String,
}

/// All limits of a student.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Limits {
    /// One by one.
    pub each: Vec<Limit>,
    /// Age group.
    pub age: Age,
    /// Coming back after an injury.
    pub returning: bool,
}

impl Limits {
    /// The limit that takes away a metric's band and tone, if one does.
    #[must_use]
    pub fn on_metric(&self, metric: Metric) -> Option<&Limit> {
        self.first(|area| area.covers(metric))
    }

    /// The limit that takes away a leak and its suggestion, if one does.
    #[must_use]
    pub fn on_leak(&self, leak: Leak) -> Option<&Limit> {
        self.first(|area| area.covers_leak(leak))
    }

    /// The limit that takes away what asks for one of these movements, if one does.
    #[must_use]
    pub fn on_areas(&self, areas: &[Area]) -> Option<&Limit> {
        self.first(|area| areas.contains(&area))
    }

    /// Whether cues to swing with full effort may be given.
    #[must_use]
    pub fn full_effort(&self) -> bool {
        self.age == Age::Adult && !self.returning && self.on_areas(&[Area::MaximalEffort]).is_none()
    }

    fn first(&self, meant: impl Fn(Area) -> bool) -> Option<&Limit> {
        let hit = |l: &&Limit| l.areas.iter().any(|a| meant(*a));
        self.each.iter().find(hit)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn with(area: Area) -> Limits {
        Limits {
            each: vec![Limit {
                areas: vec![area],
                note: "physiotherapist's advice".into(),
            }],
            ..Limits::default()
        }
    }

    #[test]
    fn every_named_beginning_is_in_the_catalogue() {
        for area in Area::ALL {
            assert_eq!(Area::from_name(area.name()), Some(area));
            for family in area.families() {
                let known = Metric::all().any(|m| m.id().starts_with(family));
                assert!(known, "{}: {family}", area.name());
            }
        }
    }

    #[test]
    fn a_limit_takes_away_what_it_names_and_nothing_else() {
        let limits = with(Area::Rotation);
        let on = |id: &str| limits.on_metric(Metric::by_id(id).unwrap()).is_some();
        assert!(on("rotation_excess.pelvis") && on("thorax_rotation@top") && on("separation_peak"));
        assert!(!on("knee_change.trail@top") && !on("head_speed@impact"));
        let off = |l| limits.on_leak(l).is_some();
        assert!(off(Leak::NotBroughtThrough) && off(Leak::StretchKept));
        assert!(!off(Leak::WrongWayFirst));
        let knee = with(Area::TrailKnee);
        assert!(knee.on_leak(Leak::LegsHeldStill).is_some());
        assert_eq!(
            knee.on_leak(Leak::LegsHeldStill).map(|l| l.note.as_str()),
            Some("physiotherapist's advice")
        );
    }

    #[test]
    fn juniors_seniors_and_who_returns_get_no_cue_for_full_effort() {
        assert_eq!(Age::of(2011, 2026), Age::Junior);
        assert_eq!(Age::of(2008, 2026), Age::Junior);
        assert_eq!(Age::of(2007, 2026), Age::Adult);
        assert_eq!(Age::of(1965, 2026), Age::Senior);
        assert!(Limits::default().full_effort());
        for age in [Age::Junior, Age::Senior] {
            let limits = Limits {
                age,
                ..Limits::default()
            };
            assert!(!limits.full_effort());
        }
        assert!(!with(Area::MaximalEffort).full_effort());
        let returning = Limits {
            returning: true,
            ..Limits::default()
        };
        assert!(!returning.full_effort());
    }
}
