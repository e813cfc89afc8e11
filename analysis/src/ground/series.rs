//! From the raw samples of one plate to its reactions: what disqualifies them, zero, holes, low-pass.

use super::plate::Plate;
use super::window::Reactions;
use super::wrench::{LOAD_GATE_N, Wrench, pressure};
use super::zero::Zero;
use crate::signal::lowpass::DualPass;
use crate::signal::order;
use crate::signal::reading::Reading;

/// Cut-off of forces and moments, Hz (20 to 100 Hz are common for golf; common practice, no source).
const CUTOFF_HZ: f64 = 50.0;
/// Longest hole that is bridged, seconds: one lost datagram.
const HOLE_S: f64 = 0.025;
/// A channel that stands still at its extreme for so long is at its limit, seconds and samples.
const LIMIT_S: f64 = 0.02;
const LIMIT_SAMPLES: usize = 8;
/// Mean downward pull from which the signs cannot be right, N.
const PULLS_N: f64 = 100.0;
/// How far outside the plate a center of pressure may be, metres, and in what share of the samples.
const OUTSIDE_M: f64 = 0.03;
const OUTSIDE_SHARE: f64 = 0.05;

/// Raw samples of one plate on an even grid; an entry a channel and slot, `None` where not measured.
#[derive(Debug)]
pub(super) struct Raw<'a> {
    /// Samples a second.
    pub rate_hz: f64,
    /// Time of each slot on the markers' clock, nanoseconds.
    pub time_ns: Vec<i64>,
    /// Channels of each slot; `None` for a lost one.
    pub samples: Vec<Option<&'a [Option<f32>]>>,
}

/// The reactions of a plate, and what is to be said about them.
///
/// # Errors
/// Says why the samples are not to be believed.
pub(super) fn reactions(
    plate: &Plate,
    raw: Raw<'_>,
    zero: Option<&Zero>,
) -> Result<(Reactions, Vec<&'static str>), String> {
    believable(&raw)?;
    let offset = zero.map(|z| z.offset).unwrap_or_default();
    let local: Vec<Option<Wrench>> = raw
        .samples
        .iter()
        .map(|s| Some(plate.wrench((*s)?)?.without(&offset)))
        .collect();
    let smooth = low_pass(&local, raw.rate_hz, Reading::Usual);
    let up = plate.up();
    let vertical = smooth.iter().flatten().map(|w| w.force.dot(&up));
    let n = vertical.clone().count().max(1);
    let mean = vertical.sum::<f64>() / n as f64;
    if mean < -PULLS_N {
        return Err(format!(
            "it pulls the golfer down with {:.0} N: its signs are turned round",
            -mean
        ));
    }
    let mut notes = Vec::new();
    if outside(plate, &smooth) > OUTSIDE_SHARE {
        notes.push("its center of pressure is outside its surface: its place, origin or channels are wrong");
    }
    if zero.is_none() {
        notes.push("it was not yet seen quiet and empty: nothing was taken off what it reads");
    }
    let in_bay = |w: &Option<Wrench>| w.map(|w| plate.in_bay(&w));
    let wrenches: Vec<_> = smooth.iter().map(in_bay).collect();
    let raw_in_bay: Vec<_> = local.iter().map(in_bay).collect();
    let reactions = Reactions {
        rate_hz: raw.rate_hz,
        noise: noise(&raw_in_bay, &wrenches, raw.rate_hz),
        sharp: low_pass(&raw_in_bay, raw.rate_hz, Reading::Sharp),
        time_ns: raw.time_ns,
        wrenches,
        zero: zero.copied(),
    };
    Ok((reactions, notes))
}

/// Whether the channels move like those of a plate that works.
fn believable(raw: &Raw<'_>) -> Result<(), String> {
    let width = raw.samples.iter().flatten().map(|s| s.len()).max();
    let Some(width) = width else {
        return Err("it sent nothing".into());
    };
    let channel = |c: usize| {
        raw.samples
            .iter()
            .map(move |s| (*s)?.get(c).copied().flatten())
    };
    let moves = |c: usize| {
        let mut values = channel(c).flatten();
        let first = values.next();
        values.any(|v| Some(v) != first)
    };
    for c in 0..width {
        if channel(c).flatten().next().is_none() {
            return Err(format!("its channel {} sent nothing", c + 1));
        }
    }
    if !(0..width).any(moves) {
        return Err("it is dead: it sends the same numbers all the time".into());
    }
    let limit = LIMIT_SAMPLES.max((LIMIT_S * raw.rate_hz).ceil() as usize);
    for c in 0..width {
        if let Some(value) = stuck_at_extreme(channel(c), limit) {
            return Err(format!(
                "its channel {} stood at its limit ({value:.4}): turn down the gain",
                c + 1
            ));
        }
    }
    Ok(())
}

