//! Work, power and kinetic energy of the club between the top and impact, as two hands at the mid-grip
//! point do it. Mechanics of one instant are in `club::dynamics`.
//!
//! What is done altogether is the gain of the club's energy, which needs no accelerations; only the
//! share of the force does.

use super::catalogue::{
    EARLY_WORK_SHARE, KINETIC_ENERGY_PEAK_CLUB, POWER_PEAK, POWER_PEAK_TIME, WORK_ANGULAR,
    WORK_LINEAR, WORK_TOTAL,
};
use super::humps;
use super::speeds::{enough_frames, few_frames};
use super::spin::Moments;
use super::values::{Reader, Values, limits, measured};
use crate::body::segments::Maybe;
use crate::club::dynamics::{Load, Motion, below_grip_m, energy_j, kinetic_j, load};
use crate::measure::Prepared;
use crate::signal::turning::{Fit, Stretches, Times};
use crate::swing::event::Event;

/// Half of the stretch of a path that is fitted at each instant, seconds, and the degree (of the
/// synthetic golfer a cubic leaves 2 % of the work).
const FIT_HALF_S: f64 = 0.027;
const FIT_DEGREE: usize = 4;
/// Samples that reach this share of a hump decide where it is highest.
const SURROUNDINGS: f64 = 0.9;

pub(super) fn measure(prepared: &Prepared, reader: Reader<'_>, values: &mut Values) {
    let few = few_frames(prepared.paths.rate_hz);
    let limited = limits(&[&few, &prepared.grip_limited, &prepared.club_mass.limited()]);
    let down = Down::new(prepared, reader);
    let of = |read: &dyn Fn(&Down) -> Maybe<f64>| {
        let value = down.as_ref().map_err(Clone::clone).and_then(read);
        measured(value, limited.clone())
    };
    let peak = |of: &dyn Fn(&Sampled) -> f64| {
        let down = down.as_ref().map_err(Clone::clone)?;
        let samples: Vec<(f64, f64)> = down.instants.iter().map(|i| (i.time_s, of(i))).collect();
        let share = prepared.reading.level(SURROUNDINGS);
        humps::highest(&samples, share).ok_or_else(|| "the downswing has too few frames".to_owned())
    };
    let power = peak(&|i| i.load.linear_w + i.load.angular_w);
    values.set(&WORK_LINEAR, of(&|d| Ok(d.linear_j)));
    values.set(&WORK_ANGULAR, of(&|d| Ok(d.total_j - d.linear_j)));
    values.set(&WORK_TOTAL, of(&|d| Ok(d.total_j)));
    values.set(&EARLY_WORK_SHARE, of(&|d| Ok(d.early_j / d.total_j)));
    let set = |v: Maybe<f64>| measured(v, limited.clone());
    values.set(&POWER_PEAK, set(power.clone().map(|p| p.value)));
    values.set(&POWER_PEAK_TIME, set(power.map(|p| -p.time_s)));
    let kinetic = peak(&|i| i.kinetic_j).map(|p| p.value);
    values.set(&KINETIC_ENERGY_PEAK_CLUB, set(kinetic));
}

/// The club in one instant of the downswing.
#[derive(Debug, Clone, Copy)]
struct Sampled {
    /// Time relative to impact, seconds.
    time_s: f64,
    load: Load,
    /// Kinetic, and kinetic and potential energy, J.
    kinetic_j: f64,
    energy_j: f64,
}

/// The club from the top to impact.
#[derive(Debug, Clone)]
struct Down {
    instants: Vec<Sampled>,
    /// Work of the force, J.
    linear_j: f64,
    /// All work, and that of the first half of the time, J.
    total_j: f64,
    early_j: f64,
}

