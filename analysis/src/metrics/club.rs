//! How the club stands: the shaft's lean, its angle to the lead forearm, where the face points.

use super::catalogue::{FACE_DIRECTION, HINGE, HINGE_RELEASE_START, SHAFT_LEAN};
use super::humps;
use super::speeds::{enough_frames, few_frames};
use super::values::{Reader, Value, Values, limits, measured};
use std::ops::Range;

use crate::body::arm::{Arm, arm};
use crate::body::grid::Grid;
use crate::body::segments::{Maybe, Series, both};
use crate::body::tracks::Smoothed;
use crate::club::Toe;
use crate::measure::Prepared;
use crate::signal::lowpass::DualPass;
use crate::signal::turning;
use crate::swing::event::Event;
use crate::swing::impact::CLOSE_FRAMES;
use nalgebra::Vector3;

/// Span of a direction of the club before impact that is fitted, seconds, and the degree: the
/// heel-toe line is short and noisy.
const SHAFT_FIT: (f64, usize) = (0.060, 3);
const FACE_FIT: (f64, usize) = (0.030, 2);
const FOREARM_FIT: (f64, usize) = (0.060, 3);
const FIT_FRAMES_MIN: usize = 7;
/// Samples that reach this share of the hinge angle's rise decide where it is largest: its hump is
/// broad and lopsided.
const SURROUNDINGS: f64 = 0.995;
/// Low-pass for the hinge angle before impact, Hz, where its largest value is looked for.
const HINGE_HZ: f64 = 20.0;

pub(super) fn measure(prepared: &Prepared, reader: Reader<'_>, values: &mut Values) {
    let few = few_frames(prepared.paths.rate_hz);
    let at_impact = |event: Event| few.clone().filter(|_| event == Event::Impact);
    let paths = &prepared.paths;
    let shaft = before_impact(prepared, of(&paths.axis, &paths.axis_known), SHAFT_FIT);
    let grip = &prepared.grip_limited;
    // Asked for at address and impact only.
    let quiet = |i: usize| reader.quiet.contains(&i);
    let leans = paths.axis.iter().enumerate();
    let leans = leans.map(|(i, u)| if quiet(i) { lean(u) } else { 0.0 });
    let leans = series(leans, &paths.axis_known);
    values.set_each(&SHAFT_LEAN, |event| {
        let value = match event {
            Event::Impact => shaft.clone().map(|u| lean(&u)),
            _ => reader.at(&leans, event),
        };
        measured(value, limits(&[&at_impact(event), grip]))
    });
    let facing = prepared
        .toe
        .as_ref()
        .ok_or_else(|| THREE_MARKERS.to_owned());
    values.set_each(&FACE_DIRECTION, |event| {
        let toe = facing.as_ref().map_err(String::clone);
        let value = toe.and_then(|toe| face(prepared, reader, (toe, event)));
        measured(value, at_impact(event))
    });
    hinges(prepared, reader, &shaft, values);
}

const THREE_MARKERS: &str = "not marked: club_head_heel, club_head_toe, club_head_back";

/// The hinge over the window; right before impact the metric is read more sharply.
pub(super) fn hinge_course(prepared: &Prepared) -> Maybe<Series> {
    let forearm = prepared.skeleton.arms[0].as_ref();
    forearm.map_err(Clone::clone).map(|f| hinge(prepared, f))
}

fn hinges(
    prepared: &Prepared,
    reader: Reader<'_>,
    shaft: &Maybe<Vector3<f64>>,
    values: &mut Values,
) {
    let forearm = &prepared.skeleton.arms[0];
    let hinge = forearm
        .as_ref()
        .map_err(Clone::clone)
        .map(|f| hinge(prepared, f));
    let limit = hinge.as_ref().ok().and_then(|h| h.limited.clone());
    let few = few_frames(prepared.paths.rate_hz);
    values.set_each(&HINGE, |event| {
        if event != Event::Impact {
            return reader.absolute(&hinge, event);
        }
        let value = forearm.as_ref().map_err(Clone::clone).and_then(|_| {
            let of = |slots| raw_forearm(prepared, slots);
            let arm = before_impact(prepared, of, FOREARM_FIT)?;
            Ok(arm.angle(shaft.as_ref().map_err(Clone::clone)?))
        });
        let address = hinge.as_ref().ok().map(|h| reader.at(h, Event::Address));
        match value {
            Ok(value) => Value::Measured {
                value,
                change: address.and_then(Result::ok).map(|a| value - a),
                limited: limits(&[&few, &limit]),
            },
            Err(reason) => Value::Missing(reason),
        }
    });
    let release = hinge.and_then(|h| release(prepared, reader, &h));
    values.set(&HINGE_RELEASE_START, measured(release, limit));
}

/// The lead forearm from the tracks themselves: the body's low-pass would look across the collision.
fn raw_forearm(prepared: &Prepared, slots: Range<usize>) -> Maybe<Directions> {
    let part = prepared.window.part(slots);
    let raw = Smoothed::unfiltered(&part, &prepared.approximate);
    let arm = arm(&raw, &prepared.calibration, 0)?;
    Ok((arm.forearm(), arm.known))
}

fn series(values: impl Iterator<Item = f64>, known: &[bool]) -> Series {
    Series {
        values: values.collect(),
        grid: Grid::EVERY,
        known: known.to_vec(),
        limited: None,
    }
}

