//! Derived signals of one swing over time, for drawing and for averaging over swings: the same series that
//! the metrics are read off. A signal that the data cannot support is left out; an instant at which it is not
//! known is a hole.

use super::catalogue::{self as of, Family, Unit};
use super::rotations::{Rotations, of_segment};
use super::values::{Reader, component};
use super::{club, ground, legs, mass, path, sequence, speeds, trunk};
use crate::body::segments::{Maybe, Path, Series, head_point};
use crate::measure::Prepared;
use crate::swing::event::Event;

/// Samples a second, at most: body movement is slower than half of it (filters at 25 Hz), and the
/// fast club needs that many.
const RATE_HZ_MAX: f64 = 240.0;
/// Shown before takeaway start, seconds.
const BEFORE_S: f64 = 0.3;

/// One signal.
#[derive(Debug, Clone, PartialEq)]
pub struct Curve {
    /// Identifier; that of the metric that is read off it where there is one.
    pub id: &'static str,
    /// Unit in which it is shown; values are SI and radians.
    pub unit: Unit,
    /// What a positive value means.
    pub sign: &'static str,
    /// One value a sample; `None` where not known.
    pub values: Vec<Option<f64>>,
}

/// Signals on a common grid of times.
#[derive(Debug, Clone, PartialEq)]
pub struct Curves {
    /// Samples a second.
    pub rate_hz: f64,
    /// Time of the first sample, seconds from impact.
    pub start_s: f64,
    /// The signals, in the order in which they are listed.
    pub signals: Vec<Curve>,
}

/// Every signal of a swing, from shortly before takeaway start to the end of its window.
#[must_use]
pub fn curves(prepared: &Prepared) -> Curves {
    let swing = &prepared.swing;
    let reader = Reader {
        slots: &swing.slots,
        quiet: &swing.quiet,
    };
    let rate_hz = prepared.window.rate_hz;
    let stride = (rate_hz / RATE_HZ_MAX).ceil().max(1.0);
    let start = swing.slots.get(Event::TakeawayStart).unwrap_or(swing.top);
    let impact = swing.impact.slot;
    let last = prepared.window.len().saturating_sub(1) as f64;
    let before = ((impact - (start - BEFORE_S * rate_hz).max(0.0)) / stride).floor();
    let first = impact - before * stride;
    let count = ((last - first) / stride).floor().max(0.0) as usize + 1;
    let slots: Vec<f64> = (0..count).map(|n| first + n as f64 * stride).collect();
    let mut drawn = Drawn {
        slots: &slots,
        signals: Vec::new(),
    };
    drawn.trunk(prepared, reader);
    drawn.paths(prepared, reader);
    for (side, family) in [&of::KNEE_FLEXION_LEAD, &of::KNEE_FLEXION_TRAIL]
        .into_iter()
        .enumerate()
    {
        drawn.series(family, &legs::flexion(prepared, side));
    }
    drawn.series(&of::HINGE, &club::hinge_course(prepared));
    drawn.fast(prepared);
    drawn.ground(prepared, reader);
    Curves {
        rate_hz: rate_hz / stride,
        start_s: (first - impact) / rate_hz,
        signals: drawn.signals,
    }
}

struct Drawn<'a> {
    slots: &'a [f64],
    signals: Vec<Curve>,
}

