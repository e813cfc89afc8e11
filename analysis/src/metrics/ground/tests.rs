//! Ground metrics where the right answer is arithmetic: forces built by hand under a golfer whose
//! events are told.

use std::sync::Arc;

use nalgebra::Point3;

use super::*;
use crate::body::inertia::GRAVITY;
use crate::ground::wrench::Wrench;
use crate::handed::Handed;
use crate::measure::Measured;
use crate::metrics::catalogue::CATALOGUE;

mod scene;

use scene::*;

fn number(m: &Measured, id: &str) -> Result<f64, String> {
    let family = CATALOGUE.iter().find_map(|f| {
        let n = (0..f.len()).find(|&n| f.value_id(n) == id)?;
        Some(f.first + n)
    });
    match m.values.get(family.unwrap()) {
        Value::Measured { value, .. } => Ok(value),
        Value::Missing(why) => Err(why),
    }
}

fn near(m: &Measured, id: &str, want: f64, within: f64) {
    let got = number(m, id).unwrap_or_else(|why| panic!("{id}: {why}"));
    assert!((got - want).abs() <= within, "{id}: {got}, due {want}");
}

fn still(force: [f64; 3], at: [f64; 2], free: f64) -> impl Fn(f64) -> ([f64; 3], [f64; 2], f64) {
    move |_| (force, at, free)
}

/// Check vector 4 of REFERENCES A4 (two plates, common center and moment about the vertical), in its
/// numbers: z up there, so its y is our −Z and a moment about its z is one about our Y.
#[test]
fn common_center_and_torque_are_those_of_the_check_vector() {
    let scene = scene(Handed::Right);
    let [lead, trail] = scene.middles;
    // CoP1 (−0.22, 0.03), F1 (60, −20, 500), T1 4; CoP2 (0.20, −0.02), F2 (−90, 40, 650), T2 7.
    let origin = [0.5 * (lead.x + trail.x), 0.5 * (lead.z + trail.z)];
    let off = |foot: Point3<f64>, x: f64, y: f64| [origin[0] + x - foot.x, origin[1] - y - foot.z];
    let m = scene.of(
        &still([-90.0, 650.0, -40.0], off(lead, 0.20, -0.02), 7.0),
        &still([60.0, 500.0, 20.0], off(trail, -0.22, 0.03), 4.0),
    );
    // More than a thousand newtons, so that the told weight is not contradicted.
    near(&m, "ground_torque_vertical_peak", 19.4, 0.01);
    near(&m, "free_moment_peak.lead", 7.0, 1e-6);
    near(&m, "free_moment_peak.trail", 4.0, 1e-6);
    let common = Point3::new(origin[0] + 0.01739, 0.0, origin[1] - 0.00174);
    let line = lead - trail;
    let share = (common - trail).xz().dot(&line.xz()) / line.xz().norm_squared();
    for event in ["address", "top", "impact"] {
        near(&m, &format!("cop_lead_share@{event}"), share, 2e-5);
        near(&m, &format!("vertical_force.lead@{event}"), 0.65, 1e-9);
        near(
            &m,
            &format!("vertical_share_lead@{event}"),
            650.0 / 1150.0,
            1e-9,
        );
    }
    near(&m, "cop_path_length", 0.0, 1e-9);
    near(&m, "unweighting_min", 1.15, 1e-9);
    near(&m, "loading_rate.lead", 0.0, 1e-9);
    near(&m, "lateral_force_peak.both", -0.03, 1e-9);
    near(&m, "lateral_force_peak.trail", 0.06, 1e-9);
    near(&m, "lateral_force_peak.lead", -0.09, 1e-9);
    // −Σ (x − x_c) Fz with Fz toward the ball.
    let couple = -(0.20 - 0.017_391) * -40.0 - (-0.22 - 0.017_391) * 20.0;
    near(&m, "fore_aft_couple_peak", couple, 1e-3);
    let over = 1150.0 - WEIGHT_N - m.prepared.club_mass.mass_kg * GRAVITY;
    let down = number(&m, "downswing_time").unwrap();
    near(&m, "vertical_impulse_down", over * down, 1e-6);
    assert_eq!(number(&m, "vertical_force_peak_phase.lead"), Ok(1.0));
}

