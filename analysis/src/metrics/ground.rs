//! The ground under the golfer: forces of each foot, both together, their common center of pressure
//! and the moments about the vertical. Forces are of the ground on the golfer.
//!
//! Who stands where and how heavy the golfer is lives in `ground/stance`, reading over time in
//! `ground/course`; plates from channels to reactions in the `ground` module of the crate.

mod course;
mod stance;

use nalgebra::Point2;

use super::catalogue::{
    CLOCK_UNCERTAINTY, COP_LEAD_SHARE, COP_PATH_LENGTH, FORE_AFT_COUPLE_PEAK,
    FREE_MOMENT_PEAK_LEAD, FREE_MOMENT_PEAK_TRAIL, Family, GROUND_TORQUE_VERTICAL_PEAK,
    GROUND_TORQUE_VERTICAL_PEAK_TIME, LATERAL_FORCE_PEAK_BOTH, LATERAL_FORCE_PEAK_LEAD,
    LATERAL_FORCE_PEAK_TRAIL, LOADING_RATE_LEAD, UNWEIGHTING_MIN, VERTICAL_FORCE_LEAD,
    VERTICAL_FORCE_PEAK_LEAD, VERTICAL_FORCE_PEAK_PHASE_LEAD, VERTICAL_FORCE_PEAK_PHASE_TRAIL,
    VERTICAL_FORCE_PEAK_TIME_LEAD, VERTICAL_FORCE_PEAK_TIME_TRAIL, VERTICAL_FORCE_PEAK_TRAIL,
    VERTICAL_FORCE_TRAIL, VERTICAL_IMPULSE_DOWN, VERTICAL_SHARE_LEAD,
};
use super::values::{NO_ADDRESS, Reader, Value, Values};
use crate::body::inertia::GRAVITY;
use crate::body::segments::Maybe;
use crate::ground::window::{GroundWindow, PlateWindow};
use crate::ground::wrench::LOAD_GATE_N;
use crate::measure::{Prepared, is_seated};
use crate::swing::event::Event;
use course::{Course, Curve, Grid};
use stance::Stance;

/// Distance of the places between which the way of the center of pressure is counted, seconds: so
/// that noise does not add up.
const STEP_S: f64 = 0.010;
/// Middles of the feet nearer than this are no two feet, metres.
const APART_M: f64 = 0.05;
/// The feet push before anything is seen to move: so much of the end of the quiet stretch is no
/// standing still, seconds (synthetic golfers; no source).
const FORCES_LEAD_S: f64 = 0.05;
const NO_PLATES: &str = "no force plates";
const SWING: [Event; 2] = [Event::TakeawayStart, Event::Impact];
/// The foot is loaded for the downswing; what the takeaway sets off is not meant.
const LOADING: [Event; 2] = [Event::TakeawayEnd, Event::Impact];
const DOWN: [Event; 2] = [Event::Top, Event::Impact];

/// What one foot's families are.
struct OfFoot {
    vertical: &'static Family,
    peak: &'static Family,
    time: &'static Family,
    phase: &'static Family,
    free_moment: &'static Family,
}

impl OfFoot {
    fn families(&self) -> [&'static Family; 5] {
        [
            self.vertical,
            self.peak,
            self.time,
            self.phase,
            self.free_moment,
        ]
    }
}

/// Everything else.
const OF_BOTH: [&Family; 12] = [
    &VERTICAL_SHARE_LEAD,
    &UNWEIGHTING_MIN,
    &LOADING_RATE_LEAD,
    &LATERAL_FORCE_PEAK_BOTH,
    &LATERAL_FORCE_PEAK_TRAIL,
    &LATERAL_FORCE_PEAK_LEAD,
    &FORE_AFT_COUPLE_PEAK,
    &GROUND_TORQUE_VERTICAL_PEAK,
    &GROUND_TORQUE_VERTICAL_PEAK_TIME,
    &COP_LEAD_SHARE,
    &COP_PATH_LENGTH,
    &VERTICAL_IMPULSE_DOWN,
];

