//! Whether a golfer stands as somebody does who plays a small stroke: on both feet, in one place, not
//! seated. Only asked of small strokes: full swings are made seated, and there are drills in which a golfer
//! walks or steps into one.

use nalgebra::Point3;

use crate::landmark::Landmark as L;
use crate::signal::order;
use crate::swing::event::Event;
use crate::swing::found::Swing;
use crate::swing::refusal::NotASwing;
use crate::window::Window;

/// A pelvis that moves farther than this along the floor during a small stroke walks, metres.
const WALKS_M: f64 = 0.2;
/// A foot's front that leaves its place by more than this steps or is lifted, metres; heels may rise.
const STEPS_M: f64 = 0.06;
/// A pelvis less than this above the knees is on a seat, metres: upright its iliac spines are 0.4 m above
/// them, on a stool 0.1 (lengths of segments of adults; the limit is common sense, no source).
const SEATED_M: f64 = 0.25;
/// A head faster than this loses no tenth of its speed by noise, m/s: that of the fits on both sides of a
/// collision is some 0.2 m/s at 0.5 mm.
const SURE_MPS: f64 = 4.0;
/// Stretch after the pass in which the feet stay, seconds.
const AFTER_S: f64 = 0.1;

const PELVIS: &[L] = &[
    L::LeftAsis,
    L::RightAsis,
    L::LeftHip,
    L::RightHip,
    L::LeftPsis,
    L::RightPsis,
];
const KNEES: &[L] = &[L::LeftKnee, L::RightKnee];
/// The front of each foot, or its only point.
const FEET: [[L; 2]; 2] = [[L::LeftToe, L::LeftAnkle], [L::RightToe, L::RightAnkle]];

/// Why a small stroke is none.
pub(super) fn unsteady(window: &Window, swing: &Swing) -> Option<NotASwing> {
    let start = swing.slots.get(Event::TakeawayStart).unwrap_or(swing.top);
    let (start, pass) = (start.max(0.0) as usize, swing.impact.before);
    let last = window.len().checked_sub(1)?;
    let end = (pass + window.slots(AFTER_S)).min(last);
    if walks(window, [start, pass.min(last)]) || steps(window, [start, end]) {
        return Some(NotASwing::Walking);
    }
    let impact = &swing.impact;
    let fast = swing.pass_mps > SURE_MPS;
    let met = impact.pulse_late_s.is_some() || impact.loss.is_some() && fast;
    (!met && sits(window, [start, pass.min(last)])).then_some(NotASwing::Seated)
}

/// Whether a golfer sat while he swung.
pub(crate) fn is_seated(window: &Window, swing: &Swing) -> bool {
    let start = swing.slots.get(Event::TakeawayStart).unwrap_or(swing.top);
    let last = window.len().saturating_sub(1);
    sits(
        window,
        [start.max(0.0) as usize, swing.impact.before].map(|slot| slot.min(last)),
    )
}

fn at(window: &Window, landmark: L, slot: usize) -> Option<Point3<f64>> {
    *window.track(landmark)?.get(slot)?
}

fn walks(window: &Window, [start, end]: [usize; 2]) -> bool {
    let moved = |&l: &L| Some((at(window, l, end)? - at(window, l, start)?).xz().norm());
    let mut moved: Vec<f64> = PELVIS.iter().filter_map(moved).collect();
    order::median(&mut moved).is_some_and(|m| m > WALKS_M)
}

/// Medians of thirds of the time, so that a marker that jumps is no step.
fn steps(window: &Window, [start, end]: [usize; 2]) -> bool {
    let away = |foot: &[L; 2]| {
        let front = foot.iter().find(|l| window.has(**l))?;
        let from = at(window, *front, start)?;
        let third = ((end.saturating_sub(start)) / 3).max(1);
        let parts = (start..end.max(start + 1)).step_by(third).map(|first| {
            let slots = first..(first + third).min(end);
            let ways = slots.filter_map(|i| Some((at(window, *front, i)? - from).norm()));
            order::median(&mut ways.collect::<Vec<_>>()).unwrap_or(0.0)
        });
        Some(parts.fold(0.0, f64::max))
    };
    FEET.iter().filter_map(away).any(|m| m > STEPS_M)
}

fn sits(window: &Window, [start, end]: [usize; 2]) -> bool {
    let height = |of: &[L], slot: usize| {
        let seen = of.iter().filter_map(|&l| Some(at(window, l, slot)?.y));
        order::median(&mut seen.collect::<Vec<_>>())
    };
    let above = [start, start.midpoint(end), end]
        .into_iter()
        .filter_map(|slot| Some(height(PELVIS, slot)? - height(KNEES, slot)?));
    order::median(&mut above.collect::<Vec<_>>()).is_some_and(|m| m < SEATED_M)
}
