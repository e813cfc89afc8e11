//! Truth against the catalogue, and the new kinds of truth found again in dense frames by other
//! formulas: planes through triples, chords, arc angles.

use super::{at_rate, degrees, event, face, frame, metric, near, shaft, speeds, track, unit};
use crate::forward::{GolferParams, Style, Take};
use crate::landmark::Landmark;
use crate::metrics::catalogue::CATALOGUE;
use nalgebra::Vector3;
use std::collections::BTreeSet;

/// Quality is about the capture: the golfer cannot know it.
const QUALITY: [&str; 7] = [
    "marker_visibility",
    "gap_longest",
    "cluster_residual",
    "force_residual",
    "force_marker_lag",
    "frame_loss_rate",
    "clock_uncertainty",
];

#[test]
fn every_metric_of_the_catalogue_has_a_truth_and_nothing_else_has() {
    let take = at_rate(&GolferParams::from_seed(1), 20.0);
    let told: Vec<&str> = take.truth.metrics.iter().map(|m| m.0.as_str()).collect();
    let expected: BTreeSet<String> = CATALOGUE
        .iter()
        .filter(|f| !QUALITY.iter().any(|q| f.id.starts_with(q)))
        .flat_map(|f| (0..f.len()).map(|n| f.value_id(n)))
        .collect();
    let found: BTreeSet<String> = told.iter().map(|&id| id.to_owned()).collect();
    assert_eq!(expected.difference(&found).next(), None, "without a truth");
    assert_eq!(found.difference(&expected).next(), None, "no metric");
    assert_eq!(told.len(), found.len(), "each once");
    assert!(take.truth.metrics.iter().all(|m| m.1.is_finite()));
}

/// Truth at an arbitrary time is the same as at the event, and speeds are those of dense frames.
#[test]
fn truth_may_be_asked_at_any_time() {
    let take = at_rate(&GolferParams::from_seed(5), 2_000.0);
    let at = |t: f64, id: &str| {
        let all = take.truth.at(t);
        all.iter().find(|v| v.0 == id).unwrap().1
    };
    for id in [
        "pelvis_shift",
        "hinge",
        "knee_flexion.trail",
        "thorax_rotation",
    ] {
        let told = metric(&take, &format!("{id}@top"));
        near(id, at(event(&take, "top"), id), told, 1e-9);
    }
    let t = event(&take, "top") + 0.1;
    let i = frame(&take, t);
    near(
        "head",
        speeds(&take, &face(&take))[i],
        at(t, "head_speed"),
        0.05,
    );
    let club = shaft(&take);
    let turned = club[i].angle(&club[i + 1]) * take.rate_hz;
    near("club", turned, at(t, "angular_speed.club"), 0.05);
    let joints = take.truth.joints(t);
    let hips = nalgebra::center(&joints.hips[0], &joints.hips[1]);
    let moved = hips - {
        let start = take.truth.joints(event(&take, "address") - 0.1);
        nalgebra::center(&start.hips[0], &start.hips[1])
    };
    near("pelvis", moved.x, at(t, "pelvis_shift"), 0.001);
}

#[test]
fn takeaway_starts_where_the_head_passes_the_still_speed() {
    for seed in 0..4 {
        let take = at_rate(&GolferParams::from_seed(seed), 10_000.0);
        let speed = speeds(&take, &face(&take));
        let end = frame(&take, event(&take, "takeaway_end"));
        let last = (0..end).rev().find(|&i| speed[i] < 0.1).unwrap();
        let start = event(&take, "takeaway_start");
        near("start", (last as f64 + 1.0) / take.rate_hz, start, 2e-4);
        let since_onset = start - event(&take, "address");
        assert!((0.0..0.05).contains(&since_onset), "{since_onset}");
    }
}

/// Angular speeds and accelerations of the lines, from frames a tenth of a millisecond apart.
#[test]
fn peaks_of_turning_are_found_again_in_dense_frames() {
    let take = at_rate(&GolferParams::from_seed(3), 10_000.0);
    let (top, impact) = (event(&take, "top"), event(&take, "impact"));
    let wrist: Vec<_> = track(&take, Landmark::LeftRadialStyloid)
        .iter()
        .zip(&track(&take, Landmark::LeftUlnarStyloid))
        .map(|(a, b)| nalgebra::center(a, b))
        .collect();
    let arm: Vec<Vector3<f64>> = wrist
        .iter()
        .zip(&track(&take, Landmark::LeftAcromion))
        .map(|(w, a)| w - a)
        .collect();
    for (name, lines) in [("lead_arm", arm), ("club", shaft(&take))] {
        // Three frames off the top, where the shaft's speed has its kink, and off the collision.
        let down = frame(&take, top) + 4..frame(&take, impact) - 2;
        let turning = |i: usize| lines[i - 1].angle(&lines[i + 1]) * take.rate_hz / 2.0;
        let fastest = down
            .clone()
            .max_by(|&a, &b| turning(a).total_cmp(&turning(b)));
        let i = fastest.unwrap();
        let told = metric(&take, &format!("angular_speed_peak.{name}"));
        near(name, turning(i) / told, 1.0, 0.002);
        let told = metric(&take, &format!("angular_speed_peak_time.{name}"));
        near(name, impact - i as f64 / take.rate_hz, told, 0.002);
        let slope = |i: usize| (turning(i + 20) - turning(i - 20)) * take.rate_hz / 40.0;
        let steepest = (down.start + 20..down.end - 20)
            .map(slope)
            .fold(0.0, f64::max);
        let told = metric(&take, &format!("angular_acceleration_peak.{name}"));
        near(name, steepest / told, 1.0, 0.02);
    }
    // Pelvis and thorax turn upright enough that the heading's rate is near the spin's.
    let line: Vec<_> = track(&take, Landmark::LeftAsis)
        .iter()
        .zip(&track(&take, Landmark::RightAsis))
        .map(|(l, r)| l - r)
        .collect();
    let most = (frame(&take, top)..frame(&take, impact))
        .map(|i| line[i].angle(&line[i + 1]) * take.rate_hz)
        .fold(0.0, f64::max);
    let told = metric(&take, "angular_speed_peak.pelvis");
    near("pelvis", told / most, 1.0, 0.1);
}

