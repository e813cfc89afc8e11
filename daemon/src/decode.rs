//! From bytes to the analysis: datagrams become inputs, labels become landmarks. The one place
//! where both core crates meet on the way in. Refuses and counts what is not understood; keeps
//! nothing but open descriptions.

use std::borrow::Cow;
use std::collections::BTreeMap;

use analysis::analyzer::{Content, Input};
use analysis::assemble::FramePart;
use analysis::frame::MarkerLayout;
use analysis::ground::forces::{ForceBlock, ForceLayout};
use analysis::ground::plate::{PlateDescription, PlateKind};
use analysis::stream::Place;
use nalgebra::{Matrix3, Vector3};
use protocol::wire::{self, Body, Header, LabelList, MarkerFrame, PlateList, Source};

use crate::map::{MarkerMap, Told};

/// Reasons counted apart at most; further ones share the last entry.
const REASONS_MAX: usize = 32;
/// Streams whose descriptions are kept.
const STREAMS_MAX: usize = analysis::analyzer::STREAMS_MAX;

/// Turns datagrams into inputs by one marker map.
#[derive(Debug)]
pub struct Decoder {
    map: MarkerMap,
    labels: Descriptions<String>,
    plates: Descriptions<wire::Plate>,
    refused: BTreeMap<String, u64>,
    findings: BTreeMap<u32, LabelFindings>,
    /// What the last datagram held: points or values.
    points: Vec<Option<[f32; 3]>>,
    values: Vec<Option<f32>>,
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

/// Descriptions of which parts are still to come, by stream.
#[derive(Debug)]
struct Descriptions<T>(BTreeMap<u32, Open<T>>);

#[derive(Debug)]
struct Open<T> {
    epoch: u32,
    layout: u32,
    items: Vec<Option<T>>,
}

impl<T: Clone> Descriptions<T> {
    /// Takes the items from place `first` of `total` on; all of them once they are complete.
    fn join(
        &mut self,
        header: &Header,
        layout: u32,
        (total, first): (usize, usize),
        items: &[T],
    ) -> Option<Vec<T>> {
        if self.0.len() >= STREAMS_MAX && !self.0.contains_key(&header.stream) {
            // A description comes every second: a stream that is forgotten here is soon known again.
            self.0.pop_first();
        }
        let fresh = || Open {
            epoch: header.epoch,
            layout,
            items: vec![None; total],
        };
        let open = self.0.entry(header.stream).or_insert_with(fresh);
        if (open.epoch, open.layout, open.items.len()) != (header.epoch, layout, total) {
            *open = fresh();
        }
        for (slot, item) in open.items.iter_mut().skip(first).zip(items) {
            *slot = Some(item.clone());
        }
        open.items.iter().cloned().collect()
    }
}

impl Decoder {
    /// A decoder that names markers by this map.
    #[must_use]
    pub fn new(map: MarkerMap) -> Self {
        Self {
            map,
            labels: Descriptions(BTreeMap::new()),
            plates: Descriptions(BTreeMap::new()),
            refused: BTreeMap::new(),
            findings: BTreeMap::new(),
            points: Vec::new(),
            values: Vec::new(),
        }
    }

    /// The map in use.
    #[must_use]
    pub fn map(&self) -> &MarkerMap {
        &self.map
    }

    /// Decodes one datagram. `None`: not a datagram of ours, counted by reason. A datagram of which
    /// only the body is not understood still counts in its stream. Points and values stay here: the input is to be
    /// pushed before the next datagram.
    pub fn decode(&mut self, datagram: &[u8], received_ns: u64) -> Option<Input<'_>> {
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
            clock: header.clock,
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

    fn content(&mut self, header: &Header, body: &Body<'_>) -> Content<'_> {
        match body {
            Body::Describe(describe) => match &describe.content {
                wire::Content::Markers(list) => self.describe(header, describe.layout, list),
                wire::Content::Forces(list) => self.describe_plates(header, describe.layout, list),
                wire::Content::Trigger(_) => Content::Counted(Some("trigger")),
            },
            Body::MarkerFrame(frame) => Content::Part(self.part(header, frame)),
            Body::ForceBlock(block) => Content::Forces(self.block(header, block)),
            Body::Trigger(_) => Content::Pulse(header.device_time_ns),
        }
    }

    fn part(&mut self, header: &Header, frame: &MarkerFrame<'_>) -> FramePart<'_> {
        self.points.clear();
        let positions = frame.markers.iter().map(|m| m.map(|m| m.position));
        self.points.extend(positions);
        FramePart {
            layout: frame.layout,
            number: frame.frame,
            time_ns: header.device_time_ns,
            parts: frame.part.count,
            first: usize::from(frame.first),
            points: Cow::Borrowed(&self.points),
        }
    }

    fn block(&mut self, header: &Header, block: &wire::ForceBlock<'_>) -> ForceBlock<'_> {
        self.values.clear();
        self.values.extend(block.values.iter());
        ForceBlock {
            layout: block.layout,
            first_sample: block.first_sample,
            time_ns: header.device_time_ns,
            channels: usize::from(block.channels),
            values: Cow::Borrowed(&self.values),
        }
    }

    /// Joins a description; a layout when it is complete, a placeholder of its stream before.
    fn describe(&mut self, header: &Header, layout: u32, list: &LabelList) -> Content<'static> {
        let places = (usize::from(list.total), usize::from(list.first));
        let labels = self.labels.join(header, layout, places, &list.labels);
        match labels {
            Some(labels) => self.layout(header.stream, layout, &labels, list),
            None => Content::Counted(Some("markers")),
        }
    }

    fn layout(
        &mut self,
        stream: u32,
        id: u32,
        labels: &[String],
        list: &LabelList,
    ) -> Content<'static> {
        let told = told(&list.source);
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

    /// Joins a description of plates; a layout when it is complete and its space is known.
    fn describe_plates(
        &mut self,
        header: &Header,
        layout: u32,
        list: &PlateList,
    ) -> Content<'static> {
        let places = (usize::from(list.total), usize::from(list.first));
        let Some(plates) = self.plates.join(header, layout, places, &list.plates) else {
            return Content::Counted(Some("forces"));
        };
        let bay_from_source = self.map.bay_from_plates(told(&list.source));
        let findings = LabelFindings {
            unusable: bay_from_source.as_ref().err().cloned(),
            ..LabelFindings::default()
        };
        self.findings.insert(header.stream, findings);
        match bay_from_source {
            Ok(bay_from_source) => Content::ForceLayout(Box::new(ForceLayout {
                id: layout,
                rate_hz: list.source.rate_hz,
                plates: plates.iter().map(plate).collect(),
                bay_from_source,
            })),
            Err(reason) => {
                self.refuse(reason);
                Content::Counted(Some("forces"))
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

/// What a description says of its units and axes.
pub(crate) fn told(source: &Source) -> Told {
    let rows = |rows: [[f64; 3]; 3]| Matrix3::from_row_slice(rows.as_flattened());
    Told {
        metres_per_unit: source.meters_per_unit,
        rotation: source.bay_from_source.map(rows),
        origin: Vector3::from(source.bay_origin),
    }
}

fn plate(plate: &wire::Plate) -> PlateDescription {
    PlateDescription {
        kind: match plate.kind {
            wire::PlateKind::Pressure => PlateKind::Pressure,
            wire::PlateKind::Moments => PlateKind::Moments,
            wire::PlateKind::Corners => PlateKind::Corners,
            wire::PlateKind::Raw(matrix) => PlateKind::Raw(matrix),
        },
        corners: plate.corners,
        origin: plate.origin,
    }
}
