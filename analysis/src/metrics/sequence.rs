//! How fast pelvis, thorax, lead arm and club turn, when each is fastest, and whether the arm goes
//! ahead. The angular velocities themselves are made in `spin`.

use super::catalogue::{
    ANGULAR_ACCELERATION_PEAK_CLUB, ANGULAR_ACCELERATION_PEAK_LEAD_ARM,
    ANGULAR_ACCELERATION_PEAK_PELVIS, ANGULAR_ACCELERATION_PEAK_THORAX,
    ANGULAR_ACCELERATION_PEAK_TIME_CLUB, ANGULAR_ACCELERATION_PEAK_TIME_LEAD_ARM,
    ANGULAR_ACCELERATION_PEAK_TIME_PELVIS, ANGULAR_ACCELERATION_PEAK_TIME_THORAX,
    ANGULAR_SPEED_PEAK_CLUB, ANGULAR_SPEED_PEAK_LEAD_ARM, ANGULAR_SPEED_PEAK_PELVIS,
    ANGULAR_SPEED_PEAK_THORAX, ANGULAR_SPEED_PEAK_TIME_CLUB, ANGULAR_SPEED_PEAK_TIME_LEAD_ARM,
    ANGULAR_SPEED_PEAK_TIME_PELVIS, ANGULAR_SPEED_PEAK_TIME_THORAX, ARM_AHEAD_DURATION,
    ARM_AHEAD_START, ARRIVAL_ORDER, ARRIVAL_PROXIMAL_TO_DISTAL, Family, PEAK_RATIO_CLUB,
    PEAK_RATIO_LEAD_ARM, PEAK_RATIO_THORAX,
};
use super::humps::{self, Hump};
use super::speeds::{enough_frames, few_frames};
use super::spin::{self, Moments, Spin};
use super::values::{Reader, Values, limits, measured};
use crate::body::segments::Maybe;
use crate::body::skeleton::Segment;
use crate::body::tracks::Smoothed;
use crate::landmark::Landmark as L;
use crate::measure::Prepared;
use crate::swing::event::Event;

/// Half of the stretch fitted at each instant, seconds: the arm is slower and noisier than the club.
const ARM_HALF_S: f64 = 0.045;
const CLUB_HALF_S: f64 = 0.030;
/// Half of the stretch fitted at each instant of pelvis and thorax, seconds: the pelvis' hump is
/// broad and low, so that noise moves its peak more than a wide fit flattens it.
const PELVIS_HALF_S: f64 = 0.100;
const THORAX_HALF_S: f64 = 0.070;
/// Samples that reach this share of a hump decide where it is highest; of the pelvis' broad one more.
const SURROUNDINGS: [f64; 4] = [0.60, 0.75, 0.75, 0.75];
const NOT_REACHED: &str = "not reached before impact";
/// Being ahead for less than this is noise, seconds.
const AHEAD_MIN_S: f64 = 0.005;

const SPEEDS: [&Family; 4] = [
    &ANGULAR_SPEED_PEAK_PELVIS,
    &ANGULAR_SPEED_PEAK_THORAX,
    &ANGULAR_SPEED_PEAK_LEAD_ARM,
    &ANGULAR_SPEED_PEAK_CLUB,
];
const TIMES: [&Family; 4] = [
    &ANGULAR_SPEED_PEAK_TIME_PELVIS,
    &ANGULAR_SPEED_PEAK_TIME_THORAX,
    &ANGULAR_SPEED_PEAK_TIME_LEAD_ARM,
    &ANGULAR_SPEED_PEAK_TIME_CLUB,
];
const ACCELERATIONS: [&Family; 4] = [
    &ANGULAR_ACCELERATION_PEAK_PELVIS,
    &ANGULAR_ACCELERATION_PEAK_THORAX,
    &ANGULAR_ACCELERATION_PEAK_LEAD_ARM,
    &ANGULAR_ACCELERATION_PEAK_CLUB,
];
const ACCELERATION_TIMES: [&Family; 4] = [
    &ANGULAR_ACCELERATION_PEAK_TIME_PELVIS,
    &ANGULAR_ACCELERATION_PEAK_TIME_THORAX,
    &ANGULAR_ACCELERATION_PEAK_TIME_LEAD_ARM,
    &ANGULAR_ACCELERATION_PEAK_TIME_CLUB,
];
const RATIOS: [&Family; 3] = [&PEAK_RATIO_THORAX, &PEAK_RATIO_LEAD_ARM, &PEAK_RATIO_CLUB];

