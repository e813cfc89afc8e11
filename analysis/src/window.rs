//! A stretch of frames as tracks: one series of positions a landmark, on an even grid of frames.
//!
//! Frames that never arrived are slots without points. Cleaning the tracks lives in `signal`.

use std::ops::Range;

use nalgebra::Point3;

use crate::frame::CaptureFrame;
use crate::landmark::Landmark;

/// The path of one landmark; `None` where it is not known.
pub type Track = Vec<Option<Point3<f64>>>;

/// A stretch of frames, landmark by landmark.
#[derive(Debug, Clone, PartialEq)]
pub struct Window {
    /// Frame number of slot 0.
    pub first_number: u64,
    /// Frames a second.
    pub rate_hz: f64,
    /// Device time of every slot, nanoseconds.
    pub time_ns: Vec<i64>,
    /// Landmarks, in order.
    pub landmarks: Vec<Landmark>,
    /// One track a landmark, each as long as `time_ns`; metres, bay frame.
    pub tracks: Vec<Track>,
    /// Slots for which a frame arrived.
    pub arrived: Vec<bool>,
}

impl Window {
    /// Lays frames (rising frame numbers) on an even grid. `None` without frames.
    #[must_use]
    pub fn new<'a>(
        frames: impl Iterator<Item = &'a CaptureFrame>,
        landmarks: &[Landmark],
        rate_hz: f64,
    ) -> Option<Self> {
        let mut frames = frames.peekable();
        let first = *frames.peek()?;
        let mut window = Self {
            first_number: first.number,
            rate_hz,
            time_ns: Vec::new(),
            landmarks: landmarks.to_vec(),
            tracks: vec![Vec::new(); landmarks.len()],
            arrived: Vec::new(),
        };
        let step_ns = 1e9 / rate_hz;
        for frame in frames {
            while window.time_ns.len() < slot(first.number, frame.number) {
                let missing = window
                    .time_ns
                    .last()
                    .map_or(first.time_ns, |&t| t + step_ns.round() as i64);
                window.time_ns.push(missing);
                window.tracks.iter_mut().for_each(|t| t.push(None));
                window.arrived.push(false);
            }
            window.time_ns.push(frame.time_ns);
            window.arrived.push(true);
            for (track, &point) in window.tracks.iter_mut().zip(&frame.points) {
                track.push(point);
            }
        }
        Some(window)
    }

    /// A copy of some slots.
    #[must_use]
    pub fn part(&self, range: Range<usize>) -> Self {
        Self {
            first_number: self.first_number + range.start as u64,
            rate_hz: self.rate_hz,
            time_ns: self.time_ns[range.clone()].to_vec(),
            landmarks: self.landmarks.clone(),
            tracks: self
                .tracks
                .iter()
                .map(|t| t[range.clone()].to_vec())
                .collect(),
            arrived: self.arrived[range].to_vec(),
        }
    }

    /// Forgets the slots outside `range`.
    pub fn keep(&mut self, range: Range<usize>) {
        self.first_number += range.start as u64;
        crop(&mut self.time_ns, range.clone());
        crop(&mut self.arrived, range.clone());
        self.tracks.iter_mut().for_each(|t| crop(t, range.clone()));
    }

    /// Takes the frame rate from the device times where the described one contradicts them by more
    /// than one percent, and says so: times are measured, a rate is only told.
    pub fn take_rate_from_times(&mut self) -> Option<String> {
        let steps: Vec<i64> = (1..self.len())
            .filter(|&i| self.arrived[i - 1] && self.arrived[i])
            .map(|i| self.time_ns[i] - self.time_ns[i - 1])
            .collect();
        let told = self.rate_hz;
        let mut sorted = steps.clone();
        sorted.sort_unstable();
        let usual = *sorted.get(steps.len() / 2)?;
        // A clock that jumps is no rate.
        let sound = steps.iter().filter(|s| (0..=10 * usual).contains(*s));
        let (span_ns, count) = sound.fold((0, 0), |(sum, n), s| (sum + s, n + 1));
        if count < 10 || span_ns <= 0 {
            return None;
        }
        let measured = f64::from(count) * 1e9 / span_ns as f64;
        let contradicts = (measured / told - 1.0).abs() > 0.01;
        contradicts.then(|| {
            self.rate_hz = measured;
            format!("The sender tells {told:.1} frames a second, its device times say {measured:.1}: the times were used.")
        })
    }

    /// Slot with its fraction at a device time, nanoseconds; `None` outside the window.
    #[must_use]
    pub fn slot_at(&self, time_ns: i64) -> Option<f64> {
        let after = self.time_ns.partition_point(|t| *t <= time_ns);
        let before = after.checked_sub(1)?;
        let from = self.time_ns[before];
        if from == time_ns {
            return Some(before as f64);
        }
        let step = self.time_ns.get(after)? - from;
        Some(before as f64 + (time_ns - from) as f64 / step as f64)
    }

    /// Number of slots.
    #[must_use]
    pub fn len(&self) -> usize {
        self.time_ns.len()
    }

    /// Slots for which no frame arrived.
    #[must_use]
    pub fn lost(&self) -> usize {
        self.arrived.iter().filter(|arrived| !**arrived).count()
    }

    /// Whether there is no slot.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.time_ns.is_empty()
    }

    /// The track of a landmark, if the set has it.
    #[must_use]
    pub fn track(&self, landmark: Landmark) -> Option<&Track> {
        self.landmarks
            .iter()
            .position(|&l| l == landmark)
            .map(|i| &self.tracks[i])
    }

    /// Whether the set has this landmark.
    #[must_use]
    pub fn has(&self, landmark: Landmark) -> bool {
        self.landmarks.contains(&landmark)
    }

    /// Slots in a span of seconds, at least one.
    #[must_use]
    pub fn slots(&self, seconds: f64) -> usize {
        ((seconds * self.rate_hz).round() as usize).max(1)
    }

    /// Device time in seconds of a slot with its fraction (clamped to the window).
    #[must_use]
    pub fn seconds(&self, slot: f64) -> f64 {
        let last = self.len().saturating_sub(1);
        let below = (slot.max(0.0).floor() as usize).min(last);
        let above = (below + 1).min(last);
        let (a, b) = (self.time_ns[below], self.time_ns[above]);
        let fraction = (slot - below as f64).clamp(0.0, 1.0);
        (a as f64 + (b - a) as f64 * fraction) * 1e-9
    }

    /// Frame number with its fraction of a slot.
    #[must_use]
    pub fn number(&self, slot: f64) -> f64 {
        self.first_number as f64 + slot
    }
}

