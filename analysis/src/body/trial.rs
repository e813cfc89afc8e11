//! A calibration trial: the golfer stands still with medial markers on, and may then move each leg
//! about its hip. Gives joint widths, axes and hip centers of this person.
//!
//! The hip center is where the knee's distance stays the same (ISB: a functional method where the
//! range of motion allows, Wu 2002), with the regression as what is known before.

use nalgebra::{Matrix4, Point3, Vector3, Vector4, center};

use super::calibration::{Calibration, Lengths, Origin, Place};
use super::cluster;
use super::frames::{self, Frame};
use super::skeleton::frame_at;
use crate::landmark::Landmark as L;
use crate::signal::gaps;
use crate::signal::lowpass::DualPass;
use crate::swing::series;
use crate::window::Window;

/// Low-pass for a trial's slow movement, Hz.
const TRIAL_HZ: f64 = 8.0;
/// Shortest quiet stretch, seconds, and the mean marker speed below which it is quiet, m/s.
const QUIET_S: f64 = 0.5;
const QUIET_MPS: f64 = 0.06;
/// Longest gap that is bridged, seconds.
const GAP_S: f64 = 0.1;
/// Least distance error of a functional fit that is believed, metres: skin is never still.
const FUNCTIONAL_SD_M: f64 = 0.001;
/// A fit worse than this says that knee or pelvis markers slid, metres.
const FUNCTIONAL_MAX_M: f64 = 0.012;
/// Skin and noise are one error over such a span, seconds.
const CORRELATED_S: f64 = 0.1;
/// Flexions of the knee between which its axis shows, rad.
const BENT: std::ops::Range<f64> = 0.14..1.8;
/// Accuracy with which a finger finds an epicondyle or malleolus, metres (common practice, no
/// source).
const PALPATION_SD_M: f64 = 0.001;

/// What a trial says, and in words what it could not give.
#[derive(Debug, Clone, PartialEq)]
pub struct Trial {
    /// The calibration, anatomical sides, not mirrored.
    pub calibration: Calibration,
    /// How much the knee's distance from the hip center changed while the left and the right leg
    /// moved, root mean square in metres; `None` where the hip is not from movement.
    pub residual_m: [Option<f64>; 2],
    /// What was used and what was missing, in plain sentences.
    pub notes: Vec<String>,
}

/// Reads a calibration out of a trial's window (bay frame).
///
/// # Errors
/// Says in words why the trial gives none.
pub fn read(window: &Window) -> Result<Trial, String> {
    let mut window = window.clone();
    window.take_rate_from_times();
    let mut repair = cluster::judge(&mut window);
    cluster::rebuild(&mut window, &mut repair);
    let gap = window.slots(GAP_S);
    window.tracks.iter_mut().for_each(|t| {
        gaps::bridge(t, gap);
    });
    let body = Body::new(&window);
    let quiet = body.quiet()?;
    let still = |l: L| body.mean(l, quiet.clone());
    let mut calibration = Calibration::of_posture(still);
    if calibration.pelvis.is_none() {
        return Err("the four iliac spines are not all seen while the golfer stands still".into());
    }
    let mut notes = Vec::new();
    calibration.origin = Origin::Posture;
    let sides = [
        (L::LeftElbow, L::LeftElbowMedial),
        (L::RightElbow, L::RightElbowMedial),
    ];
    for (elbow, (lateral, medial)) in calibration.elbows.iter_mut().zip(sides) {
        if let (Some(a), Some(b)) = (still(lateral), still(medial)) {
            *elbow = (0.5 * (a - b).norm(), PALPATION_SD_M);
        }
    }
    let mut residual_m = [None; 2];
    let mut moved = true;
    for (i, name) in ["left", "right"].into_iter().enumerate() {
        match body.leg(&calibration, i) {
            Ok(leg) => {
                moved &= leg.moved;
                residual_m[i] = leg.residual_m.filter(|_| leg.moved);
                set_leg(&mut calibration, i, leg, &mut notes);
            }
            Err(why) => {
                moved = false;
                calibration.origin = Origin::Address;
                notes.push(format!("The {name} leg is not calibrated: {why}."));
            }
        }
    }
    if moved && calibration.origin == Origin::Posture {
        calibration.origin = Origin::Movement;
    }
    calibration.lengths = Lengths::of(&calibration, still);
    notes.insert(0, summary(&calibration));
    Ok(Trial {
        calibration,
        residual_m,
        notes,
    })
}

fn summary(calibration: &Calibration) -> String {
    match calibration.origin {
        Origin::Movement => "Hip centers from the legs' movement, joint widths from the medial markers.",
        Origin::Posture => "Hip centers by regression (the legs did not move enough about the hips), joint widths from the medial markers.",
        Origin::Address => "Marker shapes from the trial; joint widths assumed where medial markers are missing.",
    }
    .to_owned()
}

struct Leg {
    hip: Place,
    knee: Option<Vector3<f64>>,
    ankle: Option<Vector3<f64>>,
    widths: [f64; 2],
    moved: bool,
    residual_m: Option<f64>,
}