pub(super) fn measure(prepared: &Prepared, reader: Reader<'_>, values: &mut Values) {
    let (instants, spins) = match instants(prepared, reader) {
        Ok(instants) => {
            let spins = spins(prepared, &instants);
            (Some(instants), spins)
        }
        Err(reason) => (None, std::array::from_fn(|_| Err(reason.clone()))),
    };
    let peak = |n: usize, of: fn(&Spin) -> &[f64]| -> Maybe<Hump> {
        let instants = instants.as_ref().ok_or("no downswing")?;
        let spin = spins[n].as_ref().map_err(Clone::clone)?;
        let level = match n {
            // The club is fastest at its end: no hump to be flattened.
            3 => SURROUNDINGS[n],
            _ => prepared.reading.level(SURROUNDINGS[n]),
        };
        highest(instants, spin, of, level)
    };
    let peaks = [0, 1, 2, 3].map(|n| peak(n, |s| &s.speed));
    let limit = |n: usize| {
        spins[n]
            .as_ref()
            .ok()
            .and_then(|s: &Spin| s.limited.clone())
    };
    for n in 0..4 {
        let slopes = peak(n, |s| &s.slope);
        let (speed, slope) = (
            (SPEEDS[n], TIMES[n]),
            (ACCELERATIONS[n], ACCELERATION_TIMES[n]),
        );
        write(speed, &peaks[n], limit(n), values);
        write(slope, &slopes, limit(n), values);
    }
    for (n, family) in RATIOS.iter().enumerate() {
        let ratio = peaks[n].clone().and_then(|below| {
            let above = peaks[n + 1].clone()?;
            Ok(above.value / below.value)
        });
        values.set(family, measured(ratio, limits(&[&limit(n), &limit(n + 1)])));
    }
    arrival(&peaks, [0, 1, 2, 3].map(limit), values);
    let ahead = instants
        .ok_or_else(|| "the downswing was not found".to_owned())
        .and_then(|i| ahead(&i, &spins));
    write_ahead(ahead, limits(&[0, 1, 2, 3].map(limit).each_ref()), values);
}

fn instants(prepared: &Prepared, reader: Reader<'_>) -> Maybe<Moments> {
    let (top, impact) = (reader.slot(Event::Top)?, reader.slot(Event::Impact)?);
    let before = prepared.swing.impact.before;
    let instants = Moments::new(top, impact, before, prepared.paths.rate_hz);
    if instants.slots.len() < 8 {
        return Err("the downswing has too few frames".to_owned());
    }
    Ok(instants)
}

/// Angular speeds of pelvis, thorax, lead arm and club at slots between takeaway start and impact, rad/s:
/// of segments about their own long axis, of lines altogether.
pub(super) fn courses(prepared: &Prepared, slots: &[f64]) -> [Vec<Option<f64>>; 4] {
    let swing = &prepared.swing;
    let start = swing.slots.get(Event::TakeawayStart).unwrap_or(swing.top);
    let (before, rate_hz) = (swing.impact.before, prepared.paths.rate_hz);
    let moments = Moments::new(start, swing.impact.slot, before, rate_hz);
    spins(prepared, &moments).map(|spin| {
        let Ok(spin) = spin else { return Vec::new() };
        let at = |slot: &f64| {
            let after = moments.slots.partition_point(|s| s < slot);
            let (before, after) = (after.checked_sub(1)?, after);
            let (from, to) = (moments.slots[before], *moments.slots.get(after)?);
            let known = spin.known[before] && spin.known[after];
            let share = (slot - from) / (to - from).max(1e-9);
            let between = spin.speed[before] * (1.0 - share) + spin.speed[after] * share;
            known.then_some(between)
        };
        slots.iter().map(at).collect()
    })
}