/// A push of the lead foot as one turn of a sine raised above 0 (no kinks, as behind a low-pass), 400 N
/// over 0.1 s: peak, time, phase, rate (amplitude × π ÷ duration) and impulse (half of amplitude ×
/// duration) by calculus.
#[test]
fn a_push_is_read_as_calculus_has_it() {
    let scene = scene(Handed::Right);
    let (top, impact) = (scene.time("top"), scene.time("impact"));
    let duration = 0.1;
    let half = 0.5 * (top + impact);
    for (start, phase) in [
        (top - 0.3, 1.0),
        (half - 0.08, 2.0),
        (impact - duration - 0.01, 3.0),
    ] {
        let push = move |t: f64| {
            let part = (t - start) / duration;
            if (0.0..=1.0).contains(&part) {
                200.0 * (1.0 - (std::f64::consts::TAU * part).cos())
            } else {
                0.0
            }
        };
        let lead = move |t: f64| ([0.0, 500.0 + push(t), 0.0], [0.0, 0.0], 0.0);
        let trail = move |t: f64| ([0.0, 500.0 - 0.5 * push(t), 0.0], [0.0, 0.0], 0.0);
        let m = scene.of(&lead, &trail);
        near(&m, "vertical_force_peak.lead", 0.9, 1e-6);
        near(
            &m,
            "vertical_force_peak_time.lead",
            impact - start - 0.5 * duration,
            1e-3,
        );
        near(&m, "vertical_force_peak_phase.lead", phase, 0.0);
        near(&m, "vertical_force_peak.trail", 0.5, 1e-9);
        near(&m, "unweighting_min", 1.0, 1e-9);
        near(
            &m,
            "loading_rate.lead",
            0.4 * std::f64::consts::PI / duration,
            0.07,
        );
        let pushed = 0.5 * (0.5 * 400.0 * duration);
        let club = m.prepared.club_mass.mass_kg * GRAVITY;
        let down = number(&m, "downswing_time").unwrap();
        let due = if phase > 1.0 { pushed } else { 0.0 } - club * down;
        near(&m, "vertical_impulse_down", due, 0.01);
    }
}

/// The center of pressure runs 20 cm toward the ball and back: its way by chords.
#[test]
fn the_way_of_the_center_of_pressure_is_counted_there_and_back() {
    let scene = scene(Handed::Right);
    let (from, to) = (scene.time("takeaway_start"), scene.time("impact"));
    let z = move |t: f64| {
        let part = ((t - from) / (to - from)).clamp(0.0, 1.0);
        0.2 * (1.0 - (2.0 * part - 1.0).abs()) - 0.1
    };
    let foot = move |t: f64| ([0.0, 500.0, 0.0], [0.0, z(t)], 0.0);
    let m = scene.of(&foot, &foot);
    // The turning point may lie within a chord.
    near(&m, "cop_path_length", 0.4, 0.004);
    near(&m, "cop_lead_share@top", 0.5, 1e-5);
}

/// Something of everything, for tests of symmetry.
fn lively(foot: usize) -> impl Fn(f64) -> ([f64; 3], [f64; 2], f64) {
    move |t| {
        let w = |k: f64| (k * t + foot as f64).sin();
        let up = 500.0 + 300.0 * (3.0 * t).sin() * [1.0, -1.0][foot];
        (
            [90.0 * w(4.0), up, 60.0 * w(5.0)],
            [0.02 * w(2.0), 0.08 * w(2.5)],
            12.0 * w(3.5),
        )
    }
}

fn of_plates(m: &Measured) -> Vec<Value> {
    let from = VERTICAL_FORCE_LEAD.first;
    (from..=VERTICAL_IMPULSE_DOWN.first)
        .map(|i| m.values.get(i))
        .collect()
}

fn of_markers(m: &Measured) -> Vec<Value> {
    let first = VERTICAL_FORCE_LEAD.first;
    (0..first).map(|i| m.values.get(i)).collect()
}

