//! From a take to bytes: Intel, reals, the groups that readers expect. The chain of records is
//! encoded in `encode`, the groups are made in `groups`.

use super::encode;
use super::error::WriteError;
use super::event::FOUR_LETTER_KEY;
use super::groups;
use super::layout::BLOCK;
use super::{Analog, C3d, Marker};

/// What the header and the groups have to agree on.
pub(super) struct Plan {
    pub(super) frames: u16,
    /// Analog samples a channel and frame; 0 without channels.
    pub(super) samples_per_frame: u16,
    /// Positive; stored negative, because the data are reals.
    pub(super) scale: f32,
    /// 1-based block of the data section.
    pub(super) data_block: u16,
}

/// Writes a take as an Intel C3D file with real data.
///
/// Groups of [`C3d::parameters`] are carried over, except what this function makes itself from the
/// other fields: the standard parameters of POINT, ANALOG and TRIAL and the whole of
/// FORCE_PLATFORM and EVENT. Residuals are rounded to 255 steps of largest coordinate / 32,000;
/// reading back gives everything else exactly, numbers rounded to 32 bits where they are wider.
///
/// # Errors
/// When the take does not fit the format (frame count, rates, lengths of labels) or contradicts
/// itself (numbers of markers or samples).
pub fn write(take: &C3d) -> Result<Vec<u8>, WriteError> {
    let mut plan = plan(take)?;
    // The block of the data is a number of fixed size in the parameters, so their length is known
    // before it is.
    let length = 4 + encode::encode(&groups::all(take, &plan)?)?.len();
    let blocks = length.div_ceil(BLOCK);
    let count = u8::try_from(blocks)
        .ok()
        .ok_or_else(|| WriteError::TooMany {
            what: "blocks of parameters".to_owned(),
            found: blocks,
            limit: 255,
        })?;
    plan.data_block = 2 + u16::from(count);
    let mut out = header(take, &plan);
    out.extend_from_slice(&[1, 0x50, count, 84]);
    out.extend(encode::encode(&groups::all(take, &plan)?)?);
    out.resize((blocks + 1) * BLOCK, 0);
    data(take, &plan, &mut out);
    out.resize(out.len().next_multiple_of(BLOCK), 0);
    Ok(out)
}

fn plan(take: &C3d) -> Result<Plan, WriteError> {
    let count = take.frames.len();
    let frames = u16::try_from(count).ok().filter(|n| *n > 0);
    let frames = frames.ok_or(WriteError::FrameCount { frames: count })?;
    if !(take.rate_hz.is_finite() && take.rate_hz as f32 > 0.0) {
        return Err(WriteError::Rate {
            rate_hz: take.rate_hz,
        });
    }
    limit("markers", take.labels.len(), 65_535)?;
    let samples_per_frame = samples_per_frame(&take.analog, take.rate_hz)?;
    let values = take
        .analog
        .channels
        .len()
        .saturating_mul(usize::from(samples_per_frame));
    limit("analog values a frame", values, 65_535)?;
    if take.labels.is_empty() && take.analog.channels.is_empty() {
        return Err(WriteError::Empty);
    }
    check_markers(take)?;
    check_samples(&take.analog, count * usize::from(samples_per_frame))?;
    Ok(Plan {
        frames,
        samples_per_frame,
        scale: scale(take),
        data_block: 0,
    })
}

pub(super) fn limit(what: &str, found: usize, limit: usize) -> Result<(), WriteError> {
    if found <= limit {
        return Ok(());
    }
    Err(WriteError::TooMany {
        what: what.to_owned(),
        found,
        limit,
    })
}

fn samples_per_frame(analog: &Analog, rate_hz: f64) -> Result<u16, WriteError> {
    if analog.channels.is_empty() {
        return Ok(0);
    }
    let ratio = analog.rate_hz / rate_hz;
    let whole = ratio.round();
    // Rates are stored in 32 bits, so they are as exact as that.
    if !((1.0..=65_535.0).contains(&whole) && (ratio - whole).abs() <= 1e-6 * whole) {
        return Err(WriteError::AnalogRate {
            analog_hz: analog.rate_hz,
            rate_hz,
        });
    }
    Ok(whole as u16)
}

