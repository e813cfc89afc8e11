//! The inputs of the rotation budget: how far pelvis, thorax and shoulders turn from the top to
//! impact, how fast, and how the range lies around square. What a golfer can bring through over a
//! block of shots is judged elsewhere.

use super::catalogue::{
    Family, ROTATION_BALANCE_PELVIS, ROTATION_BALANCE_SHOULDERS, ROTATION_BALANCE_THORAX,
    ROTATION_EXCESS_PELVIS, ROTATION_EXCESS_SHOULDERS, ROTATION_EXCESS_THORAX,
    ROTATION_RANGE_DOWN_PELVIS, ROTATION_RANGE_DOWN_SHOULDERS, ROTATION_RANGE_DOWN_THORAX,
    ROTATION_RATE_DOWN_PELVIS, ROTATION_RATE_DOWN_SHOULDERS, ROTATION_RATE_DOWN_THORAX,
};
use super::rotations::Rotations;
use super::values::{Reader, Value, Values};
use crate::body::segments::{Maybe, Series};
use crate::measure::Prepared;
use crate::swing::event::Event;

/// Closed by less than this at the top, a balance means nothing, rad.
const CLOSED_MIN: f64 = 0.17;

pub(super) fn measure(
    prepared: &Prepared,
    rotations: &Rotations,
    reader: Reader<'_>,
    values: &mut Values,
) {
    let time = |event| reader.slot(event).map(|slot| prepared.window.seconds(slot));
    let down = time(Event::Top).and_then(|top| Ok(time(Event::Impact)? - top));
    for (rotation, families) in [
        (
            &rotations.pelvis,
            [
                &ROTATION_RANGE_DOWN_PELVIS,
                &ROTATION_RATE_DOWN_PELVIS,
                &ROTATION_BALANCE_PELVIS,
                &ROTATION_EXCESS_PELVIS,
            ],
        ),
        (
            &rotations.thorax,
            [
                &ROTATION_RANGE_DOWN_THORAX,
                &ROTATION_RATE_DOWN_THORAX,
                &ROTATION_BALANCE_THORAX,
                &ROTATION_EXCESS_THORAX,
            ],
        ),
        (
            &rotations.shoulders,
            [
                &ROTATION_RANGE_DOWN_SHOULDERS,
                &ROTATION_RATE_DOWN_SHOULDERS,
                &ROTATION_BALANCE_SHOULDERS,
                &ROTATION_EXCESS_SHOULDERS,
            ],
        ),
    ] {
        segment(rotation, &down, (reader, families), values);
    }
}

fn segment(
    rotation: &Maybe<Series>,
    down: &Maybe<f64>,
    (reader, [range, rate, balance, excess]): (Reader<'_>, [&Family; 4]),
    values: &mut Values,
) {
    let at = |event| reader.at(rotation.as_ref().map_err(Clone::clone)?, event);
    let ends = at(Event::Top).and_then(|top| Ok((-top, at(Event::Impact)?)));
    let limited = rotation.as_ref().ok().and_then(|s| s.limited.clone());
    let value = |v: Maybe<f64>| Value::limited(v, limited.clone());
    values.set(
        range,
        value(ends.clone().map(|(closed, open)| open + closed)),
    );
    let per_second = ends.clone().and_then(|(closed, open)| {
        let down = down.clone()?;
        Ok((open + closed) / down)
    });
    values.set(rate, value(per_second));
    let balanced = ends.clone().and_then(|(closed, open)| {
        if closed < CLOSED_MIN {
            return Err("hardly closed at the top: read the degrees instead".to_owned());
        }
        Ok(open / closed)
    });
    values.set(balance, value(balanced));
    values.set(excess, value(ends.map(|(closed, open)| closed - open)));
}
