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
    /// Degrees a second (radians a second inside).
    DegreePerSecond,
    /// Degrees a second squared (radians inside).
    DegreePerSecondSquared,
    /// Millimetres (metres inside).
    Millimetre,
    /// Percent (a share of 1 inside).
    Percent,
    /// A code whose digits mean something; never averaged.
    Code,
    /// Newton metres.
    NewtonMetre,
    /// Newton seconds.
    NewtonSecond,
    /// Percent of body weight (a share of 1 inside).
    BodyWeight,
    /// Percent of body weight a second (shares a second inside).
    BodyWeightPerSecond,
    /// Joules.
    Joule,
    /// Watts.
    Watt,
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
            Self::DegreePerSecond => "deg/s",
            Self::DegreePerSecondSquared => "deg/s^2",
            Self::Millimetre => "mm",
            Self::Percent => "%",
            Self::Code => "code",
            Self::NewtonMetre => "N m",
            Self::NewtonSecond => "N s",
            Self::BodyWeight => "%BW",
            Self::BodyWeightPerSecond => "%BW/s",
            Self::Joule => "J",
            Self::Watt => "W",
        }
    }

    /// An inside value in this unit.
    #[must_use]
    pub fn shown(self, inside: f64) -> f64 {
        match self {
            Self::Millisecond | Self::Millimetre => inside * 1e3,
            Self::Percent | Self::BodyWeight | Self::BodyWeightPerSecond => inside * 1e2,
            Self::Degree | Self::DegreePerSecond | Self::DegreePerSecondSquared => {
                inside.to_degrees()
            }
            Self::Second
            | Self::Metre
            | Self::MetrePerSecond
            | Self::Ratio
            | Self::Code
            | Self::NewtonMetre
            | Self::NewtonSecond
            | Self::Joule
            | Self::Watt => inside,
        }
    }
}

