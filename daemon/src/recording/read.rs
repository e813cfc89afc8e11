//! Reading a recording from its first byte to its last good one. Memory holds one chunk. What is
//! torn or damaged is left out and told as a [`Loss`]; nothing is repaired.

use std::collections::{BTreeMap, VecDeque};
use std::fs::File;
use std::io::{BufReader, Cursor, Read};
use std::path::Path;

use mcap::records::{Record, op};
use mcap::sans_io::{LinearReadEvent, LinearReader, LinearReaderOptions};
use mcap::{McapError, parse_record};

use super::{FORMAT, METADATA, Meta, ONLY_SWINGS, Recorded, RecordingError, batch};

/// No record of ours comes near, packed or unpacked; a damaged length must not ask for the whole memory.
const RECORD_BYTES_MAX: usize = 16 * 1024 * 1024;
/// Bytes of an MCAP record before its content: opcode and length.
const RECORD_HEAD: u64 = 9;

/// A part of the file that could not be used.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Loss {
    /// Where the part begins, bytes from the start of the file.
    pub at_byte: u64,
    /// Its length in bytes; 0 when the file ends between two chunks but was never finished.
    pub bytes: u64,
    /// What is wrong.
    pub why: String,
}

/// A recording that is being read: an iterator over its entries. When it has ended, look at
/// [`Recording::losses`].
pub struct Recording {
    meta: Meta,
    channel: u16,
    records: Records,
    ready: VecDeque<Recorded>,
    losses: Vec<Loss>,
    /// The footer was seen: the file was finished.
    finished: bool,
    ended: bool,
}

/// Opens a recording.
///
/// # Errors
/// When the file cannot be read, is no recording, or is of a newer format.
pub fn read(path: &Path) -> Result<Recording, RecordingError> {
    let opened = Records::open(path).map_err(|why| RecordingError::Open {
        path: path.to_owned(),
        why,
    })?;
    recording(opened, path)
}

/// The same from bytes in memory; `path` names them in errors.
///
/// # Errors
/// When they are no recording or one of a newer format.
pub fn read_bytes(bytes: Vec<u8>, path: &Path) -> Result<Recording, RecordingError> {
    let length = bytes.len() as u64;
    recording(Records::new(Box::new(Cursor::new(bytes)), length), path)
}

fn recording(mut records: Records, path: &Path) -> Result<Recording, RecordingError> {
    let malformed = |why: String| RecordingError::Malformed {
        path: path.to_owned(),
        why,
    };
    let fields = metadata(&mut records).map_err(malformed)?;
    let found = number(&fields, "whin.format").map_err(malformed)?;
    if found > FORMAT {
        return Err(RecordingError::Newer {
            path: path.to_owned(),
            found,
        });
    }
    Ok(Recording {
        meta: meta(&fields).map_err(malformed)?,
        channel: number(&fields, "whin.channel").map_err(malformed)?,
        records,
        ready: VecDeque::new(),
        losses: Vec::new(),
        finished: false,
        ended: false,
    })
}

impl Recording {
    /// What the recording says about itself.
    #[must_use]
    pub fn meta(&self) -> &Meta {
        &self.meta
    }

    /// What could not be used so far, in order; complete once the iterator has ended.
    #[must_use]
    pub fn losses(&self) -> &[Loss] {
        &self.losses
    }

    /// Takes the next record into `ready` or `losses`.
    fn advance(&mut self) {
        let at_byte = self.records.at_byte;
        match self.records.next() {
            Ok(Some((op::CHUNK, content))) => {
                let bytes = RECORD_HEAD + content.len() as u64;
                match chunk_entries(&content, self.channel) {
                    Ok(entries) => self.ready.extend(entries),
                    Err(why) => self.losses.push(Loss {
                        at_byte,
                        bytes,
                        why,
                    }),
                }
            }
            Ok(Some((opcode, _))) => self.finished |= opcode == op::FOOTER,
            Ok(None) => self.end(at_byte, "the file was never finished".into()),
            Err(why) => self.end(at_byte, why),
        }
    }

    fn end(&mut self, at_byte: u64, why: String) {
        self.ended = true;
        let bytes = self.records.file_bytes.saturating_sub(at_byte);
        if !self.finished {
            self.losses.push(Loss {
                at_byte,
                bytes,
                why,
            });
        }
    }
}

impl Iterator for Recording {
    type Item = Recorded;

    fn next(&mut self) -> Option<Recorded> {
        while self.ready.is_empty() && !self.ended {
            self.advance();
        }
        self.ready.pop_front()
    }
}

/// Records of a file, chunks unopened.
struct Records {
    file: Box<dyn Read + Send>,
    file_bytes: u64,
    /// Where the next record begins.
    at_byte: u64,
    reader: LinearReader,
}

impl Records {
    fn open(path: &Path) -> std::io::Result<Self> {
        let file = File::open(path)?;
        let file_bytes = file.metadata()?.len();
        Ok(Self::new(Box::new(BufReader::new(file)), file_bytes))
    }

    fn new(file: Box<dyn Read + Send>, file_bytes: u64) -> Self {
        let options = LinearReaderOptions::default()
            .with_emit_chunks(true)
            .with_skip_end_magic(true)
            .with_record_length_limit(RECORD_BYTES_MAX);
        Self {
            file,
            file_bytes,
            at_byte: mcap::MAGIC.len() as u64,
            reader: LinearReader::new_with_options(options),
        }
    }

    /// The next record, `None` at the end, or why there is none.
    fn next(&mut self) -> Result<Option<(u8, Vec<u8>)>, String> {
        let record = next_record(&mut self.reader, &mut self.file)?;
        let bytes = record
            .as_ref()
            .map_or(0, |(_, content)| RECORD_HEAD + content.len() as u64);
        self.at_byte += bytes;
        Ok(record)
    }
}

