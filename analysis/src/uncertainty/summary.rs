//! From draws to what is said of a value: standard uncertainty and interval.
//!
//! A draw's deviation is what the whole way from markers to value does to a motion that is known:
//! scatter by noise, and what the filters take away. Turned around, it is the error of the value that
//! was measured. The bias widens the interval and is not taken off the value: the noise left in the
//! base is in it too, and taking it off would add that noise a second time.

use super::Draw;
use crate::metrics::catalogue::{
    CATALOGUE, CLOCK_UNCERTAINTY, CLUSTER_RESIDUAL_CLUB, CLUSTER_RESIDUAL_HEAD,
    CLUSTER_RESIDUAL_PELVIS, CLUSTER_RESIDUAL_THORAX, FORCE_MARKER_LAG, FORCE_RESIDUAL,
    FRAME_LOSS_RATE, FRONTAL_MOMENT_ARM_PEAK, Family, GAP_LONGEST, KINETIC_ENERGY_PEAK_ARMS,
    KINETIC_ENERGY_PEAK_LEGS, KINETIC_ENERGY_PEAK_TRUNK, MARKER_VISIBILITY, MASS_CENTRE_DROP,
    MASS_CENTRE_RISE, MASS_CENTRE_SHIFT, Unit, len,
};
use crate::metrics::values::Values;
use crate::swing::event::Event;

/// Least share of the draws that must measure a value for its interval to mean something.
const MEASURED_MIN: f64 = 0.8;
/// Ends of the interval: 95 %.
const TAIL: f64 = 0.025;

/// What is about the capture itself and is not measured again; and what rests on a table of segments: how
/// people differ from it is in no draw.
const NOT_DRAWN: &[&Family] = &[
    &MARKER_VISIBILITY,
    &GAP_LONGEST,
    &CLUSTER_RESIDUAL_PELVIS,
    &CLUSTER_RESIDUAL_THORAX,
    &CLUSTER_RESIDUAL_HEAD,
    &CLUSTER_RESIDUAL_CLUB,
    &FRAME_LOSS_RATE,
    &FORCE_RESIDUAL,
    &MASS_CENTRE_SHIFT,
    &MASS_CENTRE_RISE,
    &MASS_CENTRE_DROP,
    &FRONTAL_MOMENT_ARM_PEAK,
    &KINETIC_ENERGY_PEAK_LEGS,
    &KINETIC_ENERGY_PEAK_TRUNK,
    &KINETIC_ENERGY_PEAK_ARMS,
    &FORCE_MARKER_LAG,
    &CLOCK_UNCERTAINTY,
];

/// How surely a number is known, in its own unit (SI, rad).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Spread {
    /// Standard uncertainty: scatter and bias together.
    pub standard: f64,
    /// Lower end of the 95 % interval.
    pub low: f64,
    /// Upper end.
    pub high: f64,
}

/// What the draws say of one value.
#[derive(Debug, Clone, PartialEq)]
pub enum Outcome {
    /// A number's spread.
    Spread(Spread),
    /// Share of the draws that give the same code.
    Agreement(f64),
    /// No interval, and why.
    Unsure(String),
}

/// What the draws say of one swing.
#[derive(Debug, Clone, PartialEq)]
pub struct Summary {
    /// By index of the catalogue; `None` where not measured or not drawn (quality).
    pub values: Vec<Option<Outcome>>,
    /// Standard uncertainty of each event's time in the order of [`Event::ALL`], seconds.
    pub events: Vec<Option<f64>>,
}

/// Sums up draws in the order of their numbers. `events` are the measured times in the order of
/// [`Event::ALL`], seconds.
#[must_use]
pub fn summarize(
    (values, events): (&Values, &[Option<f64>]),
    truth: Option<&Draw>,
    draws: &[Option<Draw>],
) -> Summary {
    let mut all: Vec<Option<Outcome>> = Vec::with_capacity(len());
    for family in CATALOGUE {
        all.extend((0..family.len()).map(|n| {
            let i = family.first + n;
            let value = values.number(i)?;
            let drawn = draws.iter().flatten().filter_map(|d| d.values[i]);
            let truth = truth.and_then(|t| t.values[i]).unwrap_or(value);
            of_value(family, (value, truth), drawn.collect(), draws.len())
        }));
    }
    let event = |i: usize| {
        // The finish lies behind what a draw looks at.
        let time = (*events.get(i)?).filter(|_| Event::ALL[i] != Event::Finish)?;
        let drawn = draws.iter().flatten().filter_map(|d| d.events[i]);
        match spread(
            (time, truth.and_then(|t| t.events[i]).unwrap_or(time)),
            drawn.collect(),
            draws.len(),
        ) {
            Outcome::Spread(s) => Some(s.standard),
            _ => None,
        }
    };
    Summary {
        values: all,
        events: (0..Event::ALL.len()).map(event).collect(),
    }
}

