//! "Is the change real?" on simulated lessons: how often a lesson without a change is called one, and
//! how often a true change is seen, beside what was predicted.
//!
//! The shots come from generators that know nothing of the rule: autoregressive rows, drifts, warm-ups,
//! heavy tails, rounding, other days. Used by a small sample in `statistics` and by the long campaign
//! (`bash tests/long/change`).

use std::collections::BTreeMap;

use analysis::coaching::block::{Baseline, Block, Check, Role};
use analysis::coaching::change::{Allowed, LEVEL, Question, Scope, Verdict, Wanted, change};
use analysis::coaching::looks::{FEWEST_CHECK, Levels, Looks};
use analysis::coaching::power::{Design, Truth, power, power_watched};
use analysis::coaching::scatter::Again;
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng as _, SeedableRng as _};

use crate::change::{Drift, Lesson, Shape};

/// What came of a lesson.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Outcome {
    /// The baseline had settled, so that it was judged.
    pub(crate) judged: bool,
    /// A verdict of gain or loss at any look.
    pub(crate) ever: bool,
    /// At the last look.
    pub(crate) last: bool,
    /// Power that was predicted.
    pub(crate) predicted: f64,
}

/// Plays lessons; keeps the levels of looks and the predictions, which are costly.
#[derive(Default)]
pub(crate) struct Studio {
    levels: BTreeMap<(usize, usize, bool, u64), Levels>,
    predicted: BTreeMap<(usize, String), f64>,
}

impl Studio {
    /// One lesson. With several metrics, whether any of them was called real.
    pub(crate) fn play(&mut self, lesson: &Lesson, seed: u64) -> Outcome {
        let mut luck = Luck(ChaCha8Rng::seed_from_u64(seed));
        let mut rows: Vec<[Block; 2]> = (0..lesson.metrics.max(lesson.among))
            .map(|_| luck.metric(lesson))
            .collect();
        if lesson.among > 1 {
            let level = |row: &[Block; 2]| row[0].values.iter().sum::<f64>();
            rows.sort_by(|a, b| level(a).total_cmp(&level(b)));
            rows.truncate(1);
        }
        let again = luck.again(lesson);
        rows.iter()
            .map(|row| self.judge(lesson, row, again))
            .reduce(|a, b| Outcome {
                judged: a.judged || b.judged,
                ever: a.ever || b.ever,
                last: a.last || b.last,
                predicted: a.predicted,
            })
            .unwrap_or_default()
    }

    fn judge(&mut self, lesson: &Lesson, row: &[Block; 2], again: Again) -> Outcome {
        let Ok(baseline) = Baseline::of(&row[0]) else {
            return Outcome::default();
        };
        let settled = baseline.block().values.len();
        let scope = match (lesson.among, lesson.metrics) {
            (1, 1) => Scope::Metric,
            (1, metrics) => Scope::Lesson { metrics },
            (among, _) => Scope::ChosenFromBaseline { among },
        };
        let planned = lesson.check;
        let looks = if lesson.every {
            Looks::Every { planned }
        } else {
            Looks::Once { planned }
        };
        let key = (settled, planned, lesson.every, scope.level().to_bits());
        let levels = self
            .levels
            .entry(key)
            .or_insert_with(|| Levels::new(looks, settled, scope.level()));
        let allowed = Allowed {
            again: lesson.between.is_none().then_some(again),
            ..Allowed::default()
        };
        let question = Question {
            wanted: Wanted::Larger,
            matters: 2.0,
            scope,
        };
        let mut outcome = Outcome {
            judged: true,
            ..Outcome::default()
        };
        let first = if lesson.every { FEWEST_CHECK } else { planned };
        for shots in first..=planned {
            let mut so_far = row[1].clone();
            so_far.values.truncate(shots);
            so_far.places.truncate(shots);
            let check = Check::of(&so_far).expect("a check block of five and more");
            let answer = change(&baseline, &check, &question, levels, &allowed);
            let answer = answer.expect("a look is planned");
            outcome.last = !matches!(answer.verdict, Verdict::NotShownYet { .. });
            outcome.ever |= outcome.last;
        }
        let design = Design {
            baseline: settled,
            between: lesson.between,
            check: planned,
            level: levels.last(),
        };
        let truth = Truth {
            size: lesson.size,
            autocorrelation: lesson.rho,
        };
        outcome.predicted = *self
            .predicted
            .entry((settled, format!("{lesson:?}")))
            .or_insert_with(|| {
                if lesson.every {
                    power_watched(&design, levels, &allowed, &truth)
                } else {
                    power(&design, &allowed, &truth)
                }
            });
        outcome
    }
}

/// Where shots come from.
struct Luck(ChaCha8Rng);

impl Luck {
    fn unit(&mut self) -> f64 {
        (self.0.next_u64() >> 11) as f64 / (1_u64 << 53) as f64
    }

