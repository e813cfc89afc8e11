//! Speeds of head and grip, their peaks and times, and the shaft's lean.

use super::catalogue::{
    GRIP_SPEED, GRIP_SPEED_PEAK, GRIP_SPEED_PEAK_TIME, HEAD_SPEED, HEAD_SPEED_PEAK,
    HEAD_SPEED_PEAK_TIME, SHAFT_LEAN,
};
use super::values::{Reader, Value, Values};
use crate::body::segments::Maybe;
use crate::measure::Prepared;
use crate::signal::local_fit;
use crate::signal::lowpass::DualPass;
use crate::swing::event::Event;
use crate::swing::impact::{CLUB_RATE_MIN_HZ, Motion, SpeedBefore};
use crate::swing::series;

/// Low-pass for the club before impact, Hz (REFERENCES A3: 20–40 Hz on a path cut at impact).
const CLUB_HZ: f64 = 40.0;
/// Frames a second from which the motion right before impact is resolved well.
const SURE_RATE_HZ: f64 = 200.0;
/// Span of the shaft's direction before impact that is fitted, seconds.
const LEAN_S: f64 = 0.030;

pub(super) fn measure(prepared: &Prepared, reader: Reader<'_>, values: &mut Values) {
    let paths = &prepared.paths;
    let head = speeds(
        prepared,
        reader,
        Motion {
            points: &paths.head,
            known: &paths.known,
            rate_hz: paths.rate_hz,
        },
    );
    let grip = speeds(
        prepared,
        reader,
        Motion {
            points: &prepared.grip,
            known: &prepared.grip_known,
            rate_hz: paths.rate_hz,
        },
    );
    let limited = (paths.rate_hz < SURE_RATE_HZ)
        .then(|| format!("{:.0} frames/s: some percent uncertain", paths.rate_hz));
    let value = |s: &Maybe<Speeds>, pick: fn(&Speeds) -> f64| match s {
        Ok(s) => Value::Measured {
            value: pick(s),
            change: None,
            limited: limited.clone(),
        },
        Err(reason) => Value::Missing(reason.clone()),
    };
    let impact = |s: &Maybe<Speeds>| value(s, |s| s.at_impact);
    let peak = |s: &Maybe<Speeds>| value(s, |s| s.peak);
    let time = |s: &Maybe<Speeds>| value(s, |s| s.peak_before_s);
    values.set_each(&HEAD_SPEED, |_| impact(&head));
    values.set(&HEAD_SPEED_PEAK, peak(&head));
    values.set(&HEAD_SPEED_PEAK_TIME, time(&head));
    values.set_each(&GRIP_SPEED, |_| impact(&grip));
    values.set(&GRIP_SPEED_PEAK, peak(&grip));
    values.set(&GRIP_SPEED_PEAK_TIME, time(&grip));
    values.set_each(&SHAFT_LEAN, |event| lean(prepared, event).into());
}

#[derive(Debug, Clone, Copy)]
struct Speeds {
    at_impact: f64,
    peak: f64,
    /// Seconds before impact.
    peak_before_s: f64,
}

/// Speed at impact by the fit of the last stretch; the peak from the fit there and from the
/// filtered path before it.
fn speeds(prepared: &Prepared, reader: Reader<'_>, motion: Motion<'_>) -> Maybe<Speeds> {
    let impact = &prepared.swing.impact;
    let rate_hz = motion.rate_hz;
    if rate_hz < CLUB_RATE_MIN_HZ {
        return Err(format!(
            "{rate_hz:.0} frames a second are too few for the club near impact: {CLUB_RATE_MIN_HZ} are needed"
        ));
    }
    let hidden = || "the club was hidden right before impact".to_owned();
    let fit = SpeedBefore::fit(motion, impact).ok_or_else(hidden)?;
    let at_impact = fit.at(0.0);
    let mut best = (0.0, at_impact);
    // A quarter of a millisecond steps through the fit's stretch finer than any frame.
    let steps = (-fit.from_s / 0.25e-3) as usize;
    for t in (0..=steps).map(|i| -(i as f64) * 0.25e-3) {
        let speed = fit.at(t);
        best = if speed > best.1 { (t, speed) } else { best };
    }
    let earlier = (impact.slot + fit.from_s * motion.rate_hz) as usize;
    let top = reader.slot(Event::Top)? as usize;
    let filter = DualPass::butterworth(motion.rate_hz, CLUB_HZ);
    let path = series::smooth(
        &motion.points[..=impact.before],
        &filter,
        (0.1 * motion.rate_hz) as usize,
    );
    let speed: Vec<f64> = series::velocity(&path, motion.rate_hz)
        .iter()
        .map(nalgebra::Vector3::norm)
        .collect();
    if let Some((slot, speed)) = series::peak(&speed, top, earlier.max(top)) {
        best = if speed > best.1 {
            ((slot - impact.slot) / motion.rate_hz, speed)
        } else {
            best
        };
    }
    Ok(Speeds {
        at_impact,
        peak: best.1,
        peak_before_s: -best.0,
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
    let frames = ((LEAN_S * prepared.paths.rate_hz).round() as usize).max(5);
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
    let fit = local_fit::polynomial(&samples, 2, impact.slot).ok_or_else(hidden)?;
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
