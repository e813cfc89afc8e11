//! The measurement noise of a take, from what a stiff fit leaves of its marker clusters.
//!
//! A fit of `n` markers takes six of their `3n` freedoms (seven with a free size), so what is left
//! shows `(3n − 6) / 3n` of the noise. Left-overs are looked at in the cluster's own frame, where an
//! inexact shape is a constant offset that the semivariogram does not see. The median over half
//! seconds keeps the moments out in which skin or shaft moves.

use nalgebra::{Point3, Vector3};

use super::{CLUSTERS, typical_shape};
use crate::body::pose::{self, Size};
use crate::landmark::Landmark;
use crate::signal::noise::{self, NoiseModel};
use crate::window::Window;

/// Parts that are stiff enough to show the noise, besides the clusters that are repaired.
const ALSO_STIFF: &[&[Landmark]] = &[
    &[Landmark::HeadFront, Landmark::HeadLeft, Landmark::HeadRight],
    &[Landmark::LeftAnkle, Landmark::LeftHeel, Landmark::LeftToe],
    &[
        Landmark::RightAnkle,
        Landmark::RightHeel,
        Landmark::RightToe,
    ],
];

/// Stretch whose semivariogram is one vote, seconds.
const BLOCK_S: f64 = 0.5;
/// Share of a block's pairs that must be complete for its vote to count.
const FILL_MIN: f64 = 0.5;

/// One vote: the semivariance per freedom, and the freedoms behind it.
type Vote = (f64, f64);

/// Noise per coordinate of a window as it was measured: neither bridged nor repaired nor filtered.
/// `None` without a cluster of three markers that is seen for half a second.
#[must_use]
pub fn estimate(window: &Window) -> Option<NoiseModel> {
    let lags = noise::lags(window.rate_hz);
    let mut votes: Vec<Vec<Vote>> = vec![Vec::new(); lags.len()];
    let stiff = CLUSTERS
        .iter()
        .map(|c| (c.landmarks, c.size))
        .chain(ALSO_STIFF.iter().map(|&l| (l, Size::Fixed)));
    for (landmarks, size) in stiff {
        let members: Vec<usize> = (0..window.landmarks.len())
            .filter(|&i| landmarks.contains(&window.landmarks[i]))
            .collect();
        if let Some(shape) = typical_shape(window, &members) {
            let taken = if size == Size::Fixed { 6 } else { 7 };
            let freedoms = (3 * members.len() - taken) as f64;
            let left = left_over(window, (&members, &shape), size);
            vote(&left, &lags, (window.slots(BLOCK_S), freedoms), &mut votes);
        }
    }
    let variogram: Option<Vec<(f64, f64)>> = lags
        .iter()
        .zip(votes)
        .map(|(&lag, votes)| Some((lag as f64 / window.rate_hz, weighted_median(votes)?)))
        .collect();
    noise::fit(&variogram?)
}

/// What the fit leaves in each slot in which the whole cluster is seen, cluster's frame, metres.
fn left_over(
    window: &Window,
    (members, shape): (&[usize], &[Point3<f64>]),
    size: Size,
) -> Vec<Option<Vec<Vector3<f64>>>> {
    (0..window.len())
        .map(|slot| {
            let pairs: Vec<_> = members
                .iter()
                .zip(shape)
                .map(|(&t, &model)| Some((model, window.tracks[t][slot]?)))
                .collect::<Option<_>>()?;
            let fit = pose::fit(&pairs, size)?;
            let own = fit.rotation.transpose();
            Some(pairs.iter().map(|p| own * (p.1 - fit.place(p.0))).collect())
        })
        .collect()
}

fn vote(
    left: &[Option<Vec<Vector3<f64>>>],
    lags: &[usize],
    (block, freedoms): (usize, f64),
    votes: &mut [Vec<Vote>],
) {
    for (&lag, votes) in lags.iter().zip(votes) {
        for start in (0..left.len().saturating_sub(block + lag - 1)).step_by(block) {
            let (mut sum, mut pairs) = (0.0, 0_usize);
            for i in start..start + block {
                if let (Some(a), Some(b)) = (&left[i], &left[i + lag]) {
                    let square: f64 = a.iter().zip(b).map(|(a, b)| (b - a).norm_squared()).sum();
                    sum += square;
                    pairs += 1;
                }
            }
            if pairs as f64 >= FILL_MIN * block as f64 {
                votes.push((0.5 * sum / pairs as f64 / freedoms, freedoms));
            }
        }
    }
}

fn weighted_median(mut votes: Vec<Vote>) -> Option<f64> {
    votes.sort_unstable_by(|a, b| a.0.total_cmp(&b.0));
    let half = 0.5 * votes.iter().map(|v| v.1).sum::<f64>();
    let mut sum = 0.0;
    votes
        .iter()
        .find(|v| {
            sum += v.1;
            sum >= half
        })
        .map(|v| v.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::forward::{CaptureParams, GolferParams, swing};

    fn window(seed: u64, rate_hz: f64, noise_m: f64, wobble: bool) -> Window {
        let capture = CaptureParams {
            rate_hz,
            noise_m,
            dropout: 0.01,
            wobble,
            plates: None,
        };
        let take = swing(&GolferParams::from_seed(seed), &capture);
        Window {
            first_number: 0,
            rate_hz,
            time_ns: (0..take.frames.len() as i64)
                .map(|i| (i as f64 * 1e9 / rate_hz) as i64)
                .collect(),
            tracks: (0..take.landmarks.len())
                .map(|m| take.frames.iter().map(|f| f[m]).collect())
                .collect(),
            landmarks: take.landmarks,
            arrived: vec![true; take.frames.len()],
        }
    }

    /// The golfer's noise is written in `forward::noise`: 60 % of the variance white, the rest
    /// wandering over 50 ms.
    #[test]
    fn the_golfers_noise_is_found_again() {
        for (rate, noise_m, wobble) in [
            (240.0, 0.3e-3, false),
            (360.0, 0.5e-3, false),
            (500.0, 1.0e-3, false),
            (1000.0, 0.5e-3, false),
            (360.0, 0.5e-3, true),
        ] {
            for seed in [1, 2] {
                let found = estimate(&window(seed, rate, noise_m, wobble)).unwrap();
                let white = found.white_m / (noise_m * 0.6f64.sqrt());
                let wander = found.wander_m / (noise_m * 0.4f64.sqrt());
                let total = found.total_m() / noise_m;
                assert!(
                    (white - 1.0).abs() < 0.03,
                    "{rate} {noise_m}: white {white}"
                );
                assert!(
                    (wander - 1.0).abs() < 0.10,
                    "{rate} {noise_m}: wander {wander}"
                );
                assert!(
                    (total - 1.0).abs() < 0.10,
                    "{rate} {noise_m}: total {total}"
                );
            }
        }
    }

    #[test]
    fn without_clusters_nothing_is_claimed() {
        let mut w = window(1, 240.0, 0.5e-3, false);
        w.landmarks.truncate(2);
        w.tracks.truncate(2);
        assert_eq!(estimate(&w), None);
    }
}
