//! Who stands where on the force plates of a swing, how heavy the golfer is, and what keeps the plates
//! from being believed. What they read over time is in `course`.

use std::ops::Range;

use nalgebra::{Point3, Vector3};

use crate::body::inertia::GRAVITY;
use crate::body::segments::Maybe;
use crate::ground::feet::{Carrier, Foot, Standing, standing};
use crate::ground::window::{GroundWindow, PlateWindow};
use crate::ground::wrench::{LOAD_GATE_N, Wrench, total};
use crate::landmark::Landmark as L;
use crate::measure::Prepared;

/// Told and measured weight may differ by this share (clothes, a breath, the noise of standing; common
/// practice, no source).
const WEIGHT_SHARE: f64 = 0.1;
/// Lighter than this nobody swings, kilograms.
const LIGHTEST_KG: f64 = 20.0;
/// Uncertainty of the plates' times from which it is told with every value, seconds.
const CLOCK_S: f64 = 0.005;

/// The golfer on the plates at address.
#[derive(Debug, Clone)]
pub(super) struct Stance {
    /// Who stands where.
    pub(super) standing: Standing,
    /// Middles of the feet (heel and toe marker), lead first, metres.
    pub(super) middles: Maybe<[Point3<f64>; 2]>,
    /// Weight of the golfer alone and with the club, N.
    pub(super) weight: Maybe<Weight>,
    /// What limits every value of the plates, in words.
    pub(super) limited: Option<String>,
}

/// What the golfer weighs, N.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Weight {
    /// Without the club.
    pub(super) person: f64,
    /// With it.
    pub(super) whole: f64,
}

impl Stance {
    /// Of a swing with plates.
    pub(super) fn new(prepared: &Prepared, ground: &GroundWindow) -> Self {
        let quiet = quiet(prepared);
        let means: Vec<Option<(Point3<f64>, Wrench)>> = ground
            .plates
            .iter()
            .map(|p| mean(p, quiet.clone()))
            .collect();
        let carriers: Vec<Carrier> = ground
            .plates
            .iter()
            .zip(&means)
            .map(|(plate, mean)| Carrier {
                surface: plate.surface,
                pressure: mean.and_then(|m| total(&[m], LOAD_GATE_N).center),
                silent: plate.series.is_err(),
            })
            .collect();
        let [lead, trail] = SIDES.map(|side| foot(prepared, side));
        let mut standing = standing(&lead, &trail, &carriers);
        // A foot beside all known plates may stand on one whose place is not known.
        let placeless = ground.plates.iter().find(|p| p.surface.is_none());
        if let Some(why) = placeless.and_then(|p| p.series.as_ref().err()) {
            for on in [&mut standing.lead, &mut standing.trail] {
                *on = on.clone().map_err(|_other| why.clone());
            }
            standing.together = standing.together.map_err(|_other| why.clone());
        }
        let read = standing.together.clone().and_then(|plates| {
            let up = |&n: &usize| {
                ground.plates[n].series.as_ref().map_err(Clone::clone)?;
                let mean = means[n].ok_or("the force plates sent nothing at address")?;
                Ok(mean.1.force.y)
            };
            plates.iter().map(up).sum::<Maybe<f64>>()
        });
        let (weight, odd) = weight(prepared, read);
        let carrying = standing.together.iter().flatten();
        let plates = carrying.map(|&n| &ground.plates[n]);
        Self {
            middles: middles(prepared, [&lead, &trail]),
            limited: limited(plates, &standing, odd),
            weight,
            standing,
        }
    }
}

/// Heel and toe of the lead foot, then of the trail foot (golfer frame: lead is left).
const SIDES: [[L; 2]; 2] = [[L::LeftHeel, L::LeftToe], [L::RightHeel, L::RightToe]];

/// Device times of the quiet stretch at address, nanoseconds; empty where there is none.
fn quiet(prepared: &Prepared) -> Range<i64> {
    let (quiet, times) = (&prepared.swing.quiet, &prepared.window.time_ns);
    let last = quiet.end.saturating_sub(1);
    match (times.get(quiet.start), times.get(last)) {
        (Some(&from), Some(&to)) if !quiet.is_empty() => from..to + 1,
        _ => 0..0,
    }
}

