//! Where things are in a file and how many: the header, the few parameters that repeat it, and
//! which of them to believe.

use super::error::{ReadError, Section};
use super::number::{ByteOrder, array};
use super::parameter::Parameters;

/// Blocks are of 512 bytes and counted from 1.
pub(super) const BLOCK: usize = 512;

/// The header's words that the reader uses.
pub(super) struct Header {
    pub(super) order: ByteOrder,
    /// Byte where the parameter section begins.
    pub(super) parameters_at: usize,
    /// Byte behind the parameter section.
    pub(super) parameters_end: usize,
    markers: usize,
    analog_per_frame: usize,
    first: u32,
    last: u32,
    scale: f32,
    data_at: Option<usize>,
    samples_per_frame: usize,
    rate: f32,
}

/// Everything that is needed to cut the data section into numbers.
#[derive(Debug)]
pub(super) struct Layout {
    pub(super) markers: usize,
    pub(super) channels: usize,
    /// Analog samples a channel and frame.
    pub(super) samples_per_frame: usize,
    pub(super) frames: usize,
    pub(super) first_frame: u32,
    pub(super) rate_hz: f64,
    /// Of coordinates in integer files, of residuals in all.
    pub(super) scale: f32,
    /// Whether values are reals.
    pub(super) real: bool,
    pub(super) data_at: usize,
    pub(super) frame_bytes: usize,
}

fn cut(section: Section, bytes: &[u8], needed: usize, what: &str) -> ReadError {
    let (end, needed) = (bytes.len() as u64, needed as u64);
    ReadError::Cut {
        section,
        end,
        needed,
        what: what.to_owned(),
    }
}

impl Header {
    pub(super) fn parse(bytes: &[u8]) -> Result<Self, ReadError> {
        let parameters_at = parameters_at(bytes)?;
        let (blocks, order) = machine(bytes, parameters_at)?;
        let word = |n: usize| {
            bytes
                .get(2 * n - 2..2 * n)
                .and_then(array)
                .map_or(0, |b| order.u16(b))
        };
        let real = |n: usize| {
            bytes
                .get(2 * n - 2..2 * n + 2)
                .and_then(array)
                .map_or(0.0, |b| order.f32(b))
        };
        let data_at = usize::from(word(9)).checked_sub(1).map(|b| b * BLOCK);
        let data_at = data_at.filter(|at| *at > parameters_at);
        // Byte 2's count of blocks is wrong in many files; where the data begin is not.
        let parameters_end = data_at.unwrap_or(parameters_at + blocks.max(1) * BLOCK);
        if bytes.len() < parameters_end {
            return Err(cut(
                Section::Parameters,
                bytes,
                parameters_end,
                "the parameters",
            ));
        }
        Ok(Self {
            order,
            parameters_at,
            parameters_end,
            markers: usize::from(word(2)),
            analog_per_frame: usize::from(word(3)),
            first: u32::from(word(4)),
            last: u32::from(word(5)),
            scale: real(7),
            data_at,
            samples_per_frame: usize::from(word(10)),
            rate: real(11),
        })
    }
}

/// Byte where the parameter section begins, once it is clear that this is a C3D file.
fn parameters_at(bytes: &[u8]) -> Result<usize, ReadError> {
    match bytes.get(1) {
        Some(&found) if found != 0x50 => return Err(ReadError::NotC3d { found }),
        _ if bytes.len() < BLOCK => {
            return Err(cut(Section::Header, bytes, BLOCK, "the header"));
        }
        _ => {}
    }
    let block = bytes.first().copied().map_or(0, usize::from);
    if block < 2 {
        return Err(ReadError::Malformed {
            section: Section::Header,
            byte: 0,
            problem: format!("parameter section in block {block}, expected 2 or more"),
        });
    }
    Ok((block - 1) * BLOCK)
}

