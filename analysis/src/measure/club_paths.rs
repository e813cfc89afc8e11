//! The club's paths without gaps, and the slots in which each is known.

use std::ops::Range;

use nalgebra::{Point3, Vector3};

use super::Nothing;
use super::clean::GRIP;
use crate::club::Club;
use crate::signal::gaps;
use crate::swing::impact::BALL_RADIUS_M;
use crate::swing::phases::Paths;
use crate::window::{Track, Window, crop};

/// The club's paths without gaps.
pub(super) struct ClubPaths {
    pub(super) paths: Paths,
    pub(super) grip: Vec<Point3<f64>>,
    pub(super) grip_known: Vec<bool>,
    pub(super) grip_limited: Option<String>,
    pub(super) head_marked: bool,
    pub(super) head_limited: Option<String>,
    pub(super) toe: Vec<Option<Vector3<f64>>>,
}

impl ClubPaths {
    pub(super) fn new(
        window: &Window,
        club: &Club,
        ball: Option<Point3<f64>>,
    ) -> Result<Self, Nothing> {
        let gone = Nothing::Markers("the club was never seen");
        let axis: Track = club.axis.iter().map(|u| u.map(Point3::from)).collect();
        let solid = |track: &Track| gaps::solid(track).ok_or(gone.clone());
        let paths = Paths {
            rate_hz: window.rate_hz,
            head: solid(&club.head)?,
            axis: solid(&axis)?.iter().map(unit).collect(),
            known: known(&club.head),
            axis_known: known(&axis),
            ball_x: ball.map(|b| b.x - BALL_RADIUS_M),
            pulses: Vec::new(),
        };
        Ok(Self {
            paths,
            grip: solid(&club.grip)?,
            grip_known: known(&club.grip),
            grip_limited: club.limited.map(String::from),
            head_marked: club.head_marked,
            head_limited: club.head_limited.clone(),
            toe: club.toe.clone(),
        })
    }

    /// A grip placed by a long lever from the club's head is too noisy for a speed.
    pub(super) fn forget_levered(&mut self, window: &Window, levered: &[Vec<bool>]) {
        let tracks = window
            .landmarks
            .iter()
            .zip(levered)
            .filter(|(l, _)| GRIP.contains(l));
        for (_, levered) in tracks {
            self.grip_known
                .iter_mut()
                .zip(levered)
                .for_each(|(known, levered)| *known &= !levered);
        }
    }

    pub(super) fn keep(&mut self, range: Range<usize>) {
        self.paths.keep(range.clone());
        crop(&mut self.grip, range.clone());
        crop(&mut self.grip_known, range.clone());
        crop(&mut self.toe, range);
    }
}

fn known(track: &Track) -> Vec<bool> {
    track.iter().map(Option::is_some).collect()
}

fn unit(p: &Point3<f64>) -> Vector3<f64> {
    p.coords
        .try_normalize(1e-6)
        .unwrap_or_else(|| -Vector3::y())
}