/// Some slots of a series of directions.
fn of<'a>(
    directions: &'a [Vector3<f64>],
    known: &'a [bool],
) -> impl FnOnce(Range<usize>) -> Maybe<Directions> + 'a {
    |slots| Ok((directions[slots.clone()].to_vec(), known[slots].to_vec()))
}

/// Directions with whether they are known, one a slot.
type Directions = (Vec<Vector3<f64>>, Vec<bool>);

/// A direction right before impact, fitted on this side of the collision; `of` gives it in slots.
fn before_impact(
    prepared: &Prepared,
    of: impl FnOnce(Range<usize>) -> Maybe<Directions>,
    (span_s, degree): (f64, usize),
) -> Maybe<Vector3<f64>> {
    let (impact, rate_hz) = (&prepared.swing.impact, prepared.paths.rate_hz);
    enough_frames(rate_hz)?;
    let frames = ((prepared.reading.span(span_s) * rate_hz).round() as usize).max(FIT_FRAMES_MIN);
    let first = (impact.before + 1).saturating_sub(frames);
    let (directions, known) = of(first..impact.before + 1)?;
    let samples: Vec<_> = (first..)
        .zip(directions.into_iter().zip(known))
        .filter(|(_, (_, known))| *known)
        .map(|(i, (direction, _))| (i as f64, direction))
        .collect();
    let hidden = || "a marker it needs was hidden right before impact".to_owned();
    let close = |s: &(f64, Vector3<f64>)| impact.slot - s.0 <= CLOSE_FRAMES;
    if !samples.last().is_some_and(close) || samples.len() * 3 < frames * 2 {
        return Err(hidden());
    }
    let seconds: Vec<_> = samples.iter().map(|s| (s.0 / rate_hz, s.1)).collect();
    let at_s = impact.slot / rate_hz;
    let fit = turning::Fit::direction(&seconds, degree, at_s).ok_or_else(hidden)?;
    Ok(fit.state(at_s).value)
}

/// Lean of the shaft seen face on, rad, positive with the grip nearer to the target.
fn lean(axis: &Vector3<f64>) -> f64 {
    (-axis.x).atan2(-axis.y)
}

/// Heading of the horizontal normal of the heel-toe line, rad, positive open.
fn facing(toe: &Vector3<f64>) -> f64 {
    (-toe.x).atan2(toe.z)
}

/// Where the face points at an event: only there the head's markers are placed.
fn face(prepared: &Prepared, reader: Reader<'_>, (toe, event): (&Toe, Event)) -> Maybe<f64> {
    let window = &prepared.window;
    if event == Event::Impact {
        let of = |slots| {
            let toes = toe.within(window, slots).into_iter();
            Ok(toes.map(|u| (u.unwrap_or_default(), u.is_some())).unzip())
        };
        return before_impact(prepared, of, FACE_FIT).map(|u| facing(&u));
    }
    let slots = match event {
        Event::Address => reader.quiet.clone(),
        _ => {
            let slot = reader.slot(event)?.max(0.0) as usize;
            slot..(slot + 2).min(window.len())
        }
    };
    let (mut values, mut known) = (vec![0.0; window.len()], vec![false; window.len()]);
    for (i, toe) in slots.clone().zip(toe.within(window, slots)) {
        known[i] = toe.is_some();
        values[i] = facing(&toe.unwrap_or_default());
    }
    reader.at(&series(values.into_iter(), &known), event)
}

/// Angle between lead forearm and shaft, rad.
fn hinge(prepared: &Prepared, forearm: &Arm) -> Series {
    let (grid, axis) = (prepared.body.grid, &prepared.paths.axis);
    let directions = grid.spread(&forearm.forearm(), axis.len());
    let known = grid.spread_known(&forearm.known, axis.len());
    let pairs = directions.iter().zip(axis);
    Series {
        values: pairs.map(|(arm, shaft)| arm.angle(shaft)).collect(),
        grid: Grid::EVERY,
        known: both(&known, &prepared.paths.axis_known),
        limited: limits(&[&forearm.limited, &prepared.grip_limited]),
    }
}

/// How long before impact the hinge angle is largest after the top, seconds.
fn release(prepared: &Prepared, reader: Reader<'_>, hinge: &Series) -> Maybe<f64> {
    let (top, impact) = (reader.slot(Event::Top)?, reader.slot(Event::Impact)?);
    let rate_hz = prepared.paths.rate_hz;
    let before = prepared.swing.impact.before;
    let first = top.max(0.0).ceil() as usize;
    let unknown = (first..=before).filter(|&i| !hinge.known[i]).count();
    if unknown * 20 > before.saturating_sub(first) {
        return Err("a marker it needs was hidden in the downswing".to_owned());
    }
    let filter = DualPass::butterworth(rate_hz, prepared.reading.cutoff(HINGE_HZ));
    let smooth = filter.run(&hinge.values[..=before], (0.1 * rate_hz) as usize);
    let samples: Vec<(f64, f64)> = (first..=before)
        .map(|i| ((impact - i as f64) / -rate_hz, smooth[i]))
        .collect();
    let hump = humps::highest(&samples, prepared.reading.level(SURROUNDINGS))
        .ok_or("the swing is too short")?;
    Ok(-hump.time_s)
}
