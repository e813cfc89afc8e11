//! Writing a recording: entries are gathered in batches, batches in chunks, chunks are written
//! whole. Blocks on the disk; never call it from the thread that analyzes.

use std::collections::BTreeMap;
use std::fs::File;
use std::io::{BufWriter, Write};
use std::path::{Path, PathBuf};

use mcap::records::MessageHeader;
use mcap::write::{Metadata, NoSeek};
use mcap::{Compression, McapError, WriteOptions, Writer};

use protocol::report::Report;

use super::{FORMAT, METADATA, Meta, ONLY_SWINGS, RecordingError, batch, notes};

/// A batch closes after this much arrival time …
const BATCH_NS: u64 = 50_000_000;
/// … or at this size, so that a burst cannot grow it.
const BATCH_BYTES: usize = 64 * 1024;
/// What a crash may cost: arrival time between two flushes.
const FLUSH_NS: u64 = 250_000_000;
/// Uncompressed size at which a chunk closes by itself.
const CHUNK_BYTES: u64 = 256 * 1024;

/// Number of the channel with the datagrams.
const CHANNEL: u16 = 1;
/// What the messages look like, for someone who has nothing but the file.
const SCHEMA: &str = "entries, little-endian: u32 length (ffffffff: a tick, without bytes), \
    u64 nanoseconds since clock_zero_utc_ns, bytes of the datagram";

/// A recording that is being written. Dropped without [`Recorder::finish`] it lacks the entries of
/// the last 50 ms. Its memory grows by about 100 bytes a chunk, for the index at the end.
pub struct Recorder {
    path: PathBuf,
    /// The same file, to bring it to the disk.
    disk: File,
    writer: Out,
    zero_utc_ns: u64,
    open: Batch,
    flushed_ns: Option<u64>,
    sequence: u32,
    /// Counts the messages of the other channels.
    noted: u32,
}

/// The container. Without seeking: a file that is torn is then a plain beginning of the whole.
type Out = Writer<NoSeek<BufWriter<File>>>;

/// The open batch.
#[derive(Default)]
struct Batch {
    bytes: Vec<u8>,
    /// Time of the first entry.
    first_ns: Option<u64>,
    /// Device time of the first datagram.
    device_ns: Option<i64>,
}

impl Recorder {
    /// Starts a new file; one that exists is never overwritten.
    ///
    /// # Errors
    /// When the file cannot be created or written.
    pub fn create(path: &Path, meta: &Meta) -> Result<Self, RecordingError> {
        let create = |why| RecordingError::Create {
            path: path.to_owned(),
            why,
        };
        let file = File::create_new(path).map_err(create)?;
        let disk = file.try_clone().map_err(create)?;
        let writer = start(file, meta).map_err(|why| failed(path, why))?;
        Ok(Self {
            path: path.to_owned(),
            disk,
            writer,
            zero_utc_ns: meta.clock_zero_utc_ns,
            open: Batch::default(),
            flushed_ns: None,
            sequence: 0,
            noted: 0,
        })
    }

    /// Adds a datagram; `device_time_ns` is what its header says.
    ///
    /// # Errors
    /// When the disk does not take it; the recording is over then.
    pub fn push(
        &mut self,
        arrival_ns: u64,
        datagram: &[u8],
        device_time_ns: i64,
    ) -> Result<(), RecordingError> {
        self.open.device_ns.get_or_insert(device_time_ns);
        batch::add_datagram(&mut self.open.bytes, arrival_ns, datagram);
        self.advance(arrival_ns)
    }

    /// Adds a tick. Ticks also bring datagrams to the disk when no others follow.
    ///
    /// # Errors
    /// As [`Recorder::push`].
    pub fn tick(&mut self, now_ns: u64) -> Result<(), RecordingError> {
        batch::add_tick(&mut self.open.bytes, now_ns);
        self.advance(now_ns)
    }

    /// Adds what was found: a report that was complete at an arrival, with its events. Not on the disk
    /// before the next [`Recorder::sync`].
    ///
    /// # Errors
    /// As [`Recorder::push`].
    pub fn note(&mut self, report: &Report, complete_ns: u64) -> Result<(), RecordingError> {
        // The datagrams that it is made of come first.
        let done = self.write_batch().and_then(|()| {
            let log_time = self.zero_utc_ns.saturating_add(complete_ns);
            for (channel_id, device_ns, json) in notes::of(report) {
                let header = MessageHeader {
                    channel_id,
                    sequence: self.noted,
                    log_time,
                    publish_time: device_ns.unwrap_or(log_time),
                };
                self.writer.write_to_known_channel(&header, &json)?;
                self.noted = self.noted.wrapping_add(1);
            }
            Ok(())
        });
        done.map_err(|why| failed(&self.path, why))
    }

