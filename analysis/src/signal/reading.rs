//! How sharply a motion is read: filters and fits as wide as noise needs, or twice as sharp for a motion
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
