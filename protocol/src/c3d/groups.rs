//! The standard's groups, made from a take for writing.

use super::C3d;
use super::error::WriteError;
use super::event::first_frame_s;
use super::parameter::{Data, Group, Parameter};
use super::plate::Plate;
use super::write::{Plan, limit};

/// Made here; others of the same group are carried over from the take.
const OWN: [(&str, &[&str]); 3] = [
    (
        "POINT",
        &[
            "USED",
            "SCALE",
            "RATE",
            "DATA_START",
            "FRAMES",
            "LONG_FRAMES",
            "LABELS",
            "UNITS",
        ],
    ),
    (
        "ANALOG",
        &[
            "USED",
            "LABELS",
            "GEN_SCALE",
            "OFFSET",
            "SCALE",
            "UNITS",
            "RATE",
            "FORMAT",
            "BITS",
        ],
    ),
    ("TRIAL", &["ACTUAL_START_FIELD", "ACTUAL_END_FIELD"]),
];
const WHOLLY_OWN: [&str; 2] = ["FORCE_PLATFORM", "EVENT"];

/// Bytes of text a parameter: a record stays below 32,767 bytes.
const MOST_TEXT: usize = 32_000;

/// Every group of the file, the standard ones first.
pub(super) fn all(take: &C3d, plan: &Plan) -> Result<Vec<Group>, WriteError> {
    let mut made = vec![
        group("POINT", point(take, plan)?),
        group("ANALOG", analog(take, plan)?),
        group("TRIAL", trial(take, plan)),
        group("FORCE_PLATFORM", plates(take)?),
        group("EVENT", events(take)?),
    ];
    for stored in &take.parameters.groups {
        let same = |g: &&mut Group| g.name.eq_ignore_ascii_case(&stored.name);
        let rest = stored
            .parameters
            .iter()
            .filter(|p| !is_own(&stored.name, &p.name))
            .cloned();
        match made.iter_mut().find(same) {
            Some(group) => group.parameters.extend(rest),
            None => made.push(stored.clone()),
        }
    }
    Ok(made)
}

fn group(name: &str, parameters: Vec<Parameter>) -> Group {
    Group {
        name: name.to_owned(),
        parameters,
        ..Group::default()
    }
}

/// Whether `name`, or what it continues (`LABELS2`), is made here.
fn is_own(group: &str, name: &str) -> bool {
    let base = name.trim_end_matches(|c: char| c.is_ascii_digit());
    let own = OWN.iter().filter(|(g, _)| g.eq_ignore_ascii_case(group));
    own.flat_map(|(_, names)| *names)
        .any(|n| n.eq_ignore_ascii_case(base))
        || WHOLLY_OWN.iter().any(|g| g.eq_ignore_ascii_case(group))
}

fn integer(name: &str, value: u16) -> Parameter {
    Parameter::new(name, &[], Data::Integers(vec![value.cast_signed()]))
}

fn real(name: &str, value: f32) -> Parameter {
    Parameter::new(name, &[], Data::Reals(vec![value]))
}

fn text(name: &str, value: &str) -> Result<Parameter, WriteError> {
    limit(&format!("bytes in {name}"), value.len(), 255)?;
    Ok(Parameter::new(
        name,
        &[value.len() as u8],
        Data::Text(value.as_bytes().to_vec()),
    ))
}

/// One text an entry, all padded to the longest, in pieces `NAME`, `NAME2` and so on.
fn texts<'a>(
    name: &str,
    entries: impl Iterator<Item = &'a str> + Clone,
) -> Result<Vec<Parameter>, WriteError> {
    let width = entries.clone().map(str::len).max().unwrap_or(0).max(1);
    limit(&format!("bytes in one of {name}"), width, 255)?;
    let entries: Vec<&str> = entries.collect();
    let made = entries
        .chunks(255.min(MOST_TEXT / width))
        .zip(1..)
        .map(|(piece, number)| {
            let mut bytes = Vec::with_capacity(piece.len() * width);
            for (entry, end) in piece.iter().zip(1..) {
                bytes.extend_from_slice(entry.as_bytes());
                bytes.resize(end * width, b' ');
            }
            Parameter::new(
                &numbered(name, number),
                &[width as u8, piece.len() as u8],
                Data::Text(bytes),
            )
        });
    Ok(made.collect())
}

fn numbered(name: &str, number: usize) -> String {
    if number == 1 {
        name.to_owned()
    } else {
        format!("{name}{number}")
    }
}

fn point(take: &C3d, plan: &Plan) -> Result<Vec<Parameter>, WriteError> {
    let mut made = vec![
        integer("USED", take.labels.len() as u16),
        real("SCALE", -plan.scale),
        real("RATE", take.rate_hz as f32),
        integer("DATA_START", plan.data_block),
        integer("FRAMES", plan.frames),
        text("UNITS", &take.units)?,
    ];
    made.extend(texts("LABELS", take.labels.iter().map(String::as_str))?);
    Ok(made)
}

fn analog(take: &C3d, plan: &Plan) -> Result<Vec<Parameter>, WriteError> {
    let channels = &take.analog.channels;
    let rate_hz = take.rate_hz * f64::from(plan.samples_per_frame);
    let mut made = vec![
        integer("USED", channels.len() as u16),
        real("RATE", rate_hz as f32),
        real("GEN_SCALE", 1.0),
        text("FORMAT", "SIGNED")?,
        integer("BITS", 16),
    ];
    for (piece, number) in channels.chunks(255).zip(1..) {
        let (name, count) = (|n| numbered(n, number), piece.len());
        let dims = [count as u8];
        made.push(Parameter::new(
            &name("SCALE"),
            &dims,
            Data::Reals(vec![1.0; count]),
        ));
        made.push(Parameter::new(
            &name("OFFSET"),
            &dims,
            Data::Integers(vec![0; count]),
        ));
    }
    made.extend(texts("LABELS", channels.iter().map(|c| c.label.as_str()))?);
    made.extend(texts("UNITS", channels.iter().map(|c| c.unit.as_str()))?);
    Ok(made)
}