fn assert_same(a: &Measured, b: &Measured, within: f64) {
    for (x, y) in of_plates(a).iter().zip(&of_plates(b)) {
        let (Some(p), Some(q)) = (x.number(), y.number()) else {
            panic!("{x:?} {y:?}");
        };
        assert!((p - q).abs() <= within * p.abs().max(1.0), "{x:?} {y:?}");
    }
}

/// The mirror image of a golfer, plates and moments is a left-handed golfer with the same numbers.
#[test]
fn a_left_handed_golfer_has_the_numbers_of_the_mirror_image() {
    let [right, left] = [Handed::Right, Handed::Left].map(|h| scene(h).of(&lively(0), &lively(1)));
    assert_eq!(right.prepared.handed, Handed::Right);
    assert_eq!(left.prepared.handed, Handed::Left);
    assert_same(&right, &left, 1e-9);
}

/// Feet find their plates, whichever comes first, and beside a third one that nobody stands on.
#[test]
fn the_order_of_the_plates_does_not_matter() {
    let scene = scene(Handed::Right);
    let [lead, trail] = [0, 1].map(|foot| scene.plate(foot, &lively(foot)));
    let plain = scene.measured(vec![lead.clone(), trail.clone()]);
    assert_same(
        &plain,
        &scene.measured(vec![trail.clone(), lead.clone()]),
        0.0,
    );
    let mut empty = scene.plate(0, &still([0.0; 3], [0.0; 2], 0.0));
    empty.surface.as_mut().unwrap().center.x += 1.0;
    assert_same(
        &plain,
        &scene.measured(vec![empty.clone(), trail.clone(), lead.clone()]),
        0.0,
    );
    // One that is dead and that nobody stands on costs nothing.
    empty.series = Err("plate 1: it is dead".into());
    assert_same(&plain, &scene.measured(vec![empty, trail, lead]), 0.0);
}

/// Both feet on one plate: sums as before, nothing of a single foot.
#[test]
fn one_plate_under_both_feet_gives_the_sums_only() {
    let scene = scene(Handed::Right);
    let [lead, trail] = [0, 1].map(|foot| scene.plate(foot, &lively(foot)));
    let apart = scene.measured(vec![lead.clone(), trail.clone()]);
    let mut one = lead.clone();
    let middle = nalgebra::center(&scene.middles[0], &scene.middles[1]);
    let surface = one.surface.as_mut().unwrap();
    (surface.center, surface.half) = (Point3::new(middle.x, 0.0, middle.z), [0.6, 0.4]);
    let center = surface.center;
    let (l, t) = (
        lead.series.as_ref().unwrap(),
        trail.series.as_ref().unwrap(),
    );
    for (i, wrench) in one.series.as_mut().unwrap().wrenches.iter_mut().enumerate() {
        let parts = [(&lead, l), (&trail, t)].map(|(p, s)| {
            let (w, at) = (s.wrenches[i].unwrap(), p.surface.unwrap().center);
            Wrench {
                force: w.force,
                moment: w.moment + (at - center).cross(&w.force),
            }
        });
        *wrench = Some(Wrench {
            force: parts[0].force + parts[1].force,
            moment: parts[0].moment + parts[1].moment,
        });
    }
    let m = scene.measured(vec![one]);
    for id in [
        "unweighting_min",
        "lateral_force_peak.both",
        "ground_torque_vertical_peak",
        "ground_torque_vertical_peak_time",
        "cop_lead_share@top",
        "cop_path_length",
        "vertical_impulse_down",
    ] {
        near(&m, id, number(&apart, id).unwrap(), 1e-9);
    }
    for id in [
        "vertical_force.lead@top",
        "vertical_share_lead@top",
        "free_moment_peak.trail",
        "fore_aft_couple_peak",
        "loading_rate.lead",
    ] {
        assert!(number(&m, id).unwrap_err().contains("both feet"), "{id}");
    }
}

