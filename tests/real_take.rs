//! The table of the real take, whose markers are few: which metrics have a value, and in which words
//! the others say why not. Values are not held here, only that the line between the two stays where
//! the markers draw it.

use std::collections::BTreeSet;

use daemon::map::MarkerMap;
use daemon::outgoing;

use crate::support::{analyzed, data};

/// Families of which at least one value is measured. A new metric that these markers reach is added here.
const MEASURED: &[&str] = &[
    "angular_acceleration_peak.club",
    "angular_acceleration_peak.lead_arm",
    "angular_acceleration_peak_time.club",
    "angular_acceleration_peak_time.lead_arm",
    "angular_speed_peak.club",
    "angular_speed_peak.lead_arm",
    "angular_speed_peak_time.club",
    "angular_speed_peak_time.lead_arm",
    "attack_angle",
    "backswing_time",
    "cluster_residual.club",
    "downswing_plane_direction",
    "downswing_plane_slope",
    "downswing_time",
    "frame_loss_rate",
    "gap_longest",
    "grip_path_length_down",
    "grip_speed",
    "grip_speed_peak",
    "grip_speed_peak_time",
    "head_speed",
    "head_speed_peak",
    "head_speed_peak_time",
    "hinge",
    "hinge_release_start",
    "knee_change.lead",
    "knee_change.trail",
    "knee_flexion.lead",
    "knee_flexion.trail",
    "knee_onset.trail",
    "knee_ratio.lead",
    "marker_visibility",
    "path_direction",
    "peak_ratio.club",
    "pelvis_depth",
    "pelvis_rise",
    "pelvis_rotation",
    "pelvis_shift",
    "pelvis_shift_range.backswing",
    "pelvis_shift_range.downswing",
    "reversal_lead.lead_arm",
    "reversal_lead.pelvis",
    "rotation_balance.pelvis",
    "rotation_balance.shoulders",
    "rotation_excess.pelvis",
    "rotation_excess.shoulders",
    "rotation_range_down.pelvis",
    "rotation_range_down.shoulders",
    "rotation_rate_down.pelvis",
    "rotation_rate_down.shoulders",
    "separation",
    "separation_closed_at_impact",
    "separation_peak",
    "separation_peak_time",
    "shaft_lean",
    "shoulder_line_rotation",
    "tempo_ratio",
    "early_work_share",
    "kinetic_energy_peak.club",
    "power_peak",
    "power_peak_time",
    "work_angular",
    "work_linear",
    "work_total",
];
/// Families of which no value is measured. A new metric beyond these markers is added here.
const NOT_MEASURED: &[&str] = &[
    "angular_acceleration_peak.pelvis",
    "angular_acceleration_peak.thorax",
    "angular_acceleration_peak_time.pelvis",
    "angular_acceleration_peak_time.thorax",
    "angular_speed_peak.pelvis",
    "angular_speed_peak.thorax",
    "angular_speed_peak_time.pelvis",
    "angular_speed_peak_time.thorax",
    "arm_ahead.duration",
    "arm_ahead.start",
    "arrival_order",
    "arrival_proximal_to_distal",
    "clock_uncertainty",
    "cluster_residual.head",
    "cluster_residual.pelvis",
    "cluster_residual.thorax",
    "cop_lead_share",
    "cop_path_length",
    "face_direction",
    "fore_aft_couple_peak",
    "free_moment_peak.lead",
    "free_moment_peak.trail",
    "ground_torque_vertical_peak",
    "ground_torque_vertical_peak_time",
    "head_rise",
    "head_shift",
    "hip_height_difference",
    "inclination_change",
    "knee_onset.lead",
    "lateral_force_peak.both",
    "lateral_force_peak.lead",
    "lateral_force_peak.trail",
    "loading_rate.lead",
    "peak_ratio.lead_arm",
    "peak_ratio.thorax",
    "pelvis_anterior_tilt",
    "pelvis_heel_offset",
    "pelvis_obliquity",
    "reversal_lead.thorax",
    "rotation_balance.thorax",
    "rotation_excess.thorax",
    "rotation_range_down.thorax",
    "rotation_rate_down.thorax",
    "thorax_inclination",
    "thorax_rotation",
    "thorax_side_inclination",
    "unweighting_min",
    "vertical_force.lead",
    "vertical_force.trail",
    "vertical_force_peak.lead",
    "vertical_force_peak.trail",
    "vertical_force_peak_phase.lead",
    "vertical_force_peak_phase.trail",
    "vertical_force_peak_time.lead",
    "vertical_force_peak_time.trail",
    "vertical_impulse_down",
    "vertical_share_lead",
    "force_marker_lag",
    "force_residual",
    "frontal_moment_arm_peak",
    "kinetic_energy_peak.arms",
    "kinetic_energy_peak.legs",
    "kinetic_energy_peak.trunk",
    "mass_centre_drop",
    "mass_centre_rise",
    "mass_centre_shift",
];
/// Every reason and every limit in the table.
const REASONS: &[&str] = &[
    "only 108 frames/s: use 200 or more",
    "only 108 frames/s: use 200 or more; club's mass properties assumed",
    "only 108 frames/s: use 200 or more; skin points: mark both sides of the wrist",
    "skin points: mark both sides of the wrist",
    "from two hip points: mark the whole pelvis",
    "from two hip points: mark the whole pelvis; shoulder line: mark chest and back instead; it is about 16° too closed at the top (Wheat 2007)",
    "no force plates",
    "needs markers on: the chest and back (neck, middle of the back, both ends of the breastbone)",
    "needs markers on: the club head (heel, toe and back)",
    "needs markers on: the head (forehead and both sides)",
    "needs markers on: the pelvis (front and back, both sides)",
    "needs markers on: the pelvis (front and back, both sides); both heels",
    "not reached before impact; only 108 frames/s: use 200 or more",
    "points on the skin instead of joint centers (mark the whole pelvis); the marker sits on the thigh above the knee",
    "points on the skin instead of joint centers (mark the whole pelvis); the marker sits on the thigh above the knee; knee under 10° at address: read its change in degrees instead",
    "the knee hardly moves in the backswing: there is no start to time",
];

#[test]
fn the_line_between_measured_and_not_is_where_the_markers_draw_it() {
    let Some(data) = data() else { return };
    let take = daemon::offline::read_c3d(&data.join("golf_club_107hz.c3d")).unwrap();
    let found = analyzed(&take, MarkerMap::load("club_led").unwrap());
    let report = outgoing::measurement(&found.swings[0]);
    let family = |id: &str| id.split('@').next().unwrap_or(id).to_owned();
    let (mut measured, mut not, mut reasons) = (BTreeSet::new(), BTreeSet::new(), BTreeSet::new());
    for (id, metric) in &report.metrics {
        let set = if metric.value.is_some() {
            &mut measured
        } else {
            &mut not
        };
        set.insert(family(id));
        reasons.extend(metric.reason.clone());
        reasons.extend(metric.limited.clone());
    }
    let set = |list: &[&str]| {
        list.iter()
            .map(|s| (*s).to_owned())
            .collect::<BTreeSet<String>>()
    };
    println!("{measured:#?}\n{not:#?}\n{reasons:#?}");
    assert_eq!(measured, set(MEASURED));
    assert_eq!(not, set(NOT_MEASURED));
    assert_eq!(reasons, set(REASONS));
}
