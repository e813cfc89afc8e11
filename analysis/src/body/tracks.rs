//! The body's tracks, bridged over short gaps and low-passed, with the slots that stay unknown.

use std::ops::{Range, RangeInclusive};

use nalgebra::Point3;

use super::grid::Grid;
use crate::landmark::Landmark;
use crate::signal::cutoff::cutoff_hz;
use crate::signal::lowpass::DualPass;
use crate::signal::reading::Reading;
use crate::window::Window;

/// Limits of the cut-offs that residual analysis chooses, Hz (REFERENCES A3: typical cut-offs for body
/// markers are 6–15 Hz; analysis of the whole movement's power asks for about 10 Hz on the trunk, which
/// would flatten the short peaks that are looked for here).
const TRUNK_HZ: RangeInclusive<f64> = 14.0..=18.0;
const ARMS_HZ: RangeInclusive<f64> = 18.0..=25.0;
/// Markers whose movement stands for their group.
const TRUNK: &[Landmark] = &[
    Landmark::LeftAsis,
    Landmark::RightAsis,
    Landmark::SternalNotch,
    Landmark::LeftKnee,
    Landmark::RightKnee,
];
const ARMS: &[Landmark] = &[
    Landmark::LeftAcromion,
    Landmark::LeftElbow,
    Landmark::LeftRadialStyloid,
    Landmark::LeftWrist,
];

/// The low-pass of each group of markers, Hz.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cutoffs {
    /// Shoulders, elbows, wrists.
    arms: f64,
    /// Everything else.
    trunk: f64,
}

impl Cutoffs {
    /// Chosen by residual analysis of the movement in some slots.
    #[must_use]
    pub fn choose(window: &Window, slots: Range<usize>) -> Self {
        let grid = Grid::of_body(window.rate_hz);
        let of = |landmarks: &[Landmark], limits: RangeInclusive<f64>| {
            let tracks = landmarks.iter().filter_map(|&l| window.track(l));
            let channels: Vec<Vec<f64>> = tracks
                .filter_map(|t| grid.place_track(&t[slots.clone()]))
                .flat_map(|(t, _)| [0, 1, 2].map(|axis| t.iter().map(|p| p[axis]).collect()))
                .collect();
            let channels: Vec<&[f64]> = channels.iter().map(Vec::as_slice).collect();
            cutoff_hz(&channels, grid.rate(window.rate_hz), limits)
        };
        Self {
            arms: of(ARMS, ARMS_HZ),
            trunk: of(TRUNK, TRUNK_HZ),
        }
    }
}

fn is_arm(landmark: Landmark) -> bool {
    use Landmark as L;
    matches!(
        landmark,
        L::LeftAcromion
            | L::RightAcromion
            | L::LeftElbow
            | L::RightElbow
            | L::LeftRadialStyloid
            | L::RightRadialStyloid
            | L::LeftUlnarStyloid
            | L::RightUlnarStyloid
            | L::LeftWrist
            | L::RightWrist
            | L::LeftHand
            | L::RightHand
    )
}

/// One smoothed landmark.
#[derive(Debug, Clone, PartialEq)]
pub struct SmoothTrack {
    /// One point a place of the grid, metres; a guess where not known.
    pub points: Vec<Point3<f64>>,
    /// Whether the place was measured or safely bridged.
    pub known: Vec<bool>,
}

/// Smoothed body landmarks of one window.
#[derive(Debug, Clone)]
pub struct Smoothed {
    /// Where in the window its places are.
    pub grid: Grid,
    len: usize,
    /// What the tracks were low-passed with; `None` for unfiltered ones.
    pub cutoffs: Option<Cutoffs>,
    tracks: Vec<(Landmark, SmoothTrack)>,
    approximate: Vec<(Landmark, String)>,
}

impl Smoothed {
    /// Smooths the body landmarks of a window whose short gaps are bridged already. `approximate`
    /// names landmarks that a marker map calls inexact, with its words.
    #[must_use]
    pub fn new(
        window: &Window,
        approximate: &[(Landmark, String)],
        (cutoffs, reading): (Cutoffs, Reading),
    ) -> Self {
        Self::on(
            Grid::of_body(window.rate_hz),
            window,
            approximate,
            (cutoffs, reading),
        )
    }

    /// The same on a grid of the caller's choice.
    #[must_use]
    pub fn on(
        grid: Grid,
        window: &Window,
        approximate: &[(Landmark, String)],
        (cutoffs, reading): (Cutoffs, Reading),
    ) -> Self {
        let mut raw = Self::placed(grid, window, approximate);
        raw.cutoffs = Some(cutoffs);
        let rate_hz = grid.rate(window.rate_hz);
        let pad = (rate_hz * 0.25) as usize;
        for (arm, cutoff) in [(true, cutoffs.arms), (false, cutoffs.trunk)] {
            let tracks = raw.tracks.iter_mut().filter(|(l, _)| is_arm(*l) == arm);
            let mut paths: Vec<&mut [Point3<f64>]> =
                tracks.map(|(_, t)| t.points.as_mut_slice()).collect();
            DualPass::butterworth(rate_hz, reading.cutoff(cutoff)).run_paths(&mut paths, pad);
        }
        raw
    }

    /// Every slot, without the low-pass: for fits that must not see across impact.
    #[must_use]
    pub fn unfiltered(window: &Window, approximate: &[(Landmark, String)]) -> Self {
        Self::placed(Grid::EVERY, window, approximate)
    }

    /// On a grid of the caller's choice, without the low-pass.
    #[must_use]
    pub fn placed(grid: Grid, window: &Window, approximate: &[(Landmark, String)]) -> Self {
        let tracks: Vec<(Landmark, SmoothTrack)> = window
            .landmarks
            .iter()
            .zip(&window.tracks)
            .filter(|(l, _)| !l.is_club())
            .filter_map(|(&l, track)| {
                let (points, known) = grid.place_track(track)?;
                Some((l, SmoothTrack { points, known }))
            })
            .collect();
        Self {
            grid,
            cutoffs: None,
            len: grid.len(window.len()),
            tracks,
            approximate: approximate.to_vec(),
        }
    }

    /// Number of places.
    #[must_use]
    pub fn len(&self) -> usize {
        self.len
    }

    /// Whether there is no place.
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
