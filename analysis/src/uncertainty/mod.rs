//! How surely each value is known: the swing is measured again and again with fresh noise of this
//! take's own kind (Monte Carlo propagation, JCGM 101:2008).
//!
//! ```text
//! Prepared ─▶ Base (motion without its noise) ─▶ draw(base, seed, i) for each i ─▶ summarize
//! ```
//!
//! A draw is a pure function of base, seed and number: noise on every marker, the calibration moved
//! within its own uncertainty, the plates with their noise, zero and clock, holes cut and bridged again, events found again, every metric measured
//! again. Draws may be made in any order by any number of threads; [`summarize`] adds up by number.
//! The base is smooth, so that the filters of a draw show what they do to the motion itself. Noise
//! of the rig and of the calibration is in it; skin that moves with the bone's rhythm is not.
//! Threads are the daemon's.

mod base;
mod deviates;
mod plates;
mod summary;

pub use base::Base;
pub use summary::{Outcome, Spread, Summary, summarize};

use std::sync::Arc;

use nalgebra::{Matrix3, Vector3};

use crate::body::calibration::{Calibration, Origin, Place, SHOULDER_SD_M, Shape};
use crate::measure::{self, Again, Prepared};
use crate::metrics::{self, catalogue};
use crate::signal::reading::{Reading, Unresolved};
use crate::swing::event::Event;
use deviates::{Deviates, Wander};

/// Draws behind one refined report (METRICS: at least 200).
pub const DRAWS: u32 = 200;

/// Share of a hip center's variance that both sides have in common: what a regression misses is the
/// person's pelvis, more than one side of it (common practice, no source).
const HIPS_SHARED: f64 = 0.75;
/// Quiet standing that the shapes of a calibration trial are means of, seconds.
const TRIAL_QUIET_S: f64 = 1.0;

/// What one draw measured.
#[derive(Debug, Clone, PartialEq)]
pub struct Draw {
    /// Values by index of the catalogue, SI and rad; `None` where not measured.
    pub values: Vec<Option<f64>>,
    /// Times of the events in the order of [`Event::ALL`], seconds of the device clock.
    pub events: Vec<Option<f64>>,
}

impl Draw {
    fn of(prepared: &Prepared) -> Self {
        let values = metrics::measure(prepared, None);
        let time = |&e: &Event| Some(prepared.window.seconds(prepared.swing.slots.get(e)?));
        Self {
            values: (0..catalogue::len()).map(|i| values.number(i)).collect(),
            events: Event::ALL.iter().map(time).collect(),
        }
    }
}

/// The seed of a swing's draws: the device time of impact, so that every replay draws the same.
#[must_use]
pub fn seed(prepared: &Prepared) -> u64 {
    let impact_s = prepared.window.seconds(prepared.swing.impact.slot);
    (impact_s * 1e6).round() as i64 as u64
}

/// Draw number `i`. `None` where the noise leaves no swing.
#[must_use]
pub fn draw(base: &Base, seed: u64, i: u32) -> Option<Draw> {
    let mut deviates = Deviates::new(seed, u64::from(i));
    // The calibration first: its numbers do not depend on the window's length.
    let mut calibration = calibrated(base, &mut deviates);
    let mut window = base.window.clone();
    let noise = base.noise;
    for (track, seen) in window.tracks.iter_mut().zip(&base.seen) {
        let mut wander = Wander::new(noise, 1.0 / window.rate_hz, &mut deviates);
        for (point, &seen) in track.iter_mut().zip(seen) {
            let off = wander.next(&mut deviates);
            *point = point.filter(|_| seen).map(|p| p + off);
        }
    }
    let filled = base.holes.then(|| measure::fill(&mut window));
    if calibration.origin == Origin::Address {
        shapes_of(&mut calibration, measure::posture(&window, &base.old.swing));
    }
    let ground = base.plates.as_deref();
    let how = Again {
        ground: ground.map(|g| Arc::new(plates::disturbed(g, &mut deviates))),
        calibration,
        filled: filled.as_ref(),
        reading: Reading::Usual,
        unresolved: unresolved(base.window.rate_hz, &mut deviates),
    };
    let again = measure::remeasure(&base.old, window, how).ok()?;
    Some(Draw::of(&again))
}

/// What few frames leave.
fn unresolved(rate_hz: f64, deviates: &mut Deviates) -> Unresolved {
    if rate_hz >= Unresolved::BELOW_HZ {
        return Unresolved::default();
    }
    Unresolved {
        impact: deviates.exact(),
        velocity: deviates.exact_vector().into(),
    }
}

/// The shapes of another posture of the same golfer; the hips stay where they were moved to.
fn shapes_of(calibration: &mut Calibration, posture: Calibration) {
    calibration.pelvis = posture.pelvis.or(calibration.pelvis.take());
    calibration.thorax = posture.thorax.or(calibration.thorax.take());
    calibration.head = posture.head.or(calibration.head.take());
}

/// The calibration moved within its uncertainty.
fn calibrated(base: &Base, deviates: &mut Deviates) -> Calibration {
    let mut c = base.old.calibration.clone();
    if let Some(hips) = &mut c.hips {
        let shared = if c.origin == Origin::Movement {
            0.0
        } else {
            HIPS_SHARED
        };
        let common = deviates.exact_vector();
        for (hip, side) in hips.iter_mut().zip([-1.0, 1.0]) {
            let mirrored = Vector3::new(common.x, common.y, side * common.z);
            let own = deviates.exact_vector();
            move_by(
                hip,
                mirrored * f64::sqrt(shared) + own * f64::sqrt(1.0 - shared),
            );
        }
    }
    for place in c.knees.iter_mut().chain(&mut c.ankles) {
        move_by(place, deviates.exact_vector());
    }
    for elbow in &mut c.elbows {
        elbow.0 += elbow.1 * deviates.exact();
    }
    c.shoulder = deviates.exact_vector() * SHOULDER_SD_M;
    if c.origin != Origin::Address {
        let n = base.noise;
        let frames = TRIAL_QUIET_S * base.window.rate_hz;
        let sd = (n.white_m * n.white_m / frames
            + n.wander_m * n.wander_m * (2.0 * n.wander_s / TRIAL_QUIET_S).min(1.0))
        .sqrt();
        let shapes = [&mut c.pelvis, &mut c.thorax, &mut c.head];
        shapes
            .into_iter()
            .flatten()
            .for_each(|shape| jitter(shape, sd, deviates));
    }
    c
}

fn jitter(shape: &mut Shape, sd: f64, deviates: &mut Deviates) {
    for place in &mut shape.places {
        *place += deviates.exact_vector() * sd;
    }
}

/// Moves a place by a standard normal vector shaped to its covariance.
fn move_by(place: &mut Place, normal: Vector3<f64>) {
    place.at += root(&place.covariance) * normal;
}

/// The symmetric square root of a covariance.
fn root(covariance: &Matrix3<f64>) -> Matrix3<f64> {
    let eigen = covariance.symmetric_eigen();
    let roots = eigen.eigenvalues.map(|v| v.max(0.0).sqrt());
    eigen.eigenvectors * Matrix3::from_diagonal(&roots) * eigen.eigenvectors.transpose()
}
