//! The rig's own check: what golfer and club took from the ground by their motion, and how that agrees
//! with the force plates. How plates and motion are compared is in `ground::audit`.

use nalgebra::{Point3, Vector3, center};

use super::catalogue::{FORCE_MARKER_LAG, FORCE_RESIDUAL};
use super::ground;
use super::mass::shaft;
use super::values::{Values, limits, measured};
use crate::body::inertia::GRAVITY;
use crate::body::mass::{Masses, Placing};
use crate::body::segments::{Maybe, both};
use crate::body::skeleton::Skeleton;
use crate::body::tracks::Smoothed;
use crate::club::dynamics::below_grip_m;
use crate::club::mass::ClubMass;
use crate::ground::audit::{Audit, Motion, audit};
use crate::ground::window::GroundWindow;
use crate::measure::Prepared;
use crate::swing::event::Event;
use crate::swing::series;

/// Stretch before the takeaway that is needed, seconds.
const BEFORE_S: f64 = 0.1;

/// Plates and motion of a swing.
///
/// # Errors
/// Says what is missing.
pub(crate) fn of(prepared: &Prepared) -> Maybe<Audit> {
    let plates = prepared.ground.as_deref().ok_or("no force plates")?;
    audit(plates, &motion(prepared, plates)?)
}

pub(super) fn measure(prepared: &Prepared, audit: Option<&Maybe<Audit>>, values: &mut Values) {
    let read = |of: fn(&Audit) -> f64| match audit {
        Some(audit) => audit.as_ref().map(of).map_err(Clone::clone),
        None => Err("not asked".to_owned()),
    };
    let sex = prepared.person.sex.is_none();
    let sex = sex.then(|| "sex not told: mean parameters".to_owned());
    let limited = limits(&[&sex]);
    values.set(&FORCE_RESIDUAL, measured(read(|a| a.residual), limited));
    values.set(&FORCE_MARKER_LAG, measured(read(|a| a.lag_s), None));
}

/// The motion, cut at impact and not smoothed: a low-pass would bend its end.
fn motion(prepared: &Prepared, plates: &GroundWindow) -> Maybe<Motion> {
    let end = prepared.swing.impact.before + 1;
    let part = prepared.window.part(0..end);
    let body = Smoothed::placed(prepared.body.grid, &part, &prepared.approximate);
    let skeleton = Skeleton::new(&body, &prepared.calibration);
    let (grid, rate_hz) = (body.grid, body.grid.rate(part.rate_hz));
    let grip = grid.thin(prepared.grip[..end].to_vec());
    let shaft = shaft(grid, &prepared.paths.axis[..end]);
    let held = both(
        &prepared.grip_known[..end],
        &prepared.paths.axis_known[..end],
    );
    let held = grid.known(&held);
    let masses = Masses::new(Placing {
        body: &body,
        skeleton: &skeleton,
        calibration: &prepared.calibration,
        grip: &grip,
        shaft: &shaft,
        held: &held,
        sex: prepared.person.sex,
        rate_hz,
    })?;
    let start = prepared.swing.slots.get(Event::TakeawayStart);
    let start = start.ok_or("the takeaway's start was not found in this swing")?;
    let judged = grid.place(start).max(0.0).ceil() as usize;
    let first = judged.saturating_sub((BEFORE_S * rate_hz) as usize);
    let places = first..body.len();
    if places.len() < 20 || places.clone().any(|i| !masses.known[i]) {
        return Err("a marker it needs was hidden in the swing".to_owned());
    }
    ground::bear_all(prepared, plates)?;
    let body_kg = ground::body_kg(prepared, plates)?;
    let about = about(plates).ok_or("no force plate's place is known")?;
    let club = Club::new(&prepared.club_mass, (&grip, &shaft), rate_hz);
    let whole_kg = body_kg + prepared.club_mass.mass_kg;
    let (mut whole, mut angular) = (Vec::new(), Vec::new());
    for i in places.clone() {
        let body = masses.center(i);
        whole.push(body + (club.center[i] - body) * (club.mass_kg / whole_kg));
        angular.push(masses.angular(i, &about) * body_kg + club.angular(i, &about));
    }
    let time = |i: usize| (part.seconds(grid.slot(i as f64)) * 1e9).round() as i64;
    Ok(Motion {
        rate_hz,
        time_ns: places.map(time).collect(),
        start: judged - first,
        center: whole,
        mass_kg: whole_kg,
        angular,
        about,
        weight_n: body_kg * GRAVITY,
        told: prepared.person.mass_kg.is_some(),
    })
}

/// Between the plates.
fn about(plates: &GroundWindow) -> Option<Point3<f64>> {
    let mut centers = plates.plates.iter().filter_map(|p| Some(p.surface?.center));
    let first = centers.next()?;
    Some(
        centers
            .next_back()
            .map_or(first, |last| center(&first, &last)),
    )
}

/// The club's part.
struct Club {
    mass_kg: f64,
    inertia_kg_m2: f64,
    center: Vec<Point3<f64>>,
    velocity: Vec<Vector3<f64>>,
    /// Unit vectors along the shaft times their rates: angular velocity.
    spin: Vec<Vector3<f64>>,
}

impl Club {
    fn new(
        club: &ClubMass,
        (grip, shaft): (&[Point3<f64>], &[Vector3<f64>]),
        rate_hz: f64,
    ) -> Self {
        let below = below_grip_m(club);
        let points = grip.iter().zip(shaft);
        let center: Vec<Point3<f64>> = points.map(|(g, u)| g + u * below).collect();
        let lines: Vec<Point3<f64>> = shaft.iter().map(|u| Point3::from(*u)).collect();
        let turning = series::velocity(&lines, rate_hz);
        Self {
            mass_kg: club.mass_kg,
            inertia_kg_m2: club.inertia_kg_m2,
            velocity: series::velocity(&center, rate_hz),
            center,
            spin: shaft
                .iter()
                .zip(turning)
                .map(|(u, v)| u.cross(&v))
                .collect(),
        }
    }

    fn angular(&self, place: usize, about: &Point3<f64>) -> Vector3<f64> {
        let linear = self.velocity[place] * self.mass_kg;
        let turning = self.spin[place] * self.inertia_kg_m2;
        (self.center[place] - about).cross(&linear) + turning
    }
}