/// The plane through three points of the path is near the plane of all; the path's length is that
/// of its chords; the face looks along the normal of heel and toe.
#[test]
fn path_plane_and_face_are_found_again_in_dense_frames() {
    let take = at_rate(&GolferParams::from_seed(4), 10_000.0);
    let time = |name| frame(&take, event(&take, name));
    let head = face(&take);
    let (a, c) = (time("shaft_level_down"), time("impact"));
    let normal = unit((head[(a + c) / 2] - head[a]).cross(&(head[c] - head[a])));
    let slope = normal.y.abs().acos().to_degrees();
    near("slope", slope, degrees(&take, "downswing_plane_slope"), 1.5);
    let heading = (normal.x / normal.z).atan().to_degrees();
    near(
        "heading",
        -heading,
        degrees(&take, "downswing_plane_direction"),
        3.0,
    );
    let butt = track(&take, Landmark::ClubButt);
    let axis = shaft(&take);
    let length: f64 = (time("top")..c)
        .map(|i| (butt[i + 1] + axis[i + 1] * 0.13 - (butt[i] + axis[i] * 0.13)).norm())
        .sum();
    near(
        "grip",
        length,
        metric(&take, "grip_path_length_down"),
        0.002,
    );
    let toe = track(&take, Landmark::ClubHeadToe)[c] - track(&take, Landmark::ClubHeadHeel)[c];
    let open = (-toe.x / toe.z).atan().to_degrees();
    near("face", open, degrees(&take, "face_direction@impact"), 0.3);
}

/// Heels and iliac spines seen along the target line; the pelvis behind the heels at address.
#[test]
fn the_pelvis_is_behind_the_heels_as_the_markers_say() {
    use Landmark as L;
    let take = at_rate(&GolferParams::from_seed(6), 500.0);
    let address = frame(&take, event(&take, "address")) - 60;
    let heels = [L::LeftHeel, L::RightHeel].map(|l| track(&take, l)[address]);
    let rearmost = [L::LeftAsis, L::RightAsis, L::LeftPsis, L::RightPsis]
        .map(|l| track(&take, l)[address])
        .into_iter()
        .min_by(|a, b| a.z.total_cmp(&b.z))
        .unwrap();
    // Height of the spine over the line of the heels, in plan, as twice an area by a base.
    let (u, v) = (heels[0] - heels[1], rearmost - heels[1]);
    let off = (u.z * v.x - u.x * v.z) / u.x.hypot(u.z);
    near(
        "offset",
        off,
        metric(&take, "pelvis_heel_offset@address"),
        0.002,
    );
    assert!(off > 0.03, "{off}");
}

#[test]
fn legs_hinge_and_budget_follow_their_definitions() {
    for style in Style::ALL {
        let params = GolferParams {
            style,
            ..GolferParams::from_seed(7)
        };
        let take: Take = at_rate(&params, 20.0);
        let m = |id: &str| metric(&take, id);
        let at = |t: f64, id: &str| take.truth.at(t).into_iter().find(|v| v.0 == id).unwrap().1;
        let range = m("pelvis_rotation@impact") - m("pelvis_rotation@top");
        near("range", m("rotation_range_down.pelvis"), range, 1e-9);
        near(
            "rate",
            m("rotation_rate_down.pelvis") * m("downswing_time"),
            range,
            1e-9,
        );
        let closed = 1.0 - m("separation@impact") / m("separation_peak");
        near("closed", m("separation_closed_at_impact"), closed, 1e-9);
        let start = event(&take, "takeaway_start");
        for side in ["lead", "trail"] {
            let onset = start + m(&format!("knee_onset.{side}")) * m("backswing_time");
            let done =
                at(onset, &format!("knee_change.{side}")) / m(&format!("knee_change.{side}@top"));
            assert!(
                onset <= start || (done - 0.1).abs() < 1e-6,
                "{style:?} {done}"
            );
        }
        let release = event(&take, "impact") - m("hinge_release_start");
        let most = at(release, "hinge");
        assert!(most >= m("hinge@top") && most >= m("hinge@lead_arm_level_down"));
    }
}
