//! What is told of the golfer against what the window shows: whose calibration holds, and which
//! landmarks the marker map calls inexact.

use std::ops::Range;

use nalgebra::{Point3, Vector3};

use crate::body::calibration::{Calibration, Origin};
use crate::body::likeness::{Fit, Likeness};
use crate::context::Context;
use crate::handed::Handed;
use crate::landmark::Landmark;
use crate::swing::found::Swing;
use crate::window::Window;

/// Largest difference of distances within clusters that a calibration of the same person with the
/// same markers may show, metres: skin and posture, no other body (common practice, no source).
const SAME_PERSON_M: f64 = 0.015;
/// The calibration told, if it is this golfer's; otherwise that of the posture at address.
pub(super) fn calibrate(
    window: &Window,
    swing: &Swing,
    handed: Handed,
    context: &Context,
) -> (Calibration, Option<String>) {
    let posture = posture(window, swing);
    let Some(told) = &context.calibration else {
        return (posture, None);
    };
    let told = if handed == Handed::Left {
        told.mirrored()
    } else {
        told.clone()
    };
    let likeness = Likeness::new(&told, &posture, |l| mean(window, l, &swing.quiet));
    let fit = likeness.fit();
    if fit == Fit::Refused {
        let words = format!(
            "The calibration trial does not fit this golfer and was not used: {} than in this swing. Check whose trial it is, or record it again.",
            likeness.words()
        );
        return (posture, Some(words));
    }
    let misfit = told.misfit(&posture);
    if misfit > SAME_PERSON_M {
        let words = format!(
            "The calibration trial does not fit this golfer and was not used: distances between markers differ by up to {:.0} mm. Check whose trial it is; if markers were put on anew, record it again.",
            1e3 * misfit
        );
        return (posture, Some(words));
    }
    let used = match told.origin {
        Origin::Movement => {
            "Calibration: hip centers from the trial's movement, joint widths from its medial markers."
        }
        Origin::Posture => {
            "Calibration: joint widths from the trial's medial markers, hip centers by regression."
        }
        Origin::Address => "Calibration: marker shapes from the trial, joint widths assumed.",
    };
    let mut used = used.to_owned();
    if fit == Fit::Rough {
        used += " It fits this golfer only roughly, so its uncertainty is widened: check whose trial it is.";
    }
    let mut told = told.less_sure(likeness.variance_share());
    told.rough = fit == Fit::Rough;
    (told, Some(used))
}

/// A landmark's mean place over slots.
fn mean(window: &Window, landmark: Landmark, slots: &Range<usize>) -> Option<Point3<f64>> {
    let track = window.track(landmark)?;
    let seen = slots.clone().filter_map(|i| track.get(i)?.as_ref());
    let (sum, n) = seen.fold((Vector3::zeros(), 0.0), |(s, n), p| (s + p.coords, n + 1.0));
    (n > 0.0).then(|| Point3::from(sum / n))
}

/// The calibration of the posture at address; shapes that are not complete there are taken where
/// they first are.
#[must_use]
pub fn posture(window: &Window, swing: &Swing) -> Calibration {
    let of = |slots: Range<usize>| Calibration::of_posture(|l| mean(window, l, &slots));
    let mut found = of(swing.quiet.clone());
    let step = window.slots(0.05);
    for slot in (0..window.len()).step_by(step) {
        if found.is_complete() {
            break;
        }
        found.complete_from(of(slot..slot + 1));
    }
    found
}

/// The words of the marker map in the golfer frame.
pub(super) fn approximate(handed: Handed, context: &Context) -> Vec<(Landmark, String)> {
    let own = |l: Landmark| {
        if handed == Handed::Left {
            l.opposite()
        } else {
            l
        }
    };
    context
        .approximate
        .iter()
        .map(|(l, words)| (own(*l), words.clone()))
        .collect()
}
