//! The body as moving masses: the segments of `inertia` placed by joint centers and clusters, with how
//! they move and turn. Golfer frame. The club's own mass is in `club::mass`, what is read off all of it
//! in `metrics`.
//!
//! Either every segment is there or there is nothing: a center of some of the segments is no body's.

use nalgebra::{Matrix3, Point3, Vector3, center};

use super::arm::Arm;
use super::calibration::Calibration;
use super::grid::Grid;
use super::inertia::{Endpoint as E, Parameters, Segment as S, Sex, parameters};
use super::rotation::angular_velocity;
use super::segments::{Maybe, Path, both, needs};
use super::skeleton::{Segment, Skeleton, middle};
use super::tracks::Smoothed;
use crate::ground::feet::TOE_TIP;
use crate::landmark::Landmark as L;
use crate::swing::series;

/// Lengths of the trunk's parts as shares of notch to mid-hip, from above: the table's mean woman (142.5,
/// 205.3, 181.5 mm) and man (170.7, 215.5, 145.7 mm; both from memory). They set the moments of inertia,
/// because xiphoid and T8 are palpated no better than a centimetre; and where the navel is.
const TRUNK: [[f64; 3]; 2] = [[0.269, 0.388, 0.343], [0.321, 0.405, 0.274]];
/// Mass center of head and neck from the middle of the markers over the ears, metres: forward, up (half
/// the way from vertex to C7 is about at the ears; common practice, no source).
const HEAD: [f64; 2] = [0.010, -0.025];
/// Vertex to C7, metres (the table's mean man and woman: 0.243; from memory).
const HEAD_M: f64 = 0.243;
/// A hand that grips: its knuckles lie about the shaft so far below the wrist, metres (common practice,
/// no source); wrist to third knuckle, metres (as above).
const BELOW_WRIST_M: f64 = 0.06;
const HAND_M: f64 = 0.083;
const SEX: &str = "sex not told: mean parameters";

/// Which energy a segment counts to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Group {
    /// Thighs, shanks, feet.
    Legs,
    /// Trunk and head.
    Trunk,
    /// Upper arms, forearms, hands.
    Arms,
}

/// One segment, everything for a body of 1 kg; one entry a place.
#[derive(Debug, Clone)]
pub struct Part {
    /// Where it counts.
    pub group: Group,
    /// Its share of the body's mass.
    pub share: f64,
    /// Mass center, metres.
    pub centers: Vec<Point3<f64>>,
    /// Velocity of the mass center, m/s.
    pub velocities: Vec<Vector3<f64>>,
    /// Angular velocity, rad/s; of a limb without its turning about its own long axis.
    pub spins: Vec<Vector3<f64>>,
    /// Angular momentum about the mass center, m²/s for each kilogram of the body.
    pub momenta: Vec<Vector3<f64>>,
}

/// A whole body.
#[derive(Debug, Clone)]
pub struct Masses {
    /// Its segments.
    pub parts: Vec<Part>,
    /// Where in the window its places are.
    pub grid: Grid,
    /// Places at which every segment is known.
    pub known: Vec<bool>,
    /// What limits it, in words.
    pub limited: Vec<String>,
}

/// What masses are placed by.
#[derive(Debug, Clone, Copy)]
pub struct Placing<'a> {
    /// Smoothed tracks.
    pub body: &'a Smoothed,
    /// Segments and joints of them.
    pub skeleton: &'a Skeleton,
    /// What of the golfer is fixed.
    pub calibration: &'a Calibration,
    /// Mid-grip point at the places of the body, metres.
    pub grip: &'a [Point3<f64>],
    /// Unit vector along the shaft, from the grip to the head.
    pub shaft: &'a [Vector3<f64>],
    /// Places at which both are known.
    pub held: &'a [bool],
    /// The golfer's sex, if told.
    pub sex: Option<Sex>,
    /// Places a second.
    pub rate_hz: f64,
}

impl Part {
    /// Kinetic energy of translation and rotation at a place, J for each kilogram of the body.
    #[must_use]
    pub fn energy(&self, place: usize) -> f64 {
        let turning = self.spins[place].dot(&self.momenta[place]);
        0.5 * (self.share * self.velocities[place].norm_squared() + turning)
    }
}

