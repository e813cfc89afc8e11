//! A swing's window as a C3D take: the points as they were sent (labels, axes, unit), the plates' channels
//! as they were sent, the report's events. What the standard has no place for stands in a group `WHIN`:
//!
//! | parameter | |
//! |---|---|
//! | `FORMAT` | 1 |
//! | `SWING`, `KIND`, `HANDED`, `ANALYSIS` | name, kind, golfer's side, version that measured |
//! | `BAY_AXES`, `BAY_ORIGIN` | a point p of the file lies at `BAY_AXES` (by rows) · (p − `BAY_ORIGIN`) in the bay (x target line, z up); absent where nobody told |
//! | `ANALOG_FROM_HZ` | rate of each force stream before it was brought to ANALOG:RATE |
//! | `ANALOG_RESAMPLED` | 1: values between two samples are on the line between them; 0: the samples as sent |
//!
//! A C3D file has one clock and whole numbers of samples a frame. Samples of plates are read at their
//! frames' times on the markers' clock; one within a thousandth of its interval is taken as it is.
//! Where no sample was (before the first, in a gap) the value is NaN. No offset is taken off the
//! plates: a file of one swing has no stretch with empty ones (FORCE_PLATFORM:ZERO says so).

use analysis::frame::BayFromSource;
use nalgebra::{Point3, Vector3};
use protocol::c3d::{Analog, C3d, Channel, Data, Event, Group, Marker, Parameter, Plate};
use protocol::report::Measurement;
use protocol::wire::{self, PlateKind};

use super::window::{Forces, Layout, Markers, Streams};
use crate::archive::rows::Outcome;
use crate::decode::told;
use crate::map::MarkerMap;

/// Frame counts of the format have 16 bits.
const FRAMES_MAX: u64 = 65_535;
/// Beyond this the frame rate told is not that of the device times.
const RATE_OFF: f64 = 0.01;
/// Of a sample's interval: nearer than this is the sample itself.
const SAME: f64 = 1e-3;

/// What of a swing a file tells beside its datagrams.
pub(super) struct About<'a> {
    /// Pseudonym.
    pub(super) student: &'a str,
    /// Its name in this export.
    pub(super) swing: &'a str,
    pub(super) measurement: &'a Measurement,
    pub(super) outcome: &'a Outcome,
    /// Labels lose what stands before a colon: it may be a name.
    pub(super) bare_labels: bool,
}

/// Unit of a file and what one metre is in it.
#[derive(Clone, Copy)]
struct Unit {
    name: &'static str,
    a_metre: f64,
    /// Source units to the file's, where the source's unit has no usual name.
    factor: Option<f64>,
}

/// The take.
///
/// # Errors
/// In words: why the window makes no C3D file.
pub(super) fn take(
    streams: &Streams,
    (map, late_ns): (&MarkerMap, &dyn Fn(u32) -> i64),
    about: &About<'_>,
) -> Result<C3d, String> {
    let impact = about.measurement.events.get("impact");
    let impact = impact.and_then(|e| e.frame.zip(e.time_s));
    let (frame, time_s) = impact.ok_or("its report has no impact")?;
    let markers = streams.with_frame(frame, time_s);
    let markers = markers.ok_or("its window has no such frame")?;
    let (id, layout) = markers.layout().ok_or("its markers are not described")?;
    let ends = markers.frames.first_key_value();
    let ends = ends.zip(markers.frames.last_key_value());
    let ((&first, begin), (&last, end)) = ends.ok_or("it has no frames")?;
    let count = last - first + 1;
    if count > FRAMES_MAX {
        return Err(format!(
            "{count} frames, a C3D file has {FRAMES_MAX} at most"
        ));
    }
    let unit = unit(layout.source.meters_per_unit.or(map.metres_per_unit))?;
    let rate_hz = rate(
        layout.source.rate_hz,
        last - first,
        end.time_ns - begin.time_ns,
    );
    let names = layout.items().into_iter().zip(1..);
    let names = names.map(|(label, n)| match label {
        Some(label) if about.bare_labels => crate::map::bare(&label).to_owned(),
        Some(label) => label,
        None => format!("unlabeled {n}"),
    });
    let frames = (first..=last).map(|n| points(markers, n, (id, layout.total), unit));
    let mut take = C3d {
        rate_hz,
        first_frame: 1,
        units: unit.name.to_owned(),
        labels: names.collect(),
        frames: frames.collect(),
        events: events(about.measurement, first, rate_hz),
        ..C3d::default()
    };
    let bay = map.bay_from_source(told(&layout.source)).ok();
    let times = times(markers, (first, last));
    let placed = Placed { map, bay, unit };
    let from_hz = placed.plates(
        (streams, markers.clock, late_ns),
        (&times, rate_hz),
        &mut take,
    );
    take.parameters.groups = groups(about, bay.map(|b| (b, unit)), &from_hz);
    Ok(take)
}

