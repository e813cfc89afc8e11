//! The whole golfer with the club: mass center, its arm against the ground's force, kinetic energy of
//! the body's parts. Segments are placed in `body::mass`; the club's own energy is in `work`.

use nalgebra::{Point3, Vector3};

use super::catalogue::{
    FRONTAL_MOMENT_ARM_PEAK, Family, KINETIC_ENERGY_PEAK_ARMS, KINETIC_ENERGY_PEAK_LEGS,
    KINETIC_ENERGY_PEAK_TRUNK, MASS_CENTRE_DROP, MASS_CENTRE_RISE, MASS_CENTRE_SHIFT,
};
use super::ground;
use super::humps;
use super::values::{Reader, Values, component, limits, measured};
use crate::body::grid::Grid;
use crate::body::mass::{Group, Masses, Placing};
use crate::body::segments::{Maybe, Path, both};
use crate::club::dynamics::below_grip_m;
use crate::ground::wrench::LOAD_GATE_N;
use crate::measure::Prepared;
use crate::swing::event::Event;

/// Mass of a body where neither it nor the plates tell it, for the club's share in the center, kg.
const BODY_KG: f64 = 75.0;
/// Samples that reach this share of a hump decide where it is highest.
const SURROUNDINGS: f64 = 0.9;

/// Golfer and club as one.
pub(super) struct Whole {
    /// The body's segments.
    pub(super) masses: Masses,
    /// Mass of the body, kg.
    pub(super) body_kg: Maybe<f64>,
    /// Mass center of both.
    pub(super) center: Path,
    /// Last slot before impact.
    before: usize,
}

impl Whole {
    pub(super) fn new(prepared: &Prepared) -> Maybe<Self> {
        let (body, grid) = (&prepared.body, prepared.body.grid);
        let grip = grid.thin(prepared.grip.clone());
        let shaft = shaft(grid, &prepared.paths.axis);
        let held = both(&prepared.grip_known, &prepared.paths.axis_known);
        let held = grid.known(&held);
        let masses = Masses::new(Placing {
            body,
            skeleton: &prepared.skeleton,
            calibration: &prepared.calibration,
            grip: &grip,
            shaft: &shaft,
            held: &held,
            sex: prepared.person.sex,
            rate_hz: grid.rate(prepared.window.rate_hz),
        })?;
        let club = &prepared.club_mass;
        let below = below_grip_m(club);
        let club_at: Vec<Point3<f64>> = grip
            .iter()
            .zip(&shaft)
            .map(|(g, u)| g + u * below)
            .collect();
        let body_kg = body_kg(prepared);
        let share = club.mass_kg / (club.mass_kg + body_kg.clone().unwrap_or(BODY_KG));
        let both_at = |(i, club): (usize, &Point3<f64>)| {
            let body = masses.center(i);
            body + (club - body) * share
        };
        let untold = body_kg.is_err().then(|| "body mass not told".to_owned());
        let words = masses.limited.iter().cloned().chain(untold);
        let words: Vec<Option<String>> = words.map(Some).collect();
        Ok(Self {
            center: Path {
                points: club_at.iter().enumerate().map(both_at).collect(),
                grid,
                known: masses.known.clone(),
                limited: limits(&words.iter().collect::<Vec<_>>()),
            },
            body_kg,
            masses,
            before: prepared.swing.impact.before,
        })
    }
}

/// Directions of the shaft at the places of the body.
pub(super) fn shaft(grid: Grid, axis: &[Vector3<f64>]) -> Vec<Vector3<f64>> {
    let thin = grid.thin(axis.iter().map(|u| Point3::from(*u)).collect());
    thin.into_iter().map(|p| p.coords).collect()
}

/// Mass of the body: told, else by the plates' weight while standing still.
fn body_kg(prepared: &Prepared) -> Maybe<f64> {
    let told = || "tell the golfer's mass (mass_kg), or use force plates".to_owned();
    match prepared.ground.as_deref() {
        Some(plates) => ground::body_kg(prepared, plates),
        None => prepared.person.mass_kg.ok_or_else(told),
    }
}