impl Masses {
    /// Places every segment.
    ///
    /// # Errors
    /// Names the markers that are needed.
    pub fn new(by: Placing<'_>) -> Maybe<Self> {
        fn own(maybe: &Maybe<Segment>) -> Maybe<&Segment> {
            maybe.as_ref().map_err(Clone::clone)
        }
        let (pelvis, thorax) = (own(&by.skeleton.pelvis)?, own(&by.skeleton.thorax)?);
        let head = own(&by.skeleton.head)?;
        let hips = by.skeleton.hips.as_ref().map_err(Clone::clone)?;
        let mut known = both(&both(&pelvis.known, &thorax.known), &head.known);
        let mut limited: Vec<String> = Vec::new();
        limited.extend(by.sex.is_none().then(|| SEX.to_owned()));
        let mut parts = trunk(by, [thorax, pelvis, head], hips)?;
        for side in [0, 1] {
            let arm = by.skeleton.arms[side].as_ref().map_err(Clone::clone)?;
            known = both(&known, &arm.known);
            limited.extend(arm.limited.clone());
            parts.extend(arm_parts(by, arm)?);
            let (leg, seen) = leg_parts(by, &hips[side], side)?;
            known = both(&known, &seen);
            parts.extend(leg);
        }
        known = both(&known, by.held);
        limited.extend(
            [pelvis, thorax, head]
                .iter()
                .filter_map(|s| s.limited.clone()),
        );
        Ok(Self {
            parts,
            grid: pelvis.grid,
            known,
            limited,
        })
    }

    /// The body's mass center at a place, metres.
    #[must_use]
    pub fn center(&self, place: usize) -> Point3<f64> {
        let mass: f64 = self.parts.iter().map(|p| p.share).sum();
        let sum = |p: &Part| p.centers[place].coords * (p.share / mass);
        Point3::from(self.parts.iter().map(sum).sum::<Vector3<f64>>())
    }
}

impl Masses {
    /// Angular momentum about a point at a place, m²/s for each kilogram of the body.
    #[must_use]
    pub fn angular(&self, place: usize, about: &Point3<f64>) -> Vector3<f64> {
        let mass: f64 = self.parts.iter().map(|p| p.share).sum();
        let of = |part: &Part| {
            let off = part.centers[place] - about;
            off.cross(&part.velocities[place]) * part.share + part.momenta[place]
        };
        self.parts.iter().map(of).sum::<Vector3<f64>>() / mass
    }
}

/// The table's row for this sex, or the mean of both.
fn row(segment: S, ends: (E, E), sex: Option<Sex>) -> Maybe<Parameters> {
    let of = |sex| parameters(segment, ends, sex).ok_or_else(|| "no such segment".to_owned());
    if let Some(sex) = sex {
        return of(sex);
    }
    let (a, b) = (of(Sex::Female)?, of(Sex::Male)?);
    let mean = |a: f64, b: f64| 0.5 * (a + b);
    Ok(Parameters {
        mass: mean(a.mass, b.mass),
        center: mean(a.center, b.center),
        gyration: std::array::from_fn(|i| mean(a.gyration[i], b.gyration[i])),
    })
}

/// Moments of inertia about forward, long and lateral axis, m² for each kilogram of the body.
fn moments(p: &Parameters, length_m: f64) -> Vector3<f64> {
    let [sagittal, transverse, long] = p.gyration.map(|r| p.mass * (r * length_m).powi(2));
    Vector3::new(sagittal, long, transverse)
}

fn mean_length(a: &[Point3<f64>], b: &[Point3<f64>]) -> f64 {
    let sum: f64 = a.iter().zip(b).map(|(a, b)| (b - a).norm()).sum();
    sum / a.len().max(1) as f64
}

/// A point a share of the way along.
fn along(a: &[Point3<f64>], b: &[Point3<f64>], share: f64) -> Vec<Point3<f64>> {
    let pairs = a.iter().zip(b);
    pairs.map(|(a, b)| a + (b - a) * share).collect()
}

/// A limb between two joints: turns as its line does.
fn limb(
    rate_hz: f64,
    (group, p): (Group, Parameters),
    (near, far): (&[Point3<f64>], &[Point3<f64>]),
) -> Part {
    let centers = along(near, far, p.center);
    let lines: Vec<Point3<f64>> = near
        .iter()
        .zip(far)
        .map(|(a, b)| Point3::from(b - a))
        .collect();
    let turning = series::velocity(&lines, rate_hz);
    let spins: Vec<Vector3<f64>> = lines
        .iter()
        .zip(turning)
        .map(|(u, slope)| u.coords.cross(&slope) / u.coords.norm_squared().max(1e-9))
        .collect();
    let i = moments(&p, mean_length(near, far));
    let across = 0.5 * (i.x + i.z);
    Part {
        group,
        share: p.mass,
        velocities: series::velocity(&centers, rate_hz),
        centers,
        momenta: spins.iter().map(|w| w * across).collect(),
        spins,
    }
}

