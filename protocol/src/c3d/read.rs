//! From bytes to a take: the three sections in turn. Layout questions are settled in `layout`.

use super::error::ReadError;
use super::event;
use super::layout::{Header, Layout};
use super::number::{ByteOrder, array};
use super::parameter::{Parameter, Parameters};
use super::plate;
use super::record::{self, Span};
use super::{Analog, C3d, Channel, Marker};

/// Reads a C3D file of any of the three machines, integer or real. `bytes` is the whole file.
///
/// Small disagreements inside the file are settled and listed in [`C3d::warnings`].
///
/// # Errors
/// When the bytes are no C3D file, end too early, or lack what every take needs. The texts name
/// section and byte; add the file's name in front.
pub fn read(bytes: &[u8]) -> Result<C3d, ReadError> {
    let header = Header::parse(bytes)?;
    let mut warnings = Vec::new();
    let span = Span {
        bytes: bytes.get(..header.parameters_end).unwrap_or(bytes),
        start: header.parameters_at + 4,
        order: header.order,
    };
    let parameters = record::parse(&span, &mut warnings)?;
    let layout = Layout::new(&header, &parameters, bytes, &mut warnings)?;
    let data = Frames {
        bytes,
        layout: &layout,
        order: header.order,
    };
    let frames: Vec<_> = data.each().map(|frame| data.markers(frame)).collect();
    warn_of_origin(&frames, &mut warnings);
    let analog = analog(&data, &parameters, &mut warnings);
    let start_s = event::first_frame_s(layout.first_frame, layout.rate_hz);
    Ok(C3d {
        rate_hz: layout.rate_hz,
        first_frame: layout.first_frame,
        units: parameters
            .get("POINT", "UNITS")
            .map(Parameter::text)
            .unwrap_or_default(),
        labels: named(parameters.texts("POINT", "LABELS"), layout.markers),
        plates: plate::plates(&parameters, analog.channels.len(), &mut warnings),
        unloaded: unloaded(&parameters, layout.frames),
        events: event::from_group(&parameters, start_s)
            .unwrap_or_else(|| event::from_header(bytes, header.order)),
        frames,
        analog,
        parameters,
        warnings,
    })
}

/// The data section, cut by the layout.
struct Frames<'a> {
    bytes: &'a [u8],
    layout: &'a Layout,
    order: ByteOrder,
}

impl<'a> Frames<'a> {
    fn each(&self) -> impl Iterator<Item = &'a [u8]> {
        let data = self.bytes.get(self.layout.data_at..).unwrap_or_default();
        data.chunks_exact(self.layout.frame_bytes)
            .take(self.layout.frames)
    }

    fn marker_bytes(&self) -> usize {
        if self.layout.real { 16 } else { 8 }
    }

    fn markers(&self, frame: &[u8]) -> Vec<Option<Marker>> {
        let points = frame
            .chunks_exact(self.marker_bytes())
            .take(self.layout.markers);
        if self.layout.real {
            points.map(|p| self.real_marker(p)).collect()
        } else {
            points.map(|p| self.integer_marker(p)).collect()
        }
    }

    fn real_marker(&self, bytes: &[u8]) -> Option<Marker> {
        let [x, y, z, word]: [f32; 4] = std::array::from_fn(|i| {
            bytes
                .get(4 * i..4 * i + 4)
                .and_then(array)
                .map_or(f32::NAN, |b| self.order.f32(b))
        });
        // The fourth word is an integer stored as a real; the cast saturates and takes NaN as 0.
        self.marker([x, y, z], word as i16)
    }

    fn integer_marker(&self, bytes: &[u8]) -> Option<Marker> {
        let [x, y, z, word]: [i16; 4] = std::array::from_fn(|i| {
            bytes
                .get(2 * i..2 * i + 2)
                .and_then(array)
                .map_or(-1, |b| self.order.i16(b))
        });
        self.marker([x, y, z].map(|v| f32::from(v) * self.layout.scale), word)
    }

    /// The fourth word: negative when not seen, else camera mask (high byte) and residual in
    /// steps of the scale (low byte).
    fn marker(&self, position: [f32; 3], word: i16) -> Option<Marker> {
        let [residual, _cameras] = word.to_le_bytes();
        let marker = Marker {
            position,
            residual: f32::from(residual) * self.layout.scale,
        };
        (word >= 0 && position.iter().all(|v| v.is_finite())).then_some(marker)
    }

    /// The analog part of a frame, one piece a sample, each with all channels.
    fn rounds(&self, frame: &'a [u8]) -> impl Iterator<Item = &'a [u8]> {
        let analog = frame
            .get(self.layout.markers * self.marker_bytes()..)
            .unwrap_or_default();
        analog.chunks_exact(self.layout.channels.max(1) * self.sample_bytes())
    }

    fn sample_bytes(&self) -> usize {
        if self.layout.real { 4 } else { 2 }
    }

    fn sample(&self, bytes: &[u8], signed: bool) -> f64 {
        let order = self.order;
        match (self.layout.real, signed) {
            (true, _) => array(bytes).map_or(f64::NAN, |b| f64::from(order.f32(b))),
            (false, true) => array(bytes).map_or(f64::NAN, |b| f64::from(order.i16(b))),
            (false, false) => array(bytes).map_or(f64::NAN, |b| f64::from(order.u16(b))),
        }
    }
}