    /// Brings everything to the disk, so that neither a crash nor a power cut loses it.
    ///
    /// # Errors
    /// As [`Recorder::push`].
    pub fn sync(&mut self) -> Result<(), RecordingError> {
        self.flush()?;
        self.disk
            .sync_data()
            .map_err(|why| failed(&self.path, why.into()))
    }

    /// Bytes that the file has on the disk so far.
    #[must_use]
    pub fn bytes(&self) -> u64 {
        self.disk.metadata().map_or(0, |file| file.len())
    }

    /// Completes the file and brings it to the disk.
    ///
    /// # Errors
    /// As [`Recorder::push`].
    pub fn finish(mut self) -> Result<(), RecordingError> {
        let done = self.write_batch().and_then(|()| {
            self.writer.finish()?;
            self.writer.into_inner().into_inner().flush()?;
            Ok(self.disk.sync_all()?)
        });
        done.map_err(|why| failed(&self.path, why))
    }

    /// Closes batch and chunk when the time has come.
    fn advance(&mut self, now_ns: u64) -> Result<(), RecordingError> {
        let first = *self.open.first_ns.get_or_insert(now_ns);
        let flushed = *self.flushed_ns.get_or_insert(now_ns);
        if now_ns.saturating_sub(flushed) >= FLUSH_NS {
            self.flushed_ns = Some(now_ns);
            return self.flush();
        }
        if now_ns.saturating_sub(first) >= BATCH_NS || self.open.bytes.len() >= BATCH_BYTES {
            return self.write_batch().map_err(|why| failed(&self.path, why));
        }
        Ok(())
    }

    fn flush(&mut self) -> Result<(), RecordingError> {
        let done = self.write_batch().and_then(|()| self.writer.flush());
        done.map_err(|why| failed(&self.path, why))
    }

    fn write_batch(&mut self) -> Result<(), McapError> {
        let Some(first_ns) = self.open.first_ns.take() else {
            return Ok(());
        };
        let log_time = self.zero_utc_ns.saturating_add(first_ns);
        let device = self
            .open
            .device_ns
            .take()
            .and_then(|ns| u64::try_from(ns).ok());
        let header = MessageHeader {
            channel_id: CHANNEL,
            sequence: self.sequence,
            log_time,
            publish_time: device.unwrap_or(log_time),
        };
        self.writer
            .write_to_known_channel(&header, &self.open.bytes)?;
        self.open.bytes.clear();
        self.sequence = self.sequence.wrapping_add(1);
        Ok(())
    }
}

/// Of zstd's levels the quickest: on frames of markers it packs within a hundredth as well as the usual one (floats
/// hold little to find) in half the time.
const LEVEL: u32 = 1;

fn start(file: File, meta: &Meta) -> Result<Out, McapError> {
    // Without seeking, a chunk is put together in memory: the file only ever grows by whole chunks.
    // One message in five is a chunk's last: an index inside chunks would not pay.
    let options = WriteOptions::new()
        .profile("x-whin")
        .compression(Some(Compression::Zstd))
        .compression_threads(0)
        .compression_level(LEVEL)
        .chunk_size(Some(CHUNK_BYTES))
        .disable_seeking(true)
        .emit_message_indexes(false);
    let mut writer = options.create(NoSeek::new(BufWriter::new(file)))?;
    writer.write_metadata(&Metadata {
        name: METADATA.into(),
        metadata: fields(meta),
    })?;
    let schema = writer.add_schema("whin.Batch", "x-whin", SCHEMA.as_bytes())?;
    writer.add_channel_with_id(
        CHANNEL,
        schema,
        "datagrams",
        "x-whin-batch",
        &BTreeMap::new(),
    )?;
    notes::add_channels(&mut writer)?;
    writer.flush()?;
    Ok(writer)
}

fn fields(meta: &Meta) -> BTreeMap<String, String> {
    let mut fields = BTreeMap::from([
        ("whin.format".to_owned(), FORMAT.to_string()),
        ("whin.channel".to_owned(), CHANNEL.to_string()),
        ("bay".to_owned(), meta.bay.clone()),
        ("zone".to_owned(), meta.zone.clone()),
        ("program".to_owned(), meta.program.clone()),
        (
            "clock_zero_utc_ns".to_owned(),
            meta.clock_zero_utc_ns.to_string(),
        ),
        ("marker_map".to_owned(), meta.marker_map.clone()),
    ]);
    let late = meta.late_ns.iter();
    let late: Vec<_> = late.map(|(stream, ns)| format!("{stream}={ns}")).collect();
    if !late.is_empty() {
        fields.insert("late_ns".to_owned(), late.join(","));
    }
    if meta.only_swings {
        fields.insert(ONLY_SWINGS.to_owned(), "true".to_owned());
    }
    fields.extend(meta.context.clone().map(|c| ("context".to_owned(), c)));
    fields
}

fn failed(path: &Path, why: McapError) -> RecordingError {
    RecordingError::Write {
        path: path.to_owned(),
        why,
    }
}
