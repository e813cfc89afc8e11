//! Speeds of head and grip with their peaks and times, the head's direction at impact, the way of
//! the grip. What the club's own orientation tells is in `club`.

use super::catalogue::{
    ATTACK_ANGLE, Family, GRIP_PATH_LENGTH_DOWN, GRIP_SPEED, GRIP_SPEED_PEAK, GRIP_SPEED_PEAK_TIME,
    HEAD_SPEED, HEAD_SPEED_PEAK, HEAD_SPEED_PEAK_TIME, PATH_DIRECTION,
};
use super::humps;
use super::spin::Moments;
use super::values::{Value, Values, limits, measured};
use crate::body::segments::Maybe;
use crate::measure::Prepared;
use crate::signal::lowpass::DualPass;
use crate::signal::turning;
use crate::swing::event::Event;
use crate::swing::impact::{Before, CLUB_RATE_MIN_HZ, Motion};
use crate::swing::series;
use nalgebra::Point3;

/// Half of the stretch of a path that is fitted at each instant, seconds, and the degree.
const SLIDE_HALF_S: f64 = 0.030;
const SLIDE_DEGREE: usize = 3;
/// Stretch before impact that is fitted, seconds: the head bends its path more and is less noisy for
/// its speed than the grip.
const HEAD_FIT_S: f64 = 0.030;
const GRIP_FIT_S: f64 = 0.040;
/// Samples that reach this share of a hump of speed decide where it is highest.
const SURROUNDINGS: f64 = 0.9;
/// Low-pass for the length of the grip's path, Hz: noise lengthens a path.
const WAY_HZ: f64 = 20.0;
/// Stretch before impact in which peaks of speed lie, seconds.
const FAST_S: f64 = 0.15;
/// Frames a second from which the motion right before impact is resolved well.
const SURE_RATE_HZ: f64 = 200.0;

pub(super) fn measure(prepared: &Prepared, values: &mut Values) {
    let head = if prepared.head_marked {
        Fast::new(prepared, head_motion(prepared), HEAD_FIT_S)
    } else {
        Err("not marked: club_head_heel, club_head_toe".to_owned())
    };
    let grip = Fast::new(prepared, grip_motion(prepared), GRIP_FIT_S);
    let few = few_frames(prepared.paths.rate_hz);
    let of_head = limits(&[&few, &prepared.head_limited]);
    let of_grip = limits(&[&few, &prepared.grip_limited]);
    let head_families = [&HEAD_SPEED, &HEAD_SPEED_PEAK, &HEAD_SPEED_PEAK_TIME];
    let grip_families = [&GRIP_SPEED, &GRIP_SPEED_PEAK, &GRIP_SPEED_PEAK_TIME];
    write(&head, &of_head, head_families, values);
    write(&grip, &of_grip, grip_families, values);
    let velocity = head.map(|h| h.before.velocity(0.0));
    values.set_each(&ATTACK_ANGLE, |_| {
        let angle = velocity.clone().map(|v| v.y.atan2(v.x.hypot(v.z)));
        measured(angle, of_head.clone())
    });
    values.set_each(&PATH_DIRECTION, |_| {
        measured(velocity.clone().map(|v| v.z.atan2(v.x)), of_head.clone())
    });
    values.set(
        &GRIP_PATH_LENGTH_DOWN,
        measured(way_down(prepared), prepared.grip_limited.clone()),
    );
}

/// What a low rate does to the motion near impact, in words.
pub(super) fn few_frames(rate_hz: f64) -> Option<String> {
    (rate_hz < SURE_RATE_HZ).then(|| format!("only {rate_hz:.0} frames/s: use 200 or more"))
}

/// The rate below which nothing is said of the club near impact.
pub(super) fn enough_frames(rate_hz: f64) -> Maybe<()> {
    if rate_hz < CLUB_RATE_MIN_HZ {
        return Err(format!(
            "{rate_hz:.0} frames a second are too few for the club near impact: {CLUB_RATE_MIN_HZ} are needed"
        ));
    }
    Ok(())
}

fn head_motion(prepared: &Prepared) -> Motion<'_> {
    Motion {
        points: &prepared.paths.head,
        known: &prepared.paths.known,
        rate_hz: prepared.paths.rate_hz,
    }
}