pub(super) fn measure(
    prepared: &Prepared,
    reader: Reader<'_>,
    whole: &Maybe<Whole>,
    values: &mut Values,
) {
    let along = |axis| {
        let whole = whole.as_ref().map_err(Clone::clone);
        whole.map(|w| component(&w.center, axis))
    };
    let (toward, up) = (along(0), along(1));
    values.set_each(&MASS_CENTRE_SHIFT, |event| reader.relative(&toward, event));
    values.set_each(&MASS_CENTRE_RISE, |event| reader.relative(&up, event));
    let limited = whole.as_ref().ok().and_then(|w| w.center.limited.clone());
    let drop = up.and_then(|up| {
        let address = reader.at(&up, Event::Address)?;
        let deep = |i: usize| Ok(address - up.values[i]);
        highest(reader, whole, (Event::TakeawayStart, deep))
    });
    values.set(&MASS_CENTRE_DROP, measured(drop, limited.clone()));
    let arm = whole.as_ref().map_err(Clone::clone).and_then(|w| {
        let arm = |i: usize| frontal_arm(prepared, w, i);
        highest(reader, whole, (Event::Top, arm))
    });
    values.set(&FRONTAL_MOMENT_ARM_PEAK, measured(arm, limited.clone()));
    for (family, group) in ENERGIES {
        let peak = whole.as_ref().map_err(Clone::clone).and_then(|w| {
            let kg = w.body_kg.clone()?;
            let parts = || w.masses.parts.iter().filter(|p| p.group == group);
            let energy = |i: usize| Ok(kg * parts().map(|p| p.energy(i)).sum::<f64>());
            highest(reader, whole, (Event::Top, energy))
        });
        values.set(family, measured(peak, limited.clone()));
    }
}

const ENERGIES: [(&Family, Group); 3] = [
    (&KINETIC_ENERGY_PEAK_LEGS, Group::Legs),
    (&KINETIC_ENERGY_PEAK_TRUNK, Group::Trunk),
    (&KINETIC_ENERGY_PEAK_ARMS, Group::Arms),
];

/// The largest value from an event to impact.
fn highest(
    reader: Reader<'_>,
    whole: &Maybe<Whole>,
    (from, value): (Event, impl Fn(usize) -> Maybe<f64>),
) -> Maybe<f64> {
    let whole = whole.as_ref().map_err(Clone::clone)?;
    let grid = whole.center.grid;
    let place = |event| Ok::<f64, String>(grid.place(reader.slot(event)?));
    let first = place(from)?.max(0.0).ceil() as usize;
    // A velocity looks one place ahead: not across impact.
    let last = place(Event::Impact)?.min(grid.place(whole.before as f64)) - 1.0;
    let last = (last.max(0.0) as usize).min(whole.center.points.len().saturating_sub(1));
    if (first..=last).any(|i| !whole.center.known[i]) {
        return Err("a marker it needs was hidden in the swing".to_owned());
    }
    let sample = |i: usize| Ok((i as f64, value(i)?));
    let samples: Vec<(f64, f64)> = (first..=last).map(sample).collect::<Maybe<_>>()?;
    let hump = humps::highest(&samples, SURROUNDINGS);
    Ok(hump.ok_or("the swing is too short")?.value)
}

/// Distance, seen along the ball line, of the mass center from the line of the ground's force: positive
/// where the force tips the golfer away from the target, metres.
fn frontal_arm(prepared: &Prepared, whole: &Whole, place: usize) -> Maybe<f64> {
    let ground = prepared.ground.as_deref().ok_or("no force plates")?;
    let slot = whole.center.grid.slot(place as f64);
    let time_ns = (prepared.window.seconds(slot) * 1e9).round() as i64;
    let total = ground.total_at(time_ns, LOAD_GATE_N)?;
    let pressure = total.center.ok_or("the plates carry no load")?;
    let (off, force) = (pressure - whole.center.points[place], total.force);
    Ok((off.x * force.y - off.y * force.x) / force.x.hypot(force.y))
}