fn set_leg(calibration: &mut Calibration, i: usize, leg: Leg, notes: &mut Vec<String>) {
    let known = |at: Vector3<f64>| Place {
        at,
        covariance: nalgebra::Matrix3::identity() * PALPATION_SD_M.powi(2),
    };
    if let Some(hips) = &mut calibration.hips {
        hips[i] = leg.hip;
    }
    let [knee, ankle] = leg.widths;
    for (place, found, half) in [
        (&mut calibration.knees[i], leg.knee, knee),
        (&mut calibration.ankles[i], leg.ankle, ankle),
    ] {
        *place = found.map_or_else(|| with_width(*place, half), known);
    }
    if leg.knee.is_none() {
        let side = ["left", "right"][i];
        notes.push(format!(
            "The {side} knee was never bent: its axis is taken to lie through the lateral marker."
        ));
    }
}

/// The assumed direction with a measured width.
fn with_width(mut place: Place, half: f64) -> Place {
    place.at *= half / place.at.norm().max(1e-6);
    place.covariance[(2, 2)] = PALPATION_SD_M.powi(2);
    place
}

/// Smoothed tracks of the trial.
struct Body {
    rate_hz: f64,
    len: usize,
    tracks: Vec<(L, Vec<Point3<f64>>, Vec<bool>)>,
}

impl Body {
    fn new(window: &Window) -> Self {
        let filter = DualPass::butterworth(window.rate_hz, TRIAL_HZ);
        let pad = window.slots(0.25);
        let tracks = window.landmarks.iter().zip(&window.tracks);
        let smooth = |(&l, track): (&L, &crate::window::Track)| {
            let points = series::smooth(&gaps::solid(track)?, &filter, pad);
            Some((l, points, track.iter().map(Option::is_some).collect()))
        };
        Self {
            rate_hz: window.rate_hz,
            len: window.len(),
            tracks: tracks
                .filter(|(l, _)| !l.is_club())
                .filter_map(smooth)
                .collect(),
        }
    }

    fn point(&self, landmark: L, slot: usize) -> Option<Point3<f64>> {
        let (_, points, known) = self.tracks.iter().find(|t| t.0 == landmark)?;
        known[slot].then(|| points[slot])
    }

    fn mean(&self, landmark: L, slots: std::ops::Range<usize>) -> Option<Point3<f64>> {
        let seen: Vec<Point3<f64>> = slots
            .clone()
            .filter_map(|i| self.point(landmark, i))
            .collect();
        let sum: Vector3<f64> = seen.iter().map(|p| p.coords).sum();
        (2 * seen.len() > slots.len()).then(|| Point3::from(sum / seen.len() as f64))
    }

    /// The quietest half second, extended while it stays quiet.
    fn quiet(&self) -> Result<std::ops::Range<usize>, String> {
        let speed: Vec<f64> = (0..self.len).map(|i| self.speed(i)).collect();
        let least = ((QUIET_S * self.rate_hz) as usize).max(2);
        if self.len < least {
            return Err(format!("the trial is shorter than {QUIET_S} s"));
        }
        let mean = |from: usize| speed[from..from + least].iter().sum::<f64>() / least as f64;
        let from = (0..=self.len - least)
            .min_by(|&a, &b| mean(a).total_cmp(&mean(b)))
            .unwrap_or(0);
        if mean(from) > QUIET_MPS {
            return Err("the golfer never stands still for half a second".into());
        }
        let still = |i: &usize| speed[*i] < QUIET_MPS;
        let before = (0..from).rev().take_while(still).count();
        let after = (from + least..self.len).take_while(still).count();
        Ok(from - before..from + least + after)
    }

    /// Mean speed of the markers, m/s; infinite where most are hidden.
    fn speed(&self, slot: usize) -> f64 {
        let (a, b) = (slot.saturating_sub(1), (slot + 1).min(self.len - 1));
        let span = (b - a).max(1) as f64 / self.rate_hz;
        let known: Vec<f64> = self
            .tracks
            .iter()
            .filter(|t| t.2[a] && t.2[b])
            .map(|t| (t.1[b] - t.1[a]).norm() / span)
            .collect();
        if known.len() * 2 < self.tracks.len() {
            return f64::INFINITY;
        }
        known.iter().sum::<f64>() / known.len() as f64
    }

