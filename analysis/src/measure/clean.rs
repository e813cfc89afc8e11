//! The window before anything is read off it: bad markers out, short holes filled, the golfer's side
//! found and a left-handed golfer mirrored. What was wrong with each marker is counted here.

use std::ops::Range;

use nalgebra::Vector3;

use super::club_paths::ClubPaths;
use crate::body::cluster::{self, Fault, Repair};
use crate::handed::Handed;
use crate::landmark::Landmark;
use crate::signal::{gaps, order};
use crate::swing::event::Event;
use crate::swing::found::{Followed, Swing};
use crate::window::{Track, Window};

/// Longest gap of a club marker that is bridged, seconds, and how far the marker may move meanwhile,
/// metres: slow motion only, never across a collision.
const CLUB_GAP_S: f64 = 0.08;

const CLUB_GAP_M: f64 = 0.10;

/// Longest gap of a body marker that is bridged, seconds, the likely error up to which it is, metres,
/// and the stretch on both sides that this is judged by, seconds.
const BODY_GAP_S: f64 = 0.2;

const BODY_GAP_ERROR_M: f64 = 0.01;

const BODY_GAP_SIDE_S: f64 = 0.04;

/// Stretch after impact in which a bad marker is worth a word, seconds.
pub(super) const FAULTS_AFTER_S: f64 = 0.3;

/// A hand that holds the club is this close to the line of its shaft, metres.
const HELD_M: f64 = 0.3;

/// Club head and body this far apart along Z tell the side, metres.
const BESIDE_MIN_M: f64 = 0.15;

/// The club's upper end.
pub(super) const GRIP: [Landmark; 3] =
    [Landmark::ClubButt, Landmark::ClubGripA, Landmark::ClubGripB];

/// Takes out bad markers and fills short holes, in place.
pub fn fill(window: &mut Window) -> Repair {
    let mut repair = cluster::judge(window);
    // A short gap of the grip is bridged before the rest, so that it is not filled from the far end of
    // the club; the stiff clusters come first everywhere else.
    bridge(window, &GRIP);
    cluster::rebuild(window, &mut repair);
    bridge(window, Landmark::ALL);
    repair
}

fn bridge(window: &mut Window, of: &[Landmark]) {
    let [club, body, side] = [CLUB_GAP_S, BODY_GAP_S, BODY_GAP_SIDE_S].map(|s| window.slots(s));
    let tracks = window.landmarks.iter().zip(&mut window.tracks);
    for (landmark, track) in tracks.filter(|(l, _)| of.contains(l)) {
        if landmark.is_club() {
            gaps::bridge_slow(track, club, CLUB_GAP_M);
        } else {
            gaps::bridge_sure(track, body, (side, BODY_GAP_ERROR_M));
        }
    }
}

/// The golfer's side, from the motion around slot `near`: while the club head is low at the pass it is on
/// the ball's side of the body (without a body, of the grip), and the lead shoulder and hip are on the
/// target's side. Medians, so that no single frame decides. `None` where nothing tells.
pub(super) fn side(window: &Window, near: usize) -> Option<Handed> {
    let at_pass = near.saturating_sub(window.slots(0.1))..near + window.slots(0.05);
    let before = near.saturating_sub(window.slots(2.0))..near + 1;
    let beside = |slots: &Range<usize>| ball_side_m(window, slots.clone());
    let facing = || facing_m(window, before.clone());
    let clear = |z: &f64| z.abs() > BESIDE_MIN_M;
    let z = beside(&at_pass)
        .filter(clear)
        .or_else(|| beside(&before).filter(clear))
        .or_else(facing)?;
    Some(if z < 0.0 { Handed::Left } else { Handed::Right })
}

/// How far the club head is from the body along Z over the lowest quarter of some slots, metres.
fn ball_side_m(window: &Window, slots: Range<usize>) -> Option<f64> {
    const HEAD: &[Landmark] = &[
        Landmark::ClubHeadHeel,
        Landmark::ClubHeadToe,
        Landmark::ClubHeadBack,
        Landmark::ClubShaftLow,
    ];
    let tracks = |of: &dyn Fn(Landmark) -> bool| -> Vec<&Track> {
        let all = window.landmarks.iter().zip(&window.tracks);
        all.filter(|(l, _)| of(**l)).map(|(_, t)| t).collect()
    };
    let head = tracks(&|l| HEAD.contains(&l));
    let mut golfer = tracks(&|l| !l.is_club());
    if golfer.is_empty() {
        golfer = tracks(&|l| [Landmark::ClubButt, Landmark::ClubGripA].contains(&l));
    }
    let slots = slots.start..slots.end.min(window.len());
    let stride = (slots.len() / 400).max(1);
    let mut low: Vec<(f64, f64)> = slots
        .step_by(stride)
        .filter_map(|i| {
            let (head, golfer) = (mean_at(&head, i)?, mean_at(&golfer, i)?);
            Some((head.y, head.z - golfer.z))
        })
        .collect();
    low.sort_unstable_by(|a, b| a.0.total_cmp(&b.0));
    low.truncate(low.len().div_ceil(4));
    let mut beside: Vec<f64> = low.into_iter().map(|p| p.1).collect();
    order::median(&mut beside)
}

