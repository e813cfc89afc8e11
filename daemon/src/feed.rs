//! Takes as datagrams: what `send`, `analyze` and the demo put on the wire (or straight into the
//! pipeline). Knows C3D takes and frames; sockets and pacing are in `send`.

use anyhow::Context as _;
use protocol::c3d::C3d;
use protocol::wire::{
    self, Body, Content, Describe, ForceBlock, Header, LabelList, Marker, PlateKind, PlateList,
    Source,
};

use crate::map::{MarkerMap, metres_in};

/// One datagram and when it is due on the sender's clock.
#[derive(Debug, Clone, PartialEq)]
pub struct Due {
    /// Device time, nanoseconds.
    pub time_ns: i64,
    /// The bytes.
    pub bytes: Vec<u8>,
}

/// Stream numbers of our own senders.
const MARKER_STREAM: u32 = 1;
const FORCE_STREAM: u32 = 2;
/// Our senders have one clock for everything.
const CLOCK: u32 = 1;
/// A description is repeated this often.
const DESCRIBE_EVERY_NS: i64 = 1_000_000_000;

/// One outgoing stream: numbers its datagrams and repeats its description.
#[derive(Debug)]
pub struct Feed {
    header: Header,
    describes: Vec<Describe>,
    describe_due_ns: i64,
}

impl Feed {
    /// A marker stream with these labels.
    #[must_use]
    pub fn markers(labels: Vec<String>, source: Source, epoch: u32) -> Self {
        let total = u16::try_from(labels.len()).unwrap_or(u16::MAX);
        let content = Content::Markers(LabelList {
            source,
            total,
            first: 0,
            labels,
        });
        Self::new(MARKER_STREAM, &content, epoch)
    }

    /// A force stream of these plates.
    #[must_use]
    pub fn forces(list: PlateList, epoch: u32) -> Self {
        Self::new(FORCE_STREAM, &Content::Forces(list), epoch)
    }

    /// Appends consecutive samples of all plates, and the description when it is due.
    ///
    /// # Errors
    /// When a number does not fit the format.
    pub fn samples(
        &mut self,
        first: u64,
        time_ns: i64,
        (channels, values): (u8, &[Option<f32>]),
        out: &mut Vec<Due>,
    ) -> anyhow::Result<()> {
        self.describe(time_ns, out)?;
        let block = ForceBlock {
            first_sample: first,
            layout: 1,
            channels,
            values: values.into(),
        };
        self.emit(time_ns, &Body::ForceBlock(block), out)
    }

    fn new(stream: u32, content: &Content, epoch: u32) -> Self {
        let header = Header {
            stream,
            clock: CLOCK,
            epoch,
            sequence: 0,
            device_time_ns: 0,
        };
        Self {
            header,
            describes: wire::describe_parts(1, content),
            describe_due_ns: i64::MIN,
        }
    }

    /// Appends one frame, and the description when it is due.
    ///
    /// # Errors
    /// When a label or number does not fit the format.
    pub fn frame(
        &mut self,
        number: u64,
        time_ns: i64,
        markers: &[Option<Marker>],
        out: &mut Vec<Due>,
    ) -> anyhow::Result<()> {
        self.describe(time_ns, out)?;
        for part in wire::frame_parts(1, number, markers) {
            self.emit(time_ns, &Body::MarkerFrame(part), out)?;
        }
        Ok(())
    }

    fn describe(&mut self, time_ns: i64, out: &mut Vec<Due>) -> anyhow::Result<()> {
        if time_ns < self.describe_due_ns {
            return Ok(());
        }
        self.describe_due_ns = time_ns.saturating_add(DESCRIBE_EVERY_NS);
        for describe in self.describes.clone() {
            self.emit(time_ns, &Body::Describe(describe), out)?;
        }
        Ok(())
    }

    fn emit(&mut self, time_ns: i64, body: &Body<'_>, out: &mut Vec<Due>) -> anyhow::Result<()> {
        let mut bytes = Vec::new();
        self.header.device_time_ns = time_ns;
        wire::encode(&self.header, body, &mut bytes)?;
        self.header.sequence += 1;
        out.push(Due { time_ns, bytes });
        Ok(())
    }
}

