//! The last seconds of frames, bounded in time and number, from which a swing's window is cut.

use std::collections::VecDeque;
use std::sync::Arc;

use crate::frame::CaptureFrame;
use crate::landmark::Landmark;
use crate::window::Window;

/// Span kept, nanoseconds: lead and tail of a pass, also in slow motion.
const SPAN_NS: i64 = 11_000_000_000;
/// Frames kept at most (11 s at 2 kHz).
const FRAMES_MAX: usize = 22_528;
/// A jump of time or number beyond this is a new beginning, not a gap to lay a grid over.
const JUMP_NS: i64 = 2_000_000_000;

/// A ring of frames in order.
#[derive(Debug, Default)]
pub struct History {
    frames: VecDeque<Arc<CaptureFrame>>,
}

/// Whether a frame went on from the ones before it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Continuity {
    /// It did.
    Continued,
    /// It did not: what was kept is gone.
    Broken,
}

impl History {
    /// Whether a frame goes on from the last one.
    #[must_use]
    pub fn goes_on(&self, frame: &CaptureFrame, rate_hz: f64) -> bool {
        self.frames.back().is_none_or(|last| {
            let step_ns = frame.time_ns.saturating_sub(last.time_ns);
            let step_frames = frame.number.saturating_sub(last.number) as f64;
            frame.number > last.number
                && (0..=JUMP_NS).contains(&step_ns)
                && step_frames / rate_hz <= JUMP_NS as f64 * 1e-9
        })
    }

    /// Adds the next frame. Time or number running back, or a jump of more than two seconds,
    /// empties the ring first. What leaves it goes to `gone`.
    pub fn push(
        &mut self,
        frame: Arc<CaptureFrame>,
        rate_hz: f64,
        mut gone: impl FnMut(Arc<CaptureFrame>),
    ) -> Continuity {
        let broken = !self.goes_on(&frame, rate_hz);
        if broken {
            self.frames.clear();
        }
        let oldest = frame.time_ns.saturating_sub(SPAN_NS);
        let newest = frame.number;
        self.frames.push_back(frame);
        // A window has a slot for every frame number: a counter that runs too fast must not make it
        // larger than the ring.
        let first_kept = newest.saturating_sub(FRAMES_MAX as u64 - 1);
        while self
            .frames
            .front()
            .is_some_and(|f| f.time_ns < oldest || f.number < first_kept)
        {
            self.frames.pop_front().into_iter().for_each(&mut gone);
        }
        if broken {
            Continuity::Broken
        } else {
            Continuity::Continued
        }
    }

    /// The frames between two device times as a window.
    #[must_use]
    pub fn window(
        &self,
        from_ns: i64,
        to_ns: i64,
        landmarks: &[Landmark],
        rate_hz: f64,
    ) -> Option<Window> {
        let within = self
            .frames
            .iter()
            .map(Arc::as_ref)
            .filter(|f| (from_ns..=to_ns).contains(&f.time_ns));
        Window::new(within, landmarks, rate_hz)
    }

    /// The newest frame.
    #[must_use]
    pub fn newest(&self) -> Option<&CaptureFrame> {
        self.frames.back().map(Arc::as_ref)
    }

    /// Forgets everything.
    pub fn clear(&mut self) {
        self.frames.clear();
    }

    /// Number of frames kept.
    #[must_use]
    pub fn len(&self) -> usize {
        self.frames.len()
    }

    /// Whether nothing is kept.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.frames.is_empty()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn frame(number: u64, time_ns: i64) -> Arc<CaptureFrame> {
        Arc::new(CaptureFrame {
            number,
            time_ns,
            points: Vec::new(),
        })
    }

    #[test]
    fn memory_is_bounded_by_time_and_number() {
        let mut h = History::default();
        for i in 0..40_000 {
            h.push(frame(i, i as i64 * 1_000_000), 1000.0, drop);
        }
        assert_eq!(h.len(), 11_001);
        for i in 0..40_000 {
            h.push(frame(40_000 + i, 39_999_000_000 + i as i64), 1000.0, drop);
        }
        assert_eq!(h.len(), FRAMES_MAX);
    }

    #[test]
    fn a_counter_that_runs_too_fast_makes_no_huge_window() {
        let mut h = History::default();
        for i in 0..2000u64 {
            h.push(frame(i * 1900, i as i64 * 1_000_000), 1000.0, drop);
        }
        let window = h.window(0, i64::MAX, &[], 1000.0).unwrap();
        assert!(window.len() <= FRAMES_MAX, "{}", window.len());
    }

    #[test]
    fn a_jump_begins_anew() {
        let mut h = History::default();
        h.push(frame(0, 0), 100.0, drop);
        assert_eq!(
            h.push(frame(1, 10_000_000), 100.0, drop),
            Continuity::Continued
        );
        assert_eq!(
            h.push(frame(2_000_000_000, 20_000_000), 100.0, drop),
            Continuity::Broken
        );
        assert_eq!(
            h.push(frame(3, 30_000_000), 100.0, drop),
            Continuity::Broken
        );
        assert_eq!(h.len(), 1);
    }
}
