//! The pelvis while the golfer moves: how far it has gone and turned since address, from one frame and the
//! rest before it. For feedback during the swing: no filter, no window; what a report says of the same
//! swing is measured anew.

use std::collections::BTreeMap;

use nalgebra::{Point3, Vector3};

use super::calibration;
use super::frames;
use super::pose::{self, Size};
use crate::landmark::Landmark as L;

/// The pelvis now.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PelvisNow {
    /// Way of the middle of the hips along the target line since address, metres, positive toward the
    /// target.
    pub shift_m: f64,
    /// Turn about the vertical since address, rad, positive open (toward the target).
    pub rotation_rad: f64,
}

/// The pelvis' markers at rest.
#[derive(Debug, Clone, Default)]
pub struct PelvisRest {
    places: BTreeMap<L, Point3<f64>>,
}

const SPINES: [L; 4] = [L::LeftAsis, L::RightAsis, L::LeftPsis, L::RightPsis];
const HIPS: [L; 2] = [L::LeftHip, L::RightHip];
/// Weight of a new frame in the mean over the rest.
const WEIGHT: f64 = 0.02;

impl PelvisRest {
    /// Takes a frame of the rest into the mean.
    pub fn add(&mut self, point: impl Fn(L) -> Option<Point3<f64>>) {
        for landmark in SPINES.into_iter().chain(HIPS) {
            if let Some(p) = point(landmark) {
                let mean = self.places.entry(landmark).or_insert(p);
                *mean += (p - *mean) * WEIGHT;
            }
        }
    }

    /// Begins a new rest.
    pub fn clear(&mut self) {
        self.places.clear();
    }

    /// The pelvis in a frame after the rest; `None` where its markers do not show.
    #[must_use]
    pub fn now(&self, point: impl Fn(L) -> Option<Point3<f64>>) -> Option<PelvisNow> {
        let rest = |l: L| self.places.get(&l).copied();
        // The golfer's lead side is the one toward the target.
        let pair = |of: [L; 2]| Some([rest(of[0])?, rest(of[1])?]);
        let [left, right] = pair([L::LeftAsis, L::RightAsis]).or_else(|| pair(HIPS))?;
        let lead = left - right;
        let (lead, open) = if lead.x < 0.0 {
            (-lead, -1.0)
        } else {
            (lead, 1.0)
        };
        let spines: Vec<_> = SPINES
            .iter()
            .filter_map(|&l| Some((rest(l)?, point(l)?)))
            .collect();
        let (turned, shift) = match pose::fit(&spines, Size::Fixed) {
            Some(fit) => {
                let middle = self
                    .hip_middle()
                    .unwrap_or_else(|| nalgebra::center(&left, &right));
                (fit.rotation * lead, fit.place(middle) - middle)
            }
            None => {
                let [l, r] = [point(HIPS[0])?, point(HIPS[1])?];
                let [l0, r0] = pair(HIPS)?;
                let shift = nalgebra::center(&l, &r) - nalgebra::center(&l0, &r0);
                ((l - r) * open, shift)
            }
        };
        let heading = |d: Vector3<f64>| open * (-d.z).atan2(d.x);
        let turn = heading(turned) - heading(lead);
        Some(PelvisNow {
            shift_m: shift.x,
            rotation_rad: turn - (turn / std::f64::consts::TAU).round() * std::f64::consts::TAU,
        })
    }

    /// Middle of the hip joint centers at rest, by regression.
    fn hip_middle(&self) -> Option<Point3<f64>> {
        let mut spines = [Point3::origin(); 4];
        for (place, landmark) in spines.iter_mut().zip(SPINES) {
            *place = *self.places.get(&landmark)?;
        }
        let frame = frames::pelvis(spines)?;
        let [la, ra, lp, rp] = spines;
        let depth = (nalgebra::center(&la, &ra) - nalgebra::center(&lp, &rp)).norm();
        Some(frame.lab(calibration::hip_by_regression((ra - la).norm(), depth, 0.0).into()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::context::Context;
    use crate::forward::{CaptureParams, GolferParams, swing};
    use crate::frame::CaptureFrame;
    use crate::handed::Handed;
    use crate::measure::measure;
    use crate::metrics::catalogue::{PELVIS_ROTATION, PELVIS_SHIFT};
    use crate::metrics::values::Value;
    use crate::swing::event::Event;
    use crate::window::Window;

    /// At the top of the backswing the live numbers are those of the report, which is held against the
    /// golfer's truth elsewhere: within what one unfiltered frame of 0.5 mm leaves.
    #[test]
    fn live_numbers_are_those_of_the_report() {
        for (seed, handed) in [(3, Handed::Right), (4, Handed::Left)] {
            let params = GolferParams {
                handed,
                ..GolferParams::from_seed(seed)
            };
            let capture = CaptureParams {
                rate_hz: 240.0,
                noise_m: 0.0005,
                dropout: 0.0,
                wobble: false,
                plates: None,
            };
            let take = swing(&params, &capture);
            let mut landmarks = take.landmarks.clone();
            landmarks.sort_unstable();
            let place = |l: &L| take.landmarks.iter().position(|m| m == l);
            let frames: Vec<CaptureFrame> = take
                .frames
                .iter()
                .enumerate()
                .map(|(n, points)| CaptureFrame {
                    number: n as u64,
                    time_ns: (n as f64 * 1e9 / 240.0) as i64,
                    points: landmarks.iter().map(|l| points[place(l)?]).collect(),
                })
                .collect();
            let near = (take.truth.event("impact").unwrap() * 240.0) as usize;
            let window = Window::new(frames.iter(), &landmarks, 240.0).unwrap();
            let report = measure(&window, near, None, &Context::default()).unwrap();
            let slot = |e: Event| report.prepared.swing.slots.get(e).unwrap();
            let from = report.prepared.window.first_number as usize;
            let of = |frame: usize| {
                let frame = &frames[frame];
                let landmarks = &landmarks;
                move |l: L| {
                    landmarks
                        .binary_search(&l)
                        .ok()
                        .and_then(|i| frame.points[i])
                }
            };
            let mut rest = PelvisRest::default();
            for frame in 0..from + slot(Event::Address) as usize {
                rest.add(of(frame));
            }
            let now = rest
                .now(of(from + slot(Event::Top).round() as usize))
                .unwrap();
            let top = Event::ALL.iter().position(|e| *e == Event::Top).unwrap();
            let at = |family: &crate::metrics::catalogue::Family| {
                let place = family
                    .events
                    .iter()
                    .position(|e| *e as usize == top)
                    .unwrap();
                report.values.get(family.first + place)
            };
            let Value::Measured {
                change: Some(turn), ..
            } = at(&PELVIS_ROTATION)
            else {
                panic!("no rotation");
            };
            let shift = at(&PELVIS_SHIFT).number().unwrap();
            assert!(
                (now.rotation_rad - turn).abs() < 0.02,
                "{} {turn}",
                now.rotation_rad
            );
            assert!(turn < -0.3, "a backswing closes the pelvis");
            assert!(
                (now.shift_m - shift).abs() < 0.004,
                "{} {shift}",
                now.shift_m
            );
        }
    }
}
