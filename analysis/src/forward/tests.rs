//! The golfer judged: by symmetry, by rigid bodies, by frames differentiated again, by published
//! ranges (gates only), and by what each style and each way of meeting the ball promises.

use super::capture::other_side;
use super::{Ball, CaptureParams, Club, GolferParams, Style, Take, swing};
use crate::handed::Handed;
use crate::landmark::Landmark;
use nalgebra::{Point3, Vector3};

const CLEAN: CaptureParams = CaptureParams {
    rate_hz: 1000.0,
    noise_m: 0.0,
    dropout: 0.0,
    wobble: false,
};

fn clean(params: &GolferParams) -> Take {
    swing(params, &CLEAN)
}

fn at_rate(params: &GolferParams, rate_hz: f64) -> Take {
    swing(params, &CaptureParams { rate_hz, ..CLEAN })
}

fn golfers() -> impl Iterator<Item = GolferParams> {
    (0..9)
        .zip(Club::ALL.into_iter().cycle())
        .map(|(seed, club)| GolferParams::from_seed(seed).with_club(club))
}

fn track(take: &Take, landmark: Landmark) -> Vec<Point3<f64>> {
    let i = take.landmarks.iter().position(|&l| l == landmark).unwrap();
    take.frames.iter().map(|frame| frame[i].unwrap()).collect()
}

fn face(take: &Take) -> Vec<Point3<f64>> {
    let (heel, toe) = (
        track(take, Landmark::ClubHeadHeel),
        track(take, Landmark::ClubHeadToe),
    );
    heel.iter()
        .zip(&toe)
        .map(|(a, b)| nalgebra::center(a, b))
        .collect()
}

fn shaft(take: &Take) -> Vec<Vector3<f64>> {
    let (butt, low) = (
        track(take, Landmark::ClubButt),
        track(take, Landmark::ClubShaftLow),
    );
    butt.iter()
        .zip(&low)
        .map(|(a, b)| (b - a).normalize())
        .collect()
}

/// Speed between neighboring frames.
fn speeds(take: &Take, points: &[Point3<f64>]) -> Vec<f64> {
    points
        .windows(2)
        .map(|w| (w[1] - w[0]).norm() * take.rate_hz)
        .collect()
}

/// Frame at or just before a time.
#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "a short positive take"
)]
fn frame(take: &Take, t: f64) -> usize {
    (t * take.rate_hz).floor() as usize
}

fn event(take: &Take, name: &str) -> f64 {
    take.truth.event(name).unwrap()
}

fn metric(take: &Take, id: &str) -> f64 {
    take.truth.metric(id).unwrap_or_else(|| panic!("no {id}"))
}

fn degrees(take: &Take, id: &str) -> f64 {
    metric(take, id).to_degrees()
}

fn near(what: &str, found: f64, expected: f64, tolerance: f64) {
    assert!(
        (found - expected).abs() <= tolerance,
        "{what}: {found}, expected {expected}"
    );
}

#[test]
fn a_left_handed_golfer_is_the_mirror_image_and_measures_the_same() {
    let noisy = CaptureParams {
        rate_hz: 240.0,
        noise_m: 0.001,
        dropout: 0.03,
        wobble: true,
    };
    let right = GolferParams::from_seed(11);
    let left = GolferParams {
        handed: Handed::Left,
        ..right.clone()
    };
    let (right, left) = (swing(&right, &noisy), swing(&left, &noisy));
    assert_eq!(right.truth.metrics, left.truth.metrics);
    assert_eq!(right.truth.events, left.truth.events);
    for (r, l) in right.frames.iter().zip(&left.frames) {
        for (i, &landmark) in right.landmarks.iter().enumerate() {
            let twin = right
                .landmarks
                .iter()
                .position(|&m| m == other_side(landmark))
                .unwrap();
            assert_eq!(r[i].map(|p| Point3::new(p.x, p.y, -p.z)), l[twin]);
        }
    }
    assert_eq!(other_side(Landmark::HeadLeft), Landmark::HeadRight);
    assert_eq!(other_side(Landmark::LeftKnee), Landmark::RightKnee);
    assert_eq!(other_side(Landmark::C7), Landmark::C7);
    let left = clean(&GolferParams {
        handed: Handed::Left,
        ..GolferParams::from_seed(11)
    });
    assert!(
        track(&left, Landmark::LeftHeel)[0].z > 0.3,
        "stands on the far side of the ball"
    );
    assert!(track(&left, Landmark::ClubHeadToe)[0].z < track(&left, Landmark::ClubHeadHeel)[0].z);
}