fn grip_motion(prepared: &Prepared) -> Motion<'_> {
    Motion {
        points: &prepared.grip,
        known: &prepared.grip_known,
        rate_hz: prepared.paths.rate_hz,
    }
}

fn write(fast: &Maybe<Fast>, limited: &Option<String>, of: [&Family; 3], values: &mut Values) {
    let [at, peak, time] = of;
    let set = |v: Maybe<f64>| measured(v, limited.clone());
    let of = |read: &dyn Fn(&Fast) -> Maybe<f64>| -> Value {
        set(fast.as_ref().map_err(Clone::clone).and_then(read))
    };
    values.set_each(at, |_| of(&|f| Ok(f.before.at(0.0))));
    values.set(peak, of(&|f| Ok(f.peak.clone()?.0)));
    values.set(time, of(&|f| Ok(f.peak.clone()?.1)));
}

/// A fast point near impact.
#[derive(Debug, Clone)]
struct Fast {
    before: Before,
    /// Largest speed, m/s, and how long before impact, seconds.
    peak: Maybe<(f64, f64)>,
}

impl Fast {
    /// Speed at impact by the fit of the last stretch; the peak from the fit there and from the
    /// filtered path before it.
    fn new(prepared: &Prepared, motion: Motion<'_>, fit_s: f64) -> Maybe<Self> {
        let impact = &prepared.swing.impact;
        enough_frames(motion.rate_hz)?;
        let before = Before::fit(motion, impact, prepared.reading.span(fit_s))
            .ok_or_else(|| "the club was hidden right before impact".to_owned())?
            .unresolved(prepared.unresolved);
        // A hole in the fast part may hide the peak, or a line across it invent one.
        let fast = (FAST_S * motion.rate_hz) as usize;
        let mut fast = impact.before.saturating_sub(fast)..=impact.before;
        let peak = if fast.all(|i| motion.known[i]) {
            peak(prepared, motion, &before)
        } else {
            Err("the club was hidden for a part of the downswing".to_owned())
        };
        Ok(Self { before, peak })
    }
}

/// Largest speed between the top and impact, m/s, and its time before impact, seconds: fits that
/// slide along the path, the last stretch by the fit that gives the speed at impact.
fn peak(prepared: &Prepared, motion: Motion<'_>, before: &Before) -> Maybe<(f64, f64)> {
    let (impact, rate_hz) = (&prepared.swing.impact, motion.rate_hz);
    let half_s = prepared.reading.span(SLIDE_HALF_S);
    let instants = Moments::new(prepared.swing.top, impact.slot, impact.before, rate_hz);
    let mut stretches = turning::Stretches::new(rate_hz, SLIDE_DEGREE);
    let samples: Vec<(f64, f64)> = (0..instants.slots.len())
        .filter_map(|n| {
            let relative_s = instants.relative_s(n);
            let speed = if relative_s >= 0.5 * before.from_s {
                before.at(relative_s)
            } else {
                let fitted = (motion, &mut stretches);
                sliding(fitted, half_s, instants.slots[n], impact.before)?
            };
            Some((relative_s, speed))
        })
        .collect();
    let hump = humps::highest(&samples, SURROUNDINGS).ok_or("the downswing has too few frames")?;
    Ok((hump.value, -hump.time_s))
}

