//! Speeds of head and grip, their peaks and times, and the shaft's lean.

use super::catalogue::{
    GRIP_SPEED, GRIP_SPEED_PEAK, GRIP_SPEED_PEAK_TIME, HEAD_SPEED, HEAD_SPEED_PEAK,
    HEAD_SPEED_PEAK_TIME, SHAFT_LEAN,
};
use super::values::{Value, Values};
use crate::body::segments::Maybe;
use crate::measure::Prepared;
use crate::signal::local_fit;
use crate::signal::lowpass::DualPass;
use crate::swing::event::Event;
use crate::swing::impact::{Along, CLOSE_FRAMES, CLUB_RATE_MIN_HZ, Motion, SpeedBefore};
use crate::swing::series;

/// Low-pass for the club before impact, Hz (REFERENCES A3: 20–40 Hz on a path cut at impact).
const CLUB_HZ: f64 = 40.0;
/// Stretch before impact in which peaks of speed lie, seconds.
const FAST_S: f64 = 0.15;
/// Frames a second from which the motion right before impact is resolved well.
const SURE_RATE_HZ: f64 = 200.0;
/// Span of the shaft's direction before impact that is fitted, seconds.
const LEAN_S: f64 = 0.030;

pub(super) fn measure(prepared: &Prepared, values: &mut Values) {
    let paths = &prepared.paths;
    let rate_hz = paths.rate_hz;
    let head = Motion {
        points: &paths.head,
        known: &paths.known,
        rate_hz,
    };
    let grip = Motion {
        points: &prepared.grip,
        known: &prepared.grip_known,
        rate_hz,
    };
    let not_marked = || Err("not marked: club_head_heel, club_head_toe".to_owned());
    let head = if prepared.head_marked {
        speeds(prepared, head, Along::Arc)
    } else {
        not_marked()
    };
    let grip = speeds(prepared, grip, Along::Axes);
    let limited = (paths.rate_hz < SURE_RATE_HZ)
        .then(|| format!("{:.0} frames/s: some percent uncertain", paths.rate_hz));
    let value = |v: Maybe<f64>, limits: &[&Option<String>]| match v {
        Ok(value) => {
            let limits: Vec<&str> = limits.iter().filter_map(|l| l.as_deref()).collect();
            Value::Measured {
                value,
                change: None,
                limited: (!limits.is_empty()).then(|| limits.join("; ")),
            }
        }
        Err(reason) => Value::Missing(reason),
    };
    let one_marker = &prepared.grip_limited;
    for (speeds, limits, at, peak, time) in [
        (
            &head,
            [&limited, &None],
            &HEAD_SPEED,
            &HEAD_SPEED_PEAK,
            &HEAD_SPEED_PEAK_TIME,
        ),
        (
            &grip,
            [&limited, one_marker],
            &GRIP_SPEED,
            &GRIP_SPEED_PEAK,
            &GRIP_SPEED_PEAK_TIME,
        ),
    ] {
        values.set_each(at, |_| {
            value(speeds.clone().and_then(|s| s.at_impact), &limits)
        });
        values.set(
            peak,
            value(speeds.clone().and_then(|s| Ok(s.peak?.0)), &limits),
        );
        values.set(
            time,
            value(speeds.clone().and_then(|s| Ok(s.peak?.1)), &limits),
        );
    }
    values.set_each(&SHAFT_LEAN, |event| {
        let limits = if event == Event::Impact {
            [&limited, one_marker]
        } else {
            [one_marker, &None]
        };
        value(lean(prepared, event), &limits)
    });
}

#[derive(Debug, Clone)]
struct Speeds {
    at_impact: Maybe<f64>,
    /// Largest speed, m/s, and how long before impact, seconds.
    peak: Maybe<(f64, f64)>,
}