const FEET: [OfFoot; 2] = [
    OfFoot {
        vertical: &VERTICAL_FORCE_LEAD,
        peak: &VERTICAL_FORCE_PEAK_LEAD,
        time: &VERTICAL_FORCE_PEAK_TIME_LEAD,
        phase: &VERTICAL_FORCE_PEAK_PHASE_LEAD,
        free_moment: &FREE_MOMENT_PEAK_LEAD,
    },
    OfFoot {
        vertical: &VERTICAL_FORCE_TRAIL,
        peak: &VERTICAL_FORCE_PEAK_TRAIL,
        time: &VERTICAL_FORCE_PEAK_TIME_TRAIL,
        phase: &VERTICAL_FORCE_PEAK_PHASE_TRAIL,
        free_moment: &FREE_MOMENT_PEAK_TRAIL,
    },
];

/// What is read of the plates of one swing.
struct Ground<'a> {
    prepared: &'a Prepared,
    reader: Reader<'a>,
    stance: Stance,
    grid: Maybe<Grid>,
    /// Lead, then trail.
    feet: [Maybe<Course>; 2],
    both: Maybe<Course>,
}

pub(super) fn measure(prepared: &Prepared, reader: Reader<'_>, values: &mut Values) {
    let ground = prepared.ground.as_deref();
    let clock = ground.ok_or_else(|| NO_PLATES.to_owned()).and_then(clock_s);
    values.set(&CLOCK_UNCERTAINTY, clock);
    let Some(ground) = ground else {
        for family in FEET.iter().flat_map(OfFoot::families).chain(OF_BOTH) {
            values.set_all(family, &Value::Missing(NO_PLATES.to_owned()));
        }
        return;
    };
    let ground = Ground::new(prepared, reader, ground);
    for (side, families) in FEET.iter().enumerate() {
        ground.of_foot(side, families, values);
    }
    ground.of_feet(values);
    ground.of_both(values);
}

/// Standard uncertainty of the plates' times against the markers', seconds: the worst plate's.
fn clock_s(ground: &GroundWindow) -> Maybe<f64> {
    let reads = |p: &PlateWindow| p.series.as_ref().map(|_series| ()).map_err(Clone::clone);
    let first = ground.plates.iter().map(reads).reduce(Result::or);
    first.unwrap_or_else(|| Err(NO_PLATES.to_owned()))?;
    Ok(ground.clock_uncertainty_s())
}

/// Mass of the golfer without the club, kg.
pub(super) fn body_kg(prepared: &Prepared, plates: &GroundWindow) -> Maybe<f64> {
    let weight = Stance::new(prepared, plates).weight;
    weight.map(|w| w.person / GRAVITY)
}

/// Whether the plates bear all of the golfer: both feet wholly on them, and no seat.
///
/// # Errors
/// Says what else bears him.
pub(super) fn bear_all(prepared: &Prepared, plates: &GroundWindow) -> Maybe<()> {
    let standing = Stance::new(prepared, plates).standing;
    standing.together?;
    if let Some(weak) = standing.weak {
        return Err(weak);
    }
    if is_seated(&prepared.window, &prepared.swing) {
        return Err("the golfer sat: a seat bears part of the weight".to_owned());
    }
    Ok(())
}

/// Plain sentences about who stands where.
pub(crate) fn notes(prepared: &Prepared) -> Vec<String> {
    let ground = prepared.ground.as_deref();
    ground.map_or_else(Vec::new, |g| Stance::new(prepared, g).standing.notes)
}

/// Whose the plates of a swing are, for those who draw them.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct OnPlates {
    /// Place of the lead foot's plate in the window; `None` where no plate is its alone.
    pub lead: Option<usize>,
    /// Of the trail foot's.
    pub trail: Option<usize>,
    /// The golfer's weight without the club, N.
    pub weight_n: Option<f64>,
}