/// Blocks of the parameter section and the machine that wrote them.
fn machine(bytes: &[u8], at: usize) -> Result<(usize, ByteOrder), ReadError> {
    let Some(&[_, _, blocks, processor]) = bytes.get(at..).and_then(|b| b.first_chunk()) else {
        return Err(cut(Section::Parameters, bytes, at + 4, "the parameters"));
    };
    let order = ByteOrder::from_processor(processor).ok_or_else(|| ReadError::Malformed {
        section: Section::Parameters,
        byte: at as u64 + 3,
        problem: format!("processor {processor}, expected 84 (Intel), 85 (DEC) or 86 (SGI/MIPS)"),
    })?;
    Ok((usize::from(blocks), order))
}

impl Layout {
    pub(super) fn new(
        header: &Header,
        parameters: &Parameters,
        bytes: &[u8],
        warnings: &mut Vec<String>,
    ) -> Result<Self, ReadError> {
        let (channels, samples_per_frame) = analog_shape(header, parameters, warnings)?;
        let scale = scale(header, parameters)?;
        let real = scale < 0.0;
        let markers = header.markers;
        note(parameters, "POINT", "USED", markers, warnings);
        let (marker_bytes, sample_bytes) = if real { (16, 4) } else { (8, 2) };
        let frame_bytes = markers * marker_bytes + channels * samples_per_frame * sample_bytes;
        let data_at = data_at(header, parameters, warnings);
        let mut layout = Self {
            markers,
            channels,
            samples_per_frame,
            frames: 0,
            first_frame: header.first,
            rate_hz: rate_hz(header, parameters)?,
            scale: scale.abs(),
            real,
            data_at,
            frame_bytes,
        };
        layout.frames = layout.count_frames(header, parameters, bytes, warnings)?;
        if let Some((first, last)) = trial_range(parameters)
            && (last - first).checked_add(1) == u32::try_from(layout.frames).ok()
        {
            layout.first_frame = first;
        }
        Ok(layout)
    }

    fn count_frames(
        &self,
        header: &Header,
        parameters: &Parameters,
        bytes: &[u8],
        warnings: &mut Vec<String>,
    ) -> Result<usize, ReadError> {
        let malformed = |byte: usize, problem: &str| ReadError::Malformed {
            section: Section::Header,
            byte: byte as u64,
            problem: problem.to_owned(),
        };
        if self.frame_bytes == 0 {
            return Err(malformed(2, "neither markers nor analog channels"));
        }
        let claims = frame_claims(header, parameters);
        let Some(&claim) = claims.first() else {
            return Err(malformed(
                6,
                "neither header nor POINT:FRAMES tells the number of frames",
            ));
        };
        let there = bytes.len().saturating_sub(self.data_at) / self.frame_bytes;
        let Some(&frames) = claims.iter().find(|c| **c <= there) else {
            let claim = claims.iter().copied().min().unwrap_or(claim);
            let needed = claim
                .saturating_mul(self.frame_bytes)
                .saturating_add(self.data_at);
            let what = format!("{claim} frames, {there} are there");
            return Err(cut(Section::Data, bytes, needed, &what));
        };
        if frames != claim {
            warnings.push(format!(
                "the parameters tell {claim} frames, the header {frames}; the file holds {there}: \
                 read {frames}"
            ));
        }
        // The last block is filled up: only a whole block too much means more than that.
        let rest = bytes.len() - self.data_at - frames * self.frame_bytes;
        if rest >= BLOCK.max(self.frame_bytes) {
            warnings.push(format!(
                "{rest} bytes behind the last of {frames} frames were not read"
            ));
        }
        Ok(frames)
    }
}

/// Frame counts the file claims, the most credible first (c3d.org, "Reading the frame count").
fn frame_claims(header: &Header, parameters: &Parameters) -> Vec<usize> {
    let stored = parameters
        .get("POINT", "FRAMES")
        .and_then(|p| p.count(0))
        .filter(|n| *n > 0);
    let trial = trial_range(parameters).and_then(|(first, last)| (last - first).checked_add(1));
    let trial = trial.and_then(|n| usize::try_from(n).ok());
    let long = parameters
        .get("POINT", "LONG_FRAMES")
        .and_then(|p| p.count(0));
    let short = |n: usize| stored.is_none_or(|s| s == 0xFFFF || s == n & 0xFFFF);
    if let Some(n) = long
        .into_iter()
        .chain(trial)
        .find(|n| *n > 0xFFFF && short(*n))
    {
        return vec![n];
    }
    let range = (header.last + 1)
        .checked_sub(header.first)
        .filter(|n| *n > 0);
    stored
        .into_iter()
        .chain(range.and_then(|n| usize::try_from(n).ok()))
        .collect()
}