/// The extreme value, far from nothing, at which a channel stands still for `limit` slots and more.
fn stuck_at_extreme(
    channel: impl Iterator<Item = Option<f32>> + Clone,
    limit: usize,
) -> Option<f32> {
    let low = channel.clone().flatten().min_by(f32::total_cmp)?;
    let high = channel.clone().flatten().max_by(f32::total_cmp)?;
    let largest = low.abs().max(high.abs());
    if high <= low {
        return None;
    }
    [low, high].into_iter().find(|&extreme| {
        let mut run = 0;
        let mut longest = 0;
        for value in channel.clone() {
            // Bitwise the same: a limit repeats itself exactly.
            run = if value.map(f32::to_bits) == Some(extreme.to_bits()) {
                run + 1
            } else {
                0
            };
            longest = longest.max(run);
        }
        // Near nothing it is an idle plate; some exporters write 0 below a threshold of their own.
        extreme.abs() > 0.5 * largest && longest >= limit
    })
}

/// Standard deviation of the raw samples' noise, taken as white: of what the low-pass takes from them,
/// over the share of white noise that it takes. By the median, so that impact has no say.
fn noise(raw: &[Option<Wrench>], smooth: &[Option<Wrench>], rate_hz: f64) -> Wrench {
    let share = taken(rate_hz);
    let off = |i: usize| {
        let both = raw
            .iter()
            .zip(smooth)
            .filter_map(|(r, s)| Some(((*r)?, (*s)?)));
        let mut off: Vec<f64> = both
            .map(|(r, s)| (r.numbers()[i] - s.numbers()[i]).abs())
            .collect();
        // Half of a normal number's deviations are below 0.6745 of its standard deviation (tables).
        order::median(&mut off).map_or(0.0, |m| m / 0.6745)
    };
    match share {
        s if s > 0.01 => Wrench::from_numbers(std::array::from_fn(|i| off(i) / s.sqrt())),
        _ => Wrench::default(),
    }
}

/// Share of white noise's power that the low-pass takes: by what it makes of a single one among zeros.
fn taken(rate_hz: f64) -> f64 {
    let half = (4.0 * rate_hz / CUTOFF_HZ).ceil() as usize;
    let mut impulse = vec![0.0; 2 * half + 1];
    impulse[half] = 1.0;
    let answer = DualPass::butterworth(rate_hz, CUTOFF_HZ).run(&impulse, half);
    1.0 - 2.0 * answer[half] + answer.iter().map(|h| h * h).sum::<f64>()
}

/// Low-passes the six numbers. Short holes are bridged straight, longer ones stay holes.
pub(crate) fn low_pass(
    local: &[Option<Wrench>],
    rate_hz: f64,
    reading: Reading,
) -> Vec<Option<Wrench>> {
    let known = bridged(local, (HOLE_S * rate_hz).round() as usize);
    let rows: Vec<[f64; 6]> = local
        .iter()
        .map(|w| w.map_or([f64::NAN; 6], |w| w.numbers()))
        .collect();
    let series: Vec<Vec<f64>> = (0..6)
        .map(|i| rows.iter().map(|r| r[i]).collect())
        .collect();
    let views: Vec<&[f64]> = series.iter().map(Vec::as_slice).collect();
    let filter = DualPass::butterworth(rate_hz, reading.cutoff(CUTOFF_HZ));
    let smooth = filter.run_many(&views, (rate_hz / CUTOFF_HZ * 2.0).ceil() as usize);
    let at = |slot: usize| std::array::from_fn(|i| smooth[i][slot]);
    let value = |slot: usize| known[slot].then(|| Wrench::from_numbers(at(slot)));
    (0..local.len()).map(value).collect()
}

/// Which slots are known once holes of up to `longest` slots between known ones are bridged.
fn bridged(local: &[Option<Wrench>], longest: usize) -> Vec<bool> {
    let mut known: Vec<bool> = local.iter().map(Option::is_some).collect();
    let mut last = None;
    for slot in 0..known.len() {
        if !known[slot] {
            continue;
        }
        if let Some(last) = last.filter(|&l| slot - l - 1 <= longest) {
            known[last..slot].fill(true);
        }
        last = Some(slot);
    }
    known
}

