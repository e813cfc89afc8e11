//! How the club stands: the shaft's lean, its angle to the lead forearm, where the face points.

use super::catalogue::{FACE_DIRECTION, HINGE, HINGE_RELEASE_START, SHAFT_LEAN};
use super::forearm::{Line, lead_forearm};
use super::humps;
use super::speeds::{enough_frames, few_frames};
use super::values::{Reader, Value, Values, limits, measured};
use crate::body::segments::{Maybe, Series, both};
use crate::measure::Prepared;
use crate::signal::local_fit;
use crate::signal::lowpass::DualPass;
use crate::swing::event::Event;
use crate::swing::impact::CLOSE_FRAMES;

/// Span of an angle of the club before impact that is fitted, seconds, and its fewest frames.
const FIT_S: f64 = 0.030;
const FIT_FRAMES_MIN: usize = 7;
/// Low-pass for the hinge angle before impact, Hz, where its largest value is looked for.
const HINGE_HZ: f64 = 20.0;

pub(super) fn measure(prepared: &Prepared, reader: Reader<'_>, values: &mut Values) {
    let few = few_frames(prepared.paths.rate_hz);
    let grip = &prepared.grip_limited;
    let lean = lean(prepared);
    let at = |series: &Maybe<Series>, event: Event| match (series, event) {
        (Ok(series), Event::Impact) => before_impact(prepared, series),
        (Ok(series), _) => reader.at(series, event),
        (Err(reason), _) => Err(reason.clone()),
    };
    let at_ends = |series: &Maybe<Series>, limit: &Option<String>, event: Event| {
        let few = few.as_ref().filter(|_| event == Event::Impact).cloned();
        measured(at(series, event), limits(&[&few, limit]))
    };
    values.set_each(&SHAFT_LEAN, |event| at_ends(&lean, grip, event));
    let face = face(prepared);
    values.set_each(&FACE_DIRECTION, |event| at_ends(&face, &None, event));
    let hinge = hinge(prepared);
    values.set_each(&HINGE, |event| {
        if event != Event::Impact {
            return reader.absolute(&hinge, event);
        }
        let limit = hinge.as_ref().ok().and_then(|h| h.limited.clone());
        let Ok(value) = at(&hinge, event) else {
            return measured(at(&hinge, event), None);
        };
        Value::Measured {
            value,
            change: at(&hinge, Event::Address).ok().map(|a| value - a),
            limited: limits(&[&few, &limit]),
        }
    });
    let limit = hinge.as_ref().ok().and_then(|h| h.limited.clone());
    let release = hinge.and_then(|h| release(prepared, reader, &h));
    values.set(&HINGE_RELEASE_START, measured(release, limit));
}

/// A series of the club right before impact, fitted on this side of the collision.
fn before_impact(prepared: &Prepared, series: &Series) -> Maybe<f64> {
    let (impact, rate_hz) = (&prepared.swing.impact, prepared.paths.rate_hz);
    enough_frames(rate_hz)?;
    let frames = ((FIT_S * rate_hz).round() as usize).max(FIT_FRAMES_MIN);
    let first = (impact.before + 1).saturating_sub(frames);
    let samples: Vec<(f64, f64)> = (first..=impact.before)
        .filter(|&i| series.known[i])
        .map(|i| (i as f64, series.values[i]))
        .collect();
    let hidden = || "a marker it needs was hidden right before impact".to_owned();
    if samples
        .last()
        .is_none_or(|(slot, _)| impact.slot - slot > CLOSE_FRAMES)
    {
        return Err(hidden());
    }
    let fit = local_fit::polynomial(&samples, 3, impact.slot).ok_or_else(hidden)?;
    Ok(local_fit::value(&fit, 0.0))
}

/// Lean of the shaft seen face on, rad, positive with the grip nearer to the target.
fn lean(prepared: &Prepared) -> Maybe<Series> {
    let axis = prepared.paths.axis.iter();
    Ok(Series {
        values: axis.map(|u| (-u.x).atan2(-u.y)).collect(),
        known: prepared.paths.axis_known.clone(),
        limited: None,
    })
}

/// Heading of the horizontal normal of the heel-toe line, rad, positive open.
fn face(prepared: &Prepared) -> Maybe<Series> {
    if prepared.toe.iter().all(Option::is_none) {
        return Err(
            "needs three head markers: club_head_heel, club_head_toe, club_head_back".to_owned(),
        );
    }
    let heading = |u: &Option<nalgebra::Vector3<f64>>| u.map_or(0.0, |u| (-u.x).atan2(u.z));
    let known = prepared.toe.iter().map(Option::is_some);
    Ok(Series {
        values: prepared.toe.iter().map(heading).collect(),
        known: known.collect(),
        limited: None,
    })
}

/// Angle between lead forearm and shaft, rad.
fn hinge(prepared: &Prepared) -> Maybe<Series> {
    let Line {
        directions,
        known,
        limited,
    } = lead_forearm(&prepared.body)?;
    let pairs = directions.iter().zip(&prepared.paths.axis);
    Ok(Series {
        values: pairs.map(|(arm, shaft)| arm.angle(shaft)).collect(),
        known: both(&known, &prepared.paths.axis_known),
        limited: limits(&[&limited, &prepared.grip_limited]),
    })
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
    let filter = DualPass::butterworth(rate_hz, HINGE_HZ);
    let smooth = filter.run(&hinge.values[..=before], (0.1 * rate_hz) as usize);
    let samples: Vec<(f64, f64)> = (first..=before)
        .map(|i| ((impact - i as f64) / -rate_hz, smooth[i]))
        .collect();
    let hump = humps::highest(&samples).ok_or("the swing is too short")?;
    Ok(-hump.time_s)
}