#[test]
fn the_club_is_rigid_and_limbs_keep_their_length() {
    use Landmark as L;
    let club = [
        L::ClubButt,
        L::ClubShaftLow,
        L::ClubHeadHeel,
        L::ClubHeadToe,
        L::ClubHeadBack,
    ];
    for params in golfers().take(3) {
        let take = at_rate(&params, 250.0);
        for (i, &a) in club.iter().enumerate() {
            for &b in &club[..i] {
                constant(&take, a, b);
            }
        }
        for (a, b) in [
            (L::LeftAsis, L::RightPsis),
            (L::C7, L::Xiphoid),
            (L::HeadFront, L::HeadLeft),
        ] {
            constant(&take, a, b);
        }
        // Elbow marker to wrist centre: only while the two links reach.
        for (elbow, a, b) in [
            (L::LeftElbow, L::LeftRadialStyloid, L::LeftUlnarStyloid),
            (L::RightElbow, L::RightRadialStyloid, L::RightUlnarStyloid),
        ] {
            let (a, b) = (track(&take, a), track(&take, b));
            let wrist = a.iter().zip(&b).map(|(a, b)| nalgebra::center(a, b));
            same_distances(track(&take, elbow).into_iter().zip(wrist));
        }
        for (knee, ankle) in [(L::LeftKnee, L::LeftAnkle), (L::RightKnee, L::RightAnkle)] {
            let shank = track(&take, knee)
                .into_iter()
                .zip(track(&take, ankle))
                .map(|(k, a)| (k - a).norm());
            let (low, high) = shank.fold((f64::MAX, 0.0), |(l, h), d| {
                (f64::min(l, d), f64::max(h, d))
            });
            assert!(
                high - low < 0.03,
                "skin points on both ends, {low} to {high}"
            );
        }
    }
}

fn constant(take: &Take, a: Landmark, b: Landmark) {
    same_distances(track(take, a).into_iter().zip(track(take, b)));
}

fn same_distances(pairs: impl Iterator<Item = (Point3<f64>, Point3<f64>)>) {
    let distances: Vec<f64> = pairs.map(|(a, b)| (a - b).norm()).collect();
    assert!(distances.iter().all(|d| (d - distances[0]).abs() < 1e-9));
}

/// Frames at 10 kHz, differentiated again here, give what the truth says.
#[test]
fn the_truth_is_found_again_in_dense_frames() {
    for seed in [3, 4] {
        let params = GolferParams::from_seed(seed);
        let take = at_rate(&params, 10_000.0);
        let impact = event(&take, "impact");
        let head = face(&take);
        let speed = speeds(&take, &head);
        let before = frame(&take, impact) - 1;
        near(
            "head speed",
            speed[before],
            metric(&take, "head_speed@impact"),
            0.02,
        );
        near(
            "asked for",
            metric(&take, "head_speed@impact"),
            params.head_speed_mps,
            1e-6,
        );
        let reached = head
            .iter()
            .position(|p| p.x >= -0.02135 && p.x < 0.3 && p.y < 0.3 && p.z.abs() < 0.1);
        let crossing = (frame(&take, event(&take, "top"))..head.len())
            .find(|&i| head[i].x >= -0.02135 && head[i].y < 0.3);
        assert!(reached.is_some());
        near(
            "impact",
            crossing.unwrap() as f64 / 10_000.0,
            impact,
            1.01e-4,
        );
        levels(&take);
        near("top", reversal(&take), event(&take, "top"), 2e-4);
        segments(&take);
        near(
            "separation",
            degrees(&take, "separation@top"),
            degrees(&take, "pelvis_rotation@top") - degrees(&take, "thorax_rotation@top"),
            1e-9,
        );
    }
}

/// The shaft's height difference changes sign at its three events, the arm's at its two.
fn levels(take: &Take) {
    let d = shaft(take);
    let wrist: Vec<Point3<f64>> = track(take, Landmark::LeftRadialStyloid)
        .iter()
        .zip(&track(take, Landmark::LeftUlnarStyloid))
        .map(|(a, b)| nalgebra::center(a, b))
        .collect();
    let acromion = track(take, Landmark::LeftAcromion);
    let changes = |y: &dyn Fn(usize) -> f64, name: &str| {
        let i = frame(take, event(take, name));
        assert!(y(i) * y(i + 1) <= 0.0, "{name}: {} {}", y(i), y(i + 1));
    };
    for name in ["takeaway_end", "shaft_level_down", "shaft_level_through"] {
        changes(&|i| d[i].y, name);
    }
    for name in ["lead_arm_level_back", "lead_arm_level_down"] {
        changes(&|i| wrist[i].y - acromion[i].y, name);
    }
}

