//! What is told of a club where the markers do not say it: a head with its toe marker alone.

use analysis::context::{ClubGeometry, Context};
use analysis::forward::{CaptureParams, Club, GolferParams, swing};
use analysis::landmark::Landmark;
use analysis::measure::measure;
use analysis::metrics::catalogue::HEAD_SPEED;

use crate::accuracy::swing_window;

const CAPTURE: CaptureParams = CaptureParams {
    rate_hz: 360.0,
    noise_m: 0.0005,
    dropout: 0.0,
    wobble: false,
    plates: None,
};
/// Lie (degrees) and distance of the face's center from the shaft (metres) of the golfer's clubs: by
/// hand from the lengths of `forward/club`.
const CLUBS: [(Club, f64, f64); 3] = [
    (Club::Driver, 50.5, 0.0651),
    (Club::FiveWood, 54.0, 0.0520),
    (Club::SevenIron, 60.5, 0.0453),
];

/// Error of the head's speed, metres a second, and what limits it.
fn speed_error(params: &GolferParams, told: Option<ClubGeometry>) -> (f64, Option<String>) {
    let take = swing(params, &CAPTURE);
    let (mut window, near) = swing_window(&take);
    let gone = [Landmark::ClubHeadHeel, Landmark::ClubHeadBack];
    let keep: Vec<bool> = window.landmarks.iter().map(|l| !gone.contains(l)).collect();
    let mut kept = keep.iter();
    window.tracks.retain(|_| *kept.next().unwrap());
    window.landmarks.retain(|l| !gone.contains(l));
    let context = Context {
        club_geometry: told,
        ..Context::default()
    };
    let measured = measure(&window, near, None, &context).unwrap();
    let speed = measured.values.number(HEAD_SPEED.first).unwrap();
    let truth = take.truth.metric("head_speed@impact").unwrap();
    (speed - truth, measured.prepared.head_limited)
}

/// The toe alone runs ahead of the face; lie and offset told bring it back, and the value says so.
#[test]
fn lie_and_offset_told_mend_a_lone_toe_marker() {
    let (mut plain, mut mended, mut assumed) = (0.0_f64, 0.0_f64, 0.0_f64);
    for seed in 0..12 {
        let (club, lie_deg, offset_m) = CLUBS[seed as usize % 3];
        let params = GolferParams::from_seed(seed).with_club(club);
        let told = |lie: Option<f64>| ClubGeometry {
            lie_rad: lie.map(f64::to_radians),
            head_offset_m: Some(offset_m),
            ..ClubGeometry::default()
        };
        let (error, words) = speed_error(&params, None);
        assert!(words.unwrap().contains("mark its heel"));
        plain += error * error;
        let (error, words) = speed_error(&params, Some(told(Some(lie_deg))));
        assert!(words.unwrap().contains("club told"));
        mended += error * error;
        let (error, words) = speed_error(&params, Some(told(None)));
        assert!(words.unwrap().contains("assumed"));
        assumed += error * error;
    }
    let [plain, mended, assumed] = [plain, mended, assumed].map(|s| (s / 12.0).sqrt());
    println!("head speed off by {plain:.2} m/s, told {mended:.2}, lie assumed {assumed:.2}");
    assert!(mended < 0.35 * plain && assumed < 0.6 * plain);
    assert!(mended < 0.4);
}
