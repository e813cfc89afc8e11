//! Whether one shot shows a leak, and by which values.

use super::check::{Evidence, Outcome, Side};
use super::thresholds::{Key, Thresholds};
use super::{Direction, Leak, Setup, words};
use crate::coaching::band::COVER;
use crate::coaching::shot::{Metric, Shot};
use crate::metrics::catalogue::{
    ARM_AHEAD_DURATION, DOWNSWING_TIME, EARLY_WORK_SHARE, Family, INCLINATION_CHANGE,
    KNEE_CHANGE_LEAD, KNEE_CHANGE_TRAIL, KNEE_FLEXION_LEAD, KNEE_ONSET_LEAD, KNEE_ONSET_TRAIL,
    MASS_CENTRE_DROP, PELVIS_DEPTH, PELVIS_SHIFT, PELVIS_SHIFT_RANGE_BACKSWING,
    ROTATION_EXCESS_PELVIS, SEPARATION_CLOSED_AT_IMPACT, SEPARATION_PEAK_TIME, THORAX_ROTATION,
    UNWEIGHTING_MIN, VERTICAL_FORCE_PEAK_PHASE_TRAIL, VERTICAL_FORCE_PEAK_TIME_TRAIL,
    VERTICAL_FORCE_PEAK_TRAIL,
};
use crate::swing::event::Event;

/// The code of the late downswing in `vertical_force_peak_phase`.
const LATE: f64 = 3.0;

/// What one shot says of a leak.
#[derive(Debug, Clone, PartialEq)]
pub struct OfShot {
    /// Whether it shows.
    pub outcome: Outcome,
    /// How it misses, where it shows.
    pub direction: Direction,
    /// How far beyond the threshold, in steps of severity ([`Key::scale`]), where it shows.
    pub beyond: f64,
    /// Whether every value that decided has a known uncertainty.
    pub known: bool,
    /// The values.
    pub evidence: Vec<Evidence>,
    /// What was not measured, where that kept it from being judged.
    pub missing: Option<String>,
}

impl OfShot {
    fn new(
        outcome: Outcome,
        (direction, beyond): (Direction, f64),
        evidence: Vec<Evidence>,
    ) -> Self {
        let absent = evidence
            .iter()
            .find(|e| e.threshold.is_some() && e.outcome == Outcome::Missing);
        let missing = absent.filter(|_| outcome == Outcome::Missing);
        Self {
            outcome,
            direction,
            beyond: if outcome == Outcome::Yes { beyond } else { 0.0 },
            known: !evidence.iter().any(Evidence::is_bare),
            missing: missing.map(|e| format!("{}: {}", e.metric.id(), words::NOT_MEASURED)),
            evidence,
        }
    }
}

pub(super) fn judge(leak: Leak, shot: &Shot, setup: &Setup<'_>) -> OfShot {
    let t = setup.thresholds;
    match leak {
        Leak::WrongWayFirst => wrong_way_first(shot, t),
        Leak::LegsHeldStill => legs_held_still(shot, t),
        Leak::NotBroughtThrough => not_brought_through(shot, setup),
        Leak::StandingUp => standing_up(shot, t),
        Leak::StretchKept => stretch_kept(shot, t),
        Leak::ArmsWait => arms_wait(shot, t),
        Leak::TrailFootLate => trail_foot_late(shot, t),
        Leak::NoCounterMovement => no_counter_movement(shot, t),
    }
}

fn at(family: &Family, event: Event) -> Metric {
    Metric::at(family, event).unwrap_or(Metric::of(family))
}

/// Steps of severity.
fn steps(evidence: &Evidence, key: Key) -> f64 {
    evidence.beyond.unwrap_or(0.0) / key.scale()
}