fn unit(metres_per_unit: Option<f64>) -> Result<Unit, String> {
    let metres = metres_per_unit.ok_or("nobody told its unit of length")?;
    let known = [("mm", 1e3), ("cm", 1e2), ("m", 1.0)];
    let same = known
        .iter()
        .find(|(_, a_metre)| (metres * a_metre - 1.0).abs() < 1e-9);
    Ok(match same {
        Some(&(name, a_metre)) => Unit {
            name,
            a_metre,
            factor: None,
        },
        None => Unit {
            name: "mm",
            a_metre: 1e3,
            factor: Some(metres * 1e3),
        },
    })
}

fn rate(told_hz: f64, intervals: u64, span_ns: i64) -> f64 {
    let timed_hz = intervals as f64 * 1e9 / span_ns as f64;
    let off = (timed_hz / told_hz - 1.0).abs();
    if timed_hz.is_finite() && timed_hz > 0.0 && off > RATE_OFF {
        timed_hz
    } else {
        told_hz
    }
}

fn points(markers: &Markers, number: u64, layout: (u32, usize), unit: Unit) -> Vec<Option<Marker>> {
    // Exactly as sent where the unit is the same.
    let scaled = |v: f32| unit.factor.map_or(v, |f| (f64::from(v) * f) as f32);
    let marker = |m: wire::Marker| Marker {
        position: m.position.map(scaled),
        residual: scaled(m.residual),
    };
    let found = markers.points(number, layout).into_iter();
    found.map(|m| m.map(marker)).collect()
}

fn events(measurement: &Measurement, first: u64, rate_hz: f64) -> Vec<Event> {
    let mut events: Vec<Event> = measurement
        .events
        .iter()
        .filter_map(|(name, event)| {
            Some(Event {
                label: name.clone(),
                context: "General".to_owned(),
                time_s: (event.frame? - first as f64) / rate_hz,
            })
        })
        .collect();
    events.sort_by(|a, b| a.time_s.total_cmp(&b.time_s));
    events
}

/// Device times of the frames, on a line where one never came.
fn times(markers: &Markers, (first, last): (u64, u64)) -> Vec<f64> {
    let mut times: Vec<f64> = Vec::with_capacity((last - first + 1) as usize);
    for (&number, frame) in &markers.frames {
        let (at, ns) = ((number - first) as usize, frame.time_ns as f64);
        let before = times.len();
        let from = times.last().copied().unwrap_or(ns);
        let step = (ns - from) / (at + 1 - before) as f64;
        times.extend((1..=at + 1 - before).map(|n| from + n as f64 * step));
    }
    times
}

/// Where plates are placed in.
struct Placed<'a> {
    map: &'a MarkerMap,
    bay: Option<BayFromSource>,
    unit: Unit,
}