/// Device time of frame or sample `n`, nanoseconds from the first one.
#[must_use]
pub fn time_ns(n: usize, rate_hz: f64) -> i64 {
    (n as f64 * 1e9 / rate_hz).round() as i64
}

/// A whole C3D take as datagrams in the order of device time. Frames are numbered from 0. The axes of
/// the map, else those that a file exported by us tells, travel with the description.
///
/// # Errors
/// When a label, the unit or the plates do not fit the format.
pub fn of_c3d(c3d: &C3d, map: Option<&MarkerMap>, epoch: u32) -> anyhow::Result<Vec<Due>> {
    let of_map = map
        .and_then(|m| m.rotation)
        .map(|r| [0, 1, 2].map(|row| [r[(row, 0)], r[(row, 1)], r[(row, 2)]]));
    let rotation = of_map.or_else(|| bay_axes(c3d));
    let origin = map.and_then(|m| m.origin).map(Into::into);
    let source = Source {
        rate_hz: c3d.rate_hz,
        meters_per_unit: metres_in(&c3d.units),
        bay_from_source: rotation,
        bay_origin: origin
            .or_else(|| reals(c3d, "BAY_ORIGIN"))
            .unwrap_or([0.0; 3]),
    };
    let mut out = Vec::new();
    let mut markers = Feed::markers(c3d.labels.clone(), source, epoch);
    for (number, frame) in c3d.frames.iter().enumerate() {
        let points: Vec<Option<Marker>> = frame
            .iter()
            .map(|m| {
                m.map(|m| Marker {
                    position: m.position,
                    residual: m.residual,
                })
            })
            .collect();
        markers
            .frame(
                number as u64,
                time_ns(number, c3d.rate_hz),
                &points,
                &mut out,
            )
            .with_context(|| format!("frame {number}"))?;
    }
    if let Some(forces) = Forces::of(c3d, source) {
        forces.blocks(epoch, &mut out).context("force plates")?;
    }
    // Stable: a frame stays before the block that starts with it.
    out.sort_by_key(|due| due.time_ns);
    Ok(out)
}

/// Source axes to the bay's, where a file exported by us tells them.
fn bay_axes(c3d: &C3d) -> Option<[[f64; 3]; 3]> {
    let rows = reals::<9>(c3d, "BAY_AXES")?;
    Some([0, 3, 6].map(|at| [rows[at], rows[at + 1], rows[at + 2]]))
}

/// `N` numbers of our own group.
fn reals<const N: usize>(c3d: &C3d, name: &str) -> Option<[f64; N]> {
    let found = c3d.parameters.get("WHIN", name)?;
    let mut values = [0.0; N];
    for (n, value) in values.iter_mut().enumerate() {
        *value = found.signed(n)?;
    }
    Some(values)
}

/// One force channel of a take: its place, its reading without load, its factor to SI.
#[derive(Clone, Copy)]
struct ForceChannel {
    place: usize,
    zero: f32,
    factor: f32,
}

/// The force plates of a take, in the units of the wire and without what they read unloaded.
struct Forces {
    list: PlateList,
    /// Plate after plate.
    channels: Vec<ForceChannel>,
    samples: Vec<Vec<Option<f32>>>,
}

