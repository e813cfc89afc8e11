//! The golfer judged: here by symmetry, by rigid bodies and by what the capture adds; in `catalogue`
//! by the definition of every metric; in `truth` by
//! frames differentiated again and published ranges; in `motion` by the ball and by smoothness.

mod calibration;
mod catalogue;
mod ground;
mod motion;
mod plates;
mod truth;

use super::body::unit;
use super::capture::other_side;
use super::{CaptureParams, Club, GolferParams, Take, swing};
use crate::handed::Handed;
use crate::landmark::Landmark;
use nalgebra::{Point3, Vector3};

const CLEAN: CaptureParams = CaptureParams {
    rate_hz: 1000.0,
    noise_m: 0.0,
    dropout: 0.0,
    wobble: false,
    plates: None,
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
    butt.iter().zip(&low).map(|(a, b)| unit(b - a)).collect()
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
        plates: None,
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
        // Elbow marker to wrist center: only while the two links reach.
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

#[test]
fn the_same_parameters_give_the_same_bytes_and_another_seed_does_not() {
    let noisy = CaptureParams {
        rate_hz: 200.0,
        noise_m: 0.0005,
        dropout: 0.02,
        wobble: true,
        plates: None,
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
