//! What a student takes home: what changed and whether it is real, two things to keep, cautions, the next
//! date. Data only; words of a verdict come from whoever judged the change, the page from whoever draws it.

use super::band::{Band, Verdict};
use super::limits::Limits;
use super::order::Interval;
use super::shot::{Metric, Shot};
use super::suggestion::CAUTIONS;

/// At most so many things to keep.
pub const KEEP: usize = 2;
/// Share of the judged shots that must lie in their band for a thing to be worth keeping (own choice), and
/// the fewest judged shots.
const KEEP_SHARE: f64 = 0.8;
const KEEP_SHOTS: usize = 5;

/// What a change is told by.
#[derive(Debug, Clone, PartialEq)]
pub struct Change {
    /// Which metric.
    pub metric: Metric,
    /// Shift between the blocks; SI, radians.
    pub shift: f64,
    /// Its interval, where there is one.
    pub interval: Option<Interval>,
    /// The verdict: `real gain`, `real loss`, `not shown yet (6 more shots needed)`.
    pub verdict: String,
}

/// A thing to keep.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Keep {
    /// Which metric.
    pub metric: Metric,
    /// Shots in the band beyond doubt.
    pub inside: usize,
    /// Shots that could be judged.
    pub judged: usize,
}

/// The page's data.
#[derive(Debug, Clone, PartialEq)]
pub struct Summary {
    /// What changed, in the order given.
    pub changes: Vec<Change>,
    /// Up to two things to keep.
    pub keep: Vec<Keep>,
    /// Stand on every page.
    pub cautions: &'static [&'static str],
    /// Notes of the student's limits.
    pub limits: Vec<String>,
    /// Next date as an ISO 8601 day, where one was made.
    pub next: Option<String>,
}

/// Sums up a lesson. Things to keep come from the last block: bands in which most of its shots lie; those
/// nearest to all of them first, then in the order of the bands. What a limit names is not among them.
#[must_use]
pub fn summary(
    changes: Vec<Change>,
    (last_block, bands): (&[&Shot], &[Band]),
    limits: &Limits,
    next: Option<String>,
) -> Summary {
    let free = bands
        .iter()
        .filter(|b| limits.on_metric(b.metric()).is_none());
    let mut keep: Vec<Keep> = free.filter_map(|band| kept(last_block, band)).collect();
    keep.sort_by_key(|k| std::cmp::Reverse(1000 * k.inside / k.judged));
    keep.truncate(KEEP);
    let notes = limits.each.iter().map(|l| l.note.clone());
    Summary {
        changes,
        keep,
        cautions: &CAUTIONS,
        limits: notes.filter(|n| !n.is_empty()).collect(),
        next,
    }
}

fn kept(shots: &[&Shot], band: &Band) -> Option<Keep> {
    let verdicts = shots.iter().map(|s| band.judge(s, None).verdict);
    let (mut inside, mut judged) = (0, 0);
    for verdict in verdicts {
        inside += usize::from(verdict == Verdict::In);
        judged += usize::from(!matches!(verdict, Verdict::NotJudged(_)));
    }
    (judged >= KEEP_SHOTS && inside as f64 >= KEEP_SHARE * judged as f64).then_some(Keep {
        metric: band.metric(),
        inside,
        judged,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::coaching::band;
    use crate::coaching::limits::{Area, Limit};
    use crate::coaching::shot::Reading;

    fn shots(value_of: impl Fn(usize, &Band) -> f64) -> Vec<Shot> {
        (0..10)
            .map(|n| {
                let mut shot = Shot::default();
                shot.readings.resize(300, None);
                for band in band::defaults() {
                    shot.readings[band.metric().index()] = Some(Reading {
                        value: value_of(n, &band),
                        uncertainty: Some(0.0),
                        limited: false,
                    });
                }
                shot
            })
            .collect()
    }

    /// Inside every band in so many shots of ten: fewer for later bands.
    fn inside(n: usize, band: &Band) -> f64 {
        let place = band::defaults().iter().position(|b| b == band).unwrap();
        let edges = [band.low(), band.high()];
        let within = match edges {
            [Some(low), Some(high)] => 0.5 * (low + high),
            [Some(low), None] => low + 1.0,
            [None, high] => high.unwrap() - 0.1,
        };
        if n < 10 - place {
            within
        } else {
            within + 50.0
        }
    }

    #[test]
    fn two_things_to_keep_at_most_and_cautions_always() {
        let shots = shots(inside);
        let shots: Vec<&Shot> = shots.iter().collect();
        let bands = band::defaults();
        let free = summary(Vec::new(), (&shots, &bands), &Limits::default(), None);
        let kept: Vec<usize> = free.keep.iter().map(|k| k.inside).collect();
        // The ratio has only a low edge: all ten are inside.
        assert_eq!(kept, [10, 10]);
        assert_eq!(free.cautions, CAUTIONS);
        let limits = Limits {
            each: vec![Limit {
                areas: vec![Area::Hips],
                note: "mind the hip".into(),
            }],
            ..Limits::default()
        };
        let limited = summary(
            Vec::new(),
            (&shots, &bands),
            &limits,
            Some("2026-12-01".into()),
        );
        let ids: Vec<String> = limited.keep.iter().map(|k| k.metric.id()).collect();
        assert_eq!(ids, ["knee_ratio.lead@top", "knee_change.trail@top"]);
        assert_eq!(limited.limits, ["mind the hip"]);
        let nothing = summary(Vec::new(), (&shots[..4], &bands), &Limits::default(), None);
        assert_eq!(nothing.keep, [], "four shots are too few");
    }
}
