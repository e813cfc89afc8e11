//! Distributions: the normal, Student's t, and the rank sum of two samples that do not differ. What is
//! concluded from them is in the files that use them.

use std::f64::consts::{PI, SQRT_2};
use std::sync::LazyLock;

/// Probability that a standard normal deviate lies above `x`.
#[must_use]
pub fn normal_above(x: f64) -> f64 {
    if x < 0.0 {
        return 1.0 - normal_above(-x);
    }
    let density = (-0.5 * x * x).exp() / (2.0 * PI).sqrt();
    if x < 3.0 {
        // x + x³/3 + x⁵/(3·5) + …: all terms positive, so nothing cancels.
        let (mut term, mut sum, mut n) = (x, x, 1.0);
        while term > 1e-17 * sum {
            n += 2.0;
            term *= x * x / n;
            sum += term;
        }
        0.5 - density * sum
    } else {
        // Laplace's continued fraction.
        let tail = (1..=80)
            .rev()
            .fold(0.0, |tail, n| f64::from(n) / (x + tail));
        density / (x + tail)
    }
}

/// The standard normal deviate that is exceeded with probability `above`, between 0 and 1.
#[must_use]
pub fn normal_quantile(above: f64) -> f64 {
    crossing(above, normal_above)
}

/// Probability that Student's t of `freedom` degrees of freedom lies above `x`. Infinitely many degrees
/// are the normal distribution.
#[must_use]
pub fn student_above(x: f64, freedom: f64) -> f64 {
    if freedom > 1e6 {
        return normal_above(x);
    }
    let half = 0.5 * beta_share(freedom / (freedom + x * x), 0.5 * freedom, 0.5);
    if x < 0.0 { 1.0 - half } else { half }
}

/// The value of Student's t that is exceeded with probability `above`, between 0 and 1.
#[must_use]
pub fn student_quantile(above: f64, freedom: f64) -> f64 {
    crossing(above, |x| student_above(x, freedom))
}

/// Where a falling tail probability passes `above`: false position on its logarithm, with the standing
/// end's weight halved (Dowell & Jarratt 1971).
fn crossing(above: f64, tail: impl Fn(f64) -> f64) -> f64 {
    if above > 0.5 {
        return -crossing(1.0 - above, tail);
    }
    let miss = |x: f64| (tail(x) / above).ln();
    let (mut low, mut high) = (0.0, 1.0);
    let (mut at_low, mut at_high) = (miss(low), miss(high));
    while at_high > 0.0 && high < 1e12 {
        (low, at_low) = (high, at_high);
        high *= 2.0;
        at_high = miss(high);
    }
    for _ in 0..100 {
        if high - low < 1e-13 * high {
            break;
        }
        let guess = (low * at_high - high * at_low) / (at_high - at_low);
        let x = if low < guess && guess < high {
            guess
        } else {
            0.5 * (low + high)
        };
        let at = miss(x);
        if at.abs() < 1e-14 {
            return x;
        }
        if at > 0.0 {
            (low, at_low) = (x, at);
            at_high *= 0.5;
        } else {
            (high, at_high) = (x, at);
            at_low *= 0.5;
        }
    }
    0.5 * (low + high)
}

/// The regularized incomplete beta function, by its continued fraction (NIST DLMF 8.17.22).
fn beta_share(x: f64, a: f64, b: f64) -> f64 {
    if x <= 0.0 {
        return 0.0;
    }
    if x >= 1.0 {
        return 1.0;
    }
    if x > (a + 1.0) / (a + b + 2.0) {
        return 1.0 - beta_share(1.0 - x, b, a);
    }
    let front = (ln_gamma(a + b) - ln_gamma(a) - ln_gamma(b) + a * x.ln() + b * (-x).ln_1p()).exp();
    // Evaluated from the front (Lentz), until a step changes nothing.
    let tiny = 1e-300;
    let (mut c, mut d) = (1.0, 1.0 / (1.0 - (a + b) * x / (a + 1.0)));
    let mut value = d;
    for n in 1..300 {
        let m = f64::from(n);
        let even = m * (b - m) * x / ((a + 2.0 * m - 1.0) * (a + 2.0 * m));
        let odd = -(a + m) * (a + b + m) * x / ((a + 2.0 * m) * (a + 2.0 * m + 1.0));
        for step in [even, odd] {
            d = 1.0 + step * d;
            d = 1.0 / if d.abs() < tiny { tiny } else { d };
            c = 1.0 + step / c;
            if c.abs() < tiny {
                c = tiny;
            }
            value *= c * d;
        }
        if (c * d - 1.0).abs() < 1e-15 {
            break;
        }
    }
    front * value / a
}

