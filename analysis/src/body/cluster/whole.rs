//! A club marker that bore a body marker's label all the time. Nothing breaks in its track, and with
//! one of five markers always wrong the club's usual shape is wrong too; but the marker that belongs
//! to the club keeps its distances to the rest of it, and no marker of the body does.

use super::{Repair, members};
use crate::landmark::Landmark;
use crate::signal::order;
use crate::window::Window;

/// Frames looked at, spread over the window.
const SAMPLES: usize = 600;
/// A club whose marker moves faster bends, and sources that strobe their markers distort it, m/s.
const SLOW_MPS: f64 = 3.0;
/// Least number of slow frames that say something.
const LEAST: usize = 50;
/// A marker one of whose distances within the club varies by more than this may not be on the club,
/// another all of whose distances stay within the second is, metres (noise and bend; common practice, no source).
const LOOSE_M: f64 = 0.02;
const STIFF_M: f64 = 0.01;
/// Share of the frames left out at both ends of the range.
const TAIL: f64 = 0.02;

/// Exchanges a club marker with the body marker whose label it has, in the whole window.
pub(super) fn put_right(window: &mut Window, repair: &mut Repair) {
    let club: Vec<usize> = members(window, Landmark::ALL)
        .into_iter()
        .filter(|&i| window.landmarks[i].is_club())
        .collect();
    if club.len() < 4 {
        return;
    }
    let slow: Vec<Vec<usize>> = club.iter().map(|&c| slow(window, c)).collect();
    for &suspect in &club {
        let rest = || club.iter().zip(&slow).filter(|(c, _)| **c != suspect);
        let spreads = |track: usize| -> Option<Vec<f64>> {
            rest()
                .map(|(&c, slow)| spread(window, [track, c], slow))
                .collect()
        };
        let Some(own) = spreads(suspect) else {
            continue;
        };
        if own.iter().all(|s| *s <= LOOSE_M) {
            continue;
        }
        let stiff = |track: &usize| {
            !window.landmarks[*track].is_club()
                && spreads(*track).is_some_and(|s| s.iter().all(|s| *s <= STIFF_M))
        };
        let Some(found) = (0..window.landmarks.len()).find(stiff) else {
            continue;
        };
        window.tracks.swap(suspect, found);
        for slot in 0..window.len() {
            repair.note_exchange(window, [suspect, found], slot);
        }
        return;
    }
}

/// Slots, of those looked at, in which a track is slow.
fn slow(window: &Window, track: usize) -> Vec<usize> {
    let track = &window.tracks[track];
    let stride = (window.len() / SAMPLES).max(1);
    (0..window.len().saturating_sub(1))
        .step_by(stride)
        .filter(|&i| {
            let step = track[i].zip(track[i + 1]);
            step.is_some_and(|(a, b)| (b - a).norm() * window.rate_hz < SLOW_MPS)
        })
        .collect()
}

/// Range of the distance between two tracks in slots in which the second is slow, without its tails;
/// metres.
fn spread(window: &Window, [a, b]: [usize; 2], slow: &[usize]) -> Option<f64> {
    let (a, b) = (&window.tracks[a], &window.tracks[b]);
    let mut distances: Vec<f64> = Vec::with_capacity(slow.len());
    distances.extend(slow.iter().filter_map(|&i| Some((a[i]? - b[i]?).norm())));
    if distances.len() < LEAST {
        return None;
    }
    let tail = (distances.len() as f64 * TAIL) as usize;
    let last = distances.len() - 1 - tail;
    let high = order::nth(&mut distances, last)?;
    // What is lower stands before it now.
    let low = order::nth(&mut distances[..=last], tail)?;
    Some(high - low)
}