/// Toward the target beyond the uncertainty; no shift where all of the interval lies in the middle; right
/// where all of it lies beyond the middle, away; anything else is not judged.
fn wrong_way_first(shot: &Shot, t: &Thresholds) -> OfShot {
    let metric = at(&PELVIS_SHIFT, Event::TakeawayEnd);
    let middle = t.value(Key::NoShift);
    let toward = Evidence::of(shot, metric, (Side::Above, 0.0), None);
    let Some(value) = toward.value else {
        return OfShot::new(Outcome::Missing, (Direction::Opposite, 0.0), vec![toward]);
    };
    let Some(u) = toward.uncertainty else {
        // A bare value counts as toward the target only beyond the middle.
        let toward = Evidence::of(shot, metric, (Side::Above, middle), None);
        let still = value.abs() <= middle;
        let way = if still {
            (
                Direction::TooLittle,
                (middle - value.abs()) / Key::NoShift.scale(),
            )
        } else {
            (Direction::Opposite, value / Key::NoShift.scale())
        };
        let outcome = if still { Outcome::Yes } else { toward.outcome };
        return OfShot::new(outcome, way, vec![toward]);
    };
    let opposite = (Direction::Opposite, steps(&toward, Key::NoShift));
    if toward.outcome == Outcome::Yes {
        return OfShot::new(Outcome::Yes, opposite, vec![toward]);
    }
    if value.abs() + COVER * u <= middle {
        let still = Evidence {
            threshold: Some(middle),
            beyond: Some(middle - value.abs()),
            outcome: Outcome::Yes,
            ..toward
        };
        let way = (Direction::TooLittle, steps(&still, Key::NoShift));
        return OfShot::new(Outcome::Yes, way, vec![still]);
    }
    let away = Evidence::of(shot, metric, (Side::Above, -middle), None);
    let outcome = if away.outcome == Outcome::No {
        Outcome::No
    } else {
        Outcome::Unsure
    };
    OfShot::new(outcome, opposite, vec![toward])
}

/// Judged in degrees: the trail knee loses little and the lead knee gains less than it had; or a knee
/// begins late. A knee that moves too little to have a start is judged by how little it moves.
fn legs_held_still(shot: &Shot, t: &Thresholds) -> OfShot {
    let (trail, lead) = (
        Metric::of(&KNEE_CHANGE_TRAIL),
        Metric::of(&KNEE_CHANGE_LEAD),
    );
    let trail = Evidence::of(
        shot,
        trail,
        (Side::Above, -t.value(Key::TrailKneeLoses)),
        None,
    );
    let address = shot.reading(at(&KNEE_FLEXION_LEAD, Event::Address));
    let wanted = address.map(|r| t.value(Key::LeadKneeGains) * r.value);
    let lead = match wanted {
        Some(wanted) => Evidence::of(shot, lead, (Side::Below, wanted), None),
        None => Evidence {
            outcome: Outcome::Missing,
            threshold: Some(0.0),
            beyond: None,
            ..Evidence::beside(shot, lead)
        },
    };
    let late = [
        (&KNEE_ONSET_LEAD, &KNEE_CHANGE_LEAD),
        (&KNEE_ONSET_TRAIL, &KNEE_CHANGE_TRAIL),
    ]
    .map(|(onset, change)| {
        let limit = (Side::Above, t.value(Key::KneeOnset));
        let mut evidence = Evidence::of(shot, Metric::of(onset), limit, None);
        if evidence.outcome == Outcome::Missing && shot.value(Metric::of(change)).is_some() {
            evidence.outcome = Outcome::No;
        }
        evidence
    });
    let still = trail.outcome.and(lead.outcome);
    let outcome = late.iter().fold(still, |all, l| all.or(l.outcome));
    let beyond = if still == Outcome::Yes {
        steps(&trail, Key::TrailKneeLoses)
    } else {
        let each = late.iter().filter(|l| l.outcome == Outcome::Yes);
        each.map(|l| steps(l, Key::KneeOnset)).fold(0.0, f64::max)
    };
    let [late_lead, late_trail] = late;
    OfShot::new(
        outcome,
        (Direction::TooLittle, beyond),
        vec![trail, lead, late_lead, late_trail],
    )
}

/// Pelvis only: above the band beyond the detectable change.
fn not_brought_through(shot: &Shot, setup: &Setup<'_>) -> OfShot {
    let metric = Metric::of(&ROTATION_EXCESS_PELVIS);
    let limit = (Side::Above, setup.thresholds.value(Key::Excess));
    let excess = Evidence::of(shot, metric, limit, setup.excess_detectable);
    let way = (Direction::TooMuch, steps(&excess, Key::Excess));
    OfShot::new(excess.outcome, way, vec![excess])
}

/// At the top or at impact: the thorax straighter than the band allows and the pelvis nearer to the ball.
fn standing_up(shot: &Shot, t: &Thresholds) -> OfShot {
    let straight = (Side::Below, -t.value(Key::Straightening));
    let mut evidence = Vec::new();
    // An event that is not measured leaves the other one to decide.
    let mut outcome = Outcome::Missing;
    let mut beyond = 0.0_f64;
    for event in [Event::Top, Event::Impact] {
        let up = Evidence::of(shot, at(&INCLINATION_CHANGE, event), straight, None);
        let near = Evidence::of(shot, at(&PELVIS_DEPTH, event), (Side::Above, 0.0), None);
        let here = up.outcome.and(near.outcome);
        if here == Outcome::Yes {
            beyond = beyond.max(steps(&up, Key::Straightening));
        }
        outcome = match (outcome, here) {
            (one, Outcome::Missing) | (Outcome::Missing, one) => one,
            (one, other) => one.or(other),
        };
        evidence.extend([up, near]);
    }
    OfShot::new(outcome, (Direction::TooMuch, beyond), evidence)
}

