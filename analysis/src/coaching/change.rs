//! Is the change real? The shift of one metric from a baseline to a check block, its interval, the
//! smallest change that could be seen, and the verdict. How likely a change is to be seen, and how many
//! shots that takes, is in `power`.
//!
//! The rule. *Real* means both: the rank-inversion interval leaves out no change, and the shift is at
//! least the detectable change. Both are widened by what no-change lessons do to them:
//! - neighbouring shots are alike (`Allowed::autocorrelation`): the rank test's deviate and the standard
//!   error are stretched by the variance that such rows have;
//! - a level drifts through a session (`Allowed::drift`, one standard deviation of the baseline's shots
//!   from first to last): what a straight drift would make between the two blocks is taken off the shift, since
//!   blocks of ten shots are too short to see it and to correct for it;
//! - another day or marking moves the level (`Allowed::again`): its variance is added, twice;
//! - every look costs (`looks`), and so do several metrics (`Scope`).

use super::block::{Baseline, Check};
use super::chance::{RankSum, normal_above, normal_quantile, student_quantile, two_sided};
use super::looks::Levels;
use super::order::{Interval, differences, inverted, median};
use super::plateau;
use super::power::{Design, shots_needed};
use super::scatter::{self, Again, Part};

/// The share of false verdicts that is allowed.
pub const LEVEL: f64 = 0.05;

/// Which change is wanted.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Wanted {
    /// More of it.
    Larger,
    /// Less of it.
    Smaller,
    /// Nearer to this value, from either side.
    Toward(f64),
}

/// What the 5 % are shared among.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Scope {
    /// 5 % for each metric: with three metrics in focus, up to 15 % for the lesson.
    Metric,
    /// 5 % for the lesson, shared evenly among so many metrics in focus (Bonferroni).
    Lesson {
        /// Metrics in focus.
        metrics: usize,
    },
    /// 5 % for the lesson, though the focus was chosen by looking at so many metrics of this very baseline:
    /// shared among all of them, since the most extreme of many comes back toward the middle by itself.
    ChosenFromBaseline {
        /// Metrics that were looked at.
        among: usize,
    },
}

impl Scope {
    /// The level of one metric.
    #[must_use]
    pub fn level(self) -> f64 {
        match self {
            Self::Metric => LEVEL,
            Self::Lesson { metrics: n } | Self::ChosenFromBaseline { among: n } => {
                LEVEL / n.max(1) as f64
            }
        }
    }

    /// What the 5 % mean, in words.
    #[must_use]
    pub fn words(self) -> String {
        match self {
            Self::Metric => "5 % false verdicts per metric".into(),
            Self::Lesson { metrics } => {
                format!("5 % false verdicts per lesson, over {metrics} metrics in focus")
            }
            Self::ChosenFromBaseline { among } => format!(
                "5 % false verdicts per lesson, over the {among} metrics from which the focus was chosen"
            ),
        }
    }
}

/// What no-change lessons are allowed to do without being called a change.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Allowed {
    /// Correlation of neighbouring shots, 0 to below 1.
    pub autocorrelation: f64,
    /// Drift from the first to the last shot of a session, in standard deviations of the baseline's shots.
    pub drift: f64,
    /// How much another marking or day moves the level; `None`: not known, so that blocks of different
    /// markings or sessions are not compared.
    pub again: Option<Again>,
}

impl Default for Allowed {
    fn default() -> Self {
        Self {
            autocorrelation: scatter::AUTOCORRELATION,
            drift: 1.0,
            again: None,
        }
    }
}

/// What is asked of a metric.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Question {
    /// The direction.
    pub wanted: Wanted,
    /// The smallest change that would matter, in the metric's inside unit: only this decides how many
    /// shots are still needed, never the change just seen.
    pub matters: f64,
    /// What the 5 % are shared among.
    pub scope: Scope,
}

/// The answer.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Verdict {
    /// It changed as wanted.
    RealGain,
    /// It changed, against what is wanted.
    RealLoss,
    /// No change is shown. That none happened is not shown either.
    NotShownYet {
        /// What it takes to see a change of the size that matters in four of five cases.
        more: More,
    },
}

/// What it takes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum More {
    /// So many more shots in the check block. 0: a change of that size would most likely have shown.
    Shots(usize),
    /// No number of check shots does it: the baseline is too short, or the change that matters is within
    /// what drift, days and markings do by themselves.
    OtherMeans,
    /// It changed, but past the aim, and whether it is nearer now is open.
    PastTheAim,
}

