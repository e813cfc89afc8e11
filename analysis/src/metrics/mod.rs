//! Every metric of the catalogue from one prepared swing. A metric that the data cannot support is
//! not measured, with the reason. One file a group; each identifier has exactly one producer.

pub mod catalogue;
pub mod values;

pub(crate) mod audit;
mod budget;
mod club;
pub mod curves;
pub mod ground;
mod humps;
mod legs;
mod mass;
mod path;
mod quality;
mod rotations;
mod plane;
mod sequence;
mod speeds;
mod spin;
mod timing;
mod trunk;
mod work;

use crate::body::segments::Maybe;
use crate::ground::audit::Audit;
use crate::measure::Prepared;
use values::{Reader, Values};

/// All values of one swing; `audit` where the plates were compared with the motion.
#[must_use]
pub fn measure(prepared: &Prepared, audit: Option<&Maybe<Audit>>) -> Values {
    let reader = Reader {
        slots: &prepared.swing.slots,
        quiet: &prepared.swing.quiet,
    };
    let mut values = Values::new();
    let rotations = rotations::Rotations::new(prepared, reader);
    timing::measure(prepared, &rotations, reader, &mut values);
    path::measure(prepared, reader, &mut values);
    trunk::measure(prepared, &rotations, reader, &mut values);
    budget::measure(prepared, &rotations, reader, &mut values);
    legs::measure(prepared, reader, &mut values);
    speeds::measure(prepared, &mut values);
    club::measure(prepared, reader, &mut values);
    plane::measure(prepared, reader, &mut values);
    sequence::measure(prepared, reader, &mut values);
    ground::measure(prepared, reader, &mut values);
    let whole = mass::Whole::new(prepared);
    mass::measure(prepared, reader, &whole, &mut values);
    work::measure(prepared, reader, &mut values);
    audit::measure(prepared, audit, &mut values);
    quality::measure(prepared, reader, &mut values);
    values
}