fn spins(prepared: &Prepared, instants: &Moments) -> [Maybe<Spin>; 4] {
    let normal = prepared.swing.normal;
    let span = |usual_s| prepared.reading.span(usual_s);
    let segment = |segment: &Maybe<Segment>, half_s: f64| {
        let s = segment.as_ref().map_err(Clone::clone)?;
        let spin = spin::of_segment(s, instants, normal, span(half_s));
        Ok(spin.limited(s.limited.clone()))
    };
    let paths = &prepared.paths;
    let club = || {
        enough_frames(paths.rate_hz)?;
        let of = (&paths.axis[..], &paths.axis_known[..]);
        let spin = spin::of_line(of, instants, normal, (span(CLUB_HALF_S), instants.before));
        let few = few_frames(paths.rate_hz);
        Ok(spin.limited(limits(&[&few, &prepared.grip_limited])))
    };
    [
        segment(&prepared.skeleton.pelvis, PELVIS_HALF_S),
        segment(&prepared.skeleton.thorax, THORAX_HALF_S),
        lead_arm(prepared, instants),
        club(),
    ]
}

/// The line from the lead acromion to the lead wrist, from the tracks themselves: the body's
/// low-pass would flatten its peak.
fn lead_arm(prepared: &Prepared, instants: &Moments) -> Maybe<Spin> {
    let window = &prepared.window;
    let track = |l: L| {
        window
            .track(l)
            .ok_or_else(|| format!("not marked: {}", l.name()))
    };
    let shoulder = track(L::LeftAcromion)?;
    let wrist = match (
        window.track(L::LeftRadialStyloid),
        window.track(L::LeftUlnarStyloid),
    ) {
        (Some(a), Some(b)) => crate::club::midpoint(a, b),
        _ => track(L::LeftWrist)?.clone(),
    };
    let lines: Vec<_> = shoulder
        .iter()
        .zip(&wrist)
        .map(|(a, b)| ((*b)? - (*a)?).try_normalize(1e-6))
        .collect();
    let known: Vec<bool> = lines.iter().map(Option::is_some).collect();
    let directions: Vec<_> = lines.iter().map(|u| u.unwrap_or_default()).collect();
    let last = window.len().saturating_sub(1);
    let of = (&directions[..], &known[..]);
    let half_s = prepared.reading.span(ARM_HALF_S);
    let spin = spin::of_line(of, instants, prepared.swing.normal, (half_s, last));
    Ok(spin.limited(approximate(&prepared.body)))
}

fn approximate(body: &Smoothed) -> Option<String> {
    let marks = [
        L::LeftAcromion,
        L::LeftRadialStyloid,
        L::LeftUlnarStyloid,
        L::LeftWrist,
    ];
    marks
        .iter()
        .find_map(|&l| body.approximate(l))
        .map(String::from)
}

/// The highest point of one of a spin's series.
fn highest(instants: &Moments, spin: &Spin, of: fn(&Spin) -> &[f64], share: f64) -> Maybe<Hump> {
    let n = spin.known.len();
    let hidden = spin.known.iter().filter(|k| !**k).count();
    if hidden * 20 > n {
        return Err(format!(
            "a marker it needs was hidden in {} % of the downswing",
            100 * hidden / n.max(1)
        ));
    }
    let samples: Vec<(f64, f64)> = (0..n)
        .filter(|&i| spin.known[i])
        .map(|i| (instants.relative_s(i), of(spin)[i]))
        .collect();
    humps::highest(&samples, share).ok_or_else(|| "the downswing has too few frames".to_owned())
}

fn write(
    (value, time): (&Family, &Family),
    peak: &Maybe<Hump>,
    limited: Option<String>,
    values: &mut Values,
) {
    let edge = peak
        .as_ref()
        .is_ok_and(|p| p.at_end)
        .then(|| NOT_REACHED.to_owned());
    let late = limits(&[&edge, &limited]);
    let read = |of: fn(&Hump) -> f64| peak.as_ref().map(of).map_err(Clone::clone);
    values.set(value, measured(read(|p| p.value), limited));
    values.set(time, measured(read(|p| -p.time_s), late));
}