/// When the shaft's turning about the normal of the downswing changes sign: the normal is taken
/// from the shaft itself, half way down and at impact.
fn reversal(take: &Take) -> f64 {
    let d = shaft(take);
    let (top, impact) = (event(take, "top"), event(take, "impact"));
    let normal = d[frame(take, 0.5 * (top + impact))].cross(&d[frame(take, impact)]);
    let turning = |i: usize| d[i].cross(&d[i + 1]).dot(&normal);
    let start = frame(take, top - 0.1);
    assert!(turning(start) < 0.0);
    let first = (start..).find(|&i| turning(i) >= 0.0).unwrap();
    assert!(
        (first..frame(take, impact)).all(|i| turning(i) >= 0.0),
        "reverses once"
    );
    (first as f64 + 0.5) / take.rate_hz
}

/// Headings and inclinations from the skin points that define them.
fn segments(take: &Take) {
    use Landmark as L;
    for name in ["top", "impact"] {
        let i = frame(take, event(take, name));
        let p = |l| track(take, l)[i];
        let heading = |v: Vector3<f64>| (-v.z).atan2(v.x).to_degrees();
        let pelvis = p(L::LeftAsis) - p(L::RightAsis);
        near(
            "pelvis",
            heading(pelvis),
            degrees(take, &format!("pelvis_rotation@{name}")),
            0.1,
        );
        let up = nalgebra::center(&p(L::C7), &p(L::SternalNotch))
            - nalgebra::center(&p(L::T8), &p(L::Xiphoid));
        let lead = up.cross(&(p(L::SternalNotch) - p(L::C7)));
        near(
            "thorax",
            heading(lead),
            degrees(take, &format!("thorax_rotation@{name}")),
            0.1,
        );
        let forward = up.z.atan2(up.y).to_degrees();
        near(
            "inclination",
            forward,
            degrees(take, &format!("thorax_inclination@{name}")),
            0.1,
        );
        let line = p(L::LeftAcromion) - p(L::RightAcromion);
        let expected = degrees(take, &format!("shoulder_line_rotation@{name}"));
        near("shoulders", heading(line), expected, 0.1);
    }
}

#[test]
fn the_collision_takes_its_share_within_half_a_millisecond() {
    let loss = |ball| {
        let take = at_rate(
            &GolferParams {
                ball,
                ..GolferParams::from_seed(6)
            },
            10_000.0,
        );
        let speed = speeds(&take, &face(&take));
        let impact = frame(&take, event(&take, "impact"));
        1.0 - speed[impact + 6] / speed[impact - 1]
    };
    let [centered, off, missed] = [Ball::Centered, Ball::OffCenter, Ball::Missed].map(loss);
    assert!((0.20..0.35).contains(&centered), "{centered}");
    assert!((0.10..0.20).contains(&off), "{off}");
    assert!(missed.abs() < 0.01, "{missed}");
}

#[test]
fn the_head_passes_the_ball_as_asked() {
    for params in golfers() {
        let ball_y = 0.02135
            + if params.club == Club::Driver {
                0.036
            } else {
                0.0
            };
        let place = |ball| {
            let take = clean(&GolferParams {
                ball,
                ..params.clone()
            });
            let head = face(&take);
            let impact = event(&take, "impact") * take.rate_hz;
            let (a, b) = (head[impact.floor() as usize], head[impact.ceil() as usize]);
            let p = a + (b - a) * impact.fract();
            assert!((p.x + 0.02135).abs() < 0.002);
            (p.y - ball_y, p.z)
        };
        let (up, out) = place(Ball::Centered);
        assert!(up.abs() < 0.002 && out.abs() < 0.002, "{up} {out}");
        let (up, out) = place(Ball::OffCenter);
        assert!(
            up.abs() < 0.002 && (0.012..0.022).contains(&out.abs()),
            "{up} {out}"
        );
        let (up, out) = place(Ball::Missed);
        assert!(up.hypot(out) > 0.05, "{up} {out}");
    }
}

