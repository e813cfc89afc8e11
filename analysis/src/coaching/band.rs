//! Bands: the target range of one metric for one student and club, where it comes from, and what it says
//! of one shot. Who set it when, and its history, belong to whoever stores it.

use std::borrow::Cow;

use super::shot::{Metric, Reading, Shot};
use crate::metrics::catalogue::{
    KNEE_CHANGE_TRAIL, KNEE_FLEXION_LEAD, KNEE_ONSET_LEAD, KNEE_ONSET_TRAIL, KNEE_RATIO_LEAD,
    PELVIS_SHIFT, ROTATION_EXCESS_PELVIS, ROTATION_RANGE_DOWN_PELVIS, Unit,
};
use crate::swing::event::Event;

/// Standard uncertainties on each side of a value that hold 95 % of a normal distribution.
pub const COVER: f64 = 1.96;

/// Below this flexion at address the lead knee's ratio explodes and its degrees are read instead, rad
/// (REFERENCES H: 10 degrees).
const RATIO_SOUND: f64 = 10.0 * std::f64::consts::PI / 180.0;

/// Where a number that judges a student comes from. There is no such number without one.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Source {
    /// A published work.
    Published(Cow<'static, str>),
    /// A rule of thumb of the teaching trade.
    CommonPractice,
    /// Golfers of the archive, in words (how many, which filter).
    Cohort(String),
    /// The coach's own, with a pseudonymous id of who set it.
    Coach(String),
}

impl Source {
    /// As the screen says it.
    #[must_use]
    pub fn words(&self) -> String {
        match self {
            Self::Published(reference) => reference.to_string(),
            Self::CommonPractice => "common practice, no source".to_owned(),
            Self::Cohort(words) => format!("cohort: {words}"),
            Self::Coach(who) => format!("coach: {who}"),
        }
    }
}

/// Why numbers make no band.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Unsound {
    /// Neither a low nor a high edge.
    NoEdge,
    /// Not a finite number.
    NotANumber,
    /// Low, aim and high do not rise in this order.
    Order,
    /// The metric is a code: its digits mean something, and no range of it does.
    Code,
}

impl Unsound {
    /// As a sentence says it.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::NoEdge => "a band needs a low or a high edge",
            Self::NotANumber => "an edge is not a number",
            Self::Order => "low must be below aim and aim below high",
            Self::Code => "this value is a code and has no range",
        }
    }
}

/// Low, aim and high of one metric; one side may be open.
#[derive(Debug, Clone, PartialEq)]
pub struct Band {
    metric: Metric,
    low: Option<f64>,
    aim: Option<f64>,
    high: Option<f64>,
    source: Source,
}

impl Band {
    /// A band from low, aim and high, SI and radians.
    ///
    /// # Errors
    /// Says which rule the numbers break.
    pub fn new(
        metric: Metric,
        [low, aim, high]: [Option<f64>; 3],
        source: Source,
    ) -> Result<Self, Unsound> {
        if metric.unit() == Unit::Code {
            return Err(Unsound::Code);
        }
        if low.is_none() && high.is_none() {
            return Err(Unsound::NoEdge);
        }
        let told: Vec<f64> = [low, aim, high].into_iter().flatten().collect();
        if told.iter().any(|v| !v.is_finite()) {
            return Err(Unsound::NotANumber);
        }
        if told.windows(2).any(|pair| pair[0] >= pair[1]) {
            return Err(Unsound::Order);
        }
        Ok(Self {
            metric,
            low,
            aim,
            high,
            source,
        })
    }

    /// The same from numbers in the unit in which the metric is shown (millimetres, degrees, percent).
    ///
    /// # Errors
    /// Says which rule the numbers break.
    pub fn from_shown(
        metric: Metric,
        shown: [Option<f64>; 3],
        source: Source,
    ) -> Result<Self, Unsound> {
        // Units are proportional: none has an offset.
        let one = metric.unit().shown(1.0);
        Self::new(metric, shown.map(|v| v.map(|v| v / one)), source)
    }