/// A part that turns as a frame does.
fn block(
    rate_hz: f64,
    (p, length_m): (Parameters, f64),
    centers: Vec<Point3<f64>>,
    (axes, spins): (&[Matrix3<f64>], Vec<Vector3<f64>>),
) -> Part {
    let i = moments(&p, length_m);
    let momentum = |(r, w): (&Matrix3<f64>, &Vector3<f64>)| r * r.tr_mul(w).component_mul(&i);
    Part {
        group: Group::Trunk,
        share: p.mass,
        velocities: series::velocity(&centers, rate_hz),
        centers,
        momenta: axes.iter().zip(&spins).map(momentum).collect(),
        spins,
    }
}

/// Head and the three parts of the trunk: the upper one stiff with the thorax, the others on the line
/// from there to the hips, so that a bent back keeps its mass where it is.
fn trunk(
    by: Placing<'_>,
    [thorax, pelvis, head]: [&Segment; 3],
    hips: &[Path; 2],
) -> Maybe<Vec<Part>> {
    let unseen = || "its markers were not all seen at address".to_owned();
    let shape = by.calibration.thorax.as_ref().ok_or_else(unseen)?;
    let place = |l: L| {
        let at = shape.landmarks.iter().position(|o| *o == l);
        at.map(|i| shape.places[i]).ok_or_else(unseen)
    };
    let low = center(&place(L::T8)?, &place(L::Xiphoid)?);
    // The notch at its height on the long axis, as the table has it.
    let notch = Point3::new(low.x, place(L::SternalNotch)?.y, low.z);
    let of = |s: &Segment, p: Point3<f64>| -> Vec<Point3<f64>> {
        s.frames.iter().map(|f| f.lab(p)).collect()
    };
    let (low, notch) = (of(thorax, low), of(thorax, notch));
    let mid_hip = middle(hips).points;
    let shares: [f64; 3] = match by.sex {
        Some(Sex::Female) => TRUNK[0],
        Some(Sex::Male) => TRUNK[1],
        None => std::array::from_fn(|i| 0.5 * (TRUNK[0][i] + TRUNK[1][i])),
    };
    let navel = along(&low, &mid_hip, shares[1] / (shares[1] + shares[2]));
    let whole_m = mean_length(&notch, &low) + mean_length(&low, &mid_hip);
    let axes = |s: &Segment| -> Vec<Matrix3<f64>> { s.frames.iter().map(|f| f.rotation).collect() };
    let turns = |axes: &[Matrix3<f64>]| angular_velocity(axes, 1.0 / by.rate_hz);
    let (chest, bowl, skull) = (axes(thorax), axes(pelvis), axes(head));
    let (chest_spin, bowl_spin) = (turns(&chest), turns(&bowl));
    let between = chest_spin.iter().zip(&bowl_spin);
    let between = between.map(|(a, b)| (a + b) * 0.5).collect();
    let part = |segment, ends, (from, to): (&[_], &[_]), share, turning| -> Maybe<Part> {
        let p = row(segment, ends, by.sex)?;
        let centers = along(from, to, p.center);
        Ok(block(by.rate_hz, (p, share * whole_m), centers, turning))
    };
    let ears = by.calibration.head.as_ref().ok_or_else(unseen)?;
    let ears = center(&ears.places[1], &ears.places[2]) + Vector3::new(HEAD[0], HEAD[1], 0.0);
    let of_head = row(S::Head, (E::Vertex, E::Cervicale), by.sex)?;
    let skull_spin = turns(&skull);
    let (upper, mid, lower) = ((&*notch, &*low), (&*low, &*navel), (&*navel, &*mid_hip));
    Ok(vec![
        block(
            by.rate_hz,
            (of_head, HEAD_M),
            of(head, ears),
            (&skull, skull_spin),
        ),
        part(
            S::UpperTrunk,
            (E::Suprasternale, E::Xiphion),
            upper,
            shares[0],
            (&chest, chest_spin),
        )?,
        part(
            S::MidTrunk,
            (E::Xiphion, E::Omphalion),
            mid,
            shares[1],
            (&chest, between),
        )?,
        part(
            S::LowerTrunk,
            (E::Omphalion, E::MidHip),
            lower,
            shares[2],
            (&bowl, bowl_spin),
        )?,
    ])
}

