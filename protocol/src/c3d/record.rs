//! The chain of group and parameter records: bytes to values. The way back is in
//! `encode`, what the parameters mean is not known here.
//!
//! A record is: length of the name (negative: locked), group id (negative: this is the group),
//! name, offset from here to the next record (0: last), for a parameter type, number of
//! dimensions, dimensions and data, and last a text with its length.

use super::error::{ReadError, Section};
use super::number::{ByteOrder, array};
use super::parameter::{Data, Group, Parameter, Parameters, trimmed};

/// Where the chain lies and how its numbers are written.
pub(super) struct Span<'a> {
    /// The file up to the end of the parameter section.
    pub(super) bytes: &'a [u8],
    /// First record.
    pub(super) start: usize,
    pub(super) order: ByteOrder,
}

/// More records than any file needs: bounds the memory that a small file can ask for.
const MOST_RECORDS: usize = 16_384;

/// What is wrong with a record that does not fit.
const OVER: &str = "record runs over the section's end";

struct Record {
    content: Content,
    /// Where the data ends; the next record cannot begin before.
    data_end: usize,
    /// Where the description ends: the next record when the offset is broken.
    end: usize,
    /// Offset's own place and value.
    offset: (usize, usize),
}

enum Content {
    Group(i16, Group),
    Parameter(i16, Parameter),
    /// A parameter of an unknown type, by name.
    Unknown(String),
}

/// Reads the chain. A record that does not fit is an error, unless it was reached by guessing past
/// a broken offset.
pub(super) fn parse(span: &Span<'_>, warnings: &mut Vec<String>) -> Result<Parameters, ReadError> {
    let mut at = span.start;
    let mut groups: Vec<(i16, Group)> = Vec::new();
    let mut parameters: Vec<(i16, Parameter)> = Vec::new();
    let mut guessed = false;
    for _ in 0..MOST_RECORDS {
        let record = match record(span, at) {
            Ok(Some(record)) => record,
            Err(_) if guessed => return Ok(assemble(groups, parameters, warnings)),
            Ok(None) => return Ok(assemble(groups, parameters, warnings)),
            Err(problem) => return Err(problem.at(at, &groups)),
        };
        let next = next(span, at, &record, warnings, &mut guessed);
        match record.content {
            Content::Group(id, group) => groups.push((id, group)),
            Content::Parameter(id, parameter) => parameters.push((id, parameter)),
            Content::Unknown(name) => {
                warnings.push(format!(
                    "parameter {} at byte {at} has an unknown type: skipped",
                    name.escape_debug()
                ));
            }
        }
        match next {
            Some(place) => at = place,
            None => return Ok(assemble(groups, parameters, warnings)),
        }
    }
    Err(ReadError::Malformed {
        section: Section::Parameters,
        byte: at as u64,
        problem: format!("more than {MOST_RECORDS} records"),
    })
}

/// Where the next record begins; `None` after the last.
fn next(
    span: &Span<'_>,
    at: usize,
    record: &Record,
    warnings: &mut Vec<String>,
    guessed: &mut bool,
) -> Option<usize> {
    let (from, offset) = record.offset;
    if offset == 0 {
        return None;
    }
    let next = from + offset;
    if (record.data_end..=span.bytes.len()).contains(&next) {
        return Some(next);
    }
    warnings.push(format!(
        "record at byte {at} points to byte {next}, outside the parameter section: went on behind it"
    ));
    *guessed = true;
    Some(record.end)
}

/// Why a record does not fit, before its group's name is looked up.
struct Misfit {
    group: i16,
    name: String,
    problem: &'static str,
}

impl Misfit {
    fn at(self, at: usize, groups: &[(i16, Group)]) -> ReadError {
        let group = groups.iter().find(|(id, _)| *id == self.group);
        let group = group.map_or_else(|| format!("group {}", self.group), |(_, g)| g.name.clone());
        ReadError::Parameter {
            // What stands there may be anything.
            name: format!("{group}:{}", self.name).escape_debug().to_string(),
            byte: at as u64,
            problem: self.problem.to_owned(),
        }
    }
}

/// The record at `at`; `None` at the end of the chain.
fn record(span: &Span<'_>, at: usize) -> Result<Option<Record>, Misfit> {
    let head = span.bytes.get(at..).and_then(|b| b.first_chunk::<2>());
    let Some([name_len, id]) = head.map(|h| h.map(u8::cast_signed)) else {
        return Ok(None);
    };
    if name_len == 0 || id == 0 {
        return Ok(None);
    }
    let mut reader = Reader { span, at: at + 2 };
    let group = i16::from(id).abs();
    let misfit = |name: &str, problem: &'static str| Misfit {
        group,
        name: name.to_owned(),
        problem,
    };
    let name = reader.take(usize::from(name_len.unsigned_abs()));
    let name = name.map(trimmed).ok_or_else(|| misfit("?", OVER))?;
    let from = reader.at;
    let offset = reader.word().ok_or_else(|| misfit(&name, OVER))?;
    let mut content = if id < 0 {
        Content::Group(
            group,
            Group {
                name,
                ..Group::default()
            },
        )
    } else {
        match reader.array().map_err(|problem| misfit(&name, problem))? {
            Some((dims, data)) => Content::Parameter(group, Parameter::new(&name, &dims, data)),
            None => Content::Unknown(name),
        }
    };
    let data_end = reader.at;
    content.describe(name_len < 0, reader.text());
    let offset = (from, usize::from(offset));
    Ok(Some(Record {
        content,
        data_end,
        end: reader.at,
        offset,
    }))
}