/// Frame numbers in two words each, the low first: they may be over 65,535 although there are not
/// so many frames.
fn trial(take: &C3d, plan: &Plan) -> Vec<Parameter> {
    let words = |name: &str, frame: u32| {
        let words = [frame as u16, (frame >> 16) as u16];
        Parameter::new(
            name,
            &[2],
            Data::Integers(words.map(u16::cast_signed).to_vec()),
        )
    };
    let last = take.first_frame.saturating_add(u32::from(plan.frames) - 1);
    vec![
        words("ACTUAL_START_FIELD", take.first_frame),
        words("ACTUAL_END_FIELD", last),
    ]
}

fn plates(take: &C3d) -> Result<Vec<Parameter>, WriteError> {
    let plates = &take.plates;
    limit("force plates", plates.len(), 255)?;
    let count = plates.len() as u8;
    let from_one = |frame| i16::try_from(frame).ok()?.checked_add(1);
    let zero = take
        .unloaded
        .and_then(|(a, b)| Some([from_one(a)?, from_one(b)?]));
    // 1, 0 is the usual way to say that there is no such range.
    let zero = zero.unwrap_or([1, 0]).to_vec();
    let mut made = vec![
        integer("USED", u16::from(count)),
        Parameter::new("ZERO", &[2], Data::Integers(zero)),
    ];
    if plates.is_empty() {
        return Ok(made);
    }
    let kinds = plates.iter().map(|p| i16::from(p.kind)).collect();
    made.push(Parameter::new("TYPE", &[count], Data::Integers(kinds)));
    let corners = plates.iter().flat_map(|p| p.corners.into_iter().flatten());
    made.push(Parameter::new(
        "CORNERS",
        &[3, 4, count],
        reals("force plate corners", corners)?,
    ));
    let origins = plates.iter().flat_map(|p| p.origin);
    made.push(Parameter::new(
        "ORIGIN",
        &[3, count],
        reals("force plate origin", origins)?,
    ));
    made.push(channels(plates, take.analog.channels.len())?);
    if plates.iter().any(|p| p.cal_matrix.is_some()) {
        let columns = plates
            .iter()
            .flat_map(|p| by_columns(p.cal_matrix.unwrap_or_default()));
        made.push(Parameter::new(
            "CAL_MATRIX",
            &[6, 6, count],
            reals("calibration matrix", columns)?,
        ));
    }
    Ok(made)
}

fn by_columns(matrix: [[f64; 6]; 6]) -> impl Iterator<Item = f64> {
    (0..6).flat_map(move |column| matrix.map(|row| row[column]))
}

fn reals(what: &str, values: impl Iterator<Item = f64>) -> Result<Data, WriteError> {
    let values: Vec<f32> = values.map(|v| v as f32).collect();
    if values.iter().all(|v| v.is_finite()) {
        return Ok(Data::Reals(values));
    }
    Err(WriteError::NotFinite {
        what: what.to_owned(),
    })
}

/// CHANNEL, 1-based, every plate's list filled up with zeros to the longest.
fn channels(plates: &[Plate], there: usize) -> Result<Parameter, WriteError> {
    let width = plates.iter().map(|p| p.channels.len()).max().unwrap_or(0);
    limit("channels of a force plate", width, 255)?;
    let mut values: Vec<i16> = Vec::new();
    for (plate, number) in plates.iter().zip(1..) {
        if let Some(&channel) = plate.channels.iter().find(|c| **c >= there) {
            return Err(WriteError::PlateChannel {
                plate: number,
                channel,
                channels: there,
            });
        }
        values.extend(
            plate
                .channels
                .iter()
                .map(|c| (c + 1) as u16)
                .map(u16::cast_signed),
        );
        values.resize(number * width, 0);
    }
    Ok(Parameter::new(
        "CHANNEL",
        &[width as u8, plates.len() as u8],
        Data::Integers(values),
    ))
}

fn events(take: &C3d) -> Result<Vec<Parameter>, WriteError> {
    let events = &take.events;
    limit("events", events.len(), 255)?;
    let count = events.len() as u8;
    let mut made = vec![integer("USED", u16::from(count))];
    if events.is_empty() {
        return Ok(made);
    }
    let start_s = first_frame_s(take.first_frame, take.rate_hz);
    let times = events.iter().flat_map(|e| {
        let time_s = e.time_s + start_s;
        let minutes = (time_s / 60.0).floor().max(0.0);
        [minutes, time_s - 60.0 * minutes]
    });
    made.push(Parameter::new(
        "TIMES",
        &[2, count],
        reals("event time", times)?,
    ));
    made.extend(texts("LABELS", events.iter().map(|e| e.label.as_str()))?);
    made.extend(texts(
        "CONTEXTS",
        events.iter().map(|e| e.context.as_str()),
    )?);
    let blank = |name| Parameter::new(name, &[1, count], Data::Text(vec![b' '; events.len()]));
    made.extend(["DESCRIPTIONS", "SUBJECTS"].map(blank));
    made.push(Parameter::new(
        "ICON_IDS",
        &[count],
        Data::Integers(vec![0; events.len()]),
    ));
    made.push(Parameter::new(
        "GENERIC_FLAGS",
        &[count],
        Data::Bytes(vec![0; events.len()]),
    ));
    Ok(made)
}