/// How far the left of shoulders and hips is ahead of the right along the target line, metres.
fn facing_m(window: &Window, slots: Range<usize>) -> Option<f64> {
    const LEFT: &[Landmark] = &[
        Landmark::LeftAcromion,
        Landmark::LeftHip,
        Landmark::LeftAsis,
    ];
    let pairs: Vec<(&Track, &Track)> = LEFT
        .iter()
        .filter_map(|&l| Some((window.track(l)?, window.track(l.opposite())?)))
        .collect();
    let ahead = |i: usize| {
        pairs
            .iter()
            .filter_map(move |(l, r)| Some(l[i]?.x - r[i]?.x))
    };
    let slots = slots.start..slots.end.min(window.len());
    order::median(&mut slots.flat_map(ahead).collect::<Vec<_>>())
}

/// Whether both hands were together all the way from the takeaway to impact, as on a grip: without a club
/// this tells a golf swing from a serve, in which they part and meet.
fn together(window: &Window, swing: &Swing) -> bool {
    const PAIRS: [Landmark; 3] = [
        Landmark::LeftHand,
        Landmark::LeftRadialStyloid,
        Landmark::LeftWrist,
    ];
    let start = swing.slots.get(Event::TakeawayStart).unwrap_or(swing.top);
    let slots = (start.max(0.0) as usize)..swing.impact.before.min(window.len());
    let pairs = PAIRS
        .iter()
        .filter_map(|&l| Some((window.track(l)?, window.track(l.opposite())?)));
    let apart = pairs.flat_map(|(l, r)| {
        let of = move |i: usize| Some((l[i]? - r[i]?).norm());
        slots.clone().filter_map(of)
    });
    let mut apart: Vec<f64> = apart.collect();
    let most = apart.len() * 9 / 10;
    order::nth(&mut apart, most).is_some_and(|m| m < HELD_M)
}

/// Whether a hand was near the grip from the top to impact. Without marked hands nothing speaks against it.
pub(super) fn held(window: &Window, whole: &ClubPaths, swing: &Swing) -> bool {
    const HANDS: &[Landmark] = &[
        Landmark::LeftHand,
        Landmark::RightHand,
        Landmark::LeftRadialStyloid,
        Landmark::RightRadialStyloid,
        Landmark::LeftWrist,
        Landmark::RightWrist,
    ];
    if whole.paths.of == Followed::Hands {
        return together(window, swing);
    }
    let hands: Vec<&Track> = HANDS.iter().filter_map(|&l| window.track(l)).collect();
    let nearest = |i: usize| {
        let seen = hands.iter().filter_map(|t| t[i]);
        let along = seen.map(|p| {
            let from = p - whole.grip[i];
            let axis = whole.paths.axis[i];
            (from - axis * from.dot(&axis)).norm()
        });
        along.min_by(f64::total_cmp)
    };
    let slots = (swing.top.max(0.0) as usize)..swing.impact.before.min(window.len());
    let known = slots.filter(|&i| whole.grip_known[i] && whole.paths.axis_known[i]);
    let mut away: Vec<f64> = known.filter_map(nearest).collect();
    order::median(&mut away).is_none_or(|m| m < HELD_M)
}

fn mean_at(tracks: &[&Track], slot: usize) -> Option<Vector3<f64>> {
    let seen = tracks.iter().filter_map(|t| t[slot]);
    let (sum, n) = seen.fold((Vector3::zeros(), 0.0), |(s, n), p| (s + p.coords, n + 1.0));
    (n > 0.0).then(|| sum / n)
}

pub(super) fn golfer_frame(window: &mut Window, handed: Handed) {
    if handed == Handed::Right {
        return;
    }
    window.landmarks.iter_mut().for_each(|l| *l = l.opposite());
    window
        .tracks
        .iter_mut()
        .flatten()
        .flatten()
        .for_each(|p| *p = handed.mirror_point(*p));
}

/// Markers that were bad between address and a little after impact.
pub(super) fn faults(
    window: &Window,
    names: &[Landmark],
    swing: &Swing,
    (seen, repair): (&[Vec<bool>], &Repair),
) -> Vec<Fault> {
    let end = (swing.impact.before + window.slots(FAULTS_AFTER_S)).min(window.len());
    let count = |marks: &[bool], want: bool| {
        (swing.quiet.start..end)
            .filter(|&i| marks.get(i) == Some(&want))
            .count()
    };
    let exchanges = |i: usize| {
        let marks: &[Option<Landmark>] = &repair.exchanged[i];
        (swing.quiet.start..end).filter_map(|slot| *marks.get(slot)?)
    };
    let fault = |(i, &landmark): (usize, &Landmark)| Fault {
        landmark,
        missing: count(&seen[i], false),
        rejected: count(&repair.rejected[i], true),
        exchanged: exchanges(i).count(),
        with: exchanges(i).max_by_key(|&other| exchanges(i).filter(|&o| o == other).count()),
    };
    names
        .iter()
        .enumerate()
        .map(fault)
        .filter(|f| f.missing + f.rejected + f.exchanged > 0)
        .collect()
}