/// Mean reaction of a plate with the point it is about.
fn mean(plate: &PlateWindow, times: Range<i64>) -> Option<(Point3<f64>, Wrench)> {
    let series = plate.series.as_ref().ok()?;
    let first = series.time_ns.partition_point(|t| *t < times.start);
    let last = series.time_ns.partition_point(|t| *t < times.end);
    let known = series.wrenches.get(first..last)?.iter().flatten();
    let (mut sum, mut n) = ([0.0; 6], 0.0);
    for wrench in known {
        sum.iter_mut()
            .zip(wrench.numbers())
            .for_each(|(s, w)| *s += w);
        n += 1.0;
    }
    (n > 0.0)
        .then(|| (plate.surface.map(|s| s.center), sum.map(|s| s / n)))
        .and_then(|(center, numbers)| Some((center?, Wrench::from_numbers(numbers))))
}

/// The markers of a foot at address.
fn foot(prepared: &Prepared, side: [L; 2]) -> Foot {
    let [heel, toe] = side.map(|landmark| {
        let track = prepared.body.track(landmark)?;
        let quiet = prepared.body.grid.within(&prepared.swing.quiet);
        let known = quiet.filter(|&i| track.known.get(i) == Some(&true));
        let (sum, n) = known.fold((Vector3::zeros(), 0.0), |(s, n), i| {
            (s + track.points[i].coords, n + 1.0)
        });
        (n > 0.0).then(|| Point3::from(sum / n))
    });
    Foot {
        heel,
        toe,
        ankle: None,
    }
}

/// Middles of the feet, lead first.
fn middles(prepared: &Prepared, feet: [&Foot; 2]) -> Maybe<[Point3<f64>; 2]> {
    let absent: Vec<&str> = SIDES
        .as_flattened()
        .iter()
        .filter(|l| !prepared.window.has(**l) && prepared.body.track(**l).is_none())
        .map(|l| l.name())
        .collect();
    if !absent.is_empty() {
        return Err(format!("not marked: {}", absent.join(", ")));
    }
    match feet.map(|f| Some(nalgebra::center(&f.heel?, &f.toe?))) {
        [Some(lead), Some(trail)] => Ok([lead, trail]),
        _ => Err("a marker of the feet was hidden at address".to_owned()),
    }
}

/// Weight by the told mass, else by what the plates read at address; and what speaks against it.
fn weight(prepared: &Prepared, read: Maybe<f64>) -> (Maybe<Weight>, Option<String>) {
    let club = prepared.club_mass.mass_kg * GRAVITY;
    let Some(told) = prepared.person.mass_kg.map(|kg| kg * GRAVITY) else {
        let weight = read.and_then(|whole| {
            let weight = Weight {
                person: whole - club,
                whole,
            };
            let kg = weight.person / GRAVITY;
            if kg < LIGHTEST_KG {
                return Err(format!(
                    "the force plates carry only {kg:.0} kg at address: check their units and signs"
                ));
            }
            Ok(weight)
        });
        return (weight, None);
    };
    let weight = Weight {
        person: told,
        whole: told + club,
    };
    let odd = read
        .ok()
        .filter(|read| (read - weight.whole).abs() > WEIGHT_SHARE * weight.whole);
    let odd = odd.map(|read| {
        format!(
            "the force plates read {:.0} kg at address, told are {:.0} kg",
            (read - club) / GRAVITY,
            told / GRAVITY
        )
    });
    (Ok(weight), odd)
}

/// What limits the values of these plates.
fn limited<'a>(
    plates: impl Iterator<Item = &'a PlateWindow> + Clone,
    standing: &Standing,
    odd: Option<String>,
) -> Option<String> {
    let zeroed = |p: &&PlateWindow| p.series.as_ref().is_ok_and(|s| s.zero.is_none());
    let without = plates.clone().filter(zeroed);
    let without = without.map(|p| format!("{} was not seen empty: zero it", p.name));
    let clock_s = plates
        .map(|p| p.alignment.uncertainty_s())
        .fold(0.0, f64::max);
    let clock = (clock_s > CLOCK_S).then(|| {
        format!(
            "the plates' clock is known within {:.0} ms only",
            clock_s * 1e3
        )
    });
    let words: Vec<String> = without
        .chain(clock)
        .chain(standing.weak.clone())
        .chain(standing.misplaced.clone())
        .chain(odd)
        .collect();
    (!words.is_empty()).then(|| words.join("; "))
}