impl Forces {
    /// `None` without plates of a known type.
    fn of(c3d: &C3d, source: Source) -> Option<Self> {
        let known: Vec<_> = c3d
            .plates
            .iter()
            .filter_map(|p| Some((p, plate_kind(p, &c3d.units)?)))
            .collect();
        let total = u8::try_from(known.len()).ok().filter(|n| *n > 0)?;
        let plates = known.iter().map(|(p, kind)| wire::Plate {
            kind: *kind,
            corners: p.corners.map(|c| c.map(|v| v as f32)),
            origin: p.origin.map(|v| v as f32),
        });
        let channels = known.iter().flat_map(|(p, _)| {
            p.channels
                .iter()
                .enumerate()
                .map(|(n, &place)| ForceChannel {
                    place,
                    // A plate of kind 1 gives its center of pressure: there is no offset to take off.
                    zero: if p.kind == 1 {
                        0.0
                    } else {
                        unloaded(c3d, place)
                    },
                    factor: si_factor((p.kind, n), &c3d.analog.channels[place].unit, &c3d.units),
                })
        });
        let source = Source {
            rate_hz: c3d.analog.rate_hz,
            ..source
        };
        Some(Self {
            list: PlateList {
                source,
                total,
                first: 0,
                plates: plates.collect(),
            },
            channels: channels.collect(),
            samples: c3d
                .analog
                .channels
                .iter()
                .map(|c| c.samples.clone())
                .collect(),
        })
    }

    fn blocks(&self, epoch: u32, out: &mut Vec<Due>) -> anyhow::Result<()> {
        let mut feed = Feed::forces(self.list.clone(), epoch);
        let channels = u8::try_from(self.channels.len()).context("too many force channels")?;
        let samples = self
            .channels
            .iter()
            .map(|c| self.samples[c.place].len())
            .min()
            .unwrap_or(0);
        for first in (0..samples).step_by(ForceBlock::samples_that_fit(channels).max(1)) {
            let last = (first + ForceBlock::samples_that_fit(channels)).min(samples);
            let value = |n: usize, c: ForceChannel| {
                self.samples[c.place][n].map(|v| (v - c.zero) * c.factor)
            };
            let values: Vec<Option<f32>> = (first..last)
                .flat_map(|n| self.channels.iter().map(move |&c| value(n, c)))
                .collect();
            let time = time_ns(first, self.list.source.rate_hz);
            feed.samples(first as u64, time, (channels, &values), out)?;
        }
        Ok(())
    }
}

/// Mean reading of a channel over the frames that the file calls unloaded; 0 where it names none.
fn unloaded(c3d: &C3d, channel: usize) -> f32 {
    let Some((first, last)) = c3d.unloaded else {
        return 0.0;
    };
    let samples = &c3d.analog.channels[channel].samples;
    let a_frame = samples.len() / c3d.frames.len().max(1);
    let quiet = samples
        .iter()
        .skip(first * a_frame)
        .take((last + 1 - first.min(last)) * a_frame)
        .flatten();
    let (sum, n) = quiet.fold((0.0, 0u32), |(sum, n), v| (sum + f64::from(*v), n + 1));
    if n == 0 {
        0.0
    } else {
        (sum / f64::from(n)) as f32
    }
}

/// The wire's kind of a C3D plate; a type 4 matrix that yields N·mm is made to yield N·m.
fn plate_kind(plate: &protocol::c3d::Plate, length_unit: &str) -> Option<PlateKind> {
    match plate.kind {
        1 => Some(PlateKind::Pressure),
        2 => Some(PlateKind::Moments),
        3 => Some(PlateKind::Corners),
        4 => {
            let moment = metres_in(length_unit).unwrap_or(1.0);
            let scaled = |row: usize, v: f64| (if row < 3 { v } else { v * moment }) as f32;
            let matrix = plate.cal_matrix?;
            Some(PlateKind::Raw(std::array::from_fn(|r| {
                matrix[r].map(|v| scaled(r, v))
            })))
        }
        _ => None,
    }
}

/// Factor to SI of channel `n` of a plate of this kind. Positions and moments are in the file's unit
/// of length (many files call them `N` all the same) unless their own unit says otherwise; forces,
/// and channels that still have to go through a matrix, stay.
fn si_factor((kind, n): (u8, usize), unit: &str, length_unit: &str) -> f32 {
    let with_length = matches!(kind, 1 | 2) && n >= 3;
    let unit = unit.to_ascii_lowercase();
    match unit {
        _ if !with_length => 1.0,
        u if u.ends_with("mm") => 1e-3,
        u if u.ends_with("cm") => 1e-2,
        u if u.ends_with('m') => 1.0,
        _ => metres_in(length_unit).unwrap_or(1.0) as f32,
    }
}
