//! The rotation budget: how much rotation a golfer brings through from the top to impact over a block, how
//! it is spent on both sides of square, and how far closed the top could be and still be balanced.
//! What one shot gives is in `metrics::budget`.

use super::order::{Interval, median};
use super::shot::{Metric, Shot, values};
use crate::metrics::catalogue::{
    Family, PELVIS_ROTATION, ROTATION_EXCESS_PELVIS, ROTATION_EXCESS_SHOULDERS,
    ROTATION_EXCESS_THORAX, ROTATION_RANGE_DOWN_PELVIS, ROTATION_RANGE_DOWN_SHOULDERS,
    ROTATION_RANGE_DOWN_THORAX, ROTATION_RATE_DOWN_PELVIS, ROTATION_RATE_DOWN_SHOULDERS,
    ROTATION_RATE_DOWN_THORAX, SHOULDER_LINE_ROTATION, THORAX_ROTATION,
};
use crate::swing::event::Event;

/// Chance that an interval holds the median of the golfer's shots, at least.
const COVERAGE: f64 = 0.95;

/// What rotates.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Segment {
    /// Pelvis.
    Pelvis,
    /// Thorax.
    Thorax,
    /// The line between the shoulders (biased against the thorax: Wheat 2007).
    Shoulders,
}

impl Segment {
    /// From below upward.
    pub const ALL: [Self; 3] = [Self::Pelvis, Self::Thorax, Self::Shoulders];

    const fn families(self) -> [&'static Family; 4] {
        match self {
            Self::Pelvis => [
                &PELVIS_ROTATION,
                &ROTATION_RANGE_DOWN_PELVIS,
                &ROTATION_RATE_DOWN_PELVIS,
                &ROTATION_EXCESS_PELVIS,
            ],
            Self::Thorax => [
                &THORAX_ROTATION,
                &ROTATION_RANGE_DOWN_THORAX,
                &ROTATION_RATE_DOWN_THORAX,
                &ROTATION_EXCESS_THORAX,
            ],
            Self::Shoulders => [
                &SHOULDER_LINE_ROTATION,
                &ROTATION_RANGE_DOWN_SHOULDERS,
                &ROTATION_RATE_DOWN_SHOULDERS,
                &ROTATION_EXCESS_SHOULDERS,
            ],
        }
    }
}

/// A median over shots with the interval that order statistics give.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Middle {
    /// Median; SI, radians.
    pub value: f64,
    /// Interval of at least 95 %; `None` below six shots, where no two of them hold the median so surely.
    pub interval: Option<Interval>,
    /// Number of shots.
    pub shots: usize,
}

impl Middle {
    /// Of values; `None` of none. The interval runs from the k-th smallest to the k-th largest, with the
    /// largest k whose chance 1 − 2·P(Bin(n, ½) < k) is 95 % or more (distribution-free, for shots that do
    /// not depend on each other).
    #[must_use]
    pub fn of(mut values: Vec<f64>) -> Option<Self> {
        let value = median(&values)?;
        values.sort_by(f64::total_cmp);
        let n = values.len();
        let interval = rank(n).map(|k| Interval {
            low: values[k - 1],
            high: values[n - k],
        });
        Some(Self {
            value,
            interval,
            shots: n,
        })
    }

    fn scaled(self, by: f64) -> Self {
        Self {
            value: by * self.value,
            interval: self.interval.map(|i| Interval {
                low: by * i.low,
                high: by * i.high,
            }),
            shots: self.shots,
        }
    }
}

/// The largest rank k, from 1, whose interval is sure enough.
fn rank(n: usize) -> Option<usize> {
    // P(Bin(n, ½) = 0), then upward.
    let mut chance = 0.5_f64.powi(i32::try_from(n).ok()?);
    let mut below = chance;
    let mut found = None;
    for k in 1..=n / 2 {
        if 1.0 - 2.0 * below < COVERAGE {
            break;
        }
        found = Some(k);
        chance *= (n - k + 1) as f64 / k as f64;
        below += chance;
    }
    found
}

