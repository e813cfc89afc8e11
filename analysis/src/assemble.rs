//! Joins the parts of a marker frame into a [`CaptureFrame`] in the bay frame.
//!
//! Expects the parts of one stream in order (see `stream`). A frame of which a part never came is
//! handed on with the points that did come.

use nalgebra::Point3;

use crate::frame::{CaptureFrame, MarkerLayout, landmarks};
use crate::landmark::Landmark;

/// Coordinates beyond this are damage, metres: a survey's origin may be far, but not that far.
const REACH_M: f64 = 1e5;

/// One datagram's worth of a frame, still in source units and axes.
#[derive(Debug, Clone, PartialEq)]
pub struct FramePart {
    /// Layout that gives the columns their meaning.
    pub layout: u32,
    /// Frame number of the sender.
    pub number: u64,
    /// Device time, nanoseconds.
    pub time_ns: i64,
    /// How many parts the frame has.
    pub parts: u8,
    /// Column of the first point.
    pub first: usize,
    /// Points in source units and axes; `None` where not seen.
    pub points: Vec<Option<[f32; 3]>>,
}

/// Joins parts to frames for one layout.
#[derive(Debug)]
pub struct Assembler {
    layout: MarkerLayout,
    landmarks: Vec<Landmark>,
    /// Column of the source → place in the frame.
    places: Vec<Option<usize>>,
    open: Option<(CaptureFrame, u8)>,
    incomplete: u64,
}

impl Assembler {
    /// An assembler for a described layout. Of two columns for one landmark the first counts.
    #[must_use]
    pub fn new(layout: MarkerLayout) -> Self {
        let landmarks = landmarks(&layout);
        let mut taken = vec![false; landmarks.len()];
        let places = layout
            .columns
            .iter()
            .map(|column| {
                let place = column.and_then(|l| landmarks.binary_search(&l).ok())?;
                (!std::mem::replace(&mut taken[place], true)).then_some(place)
            })
            .collect();
        Self {
            layout,
            landmarks,
            places,
            open: None,
            incomplete: 0,
        }
    }

    /// The layout in force.
    #[must_use]
    pub fn layout(&self) -> &MarkerLayout {
        &self.layout
    }

    /// Landmarks in the order of the frames' points.
    #[must_use]
    pub fn landmarks(&self) -> &[Landmark] {
        &self.landmarks
    }

    /// Frames handed on with a part missing.
    #[must_use]
    pub fn incomplete(&self) -> u64 {
        self.incomplete
    }

    /// Takes the next part and appends what is complete, or will never be, to `out`.
    pub fn push(&mut self, part: &FramePart, out: &mut Vec<CaptureFrame>) {
        if self
            .open
            .as_ref()
            .is_some_and(|(frame, _)| frame.number != part.number)
        {
            self.flush(out);
        }
        let empty = || CaptureFrame {
            number: part.number,
            time_ns: part.time_ns,
            points: vec![None; self.landmarks.len()],
        };
        let (frame, seen) = self.open.get_or_insert_with(|| (empty(), 0));
        for (place, point) in self.places.iter().skip(part.first).zip(&part.points) {
            if let Some(place) = place {
                frame.points[*place] = point
                    .map(|p| self.layout.bay_from_source.point(p))
                    .filter(in_reach);
            }
        }
        *seen = seen.saturating_add(1);
        if *seen >= part.parts {
            out.extend(self.open.take().map(|(frame, _)| frame));
        }
    }

    /// Hands on an open frame as it is.
    pub fn flush(&mut self, out: &mut Vec<CaptureFrame>) {
        if let Some((frame, _)) = self.open.take() {
            self.incomplete += 1;
            out.push(frame);
        }
    }
}

/// Whether a point can be in a bay at all. A damaged number far beyond would drown every mean.
fn in_reach(p: &Point3<f64>) -> bool {
    p.coords.amax() < REACH_M
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::frame::BayFromSource;

    fn layout() -> MarkerLayout {
        MarkerLayout {
            id: 1,
            rate_hz: 100.0,
            columns: vec![Some(Landmark::T8), None, Some(Landmark::C7)],
            bay_from_source: BayFromSource {
                metres_per_unit: 0.001,
                ..BayFromSource::IDENTITY
            },
            ball_center: None,
        }
    }

    fn part(number: u64, parts: u8, first: usize, points: &[f32]) -> FramePart {
        FramePart {
            layout: 1,
            number,
            time_ns: 0,
            parts,
            first,
            points: points.iter().map(|&x| Some([x, 0.0, 0.0])).collect(),
        }
    }

    #[test]
    fn parts_join_in_landmark_order_and_metres() {
        let mut a = Assembler::new(layout());
        let mut out = Vec::new();
        a.push(&part(0, 2, 0, &[1000.0, 2000.0]), &mut out);
        assert!(out.is_empty());
        a.push(&part(0, 2, 2, &[3000.0]), &mut out);
        assert_eq!(a.landmarks(), [Landmark::C7, Landmark::T8]);
        let xs: Vec<_> = out[0].points.iter().map(|p| p.map(|p| p.x)).collect();
        assert_eq!(xs, [Some(3.0), Some(1.0)]);
    }

    #[test]
    fn a_damaged_coordinate_is_a_marker_not_seen() {
        let mut a = Assembler::new(layout());
        let mut out = Vec::new();
        a.push(&part(0, 1, 0, &[1e30, 0.0, 3000.0]), &mut out);
        assert_eq!(out[0].points.iter().filter(|p| p.is_some()).count(), 1);
    }

    #[test]
    fn a_frame_without_its_last_part_is_handed_on_with_what_came() {
        let mut a = Assembler::new(layout());
        let mut out = Vec::new();
        a.push(&part(0, 2, 0, &[1000.0]), &mut out);
        a.push(&part(1, 1, 0, &[5.0, 6.0, 7.0]), &mut out);
        assert_eq!(out.len(), 2);
        assert_eq!(out[0].points[0], None);
        assert_eq!(a.incomplete(), 1);
    }
}