impl Drawn<'_> {
    fn push(&mut self, family: &'static Family, values: Vec<Option<f64>>) {
        self.named((family.id, family.unit, family.sign), values);
    }

    fn named(
        &mut self,
        (id, unit, sign): (&'static str, Unit, &'static str),
        values: Vec<Option<f64>>,
    ) {
        if values.iter().any(Option::is_some) {
            self.signals.push(Curve {
                id,
                unit,
                sign,
                values,
            });
        }
    }

    fn series(&mut self, family: &'static Family, series: &Maybe<Series>) {
        if let Ok(series) = series {
            let values = self.slots.iter().map(|s| series.at(*s)).collect();
            self.push(family, values);
        }
    }

    /// One axis of a path since address.
    fn since_address(
        &mut self,
        family: &'static Family,
        (path, axis): (&Maybe<Path>, usize),
        reader: Reader<'_>,
    ) {
        let Ok(path) = path else { return };
        let along = component(path, axis);
        if let Ok(from) = reader.at(&along, Event::Address) {
            let values = self.slots.iter().map(|s| Some(along.at(*s)? - from));
            let values = values.collect();
            self.push(family, values);
        }
    }

    fn trunk(&mut self, prepared: &Prepared, reader: Reader<'_>) {
        let rotations = Rotations::new(prepared, reader);
        self.series(&of::PELVIS_ROTATION, &rotations.pelvis);
        self.series(&of::THORAX_ROTATION, &rotations.thorax);
        self.series(&of::SHOULDER_LINE_ROTATION, &rotations.shoulders);
        let Rotations {
            pelvis,
            thorax,
            shoulders,
        } = rotations;
        self.series(
            &of::SEPARATION,
            &trunk::separation(pelvis, thorax, shoulders),
        );
        let skeleton = &prepared.skeleton;
        for (family, segment, angle) in [
            (
                &of::PELVIS_OBLIQUITY,
                &skeleton.pelvis,
                trunk::obliquity as trunk::Angle,
            ),
            (&of::PELVIS_ANTERIOR_TILT, &skeleton.pelvis, trunk::tilt),
            (&of::THORAX_INCLINATION, &skeleton.thorax, trunk::forward),
            (&of::THORAX_SIDE_INCLINATION, &skeleton.thorax, trunk::side),
        ] {
            self.series(family, &of_segment(segment, angle));
        }
    }

    fn paths(&mut self, prepared: &Prepared, reader: Reader<'_>) {
        let pelvis = path::pelvis_point(prepared);
        let head = head_point(&prepared.body);
        let mass = mass::Whole::new(prepared).map(|whole| whole.center);
        for (family, of) in [
            (&of::PELVIS_SHIFT, (&pelvis, 0)),
            (&of::PELVIS_RISE, (&pelvis, 1)),
            (&of::PELVIS_DEPTH, (&pelvis, 2)),
            (&of::HEAD_SHIFT, (&head, 0)),
            (&of::HEAD_RISE, (&head, 1)),
            (&of::MASS_CENTRE_SHIFT, (&mass, 0)),
            (&of::MASS_CENTRE_RISE, (&mass, 1)),
        ] {
            self.since_address(family, of, reader);
        }
    }

    /// Speeds up to impact: what the club does after the collision is another movement.
    fn fast(&mut self, prepared: &Prepared) {
        let head = speeds::course(prepared, speeds::Point::Head, self.slots);
        self.named(("head_speed", Unit::MetrePerSecond, "speed"), head);
        let grip = speeds::course(prepared, speeds::Point::Grip, self.slots);
        self.named(("grip_speed", Unit::MetrePerSecond, "speed"), grip);
        for ((id, sign), turning) in [
            ("angular_speed.pelvis", "positive opening"),
            ("angular_speed.thorax", "positive opening"),
            ("angular_speed.lead_arm", "speed of turning"),
            ("angular_speed.club", "speed of turning"),
        ]
        .into_iter()
        .zip(sequence::courses(prepared, self.slots))
        {
            self.named((id, Unit::DegreePerSecond, sign), turning);
        }
    }

    fn ground(&mut self, prepared: &Prepared, reader: Reader<'_>) {
        let seconds: Vec<f64> = {
            let window = &prepared.window;
            let zero = window.seconds(0.0);
            self.slots
                .iter()
                .map(|s| window.seconds(*s) - zero)
                .collect()
        };
        let Some([lead, trail, share]) = ground::courses(prepared, reader, &seconds) else {
            return;
        };
        self.push(&of::VERTICAL_FORCE_LEAD, lead);
        self.push(&of::VERTICAL_FORCE_TRAIL, trail);
        self.push(&of::COP_LEAD_SHARE, share);
    }
}
