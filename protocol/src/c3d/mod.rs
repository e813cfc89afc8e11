//! C3D files (open standard, c3d.org): [`read()`] turns bytes into a take, [`write()`] a take into
//! bytes. Neither panics, whatever it is given. No files are opened here, no unit is converted,
//! no axis turned and no force computed: values come as the file has them.
//!
//! The format in brief. A file is three sections of 512-byte blocks.
//!
//! 1. **Header**, one block of 16-bit words (1-based): word 1 the parameter section's block and the
//!    mark 0x50; 2 markers; 3 analog values per frame; 4, 5 first and last frame number;
//!    7–8 scale (negative: data are reals); 9 the data section's block; 10 analog samples per
//!    channel and frame; 11–12 frame rate; 150–234 up to 18 events.
//! 2. **Parameters**: four bytes (the last names the machine: Intel, DEC or SGI/MIPS, whose number
//!    formats hold for the whole file), then a chain of records: groups and their parameters,
//!    arrays of text, bytes, 16-bit integers or reals, first index fastest.
//! 3. **Data**: frame by frame the markers (x, y, z and a fourth word: negative when the marker was
//!    not seen, else camera mask and residual), then the analog samples, all channels of the first
//!    sample, all channels of the second, and so on.
//!
//! Where header and parameters disagree the reader says so in [`C3d::warnings`]. It trusts the
//! header for the layout (sizes, block of the data) and the parameters for meaning (rate, scale).
//! Files tell the number of frames in up to four places: TRIAL or POINT:LONG_FRAMES when it is
//! over 65,535, else POINT:FRAMES, else the header's range if only that fits the file.
//!
//! [`write()`] gives Intel reals. Residuals are kept in 255 steps of the file's scale (largest
//! coordinate / 32,000), as the format wants it; everything else comes back exactly.

mod encode;
mod error;
mod event;
mod groups;
mod layout;
mod number;
mod parameter;
mod plate;
mod read;
mod record;
#[cfg(test)]
mod tests;
mod write;

pub use error::{ReadError, Section, WriteError};
pub use event::Event;
pub use parameter::{Data, Group, Parameter, Parameters};
pub use plate::Plate;
pub use read::read;
pub use write::write;

/// One take as a C3D file holds it.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct C3d {
    /// Frames per second. Positive and finite after [`read()`].
    pub rate_hz: f64,
    /// Number of the first stored frame in the trial it was cut from; 1 when nothing was cut.
    pub first_frame: u32,
    /// Unit of every length in this file (POINT:UNITS as written, trimmed): usually `mm` or `m`.
    /// Empty when the file does not say.
    pub units: String,
    /// One label a marker, trimmed, otherwise as written (prefixes such as `Name:C7` stay).
    /// Markers without a label are called `unlabeled 7` by their 1-based place.
    pub labels: Vec<String>,
    /// Frames in order, each with one entry a label; `None` where the marker was not seen.
    pub frames: Vec<Vec<Option<Marker>>>,
    /// What was sampled beside the markers.
    pub analog: Analog,
    /// Force plates that the file describes completely.
    pub plates: Vec<Plate>,
    /// First and last frame (0-based, inclusive) in which the plates are said to be unloaded
    /// (FORCE_PLATFORM:ZERO), so that their offset can be taken off.
    pub unloaded: Option<(usize, usize)>,
    /// Events of the EVENT group or, without one, of the header.
    pub events: Vec<Event>,
    /// Every group as stored, also what the fields above were taken from. [`write()`] carries over
    /// what it does not produce itself.
    pub parameters: Parameters,
    /// Oddities that were tolerated, in plain sentences. Ignored by [`write()`].
    pub warnings: Vec<String>,
}

/// One marker in one frame.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Marker {
    /// X, Y, Z in the file's axes and units; finite.
    pub position: [f32; 3],
    /// How well the cameras agreed, in the file's units; 0 for a point that was computed or filled
    /// (and for files without residuals). Not negative.
    pub residual: f32,
}

/// Channels sampled at one rate, a whole multiple of the frame rate.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Analog {
    /// Samples per second; 0 without channels.
    pub rate_hz: f64,
    /// The channels, as many samples each.
    pub channels: Vec<Channel>,
}

/// One analog channel.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Channel {
    /// Label as written, trimmed; `unlabeled 3` by its 1-based place when there is none.
    pub label: String,
    /// Unit as written, trimmed (`N`, `Nmm`, `V`); empty when the file does not say.
    pub unit: String,
    /// Samples from the start of the first frame on, in `unit`: (raw − OFFSET)·SCALE·GEN_SCALE.
    /// `None` where the file holds no finite number.
    pub samples: Vec<Option<f32>>,
}