impl Placed<'_> {
    /// Adds all plates that are described to the take; gives the rate of each force stream and whether
    /// a value between two samples had to be found.
    fn plates(
        &self,
        (streams, clock, late_ns): (&Streams, u32, &dyn Fn(u32) -> i64),
        (times, rate_hz): (&[f64], f64),
        take: &mut C3d,
    ) -> (Vec<f32>, bool) {
        let known: Vec<(u32, &Forces, &Layout<wire::Plate>)> = streams.forces().collect();
        let ratio = |l: &Layout<wire::Plate>| l.source.rate_hz / rate_hz;
        let most = known.iter().map(|(_, _, l)| ratio(l)).fold(1.0, f64::max);
        let a_frame = (most - 1e-6).ceil().max(1.0) as usize;
        let due = due(times, a_frame);
        let (mut from_hz, mut resampled) = (Vec::new(), false);
        for (id, forces, layout) in known {
            let Some(there) = streams.between(forces.clock, clock) else {
                continue;
            };
            let rate_hz = layout.source.rate_hz;
            let late_ns = late_ns(id);
            let samples: Vec<(f64, &[Option<f32>])> = forces
                .samples(rate_hz)
                .map(|(ns, values)| (there(ns.saturating_sub(late_ns)) as f64, values))
                .collect();
            let Some(plates) = layout.items().into_iter().collect::<Option<Vec<_>>>() else {
                continue;
            };
            from_hz.push(rate_hz as f32);
            let mut first = 0;
            for plate in plates {
                let number = take.plates.len() + 1;
                let channels = first..first + plate.kind.channels();
                first = channels.end;
                let start = take.analog.channels.len();
                for (n, channel) in channels.enumerate() {
                    let (label, unit, factor) = self.channel(plate.kind, n, number);
                    let (values, between) = read(&samples, channel, (&due, 1e9 / rate_hz));
                    resampled |= between;
                    let scaled = values.iter().map(|v| v.map(|v| (v * factor) as f32));
                    take.analog.channels.push(Channel {
                        label,
                        unit,
                        samples: scaled.collect(),
                    });
                }
                let channels = (start..take.analog.channels.len()).collect();
                take.plates.push(self.plate(&plate, layout, channels));
            }
        }
        if !take.analog.channels.is_empty() {
            take.analog = Analog {
                rate_hz: rate_hz * a_frame as f64,
                channels: std::mem::take(&mut take.analog.channels),
            };
        }
        (from_hz, resampled)
    }

    /// Label and unit of channel `n`, and its factor from N, N·m and m.
    fn channel(&self, kind: PlateKind, n: usize, plate: usize) -> (String, String, f64) {
        let names: &[&str] = match kind {
            PlateKind::Pressure => &["Fx", "Fy", "Fz", "Px", "Py", "Tz"],
            PlateKind::Moments => &["Fx", "Fy", "Fz", "Mx", "My", "Mz"],
            PlateKind::Corners => &["Fx12", "Fx34", "Fy14", "Fy23", "Fz1", "Fz2", "Fz3", "Fz4"],
            PlateKind::Raw(_) => &["raw1", "raw2", "raw3", "raw4", "raw5", "raw6"],
        };
        let name = names.get(n).copied().unwrap_or("raw");
        let length = self.unit.name;
        let (unit, factor) = match (kind, n) {
            (PlateKind::Raw(_), _) => (String::new(), 1.0),
            (PlateKind::Pressure, 3 | 4) => (length.to_owned(), self.unit.a_metre),
            (PlateKind::Pressure | PlateKind::Moments, 3..) => {
                (format!("N{length}"), self.unit.a_metre)
            }
            _ => ("N".to_owned(), 1.0),
        };
        (format!("{name}.{plate}"), unit, factor)
    }

    fn plate(
        &self,
        plate: &wire::Plate,
        layout: &Layout<wire::Plate>,
        channels: Vec<usize>,
    ) -> Plate {
        let own = self.map.bay_from_plates(told(&layout.source)).ok();
        let metres = own.map_or(1.0 / self.unit.a_metre, |own| own.metres_per_unit);
        let scale = metres * self.unit.a_metre;
        let corner = |c: [f32; 3]| match (own, self.bay) {
            (Some(own), Some(bay)) => {
                let back = bay.rotation.transpose() * own.point(c).coords;
                let there: Vector3<f64> =
                    back * self.unit.a_metre + bay.origin * self.unit.factor.unwrap_or(1.0);
                Point3::from(there).into()
            }
            // Without axes both speak of the same, untold ones.
            _ => c.map(|v| f64::from(v) * scale),
        };
        let matrix = |m: [[f32; 6]; 6]| {
            let row =
                |r: usize| m[r].map(|v| f64::from(v) * if r < 3 { 1.0 } else { self.unit.a_metre });
            std::array::from_fn(row)
        };
        Plate {
            kind: plate.kind.code(),
            corners: plate.corners.map(corner),
            origin: plate.origin.map(|v| f64::from(v) * scale),
            channels,
            cal_matrix: match plate.kind {
                PlateKind::Raw(m) => Some(matrix(m)),
                _ => None,
            },
        }
    }
}

