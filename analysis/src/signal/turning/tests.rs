//! Fits in a frame that turns along beside circles whose truth is known.

use super::*;
use nalgebra::Rotation3;

/// Angle 30 t + 40 t², radius 1.6 about (1, 2, 0) in a tilted plane.
fn circle(t: f64) -> Vector3<f64> {
    let tilt = Rotation3::from_euler_angles(0.7, 0.2, -0.4);
    let a = 30.0 * t + 40.0 * t * t;
    Vector3::new(1.0, 2.0, 0.0) + tilt * Vector3::new(a.cos(), a.sin(), 0.0) * 1.6
}

fn samples(of: impl Fn(f64) -> Vector3<f64>) -> Vec<(f64, Vector3<f64>)> {
    (-14..=0)
        .map(|i| f64::from(i) / 360.0)
        .map(|t| (t, of(t)))
        .collect()
}

/// Speed on a circle is radius times rate, acceleration likewise (mathematics).
#[test]
fn a_quickening_circle_is_read_at_its_end() {
    let fit = Fit::point(&samples(circle), 3, 0.0).unwrap();
    let state = fit.state(0.0);
    assert!((state.velocity.norm() - 48.0).abs() < 1e-3, "{state:?}");
    let along = state
        .acceleration
        .dot(&(state.velocity / state.velocity.norm()));
    assert!((along - 128.0).abs() < 0.5, "{along}");
    assert!((state.value - circle(0.0)).norm() < 1e-5);
    let early = fit.state(-0.02).velocity.norm();
    assert!((early - 1.6 * (30.0 - 1.6)).abs() < 1e-3, "{early}");
}

#[test]
fn a_directions_spin_and_its_slope_are_found() {
    let direction = |t: f64| circle(t) - Vector3::new(1.0, 2.0, 0.0);
    let state = Fit::direction(&samples(direction), 3, -0.01)
        .unwrap()
        .state(-0.01);
    assert!(
        (state.spin().norm() - 29.2).abs() < 0.01,
        "{:?}",
        state.spin()
    );
    assert!((state.spin_slope().norm() - 80.0).abs() < 1.0);
}

#[test]
fn a_straight_line_needs_no_turning() {
    let fit = Fit::point(&samples(|t| Vector3::new(3.0 * t, 1.0, 0.0)), 3, 0.0).unwrap();
    assert!((fit.state(0.0).velocity - Vector3::new(3.0, 0.0, 0.0)).norm() < 1e-9);
}

/// At a reversal the path has no circle, a direction still has a spin.
#[test]
fn a_reversal_is_no_trouble() {
    let swung = |t: f64| {
        let a = 900.0 * (t + 0.02) * (t + 0.02) * 0.5;
        Vector3::new(a.cos(), a.sin(), 0.0)
    };
    let state = Fit::direction(&samples(swung), 3, -0.02)
        .unwrap()
        .state(-0.02);
    assert!(state.spin().norm() < 0.05 && (state.spin_slope().norm() - 900.0).abs() < 9.0);
}

/// A hole in the samples, or uneven ones, change nothing of an exact circle (mathematics).
#[test]
fn a_hole_is_no_trouble() {
    let all = samples(circle);
    let whole = Fit::point(&all, 3, 0.0).unwrap().state(0.0);
    for gone in [5..8, 1..2, 0..3] {
        let mut rest = all.clone();
        rest.drain(gone);
        let state = Fit::point(&rest, 3, 0.0).unwrap().state(0.0);
        assert!((state.velocity - whole.velocity).norm() < 2e-3);
    }
}

/// Turned on from step to step or each by its own sine: the same.
#[test]
fn even_steps_turn_as_far_as_single_ones() {
    let frame = Frame::new(Vector3::zeros(), &Vector3::new(20.0, -10.0, 5.0), 3.0);
    let mut even = Even::new(&frame, -0.05, 0.001);
    for from in (0..200).step_by(LANES) {
        let turns = even.next();
        for lane in 0..LANES {
            let exact = Turn::of(frame.angle(-0.05 + 0.001 * (from + lane) as f64));
            assert!((turns.cos.0[lane] - exact.cos).abs() < 1e-12);
            assert!((turns.sin.0[lane] - exact.sin).abs() < 1e-12);
        }
    }
}

/// The same stretch of slots about any instant, and one with another beginning.
#[test]
fn stretches_about_their_instants_are_read_alike() {
    let mut stretches = Stretches::new(360.0, 3);
    for (slot, begin, count) in [
        (10.0, 2, 15),
        (20.0, 12, 15),
        (20.5, 12, 15),
        (20.5, 12, 12),
    ] {
        let samples: Vec<_> = (begin..begin + count)
            .map(|i| i as f64 / 360.0)
            .map(|t| (t, circle(t)))
            .collect();
        let alone = Fit::point(&samples, 3, slot / 360.0).unwrap();
        let times = stretches.about(slot, (begin, count)).unwrap();
        let among = Fit::point_at(times, |i| samples[i].1).unwrap().state(0.0);
        let alone = alone.state(slot / 360.0);
        assert!((alone.velocity - among.velocity).norm() < 1e-9);
        assert!((alone.acceleration - among.acceleration).norm() < 1e-6);
    }
    assert!(stretches.about(3.0, (1, 3)).is_none());
}

#[test]
fn too_few_samples_give_nothing() {
    assert!(Fit::point(&samples(circle)[..3], 3, 0.0).is_none());
    assert!(Fit::point(&[(0.0, Vector3::x()); 6], 3, 0.0).is_none());
}