/// Two blocks compared.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Change {
    /// Hodges–Lehmann shift, after − before, in the metric's inside unit.
    pub shift: f64,
    /// Rank-inversion interval of the change, at `level`, widened as above. Unbounded where so few shots
    /// cannot exclude anything.
    pub interval: Interval,
    /// Smallest shift that could be called real with this scatter, drift included.
    pub detectable: f64,
    /// How much of it is allowed for drift.
    pub drift: f64,
    /// Two-sided level of this look: 1 − its confidence.
    pub level: f64,
    /// What the 5 % are shared among.
    pub scope: Scope,
    /// Settled shots of the baseline, shots of the check block.
    pub shots: [usize; 2],
    /// The check block itself goes one way: its level is not one number.
    pub check_trends: bool,
    /// The answer.
    pub verdict: Verdict,
}

/// Why two blocks are not compared.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum NotCompared {
    /// Markers were put on again, or it is another day, and nobody knows by how much that moves the metric.
    AgainUnknown,
    /// No look is planned at this number of shots: the next is after so many.
    NoLookNow {
        /// Shots of the check block at the next look.
        next: usize,
    },
}

/// Compares a baseline and a check block of one metric. Shots of the check beyond the planned number are
/// not used.
///
/// # Errors
/// [`NotCompared`].
pub fn change(
    baseline: &Baseline,
    check: &Check,
    question: &Question,
    levels: &Levels,
    allowed: &Allowed,
) -> Result<Change, NotCompared> {
    let (before, after) = (baseline.block(), check.block());
    let used = after.values.len().min(levels.planned());
    let level = levels.at(used).ok_or(NotCompared::NoLookNow {
        next: levels.planned(),
    })?;
    let apart = Apart::of(baseline, check, used, allowed).ok_or(NotCompared::AgainUnknown)?;
    let seen = Seen::of(&before.values, &after.values[..used], &apart, allowed);
    let interval = seen.interval(level, &apart);
    let detectable = seen.detectable(level);
    let shown = !interval.holds(0.0) && seen.shift.abs() >= detectable;
    let middle = median(&before.values).unwrap_or(f64::NAN);
    let verdict = if shown {
        direction(question.wanted, middle, interval)
    } else {
        None
    };
    let more = || {
        if shown {
            return More::PastTheAim;
        }
        let sd = seen.shots_variance.sqrt();
        let design = Design {
            baseline: before.values.len(),
            between: (before.session == after.session).then_some(apart.between),
            check: used,
            level: levels.last(),
        };
        let scaled = Allowed {
            again: apart.again.map(|again| Again {
                sd: again.sd / sd,
                ..again
            }),
            ..*allowed
        };
        match shots_needed(&design, &scaled, question.matters / sd) {
            Some(needed) => More::Shots(needed.saturating_sub(used)),
            None => More::OtherMeans,
        }
    };
    Ok(Change {
        shift: seen.shift,
        interval,
        detectable,
        drift: seen.drift,
        level,
        scope: question.scope,
        shots: [before.values.len(), used],
        check_trends: plateau::trends(&after.values[..used]),
        verdict: verdict.unwrap_or_else(|| Verdict::NotShownYet { more: more() }),
    })
}

/// Gain or loss of a change whose interval leaves out 0; `None` where it passed the aim and either may be.
fn direction(wanted: Wanted, before: f64, change: Interval) -> Option<Verdict> {
    let gain = match wanted {
        Wanted::Larger => change.low > 0.0,
        Wanted::Smaller => change.high < 0.0,
        Wanted::Toward(aim) => {
            let nearer = |end: f64| (before + end - aim).abs() < (before - aim).abs();
            match (nearer(change.low), nearer(change.high)) {
                (true, true) => true,
                (false, false) => false,
                _ => return None,
            }
        }
    };
    Some(if gain {
        Verdict::RealGain
    } else {
        Verdict::RealLoss
    })
}

/// What two whole blocks show, without a verdict: for scans over many metrics.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Evidence {
    pub(super) shift: f64,
    /// At 95 %.
    pub(super) interval: Interval,
    /// The level at which the interval would just reach no change.
    pub(super) p: f64,
}

/// The evidence for a change, widened like in [`change`].
pub(super) fn evidence(
    baseline: &Baseline,
    check: &Check,
    allowed: &Allowed,
) -> Result<Evidence, NotCompared> {
    let (before, after) = (&baseline.block().values, &check.block().values);
    let apart =
        Apart::of(baseline, check, after.len(), allowed).ok_or(NotCompared::AgainUnknown)?;
    let seen = Seen::of(before, after, &apart, allowed);
    let interval = |level| seen.interval(level, &apart);
    // Bisection over the deviate of the level: the interval grows with it.
    let (mut low, mut high) = (0.0, 8.0);
    for _ in 0..40 {
        let middle = 0.5 * (low + high);
        if interval(two_sided(middle)).holds(0.0) {
            high = middle;
        } else {
            low = middle;
        }
    }
    Ok(Evidence {
        shift: seen.shift,
        interval: interval(LEVEL),
        p: two_sided(low),
    })
}

