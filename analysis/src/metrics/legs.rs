//! Knees and hips: flexion, its change in the backswing and when it begins.

use super::catalogue::{
    Family, HIP_HEIGHT_DIFFERENCE, KNEE_CHANGE_LEAD, KNEE_CHANGE_TRAIL, KNEE_FLEXION_LEAD,
    KNEE_FLEXION_TRAIL, KNEE_ONSET_LEAD, KNEE_ONSET_TRAIL, KNEE_RATIO_LEAD,
};
use super::values::{Reader, Value, Values};
use crate::body::segments::{Maybe, Series, both};
use crate::measure::Prepared;
use crate::swing::event::Event;

/// Share of a knee's change that counts as its onset.
const ONSET: f64 = 0.10;
/// A change below this has no onset, rad.
const CHANGE_MIN: f64 = 0.035;
/// An address flexion below this gives no ratio, rad; below the second one it is judged in degrees.
const RATIO_MIN: f64 = 0.05;
const RATIO_SOUND: f64 = 0.175;

pub(super) fn measure(prepared: &Prepared, reader: Reader<'_>, values: &mut Values) {
    let families: [[&Family; 3]; 2] = [
        [&KNEE_FLEXION_LEAD, &KNEE_CHANGE_LEAD, &KNEE_ONSET_LEAD],
        [&KNEE_FLEXION_TRAIL, &KNEE_CHANGE_TRAIL, &KNEE_ONSET_TRAIL],
    ];
    let flexions = [0, 1].map(|side| flexion(prepared, side));
    for (flexion, [at, change, onset]) in flexions.iter().zip(families) {
        let limited = flexion.as_ref().ok().and_then(|s| s.limited.clone());
        values.set_each(at, |event| reader.absolute(flexion, event));
        values.set_each(change, |event| reader.change(flexion, event));
        let share = flexion.clone().and_then(|s| share_at_onset(&s, reader));
        values.set(onset, Value::limited(share, limited));
    }
    values.set_each(&KNEE_RATIO_LEAD, |event| ratio(&flexions[0], reader, event));
    let height = height_difference(prepared);
    values.set_each(&HIP_HEIGHT_DIFFERENCE, |event| {
        reader.absolute(&height, event).without_change()
    });
}

/// Flexion of the lead (0) or trail (1) knee over the window.
pub(super) fn flexion(prepared: &Prepared, side: usize) -> Maybe<Series> {
    let leg = prepared.skeleton.legs[side].as_ref();
    leg.map(|l| l.flexion.clone()).map_err(Clone::clone)
}

/// Share of the backswing's time gone when the knee has done a tenth of its change.
fn share_at_onset(flexion: &Series, reader: Reader<'_>) -> Maybe<f64> {
    let address = reader.at(flexion, Event::Address)?;
    let change = reader.at(flexion, Event::Top)? - address;
    if change.abs() < CHANGE_MIN {
        return Err("the knee hardly moves in the backswing: there is no start to time".to_owned());
    }
    let place = |event| Ok::<f64, String>(flexion.grid.place(reader.slot(event)?));
    let (start, top) = (place(Event::TakeawayStart)?, place(Event::Top)?);
    let done = |i: usize| (flexion.values[i] - address) / change - ONSET;
    let places = start.ceil() as usize..=top.floor() as usize;
    if !flexion.all_known(places.clone()) {
        return Err("a marker it needs was hidden in the backswing".to_owned());
    }
    let first = places.into_iter().find(|&i| done(i) >= 0.0);
    let first = first.ok_or("the knee changes only at the very top")?;
    let (before, after) = (done(first.saturating_sub(1)), done(first));
    let part = if after > before {
        after / (after - before)
    } else {
        0.0
    };
    let place = (first as f64 - part.clamp(0.0, 1.0)).max(start);
    Ok((place - start) / (top - start).max(1e-9))
}

fn ratio(flexion: &Maybe<Series>, reader: Reader<'_>, event: Event) -> Value {
    let series = match flexion {
        Ok(series) => series,
        Err(reason) => return Value::Missing(reason.clone()),
    };
    let both = reader
        .at(series, Event::Address)
        .and_then(|address| Ok((address, reader.at(series, event)?)));
    match both {
        Ok((address, _)) if address < RATIO_MIN => Value::Missing(
            "the knee is straight at address: read its change in degrees instead".into(),
        ),
        Ok((address, then)) => {
            let small = (address < RATIO_SOUND).then(|| {
                "knee under 10° at address: read its change in degrees instead".to_owned()
            });
            let limits: Vec<String> = series.limited.clone().into_iter().chain(small).collect();
            Value::Measured {
                value: then / address,
                change: None,
                limited: (!limits.is_empty()).then(|| limits.join("; ")),
            }
        }
        Err(reason) => Value::Missing(reason),
    }
}

fn height_difference(prepared: &Prepared) -> Maybe<Series> {
    let [lead, trail] = prepared.skeleton.hips.as_ref().map_err(Clone::clone)?;
    Ok(Series {
        values: lead
            .points
            .iter()
            .zip(&trail.points)
            .map(|(l, t)| t.y - l.y)
            .collect(),
        grid: lead.grid,
        known: both(&lead.known, &trail.known),
        limited: lead.limited.clone(),
    })
}