/// Whose the plates of a swing are; nobody's without plates.
#[must_use]
pub fn on_plates(prepared: &Prepared) -> OnPlates {
    let Some(ground) = prepared.ground.as_deref() else {
        return OnPlates::default();
    };
    let stance = Stance::new(prepared, ground);
    OnPlates {
        lead: stance.standing.lead.ok(),
        trail: stance.standing.trail.ok(),
        weight_n: stance.weight.ok().map(|w| w.person),
    }
}

/// Upward forces on the lead and the trail foot against body weight and the center of pressure between the
/// feet (0 trail, 1 lead), at seconds since the window's first slot; up to impact. `None` without plates.
pub(super) fn courses(
    prepared: &Prepared,
    reader: Reader<'_>,
    seconds: &[f64],
) -> Option<[Vec<Option<f64>>; 3]> {
    let ground = Ground::new(prepared, reader, prepared.ground.as_deref()?);
    let foot = |side| ground.foot(side).and_then(|f| ground.weighed(&f.up));
    let grid = ground.grid().ok()?;
    Some([foot(0), foot(1), ground.lead_share()].map(|curve| {
        let Ok(curve) = curve else { return Vec::new() };
        seconds.iter().map(|t| grid.at(&curve, *t)).collect()
    }))
}

impl<'a> Ground<'a> {
    fn new(prepared: &'a Prepared, reader: Reader<'a>, ground: &GroundWindow) -> Self {
        let stance = Stance::new(prepared, ground);
        let standing = &stance.standing;
        let involved: Vec<&PlateWindow> = standing
            .together
            .iter()
            .flatten()
            .chain(&standing.lead)
            .chain(&standing.trail)
            .map(|&n| &ground.plates[n])
            .collect();
        let (swing, times) = (&prepared.swing, &prepared.window.time_ns);
        let last = times.len().saturating_sub(1);
        let start = reader.slots.get(Event::TakeawayStart).unwrap_or(swing.top);
        let from = (start as usize).min(swing.quiet.start).min(last);
        let to = (swing.impact.slot.ceil() as usize).min(last);
        let grid = Grid::new(&involved, times[0], [times[from], times[to]]);
        let of = |plates: &[usize]| Course::new(ground, plates, grid.as_ref());
        Self {
            feet: [&standing.lead, &standing.trail].map(|on| of(&[on.clone()?])),
            both: standing.together.clone().and_then(|plates| of(&plates)),
            prepared,
            reader,
            grid,
            stance,
        }
    }

    fn of_foot(&self, side: usize, families: &OfFoot, values: &mut Values) {
        let up = self.foot(side).and_then(|f| self.weighed(&f.up));
        self.each(families.vertical, values, |event| self.at(&up, event));
        let peak = self.peak(&up, SWING);
        self.set(families.peak, values, peak.clone().map(|p| p.1));
        let time = peak.map(|p| p.0);
        self.set(families.time, values, self.before_impact(&time));
        self.set(families.phase, values, time.and_then(|t| self.phase(t)));
        let free = self
            .foot(side)
            .and_then(|f| self.placed(&f.torque))
            .cloned();
        self.set(
            families.free_moment,
            values,
            self.peak(&free, SWING).map(|p| p.1),
        );
    }