/// Speed at impact by the fit of the last stretch; the peak from the fit there and from the
/// filtered path before it.
fn speeds(prepared: &Prepared, motion: Motion<'_>, along: Along) -> Maybe<Speeds> {
    let impact = &prepared.swing.impact;
    let rate_hz = motion.rate_hz;
    if rate_hz < CLUB_RATE_MIN_HZ {
        return Err(format!(
            "{rate_hz:.0} frames a second are too few for the club near impact: {CLUB_RATE_MIN_HZ} are needed"
        ));
    }
    let hidden = || "the club was hidden right before impact".to_owned();
    let fit = SpeedBefore::fit(motion, impact, along).ok_or_else(hidden)?;
    let mut best = (fit.at(0.0), 0.0);
    // Quarters of a millisecond step through the fit's stretch finer than any frame.
    let steps = (-fit.from_s / 0.25e-3) as usize;
    for t in (0..=steps).map(|i| -(i as f64) * 0.25e-3) {
        let speed = fit.at(t);
        best = if speed > best.0 { (speed, -t) } else { best };
    }
    let earlier = (impact.slot + fit.from_s * rate_hz) as usize;
    let top = prepared.swing.top.max(0.0) as usize;
    let filter = DualPass::butterworth(rate_hz, CLUB_HZ);
    let path = series::smooth(
        &motion.points[..=impact.before],
        &filter,
        (0.1 * rate_hz) as usize,
    );
    let speed: Vec<f64> = series::velocity(&path, rate_hz)
        .iter()
        .map(nalgebra::Vector3::norm)
        .collect();
    if let Some((slot, speed)) = series::peak(&speed, top, earlier.max(top)) {
        best = if speed > best.0 {
            (speed, (impact.slot - slot) / rate_hz)
        } else {
            best
        };
    }
    // A hole in the fast part may hide the peak, or a line across it invent one.
    let fast = impact.before.saturating_sub((FAST_S * rate_hz) as usize)..=impact.before;
    let whole = fast.into_iter().all(|i| motion.known[i]);
    let peak = whole
        .then_some(best)
        .ok_or_else(|| "the club was hidden for a part of the downswing".to_owned());
    Ok(Speeds {
        at_impact: Ok(fit.at(0.0)),
        peak,
    })
}

/// Lean of the shaft at address (mean of the quiet stretch) or right before impact (fitted).
fn lean(prepared: &Prepared, event: Event) -> Maybe<f64> {
    let angle = |i: usize| {
        let u = prepared.paths.axis[i];
        (-u.x).atan2(-u.y)
    };
    let hidden = || format!("the shaft was hidden at {}", event.words());
    if event == Event::Address {
        let known: Vec<usize> = prepared
            .swing
            .quiet
            .clone()
            .filter(|&i| prepared.paths.axis_known[i])
            .collect();
        let sum: f64 = known.iter().map(|&i| angle(i)).sum();
        return if known.is_empty() {
            Err(hidden())
        } else {
            Ok(sum / known.len() as f64)
        };
    }
    let impact = &prepared.swing.impact;
    let frames = ((LEAN_S * prepared.paths.rate_hz).round() as usize).max(7);
    let first = (impact.before + 1).saturating_sub(frames);
    let samples: Vec<(f64, f64)> = (first..=impact.before)
        .filter(|&i| prepared.paths.axis_known[i])
        .map(|i| (i as f64, angle(i)))
        .collect();
    if prepared.paths.rate_hz < CLUB_RATE_MIN_HZ {
        return Err(format!(
            "{:.0} frames a second are too few for the shaft near impact",
            prepared.paths.rate_hz
        ));
    }
    if samples
        .last()
        .is_none_or(|(slot, _)| impact.slot - slot > CLOSE_FRAMES)
    {
        return Err(hidden());
    }
    let fit = local_fit::polynomial(&samples, 3, impact.slot).ok_or_else(hidden)?;
    Ok(local_fit::value(&fit, 0.0))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_missing_speed_carries_its_reason() {
        let missing: Maybe<f64> = Err("the club was hidden right before impact".into());
        assert!(matches!(Value::from(missing), Value::Missing(r) if r.contains("hidden")));
    }
}
