//! The body's tracks, bridged over short gaps and low-passed, with the slots that stay unknown.

use nalgebra::Point3;

use crate::landmark::Landmark;
use crate::signal::gaps;
use crate::signal::lowpass::DualPass;
use crate::signal::reading::Reading;
use crate::window::Window;

/// Low-pass for body markers, Hz (REFERENCES A3: typical cut-offs 6–15 Hz).
const BODY_HZ: f64 = 15.0;

/// One smoothed landmark.
#[derive(Debug, Clone, PartialEq)]
pub struct SmoothTrack {
    /// One point a slot, metres; a guess where not known.
    pub points: Vec<Point3<f64>>,
    /// Whether the slot was measured or safely bridged.
    pub known: Vec<bool>,
}

/// Smoothed body landmarks of one window.
#[derive(Debug, Clone)]
pub struct Smoothed {
    len: usize,
    tracks: Vec<(Landmark, SmoothTrack)>,
    approximate: Vec<(Landmark, String)>,
}

impl Smoothed {
    /// Smooths the body landmarks of a window whose short gaps are bridged already. `approximate`
    /// names landmarks that a marker map calls inexact, with its words.
    #[must_use]
    pub fn new(window: &Window, approximate: &[(Landmark, String)], reading: Reading) -> Self {
        let mut raw = Self::unfiltered(window, approximate);
        let filter = DualPass::butterworth(window.rate_hz, reading.cutoff(BODY_HZ));
        let pad = (window.rate_hz * 0.25) as usize;
        let tracks = raw.tracks.iter_mut();
        let mut paths: Vec<&mut [Point3<f64>]> =
            tracks.map(|(_, t)| t.points.as_mut_slice()).collect();
        filter.run_paths(&mut paths, pad);
        raw
    }

    /// The same without the low-pass: for fits that must not see across impact.
    #[must_use]
    pub fn unfiltered(window: &Window, approximate: &[(Landmark, String)]) -> Self {
        let tracks: Vec<(Landmark, SmoothTrack)> = window
            .landmarks
            .iter()
            .zip(&window.tracks)
            .filter(|(l, _)| !l.is_club())
            .filter_map(|(&l, track)| {
                let points = gaps::solid(track)?;
                let known = track.iter().map(Option::is_some).collect();
                Some((l, SmoothTrack { points, known }))
            })
            .collect();
        Self {
            len: window.len(),
            tracks,
            approximate: approximate.to_vec(),
        }
    }

    /// Number of slots.
    #[must_use]
    pub fn len(&self) -> usize {
        self.len
    }

    /// Whether there is no slot.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.len == 0
    }

    /// Whether all these landmarks were seen at least once.
    #[must_use]
    pub fn has(&self, landmarks: &[Landmark]) -> bool {
        landmarks.iter().all(|&l| self.track(l).is_some())
    }

    /// One landmark.
    #[must_use]
    pub fn track(&self, landmark: Landmark) -> Option<&SmoothTrack> {
        self.tracks
            .iter()
            .find(|(l, _)| *l == landmark)
            .map(|(_, t)| t)
    }

    /// The points of one landmark.
    #[must_use]
    pub fn points(&self, landmark: Landmark) -> Option<Vec<Point3<f64>>> {
        self.track(landmark).map(|t| t.points.clone())
    }

    /// The words of a map that calls this landmark inexact.
    #[must_use]
    pub fn approximate(&self, landmark: Landmark) -> Option<&str> {
        self.approximate
            .iter()
            .find(|(l, _)| *l == landmark)
            .map(|(_, words)| words.as_str())
    }
}