    /// Which metric.
    #[must_use]
    pub const fn metric(&self) -> Metric {
        self.metric
    }

    /// Lower edge, where there is one; SI, radians.
    #[must_use]
    pub const fn low(&self) -> Option<f64> {
        self.low
    }

    /// Where in the band to aim, where told.
    #[must_use]
    pub const fn aim(&self) -> Option<f64> {
        self.aim
    }

    /// Upper edge, where there is one.
    #[must_use]
    pub const fn high(&self) -> Option<f64> {
        self.high
    }

    /// Where it comes from.
    #[must_use]
    pub const fn source(&self) -> &Source {
        &self.source
    }

    /// What it says of a shot; `missing` is the report's reason where the metric was not measured.
    #[must_use]
    pub fn judge(&self, shot: &Shot, missing: Option<&str>) -> Judgment {
        let Some(reading) = shot.reading(self.metric) else {
            let why = missing.unwrap_or("not measured in this shot");
            return Judgment::none(Reason::NotMeasured(why.to_owned()));
        };
        let straight = || {
            let at_address = Metric::at(&KNEE_FLEXION_LEAD, Event::Address);
            let flexion = at_address.and_then(|m| shot.value(m));
            flexion.is_some_and(|f| f < RATIO_SOUND)
        };
        if self.metric == Metric::of(&KNEE_RATIO_LEAD) && straight() {
            return Judgment::none(Reason::KneeStraight);
        }
        self.judge_reading(reading)
    }

    fn judge_reading(&self, reading: Reading) -> Judgment {
        let known = reading.uncertainty.is_some();
        let wide = COVER * reading.uncertainty.unwrap_or(0.0);
        let value = reading.value;
        let verdict = match (self.low, self.high) {
            (Some(low), _) if value + wide < low => Verdict::Low,
            (_, Some(high)) if value - wide > high => Verdict::High,
            (Some(low), _) if value - wide < low => Verdict::NotJudged(Reason::Straddles),
            (_, Some(high)) if value + wide > high => Verdict::NotJudged(Reason::Straddles),
            _ => Verdict::In,
        };
        Judgment { verdict, known }
    }

    /// What is short of the width that single shots can be judged by, where the band has two edges and is
    /// narrower than ± half of the detectable change (`detectable`: MDC95 of single shots, the metric's
    /// unit; REFERENCES C).
    #[must_use]
    pub fn too_narrow(&self, detectable: f64) -> Option<Narrow> {
        let width = self.high? - self.low?;
        (width < detectable).then_some(Narrow {
            width,
            judgeable: detectable,
        })
    }
}

/// A band narrower than the measurement can judge; SI, radians.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Narrow {
    /// Its width.
    pub width: f64,
    /// The least width that one shot can be judged by.
    pub judgeable: f64,
}

/// What a band says of one shot.
#[derive(Debug, Clone, PartialEq)]
pub struct Judgment {
    /// In, low, high, or why not.
    pub verdict: Verdict,
    /// Whether the value's uncertainty is known; where it is not, the bare value was judged.
    pub known: bool,
}

impl Judgment {
    const fn none(reason: Reason) -> Self {
        Self {
            verdict: Verdict::NotJudged(reason),
            known: false,
        }
    }

    /// As the screen says it.
    #[must_use]
    pub fn words(&self) -> String {
        let verdict = match &self.verdict {
            Verdict::In => "in",
            Verdict::Low => "low",
            Verdict::High => "high",
            Verdict::NotJudged(reason) => return format!("not judged: {}", reason.words()),
        };
        if self.known {
            verdict.to_owned()
        } else {
            format!("{verdict} (uncertainty not known)")
        }
    }
}

/// Against a band.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Verdict {
    /// Within it beyond doubt.
    In,
    /// Below it beyond doubt.
    Low,
    /// Above it beyond doubt.
    High,
    /// Neither can be said.
    NotJudged(Reason),
}