/// First and last frame as the TRIAL group has them, each in two unsigned words, the low first.
fn trial_range(parameters: &Parameters) -> Option<(u32, u32)> {
    let field = |name: &str| {
        let parameter = parameters.get("TRIAL", name)?;
        let (low, high) = (parameter.unsigned(0)?, parameter.unsigned(1).unwrap_or(0.0));
        let value = low + 65_536.0 * high;
        (0.0..=f64::from(u32::MAX))
            .contains(&value)
            .then_some(value as u32)
    };
    let (first, last) = (field("ACTUAL_START_FIELD")?, field("ACTUAL_END_FIELD")?);
    (last >= first).then_some((first, last))
}

/// Channels and samples a channel and frame. The header rules: the data lie as it says.
fn analog_shape(
    header: &Header,
    parameters: &Parameters,
    warnings: &mut Vec<String>,
) -> Result<(usize, usize), ReadError> {
    let (values, samples) = (header.analog_per_frame, header.samples_per_frame.max(1));
    if values % samples != 0 {
        return Err(ReadError::Malformed {
            section: Section::Header,
            byte: 4,
            problem: format!("{values} analog values a frame do not divide into {samples} samples"),
        });
    }
    let channels = values / samples;
    note(parameters, "ANALOG", "USED", channels, warnings);
    Ok(if channels == 0 {
        (0, 0)
    } else {
        (channels, samples)
    })
}

/// A word about a parameter that repeats the header and does not agree.
fn note(p: &Parameters, group: &str, name: &str, header: usize, warnings: &mut Vec<String>) {
    if let Some(stored) = p
        .get(group, name)
        .and_then(|p| p.count(0))
        .filter(|n| *n != header)
    {
        warnings.push(format!(
            "{group}:{name} is {stored}, the header says {header}: took the header"
        ));
    }
}

fn rate_hz(header: &Header, parameters: &Parameters) -> Result<f64, ReadError> {
    let stored = parameters.get("POINT", "RATE").and_then(|p| p.signed(0));
    let usable = |rate: &f64| rate.is_finite() && *rate > 0.0;
    let rate = stored
        .filter(usable)
        .or_else(|| Some(f64::from(header.rate)).filter(usable));
    rate.ok_or_else(|| ReadError::Malformed {
        section: Section::Header,
        byte: 20,
        problem: format!(
            "frame rate {} and POINT:RATE {}: a positive number of frames per second is needed",
            header.rate,
            stored.map_or_else(|| "absent".to_owned(), |r| r.to_string()),
        ),
    })
}

/// POINT:SCALE, else the header's copy; negative when the data are reals.
fn scale(header: &Header, parameters: &Parameters) -> Result<f32, ReadError> {
    let stored = parameters
        .get("POINT", "SCALE")
        .and_then(|p| p.signed(0))
        .map(|s| s as f32);
    let usable = |scale: &f32| scale.is_finite() && scale.abs() > 0.0;
    let scale = stored
        .filter(usable)
        .or_else(|| Some(header.scale).filter(usable));
    scale.ok_or_else(|| ReadError::Malformed {
        section: Section::Header,
        byte: 12,
        problem: format!("scale {} here and none in POINT:SCALE", header.scale),
    })
}

/// Where the data begin: header word 9, else POINT:DATA_START, else behind the parameters.
fn data_at(header: &Header, parameters: &Parameters, warnings: &mut Vec<String>) -> usize {
    if let Some(at) = header.data_at {
        return at;
    }
    let stored = parameters
        .get("POINT", "DATA_START")
        .and_then(|p| p.count(0));
    let stored = stored.and_then(|b| b.checked_sub(1)?.checked_mul(BLOCK));
    let at = stored
        .filter(|at| *at > header.parameters_at)
        .unwrap_or(header.parameters_end);
    warnings.push(format!(
        "the header does not say where the data begin: took byte {at}"
    ));
    at
}
