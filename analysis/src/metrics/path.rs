//! Paths of pelvis and head since address: shift (target line), rise (up), depth (ball line).

use super::catalogue::{HEAD_RISE, HEAD_SHIFT, PELVIS_DEPTH, PELVIS_RISE, PELVIS_SHIFT};
use super::values::{Reader, Values};
use crate::body::segments::{head_point, pelvis_point};
use crate::measure::Prepared;

const X: usize = 0;
const Y: usize = 1;
const Z: usize = 2;

pub(super) fn measure(prepared: &Prepared, reader: Reader<'_>, values: &mut Values) {
    let pelvis = pelvis_point(&prepared.body);
    let head = head_point(&prepared.body);
    for (family, path, axis) in [
        (&PELVIS_SHIFT, &pelvis, X),
        (&PELVIS_RISE, &pelvis, Y),
        (&PELVIS_DEPTH, &pelvis, Z),
        (&HEAD_SHIFT, &head, X),
        (&HEAD_RISE, &head, Y),
    ] {
        values.set_each(family, |event| reader.relative(path, axis, event));
    }
}