fn of_value(
    family: &Family,
    (value, truth): (f64, f64),
    drawn: Vec<f64>,
    draws: usize,
) -> Option<Outcome> {
    if NOT_DRAWN.iter().any(|f| f.first == family.first) {
        return None;
    }
    if family.unit == Unit::Code {
        let same = drawn.iter().filter(|d| (**d - value).abs() < 0.5).count();
        return Some(Outcome::Agreement(same as f64 / draws.max(1) as f64));
    }
    Some(spread((value, truth), drawn, draws))
}

/// Spread of a value from what the draws gave about their own truth.
fn spread((value, truth): (f64, f64), mut drawn: Vec<f64>, draws: usize) -> Outcome {
    let n = drawn.len() as f64;
    if drawn.len() < 2 || n < MEASURED_MIN * draws as f64 {
        let percent = 100 * drawn.len() / draws.max(1);
        return Outcome::Unsure(format!(
            "only {percent} % of the draws with fresh noise could measure it"
        ));
    }
    let bias = drawn.iter().sum::<f64>() / n - truth;
    let variance = drawn
        .iter()
        .map(|d| (d - truth - bias).powi(2))
        .sum::<f64>()
        / (n - 1.0);
    drawn.sort_unstable_by(f64::total_cmp);
    let standard = (variance + bias * bias).sqrt();
    let wider = if variance > 0.0 {
        standard / variance.sqrt()
    } else {
        1.0
    };
    let off = |tail: f64| (quantile(&drawn, tail) - truth - bias) * wider;
    Outcome::Spread(Spread {
        standard,
        low: value - off(1.0 - TAIL),
        high: value - off(TAIL),
    })
}

/// Quantile of sorted numbers, plotting position (k − 1/3) / (n + 1/3) (Hyndman & Fan 1996, type 8).
fn quantile(sorted: &[f64], p: f64) -> f64 {
    let n = sorted.len() as f64;
    let place = (n + 1.0 / 3.0) * p + 1.0 / 3.0 - 1.0;
    let below = place.clamp(0.0, n - 1.0).floor() as usize;
    let above = (below + 1).min(sorted.len() - 1);
    let part = (place - below as f64).clamp(0.0, 1.0);
    sorted[below] + (sorted[above] - sorted[below]) * part
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::metrics::catalogue::{ARRIVAL_ORDER, BACKSWING_TIME, TEMPO_RATIO};

    fn draws(of: impl Fn(u32) -> Vec<(usize, f64)>) -> Vec<Option<Draw>> {
        let draw = |i| {
            let mut values = vec![None; len()];
            of(i).into_iter().for_each(|(k, v)| values[k] = Some(v));
            Some(Draw {
                values,
                events: vec![None; Event::ALL.len()],
            })
        };
        (0..200).map(draw).collect()
    }

    /// A normal number's 95 % interval and standard deviation (tables of the normal distribution:
    /// 1.960), with a bias of one standard deviation: the interval is √2 as wide.
    #[test]
    fn a_known_gaussian_gives_its_interval() {
        // 200 evenly spread quantiles by the deviates' own generator would scatter: sorted sample of
        // many, thinned.
        let mut d = super::super::deviates::Deviates::new(1, 1);
        let mut x: Vec<f64> = (0..20_000).map(|_| d.exact()).collect();
        x.sort_by(f64::total_cmp);
        for bias in [0.0, 1.0] {
            let mut values = Values::new();
            values.set(&BACKSWING_TIME, crate::metrics::values::Value::plain(5.0));
            let all = draws(|i| vec![(0, 5.0 + bias + x[i as usize * 100 + 50])]);
            let found = summarize((&values, &[]), None, &all).values.swap_remove(0);
            let Some(Outcome::Spread(s)) = found else {
                panic!("{found:?}")
            };
            let wide = f64::hypot(1.0, bias);
            assert!((s.standard - wide).abs() < 0.03 * wide, "{s:?}");
            assert!((s.high - 5.0 - 1.96 * wide).abs() < 0.1 * wide, "{s:?}");
            assert!((5.0 - s.low - 1.96 * wide).abs() < 0.1 * wide, "{s:?}");
        }
    }

    #[test]
    fn what_is_often_lost_has_no_interval_and_a_code_has_agreement() {
        let mut values = Values::new();
        values.set(&TEMPO_RATIO, crate::metrics::values::Value::plain(3.0));
        values.set(&ARRIVAL_ORDER, crate::metrics::values::Value::plain(1234.0));
        let all = draws(|i| {
            let tempo = (i % 2 == 0).then_some((TEMPO_RATIO.first, 3.0));
            let order = if i < 150 { 1234.0 } else { 1324.0 };
            tempo
                .into_iter()
                .chain([(ARRIVAL_ORDER.first, order)])
                .collect()
        });
        let found = summarize((&values, &[]), None, &all).values;
        assert!(
            matches!(&found[TEMPO_RATIO.first], Some(Outcome::Unsure(why)) if why.contains("50 %"))
        );
        assert_eq!(found[ARRIVAL_ORDER.first], Some(Outcome::Agreement(0.75)));
        assert_eq!(found[BACKSWING_TIME.first], None, "not measured");
    }
}
