//! Knee flexion of both legs.

use super::catalogue::{KNEE_FLEXION_LEAD, KNEE_FLEXION_TRAIL};
use super::values::{Reader, Values};
use crate::body::segments::knee_flexion;
use crate::measure::Prepared;

pub(super) fn measure(prepared: &Prepared, reader: Reader<'_>, values: &mut Values) {
    for (family, lead) in [(&KNEE_FLEXION_LEAD, true), (&KNEE_FLEXION_TRAIL, false)] {
        let flexion = knee_flexion(&prepared.body, lead);
        values.set_each(family, |event| reader.absolute(&flexion, event));
    }
}
