//! Seeded random draws: uniform and normal values, colored noise, bursts of drop-outs.
//!
//! Every consumer takes its own stream of the generator, so that adding a draw in one place
//! changes nothing elsewhere. What is disturbed lives in `capture`.

use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng, SeedableRng};

/// Who draws: one independent stream each.
#[derive(Debug, Clone, Copy)]
pub(super) enum Purpose {
    /// The person: lengths, posture, habits.
    Person,
    /// The person's strength and favorite club.
    Bag,
    /// Where the person's joints are under the skin.
    Anatomy,
    /// The capture system's noise during the calibration trial.
    Calibration,
    /// One shot's deviations from the habit.
    Shot(u64),
    /// The capture system's noise during a shot.
    Capture(u64),
    /// What the person and the club weigh.
    Mass,
    /// What the force plates add during a shot.
    Plates(u64),
    /// What happens in a lesson, and when.
    Lesson,
    /// The capture system's noise during a lesson.
    LessonNoise,
    /// What the force plates add during a lesson.
    LessonPlates,
}

/// A source of random values.
#[derive(Debug, Clone)]
pub(super) struct Source {
    generator: ChaCha8Rng,
}

impl Source {
    /// The stream of `purpose` under `seed`.
    pub(super) fn new(seed: u64, purpose: Purpose) -> Self {
        let mut generator = ChaCha8Rng::seed_from_u64(seed);
        generator.set_stream(match purpose {
            Purpose::Person => 0,
            Purpose::Bag => 1,
            Purpose::Anatomy => u64::MAX,
            Purpose::Calibration => u64::MAX - 1,
            Purpose::Mass => u64::MAX - 2,
            Purpose::Lesson => u64::MAX - 3,
            Purpose::LessonNoise => u64::MAX - 4,
            Purpose::LessonPlates => u64::MAX - 5,
            Purpose::Plates(shot) => (1_u64 << 62).wrapping_add(shot),
            Purpose::Shot(shot) => shot.wrapping_mul(2).wrapping_add(2),
            Purpose::Capture(shot) => shot.wrapping_mul(2).wrapping_add(3),
        });
        Self { generator }
    }

    /// Uniform on [0, 1).
    #[expect(clippy::cast_precision_loss, reason = "53 bits fit an f64 exactly")]
    pub(super) fn unit(&mut self) -> f64 {
        (self.generator.next_u64() >> 11) as f64 / (1_u64 << 53) as f64
    }

    /// Uniform on [low, high).
    pub(super) fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.unit()
    }

    /// Standard normal (Box & Muller 1958).
    pub(super) fn normal(&mut self) -> f64 {
        let radius = (-2.0 * (1.0 - self.unit()).ln()).sqrt();
        radius * (std::f64::consts::TAU * self.unit()).cos()
    }

    /// Normal about `mean`, cut at two standard deviations so that nobody is grotesque.
    pub(super) fn around(&mut self, mean: f64, sd: f64) -> f64 {
        mean + sd * self.normal().clamp(-2.0, 2.0)
    }
}

/// Noise of unit variance, part white and part slowly wandering (a first-order autoregression).
#[derive(Debug, Clone)]
pub(super) struct Colored {
    wander: f64,
    keep: f64,
}

impl Colored {
    /// Share of the variance that is white.
    const WHITE: f64 = 0.6;
    /// Time constant of the wandering part, s.
    const WANDER_S: f64 = 0.05;

    /// Noise sampled every `dt` seconds.
    pub(super) fn new(source: &mut Source, dt: f64) -> Self {
        Self {
            wander: source.normal(),
            keep: (-dt / Self::WANDER_S).exp(),
        }
    }

    /// The next sample.
    pub(super) fn next(&mut self, source: &mut Source) -> f64 {
        let kick = (1.0 - self.keep * self.keep).sqrt();
        self.wander = self.keep * self.wander + kick * source.normal();
        Self::WHITE.sqrt() * source.normal() + (1.0 - Self::WHITE).sqrt() * self.wander
    }
}

/// Drop-outs that come in bursts: a two-state chain with the wanted share of lost samples.
#[derive(Debug, Clone)]
pub(super) struct Bursts {
    lost: bool,
    begin: f64,
    end: f64,
}

impl Bursts {
    /// Mean length of a burst, s.
    const MEAN_S: f64 = 0.04;

    /// A chain sampled every `dt` seconds that loses `share` (0 to 0.9) of the samples.
    pub(super) fn new(source: &mut Source, dt: f64, share: f64) -> Self {
        let share = share.clamp(0.0, 0.9);
        let end = (dt / Self::MEAN_S).min(1.0);
        let begin = (end * share / (1.0 - share)).min(1.0);
        Self {
            lost: source.unit() < share,
            begin,
            end,
        }
    }

    /// Whether the next sample is lost.
    pub(super) fn next(&mut self, source: &mut Source) -> bool {
        let change = if self.lost { self.end } else { self.begin };
        self.lost ^= source.unit() < change;
        self.lost
    }
}

#[cfg(test)]
mod tests {
    use super::{Bursts, Colored, Purpose, Source};

    #[test]
    fn colored_noise_has_unit_variance_and_the_written_correlation() {
        let mut source = Source::new(1, Purpose::Capture(0));
        let mut noise = Colored::new(&mut source, 0.005);
        let x: Vec<f64> = (0..200_000).map(|_| noise.next(&mut source)).collect();
        let n = x.len() as f64;
        let variance = x.iter().map(|v| v * v).sum::<f64>() / n;
        let lagged = x.windows(2).map(|w| w[0] * w[1]).sum::<f64>() / n / variance;
        assert!((variance - 1.0).abs() < 0.03, "{variance}");
        assert!((lagged - 0.4 * (-0.1_f64).exp()).abs() < 0.02, "{lagged}");
    }

    #[test]
    fn bursts_lose_the_wanted_share_in_runs() {
        let mut source = Source::new(2, Purpose::Capture(0));
        let mut bursts = Bursts::new(&mut source, 0.004, 0.05);
        let lost: Vec<bool> = (0..400_000).map(|_| bursts.next(&mut source)).collect();
        let count = lost.iter().filter(|&&l| l).count() as f64;
        let runs = lost.windows(2).filter(|w| !w[0] && w[1]).count() as f64;
        assert!((count / 400_000.0 - 0.05).abs() < 0.004, "{count}");
        assert!((count / runs - 10.0).abs() < 0.7, "{}", count / runs);
    }

    #[test]
    fn streams_differ_and_repeat() {
        let draw = |purpose| Source::new(5, purpose).unit();
        assert!((draw(Purpose::Person) - draw(Purpose::Shot(0))).abs() > 1e-9);
        assert!((draw(Purpose::Shot(3)) - draw(Purpose::Shot(3))).abs() == 0.0);
    }
}
