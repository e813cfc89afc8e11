//! Whose calibration is it? The sizes that a trial and a swing both show, against what skin, breath
//! and joints of one person do to them.
//!
//! The statistic is the sum of the squared differences, each in its own standard deviations, which
//! for one person follows the chi-squared distribution. How far apart the sizes are also tells how
//! surely joint centers still hang on their markers: `variance_share`. Deciding what follows is
//! `measure`'s work.

use nalgebra::Point3;

use super::calibration::{Calibration, Lengths, Shape};
use crate::landmark::Landmark as L;

/// One size: words, and the standard deviation of the difference between standing in a trial and
/// address of one person with the markers where they were, metres. Skin over the pelvis and breathing
/// move markers by millimetres, a bent back and bent joints by more (skin of the back 10 mm between
/// fully bent and stretched: Zemp 2014, PLoS ONE 9:e95426; the others common practice, no source).
const SIZES: [(&str, f64); 11] = [
    ("the front of the pelvis", 0.004),
    ("the back of the pelvis", 0.004),
    ("the pelvis from front to back", 0.005),
    ("the upper chest from front to back", 0.005),
    ("the lower chest from front to back", 0.005),
    ("the chest's height", 0.008),
    ("the head's width", 0.002),
    ("the head from front to back", 0.002),
    ("the thighs", 0.006),
    ("the lower legs", 0.004),
    ("the forearms", 0.006),
];
/// Normal deviates of the chi-squared quantiles 0.95 and 0.999: one own trial in twenty is called
/// rough, one in a thousand refused.
const ROUGH_Z: f64 = 1.645;
const REFUSED_Z: f64 = 3.090;
/// A stranger of the same sizes has joint centers that differ by two errors of the regression.
const STRANGER_VARIANCES: f64 = 2.0;
/// Differences that are told, in standard deviations, and at most how many.
const TOLD_SIGMAS: f64 = 1.5;
const TOLD_MAX: usize = 2;

/// How well a trial fits a swing's golfer.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Fit {
    /// As one person's trial and swing fit.
    Good,
    /// As one in twenty of them does.
    Rough,
    /// As one in a thousand of them does: another person, or markers put on anew.
    Refused,
}

/// What the sizes say.
#[derive(Debug, Clone, PartialEq)]
pub struct Likeness {
    /// Size in the trial less size in the swing, metres, in the order of `SIZES`; `None` where one of
    /// the two does not show it.
    differences: [Option<f64>; SIZES.len()],
}

impl Likeness {
    /// Compares a trial's calibration with the posture at a swing's address: its shapes and markers.
    #[must_use]
    pub fn new(
        trial: &Calibration,
        posture: &Calibration,
        at: impl Fn(L) -> Option<Point3<f64>>,
    ) -> Self {
        let seen = Lengths::of(trial, at);
        let told = sizes(trial, &trial.lengths, &seen);
        let shown = sizes(posture, &seen, &trial.lengths);
        Self {
            differences: std::array::from_fn(|i| Some(told[i]? - shown[i]?)),
        }
    }

    /// How well they fit, by the chi-squared quantiles (Wilson & Hilferty 1931).
    #[must_use]
    pub fn fit(&self) -> Fit {
        let n = self.in_sigmas().count() as f64;
        let sum: f64 = self.in_sigmas().map(|(_, s)| s * s).sum();
        let beyond =
            |z: f64| sum > n * (1.0 - 2.0 / (9.0 * n) + z * (2.0 / (9.0 * n)).sqrt()).powi(3);
        match () {
            () if n == 0.0 => Fit::Good,
            () if beyond(REFUSED_Z) => Fit::Refused,
            () if beyond(ROUGH_Z) => Fit::Rough,
            () => Fit::Good,
        }
    }

    /// Variance that joint centers and widths of the trial have in addition, as a share of what an
    /// assumption from the sizes alone would have: where markers stand one deviation from where they
    /// stood, what hangs on them is no surer than that.
    #[must_use]
    pub fn variance_share(&self) -> f64 {
        let squares: Vec<f64> = self.in_sigmas().map(|(_, s)| s * s).collect();
        let mean = squares.iter().sum::<f64>() / squares.len().max(1) as f64;
        mean.min(STRANGER_VARIANCES)
    }

