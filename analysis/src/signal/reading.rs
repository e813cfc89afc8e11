//! How a motion is read: filters and fits as wide as noise needs, or twice as sharp for a motion
//! that has no noise. The difference between the two is what the usual widths take from the motion.

/// How sharply a motion is read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Reading {
    /// Markers with their noise.
    Usual,
    /// A motion without noise.
    Sharp,
}

impl Reading {
    /// A cut-off, Hz.
    #[must_use]
    pub fn cutoff(self, usual_hz: f64) -> f64 {
        usual_hz / self.share()
    }

    /// Half or whole of a stretch that is fitted, seconds.
    #[must_use]
    pub fn span(self, usual_s: f64) -> f64 {
        usual_s * self.share()
    }

    /// Share of a hump's height from which on its samples are fitted: a hump is as wide as the root of
    /// what lies over the share.
    #[must_use]
    pub fn level(self, usual: f64) -> f64 {
        1.0 - (1.0 - usual) * self.share().powi(2)
    }

    /// Half the width leaves a sixteenth of what a cubic or a two-pass second-order filter takes.
    fn share(self) -> f64 {
        match self {
            Self::Usual => 1.0,
            Self::Sharp => 0.5,
        }
    }
}

/// Errors that few frames a second leave and that noise does not show, in their standard deviations:
/// zero in a measurement, drawn for its uncertainty.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Unresolved {
    /// Of the instant of impact.
    pub impact: f64,
    /// Of a fast point's velocity at impact, along it and across (up, to the side).
    pub velocity: [f64; 3],
}

impl Unresolved {
    /// Standard deviation of impact, in frames, times the rate, Hz: the fits on both sides span a fixed
    /// number of frames, so that few of them are long stretches (synthetic golfers at 108 to 240 frames
    /// a second; no source).
    pub const IMPACT_FRAMES_HZ: f64 = 6.5;
    /// Standard deviation of what a cubic leaves of a velocity over this span, seconds, as a share of its
    /// size (synthetic golfers without noise; no source). It grows with the fourth power of the span.
    pub const VELOCITY_SHARE: f64 = 0.0015;
    /// That span.
    pub const VELOCITY_SPAN_S: f64 = 0.030;
    /// Frames a second below which both matter.
    pub const BELOW_HZ: f64 = 250.0;
}