fn arm_parts(by: Placing<'_>, arm: &Arm) -> Maybe<[Part; 3]> {
    let of = |segment, ends| Ok::<_, String>((Group::Arms, row(segment, ends, by.sex)?));
    let upper = of(S::UpperArm, (E::Shoulder, E::Elbow))?;
    let fore = of(S::Forearm, (E::Elbow, E::Wrist))?;
    let hand = of(S::Hand, (E::Wrist, E::Metacarpal3))?;
    let shaft = by.grip.iter().zip(by.shaft);
    let knuckles = |(wrist, (grip, along)): (&Point3<f64>, (&Point3<f64>, &Vector3<f64>))| {
        let below = grip + along * ((wrist - grip).dot(along) + BELOW_WRIST_M);
        wrist + (below - wrist).try_normalize(1e-6).unwrap_or_default() * HAND_M
    };
    let knuckles: Vec<Point3<f64>> = arm.wrist.iter().zip(shaft).map(knuckles).collect();
    Ok([
        limb(by.rate_hz, upper, (&arm.shoulder, &arm.elbow)),
        limb(by.rate_hz, fore, (&arm.elbow, &arm.wrist)),
        limb(by.rate_hz, hand, (&arm.wrist, &knuckles)),
    ])
}

fn leg_parts(by: Placing<'_>, hip: &Path, side: usize) -> Maybe<([Part; 3], Vec<bool>)> {
    let leg = by.skeleton.legs[side].as_ref().map_err(Clone::clone)?;
    let [heel, toe] = [[L::LeftHeel, L::LeftToe], [L::RightHeel, L::RightToe]][side]
        .map(|l| by.body.track(l).ok_or_else(|| needs(l.name())));
    let (heel, toe) = (heel?, toe?);
    let tip = along(&heel.points, &toe.points, TOE_TIP);
    let of = |segment, ends| Ok::<_, String>((Group::Legs, row(segment, ends, by.sex)?));
    let parts = [
        limb(
            by.rate_hz,
            of(S::Thigh, (E::Hip, E::Knee))?,
            (&hip.points, &leg.knee),
        ),
        limb(
            by.rate_hz,
            of(S::Shank, (E::Knee, E::Ankle))?,
            (&leg.knee, &leg.ankle),
        ),
        limb(
            by.rate_hz,
            of(S::Foot, (E::Heel, E::ToeTip))?,
            (&heel.points, &tip),
        ),
    ];
    let seen = both(&leg.flexion.known, &both(&heel.known, &toe.known));
    Ok((parts, seen))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A man's thigh of 0.4 m that turns at 5 rad/s about a hip at rest, for 80 kg: mass 11.328 kg, its
    /// center at 0.4095 · 0.4 = 0.1638 m, moment 0.196 184 kg·m² (as `inertia` has it by hand):
    /// ½ (11.328 · 0.1638² + 0.196 184) · 25 = 6.2515 J; angular momentum about the hip 2.5006 kg·m²/s.
    /// Differences over 2 ms leave 2e-5 of it.
    #[test]
    fn a_turning_thigh_by_hand() {
        let far = |i: i32| {
            let (sin, cos) = (0.005 * f64::from(i)).sin_cos();
            Point3::new(0.4 * sin, -0.4 * cos, 0.0)
        };
        let (hip, knee) = (
            vec![Point3::origin(); 9],
            (-4..=4).map(far).collect::<Vec<_>>(),
        );
        let p = row(S::Thigh, (E::Hip, E::Knee), Some(Sex::Male)).unwrap();
        let thigh = limb(1000.0, (Group::Legs, p), (&hip, &knee));
        assert!((80.0 * thigh.energy(4) - 6.2515).abs() < 1e-3);
        let masses = Masses {
            parts: vec![thigh],
            grid: Grid::EVERY,
            known: vec![true; 9],
            limited: Vec::new(),
        };
        // Of a body that is all thigh the share is 1.
        let about_hip = masses.angular(4, &Point3::origin()) * 11.328;
        assert!(
            (about_hip - Vector3::z() * 2.5006).norm() < 1e-3,
            "{about_hip}"
        );
        assert!((masses.center(4) - Point3::new(0.0, -0.1638, 0.0)).norm() < 1e-12);
    }

    #[test]
    fn an_untold_sex_is_the_mean_of_both() {
        let of = |sex| row(S::Shank, (E::Knee, E::Ankle), sex).unwrap().mass;
        let (f, m) = (of(Some(Sex::Female)), of(Some(Sex::Male)));
        assert!((of(None) - 0.5 * (f + m)).abs() < 1e-12 && f > m);
        assert!(row(S::Foot, (E::Hip, E::Knee), None).is_err());
    }
}
