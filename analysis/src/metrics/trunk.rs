//! Axial rotation of pelvis, thorax and shoulder line, and what lies between them.

use super::catalogue::{
    PELVIS_ROTATION, SEPARATION, SEPARATION_PEAK, SEPARATION_PEAK_TIME, SHOULDER_LINE_ROTATION,
    THORAX_ROTATION,
};
use super::values::{Reader, Value, Values};
use crate::body::segments::{
    Maybe, Series, both, pelvis_rotation, shoulder_line_rotation, thorax_rotation,
};
use crate::measure::Prepared;
use crate::swing::event::Event;
use crate::swing::series;

/// Farther from square at address than anybody stands, rad.
const FACING_AWAY: f64 = 1.9;
const SHOULDER_LINE: &str = "shoulder line instead of the thorax, which is not marked: too closed by about 16 deg at the top (Wheat 2007)";

pub(super) fn measure(prepared: &Prepared, reader: Reader<'_>, values: &mut Values) {
    let facing = |rotation| facing_the_ball(rotation, reader);
    let pelvis = facing(pelvis_rotation(&prepared.body));
    let thorax = facing(thorax_rotation(&prepared.body));
    let shoulders = facing(shoulder_line_rotation(&prepared.body));
    values.set_each(&PELVIS_ROTATION, |event| reader.absolute(&pelvis, event));
    values.set_each(&THORAX_ROTATION, |event| reader.absolute(&thorax, event));
    values.set_each(&SHOULDER_LINE_ROTATION, |event| {
        reader.absolute(&shoulders, event)
    });
    let separation = separation(pelvis, thorax, shoulders);
    values.set_each(&SEPARATION, |event| reader.absolute(&separation, event));
    let peak = separation
        .and_then(|s| peak(prepared, reader, &s).map(|(slot, value)| (slot, value, s.limited)));
    let (value, time) = match peak {
        Ok((slot, value, limited)) => (
            Value::Measured {
                value,
                change: None,
                limited: limited.clone(),
            },
            reader
                .slot(Event::Top)
                .map_or_else(Value::Missing, |top| Value::Measured {
                    value: prepared.window.seconds(slot) - prepared.window.seconds(top),
                    change: None,
                    limited,
                }),
        ),
        Err(reason) => (Value::Missing(reason.clone()), Value::Missing(reason)),
    };
    values.set(&SEPARATION_PEAK, value);
    values.set(&SEPARATION_PEAK_TIME, time);
}

/// A body that faces away from the ball at address is no body but exchanged labels or mirrored axes.
fn facing_the_ball(rotation: Maybe<Series>, reader: Reader<'_>) -> Maybe<Series> {
    let rotation = rotation?;
    match reader.at(&rotation, Event::Address) {
        Ok(turned) if turned.abs() > FACING_AWAY => Err(format!(
            "turned by {:.0} deg at address: left and right labels exchanged, axes mirrored, or the wrong side told?",
            turned.to_degrees()
        )),
        _ => Ok(rotation),
    }
}

fn separation(
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
        known: both(&pelvis.known, &upper.known),
        limited: (!limits.is_empty()).then(|| limits.join("; ")),
    })
}

fn peak(prepared: &Prepared, reader: Reader<'_>, separation: &Series) -> Maybe<(f64, f64)> {
    let (start, end) = (
        reader.slot(Event::TakeawayStart)?,
        reader.slot(Event::Impact)?,
    );
    let (start, end) = (start.ceil() as usize, end.floor() as usize);
    let unknown = (start..=end).filter(|&i| !separation.known[i]).count();
    if unknown * 20 > end.saturating_sub(start) {
        let share = 100 * unknown / (end - start).max(1);
        return Err(format!(
            "a marker it needs was hidden in {share} % of the swing ({:.0} Hz)",
            prepared.window.rate_hz
        ));
    }
    series::peak(&separation.values, start, end).ok_or_else(|| "the swing is too short".to_owned())
}
