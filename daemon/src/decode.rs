//! From bytes to the analysis: datagrams become inputs, labels become landmarks. The one place
//! where both core crates meet on the way in. Refuses and counts what is not understood; keeps
//! nothing but open descriptions.

use std::collections::BTreeMap;

use analysis::analyzer::{Content, Input};
use analysis::assemble::FramePart;
use analysis::frame::MarkerLayout;
use analysis::stream::Place;
use nalgebra::{Matrix3, Vector3};
use protocol::wire::{self, Body, Header, LabelList, MarkerFrame};

use crate::map::{MarkerMap, Told};

/// Reasons counted apart at most; further ones share the last entry.
const REASONS_MAX: usize = 32;
/// Streams whose descriptions are kept.
const STREAMS_MAX: usize = analysis::analyzer::STREAMS_MAX;

/// Turns datagrams into inputs by one marker map.
#[derive(Debug)]
pub struct Decoder {
    map: MarkerMap,
    open: BTreeMap<u32, OpenLayout>,
    refused: BTreeMap<String, u64>,
    findings: BTreeMap<u32, LabelFindings>,
}

/// What a stream's labels lack or have too much, in words for people.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct LabelFindings {
    /// Labels that the map does not know.
    pub unknown: Vec<String>,
    /// Labels of the map that are not sent.
    pub absent: Vec<String>,
    /// Units or axes that nobody told: why the stream cannot be used.
    pub unusable: Option<String>,
    /// Sender and map disagree.
    pub contradiction: Option<String>,
}

/// A description of which parts are still to come.
#[derive(Debug)]
struct OpenLayout {
    epoch: u32,
    layout: u32,
    labels: Vec<Option<String>>,
}

impl Decoder {
    /// A decoder that names markers by this map.
    #[must_use]
    pub fn new(map: MarkerMap) -> Self {
        Self {
            map,
            open: BTreeMap::new(),
            refused: BTreeMap::new(),
            findings: BTreeMap::new(),
        }
    }

    /// The map in use.
    #[must_use]
    pub fn map(&self) -> &MarkerMap {
        &self.map
    }

    /// Decodes one datagram. `None`: not a datagram of ours, counted by reason. A datagram of which
    /// only the body is not understood still counts in its stream.
    pub fn decode(&mut self, datagram: &[u8], received_ns: u64) -> Option<Input> {
        let opened = wire::open(datagram);
        let datagram = opened.map_err(|e| self.refuse(e.to_string())).ok()?;
        let header = datagram.header;
        let content = match datagram.body() {
            Ok(body) => self.content(&header, &body),
            Err(error) => {
                self.refuse(error.to_string());
                Content::Counted(None)
            }
        };
        let place = Place {
            epoch: header.epoch,
            sequence: header.sequence,
            time_ns: header.device_time_ns,
        };
        Some(Input::Datagram {
            stream: header.stream,
            place,
            received_ns,
            content,
        })
    }

    /// Refused datagrams by reason, in order of the reason's text.
    pub fn refused(&self) -> impl Iterator<Item = (&str, u64)> {
        self.refused.iter().map(|(reason, n)| (reason.as_str(), *n))
    }

    /// What the labels of each stream lack, by stream id.
    pub fn findings(&self) -> impl Iterator<Item = (u32, &LabelFindings)> {
        self.findings.iter().map(|(id, f)| (*id, f))
    }

    fn content(&mut self, header: &Header, body: &Body<'_>) -> Content {
        match body {
            Body::Describe(describe) => match &describe.content {
                wire::Content::Markers(list) => self.describe(header, describe.layout, list),
                wire::Content::Forces(_) => Content::Counted(Some("forces")),
                wire::Content::Trigger(_) => Content::Counted(Some("trigger")),
            },
            Body::MarkerFrame(frame) => Content::Part(part(header, frame)),
            Body::ForceBlock(_) => Content::Counted(Some("forces")),
            Body::Trigger(_) => Content::Counted(Some("trigger")),
        }
    }

    /// Joins a description; a layout when it is complete, a placeholder of its stream before.
    fn describe(&mut self, header: &Header, layout: u32, list: &LabelList) -> Content {
        if self.open.len() >= STREAMS_MAX && !self.open.contains_key(&header.stream) {
            // A description comes every second: a stream that is forgotten here is soon known again.
            self.open.pop_first();
        }
        let fresh = || OpenLayout {
            epoch: header.epoch,
            layout,
            labels: vec![None; usize::from(list.total)],
        };
        let open = self.open.entry(header.stream).or_insert_with(fresh);
        if (open.epoch, open.layout, open.labels.len())
            != (header.epoch, layout, usize::from(list.total))
        {
            *open = fresh();
        }
        for (slot, label) in open
            .labels
            .iter_mut()
            .skip(usize::from(list.first))
            .zip(&list.labels)
        {
            *slot = Some(label.clone());
        }
        let labels: Option<Vec<String>> = open.labels.iter().cloned().collect();
        match labels {
            Some(labels) => self.layout(header.stream, layout, &labels, list),
            None => Content::Counted(Some("markers")),
        }
    }

    fn layout(&mut self, stream: u32, id: u32, labels: &[String], list: &LabelList) -> Content {
        let told = Told {
            metres_per_unit: list.source.meters_per_unit,
            rotation: list
                .source
                .bay_from_source
                .map(|rows| Matrix3::from_row_slice(rows.as_flattened())),
            origin: Vector3::from(list.source.bay_origin),
        };
        let bay_from_source = self.map.bay_from_source(told);
        let findings = LabelFindings {
            unknown: self
                .map
                .unknown(labels)
                .into_iter()
                .map(String::from)
                .collect(),
            absent: self
                .map
                .absent(labels)
                .into_iter()
                .map(String::from)
                .collect(),
            unusable: bay_from_source.as_ref().err().cloned(),
            contradiction: self.map.contradiction(told),
        };
        self.findings.insert(stream, findings);
        match bay_from_source {
            Ok(bay_from_source) => Content::Layout(Box::new(MarkerLayout {
                id,
                rate_hz: list.source.rate_hz,
                columns: labels.iter().map(|l| self.map.landmark(l)).collect(),
                bay_from_source,
                ball_center: self.map.ball,
            })),
            Err(reason) => {
                self.refuse(reason);
                Content::Counted(Some("markers"))
            }
        }
    }

    fn refuse(&mut self, reason: String) {
        let reason = if self.refused.len() >= REASONS_MAX && !self.refused.contains_key(&reason) {
            "other reasons".to_owned()
        } else {
            reason
        };
        *self.refused.entry(reason).or_insert(0) += 1;
    }
}

fn part(header: &Header, frame: &MarkerFrame<'_>) -> FramePart {
    FramePart {
        layout: frame.layout,
        number: frame.frame,
        time_ns: header.device_time_ns,
        parts: frame.part.count,
        first: usize::from(frame.first),
        points: frame
            .markers
            .iter()
            .map(|m| m.map(|m| m.position))
            .collect(),
    }
}
