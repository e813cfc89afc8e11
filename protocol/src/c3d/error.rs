//! What can be wrong with a file, or with what is to become one. The texts name the section and
//! the byte; the caller adds the file's name.

use std::fmt;

/// The part of a C3D file an error is about.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Section {
    /// The first 512 bytes.
    Header,
    /// Groups and parameters.
    Parameters,
    /// Marker positions and analog samples.
    Data,
}

impl fmt::Display for Section {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Header => "header",
            Self::Parameters => "parameter section",
            Self::Data => "data section",
        })
    }
}

/// Why bytes could not be read as C3D. Byte offsets count from 0 at the start of the file.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum ReadError {
    /// The mark of the format is absent.
    #[error("header: byte 1 is {found:#04x}, expected 0x50 (not a C3D file?)")]
    NotC3d {
        /// What stands there.
        found: u8,
    },
    /// The file is shorter than it says.
    #[error("{section}: file ends at byte {end}, needed {needed} for {what} (cut file?)")]
    Cut {
        /// Where the missing bytes belong.
        section: Section,
        /// Length of the file, bytes.
        end: u64,
        /// Length it would need, bytes.
        needed: u64,
        /// What the missing bytes would hold.
        what: String,
    },
    /// Something in the header, or in the layout it describes, cannot be.
    #[error("{section}: byte {byte}: {problem}")]
    Malformed {
        /// Where it is.
        section: Section,
        /// Offset of the offending byte.
        byte: u64,
        /// What is there, what was expected.
        problem: String,
    },
    /// One parameter cannot be used.
    #[error("parameter section: {name} at byte {byte}: {problem}")]
    Parameter {
        /// `GROUP:PARAMETER`.
        name: String,
        /// Offset of its record.
        byte: u64,
        /// What is there, what was expected.
        problem: String,
    },
}

/// Why a take cannot be written as C3D.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum WriteError {
    /// C3D holds a frame count of 16 bits.
    #[error("{frames} frames: a C3D file holds 1 to 65,535; split the take or write a recording")]
    FrameCount {
        /// Frames of the take.
        frames: usize,
    },
    /// Nothing to write.
    #[error("the take has neither markers nor analog channels")]
    Empty,
    /// A frame has another number of markers than there are labels.
    #[error("frame {frame} has {markers} markers but there are {labels} labels")]
    MarkerCount {
        /// 0-based frame.
        frame: usize,
        /// Its markers.
        markers: usize,
        /// Labels.
        labels: usize,
    },
    /// Frame rate not positive and finite.
    #[error("frame rate {rate_hz} Hz: a positive number is needed")]
    Rate {
        /// The rate.
        rate_hz: f64,
    },
    /// The analog rate does not fit the frame rate.
    #[error(
        "analog rate {analog_hz} Hz is not a whole multiple of the frame rate {rate_hz} Hz, as C3D \
         demands: resample the analog channels first"
    )]
    AnalogRate {
        /// Samples per second.
        analog_hz: f64,
        /// Frames per second.
        rate_hz: f64,
    },
    /// An analog channel has the wrong number of samples.
    #[error("analog channel `{label}` has {found} samples, {expected} fit its rate and the frames")]
    SampleCount {
        /// The channel.
        label: String,
        /// Samples it has.
        found: usize,
        /// Samples it should have.
        expected: usize,
    },
    /// A number that is not finite.
    #[error("{what} is not a finite number")]
    NotFinite {
        /// Where it stands.
        what: String,
    },
    /// A count or a length is over what the format can hold.
    #[error("{what}: {found}, a C3D file holds at most {limit}")]
    TooMany {
        /// What there is too much of.
        what: String,
        /// How much.
        found: usize,
        /// The limit.
        limit: usize,
    },
    /// A force plate names an analog channel that is not there.
    #[error("force plate {plate} uses analog channel {channel} (0-based), there are {channels}")]
    PlateChannel {
        /// 1-based plate.
        plate: usize,
        /// The channel it names.
        channel: usize,
        /// Channels of the take.
        channels: usize,
    },
    /// A group or parameter that is to be carried over is not well formed.
    #[error("parameter {name}: {problem}")]
    Parameter {
        /// `GROUP:PARAMETER`.
        name: String,
        /// What is wrong with it.
        problem: &'static str,
    },
}