impl Down {
    fn new(prepared: &Prepared, reader: Reader<'_>) -> Maybe<Self> {
        enough_frames(prepared.paths.rate_hz)?;
        let (top, impact) = (reader.slot(Event::Top)?, reader.slot(Event::Impact)?);
        let mut club = ClubPath::new(prepared);
        let rate_hz = club.rate_hz;
        let moments = Moments::new(top, impact, prepared.swing.impact.before, rate_hz);
        let mut at = |slot: f64| {
            let motion = club.at(slot);
            let motion = motion.ok_or("the club was hidden for a part of the downswing")?;
            Ok::<_, String>(Sampled {
                time_s: (slot - impact) / rate_hz,
                load: load(&prepared.club_mass, &motion),
                kinetic_j: kinetic_j(&prepared.club_mass, &motion),
                energy_j: energy_j(&prepared.club_mass, &motion),
            })
        };
        let instants: Vec<Sampled> = moments.slots.iter().map(|s| at(*s)).collect::<Maybe<_>>()?;
        let half = at(0.5 * (top + impact))?;
        let trapezoid = |w: &[Sampled]| {
            0.5 * (w[0].load.linear_w + w[1].load.linear_w) * (w[1].time_s - w[0].time_s)
        };
        let (first, last) = (instants.first(), instants.last());
        let (first, last) = first.zip(last).ok_or("the downswing has too few frames")?;
        Ok(Self {
            linear_j: instants.windows(2).map(trapezoid).sum(),
            total_j: last.energy_j - first.energy_j,
            early_j: half.energy_j - first.energy_j,
            instants,
        })
    }
}

/// Grip, balance point and direction of the club before impact.
struct ClubPath<'a> {
    prepared: &'a Prepared,
    below_grip_m: f64,
    /// Last slot that may enter.
    last: usize,
    rate_hz: f64,
    stretches: Stretches,
}

impl<'a> ClubPath<'a> {
    fn new(prepared: &'a Prepared) -> Self {
        let (impact, rate_hz) = (&prepared.swing.impact, prepared.paths.rate_hz);
        let beyond = if impact.cut {
            0
        } else {
            (prepared.reading.span(FIT_HALF_S) * rate_hz) as usize
        };
        Self {
            prepared,
            below_grip_m: below_grip_m(&prepared.club_mass),
            last: (impact.before + beyond).min(prepared.window.len().saturating_sub(1)),
            rate_hz,
            stretches: Stretches::new(rate_hz, FIT_DEGREE),
        }
    }

    /// The motion at a slot by local fits of full length, also beside the collision.
    fn at(&mut self, slot: f64) -> Option<Motion> {
        let (paths, grip) = (&self.prepared.paths, &self.prepared.grip);
        let known = |i: usize| self.prepared.grip_known[i] && paths.axis_known[i];
        let half = (self.prepared.reading.span(FIT_HALF_S) * self.rate_hz).max(4.0);
        let end = ((slot + half) as usize).min(self.last);
        let begin = (end as f64 - 2.0 * half).max(0.0).round() as usize;
        let slots = begin..=end;
        let below_m = self.below_grip_m;
        let center = |i: usize| grip[i].coords + paths.axis[i] * below_m;
        if slots.clone().all(known) {
            let times = self.stretches.about(slot, (begin, end + 1 - begin))?;
            return Some(Motion {
                grip: Fit::point_at(times, |i| grip[begin + i].coords)?.state(0.0),
                center: Fit::point_at(times, |i| center(begin + i))?.state(0.0),
                axis: Fit::direction_at(times, |i| paths.axis[begin + i])?.state(0.0),
            });
        }
        let seen: Vec<usize> = slots.clone().filter(|&i| known(i)).collect();
        // Nothing is read where more than a third of the stretch is a hole.
        if seen.len() * 3 < (end + 1 - begin) * 2 {
            return None;
        }
        let seconds = seen.iter().map(|&i| (i as f64 - slot) / self.rate_hz);
        let times = &Times::new(seconds.collect(), FIT_DEGREE, 0.0)?;
        Some(Motion {
            grip: Fit::point_at(times, |i| grip[seen[i]].coords)?.state(0.0),
            center: Fit::point_at(times, |i| center(seen[i]))?.state(0.0),
            axis: Fit::direction_at(times, |i| paths.axis[seen[i]])?.state(0.0),
        })
    }
}