/// Share of the loaded samples whose center of pressure is outside the surface.
fn outside(plate: &Plate, local: &[Option<Wrench>]) -> f64 {
    let surface = plate.surface();
    // Near the gate the center is noise.
    let centers = local
        .iter()
        .flatten()
        .filter_map(|w| pressure(plate, w, 5.0 * LOAD_GATE_N));
    let off = centers
        .clone()
        .filter(|p| !surface.carries(&p.center, OUTSIDE_M));
    off.count() as f64 / centers.count().max(1) as f64
}

#[cfg(test)]
mod tests {
    use super::*;

    fn wave(n: usize, f: impl Fn(usize) -> f32) -> Vec<Option<f32>> {
        (0..n).map(|i| Some(f(i))).collect()
    }

    #[test]
    fn a_channel_at_its_limit_is_told_from_a_quiet_or_coarse_one() {
        let swing = |i: usize| 500.0 + 400.0 * (i as f32 * 0.01).sin();
        let clipped = wave(1000, |i| swing(i).min(700.0));
        assert_eq!(stuck_at_extreme(clipped.iter().copied(), 20), Some(700.0));
        // Steps of 1 N, as a coarse converter has them: a flat top, but a short one.
        let coarse = wave(1000, |i| (500.0 + 400.0 * (i as f32 * 0.02).sin()).round());
        assert_eq!(stuck_at_extreme(coarse.iter().copied(), 20), None);
        // Unloaded, with and without an offset.
        for level in [0.0, 1.5] {
            let idle = wave(1000, |i| if i < 800 { level } else { swing(i) });
            assert_eq!(stuck_at_extreme(idle.iter().copied(), 20), None);
        }
        let gated = wave(1000, |i| if i < 300 { 0.0 } else { swing(i) });
        assert_eq!(stuck_at_extreme(gated.iter().copied(), 20), None);
    }

    #[test]
    fn short_holes_are_bridged_and_long_ones_stay() {
        let known = |n: usize| !(100..=120).contains(&n) && !(300..=340).contains(&n);
        let local: Vec<Option<Wrench>> = (0..500)
            .map(|n| known(n).then(|| Wrench::from_numbers([n as f64, 2.0, 3.0, 4.0, 5.0, 6.0])))
            .collect();
        let smooth = low_pass(&local, 1000.0, Reading::Usual);
        assert!((smooth[110].unwrap().force.x - 110.0).abs() < 0.01);
        assert!(smooth[320].is_none() && smooth[299].is_some() && smooth[341].is_some());
        assert!(
            smooth
                .iter()
                .flatten()
                .all(|w| (w.moment.z - 6.0).abs() < 1e-9)
        );
    }

    /// White noise of a known size is found again beside a push that is slow against the low-pass.
    #[test]
    fn the_noise_of_samples_is_told_from_their_movement() {
        let mut state = 1_u64;
        let mut uniform = || {
            // Knuth's 64-bit congruential generator; its upper bits are even enough here.
            state = state
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1_442_695_040_888_963_407);
            (state >> 11) as f64 / (1_u64 << 53) as f64
        };
        for rate_hz in [500.0, 1000.0, 2000.0] {
            let raw: Vec<Option<Wrench>> = (0..6000)
                .map(|n| {
                    let t = f64::from(n) / rate_hz;
                    // Twelve uniform numbers make a normal one (Irwin-Hall, mathematics).
                    let mut normal = || (0..12).map(|_| uniform()).sum::<f64>() - 6.0;
                    let push = 400.0 + 200.0 * (9.0 * t).sin();
                    let w = [
                        push + 1.5 * normal(),
                        normal(),
                        0.0,
                        0.3 * normal(),
                        0.0,
                        0.0,
                    ];
                    Some(Wrench::from_numbers(w))
                })
                .collect();
            let found = noise(&raw, &low_pass(&raw, rate_hz, Reading::Usual), rate_hz);
            assert!((found.force.x - 1.5).abs() < 0.08, "{rate_hz} {found:?}");
            assert!((found.moment.x - 0.3).abs() < 0.016, "{rate_hz} {found:?}");
            assert!(found.force.z.abs() < 1e-12);
        }
    }

    #[test]
    fn dead_and_missing_channels_are_named() {
        let raw = |samples: &'static [Option<f32>]| Raw {
            rate_hz: 1000.0,
            time_ns: vec![0; 3],
            samples: vec![Some(samples); 3],
        };
        let dead = believable(&raw(&[Some(0.1), Some(0.2)]));
        assert!(dead.unwrap_err().contains("dead"));
        let missing = believable(&raw(&[Some(0.1), None]));
        assert!(missing.unwrap_err().contains("channel 2"));
        let nothing = Raw {
            rate_hz: 1.0,
            time_ns: vec![0],
            samples: vec![None],
        };
        assert!(believable(&nothing).is_err());
    }
}
