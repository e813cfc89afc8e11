//! The motion at the ball, before and after it.

use super::{at_rate, clean, event, face, frame, golfers, speeds, track};
use crate::forward::{Ball, Club, GolferParams, Style};

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

#[test]
fn the_swing_starts_and_ends_crisply_and_is_quiet_around() {
    for params in golfers() {
        let take = clean(&params);
        let speed = speeds(&take, &face(&take));
        let between = |from: f64, to: f64| &speed[frame(&take, from)..frame(&take, to)];
        let fastest = |from, to| between(from, to).iter().copied().fold(0.0, f64::max);
        let (start, finish) = (event(&take, "address"), event(&take, "finish"));
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
fn no_knee_comes_to_its_end() {
    let styles = Style::ALL.into_iter().cycle();
    for (params, style) in golfers().zip(styles) {
        let (motion, _) = crate::forward::plan::motion(&GolferParams { style, ..params });
        for i in 0..800 {
            let pose = motion.pose(f64::from(i) * 0.01);
            for side in [0, 1] {
                let flexion = pose.knee_flexion(side).to_degrees();
                assert!(
                    (3.0..90.0).contains(&flexion),
                    "{style:?} side {side} at {i}: {flexion}"
                );
            }
        }
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

/// Degrees lie between nothing of a style and a clear case; two styles can be in one golfer.
#[test]
fn a_style_comes_in_degrees_and_beside_another() {
    use crate::forward::{Pressure, Style};
    let plain = GolferParams::from_seed(5);
    let truth = |params: &GolferParams| {
        let take = clean(params);
        let of = move |id: &str| take.truth.metric(id).unwrap();
        [
            of("rotation_excess.pelvis"),
            of("inclination_change@impact"),
            of("cop_lead_share@shaft_level_down"),
            of("cop_lead_share@impact"),
        ]
    };
    let styled = |style, degree, also| GolferParams {
        style,
        degree,
        also,
        ..plain.clone()
    };
    let none = truth(&styled(Style::OverRotated, 0.0, None));
    let half = truth(&styled(Style::OverRotated, 0.5, None));
    let whole = truth(&styled(Style::OverRotated, 1.0, None));
    let balanced = truth(&plain);
    let same = none.iter().zip(&balanced);
    assert!(same.into_iter().all(|(a, b)| a.to_bits() == b.to_bits()));
    assert!(
        (half[0] - 0.5 * (none[0] + whole[0])).abs() < 1e-6,
        "{half:?}"
    );
    let both = truth(&styled(
        Style::OverRotated,
        1.0,
        Some((Style::StandingUp, 1.0)),
    ));
    assert!(
        (both[0] - whole[0]).abs() < 1e-6 && both[1] < -0.2,
        "{both:?}"
    );
    // The two ways of the center of pressure at the end of the downswing.
    let back = truth(&GolferParams {
        pressure: Pressure::Reverse,
        ..plain.clone()
    });
    assert!(
        none[3] > none[2] + 0.05 && back[3] < back[2],
        "{none:?} {back:?}"
    );
}