fn next_record(
    reader: &mut LinearReader,
    from: &mut impl Read,
) -> Result<Option<(u8, Vec<u8>)>, String> {
    while let Some(event) = reader.next_event() {
        match event.map_err(|e| said(&e))? {
            // The reader's own limit does not cover every length it believes.
            LinearReadEvent::ReadRequest(wanted) if wanted > 2 * RECORD_BYTES_MAX => {
                return Err(format!(
                    "a length of {wanted} bytes, more than any record has"
                ));
            }
            LinearReadEvent::ReadRequest(wanted) => {
                let got = from
                    .read(reader.insert(wanted))
                    .map_err(|e| e.to_string())?;
                reader.notify_read(got);
            }
            LinearReadEvent::Record { opcode, data } => return Ok(Some((opcode, data.to_vec()))),
        }
    }
    Ok(None)
}

/// Entries of a chunk: all of them, after its CRC was found right, or none.
fn chunk_entries(content: &[u8], channel: u16) -> Result<Vec<Recorded>, String> {
    if let Record::Chunk { header, data } =
        parse_record(op::CHUNK, content).map_err(|e| said(&e))?
    {
        // The reader makes room for what the chunk says that it unpacks to.
        let says = header.uncompressed_size;
        if says > RECORD_BYTES_MAX as u64 {
            return Err(format!(
                "a chunk of {says} bytes unpacked, more than any has"
            ));
        }
        // It counts what is left of an unpacked chunk down, without a look whether that much is left.
        if header.compression.is_empty() && !holds_whole_records(&data) {
            return Err("a record runs over the end of its chunk".into());
        }
    }
    let options = LinearReaderOptions::default()
        .with_skip_start_magic(true)
        .with_skip_end_magic(true)
        .with_prevalidate_chunk_crcs(true)
        .with_record_length_limit(RECORD_BYTES_MAX);
    let mut reader = LinearReader::new_with_options(options);
    let head = [op::CHUNK]
        .into_iter()
        .chain((content.len() as u64).to_le_bytes())
        .collect::<Vec<_>>();
    let mut bytes = head.chain(content);
    let mut entries = Vec::new();
    while let Some((opcode, data)) = next_record(&mut reader, &mut bytes)? {
        if opcode == op::MESSAGE
            && let Record::Message { header, data } =
                parse_record(opcode, &data).map_err(|e| said(&e))?
            && header.channel_id == channel
        {
            entries.extend(batch::entries(&data).ok_or("a batch ends inside an entry")?);
        }
    }
    Ok(entries)
}

/// Whether records follow one another to the last byte.
fn holds_whole_records(mut bytes: &[u8]) -> bool {
    while let Some((head, rest)) = bytes.split_first_chunk::<{ RECORD_HEAD as usize }>() {
        let [_opcode, length @ ..] = *head;
        let length = usize::try_from(u64::from_le_bytes(length));
        let Some(next) = length.ok().and_then(|n| rest.get(n..)) else {
            return false;
        };
        bytes = next;
    }
    bytes.is_empty()
}

/// Fields of our metadata record, which stands before the first chunk.
fn metadata(records: &mut Records) -> Result<BTreeMap<String, String>, String> {
    while let Some((opcode, content)) = records.next()? {
        // Other records are not looked into: the parser trusts some of their lengths.
        match opcode {
            op::METADATA => {
                let record = parse_record(opcode, &content).map_err(|e| said(&e))?;
                if let Record::Metadata(found) = record
                    && found.name == METADATA
                {
                    return Ok(found.metadata);
                }
            }
            op::CHUNK => break,
            _ => {}
        }
    }
    Err(format!("it has no metadata `{METADATA}`"))
}

fn meta(fields: &BTreeMap<String, String>) -> Result<Meta, String> {
    Ok(Meta {
        bay: text(fields, "bay")?.to_owned(),
        zone: text(fields, "zone")?.to_owned(),
        program: text(fields, "program")?.to_owned(),
        clock_zero_utc_ns: number(fields, "clock_zero_utc_ns")?,
        marker_map: text(fields, "marker_map")?.to_owned(),
        context: fields.get("context").cloned(),
        late_ns: late_ns(fields)?,
        only_swings: fields.contains_key(ONLY_SWINGS),
    })
}

fn late_ns(fields: &BTreeMap<String, String>) -> Result<BTreeMap<u32, i64>, String> {
    let text = fields.get("late_ns").map_or("", String::as_str);
    let parts = text.split(',').filter(|part| !part.is_empty());
    let pair = |part: &str| {
        let (stream, ns) = part.split_once('=')?;
        Some((stream.parse().ok()?, ns.parse().ok()?))
    };
    let wrong = |part: &str| format!("its `late_ns` holds `{part}`, not stream=nanoseconds");
    parts
        .map(|part| pair(part).ok_or_else(|| wrong(part)))
        .collect()
}

fn text<'a>(fields: &'a BTreeMap<String, String>, key: &str) -> Result<&'a str, String> {
    fields
        .get(key)
        .map(String::as_str)
        .ok_or_else(|| format!("its metadata has no `{key}`"))
}

fn number<T: std::str::FromStr>(fields: &BTreeMap<String, String>, key: &str) -> Result<T, String> {
    let text = text(fields, key)?;
    text.parse()
        .map_err(|_not_a_number| format!("its `{key}` is `{text}`, not a number"))
}

/// The container's words; those for a torn file are ours.
fn said(error: &McapError) -> String {
    match error {
        McapError::UnexpectedEof => "the file ends inside a record".into(),
        McapError::Io(why) => format!("the file cannot be read: {why}"),
        other => other.to_string(),
    }
}