/// Forgets what lies outside `range`.
pub fn crop<T>(series: &mut Vec<T>, range: Range<usize>) {
    series.truncate(range.end);
    series.drain(..range.start.min(series.len()));
}

fn slot(first: u64, number: u64) -> usize {
    usize::try_from(number.saturating_sub(first)).unwrap_or(usize::MAX)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn frame(number: u64) -> CaptureFrame {
        CaptureFrame {
            number,
            time_ns: number as i64 * 10_000_000,
            points: vec![Some(Point3::new(number as f64, 0.0, 0.0))],
        }
    }

    #[test]
    fn lost_frames_are_slots_without_points() {
        let frames = [frame(5), frame(6), frame(9)];
        let w = Window::new(frames.iter(), &[Landmark::C7], 100.0).unwrap();
        assert_eq!((w.len(), w.lost()), (5, 2));
        assert_eq!(w.track(Landmark::C7).unwrap()[2], None);
        assert!((w.seconds(3.5) - 0.085).abs() < 1e-12);
        assert!((w.number(3.5) - 8.5).abs() < 1e-12);
        let mut kept = w.clone();
        kept.keep(2..4);
        assert_eq!(kept.len(), 2);
        assert!(
            (kept.seconds(1.5) - w.seconds(3.0)).abs() < 1e-12,
            "clamped to what is kept"
        );
        assert!((kept.number(0.0) - w.number(2.0)).abs() < 1e-12);
    }
}