impl Content {
    fn describe(&mut self, is_locked: bool, text: String) {
        let (locked, description) = match self {
            Self::Group(_, group) => (&mut group.locked, &mut group.description),
            Self::Parameter(_, parameter) => (&mut parameter.locked, &mut parameter.description),
            Self::Unknown(_) => return,
        };
        *locked = is_locked;
        *description = text;
    }
}

struct Reader<'a> {
    span: &'a Span<'a>,
    at: usize,
}

impl<'a> Reader<'a> {
    fn take(&mut self, length: usize) -> Option<&'a [u8]> {
        let end = self.at.checked_add(length)?;
        let taken = self.span.bytes.get(self.at..end)?;
        self.at = end;
        Some(taken)
    }

    fn word(&mut self) -> Option<u16> {
        self.take(2).and_then(array).map(|b| self.span.order.u16(b))
    }

    /// The closing text. One that does not fit is left out: nothing depends on it.
    fn text(&mut self) -> String {
        let length = self.take(1).and_then(|b| b.first().copied()).unwrap_or(0);
        self.take(usize::from(length))
            .map(trimmed)
            .unwrap_or_default()
    }

    /// Type, dimensions and values; `None` for a type that the standard does not know.
    fn array(&mut self) -> Result<Option<(Vec<u8>, Data)>, &'static str> {
        let &[kind, count] = self.take(2).ok_or(OVER)? else {
            return Err(OVER);
        };
        if count > 7 {
            return Err("more than 7 dimensions");
        }
        let dims = self.take(usize::from(count)).ok_or(OVER)?.to_vec();
        let elements = dims
            .iter()
            .try_fold(1_usize, |n, &d| n.checked_mul(usize::from(d)));
        let size = match kind.cast_signed() {
            -1 | 1 => 1,
            2 => 2,
            4 => 4,
            _ => return Ok(None),
        };
        let length = elements.and_then(|n| n.checked_mul(size));
        let bytes = length
            .and_then(|n| self.take(n))
            .ok_or("values run over the section's end")?;
        Ok(Some((
            dims,
            values(kind.cast_signed(), bytes, self.span.order),
        )))
    }
}

fn values(kind: i8, bytes: &[u8], order: ByteOrder) -> Data {
    match kind {
        -1 => Data::Text(bytes.to_vec()),
        1 => Data::Bytes(bytes.to_vec()),
        2 => Data::Integers(
            bytes
                .chunks_exact(2)
                .filter_map(array)
                .map(|b| order.i16(b))
                .collect(),
        ),
        _ => Data::Reals(
            bytes
                .chunks_exact(4)
                .filter_map(array)
                .map(|b| order.f32(b))
                .collect(),
        ),
    }
}

/// Puts parameters into their groups, whichever came first in the file.
fn assemble(
    mut groups: Vec<(i16, Group)>,
    parameters: Vec<(i16, Parameter)>,
    warnings: &mut Vec<String>,
) -> Parameters {
    for (id, parameter) in parameters {
        if let Some((_, group)) = groups.iter_mut().find(|(other, _)| *other == id) {
            group.parameters.push(parameter);
            continue;
        }
        let name = format!("GROUP{id}");
        warnings.push(format!(
            "parameter {} belongs to group {id}, which has no name",
            parameter.name.escape_debug()
        ));
        groups.push((
            id,
            Group {
                name,
                parameters: vec![parameter],
                ..Group::default()
            },
        ));
    }
    Parameters {
        groups: groups.into_iter().map(|(_, group)| group).collect(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(bytes: &[u8]) -> (Result<Parameters, ReadError>, Vec<String>) {
        let mut warnings = Vec::new();
        let span = Span {
            bytes,
            start: 0,
            order: ByteOrder::Intel,
        };
        (parse(&span, &mut warnings), warnings)
    }

    /// c3d.org, group and parameter format: a POINT group and a locked real RATE of 50.
    const POINT_RATE: &[u8] = b"\x05\xFFPOINT\x03\x00\x00\
        \xFC\x01RATE\x0B\x00\x04\x00\x00\x00\x48\x42\x02Hz";

    #[test]
    fn known_bytes() {
        let (parameters, warnings) = read(POINT_RATE);
        let parameters = parameters.unwrap();
        let rate = parameters.get("point", "rate").unwrap();
        assert_eq!(rate.data, Data::Reals(vec![50.0]));
        assert_eq!((rate.locked, rate.description.as_str()), (true, "Hz"));
        assert_eq!(warnings, Vec::<String>::new());
    }

    #[test]
    fn a_broken_offset_is_stepped_over() {
        let mut bytes = POINT_RATE.to_vec();
        bytes[7..9].copy_from_slice(&[0x01, 0x3F]);
        bytes.extend_from_slice(&[0; 8]);
        let (parameters, warnings) = read(&bytes);
        assert!(parameters.unwrap().get("POINT", "RATE").is_some());
        assert!(
            warnings[0].contains("record at byte 0 points to byte 16136"),
            "{warnings:?}"
        );
    }

    #[test]
    fn values_over_the_end_are_named_with_their_byte() {
        let error = read(&POINT_RATE[..20]).0.unwrap_err().to_string();
        assert_eq!(
            error,
            "parameter section: POINT:RATE at byte 10: values run over the section's end"
        );
    }
}
