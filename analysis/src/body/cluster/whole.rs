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
    for &suspect in &club {
        let rest: Vec<usize> = club.iter().copied().filter(|&c| c != suspect).collect();
        let spreads = |track: usize| -> Option<Vec<f64>> {
            rest.iter().map(|&c| spread(window, track, c)).collect()
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

/// Range of the distance between two tracks while the second is slow, without its tails; metres.
fn spread(window: &Window, a: usize, b: usize) -> Option<f64> {
    let (a, b) = (&window.tracks[a], &window.tracks[b]);
    let stride = (window.len() / SAMPLES).max(1);
    let mut distances: Vec<f64> = (0..window.len().saturating_sub(1))
        .step_by(stride)
        .filter_map(|i| {
            let (p, q, next) = (a[i]?, b[i]?, b[i + 1]?);
            let slow = (next - q).norm() * window.rate_hz < SLOW_MPS;
            slow.then(|| (p - q).norm())
        })
        .collect();
    if distances.len() < LEAST {
        return None;
    }
    let tail = (distances.len() as f64 * TAIL) as usize;
    let last = distances.len() - 1 - tail;
    Some(order::nth(&mut distances, last)? - order::nth(&mut distances, tail)?)
}
