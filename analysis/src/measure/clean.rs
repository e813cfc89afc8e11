//! The window before anything is read off it: bad markers out, short holes filled, the golfer's side
//! found and a left-handed golfer mirrored. What was wrong with each marker is counted here.

use nalgebra::Vector3;

use crate::body::cluster::{self, Fault, Repair};
use crate::handed::Handed;
use crate::landmark::Landmark;
use crate::signal::gaps;
use crate::swing::phases::Swing;
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

/// The golfer's side: while the club head is low it is on the ball's side of the body. Without a
/// body, of the grip. The median over the lowest quarter of the window, so that no single frame
/// decides.
pub(super) fn side(window: &Window) -> Handed {
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
    let stride = (window.len() / 400).max(1);
    let mut low: Vec<(f64, f64)> = (0..window.len())
        .step_by(stride)
        .filter_map(|i| {
            let (head, golfer) = (mean_at(&head, i)?, mean_at(&golfer, i)?);
            Some((head.y, head.z - golfer.z))
        })
        .collect();
    low.sort_unstable_by(|a, b| a.0.total_cmp(&b.0));
    low.truncate(low.len().div_ceil(4));
    low.sort_unstable_by(|a, b| a.1.total_cmp(&b.1));
    match low.get(low.len() / 2) {
        Some((_, z)) if *z < 0.0 => Handed::Left,
        _ => Handed::Right,
    }
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