    /// The largest differences as part of a sentence: the trial against this swing. Empty where none
    /// stands out.
    #[must_use]
    pub fn words(&self) -> String {
        let mut far: Vec<(usize, f64)> = self
            .in_sigmas()
            .filter(|(_, s)| s.abs() >= TOLD_SIGMAS)
            .collect();
        far.sort_by(|a, b| b.1.abs().total_cmp(&a.1.abs()));
        far.truncate(TOLD_MAX);
        let parts: Vec<String> = far
            .iter()
            .map(|&(i, sigmas)| {
                let mm = 1e3 * SIZES[i].1 * sigmas;
                let more = if mm > 0.0 { "larger" } else { "smaller" };
                format!("{} {:.0} mm {more}", SIZES[i].0, mm.abs())
            })
            .collect();
        parts.join(", ")
    }

    fn in_sigmas(&self) -> impl Iterator<Item = (usize, f64)> {
        let each = self.differences.iter().zip(SIZES).enumerate();
        each.filter_map(|(i, (x, (_, sd)))| Some((i, (*x)? / sd)))
    }
}

/// The sizes in the order of `SIZES`. A pair of limbs counts by the sides that both have.
fn sizes(c: &Calibration, own: &Lengths, other: &Lengths) -> [Option<f64>; SIZES.len()] {
    let between = |shape: &Option<Shape>, a: L, b: L| {
        let shape = shape.as_ref()?;
        let place = |l: L| Some(shape.places[shape.landmarks.iter().position(|m| *m == l)?]);
        Some((place(a)? - place(b)?).norm())
    };
    let two = |a: Option<f64>, b: Option<f64>| Some(0.5 * (a? + b?));
    let pelvis = |a, b| between(&c.pelvis, a, b);
    let thorax = |a, b| between(&c.thorax, a, b);
    let head = |a, b| between(&c.head, a, b);
    let limb = |own: [Option<f64>; 2], other: [Option<f64>; 2]| match (other[0], other[1]) {
        (Some(_), Some(_)) => two(own[0], own[1]).or(own[0]).or(own[1]),
        (Some(_), None) => own[0],
        (None, Some(_)) => own[1],
        (None, None) => None,
    };
    [
        pelvis(L::LeftAsis, L::RightAsis),
        pelvis(L::LeftPsis, L::RightPsis),
        two(
            pelvis(L::LeftAsis, L::LeftPsis),
            pelvis(L::RightAsis, L::RightPsis),
        ),
        thorax(L::C7, L::SternalNotch),
        thorax(L::T8, L::Xiphoid),
        two(thorax(L::C7, L::T8), thorax(L::SternalNotch, L::Xiphoid)),
        head(L::HeadLeft, L::HeadRight),
        two(
            head(L::HeadFront, L::HeadLeft),
            head(L::HeadFront, L::HeadRight),
        ),
        limb(own.thighs, other.thighs),
        limb(own.shanks, other.shanks),
        limb(own.forearms, other.forearms),
    ]
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Sizes that all differ by `sigmas`.
    fn by(sigmas: f64) -> Likeness {
        Likeness {
            differences: SIZES.map(|(_, sd)| Some(sd * sigmas)),
        }
    }

    /// Chi-squared with 11 degrees of freedom: 19.675 and 31.264 at 0.95 and 0.999 (tables of the
    /// distribution).
    #[test]
    fn the_limits_are_the_quantiles_of_the_tables() {
        let sum = |chi: f64| by((chi / 11.0).sqrt()).fit();
        assert_eq!([sum(19.5), sum(19.9)], [Fit::Good, Fit::Rough]);
        assert_eq!([sum(31.1), sum(31.5)], [Fit::Rough, Fit::Refused]);
    }

    #[test]
    fn nothing_to_compare_refuses_nothing_and_widens_nothing() {
        let none = Likeness {
            differences: [None; SIZES.len()],
        };
        assert_eq!(none.fit(), Fit::Good);
        assert!(none.variance_share().abs() < 1e-12 && none.words().is_empty());
        assert!((by(0.5).variance_share() - 0.25).abs() < 1e-12);
        assert!((by(9.0).variance_share() - 2.0).abs() < 1e-12);
    }

    #[test]
    fn the_largest_differences_are_told() {
        let mut one = by(0.1);
        one.differences[9] = Some(-0.021);
        assert_eq!(one.words(), "the lower legs 21 mm smaller");
    }
}