/// Why a shot is not judged.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Reason {
    /// There is no value, in the report's words.
    NotMeasured(String),
    /// The value ± its uncertainty lies on both sides of an edge.
    Straddles,
    /// The lead knee is nearly straight at address.
    KneeStraight,
}

impl Reason {
    /// As a sentence says it.
    #[must_use]
    pub fn words(&self) -> &str {
        match self {
            Self::NotMeasured(why) => why,
            Self::Straddles => "the value lies closer to the edge than it is surely known",
            Self::KneeStraight => {
                "the lead knee is nearly straight at address: read its change in degrees"
            }
        }
    }
}

/// The default band of a metric, where one exists (REFERENCES H). What has no edges there (rotations at
/// the top of a full, flexible rotation), is a code or only tells something has none.
#[must_use]
pub fn default(metric: Metric) -> Option<Band> {
    defaults().into_iter().find(|b| b.metric == metric)
}

/// Every default band, in the units shown: all are common practice, none has a published source.
#[must_use]
pub fn defaults() -> Vec<Band> {
    let bands = [
        (
            Metric::at(&PELVIS_SHIFT, Event::TakeawayEnd),
            // Metres, as the catalogue shows them.
            [Some(-0.045), Some(-0.030), Some(-0.015)],
        ),
        (
            Some(Metric::of(&KNEE_CHANGE_TRAIL)),
            [Some(-10.0), None, Some(-5.0)],
        ),
        (Some(Metric::of(&KNEE_RATIO_LEAD)), [Some(2.0), None, None]),
        (Some(Metric::of(&KNEE_ONSET_LEAD)), [None, None, Some(0.5)]),
        (Some(Metric::of(&KNEE_ONSET_TRAIL)), [None, None, Some(0.5)]),
        (
            Some(Metric::of(&ROTATION_RANGE_DOWN_PELVIS)),
            [Some(75.0), None, Some(85.0)],
        ),
        (
            Some(Metric::of(&ROTATION_EXCESS_PELVIS)),
            [None, None, Some(0.0)],
        ),
    ];
    let sound = |(metric, edges): (Option<Metric>, _)| {
        Band::from_shown(metric?, edges, Source::CommonPractice).ok()
    };
    bands.into_iter().filter_map(sound).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn shot(metric: Metric, value: f64, uncertainty: Option<f64>) -> Shot {
        let mut shot = Shot::default();
        shot.readings.resize(metric.index() + 1, None);
        shot.readings[metric.index()] = Some(Reading {
            value,
            uncertainty,
            limited: false,
        });
        shot
    }

    fn shift() -> Metric {
        Metric::by_id("pelvis_shift@takeaway_end").unwrap()
    }

    /// The table of REFERENCES H, line by line, in its own units.
    #[test]
    fn defaults_are_those_of_the_table_and_all_say_where_from() {
        let table: [(&str, [Option<f64>; 3]); 7] = [
            (
                "pelvis_shift@takeaway_end",
                [Some(-0.045), Some(-0.03), Some(-0.015)],
            ),
            ("knee_change.trail@top", [Some(-10.0), None, Some(-5.0)]),
            ("knee_ratio.lead@top", [Some(2.0), None, None]),
            ("knee_onset.lead", [None, None, Some(0.5)]),
            ("knee_onset.trail", [None, None, Some(0.5)]),
            ("rotation_range_down.pelvis", [Some(75.0), None, Some(85.0)]),
            ("rotation_excess.pelvis", [None, None, Some(0.0)]),
        ];
        assert_eq!(defaults().len(), table.len());
        for (id, edges) in table {
            let band = default(Metric::by_id(id).unwrap()).unwrap();
            let shown = |v: Option<f64>| v.map(|v| band.metric().unit().shown(v));
            for (got, due) in [band.low(), band.aim(), band.high()].into_iter().zip(edges) {
                match (shown(got), due) {
                    (Some(got), Some(due)) => assert!((got - due).abs() < 1e-9, "{id}"),
                    (got, due) => assert_eq!(got, due, "{id}"),
                }
            }
            assert_eq!(band.source().words(), "common practice, no source");
        }
        assert_eq!(default(Metric::by_id("downswing_time").unwrap()), None);
    }

    #[test]
    fn numbers_that_make_no_band_are_refused() {
        let coach = || Source::Coach("c1".into());
        let new = |edges| Band::new(shift(), edges, coach()).err();
        assert_eq!(new([None, Some(1.0), None]), Some(Unsound::NoEdge));
        assert_eq!(new([Some(2.0), None, Some(1.0)]), Some(Unsound::Order));
        assert_eq!(new([Some(0.0), Some(2.0), Some(1.0)]), Some(Unsound::Order));
        assert_eq!(new([Some(1.0), None, Some(1.0)]), Some(Unsound::Order));
        assert_eq!(new([Some(f64::NAN), None, None]), Some(Unsound::NotANumber));
        assert_eq!(new([None, Some(0.0), Some(1.0)]), None);
        let code = Metric::by_id("arrival_order").unwrap();
        let refused = Band::new(code, [Some(0.0), None, None], coach());
        assert_eq!(refused, Err(Unsound::Code));
    }

    #[test]
    fn a_shot_is_judged_only_beyond_its_uncertainty() {
        let band = default(shift()).unwrap();
        let verdict = |mm: f64, u: Option<f64>| {
            let shot = shot(shift(), mm * 1e-3, u.map(|u| u * 1e-3));
            band.judge(&shot, None)
        };
        // 1.96 standard uncertainties of 5 mm are 9.8 mm: from -15 the doubt reaches to -5.2 and -24.8.
        for (mm, due) in [
            (-30.0, Verdict::In),
            (-24.9, Verdict::In),
            (-24.7, Verdict::NotJudged(Reason::Straddles)),
            (-5.3, Verdict::NotJudged(Reason::Straddles)),
            (-5.1, Verdict::High),
            (-54.7, Verdict::NotJudged(Reason::Straddles)),
            (-54.9, Verdict::Low),
        ] {
            assert_eq!(verdict(mm, Some(5.0)).verdict, due, "{mm}");
        }
        let bare = verdict(-14.0, None);
        assert_eq!((bare.verdict.clone(), bare.known), (Verdict::High, false));
        assert!(bare.words().contains("not known"));
        let missing = band.judge(&Shot::default(), Some("no pelvis markers"));
        assert_eq!(missing.words(), "not judged: no pelvis markers");
    }

    /// An uncertainty wider than the band judges nothing inside it.
    #[test]
    fn a_narrow_band_is_told() {
        let band = default(shift()).unwrap();
        assert_eq!(band.too_narrow(0.029), None);
        let narrow = band.too_narrow(0.031).unwrap();
        assert!((narrow.width - 0.030).abs() < 1e-12);
        let open = default(Metric::by_id("rotation_excess.pelvis").unwrap()).unwrap();
        assert_eq!(open.too_narrow(1.0), None, "one edge has no width");
        let wide = shot(shift(), -0.030, Some(0.020));
        let verdict = band.judge(&wide, None).verdict;
        assert_eq!(verdict, Verdict::NotJudged(Reason::Straddles));
    }

    #[test]
    fn a_straight_knee_has_no_ratio() {
        let ratio = Metric::by_id("knee_ratio.lead@top").unwrap();
        let flexion = Metric::by_id("knee_flexion.lead@address").unwrap();
        let band = default(ratio).unwrap();
        let mut bent = shot(ratio, 3.0, Some(0.1));
        assert_eq!(band.judge(&bent, None).verdict, Verdict::In);
        bent.readings[flexion.index()] = Some(Reading {
            value: 9.0_f64.to_radians(),
            uncertainty: None,
            limited: false,
        });
        let verdict = band.judge(&bent, None).verdict;
        assert_eq!(verdict, Verdict::NotJudged(Reason::KneeStraight));
    }
}