fn check_markers(take: &C3d) -> Result<(), WriteError> {
    let labels = take.labels.len();
    for (frame, markers) in take.frames.iter().enumerate() {
        if markers.len() != labels {
            return Err(WriteError::MarkerCount {
                frame,
                markers: markers.len(),
                labels,
            });
        }
        let finite = |m: &Marker| {
            m.residual >= 0.0 && m.residual.is_finite() && m.position.iter().all(|v| v.is_finite())
        };
        if let Some((label, _)) = take
            .labels
            .iter()
            .zip(markers)
            .find(|(_, m)| !m.as_ref().is_none_or(finite))
        {
            return Err(WriteError::NotFinite {
                what: format!("marker `{label}` in frame {frame}"),
            });
        }
    }
    Ok(())
}

fn check_samples(analog: &Analog, expected: usize) -> Result<(), WriteError> {
    for channel in &analog.channels {
        if channel.samples.len() != expected {
            let (label, found) = (channel.label.clone(), channel.samples.len());
            return Err(WriteError::SampleCount {
                label,
                found,
                expected,
            });
        }
    }
    Ok(())
}

/// The standard's choice, so that a program can turn the file into an integer one.
fn scale(take: &C3d) -> f32 {
    let markers = take.frames.iter().flatten().flatten();
    let largest = markers
        .flat_map(|m| m.position)
        .fold(0.0_f32, |a, v| a.max(v.abs()));
    let scale = largest / 32_000.0;
    if scale.is_normal() { scale } else { 1.0 }
}

fn header(take: &C3d, plan: &Plan) -> Vec<u8> {
    let mut out = vec![2, 0x50];
    let mut word = |value: u16| out.extend_from_slice(&value.to_le_bytes());
    // Limited in `plan`.
    word(take.labels.len() as u16);
    word(take.analog.channels.len() as u16 * plan.samples_per_frame);
    let (first, last) = short_range(take.first_frame, plan.frames);
    word(first);
    word(last);
    word(10); // Largest gap that was interpolated: nobody relies on it, this is the usual value.
    out.extend_from_slice(&(-plan.scale).to_le_bytes());
    out.extend_from_slice(&plan.data_block.to_le_bytes());
    out.extend_from_slice(&plan.samples_per_frame.to_le_bytes());
    out.extend_from_slice(&(take.rate_hz as f32).to_le_bytes());
    out.resize(298, 0);
    out.extend_from_slice(&FOUR_LETTER_KEY.to_le_bytes());
    out.resize(BLOCK, 0);
    out
}

/// First and last frame in 16 bits; from 1 on when the true ones, in TRIAL, do not fit.
fn short_range(first: u32, frames: u16) -> (u16, u16) {
    let first_short = u16::try_from(first).ok();
    let last = first_short.and_then(|f| f.checked_add(frames - 1));
    first_short.zip(last).unwrap_or((1, frames))
}

fn data(take: &C3d, plan: &Plan, out: &mut Vec<u8>) {
    let samples = usize::from(plan.samples_per_frame);
    for (index, frame) in take.frames.iter().enumerate() {
        for marker in frame {
            let values = words(marker.as_ref(), plan.scale);
            out.extend(values.iter().flat_map(|v| v.to_le_bytes()));
        }
        for sample in index * samples..(index + 1) * samples {
            let all = take
                .analog
                .channels
                .iter()
                .map(|c| c.samples.get(sample).copied().flatten());
            out.extend(all.flat_map(|v| v.unwrap_or(f32::NAN).to_le_bytes()));
        }
    }
}

/// x, y, z and the fourth word: −1 when not seen, else the residual in steps, no camera known.
fn words(marker: Option<&Marker>, scale: f32) -> [f32; 4] {
    marker.map_or([0.0, 0.0, 0.0, -1.0], |m| {
        let [x, y, z] = m.position;
        [x, y, z, (m.residual / scale).round().min(255.0)]
    })
}