    /// What needs the feet apart.
    fn of_feet(&self, values: &mut Values) {
        let share = self.both().and_then(|both| {
            let lead = &self.foot(0)?.up;
            let share = |(l, b): (&Option<f64>, &Option<f64>)| {
                let both = (*b)?;
                (both >= LOAD_GATE_N).then_some((*l)? / both)
            };
            self.foot(1)?;
            Ok(lead.iter().zip(&both.up).map(share).collect::<Curve>())
        });
        self.each(&VERTICAL_SHARE_LEAD, values, |event| self.at(&share, event));
        let lead = self.foot(0).and_then(|f| self.weighed(&f.up));
        let rate = lead.and_then(|lead| {
            let slope = self.grid()?.slope(&lead);
            Ok(self.peak(&Ok(slope), LOADING)?.1)
        });
        self.set(&LOADING_RATE_LEAD, values, rate);
        let along = |course: Maybe<&Course>| course.and_then(|c| self.weighed(&c.along));
        let toward = |curve: Maybe<Curve>| Ok(self.peak(&curve, DOWN)?.1);
        self.set(&LATERAL_FORCE_PEAK_BOTH, values, toward(along(self.both())));
        self.set(
            &LATERAL_FORCE_PEAK_TRAIL,
            values,
            toward(along(self.foot(1))),
        );
        let away = toward(along(self.foot(0)).map(|c| turned(&c))).map(|v| -v);
        self.set(&LATERAL_FORCE_PEAK_LEAD, values, away);
        let couple = self.couple();
        let couple = self.peak(&couple, SWING).map(|p| p.1);
        self.set(&FORE_AFT_COUPLE_PEAK, values, couple);
    }

    /// What is read of both feet together.
    fn of_both(&self, values: &mut Values) {
        let up = self.both().and_then(|b| self.weighed(&b.up));
        let least = self.peak(&up.map(|u| turned(&u)), SWING).map(|p| -p.1);
        self.set(&UNWEIGHTING_MIN, values, least);
        let torque = self.both().and_then(|b| self.placed(&b.torque)).cloned();
        let torque = self.peak(&torque, SWING);
        self.set(
            &GROUND_TORQUE_VERTICAL_PEAK,
            values,
            torque.clone().map(|p| p.1),
        );
        let time = self.before_impact(&torque.map(|p| p.0));
        self.set(&GROUND_TORQUE_VERTICAL_PEAK_TIME, values, time);
        let share = self.lead_share();
        self.each(&COP_LEAD_SHARE, values, |event| self.at(&share, event));
        let way = self.both().and_then(|both| {
            let center = self.placed(&both.center)?;
            let way = self.grid()?.way(center, self.span(SWING)?, STEP_S);
            way.ok_or_else(|| nothing_between(SWING))
        });
        self.set(&COP_PATH_LENGTH, values, way);
        let impulse = self.both().and_then(|both| {
            let span = self.span(DOWN)?;
            let push = self.grid()?.integral(&both.up, span);
            let push = push.ok_or_else(|| nothing_between(DOWN))?;
            Ok(push - self.stance.weight.clone()?.whole * (span[1] - span[0]))
        });
        self.set(&VERTICAL_IMPULSE_DOWN, values, impulse);
    }

    fn foot(&self, side: usize) -> Maybe<&Course> {
        self.feet[side].as_ref().map_err(Clone::clone)
    }

    fn both(&self) -> Maybe<&Course> {
        self.both.as_ref().map_err(Clone::clone)
    }

    fn grid(&self) -> Maybe<&Grid> {
        self.grid.as_ref().map_err(Clone::clone)
    }

    /// As shares of body weight.
    fn weighed(&self, force: &Curve) -> Maybe<Curve> {
        let weight = self.stance.weight.clone()?.person;
        Ok(force.iter().map(|f| f.map(|f| f / weight)).collect())
    }