/// Published and common ranges as gates, wider than the golfer's own; sources as in REFERENCES.
#[test]
fn a_balanced_golfer_is_plausible() {
    for params in golfers() {
        let take = at_rate(&params, 100.0);
        let within = |id: &str, low: f64, high: f64| {
            let v = metric(&take, id);
            assert!((low..high).contains(&v), "seed {} {id}: {v}", params.seed);
        };
        let within_deg =
            |id: &str, low: f64, high: f64| within(id, low.to_radians(), high.to_radians());
        within("backswing_time", 0.65, 1.05); // B2: 0.70-1.00 s
        within("downswing_time", 0.20, 0.35); // B2, H: 0.20-0.35 s
        within("tempo_ratio", 2.2, 4.4);
        within_deg("pelvis_rotation@top", -63.0, -28.0); // B1: hips 55, 53, 49±8, 42±7
        within_deg("thorax_rotation@top", -105.0, -75.0); // B1: upper body 87
        within_deg("pelvis_rotation@impact", 30.0, 60.0); // B1: 52±11, 42±12 open
        within_deg("separation_peak", 30.0, 66.0); // B1: 32-53, peak about 56
        within("separation_peak_time", -0.03, 0.10); // B1: early in the downswing
        within("pelvis_shift@takeaway_end", -0.045, -0.015); // H, common practice
        within("rotation_excess.pelvis", -0.30, 0.10); // H, common practice
        within_deg("thorax_inclination@address", 22.0, 55.0);
        within_deg("attack_angle", -6.0, 4.0);
        within_deg("path_direction", -5.0, 5.0);
        within_deg("shaft_lean@impact", -1.0, 12.0);
        within("grip_speed_peak", 5.0, 11.0); // B4: 8-11 m/s, recalled
        within("head_shift@top", -0.06, 0.04);
        within("head_shift@impact", -0.04, 0.06);
        let gained =
            metric(&take, "knee_flexion.lead@top") / metric(&take, "knee_flexion.lead@address");
        let lost =
            degrees(&take, "knee_flexion.trail@address") - degrees(&take, "knee_flexion.trail@top");
        assert!(
            gained > 1.9 && (4.0..11.0).contains(&lost),
            "{gained} {lost}"
        ); // H
        let ahead = metric(&take, "reversal_lead.pelvis");
        assert!(ahead > metric(&take, "reversal_lead.lead_arm") && ahead > 0.03);
    }
}

#[test]
fn every_style_shows_its_pattern_and_balanced_does_not() {
    let shows = |style| {
        let take = at_rate(
            &GolferParams {
                style,
                ..GolferParams::from_seed(8)
            },
            100.0,
        );
        let change = |id: &str, e: &str| {
            degrees(&take, &format!("{id}@{e}")) - degrees(&take, &format!("{id}@address"))
        };
        [
            metric(&take, "pelvis_shift@takeaway_end") > 0.015,
            change("knee_flexion.trail", "top") > -5.0,
            degrees(&take, "rotation_excess.pelvis") > 12.0,
            change("thorax_inclination", "impact") < -10.0
                && metric(&take, "pelvis_depth@impact") > 0.03,
            metric(&take, "separation_peak_time") > 0.08
                && metric(&take, "thorax_rotation@impact") < 0.0,
            metric(&take, "reversal_lead.lead_arm") < 0.01,
        ]
    };
    for (i, style) in Style::ALL.into_iter().enumerate() {
        let expected: [bool; 6] = std::array::from_fn(|pattern| pattern + 1 == i);
        assert_eq!(shows(style), expected, "{style:?}");
    }
}

#[test]
fn any_sensible_head_speed_is_met_by_every_style_and_club() {
    for style in Style::ALL {
        for (club, head_speed_mps) in Club::ALL.into_iter().zip([20.0, 55.0, 38.0]) {
            for ball in [Ball::Centered, Ball::OffCenter, Ball::Missed] {
                let params = GolferParams {
                    style,
                    club,
                    head_speed_mps,
                    ball,
                    ..GolferParams::from_seed(21)
                };
                let take = at_rate(&params, 20.0);
                near(
                    "speed",
                    metric(&take, "head_speed@impact"),
                    head_speed_mps,
                    1e-6,
                );
                assert!(
                    take.truth.events.windows(2).all(|w| w[0].1 < w[1].1),
                    "{:?}",
                    take.truth.events
                );
                assert_eq!(
                    take.truth.kind,
                    if ball == Ball::Missed {
                        "rehearsal"
                    } else {
                        "shot"
                    }
                );
            }
        }
    }
}