impl Unit {
    /// A value in this unit as it is inside.
    #[must_use]
    pub fn inside(self, shown: f64) -> f64 {
        shown / self.shown(1.0)
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
const AT_TOP: &[Event] = &[Event::Top];
const TOP_AND_IMPACT: &[Event] = &[Event::Top, Event::Impact];
const OWN: &str = "own definition on ISB axes (Wu & Cavanagh 1995)";
const COMMON: &str = "common practice, no source";
const SEG: &str = "segments of de Leva 1996, with the club";
const RIGID: &str = "inverse dynamics of a rigid body (Newton and Euler)";
const NEWTON: &str = "Newton and Euler on segments of de Leva 1996";
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
    HEAD_SPEED = 88, "head_speed", AT_IMPACT, MetrePerSecond, "speed", "Speed of the face's reference point right before impact: path cut at the collision, fitted over the last 40 ms in a frame that turns with it.", "REFERENCES A3 (cut before smoothing)";
    HEAD_SPEED_PEAK = 89, "head_speed_peak", &[], MetrePerSecond, "speed", "Largest speed of the face's reference point between the top and impact.", COMMON;
    HEAD_SPEED_PEAK_TIME = 90, "head_speed_peak_time", &[], Millisecond, "positive: before impact", "Time of the head's largest speed before impact.", COMMON;
    SHAFT_LEAN = 91, "shaft_lean", ENDS, Degree, "positive: grip nearer to the target than the head", "Angle of the shaft against the vertical, seen face on.", COMMON;
    PELVIS_SHIFT_RANGE_BACKSWING = 93, "pelvis_shift_range.backswing", &[], Metre, "extent, never negative", "Largest minus smallest pelvis shift from takeaway start to the top.", OWN;
    PELVIS_SHIFT_RANGE_DOWNSWING = 94, "pelvis_shift_range.downswing", &[], Metre, "extent, never negative", "Largest minus smallest pelvis shift from the top to impact.", OWN;
    PELVIS_HEEL_OFFSET = 95, "pelvis_heel_offset", ENDS, Metre, "positive: behind the line through both heels (away from the ball)", "Rearmost pelvis marker against the vertical plane through both heel markers as they stood at address.", OWN;
    PELVIS_OBLIQUITY = 97, "pelvis_obliquity", EVERY, Degree, "positive: lead hip lower than the trail hip", "Second angle of the pelvis against the bay in the order rotation, obliquity, tilt.", "Baker 2001 (order); Wu 2002 (pelvis axes)";
    PELVIS_ANTERIOR_TILT = 104, "pelvis_anterior_tilt", EVERY, Degree, "positive forward", "Third angle of the pelvis against the bay in the order rotation, obliquity, tilt.", "Baker 2001 (order); Wu 2002 (pelvis axes)";
    THORAX_INCLINATION = 111, "thorax_inclination", EVERY, Degree, "positive toward the ball", "Inclination of the thorax' long axis toward the ball line, seen along the target line.", "Wu 2005 (thorax axes)";
    THORAX_SIDE_INCLINATION = 118, "thorax_side_inclination", EVERY, Degree, "positive away from the target", "Inclination of the thorax' long axis away from the target, seen along the ball line.", "Wu 2005 (thorax axes)";
    INCLINATION_CHANGE = 125, "inclination_change", TOP_AND_IMPACT, Degree, "positive: more toward the ball than at address", "Thorax inclination minus its value at address.", OWN;
    SEPARATION_CLOSED_AT_IMPACT = 127, "separation_closed_at_impact", &[], Ratio, "1: nothing of the peak is left at impact", "Share of the peak separation that is gone at impact.", OWN;
    ROTATION_RANGE_DOWN_PELVIS = 128, "rotation_range_down.pelvis", &[], Degree, "positive opening", "Rotation of the pelvis at impact minus at the top.", COMMON;
    ROTATION_RATE_DOWN_PELVIS = 129, "rotation_rate_down.pelvis", &[], DegreePerSecond, "positive opening", "Rotation range of the pelvis divided by the downswing time.", COMMON;
    ROTATION_BALANCE_PELVIS = 130, "rotation_balance.pelvis", &[], Ratio, "1 balanced, above 1 more open than closed", "Rotation of the pelvis open at impact divided by closed at the top.", COMMON;
    ROTATION_EXCESS_PELVIS = 131, "rotation_excess.pelvis", &[], Degree, "positive: more wound up than brought through", "Rotation of the pelvis closed at the top minus open at impact.", COMMON;
    ROTATION_RANGE_DOWN_THORAX = 132, "rotation_range_down.thorax", &[], Degree, "positive opening", "Rotation of the thorax at impact minus at the top.", COMMON;
    ROTATION_RATE_DOWN_THORAX = 133, "rotation_rate_down.thorax", &[], DegreePerSecond, "positive opening", "Rotation range of the thorax divided by the downswing time.", COMMON;
    ROTATION_BALANCE_THORAX = 134, "rotation_balance.thorax", &[], Ratio, "1 balanced, above 1 more open than closed", "Rotation of the thorax open at impact divided by closed at the top.", COMMON;
    ROTATION_EXCESS_THORAX = 135, "rotation_excess.thorax", &[], Degree, "positive: more wound up than brought through", "Rotation of the thorax closed at the top minus open at impact.", COMMON;
    ROTATION_RANGE_DOWN_SHOULDERS = 136, "rotation_range_down.shoulders", &[], Degree, "positive opening", "Rotation of the shoulder line at impact minus at the top.", COMMON;
    ROTATION_RATE_DOWN_SHOULDERS = 137, "rotation_rate_down.shoulders", &[], DegreePerSecond, "positive opening", "Rotation range of the shoulder line divided by the downswing time.", COMMON;
    ROTATION_BALANCE_SHOULDERS = 138, "rotation_balance.shoulders", &[], Ratio, "1 balanced, above 1 more open than closed", "Rotation of the shoulder line open at impact divided by closed at the top.", COMMON;
    ROTATION_EXCESS_SHOULDERS = 139, "rotation_excess.shoulders", &[], Degree, "positive: more wound up than brought through", "Rotation of the shoulder line closed at the top minus open at impact.", COMMON;
    KNEE_CHANGE_LEAD = 140, "knee_change.lead", AT_TOP, Degree, "positive: more flexed than at address", "Flexion of the lead knee at the top minus at address.", COMMON;
    KNEE_CHANGE_TRAIL = 141, "knee_change.trail", AT_TOP, Degree, "positive: more flexed than at address", "Flexion of the trail knee at the top minus at address.", COMMON;
    KNEE_RATIO_LEAD = 142, "knee_ratio.lead", AT_TOP, Ratio, "1 unchanged, 2 doubled", "Flexion of the lead knee at the top divided by its flexion at address.", COMMON;
    KNEE_ONSET_LEAD = 143, "knee_onset.lead", &[], Ratio, "0 at takeaway start, 1 at the top", "Share of the backswing's time gone when the lead knee has done 10 % of its change from address to the top.", COMMON;
    KNEE_ONSET_TRAIL = 144, "knee_onset.trail", &[], Ratio, "0 at takeaway start, 1 at the top", "Share of the backswing's time gone when the trail knee has done 10 % of its change from address to the top.", COMMON;
    HIP_HEIGHT_DIFFERENCE = 145, "hip_height_difference", AT_TOP, Metre, "positive: lead hip lower", "Height of the trail hip joint center minus height of the lead one.", OWN;
    HINGE = 146, "hinge", EVERY, Degree, "0 in line, positive cocked", "Angle between the lead forearm (elbow to wrist) and the shaft (grip to head).", COMMON;
    HINGE_RELEASE_START = 153, "hinge_release_start", &[], Millisecond, "positive: before impact", "Time of the hinge angle's largest value after the top, before impact.", COMMON;
    GRIP_PATH_LENGTH_DOWN = 154, "grip_path_length_down", &[], Metre, "length", "Length of the mid-grip point's path from the top to impact.", COMMON;
    ATTACK_ANGLE = 155, "attack_angle", AT_IMPACT, Degree, "positive upward", "Elevation of the face reference point's velocity at impact, from the fit before it.", COMMON;
    PATH_DIRECTION = 156, "path_direction", AT_IMPACT, Degree, "positive: away from the golfer across the ball line", "Heading of the face reference point's velocity at impact against the target line, from the fit before it.", COMMON;
    FACE_DIRECTION = 157, "face_direction", ENDS, Degree, "positive open", "Heading of the horizontal normal of the head's heel-toe line against the target line; needs three head markers.", COMMON;
    DOWNSWING_PLANE_SLOPE = 159, "downswing_plane_slope", &[], Degree, "0 level, 90 upright", "Slope of the least-squares plane of the face reference point's path from shaft level coming down to impact.", "Kwon 2012 (functional swing plane)";
    DOWNSWING_PLANE_DIRECTION = 160, "downswing_plane_direction", &[], Degree, "positive: pointing away from the golfer across the ball line", "Heading of the plane's level line against the target line.", "Kwon 2012 (functional swing plane)";
    ANGULAR_SPEED_PEAK_PELVIS = 161, "angular_speed_peak.pelvis", &[], DegreePerSecond, "positive opening", "Largest angular velocity of the pelvis along its own long axis between the top and impact.", "REFERENCES A2 (rotation logarithm), B3";
    ANGULAR_SPEED_PEAK_THORAX = 162, "angular_speed_peak.thorax", &[], DegreePerSecond, "positive opening", "Largest angular velocity of the thorax along its own long axis between the top and impact.", "REFERENCES A2 (rotation logarithm), B3";
    ANGULAR_SPEED_PEAK_LEAD_ARM = 163, "angular_speed_peak.lead_arm", &[], DegreePerSecond, "speed", "Largest rate of rotation of the line from lead shoulder to lead wrist between the top and impact.", "REFERENCES A2 (rotation logarithm), B3";
    ANGULAR_SPEED_PEAK_CLUB = 164, "angular_speed_peak.club", &[], DegreePerSecond, "speed", "Largest rate of rotation of the shaft between the top and impact.", "REFERENCES A2 (rotation logarithm), B3";
    ANGULAR_SPEED_PEAK_TIME_PELVIS = 165, "angular_speed_peak_time.pelvis", &[], Millisecond, "positive: before impact", "Time of that peak of the pelvis before impact; 0 and limited where it is not reached before impact.", "REFERENCES B3";
    ANGULAR_SPEED_PEAK_TIME_THORAX = 166, "angular_speed_peak_time.thorax", &[], Millisecond, "positive: before impact", "Time of that peak of the thorax before impact; 0 and limited where it is not reached before impact.", "REFERENCES B3";
    ANGULAR_SPEED_PEAK_TIME_LEAD_ARM = 167, "angular_speed_peak_time.lead_arm", &[], Millisecond, "positive: before impact", "Time of that peak of the lead arm before impact; 0 and limited where it is not reached before impact.", "REFERENCES B3";
    ANGULAR_SPEED_PEAK_TIME_CLUB = 168, "angular_speed_peak_time.club", &[], Millisecond, "positive: before impact", "Time of that peak of the club before impact; 0 and limited where it is not reached before impact.", "REFERENCES B3";
    ANGULAR_ACCELERATION_PEAK_PELVIS = 169, "angular_acceleration_peak.pelvis", &[], DegreePerSecondSquared, "positive speeding up", "Largest slope of the angular velocity of the pelvis along its own long axis between the top and impact.", "REFERENCES A2";
    ANGULAR_ACCELERATION_PEAK_THORAX = 170, "angular_acceleration_peak.thorax", &[], DegreePerSecondSquared, "positive speeding up", "Largest slope of the angular velocity of the thorax along its own long axis between the top and impact.", "REFERENCES A2";
    ANGULAR_ACCELERATION_PEAK_LEAD_ARM = 171, "angular_acceleration_peak.lead_arm", &[], DegreePerSecondSquared, "positive speeding up", "Largest slope of the rate of rotation of the line from lead shoulder to lead wrist between the top and impact.", "REFERENCES A2";
    ANGULAR_ACCELERATION_PEAK_CLUB = 172, "angular_acceleration_peak.club", &[], DegreePerSecondSquared, "positive speeding up", "Largest slope of the rate of rotation of the shaft between the top and impact.", "REFERENCES A2";
    ANGULAR_ACCELERATION_PEAK_TIME_PELVIS = 173, "angular_acceleration_peak_time.pelvis", &[], Millisecond, "positive: before impact", "Time of the pelvis's largest angular acceleration before impact.", "REFERENCES A2";
    ANGULAR_ACCELERATION_PEAK_TIME_THORAX = 174, "angular_acceleration_peak_time.thorax", &[], Millisecond, "positive: before impact", "Time of the thorax's largest angular acceleration before impact.", "REFERENCES A2";
    ANGULAR_ACCELERATION_PEAK_TIME_LEAD_ARM = 175, "angular_acceleration_peak_time.lead_arm", &[], Millisecond, "positive: before impact", "Time of the lead arm's largest angular acceleration before impact.", "REFERENCES A2";
    ANGULAR_ACCELERATION_PEAK_TIME_CLUB = 176, "angular_acceleration_peak_time.club", &[], Millisecond, "positive: before impact", "Time of the club's largest angular acceleration before impact.", "REFERENCES A2";
    PEAK_RATIO_THORAX = 177, "peak_ratio.thorax", &[], Ratio, "above 1: faster than its neighbor", "Peak angular speed of the thorax divided by that of the pelvis.", OWN;
    PEAK_RATIO_LEAD_ARM = 178, "peak_ratio.lead_arm", &[], Ratio, "above 1: faster than its neighbor", "Peak angular speed of the lead arm divided by that of the thorax.", OWN;
    PEAK_RATIO_CLUB = 179, "peak_ratio.club", &[], Ratio, "above 1: faster than its neighbor", "Peak angular speed of the club divided by that of the lead arm.", OWN;
    ARRIVAL_ORDER = 180, "arrival_order", &[], Code, "digits in order of arrival: 1 pelvis, 2 thorax, 3 lead arm, 4 club", "Order in which the segments reach their peak angular speed; information, not a fault.", "Tinmark 2010; Vena 2011 (orders differ between skilled golfers)";
    ARRIVAL_PROXIMAL_TO_DISTAL = 181, "arrival_proximal_to_distal", &[], Code, "1 yes, 0 no", "Whether the arrival order is pelvis, thorax, lead arm, club.", "Tinmark 2010";
    ARM_AHEAD_START = 182, "arm_ahead.start", &[], Millisecond, "positive: after the top", "First time after the top at which the lead arm's angular acceleration about the downswing plane's normal exceeds that of pelvis, thorax and club at once.", COMMON;
    ARM_AHEAD_DURATION = 183, "arm_ahead.duration", &[], Millisecond, "0: never", "Time between the top and impact during which the lead arm is ahead in that sense.", COMMON;
    MARKER_VISIBILITY = 184, "marker_visibility", &[], Percent, "100: always seen", "Share of the frames from address to impact in which the worst marker was seen.", OWN;
    GAP_LONGEST = 185, "gap_longest", &[], Millisecond, "length", "Longest stretch from address to impact in which one marker was not seen.", OWN;
    CLUSTER_RESIDUAL_PELVIS = 186, "cluster_residual.pelvis", &[], Millimetre, "root mean square, never negative", "Distance of the pelvis's markers from the placed rigid shape, per coordinate, from address to impact.", "Soderkvist & Wedin 1993";
    CLUSTER_RESIDUAL_THORAX = 187, "cluster_residual.thorax", &[], Millimetre, "root mean square, never negative", "Distance of the thorax's markers from the placed rigid shape, per coordinate, from address to impact.", "Soderkvist & Wedin 1993";
    CLUSTER_RESIDUAL_HEAD = 188, "cluster_residual.head", &[], Millimetre, "root mean square, never negative", "Distance of the head's markers from the placed rigid shape, per coordinate, from address to impact.", "Soderkvist & Wedin 1993";
    CLUSTER_RESIDUAL_CLUB = 189, "cluster_residual.club", &[], Millimetre, "root mean square, never negative", "Distance of the club's markers from the placed rigid shape, per coordinate, from address to impact.", "Soderkvist & Wedin 1993";
    VERTICAL_FORCE_LEAD = 190, "vertical_force.lead", EVERY, BodyWeight, "upward", "Upward force of the ground on the lead foot against body weight (without the club).", "REFERENCES B5 (Worsfold 2007)";
    VERTICAL_FORCE_TRAIL = 197, "vertical_force.trail", EVERY, BodyWeight, "upward", "Upward force of the ground on the trail foot against body weight (without the club).", "REFERENCES B5 (Worsfold 2007)";
    VERTICAL_FORCE_PEAK_LEAD = 204, "vertical_force_peak.lead", &[], BodyWeight, "upward", "Largest upward force on the lead foot from takeaway start to impact.", "REFERENCES B5 (Worsfold 2007)";
    VERTICAL_FORCE_PEAK_TRAIL = 205, "vertical_force_peak.trail", &[], BodyWeight, "upward", "Largest upward force on the trail foot from takeaway start to impact.", "REFERENCES B5 (Worsfold 2007)";
    VERTICAL_FORCE_PEAK_TIME_LEAD = 206, "vertical_force_peak_time.lead", &[], Millisecond, "positive: before impact", "Time of the lead foot's largest upward force before impact.", "REFERENCES B5 (Wang 2015)";
    VERTICAL_FORCE_PEAK_TIME_TRAIL = 207, "vertical_force_peak_time.trail", &[], Millisecond, "positive: before impact", "Time of the trail foot's largest upward force before impact.", "REFERENCES B5 (Wang 2015)";
    VERTICAL_FORCE_PEAK_PHASE_LEAD = 208, "vertical_force_peak_phase.lead", &[], Code, "1 backswing, 2 first half of the downswing's time, 3 second half", "When in the swing the lead foot's upward force is largest.", COMMON;
    VERTICAL_FORCE_PEAK_PHASE_TRAIL = 209, "vertical_force_peak_phase.trail", &[], Code, "1 backswing, 2 first half of the downswing's time, 3 second half", "When in the swing the trail foot's upward force is largest.", COMMON;
    VERTICAL_SHARE_LEAD = 210, "vertical_share_lead", EVERY, Percent, "100: all on the lead foot", "Upward force on the lead foot against that on both.", COMMON;
    UNWEIGHTING_MIN = 217, "unweighting_min", &[], BodyWeight, "upward", "Smallest upward force on both feet together from takeaway start to impact.", COMMON;
    LOADING_RATE_LEAD = 218, "loading_rate.lead", &[], BodyWeightPerSecond, "positive: load growing", "Largest rate of rise of the upward force on the lead foot from takeaway end to impact.", COMMON;
    LATERAL_FORCE_PEAK_BOTH = 219, "lateral_force_peak.both", &[], BodyWeight, "positive toward the target", "Largest force toward the target on both feet together from the top to impact.", COMMON;
    LATERAL_FORCE_PEAK_TRAIL = 220, "lateral_force_peak.trail", &[], BodyWeight, "positive toward the target", "Largest force toward the target on the trail foot from the top to impact.", COMMON;
    LATERAL_FORCE_PEAK_LEAD = 221, "lateral_force_peak.lead", &[], BodyWeight, "negative away from the target", "Largest force away from the target on the lead foot from the top to impact.", COMMON;
    FORE_AFT_COUPLE_PEAK = 222, "fore_aft_couple_peak", &[], NewtonMetre, "positive opening", "Largest couple about the vertical of the feet's forces across the target line, about the common center of pressure, from takeaway start to impact.", "REFERENCES A4";
    FREE_MOMENT_PEAK_LEAD = 223, "free_moment_peak.lead", &[], NewtonMetre, "positive opening", "Largest free moment of the ground on the lead foot (about the vertical through its center of pressure) from takeaway start to impact.", "REFERENCES A4; Worsfold 2008";
    FREE_MOMENT_PEAK_TRAIL = 224, "free_moment_peak.trail", &[], NewtonMetre, "positive opening", "Largest free moment of the ground on the trail foot (about the vertical through its center of pressure) from takeaway start to impact.", "REFERENCES A4; Worsfold 2008";
    GROUND_TORQUE_VERTICAL_PEAK = 225, "ground_torque_vertical_peak", &[], NewtonMetre, "positive opening", "Largest moment of the ground about the vertical through the common center of pressure (free moments and the couple of the feet's horizontal forces) from takeaway start to impact.", "REFERENCES A4";
    GROUND_TORQUE_VERTICAL_PEAK_TIME = 226, "ground_torque_vertical_peak_time", &[], Millisecond, "positive: before impact", "Time of that largest moment before impact.", "REFERENCES A4";
    COP_LEAD_SHARE = 227, "cop_lead_share", EVERY, Percent, "0 middle of the trail foot, 100 middle of the lead foot", "Common center of pressure along the line from the middle of the trail foot to that of the lead foot (midpoints of heel and toe markers at address).", "Ball & Best 2007 (normalized to the feet), REFERENCES B5";
    COP_PATH_LENGTH = 234, "cop_path_length", &[], Metre, "length", "Horizontal way of the common center of pressure from takeaway start to impact, by chords of 10 ms.", OWN;
    VERTICAL_IMPULSE_DOWN = 235, "vertical_impulse_down", &[], NewtonSecond, "positive upward", "Integral from the top to impact of the upward force on both feet less the weight of golfer and club.", COMMON;
    FRAME_LOSS_RATE = 236, "frame_loss_rate", &[], Percent, "0: none lost", "Share of the frames from address to impact that never came.", OWN;
    CLOCK_UNCERTAINTY = 237, "clock_uncertainty", &[], Millisecond, "0: one clock", "Standard uncertainty of the force plates' times against the markers'.", "Moon, Skelly & Towsley 1999 (one-way delays)";
    MASS_CENTRE_SHIFT = 238, "mass_centre_shift", EVERY, Metre, "positive toward the target", "Mass center of golfer and club along the target line, since address.", SEG;
    MASS_CENTRE_RISE = 245, "mass_centre_rise", EVERY, Metre, "positive up", "Mass center of golfer and club upward, since address.", SEG;
    MASS_CENTRE_DROP = 252, "mass_centre_drop", &[], Metre, "positive: lower than at address", "Height of the mass center at address less its lowest height from takeaway start to impact.", SEG;
    FRONTAL_MOMENT_ARM_PEAK = 253, "frontal_moment_arm_peak", &[], Metre, "positive: the ground tips the golfer away from the target", "Largest distance, seen along the ball line, of the mass center from the line of the ground's force through the common center of pressure, from the top to impact.", SEG;
    KINETIC_ENERGY_PEAK_LEGS = 254, "kinetic_energy_peak.legs", &[], Joule, "never negative", "Largest kinetic energy of thighs, shanks and feet from the top to impact.", SEG;
    KINETIC_ENERGY_PEAK_TRUNK = 255, "kinetic_energy_peak.trunk", &[], Joule, "never negative", "Largest kinetic energy of trunk and head from the top to impact.", SEG;
    KINETIC_ENERGY_PEAK_ARMS = 256, "kinetic_energy_peak.arms", &[], Joule, "never negative", "Largest kinetic energy of upper arms, forearms and hands from the top to impact.", SEG;
    KINETIC_ENERGY_PEAK_CLUB = 257, "kinetic_energy_peak.club", &[], Joule, "never negative", "Largest kinetic energy of the club as a rigid body from the top to impact.", RIGID;
    WORK_LINEAR = 258, "work_linear", &[], Joule, "positive: done on the club", "Work from the top to impact of the hands' net force at the mid-grip point on the club.", RIGID;
    WORK_ANGULAR = 259, "work_angular", &[], Joule, "positive: done on the club", "Work from the top to impact of the hands' couple at the mid-grip point on the club.", RIGID;
    WORK_TOTAL = 260, "work_total", &[], Joule, "positive: done on the club", "Work from the top to impact of both on the club: what its kinetic and potential energy gain.", RIGID;
    EARLY_WORK_SHARE = 261, "early_work_share", &[], Ratio, "1: all of it", "Share of that work which is done by half the downswing's time.", RIGID;
    POWER_PEAK = 262, "power_peak", &[], Watt, "positive: given to the club", "Largest power of force and couple on the club from the top to impact.", RIGID;
    POWER_PEAK_TIME = 263, "power_peak_time", &[], Millisecond, "positive: before impact", "Time of that largest power before impact.", RIGID;
    FORCE_RESIDUAL = 264, "force_residual", &[], Percent, "root mean square, never negative", "Difference between the sum of the ground's forces and what the motion of golfer and club takes, both low-passed alike, from takeaway start to impact, against body weight.", NEWTON;
    FORCE_MARKER_LAG = 265, "force_marker_lag", &[], Millisecond, "positive: forces late", "Shift in time of the plates against the markers that leaves least of that difference.", NEWTON;
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
