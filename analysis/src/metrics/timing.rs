//! Durations, their ratio, and how long before the club the body turns back.

use super::catalogue::{
    BACKSWING_TIME, DOWNSWING_TIME, REVERSAL_LEAD_LEAD_ARM, REVERSAL_LEAD_PELVIS,
    REVERSAL_LEAD_THORAX, TEMPO_RATIO,
};
use super::rotations::Rotations;
use super::values::{Reader, Value, Values};
use crate::body::segments::{Maybe, Series, lead_arm, unwrapped};
use crate::measure::Prepared;
use crate::swing::event::Event;
use crate::swing::series;

pub(super) fn measure(
    prepared: &Prepared,
    rotations: &Rotations,
    reader: Reader<'_>,
    values: &mut Values,
) {
    let time = |event| reader.slot(event).map(|slot| prepared.window.seconds(slot));
    let between = |a, b| Ok::<f64, String>(time(b)? - time(a)?);
    let back = between(Event::TakeawayStart, Event::Top);
    let down = between(Event::Top, Event::Impact);
    values.set(
        &TEMPO_RATIO,
        back.clone().and_then(|b| down.clone().map(|d| b / d)),
    );
    values.set(&BACKSWING_TIME, back);
    values.set(&DOWNSWING_TIME, down);
    let turn = |rotation: Maybe<Series>| lead(prepared, reader, rotation);
    values.set(&REVERSAL_LEAD_PELVIS, turn(rotations.pelvis.clone()));
    values.set(&REVERSAL_LEAD_THORAX, turn(rotations.thorax.clone()));
    values.set(&REVERSAL_LEAD_LEAD_ARM, turn(lead_arm_angle(prepared)));
}

/// Time by which a rotation is at its most closed before the club's top, seconds. Looked for
/// between takeaway end and lead arm or shaft level coming down.
fn lead(prepared: &Prepared, reader: Reader<'_>, rotation: Maybe<Series>) -> Value {
    let found = rotation.and_then(|rotation| {
        let place = |event| Ok::<f64, String>(rotation.grid.place(reader.slot(event)?));
        let (from, to) = (place(Event::TakeawayEnd)?, place(Event::ShaftLevelDown)?);
        let closed: Vec<f64> = rotation.values.iter().map(|v| -v).collect();
        let (place, _) =
            series::peak(&closed, from as usize, to as usize).ok_or("the swing is too short")?;
        let around =
            (place as usize).saturating_sub(1)..=(place as usize + 1).min(closed.len() - 1);
        if !rotation.all_known(around) {
            return Err("a marker it needs was hidden where it turns back".to_owned());
        }
        let top = reader.slot(Event::Top)?;
        let value =
            prepared.window.seconds(top) - prepared.window.seconds(rotation.grid.slot(place));
        Ok(Value::Measured {
            value,
            change: None,
            limited: rotation.limited,
        })
    });
    found.unwrap_or_else(Value::Missing)
}

/// Angle of the lead arm about the downswing plane's normal, rad, growing in the downswing.
fn lead_arm_angle(prepared: &Prepared) -> Maybe<Series> {
    let arm = lead_arm(&prepared.body)?;
    let normal = prepared.swing.normal;
    let down = -nalgebra::Vector3::y();
    let (a, b) = match (down - normal * down.dot(&normal)).try_normalize(1e-6) {
        Some(a) => (a, normal.cross(&a)),
        None => return Err("the downswing's plane is level".to_owned()),
    };
    let angle = |p: &nalgebra::Point3<f64>| p.coords.dot(&b).atan2(p.coords.dot(&a));
    let values = unwrapped(arm.points.iter().map(angle));
    Ok(Series {
        values,
        grid: arm.grid,
        known: arm.known,
        limited: arm.limited,
    })
}
