//! Seeded random numbers: normal deviates, and noise that is part white and part wandering.
//! What is disturbed by them is `draw`'s matter.

use nalgebra::Vector3;
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng as _, SeedableRng as _};

use crate::signal::noise::NoiseModel;

/// One draw's numbers: a stream of its own under the swing's seed.
#[derive(Debug, Clone)]
pub(super) struct Deviates(ChaCha8Rng);

impl Deviates {
    pub(super) fn new(seed: u64, stream: u64) -> Self {
        let mut generator = ChaCha8Rng::seed_from_u64(seed);
        generator.set_stream(stream);
        Self(generator)
    }

    /// A standard normal deviate (Box & Muller 1958), for what counts one by one.
    pub(super) fn exact(&mut self) -> f64 {
        let radius = (-2.0 * (1.0 - self.unit()).ln()).sqrt();
        radius * (std::f64::consts::TAU * self.unit()).cos()
    }

    pub(super) fn exact_vector(&mut self) -> Vector3<f64> {
        Vector3::from_fn(|_, _| self.exact())
    }

    /// A nearly normal deviate of mean 0 and variance 1: the sum of four uniform ones (excess kurtosis
    /// −0.3). For marker noise, of which every metric takes in many frames.
    pub(super) fn quick(&mut self) -> f64 {
        // Four numbers of 16 bits: mean 32767.5 each, variance (2^32 − 1) / 12 each.
        const SD: f64 = 37_837.227_232_853_18;
        let bits = self.0.next_u64();
        let sum =
            (bits & 0xffff) + ((bits >> 16) & 0xffff) + ((bits >> 32) & 0xffff) + (bits >> 48);
        (sum as f64 - 131_070.0) * (1.0 / SD)
    }

    fn quick_vector(&mut self) -> Vector3<f64> {
        Vector3::new(self.quick(), self.quick(), self.quick())
    }

    /// Uniform on [0, 1).
    fn unit(&mut self) -> f64 {
        (self.0.next_u64() >> 11) as f64 / (1_u64 << 53) as f64
    }
}

/// The noise of one marker, frame by frame: white plus a first-order autoregression.
#[derive(Debug, Clone)]
pub(super) struct Wander {
    white_m: f64,
    keep: f64,
    kick_m: f64,
    at: Vector3<f64>,
}

impl Wander {
    pub(super) fn new(model: NoiseModel, frame_s: f64, deviates: &mut Deviates) -> Self {
        let keep = (-frame_s / model.wander_s.max(1e-6)).exp();
        Self {
            white_m: model.white_m,
            keep,
            kick_m: model.wander_m * (1.0 - keep * keep).sqrt(),
            at: deviates.quick_vector() * model.wander_m,
        }
    }

    pub(super) fn next(&mut self, deviates: &mut Deviates) -> Vector3<f64> {
        self.at = self.at * self.keep + deviates.quick_vector() * self.kick_m;
        self.at + deviates.quick_vector() * self.white_m
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn moments(mut next: impl FnMut() -> f64) -> [f64; 3] {
        let x: Vec<f64> = (0..200_000).map(|_| next()).collect();
        let n = x.len() as f64;
        let mean = x.iter().sum::<f64>() / n;
        let power = |k: i32| x.iter().map(|v| (v - mean).powi(k)).sum::<f64>() / n;
        [mean, power(2), power(4) / power(2).powi(2)]
    }

    /// Mean, variance and kurtosis of the normal distribution, and of a sum of four uniform ones
    /// (mathematics: 3 − 6/5/4).
    #[test]
    fn deviates_have_the_moments_they_should() {
        let mut d = Deviates::new(1, 2);
        for (found, kurtosis) in [
            (moments(|| d.exact()), 3.0),
            (moments(|| Deviates::quick(&mut d)), 2.7),
        ] {
            assert!(found[0].abs() < 0.01, "{found:?}");
            assert!((found[1] - 1.0).abs() < 0.01, "{found:?}");
            assert!((found[2] - kurtosis).abs() < 0.05, "{found:?}");
        }
    }

    /// Variance and correlation over a lag, closed form of the model.
    #[test]
    fn noise_has_the_variance_and_correlation_of_its_model() {
        let model = NoiseModel {
            white_m: 3.0,
            wander_m: 2.0,
            wander_s: 0.05,
        };
        let mut d = Deviates::new(5, 0);
        let mut w = Wander::new(model, 0.01, &mut d);
        let x: Vec<f64> = (0..300_000).map(|_| w.next(&mut d).y).collect();
        let lagged = |k: usize| {
            x.iter().zip(&x[k..]).map(|(a, b)| a * b).sum::<f64>() / (x.len() - k) as f64
        };
        assert!((lagged(0) - 13.0).abs() < 0.3, "{}", lagged(0));
        assert!(
            (lagged(5) - 4.0 * (-1f64).exp()).abs() < 0.2,
            "{}",
            lagged(5)
        );
    }

    #[test]
    fn streams_differ_and_repeat() {
        let first = |seed, stream| Deviates::new(seed, stream).exact().to_bits();
        assert_eq!(first(3, 7), first(3, 7));
        assert_ne!(first(3, 7), first(3, 8));
        assert_ne!(first(3, 7), first(4, 7));
    }
}