/// The budget of one segment; rad, rad/s.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Budget {
    /// Which.
    pub segment: Segment,
    /// Rotation from the top to impact.
    pub range: Middle,
    /// The same per second of the downswing.
    pub rate: Option<Middle>,
    /// Spent closed, at the top.
    pub closed: Middle,
    /// Spent open, at impact.
    pub open: Middle,
    /// The largest rotation at the top that could be balanced: half of the range (`budget_top`).
    pub top: Middle,
    /// Closed at the top less open at impact: above 0, more was wound up than brought through.
    pub excess: Middle,
}

/// The budget of a segment over a block; `None` where no shot gives it.
#[must_use]
pub fn of(shots: &[&Shot], segment: Segment) -> Option<Budget> {
    let [rotation, range, rate, excess] = segment.families();
    let middle = |metric: Metric| Middle::of(values(shots, metric));
    let range = middle(Metric::of(range))?;
    let at = |event| middle(Metric::at(rotation, event)?);
    let closed = at(Event::Top)?;
    Some(Budget {
        segment,
        range,
        rate: middle(Metric::of(rate)),
        closed: Middle {
            interval: closed.interval.map(|i| Interval {
                low: -i.high,
                high: -i.low,
            }),
            value: -closed.value,
            ..closed
        },
        open: at(Event::Impact)?,
        top: range.scaled(0.5),
        excess: middle(Metric::of(excess))?,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::coaching::shot::Reading;

    /// Ranks and chances of the distribution-free interval of a median: sums of binomial coefficients over
    /// 2^n by hand (n = 6: 1 − 2/64; n = 10, k = 2: 1 − 22/1024; n = 20, k = 6: 1 − 2·21700/1048576).
    #[test]
    fn ranks_are_those_of_the_binomial_distribution() {
        for (n, k) in [
            (5, None),
            (6, Some(1)),
            (8, Some(1)),
            (9, Some(2)),
            (10, Some(2)),
            (20, Some(6)),
        ] {
            assert_eq!(rank(n), k, "{n}");
        }
    }

    fn shot(values: [(&str, f64); 5]) -> Shot {
        let mut shot = Shot::default();
        for (id, degrees) in values {
            let metric = Metric::by_id(id).unwrap();
            if shot.readings.len() <= metric.index() {
                shot.readings.resize(metric.index() + 1, None);
            }
            shot.readings[metric.index()] = Some(Reading {
                value: f64::to_radians(degrees),
                uncertainty: None,
                limited: false,
            });
        }
        shot
    }

    /// A golfer 60 degrees closed who opens 30: of 90 degrees of range half could be balanced, 30 are too
    /// many (METRICS, rotation budget; the trade's example: 45 closed needs a range of 90).
    #[test]
    fn the_budget_is_half_the_range() {
        let shots: Vec<Shot> = (0..7)
            .map(|i| {
                let off = f64::from(i) - 3.0;
                shot([
                    ("pelvis_rotation@top", -60.0 + off),
                    ("pelvis_rotation@impact", 30.0),
                    ("rotation_range_down.pelvis", 90.0 - off),
                    ("rotation_rate_down.pelvis", 360.0),
                    ("rotation_excess.pelvis", 30.0 - off),
                ])
            })
            .collect();
        let shots: Vec<&Shot> = shots.iter().collect();
        let budget = of(&shots, Segment::Pelvis).unwrap();
        let deg = |m: Middle| m.value.to_degrees().round() as i32;
        assert_eq!(
            [
                budget.closed,
                budget.open,
                budget.range,
                budget.top,
                budget.excess
            ]
            .map(deg),
            [60, 30, 90, 45, 30]
        );
        let ends = |m: Middle| {
            let i = m.interval.unwrap();
            [i.low, i.high].map(|end| end.to_degrees().round() as i32)
        };
        // Of seven shots the interval is all of them.
        assert_eq!(
            (ends(budget.closed), ends(budget.excess)),
            ([57, 63], [27, 33])
        );
        let top = budget.top.interval.unwrap();
        assert!((top.low.to_degrees() - 43.5).abs() < 1e-9);
        assert!((top.high.to_degrees() - 46.5).abs() < 1e-9);
        assert_eq!(of(&shots, Segment::Thorax), None);
    }
}