/// Who is fastest first. At one and the same time (not reached before impact) the one nearer to
/// the trunk counts as first.
fn arrival(peaks: &[Maybe<Hump>; 4], limited: [Option<String>; 4], values: &mut Values) {
    let mut times = Vec::new();
    for (n, peak) in peaks.iter().enumerate() {
        match peak {
            Ok(peak) => times.push((peak.time_s, n + 1)),
            Err(reason) => {
                values.set(&ARRIVAL_ORDER, Err(reason.clone()));
                values.set(&ARRIVAL_PROXIMAL_TO_DISTAL, Err(reason.clone()));
                return;
            }
        }
    }
    times.sort_by(|a, b| a.0.total_cmp(&b.0));
    let code = times.iter().fold(0, |code, (_, n)| 10 * code + n);
    let ends = peaks.iter().flatten().filter(|p| p.at_end).count();
    let tie = (ends > 1).then(|| "several are not reached before impact".to_owned());
    let [a, b, c, d] = limited;
    let limited = limits(&[&tie, &a, &b, &c, &d]);
    values.set(&ARRIVAL_ORDER, measured(Ok(code as f64), limited.clone()));
    let in_order = f64::from(u8::from(code == 1234));
    values.set(&ARRIVAL_PROXIMAL_TO_DISTAL, measured(Ok(in_order), limited));
}

/// When, seconds after the top, the arm's angular acceleration about the common normal first
/// exceeds all others, and for how long it does in all.
fn ahead(instants: &Moments, spins: &[Maybe<Spin>; 4]) -> Maybe<(Option<f64>, f64)> {
    let mut all = Vec::new();
    for spin in spins {
        let spin = spin.as_ref().map_err(Clone::clone)?;
        let hidden = spin.known.iter().filter(|k| !**k).count();
        if hidden * 20 > spin.known.len() {
            return Err("a marker it needs was hidden in the downswing".to_owned());
        }
        all.push(&spin.common);
    }
    let lead: Vec<f64> = (0..instants.slots.len())
        .map(|i| all[2][i] - all[0][i].max(all[1][i]).max(all[3][i]))
        .collect();
    let time = |i: usize| instants.relative_s(i) - instants.relative_s(0);
    let runs = positive_runs(&lead, time);
    let long = || runs.iter().filter(|(a, b)| b - a >= AHEAD_MIN_S);
    Ok((long().next().map(|r| r.0), long().map(|(a, b)| b - a).sum()))
}

/// Stretches in which a series is above zero, with straight lines between the samples.
fn positive_runs(series: &[f64], time: impl Fn(usize) -> f64) -> Vec<(f64, f64)> {
    let mut runs = Vec::new();
    let mut begun = series.first().filter(|v| **v > 0.0).map(|_| time(0));
    for i in 1..series.len() {
        let (a, b) = (series[i - 1], series[i]);
        if (a > 0.0) == (b > 0.0) {
            continue;
        }
        let at = time(i - 1) + (time(i) - time(i - 1)) * a / (a - b);
        match begun.take() {
            Some(start) => runs.push((start, at)),
            None => begun = Some(at),
        }
    }
    if let (Some(start), Some(last)) = (begun, series.len().checked_sub(1)) {
        runs.push((start, time(last)));
    }
    runs
}

fn write_ahead(ahead: Maybe<(Option<f64>, f64)>, limited: Option<String>, values: &mut Values) {
    let start = ahead
        .clone()
        .and_then(|a| a.0.ok_or_else(|| "the lead arm is never ahead".to_owned()));
    values.set(&ARM_AHEAD_START, measured(start, limited.clone()));
    values.set(&ARM_AHEAD_DURATION, measured(ahead.map(|a| a.1), limited));
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn runs_above_zero_are_cut_between_samples() {
        let runs = positive_runs(&[1.0, -1.0, -1.0, 3.0, 3.0], |i| i as f64);
        assert_eq!(runs, [(0.0, 0.5), (2.25, 4.0)]);
        assert!(positive_runs(&[-1.0; 4], |i| i as f64).is_empty());
    }

    fn hump(time_s: f64) -> Maybe<Hump> {
        Ok(Hump {
            time_s,
            value: 10.0,
            at_end: time_s >= 0.0,
        })
    }

    #[test]
    fn the_order_of_arrival_is_a_code() {
        let order = |times: [f64; 4]| {
            let mut values = Values::new();
            arrival(&times.map(hump), [const { None }; 4], &mut values);
            let [code, in_order] = [ARRIVAL_ORDER, ARRIVAL_PROXIMAL_TO_DISTAL]
                .map(|f| values.get(f.first).number().unwrap() as i32);
            (code, in_order)
        };
        assert_eq!(order([-0.08, -0.06, -0.05, 0.0]), (1234, 1));
        assert_eq!(order([-0.06, -0.08, -0.05, 0.0]), (2134, 0));
        assert_eq!(order([-0.06, -0.08, 0.0, 0.0]), (2134, 0));
    }
}