/// When each of `a_frame` samples a frame is due, from the first frame on.
fn due(times: &[f64], a_frame: usize) -> Vec<f64> {
    let last = match times {
        [.., before, last] => last - before,
        _ => 0.0,
    };
    let steps = times.windows(2).map(|pair| pair[1] - pair[0]);
    let steps = steps.chain([last]);
    let part = |(time, step): (&f64, f64)| {
        let time = *time;
        (0..a_frame).map(move |k| time + step * k as f64 / a_frame as f64)
    };
    times.iter().zip(steps).flat_map(part).collect()
}

/// A channel at the times due, and whether any value was found between two samples.
fn read(
    samples: &[(f64, &[Option<f32>])],
    channel: usize,
    (due, step_ns): (&[f64], f64),
) -> (Vec<Option<f64>>, bool) {
    let value = |n: usize| -> Option<(f64, f64)> {
        let (time, values) = samples.get(n)?;
        let value = values.get(channel).copied().flatten()?;
        Some((*time, f64::from(value)))
    };
    let mut between = false;
    let mut next = 0;
    let mut one = |&due: &f64| {
        while samples
            .get(next)
            .is_some_and(|(t, _)| *t < due - SAME * step_ns)
        {
            next += 1;
        }
        let after = value(next)?;
        if after.0 - due <= SAME * step_ns {
            return Some(after.1);
        }
        let before = value(next.checked_sub(1)?)?;
        let span = after.0 - before.0;
        if span > 1.5 * step_ns {
            return None;
        }
        between = true;
        Some(before.1 + (after.1 - before.1) * (due - before.0) / span)
    };
    let values = due.iter().map(&mut one).collect();
    (values, between)
}

fn groups(
    about: &About<'_>,
    bay: Option<(BayFromSource, Unit)>,
    (from_hz, resampled): &(Vec<f32>, bool),
) -> Vec<Group> {
    let text = |name: &str, value: &str| {
        let bytes: Vec<u8> = value.bytes().take(255).collect();
        Parameter::new(name, &[bytes.len() as u8], Data::Text(bytes))
    };
    let integer = |name: &str, value: i16| Parameter::new(name, &[], Data::Integers(vec![value]));
    let group = |name: &str, parameters| Group {
        name: name.to_owned(),
        parameters,
        ..Group::default()
    };
    let mut own = vec![
        integer("FORMAT", 1),
        text("SWING", about.swing),
        text("KIND", &about.measurement.kind),
        text("HANDED", &about.measurement.handed),
        text("ANALYSIS", &about.outcome.analysis),
    ];
    if let Some((bay, unit)) = bay {
        let rows = bay.rotation.transpose();
        let axes = rows.iter().map(|v| *v as f32).collect();
        own.push(Parameter::new("BAY_AXES", &[3, 3], Data::Reals(axes)));
        let origin = bay.origin * unit.factor.unwrap_or(1.0);
        let origin = origin.iter().map(|v| *v as f32).collect();
        own.push(Parameter::new("BAY_ORIGIN", &[3], Data::Reals(origin)));
    }
    if !from_hz.is_empty() {
        let count = [from_hz.len() as u8];
        own.push(Parameter::new(
            "ANALOG_FROM_HZ",
            &count,
            Data::Reals(from_hz.clone()),
        ));
        own.push(integer("ANALOG_RESAMPLED", i16::from(*resampled)));
    }
    let mut names = text("NAMES", about.student);
    names.dims.push(1);
    vec![
        group("WHIN", own),
        group(
            "SUBJECTS",
            vec![
                integer("USED", 1),
                integer("IS_STATIC", 0),
                integer("USES_PREFIXES", 0),
                names,
            ],
        ),
        group(
            "MANUFACTURER",
            vec![
                text("SOFTWARE", "Whin"),
                text("VERSION", env!("CARGO_PKG_VERSION")),
            ],
        ),
    ]
}