    fn normal(&mut self) -> f64 {
        let radius = (-2.0 * (1.0 - self.unit()).ln()).sqrt();
        radius * (std::f64::consts::TAU * self.unit()).cos()
    }

    fn chi_square(&mut self, freedom: f64) -> f64 {
        (0..freedom as usize).map(|_| self.normal().powi(2)).sum()
    }

    fn deviate(&mut self, shape: Shape) -> f64 {
        match shape {
            Shape::Normal | Shape::Rounded => self.normal(),
            // Variance of t(4) is 2.
            Shape::Heavy => self.normal() / (self.chi_square(4.0) / 4.0).sqrt() / 2.0_f64.sqrt(),
            Shape::Skewed => -(1.0 - self.unit()).ln() - 1.0,
        }
    }

    /// What is known of days and markings.
    fn again(&mut self, lesson: &Lesson) -> Again {
        let freedom = lesson.again_freedom;
        let estimate = if freedom.is_finite() {
            (self.chi_square(freedom) / freedom).sqrt()
        } else {
            1.0
        };
        Again {
            sd: lesson.again * estimate,
            freedom,
        }
    }

    /// One metric's baseline and check block.
    fn metric(&mut self, lesson: &Lesson) -> [Block; 2] {
        let (n, m) = (lesson.baseline, lesson.check);
        let between = lesson.between.unwrap_or(0);
        let all = n + between + m;
        // Rows of one session go on through practice; another day starts anew.
        let mut row = Vec::with_capacity(all);
        let mut last = 0.0;
        for shot in 0..all {
            let fresh = self.deviate(lesson.shape);
            let starts = shot == 0 || (lesson.between.is_none() && shot == n);
            last = if starts {
                fresh
            } else {
                lesson.rho * last + (1.0 - lesson.rho * lesson.rho).sqrt() * fresh
            };
            row.push(last);
        }
        let days = [self.normal(), self.normal()].map(|d| d * lesson.again);
        let block = |role, from: usize, to: usize| -> Block {
            let late = role == Role::Check;
            let values = (from..to).map(|shot| {
                let within = (shot - from) as f64 / (to - from - 1) as f64;
                let drift = match lesson.drift {
                    Drift::None => 0.0,
                    Drift::Session(d) => d * shot as f64 / (all - 1) as f64,
                    Drift::Check(d) => {
                        if late {
                            d * within
                        } else {
                            0.0
                        }
                    }
                    Drift::EachBlock(d) => d * within,
                    Drift::WarmUp(d, fade) => -d * (-(shot as f64) / fade).exp(),
                };
                let scatter = row[shot] * if late { lesson.wider } else { 1.0 };
                let value = scatter + drift + if late { lesson.size } else { 0.0 };
                let value = value + days[usize::from(late && lesson.between.is_none())];
                if lesson.shape == Shape::Rounded {
                    (2.0 * value).round() / 2.0
                } else {
                    value
                }
            });
            let day = u64::from(late && lesson.between.is_none());
            let first = if day == 1 { n } else { 0 };
            Block {
                role,
                chose_focus: !late && lesson.among > 1,
                session: day,
                marking: day,
                places: (from..to).map(|shot| (shot - first) as f64).collect(),
                values: values.collect(),
            }
        };
        [
            block(Role::Baseline, 0, n),
            block(Role::Check, n + between, all),
        ]
    }
}

/// What came of many lessons.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Tally {
    pub(crate) played: usize,
    pub(crate) judged: usize,
    pub(crate) ever: usize,
    pub(crate) last: usize,
    /// Mean of the predicted powers.
    pub(crate) predicted: f64,
}

impl Tally {
    /// Plays so many lessons.
    pub(crate) fn of(studio: &mut Studio, lesson: &Lesson, seed: u64, count: u64) -> Self {
        let mut tally = Self::default();
        for seed in seed..seed + count {
            let outcome = studio.play(lesson, seed);
            tally.played += 1;
            tally.judged += usize::from(outcome.judged);
            tally.ever += usize::from(outcome.ever);
            tally.last += usize::from(outcome.last);
            tally.predicted += outcome.predicted;
        }
        tally.predicted /= tally.judged.max(1) as f64;
        tally
    }

    /// Share of the judged lessons with a verdict of gain or loss at any look.
    pub(crate) fn rate(&self) -> f64 {
        self.ever as f64 / self.judged.max(1) as f64
    }

    /// Whether a one-sided 99 % binomial test does not reject that the rate is 5 % at most.
    pub(crate) fn at_most_five_percent(&self) -> bool {
        at_least(self.judged, self.ever, LEVEL) >= 0.01
    }
}

/// Probability of `k` and more of n, each with probability p.
fn at_least(n: usize, k: usize, p: f64) -> f64 {
    let mut log = n as f64 * (-p).ln_1p();
    let mut below = 0.0;
    for i in 0..k.min(n) {
        below += log.exp();
        log += ((n - i) as f64 / (i + 1) as f64).ln() + (p / (1.0 - p)).ln();
    }
    1.0 - below
}
