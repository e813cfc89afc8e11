//! Kind 1: what a stream carries. The plates of a force description live in `plate`, the axes and
//! units in `source`; joining the parts of a description is the receiver's work.

use super::bytes::{Fields, short, tiny, within};
use super::plate::{self, PlateList};
use super::source::Source;
use super::trigger::Pulse;
use super::{DecodeError, Part};
use crate::{HEADER_BYTES, MAX_DATAGRAM, MAX_LABEL_BYTES, MAX_MARKERS};

/// Where labels or plates start.
const LIST_AT: usize = HEADER_BYTES + 128;
/// What labels or plates may fill.
const LIST_BYTES: usize = MAX_DATAGRAM - LIST_AT;

/// One part of a description.
#[derive(Debug, Clone, PartialEq)]
pub struct Describe {
    /// The number that frames and blocks cite: one description within an epoch.
    pub layout: u32,
    /// Which part of the description this is.
    pub part: Part,
    /// What the stream carries.
    pub content: Content,
}

/// What a stream carries.
#[derive(Debug, Clone, PartialEq)]
pub enum Content {
    /// Marker frames.
    Markers(LabelList),
    /// Force blocks.
    Forces(PlateList),
    /// Triggers of one kind.
    Trigger(Pulse),
}

/// The labels of a marker layout, all or the part that one datagram holds.
#[derive(Debug, Clone, PartialEq)]
pub struct LabelList {
    /// What positions and frames are measured in.
    pub source: Source,
    /// Markers in the whole layout, 1 to [`MAX_MARKERS`].
    pub total: u16,
    /// Place of the first of `labels` in the layout.
    pub first: u16,
    /// Labels of 1 to [`MAX_LABEL_BYTES`] bytes, without control characters.
    pub labels: Vec<String>,
}

impl Describe {
    pub(super) fn read(body: &[u8]) -> Result<Self, DecodeError> {
        let mut fields = Fields(body);
        let layout = fields.u32("layout")?;
        let part = Part::read(&mut fields)?;
        let content = fields.u8("content")?;
        fields.skip(1)?;
        let content = match content {
            1 => Content::Markers(LabelList::read(&mut fields)?),
            2 => Content::Forces(PlateList::read(&mut fields)?),
            3 => {
                let pulse = Pulse::read(&mut fields)?;
                fields.skip(7)?;
                Content::Trigger(pulse)
            }
            unknown => return Err(DecodeError::Content(unknown)),
        };
        Ok(Self {
            layout,
            part,
            content,
        })
    }

    pub(super) fn write(&self, out: &mut Vec<u8>) {
        out.extend(self.layout.to_le_bytes());
        self.part.write(out);
        match &self.content {
            Content::Markers(list) => {
                out.extend([1, 0]);
                list.write(out);
            }
            Content::Forces(list) => {
                out.extend([2, 0]);
                list.write(out);
            }
            Content::Trigger(pulse) => out.extend([3, 0, pulse.code(), 0, 0, 0, 0, 0, 0, 0]),
        }
    }
}

impl LabelList {
    fn read(fields: &mut Fields<'_>) -> Result<Self, DecodeError> {
        let source = Source::read(fields)?;
        let total = within(
            "marker total",
            fields.u16("marker total")?,
            1,
            MAX_MARKERS as u16,
        )?;
        let first = within("first marker", fields.u16("first marker")?, 0, total - 1)?;
        let count = within("label count", fields.u16("label count")?, 1, total - first)?;
        fields.skip(2)?;
        let labels = (first..first + count).map(|index| read_label(fields, usize::from(index)));
        Ok(Self {
            source,
            total,
            first,
            labels: labels.collect::<Result<_, _>>()?,
        })
    }

    fn write(&self, out: &mut Vec<u8>) {
        self.source.write(out);
        for number in [self.total, self.first, short(self.labels.len()), 0] {
            out.extend(number.to_le_bytes());
        }
        for label in &self.labels {
            out.push(tiny(label.len()));
            out.extend(label.bytes());
        }
    }
}

fn read_label(fields: &mut Fields<'_>, index: usize) -> Result<String, DecodeError> {
    let length = within(
        "label length",
        fields.u8("label length")?,
        1,
        MAX_LABEL_BYTES as u8,
    )?;
    let bytes = fields.bytes("label", usize::from(length))?;
    match std::str::from_utf8(bytes) {
        Ok(text) if !text.contains(char::is_control) => Ok(text.to_owned()),
        _ => Err(DecodeError::Label { index }),
    }
}

/// A whole description (its list complete) as the parts that fit in a datagram each.
#[must_use]
pub fn describe_parts(layout: u32, whole: &Content) -> Vec<Describe> {
    let contents = match whole {
        Content::Markers(list) => marker_parts(list),
        Content::Forces(list) => plate::parts(list, LIST_BYTES),
        Content::Trigger(pulse) => vec![Content::Trigger(*pulse)],
    };
    let count = tiny(contents.len());
    let describe = |(index, content)| Describe {
        layout,
        part: Part {
            index: tiny(index),
            count,
        },
        content,
    };
    contents.into_iter().enumerate().map(describe).collect()
}

fn marker_parts(list: &LabelList) -> Vec<Content> {
    let mut parts = Vec::new();
    let mut rest = list.labels.as_slice();
    while !rest.is_empty() {
        // At least one: a label that is too long is refused when it is encoded.
        let (head, tail) = rest.split_at(labels_that_fit(rest).max(1));
        parts.push(Content::Markers(LabelList {
            total: short(list.labels.len()),
            first: short(list.labels.len() - rest.len()),
            labels: head.to_vec(),
            ..*list
        }));
        rest = tail;
    }
    parts
}

fn labels_that_fit(labels: &[String]) -> usize {
    let ends = labels.iter().scan(0, |end, label| {
        *end += 1 + label.len();
        Some(*end)
    });
    ends.take_while(|end| *end <= LIST_BYTES).count()
}