/// Speed at a slot from a fit about it that ends at `last`, m/s.
fn sliding(
    (motion, stretches): (Motion<'_>, &mut turning::Stretches),
    half_s: f64,
    slot: f64,
    last: usize,
) -> Option<f64> {
    let rate_hz = motion.rate_hz;
    let half = (half_s * rate_hz).max(3.0);
    let end = ((slot + half) as usize).min(last);
    let begin = (slot - half).max(0.0).ceil() as usize;
    let known = motion.known.get(begin..=end)?;
    let fit = if known.iter().all(|k| *k) {
        let times = stretches.about(slot, (begin, known.len()))?;
        turning::Fit::point_at(times, |i| motion.points[begin + i].coords)?
    } else {
        let samples: Vec<_> = (begin..=end)
            .filter(|&i| motion.known[i])
            .map(|i| ((i as f64 - slot) / rate_hz, motion.points[i].coords))
            .collect();
        // Beyond what it was made of, or mostly of holes, a fit says what it likes.
        let around = samples.first()?.0 <= 0.0 && samples.last()?.0 >= 0.0;
        if !around || 2 * samples.len() < known.len() {
            return None;
        }
        turning::Fit::point(&samples, SLIDE_DEGREE, 0.0)?
    };
    Some(fit.state(0.0).velocity.norm())
}

/// A fast point.
#[derive(Debug, Clone, Copy)]
pub(super) enum Point {
    Head,
    Grip,
}

/// Speed of a fast point at slots up to impact, m/s: fits that slide along the path.
pub(super) fn course(prepared: &Prepared, point: Point, slots: &[f64]) -> Vec<Option<f64>> {
    let motion = match point {
        Point::Head if !prepared.head_marked => return Vec::new(),
        Point::Head => head_motion(prepared),
        Point::Grip => grip_motion(prepared),
    };
    let impact = &prepared.swing.impact;
    let mut stretches = turning::Stretches::new(motion.rate_hz, SLIDE_DEGREE);
    let mut at = |slot: &f64| {
        let known = motion.known.get(slot.round() as usize) == Some(&true);
        let due = known && *slot <= impact.slot;
        let fitted = (motion, &mut stretches);
        due.then(|| sliding(fitted, SLIDE_HALF_S, *slot, impact.before))?
    };
    slots.iter().map(&mut at).collect()
}

/// Length of the grip's path from the top to impact, metres: chords of the filtered path, whose
/// turn between frames is too small to matter, its ends cut at the events.
fn way_down(prepared: &Prepared) -> Maybe<f64> {
    let impact = &prepared.swing.impact;
    let top = prepared.swing.slots.get(Event::Top);
    let top = top.ok_or_else(|| format!("{} was not found in this swing", Event::Top.words()))?;
    let first = top.max(0.0).floor() as usize;
    let hidden = (first..=impact.before).filter(|&i| !prepared.grip_known[i]);
    if hidden.count() * 20 > impact.before.saturating_sub(first) {
        return Err("the grip was hidden for a part of the downswing".to_owned());
    }
    let rate_hz = prepared.paths.rate_hz;
    let filter = DualPass::butterworth(rate_hz, prepared.reading.cutoff(WAY_HZ));
    let cut = &prepared.grip[..=impact.before];
    let path = series::smooth(cut, &filter, (0.1 * rate_hz) as usize);
    let chord = |w: &[Point3<f64>]| (w[1] - w[0]).norm();
    let whole: f64 = path[first..].windows(2).map(chord).sum();
    let before_top = path[first..].windows(2).next().map_or(0.0, chord) * top.fract();
    let rest = path.windows(2).last().map_or(0.0, chord) * (impact.slot - impact.before as f64);
    Ok(whole - before_top + rest)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Uniform motion at 10 m/s, sampled at 1000 Hz with half a millimetre of jitter, of which some frames are known.
    fn speed_at_50(known: impl Fn(usize) -> bool) -> Option<f64> {
        let jitter = |i: usize| 0.0005 * f64::from(u8::from(i.is_multiple_of(3)));
        let points: Vec<_> = (0..101)
            .map(|i| Point3::new(0.01 * i as f64, jitter(i), 0.0))
            .collect();
        let known: Vec<bool> = (0..101).map(known).collect();
        let motion = Motion {
            points: &points,
            known: &known,
            rate_hz: 1000.0,
        };
        let mut stretches = turning::Stretches::new(1000.0, SLIDE_DEGREE);
        sliding((motion, &mut stretches), SLIDE_HALF_S, 50.0, 100)
    }

    #[test]
    fn a_fit_is_read_inside_what_it_was_made_of_and_not_beyond() {
        let near = |speed: Option<f64>| speed.is_some_and(|v| (v - 10.0).abs() < 0.5);
        assert!(near(speed_at_50(|_| true)));
        assert!(near(speed_at_50(|i| i % 4 != 0)), "every fourth is hidden");
        assert_eq!(speed_at_50(|i| i < 48), None, "nothing after it");
        assert_eq!(speed_at_50(|i| i > 52), None, "nothing before it");
        assert_eq!(speed_at_50(|i| i % 4 == 0), None, "mostly holes");
    }
}
