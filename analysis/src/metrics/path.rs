//! Paths of pelvis and head since address: shift (target line), rise (up), depth (ball line), and
//! the pelvis against the heels.

use std::ops::Range;

use nalgebra::{Point3, Vector3};

use super::catalogue::{
    HEAD_RISE, HEAD_SHIFT, PELVIS_DEPTH, PELVIS_HEEL_OFFSET, PELVIS_RISE, PELVIS_SHIFT,
    PELVIS_SHIFT_RANGE_BACKSWING, PELVIS_SHIFT_RANGE_DOWNSWING,
};
use super::values::{Reader, Value, Values, component};
use crate::body::calibration::PELVIS;
use crate::body::segments::{Maybe, Path, Series, head_point, hip_line_middle};
use crate::body::skeleton;
use crate::landmark::Landmark as L;
use crate::measure::Prepared;
use crate::swing::event::Event;

const X: usize = 0;
const Y: usize = 1;
const Z: usize = 2;

pub(super) fn measure(prepared: &Prepared, reader: Reader<'_>, values: &mut Values) {
    let pelvis = pelvis_point(prepared);
    let head = head_point(&prepared.body);
    for (family, path, axis) in [
        (&PELVIS_SHIFT, &pelvis, X),
        (&PELVIS_RISE, &pelvis, Y),
        (&PELVIS_DEPTH, &pelvis, Z),
        (&HEAD_SHIFT, &head, X),
        (&HEAD_RISE, &head, Y),
    ] {
        let along = path.as_ref().map_err(Clone::clone);
        let along = along.map(|p| component(p, axis));
        values.set_each(family, |event| reader.relative(&along, event));
    }
    let shift = pelvis.map(|p| component(&p, X));
    for (family, from, to) in [
        (
            &PELVIS_SHIFT_RANGE_BACKSWING,
            Event::TakeawayStart,
            Event::Top,
        ),
        (&PELVIS_SHIFT_RANGE_DOWNSWING, Event::Top, Event::Impact),
    ] {
        let extent = shift.clone().and_then(|s| extent(&s, reader, [from, to]));
        let limited = shift.as_ref().ok().and_then(|s| s.limited.clone());
        values.set(family, Value::limited(extent, limited));
    }
    let offset = heel_offset(prepared, reader);
    values.set_each(&PELVIS_HEEL_OFFSET, |event| reader.absolute(&offset, event));
}

/// Midpoint of the hip joint centers, or of two hip points.
pub(super) fn pelvis_point(prepared: &Prepared) -> Maybe<Path> {
    match &prepared.skeleton.hips {
        Ok(hips) => Ok(skeleton::middle(hips)),
        Err(why) => {
            hip_line_middle(&prepared.body).map_err(|_also| format!("{why} (or two hip points)"))
        }
    }
}

/// Largest minus smallest value between two events, their own instants included.
fn extent(series: &Series, reader: Reader<'_>, [from, to]: [Event; 2]) -> Maybe<f64> {
    let ends = [reader.at(series, from)?, reader.at(series, to)?];
    let first = |event| Ok::<_, String>(series.grid.place(reader.slot(event)?).ceil() as usize);
    let places: Range<usize> = first(from)?..first(to)?;
    if !series.all_known(places.clone()) {
        return Err(format!(
            "a marker it needs was hidden between {} and {}",
            from.words(),
            to.words()
        ));
    }
    let all = series.values[places].iter().chain(&ends);
    let (low, high) = all.fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| {
        (l.min(*v), h.max(*v))
    });
    Ok(high - low)
}

/// Rearmost iliac spine behind the vertical plane through both heels as they stood at address,
/// metres, positive away from the ball.
fn heel_offset(prepared: &Prepared, reader: Reader<'_>) -> Maybe<Series> {
    let absent: Vec<&str> = [L::LeftHeel, L::RightHeel]
        .iter()
        .chain(&PELVIS)
        .filter(|l| !prepared.window.has(**l))
        .map(|l| l.name())
        .collect();
    if !absent.is_empty() {
        return Err(format!("not marked: {}", absent.join(", ")));
    }
    let track = |l: L| {
        let track = prepared.body.track(l);
        track.ok_or_else(|| format!("never seen: {}", l.name()))
    };
    let heel = |l: L| {
        let track = track(l)?;
        let quiet = prepared.body.grid.within(reader.quiet);
        let quiet = quiet.filter(|&i| track.known.get(i) == Some(&true));
        let points: Vec<Vector3<f64>> = quiet.map(|i| track.points[i].coords).collect();
        let sum: Vector3<f64> = points.iter().sum();
        match points.len() {
            0 => Err("a heel was hidden at address".to_owned()),
            n => Ok(Point3::from(sum / n as f64)),
        }
    };
    let (lead, trail) = (heel(L::LeftHeel)?, heel(L::RightHeel)?);
    let spines = PELVIS
        .iter()
        .map(|&l| track(l))
        .collect::<Maybe<Vec<_>>>()?;
    let along = lead - trail;
    let behind = Vector3::new(along.z, 0.0, -along.x)
        .try_normalize(1e-3)
        .ok_or("both heel markers stand in one place: check their labels")?;
    let rearmost = |i: usize| {
        let off = spines.iter().map(|t| (t.points[i] - trail).dot(&behind));
        off.fold(f64::NEG_INFINITY, f64::max)
    };
    Ok(Series {
        values: (0..prepared.body.len()).map(rearmost).collect(),
        grid: prepared.body.grid,
        known: (0..prepared.body.len())
            .map(|i| spines.iter().all(|t| t.known[i]))
            .collect(),
        limited: None,
    })
}