    fn leg(&self, calibration: &Calibration, i: usize) -> Result<Leg, String> {
        let names = [
            [
                L::LeftKnee,
                L::LeftKneeMedial,
                L::LeftAnkle,
                L::LeftAnkleMedial,
            ],
            [
                L::RightKnee,
                L::RightKneeMedial,
                L::RightAnkle,
                L::RightAnkleMedial,
            ],
        ][i];
        let has = |l: &L| self.tracks.iter().any(|t| t.0 == *l);
        if let Some(missing) = names.iter().find(|l| !has(l)) {
            return Err(format!("{} is not marked", missing.name()));
        }
        let (Some(shape), Some(hips)) = (&calibration.pelvis, &calibration.hips) else {
            return Err("the pelvis is not known".into());
        };
        let stride = ((0.02 * self.rate_hz) as usize).max(1);
        let seen: Vec<(Frame, [Point3<f64>; 4])> = (0..self.len)
            .step_by(stride)
            .filter_map(|slot| {
                let pelvis = frame_at(shape, |l| self.point(l, slot))?;
                let mut points = [Point3::origin(); 4];
                for (p, l) in points.iter_mut().zip(names) {
                    *p = self.point(l, slot)?;
                }
                Some((pelvis, points))
            })
            .collect();
        if seen.len() < 10 {
            return Err("its markers are hidden most of the time".into());
        }
        let step_s = stride as f64 / self.rate_hz;
        let knees: Vec<Point3<f64>> = seen
            .iter()
            .map(|(f, p)| f.local(center(&p[0], &p[1])))
            .collect();
        let (hip, residual_m) = functional_hip(&knees, &hips[i], step_s);
        let width = |a: usize, b: usize| {
            0.5 * seen.iter().map(|(_, p)| (p[a] - p[b]).norm()).sum::<f64>() / seen.len() as f64
        };
        let (knee, ankle) = axes(&seen, &hip);
        Ok(Leg {
            moved: hip.covariance[(0, 0)] < 0.36 * hips[i].covariance[(0, 0)],
            hip,
            knee,
            ankle,
            widths: [width(0, 1), width(2, 3)],
            residual_m,
        })
    }
}

/// The hip center (pelvis frame) from which the knee keeps its distance, drawn toward what the
/// regression says as far as the movement leaves it open; and by how much that distance changed
/// (root mean square, metres), where the movement was believed.
fn functional_hip(knees: &[Point3<f64>], prior: &Place, step_s: f64) -> (Place, Option<f64>) {
    let Some(weight) = prior.covariance.try_inverse() else {
        return (*prior, None);
    };
    let independent = (step_s / CORRELATED_S).min(1.0);
    let mut c = prior.at;
    let mut radius = mean(knees.iter().map(|p| (p.coords - c).norm()));
    let mut rms = 0.0_f64;
    let mut sd = FUNCTIONAL_SD_M;
    let mut covariance = prior.covariance;
    for _ in 0..12 {
        let mut normal = Matrix4::zeros();
        let mut right = Vector4::zeros();
        normal.fixed_view_mut::<3, 3>(0, 0).copy_from(&weight);
        right
            .fixed_rows_mut::<3>(0)
            .copy_from(&(weight * (prior.at - c)));
        let scale = independent / (sd * sd);
        let mut square = 0.0;
        for p in knees {
            let away = p.coords - c;
            let off = away.norm() - radius;
            let u = away / away.norm().max(1e-9);
            let row = Vector4::new(-u.x, -u.y, -u.z, -1.0);
            normal += row * row.transpose() * scale;
            right -= row * (off * scale);
            square += off * off;
        }
        let Some(inverse) = normal.try_inverse() else {
            return (*prior, None);
        };
        let step = inverse * right;
        c += step.fixed_rows::<3>(0);
        radius += step[3];
        covariance = inverse.fixed_view::<3, 3>(0, 0).into_owned();
        rms = (square / knees.len() as f64).sqrt();
        sd = rms.max(FUNCTIONAL_SD_M);
    }
    if sd > FUNCTIONAL_MAX_M {
        return (*prior, None);
    }
    (Place { at: c, covariance }, Some(rms))
}

/// Places of the lateral knee and ankle marker in the thigh's and the shank's frame, from the
/// frames in which the knee is bent.
fn axes(
    seen: &[(Frame, [Point3<f64>; 4])],
    hip: &Place,
) -> (Option<Vector3<f64>>, Option<Vector3<f64>>) {
    let (mut knee_sum, mut ankle_sum, mut count) = (Vector3::zeros(), Vector3::zeros(), 0.0);
    for (pelvis, p) in seen {
        let h = pelvis.lab(Point3::from(hip.at));
        let (k, a) = (center(&p[0], &p[1]), center(&p[2], &p[3]));
        if !BENT.contains(&(k - h).angle(&(a - k))) {
            continue;
        }
        let axis = -(k - h).cross(&(a - k));
        let thigh = frames::from_up_right(k, h - k, axis);
        let shank = frames::from_up_right(a, k - a, axis);
        if let (Some(thigh), Some(shank)) = (thigh, shank) {
            knee_sum += thigh.local(p[0]).coords;
            ankle_sum += shank.local(p[2]).coords;
            count += 1.0;
        }
    }
    let enough = count >= 10.0;
    (
        enough.then(|| knee_sum / count),
        enough.then(|| ankle_sum / count),
    )
}

fn mean(values: impl ExactSizeIterator<Item = f64>) -> f64 {
    let n = values.len().max(1) as f64;
    values.sum::<f64>() / n
}