/// What cannot be believed is not measured, or says what limits it; the markers' numbers stay.
#[test]
fn what_is_wrong_with_the_plates_is_said() {
    let scene = scene(Handed::Right);
    let [lead, trail] = [0, 1].map(|foot| scene.plate(foot, &lively(foot)));
    let plain = scene.measured(vec![lead.clone(), trail.clone()]);
    let limited = |m: &Measured| match m.values.get(UNWEIGHTING_MIN.first) {
        Value::Measured { limited, .. } => limited.unwrap_or_default(),
        Value::Missing(why) => panic!("{why}"),
    };
    assert_eq!(limited(&plain), "");

    let mut unzeroed = lead.clone();
    unzeroed.series.as_mut().unwrap().zero = None;
    let m = scene.measured(vec![unzeroed, trail.clone()]);
    assert!(
        limited(&m).contains("was not seen empty"),
        "{}",
        limited(&m)
    );
    assert_same(&plain, &m, 0.0);
    assert_eq!(of_markers(&plain), of_markers(&m));

    // Samples missing around the top: only what needs them is lost.
    let mut holed = trail.clone();
    let series = holed.series.as_mut().unwrap();
    let top = scene.time("top") + scene.address_s;
    for (t, w) in series.time_ns.iter().zip(&mut series.wrenches) {
        if (*t as f64 * 1e-9 - top).abs() < 0.02 {
            *w = None;
        }
    }
    let m = scene.measured(vec![lead.clone(), holed]);
    for id in [
        "vertical_force.trail@top",
        "vertical_share_lead@top",
        "unweighting_min",
    ] {
        assert!(number(&m, id).unwrap_err().contains("sent nothing"), "{id}");
    }
    for id in [
        "vertical_force.lead@top",
        "vertical_force.trail@impact",
        "loading_rate.lead",
    ] {
        near(&m, id, number(&plain, id).unwrap(), 1e-12);
    }

    // The person told is much lighter than what stands there.
    let mut heavy = lead.clone();
    for wrench in heavy.series.as_mut().unwrap().wrenches.iter_mut().flatten() {
        (wrench.force, wrench.moment) = (wrench.force * 1.5, wrench.moment * 1.5);
    }
    let m = scene.measured(vec![heavy, trail.clone()]);
    assert!(limited(&m).contains("told are 102 kg"), "{}", limited(&m));
}

/// A plate without a place, and no plate at all: what does not need it stays.
#[test]
fn a_plate_without_a_place_costs_what_needs_it() {
    let scene = scene(Handed::Right);
    let [lead, trail] = [0, 1].map(|foot| scene.plate(foot, &lively(foot)));
    let plain = scene.measured(vec![lead.clone(), trail.clone()]);
    let mut placeless = lead.clone();
    placeless.surface = None;
    placeless.series = Err("plate 1: its corners lie in one line or point".into());
    let m = scene.measured(vec![placeless, trail.clone()]);
    for id in ["vertical_force.lead@top", "unweighting_min"] {
        assert!(number(&m, id).unwrap_err().contains("one line"), "{id}");
    }
    near(
        &m,
        "vertical_force.trail@top",
        number(&plain, "vertical_force.trail@top").unwrap(),
        1e-12,
    );

    let m = scene.measured(Vec::new());
    assert!(of_plates(&m).iter().all(|v| v.number().is_none()));
    assert_eq!(of_markers(&plain), of_markers(&m));
}

/// Plates of another rate and grid of times are read at the same instants.
#[test]
fn plates_may_have_rates_of_their_own() {
    let scene = scene(Handed::Right);
    let [lead, trail] = [0, 1].map(|foot| scene.plate(foot, &lively(foot)));
    let plain = scene.measured(vec![lead.clone(), trail.clone()]);
    let mut slow = trail;
    let series = slow.series.as_mut().unwrap();
    let every = |i: &usize| i % 3 == 1;
    series.rate_hz /= 3.0;
    series.time_ns = (0..series.time_ns.len())
        .filter(every)
        .map(|i| series.time_ns[i])
        .collect();
    series.wrenches = (0..series.wrenches.len())
        .filter(every)
        .map(|i| series.wrenches[i])
        .collect();
    let m = scene.measured(vec![lead, slow]);
    for id in [
        "vertical_share_lead@top",
        "cop_path_length",
        "ground_torque_vertical_peak",
    ] {
        near(&m, id, number(&plain, id).unwrap(), 1e-3);
    }
    let ground = Arc::clone(m.prepared.ground.as_ref().unwrap());
    assert_eq!(ground.plates.len(), 2);
}