/// All three: the separation peaks late, little of it is gone at impact, the thorax is closed there.
fn stretch_kept(shot: &Shot, t: &Thresholds) -> OfShot {
    let down = shot.value(Metric::of(&DOWNSWING_TIME));
    let late_s = down.map(|d| t.value(Key::StretchPeak) * d);
    let peak = Metric::of(&SEPARATION_PEAK_TIME);
    let peak = Evidence::of(
        shot,
        peak,
        (Side::Above, late_s.unwrap_or(f64::INFINITY)),
        None,
    );
    let peak_outcome = if down.is_some() {
        peak.outcome
    } else {
        Outcome::Missing
    };
    let closed = Metric::of(&SEPARATION_CLOSED_AT_IMPACT);
    let limit = (Side::Below, t.value(Key::StretchClosed));
    let closed = Evidence::of(shot, closed, limit, None);
    let thorax = at(&THORAX_ROTATION, Event::Impact);
    let thorax = Evidence::of(shot, thorax, (Side::Below, 0.0), None);
    let outcome = peak_outcome.and(closed.outcome).and(thorax.outcome);
    let way = (Direction::TooMuch, steps(&closed, Key::StretchClosed));
    OfShot::new(outcome, way, vec![peak, closed, thorax])
}

/// The lead arm is never ahead; the early share of the work stands beside it.
fn arms_wait(shot: &Shot, t: &Thresholds) -> OfShot {
    let ahead = Metric::of(&ARM_AHEAD_DURATION);
    let ahead = Evidence::of(shot, ahead, (Side::Below, t.value(Key::ArmAhead)), None);
    let way = (Direction::TooLittle, steps(&ahead, Key::ArmAhead));
    let outcome = ahead.outcome;
    let work = Evidence::beside(shot, Metric::of(&EARLY_WORK_SHARE));
    OfShot::new(outcome, way, vec![ahead, work])
}

/// The trail foot's largest upward force lies in the late downswing. The phase is a code, whose
/// uncertainty is the share of the draws that agree on it.
fn trail_foot_late(shot: &Shot, t: &Thresholds) -> OfShot {
    let metric = Metric::of(&VERTICAL_FORCE_PEAK_PHASE_TRAIL);
    let reading = shot.reading(metric);
    let sure = |agreement: Option<f64>| agreement.is_none_or(|a| a >= t.value(Key::PhaseAgreement));
    let outcome = match reading {
        None => Outcome::Missing,
        Some(r) if !sure(r.uncertainty) => Outcome::Unsure,
        Some(r) if (r.value - LATE).abs() < 0.5 => Outcome::Yes,
        Some(_) => Outcome::No,
    };
    let phase = Evidence {
        metric,
        value: reading.map(|r| r.value),
        uncertainty: reading.and_then(|r| r.uncertainty),
        threshold: Some(LATE),
        beyond: None,
        outcome,
    };
    let beside = [VERTICAL_FORCE_PEAK_TRAIL, VERTICAL_FORCE_PEAK_TIME_TRAIL]
        .map(|family| Evidence::beside(shot, Metric::of(&family)));
    // How far into the late half: 0 at half the downswing's time, 1 at impact.
    let before_s = shot.value(Metric::of(&VERTICAL_FORCE_PEAK_TIME_TRAIL));
    let down_s = shot.value(Metric::of(&DOWNSWING_TIME));
    let beyond = before_s
        .zip(down_s)
        .map(|(before, down)| 1.0 - 2.0 * before / down);
    let way = (Direction::TooMuch, beyond.unwrap_or(0.0).max(0.0));
    OfShot::new(outcome, way, [vec![phase], beside.to_vec()].concat())
}

/// All three are small.
fn no_counter_movement(shot: &Shot, t: &Thresholds) -> OfShot {
    let against = |family: &Family, side, key| {
        Evidence::of(shot, Metric::of(family), (side, t.value(key)), None)
    };
    let heavy = against(&UNWEIGHTING_MIN, Side::Above, Key::Unweighting);
    let level = against(&MASS_CENTRE_DROP, Side::Below, Key::Drop);
    let still = against(&PELVIS_SHIFT_RANGE_BACKSWING, Side::Below, Key::ShiftRange);
    let outcome = heavy.outcome.and(level.outcome).and(still.outcome);
    let way = (Direction::TooLittle, steps(&heavy, Key::Unweighting));
    OfShot::new(outcome, way, vec![heavy, level, still])
}