/// What lies between two blocks besides a change.
struct Apart {
    /// Shots of the session between them.
    between: usize,
    /// Drift allowed between their levels, in standard deviations of the shots.
    drift: f64,
    /// Other day or marking.
    again: Option<Again>,
}

impl Apart {
    /// `None` where days or markings differ and what that does is not known.
    fn of(baseline: &Baseline, check: &Check, used: usize, allowed: &Allowed) -> Option<Self> {
        let (before, after) = (baseline.block(), check.block());
        let same_day = before.session == after.session;
        let again = if same_day && before.marking == after.marking {
            None
        } else {
            Some(allowed.again?)
        };
        let places = (&before.places, &after.places[..used]);
        let share = if same_day {
            drift_share(places.0, places.1)
        } else {
            OTHER_DAY
        };
        let between = match (places.0.last(), places.1.first()) {
            (Some(last), Some(first)) => (first - last - 1.0).max(0.0) as usize,
            _ => 0,
        };
        Some(Self {
            between,
            drift: allowed.drift * share,
            again,
        })
    }
}

/// On another day one of the blocks may drift and the other not: their means are half of it apart.
pub(super) const OTHER_DAY: f64 = 0.5;

/// The share of a session's straight drift that lies between the means of two blocks; half of it at
/// least, for a drift in one of them alone.
pub(super) fn drift_share(before: &[f64], after: &[f64]) -> f64 {
    let mean = |p: &[f64]| p.iter().sum::<f64>() / p.len().max(1) as f64;
    let (Some(first), Some(last)) = (before.first(), after.last()) else {
        return OTHER_DAY;
    };
    ((mean(after) - mean(before)) / (last - first).max(1.0)).clamp(OTHER_DAY, 1.0)
}

/// What two samples show.
struct Seen {
    differences: Vec<f64>,
    shift: f64,
    /// Drift allowed, in the metric's unit.
    drift: f64,
    /// Variance of one shot.
    shots_variance: f64,
    /// Variance of the shift, other day and marking included.
    total: Part,
    /// Numbers of values.
    counts: [usize; 2],
    /// By how much dependence raises the variance of the shift.
    inflation: f64,
}

impl Seen {
    fn of(before: &[f64], after: &[f64], apart: &Apart, allowed: &Allowed) -> Self {
        let rho = allowed.autocorrelation;
        let nothing = Part {
            variance: 0.0,
            freedom: f64::INFINITY,
        };
        let part = |values: &[f64]| scatter::of_level(values, rho).unwrap_or(nothing);
        let own = |values: &[f64]| scatter::of_shots(values, rho).unwrap_or(0.0);
        let shots_variance = 0.5 * (own(before) + own(after));
        let mut parts = vec![part(before), part(after)];
        if let Some(again) = apart.again {
            parts.push(Part {
                variance: 2.0 * again.sd.powi(2),
                freedom: again.freedom,
            });
        }
        let share = |n: usize| (scatter::inflation(n, rho) / n as f64, 1.0 / n as f64);
        let (b, a) = (share(before.len()), share(after.len()));
        let differences = differences(before, after);
        Self {
            shift: median(&differences).unwrap_or(f64::NAN),
            differences,
            // The larger of both views: a scatter seen too small must not shrink the allowance.
            drift: apart.drift * own(before).max(shots_variance).sqrt(),
            shots_variance,
            total: scatter::sum(&parts),
            counts: [before.len(), after.len()],
            inflation: (b.0 + a.0) / (b.1 + a.1),
        }
    }

    /// Rank inversion at the level that makes up for dependence; another day's part joined in quadrature
    /// (Zou & Donner 2008); drift on top.
    fn interval(&self, level: f64, apart: &Apart) -> Interval {
        let z = normal_quantile(0.5 * level) * self.inflation.sqrt();
        let rank = RankSum::new(self.counts[0], self.counts[1]);
        let bare = inverted(&self.differences, rank.rejected(normal_above(z)));
        let again = apart.again.map_or(0.0, |again| {
            student_quantile(0.5 * level, again.freedom) * again.sd * std::f64::consts::SQRT_2
        });
        Interval {
            low: self.shift - (self.shift - bare.low).hypot(again) - self.drift,
            high: self.shift + (bare.high - self.shift).hypot(again) + self.drift,
        }
    }

    fn detectable(&self, level: f64) -> f64 {
        let t = student_quantile(0.5 * level, self.total.freedom);
        t * self.total.variance.sqrt() + self.drift
    }
}

#[cfg(test)]
mod tests;