#[test]
fn the_swing_starts_and_ends_crisply_and_is_quiet_around() {
    for params in golfers() {
        let take = clean(&params);
        let speed = speeds(&take, &face(&take));
        let between = |from: f64, to: f64| &speed[frame(&take, from)..frame(&take, to)];
        let fastest = |from, to| between(from, to).iter().copied().fold(0.0, f64::max);
        let (start, finish) = (event(&take, "takeaway_start"), event(&take, "finish"));
        assert!(fastest(start - 1.2, start) < 0.02, "quiet before");
        assert!(fastest(start, start + 0.08) > 0.3, "crisp onset");
        assert!(
            fastest(finish - 0.08, finish) > 0.1,
            "crisp end: {}",
            fastest(finish - 0.08, finish)
        );
        assert!(fastest(finish, finish + 0.7) < 0.02, "held finish");
        let end = speed.len() as f64 / take.rate_hz - 0.01;
        assert!(fastest(end - 0.5, end) < 0.02, "quiet at the end");
        assert!(
            (3.0..8.0).contains(&fastest(finish, end)),
            "carried back at {}",
            fastest(finish, end)
        );
    }
}

#[test]
fn carrying_the_club_back_is_no_downswing() {
    for params in golfers() {
        let take = clean(&params);
        let head = face(&take);
        let after = &head[frame(&take, event(&take, "finish"))..];
        for w in after
            .windows(2)
            .filter(|w| w[0].x.abs() < 0.4 && w[0].y < 0.4)
        {
            assert!(
                (w[1].x - w[0].x) * take.rate_hz < 0.3,
                "toward the target past the ball"
            );
        }
        assert!(after.iter().all(|p| p.y > 0.005), "never through the floor");
    }
}

#[test]
fn takes_of_one_person_join_without_a_jump() {
    let first = at_rate(&GolferParams::from_seed(9), 500.0);
    let second = at_rate(
        &GolferParams {
            shot: 1,
            ..GolferParams::from_seed(9)
        },
        500.0,
    );
    assert_ne!(first.truth.metrics, second.truth.metrics);
    for (a, b) in first.frames.last().unwrap().iter().zip(&second.frames[0]) {
        assert!((a.unwrap() - b.unwrap()).norm() < 1e-6);
    }
}

#[test]
fn nothing_jerks_outside_the_collision() {
    for params in golfers().take(4) {
        let take = clean(&params);
        let impact = frame(&take, event(&take, "impact"));
        for &landmark in take.landmarks.iter().filter(|l| !l.is_club()) {
            let p = track(&take, landmark);
            for (i, w) in p
                .windows(3)
                .enumerate()
                .filter(|(i, _)| i.abs_diff(impact) > 3)
            {
                let acceleration = (w[0] - w[1] + (w[2] - w[1])).norm() * take.rate_hz.powi(2);
                assert!(
                    acceleration < 450.0,
                    "{landmark:?} at {i}: {acceleration} m/s²"
                );
            }
        }
    }
}

#[test]
fn the_same_parameters_give_the_same_bytes_and_another_seed_does_not() {
    let noisy = CaptureParams {
        rate_hz: 200.0,
        noise_m: 0.0005,
        dropout: 0.02,
        wobble: true,
    };
    let bits = |seed| -> Vec<Option<[u64; 3]>> {
        let take = swing(&GolferParams::from_seed(seed), &noisy);
        take.frames
            .iter()
            .flatten()
            .map(|p| p.map(|p| [p.x, p.y, p.z].map(f64::to_bits)))
            .collect()
    };
    assert_eq!(bits(1), bits(1));
    assert_ne!(bits(1), bits(2));
}

#[test]
fn noise_dropouts_and_wobble_are_as_asked() {
    let params = GolferParams::from_seed(2);
    let still = clean(&params);
    let noisy = swing(
        &params,
        &CaptureParams {
            noise_m: 0.0008,
            dropout: 0.04,
            ..CLEAN
        },
    );
    let pairs = still
        .frames
        .iter()
        .flatten()
        .zip(noisy.frames.iter().flatten());
    let (mut sum, mut seen, mut lost) = (0.0, 0.0, 0.0);
    for (a, b) in pairs {
        match b {
            Some(b) => {
                sum += (b - a.unwrap()).norm_squared();
                seen += 3.0;
            }
            None => lost += 1.0,
        }
    }
    near("sd", f64::sqrt(sum / seen), 0.0008, 0.00002);
    near("lost", lost / (lost + seen / 3.0), 0.04, 0.008);
    let wobbly = swing(
        &params,
        &CaptureParams {
            wobble: true,
            ..CLEAN
        },
    );
    let largest = |landmark| {
        let pairs = track(&still, landmark)
            .into_iter()
            .zip(track(&wobbly, landmark));
        pairs.map(|(a, b)| (a - b).norm()).fold(0.0, f64::max)
    };
    assert!(
        (0.002..0.04).contains(&largest(Landmark::LeftElbow)),
        "{}",
        largest(Landmark::LeftElbow)
    );
    assert!(largest(Landmark::ClubHeadToe) < 1e-9);
}
