//! Pelvis, thorax and shoulder line: axial rotation, inclinations, and what lies between them.

use nalgebra::Vector3;

use super::catalogue::{
    INCLINATION_CHANGE, PELVIS_ANTERIOR_TILT, PELVIS_OBLIQUITY, PELVIS_ROTATION, SEPARATION,
    SEPARATION_CLOSED_AT_IMPACT, SEPARATION_PEAK, SEPARATION_PEAK_TIME, SHOULDER_LINE_ROTATION,
    THORAX_INCLINATION, THORAX_ROTATION, THORAX_SIDE_INCLINATION,
};
use super::rotations::{Rotations, of_segment};
use super::values::{Reader, Value, Values};
use crate::body::segments::{Maybe, Series, both};
use crate::measure::Prepared;
use crate::swing::event::Event;
use crate::swing::series;

const SHOULDER_LINE: &str = "shoulder line: mark chest and back instead; it is about 16° too closed at the top (Wheat 2007)";
/// A peak below this says nothing about how much of it is gone later, rad.
const PEAK_MIN: f64 = 0.09;

pub(super) fn measure(
    prepared: &Prepared,
    rotations: &Rotations,
    reader: Reader<'_>,
    values: &mut Values,
) {
    let Rotations {
        pelvis,
        thorax,
        shoulders,
    } = rotations;
    values.set_each(&PELVIS_ROTATION, |event| reader.absolute(pelvis, event));
    values.set_each(&THORAX_ROTATION, |event| reader.absolute(thorax, event));
    values.set_each(&SHOULDER_LINE_ROTATION, |event| {
        reader.absolute(shoulders, event)
    });
    inclinations(prepared, reader, values);
    let separation = separation(pelvis.clone(), thorax.clone(), shoulders.clone());
    values.set_each(&SEPARATION, |event| reader.absolute(&separation, event));
    let peak = separation.clone().and_then(|s| peak(prepared, reader, &s));
    let limited = separation.as_ref().ok().and_then(|s| s.limited.clone());
    let value = |v: Maybe<f64>| Value::limited(v, limited.clone());
    values.set(&SEPARATION_PEAK, value(peak.clone().map(|p| p.1)));
    let time = |slot| prepared.window.seconds(slot);
    let after_top = peak
        .clone()
        .and_then(|p| Ok(time(p.0) - time(reader.slot(Event::Top)?)));
    values.set(&SEPARATION_PEAK_TIME, value(after_top));
    let closed = peak.and_then(|(_, peak)| {
        if peak < PEAK_MIN {
            return Err("pelvis and thorax were never apart: there is nothing to close".to_owned());
        }
        Ok(1.0 - reader.at(separation.as_ref().map_err(Clone::clone)?, Event::Impact)? / peak)
    });
    values.set(&SEPARATION_CLOSED_AT_IMPACT, value(closed));
}

/// Angles against the vertical. Of the pelvis in the order rotation, obliquity, tilt (Baker 2001); of
/// the thorax by its long axis, in the bay's planes: a body axis would vanish in a good rotation.
fn inclinations(prepared: &Prepared, reader: Reader<'_>, values: &mut Values) {
    let skeleton = &prepared.skeleton;
    let obliquity = of_segment(&skeleton.pelvis, obliquity);
    let tilt = of_segment(&skeleton.pelvis, tilt);
    let forward = of_segment(&skeleton.thorax, forward);
    let side = of_segment(&skeleton.thorax, side);
    for (family, series) in [
        (&PELVIS_OBLIQUITY, &obliquity),
        (&PELVIS_ANTERIOR_TILT, &tilt),
        (&THORAX_INCLINATION, &forward),
        (&THORAX_SIDE_INCLINATION, &side),
    ] {
        values.set_each(family, |event| reader.absolute(series, event));
    }
    values.set_each(&INCLINATION_CHANGE, |event| reader.change(&forward, event));
}

/// An angle from a segment's axes (forward, up, right), rad.
pub(super) type Angle = fn(&[Vector3<f64>; 3]) -> f64;

pub(super) fn obliquity([_, _, right]: &[Vector3<f64>; 3]) -> f64 {
    right.y.clamp(-1.0, 1.0).asin()
}

pub(super) fn tilt([forward, up, _]: &[Vector3<f64>; 3]) -> f64 {
    (-forward.y).atan2(up.y)
}

pub(super) fn forward([_, up, _]: &[Vector3<f64>; 3]) -> f64 {
    up.z.atan2(up.y)
}

pub(super) fn side([_, up, _]: &[Vector3<f64>; 3]) -> f64 {
    (-up.x).atan2(up.y)
}

pub(super) fn separation(
    pelvis: Maybe<Series>,
    thorax: Maybe<Series>,
    shoulders: Maybe<Series>,
) -> Maybe<Series> {
    let pelvis = pelvis?;
    let (upper, stand_in) = match (thorax, shoulders) {
        (Ok(thorax), _) => (thorax, None),
        (Err(_), Ok(shoulders)) => (shoulders, Some(SHOULDER_LINE.to_owned())),
        (Err(reason), Err(_)) => return Err(reason),
    };
    let limits: Vec<String> = [pelvis.limited, upper.limited, stand_in]
        .into_iter()
        .flatten()
        .collect();
    Ok(Series {
        values: pelvis
            .values
            .iter()
            .zip(&upper.values)
            .map(|(p, u)| p - u)
            .collect(),
        grid: pelvis.grid,
        known: both(&pelvis.known, &upper.known),
        limited: (!limits.is_empty()).then(|| limits.join("; ")),
    })
}

fn peak(prepared: &Prepared, reader: Reader<'_>, separation: &Series) -> Maybe<(f64, f64)> {
    let grid = separation.grid;
    let start = grid.place(reader.slot(Event::TakeawayStart)?).ceil() as usize;
    let end = grid.place(reader.slot(Event::Impact)?).floor() as usize;
    let known = |i: &usize| separation.known.get(*i) == Some(&true);
    let unknown = (start..=end).filter(|i| !known(i)).count();
    if unknown * 20 > end.saturating_sub(start) {
        let share = 100 * unknown / (end - start).max(1);
        return Err(format!(
            "a marker it needs was hidden in {share} % of the swing ({:.0} Hz)",
            prepared.window.rate_hz
        ));
    }
    let peak = series::peak(&separation.values, start, end);
    let peak = peak.ok_or_else(|| "the swing is too short".to_owned())?;
    Ok((grid.slot(peak.0), peak.1))
}