    /// What rests on centers of pressure, if they are to be believed.
    fn placed<'c, T>(&self, curve: &'c T) -> Maybe<&'c T> {
        match &self.stance.standing.misplaced {
            Some(why) => Err(why.clone()),
            None => Ok(curve),
        }
    }

    /// Couple about the vertical of the feet's forces across the target line, N·m.
    fn couple(&self) -> Maybe<Curve> {
        let (both, feet) = (self.both()?, [self.foot(0)?, self.foot(1)?]);
        let center = self.placed(&both.center)?;
        let at = |i: usize| {
            let Some(common) = center[i] else {
                return both.up[i].map(|_no_load| 0.0);
            };
            // A foot without load has no center of pressure and hardly any force.
            let of = |f: &&Course| {
                let across = f.across[i]?;
                Some(f.center[i].map_or(0.0, |c| -(c.x - common.x) * across))
            };
            feet.iter().map(of).sum()
        };
        Ok((0..center.len()).map(at).collect())
    }

    /// Common center of pressure along the line between the feet: 0 trail, 1 lead.
    fn lead_share(&self) -> Maybe<Curve> {
        let center = self.placed(&self.both()?.center)?;
        let [lead, trail] = self.stance.middles.clone()?.map(|p| p.xz());
        let line = lead - trail;
        if line.norm() < APART_M {
            return Err("both feet stand in one place: check their labels".into());
        }
        let share =
            |p: &Option<Point2<f64>>| Some((((*p)? - trail).dot(&line)) / line.norm_squared());
        Ok(center.iter().map(share).collect())
    }

    fn time(&self, event: Event) -> Maybe<f64> {
        let slot = self.reader.slot(event)?;
        Ok(self.seconds(slot))
    }

    /// Since the window's first slot.
    fn seconds(&self, slot: f64) -> f64 {
        let window = &self.prepared.window;
        window.seconds(slot) - window.seconds(0.0)
    }

    fn span(&self, [from, to]: [Event; 2]) -> Maybe<[f64; 2]> {
        Ok([self.time(from)?, self.time(to)?])
    }

    fn before_impact(&self, time: &Maybe<f64>) -> Maybe<f64> {
        let time = time.clone()?;
        Ok(self.time(Event::Impact)? - time)
    }

    /// 1 backswing, 2 first half of the downswing's time, 3 second half.
    fn phase(&self, t: f64) -> Maybe<f64> {
        let [top, impact] = self.span(DOWN)?;
        Ok(match t {
            t if t < top => 1.0,
            t if t < 0.5 * (top + impact) => 2.0,
            _ => 3.0,
        })
    }

    fn at(&self, curve: &Maybe<Curve>, event: Event) -> Maybe<f64> {
        let (curve, grid) = (curve.as_ref().map_err(Clone::clone)?, self.grid()?);
        let quiet = self.reader.quiet;
        let found = match event {
            Event::Address if quiet.is_empty() => return Err(NO_ADDRESS.to_owned()),
            Event::Address => {
                let [from, to] = [quiet.start, quiet.end - 1].map(|slot| self.seconds(slot as f64));
                grid.mean(curve, [from, (to - FORCES_LEAD_S).max(0.5 * (from + to))])
            }
            _ => grid.at(curve, self.time(event)?),
        };
        found.ok_or_else(|| {
            format!(
                "a force plate sent nothing or bore no load at {}",
                event.words()
            )
        })
    }

    fn peak(&self, curve: &Maybe<Curve>, span: [Event; 2]) -> Maybe<(f64, f64)> {
        let curve = curve.as_ref().map_err(Clone::clone)?;
        let found = self.grid()?.peak(curve, self.span(span)?);
        found.ok_or_else(|| nothing_between(span))
    }

    fn set(&self, family: &Family, values: &mut Values, value: Maybe<f64>) {
        values.set(family, Value::limited(value, self.stance.limited.clone()));
    }

    /// Values at events with their change since address.
    fn each(&self, family: &Family, values: &mut Values, at: impl Fn(Event) -> Maybe<f64>) {
        let address = at(Event::Address).ok();
        values.set_each(family, |event| match at(event) {
            Ok(value) => Value::Measured {
                value,
                change: address
                    .filter(|_| event != Event::Address)
                    .map(|a| value - a),
                limited: self.stance.limited.clone(),
            },
            Err(why) => Value::Missing(why),
        });
    }
}

fn turned(curve: &Curve) -> Curve {
    curve.iter().map(|v| v.map(|v| -v)).collect()
}

fn nothing_between([from, to]: [Event; 2]) -> String {
    format!(
        "a force plate sent nothing or bore no load between {} and {}",
        from.words(),
        to.words()
    )
}

#[cfg(test)]
mod tests;