/// Natural logarithm of the gamma function, x > 0: Stirling's series (NIST DLMF 5.11.1) from 10 up,
/// the recurrence below.
fn ln_gamma(x: f64) -> f64 {
    let (mut x, mut below) = (x, 0.0);
    while x < 10.0 {
        below += x.ln();
        x += 1.0;
    }
    let r = 1.0 / (x * x);
    let series =
        (1.0 / 12.0 - r * (1.0 / 360.0 - r * (1.0 / 1260.0 - r * (1.0 / 1680.0 - r / 1188.0)))) / x;
    (x - 0.5) * x.ln() - x + 0.5 * (2.0 * PI).ln() + series - below
}

/// Beyond so many pairs the rank sum is as good as normal.
const EXACT_PAIRS: usize = 2_500;

/// The null distribution of U (Mann & Whitney 1947): of how many of the n·m pairs the second value is
/// the smaller one, when both samples come from one continuous distribution.
#[derive(Debug, Clone)]
pub struct RankSum {
    /// Probability of U ≤ u, by u; empty where the normal distribution stands for it.
    cumulated: Vec<f64>,
    mean: f64,
    sd: f64,
    pairs: usize,
}

impl RankSum {
    /// Of samples of n and m values.
    #[must_use]
    pub fn new(n: usize, m: usize) -> Self {
        let pairs = n * m;
        let mut cumulated = Vec::new();
        if pairs <= EXACT_PAIRS {
            // The generating function is the Gaussian binomial: Π (1 − xᵐ⁺ⁱ) / (1 − xⁱ).
            let mut counts = vec![0.0_f64; pairs + 1];
            counts[0] = 1.0;
            for i in 1..=n {
                for u in (m + i..=pairs).rev() {
                    counts[u] -= counts[u - m - i];
                }
                for u in i..=pairs {
                    counts[u] += counts[u - i];
                }
            }
            let all: f64 = counts.iter().sum();
            let mut sum = 0.0;
            cumulated = counts
                .iter()
                .map(|count| {
                    sum += count;
                    sum / all
                })
                .collect();
        }
        let product = pairs as f64;
        Self {
            cumulated,
            mean: 0.5 * product,
            sd: (product * (n + m + 1) as f64 / 12.0).sqrt(),
            pairs,
        }
    }

    /// Probability of U ≤ u.
    #[must_use]
    pub fn at_most(&self, u: usize) -> f64 {
        match self.cumulated.get(u) {
            Some(p) => *p,
            None if u >= self.pairs => 1.0,
            None => normal_above((self.mean - u as f64 - 0.5) / self.sd),
        }
    }

    /// How many of the smallest values of U together have a probability of at most `p`: 0 where even
    /// U = 0 is likelier than that.
    #[must_use]
    pub fn rejected(&self, p: f64) -> usize {
        let (mut low, mut high) = (0, self.pairs + 1);
        while low < high {
            let middle = usize::midpoint(low, high);
            if self.at_most(middle) <= p {
                low = middle + 1;
            } else {
                high = middle;
            }
        }
        low
    }
}

/// Two-sided p-value of a normal deviate.
#[must_use]
pub fn two_sided(z: f64) -> f64 {
    (2.0 * normal_above(z.abs())).min(1.0)
}

static PLACES: LazyLock<Vec<f64>> = LazyLock::new(|| {
    (0..64)
        .map(|n| normal_quantile((f64::from(n) + 0.5) / 64.0))
        .collect()
});

/// Normal deviates at 64 places of equal probability.
#[must_use]
pub fn normal_places() -> &'static [f64] {
    &PLACES
}

/// A standard deviation estimated from so many degrees of freedom, in units of the true one, at 64 places
/// of equal probability (Wilson & Hilferty 1931).
#[must_use]
pub fn spread_places(freedom: f64) -> Vec<f64> {
    let a = 2.0 / (9.0 * freedom);
    PLACES
        .iter()
        .map(|z| (1.0 - a + z * a.sqrt()).max(0.0).powi(3).sqrt())
        .collect()
}

/// 1.96 · √2: from the standard error of measurement to a difference that only one in twenty pairs of
/// measurements of the same thing exceeds.
pub const DETECTABLE: f64 = 1.96 * SQRT_2;
