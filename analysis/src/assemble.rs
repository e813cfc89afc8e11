//! Joins the parts of a marker frame into a [`CaptureFrame`] in the bay frame.
//!
//! Expects the parts of one stream in order (see `stream`). A frame of which a part never came is
//! handed on with the points that did come.

use std::borrow::Cow;
use std::sync::Arc;

use nalgebra::Point3;

use crate::frame::{CaptureFrame, MarkerLayout, landmarks};
use crate::landmark::Landmark;

/// Coordinates beyond this are damage, metres: a survey's origin may be far, but not that far.
const REACH_M: f64 = 1e5;

/// One datagram's worth of a frame, still in source units and axes.
#[derive(Debug, Clone, PartialEq)]
pub struct FramePart<'a> {
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
    pub points: Cow<'a, [Option<[f32; 3]>]>,
}

impl FramePart<'_> {
    /// The same with points of its own.
    #[must_use]
    pub fn into_owned(self) -> FramePart<'static> {
        FramePart {
            points: Cow::Owned(self.points.into_owned()),
            ..self
        }
    }
}

/// Joins parts to frames for one layout.
#[derive(Debug)]
pub struct Assembler {
    layout: MarkerLayout,
    landmarks: Vec<Landmark>,
    /// Column of the source → place in the frame.
    places: Vec<Option<usize>>,
    open: Option<(Arc<CaptureFrame>, u8)>,
    /// Frames that are needed no more, to be filled anew: with those of the ring never more than it once held.
    spent: Vec<Arc<CaptureFrame>>,
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
            spent: Vec::new(),
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

    /// Takes the next part; what is complete, or will never be, in order.
    pub fn push(
        &mut self,
        part: &FramePart<'_>,
    ) -> impl Iterator<Item = Arc<CaptureFrame>> + use<> {
        let other = |(frame, _): &(Arc<CaptureFrame>, u8)| frame.number != part.number;
        let broken = if self.open.as_ref().is_some_and(other) {
            self.flush()
        } else {
            None
        };
        let (frame, seen) = self.open.get_or_insert_with(|| {
            let mut frame = self.spent.pop().unwrap_or_default();
            // Whoever still holds it keeps it as it was.
            let blank = Arc::make_mut(&mut frame);
            (blank.number, blank.time_ns) = (part.number, part.time_ns);
            blank.points.clear();
            blank.points.resize(self.landmarks.len(), None);
            (frame, 0)
        });
        let points = &mut Arc::make_mut(frame).points;
        let columns = self.places.iter().skip(part.first);
        for (place, point) in columns.zip(part.points.iter()) {
            if let Some(place) = place {
                points[*place] = point
                    .map(|p| self.layout.bay_from_source.point(p))
                    .filter(in_reach);
            }
        }
        *seen = seen.saturating_add(1);
        let complete = if *seen >= part.parts {
            self.open.take().map(|(frame, _)| frame)
        } else {
            None
        };
        broken.into_iter().chain(complete)
    }

    /// The open frame as it is.
    pub fn flush(&mut self) -> Option<Arc<CaptureFrame>> {
        let (frame, _) = self.open.take()?;
        self.incomplete += 1;
        Some(frame)
    }

    /// Takes back a frame that is needed no more: a later one is put into its place in memory.
    pub fn give_back(&mut self, frame: Arc<CaptureFrame>) {
        self.spent.push(frame);
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

    fn part(number: u64, parts: u8, first: usize, points: &[f32]) -> FramePart<'static> {
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
        assert_eq!(a.push(&part(0, 2, 0, &[1000.0, 2000.0])).count(), 0);
        let out: Vec<_> = a.push(&part(0, 2, 2, &[3000.0])).collect();
        assert_eq!(a.landmarks(), [Landmark::C7, Landmark::T8]);
        let xs: Vec<_> = out[0].points.iter().map(|p| p.map(|p| p.x)).collect();
        assert_eq!(xs, [Some(3.0), Some(1.0)]);
    }

    #[test]
    fn a_damaged_coordinate_is_a_marker_not_seen() {
        let mut a = Assembler::new(layout());
        let out: Vec<_> = a.push(&part(0, 1, 0, &[1e30, 0.0, 3000.0])).collect();
        assert_eq!(out[0].points.iter().filter(|p| p.is_some()).count(), 1);
    }

    #[test]
    fn a_frame_without_its_last_part_is_handed_on_with_what_came() {
        let mut a = Assembler::new(layout());
        let mut out: Vec<_> = a.push(&part(0, 2, 0, &[1000.0])).collect();
        out.extend(a.push(&part(1, 1, 0, &[5.0, 6.0, 7.0])));
        assert_eq!(out.len(), 2);
        assert_eq!(out[0].points[0], None);
        assert_eq!(a.incomplete(), 1);
    }

    #[test]
    fn a_frame_given_back_is_filled_anew_and_never_under_whoever_holds_it() {
        let mut a = Assembler::new(layout());
        let first = a.push(&part(0, 1, 0, &[1.0, 2.0, 3.0])).next().unwrap();
        let held = Arc::clone(&first);
        a.give_back(first);
        // One column only: the other landmark is not that of the frame before.
        let second = a.push(&part(1, 1, 0, &[4.0])).next().unwrap();
        assert_eq!(second.points, [None, Some(Point3::new(0.004, 0.0, 0.0))]);
        assert!(held.number == 0 && held.points.iter().all(Option::is_some));
        let place = Arc::as_ptr(&second);
        a.give_back(second);
        let third = a.push(&part(2, 1, 0, &[5.0])).next().unwrap();
        assert_eq!(Arc::as_ptr(&third), place);
    }
}