/// How one channel's raw values become real ones.
struct Scaling {
    offset: f64,
    scale: f64,
}

fn analog(data: &Frames<'_>, parameters: &Parameters, warnings: &mut Vec<String>) -> Analog {
    let layout = data.layout;
    if layout.channels == 0 {
        return Analog::default();
    }
    let format = parameters
        .get("ANALOG", "FORMAT")
        .map(Parameter::text)
        .unwrap_or_default();
    let signed = !format.eq_ignore_ascii_case("UNSIGNED");
    let scalings = scalings(parameters, layout.channels, signed, warnings);
    let length = layout.frames * layout.samples_per_frame;
    let mut samples: Vec<Vec<_>> = (0..layout.channels)
        .map(|_| Vec::with_capacity(length))
        .collect();
    for round in data.each().flat_map(|frame| data.rounds(frame)) {
        let raw = round
            .chunks_exact(data.sample_bytes())
            .map(|b| data.sample(b, signed));
        for ((raw, scaling), values) in raw.zip(&scalings).zip(&mut samples) {
            let value = ((raw - scaling.offset) * scaling.scale) as f32;
            values.push(value.is_finite().then_some(value));
        }
    }
    let labels = named(parameters.texts("ANALOG", "LABELS"), layout.channels);
    let units = parameters
        .texts("ANALOG", "UNITS")
        .into_iter()
        .chain(std::iter::repeat(String::new()));
    let channels = labels.into_iter().zip(units).zip(samples);
    Analog {
        rate_hz: analog_rate_hz(layout, parameters, warnings),
        channels: channels
            .map(|((label, unit), samples)| Channel {
                label,
                unit,
                samples,
            })
            .collect(),
    }
}

fn scalings(
    parameters: &Parameters,
    channels: usize,
    signed: bool,
    warnings: &mut Vec<String>,
) -> Vec<Scaling> {
    let every = parameters
        .get("ANALOG", "GEN_SCALE")
        .and_then(|p| p.signed(0))
        .unwrap_or(1.0);
    let all = |name: &'static str, signed: bool| {
        let value = move |p: &Parameter, i| if signed { p.signed(i) } else { p.unsigned(i) };
        let pieces = parameters.pieces("ANALOG", name);
        pieces
            .flat_map(move |p| (0..p.data.len()).map(move |i| value(p, i)))
            .collect::<Vec<_>>()
    };
    let (scales, offsets) = (all("SCALE", true), all("OFFSET", signed));
    if scales.len() < channels {
        warnings.push(format!(
            "ANALOG:SCALE has {} of {channels} values: took 1 for the others",
            scales.len()
        ));
    }
    let pick = |values: &[Option<f64>], i: usize, default| {
        values.get(i).copied().flatten().unwrap_or(default)
    };
    (0..channels)
        .map(|i| Scaling {
            offset: pick(&offsets, i, 0.0),
            scale: pick(&scales, i, 1.0) * every,
        })
        .collect()
}

/// The rate that the stored samples have; ANALOG:RATE only repeats it.
fn analog_rate_hz(layout: &Layout, parameters: &Parameters, warnings: &mut Vec<String>) -> f64 {
    let rate_hz = layout.rate_hz * layout.samples_per_frame as f64;
    let stored = parameters.get("ANALOG", "RATE").and_then(|p| p.signed(0));
    if let Some(stored) = stored.filter(|s| (s - rate_hz).abs() > 1e-3 * rate_hz) {
        warnings.push(format!(
            "ANALOG:RATE is {stored} Hz, the data have {rate_hz} Hz: took the data"
        ));
    }
    rate_hz
}

/// The first `count` labels; by place where there is none.
fn named(mut labels: Vec<String>, count: usize) -> Vec<String> {
    labels.resize(count, String::new());
    for (label, place) in labels.iter_mut().zip(1..) {
        if label.is_empty() {
            *label = format!("unlabeled {place}");
        }
    }
    labels
}

fn unloaded(parameters: &Parameters, frames: usize) -> Option<(usize, usize)> {
    let zero = parameters.get("FORCE_PLATFORM", "ZERO")?;
    let (first, last) = (
        zero.count(0)?.checked_sub(1)?,
        zero.count(1)?.checked_sub(1)?,
    );
    (first <= last && last < frames).then_some((first, last))
}

/// Some programs write lost markers as seen at the origin. They are kept, but said.
fn warn_of_origin(frames: &[Vec<Option<Marker>>], warnings: &mut Vec<String>) {
    let at_origin = |m: &&Marker| m.position.iter().all(|v| v.abs() <= 0.0);
    let count = frames.iter().flatten().flatten().filter(at_origin).count();
    if count > 0 {
        warnings.push(format!(
            "{count} marker positions are exactly 0, 0, 0 and marked as seen"
        ));
    }
}
