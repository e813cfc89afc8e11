//! Axial rotations of pelvis, thorax and shoulder line over the window, made once for all groups.

use nalgebra::Vector3;

use super::values::Reader;
use crate::body::segments::{
    Maybe, Series, asis_line_rotation, headings, hip_line_rotation, shoulder_line_rotation,
};
use crate::body::skeleton::Segment;
use crate::measure::Prepared;
use crate::swing::event::Event;

/// Farther from square at address than anybody stands, rad.
const FACING_AWAY: f64 = 1.9;

/// Headings, rad: 0 square, negative closed, positive open, unwrapped.
#[derive(Debug, Clone)]
pub(super) struct Rotations {
    pub(super) pelvis: Maybe<Series>,
    pub(super) thorax: Maybe<Series>,
    pub(super) shoulders: Maybe<Series>,
}

impl Rotations {
    pub(super) fn new(prepared: &Prepared, reader: Reader<'_>) -> Self {
        let of = |segment: &Maybe<Segment>| {
            let s = segment.as_ref().map_err(Clone::clone)?;
            let lead = s.frames.iter().map(|f| -f.right());
            Ok(series(s, headings(lead)))
        };
        let body = &prepared.body;
        let pelvis = of(&prepared.skeleton.pelvis)
            .or_else(|why| asis_line_rotation(body).map_err(|_also| why))
            .or_else(|why| {
                hip_line_rotation(body).map_err(|_also| format!("{why} (or two hip points)"))
            });
        Self {
            pelvis: facing_the_ball(pelvis, reader),
            thorax: facing_the_ball(of(&prepared.skeleton.thorax), reader),
            shoulders: facing_the_ball(shoulder_line_rotation(body), reader),
        }
    }
}

/// A number a place from a segment's axes.
pub(super) fn of_segment(
    segment: &Maybe<Segment>,
    value: impl Fn(&[Vector3<f64>; 3]) -> f64,
) -> Maybe<Series> {
    let s = segment.as_ref().map_err(Clone::clone)?;
    let values = s
        .frames
        .iter()
        .map(|f| value(&[f.forward(), f.up(), f.right()]));
    Ok(series(s, values.collect()))
}

fn series(segment: &Segment, values: Vec<f64>) -> Series {
    Series {
        values,
        grid: segment.grid,
        known: segment.known.clone(),
        limited: segment.limited.clone(),
    }
}

/// A body that faces away from the ball at address is no body but exchanged labels or mirrored axes.
fn facing_the_ball(rotation: Maybe<Series>, reader: Reader<'_>) -> Maybe<Series> {
    let rotation = rotation?;
    match reader.at(&rotation, Event::Address) {
        Ok(turned) if turned.abs() > FACING_AWAY => Err(format!(
            "turned by {:.0}° at address: check left and right labels, the axes, and the side told",
            turned.to_degrees()
        )),
        _ => Ok(rotation),
    }
}
