//! Values in catalogue order, and the few ways to read them off a series.

use super::catalogue::{Family, len};
use crate::body::segments::{Maybe, Path, Series};
use crate::places;
use crate::swing::event::{Event, Slots};

/// One metric's outcome.
#[derive(Debug, Clone, PartialEq)]
pub enum Value {
    /// Measured.
    Measured {
        /// SI, radians.
        value: f64,
        /// Change since address, where the family is read at events and not relative already.
        change: Option<f64>,
        /// What limits it, in words.
        limited: Option<String>,
    },
    /// Not measured, and why.
    Missing(String),
}

impl Value {
    /// A plain value.
    #[must_use]
    pub fn plain(value: f64) -> Self {
        Self::Measured {
            value,
            change: None,
            limited: None,
        }
    }

    /// A value with what limits it, or the reason why there is none.
    #[must_use]
    pub fn limited(value: Maybe<f64>, limited: Option<String>) -> Self {
        match value {
            Ok(value) => Self::Measured {
                value,
                change: None,
                limited,
            },
            Err(reason) => Self::Missing(reason),
        }
    }

    /// The same without its change since address.
    #[must_use]
    pub fn without_change(self) -> Self {
        match self {
            Self::Measured { value, limited, .. } => Self::limited(Ok(value), limited),
            missing => missing,
        }
    }

    /// The number, if measured.
    #[must_use]
    pub fn number(&self) -> Option<f64> {
        match self {
            Self::Measured { value, .. } => Some(*value),
            Self::Missing(_) => None,
        }
    }
}

impl From<Maybe<f64>> for Value {
    fn from(maybe: Maybe<f64>) -> Self {
        maybe.map_or_else(Self::Missing, Self::plain)
    }
}

/// A value with what limits it, or the reason why there is none.
#[must_use]
pub fn measured(value: Maybe<f64>, limited: Option<String>) -> Value {
    value.map_or_else(Value::Missing, |value| Value::Measured {
        value,
        change: None,
        limited,
    })
}

/// Several limits as one sentence part, each once.
#[must_use]
pub fn limits(of: &[&Option<String>]) -> Option<String> {
    let mut words: Vec<&str> = Vec::new();
    for limit in of.iter().filter_map(|l| l.as_deref()) {
        if !words.contains(&limit) {
            words.push(limit);
        }
    }
    (!words.is_empty()).then(|| words.join("; "))
}

/// Values in catalogue order; `None` where no producer has written yet.
#[derive(Debug, Clone, PartialEq)]
pub struct Values(Vec<Option<Value>>);

impl Values {
    /// Nothing written.
    #[must_use]
    pub fn new() -> Self {
        Self(vec![None; len()])
    }

    /// Writes the only value of a family.
    pub fn set(&mut self, family: &Family, value: impl Into<Value>) {
        self.write(family.first, value.into());
    }

    /// Writes a family's value at each of its events.
    pub fn set_each(&mut self, family: &Family, mut read: impl FnMut(Event) -> Value) {
        for (n, &event) in family.events.iter().enumerate() {
            self.write(family.first + n, read(event));
        }
    }

    /// Writes one value for the whole of a family.
    pub fn set_all(&mut self, family: &Family, value: &Value) {
        for n in 0..family.len() {
            self.write(family.first + n, value.clone());
        }
    }

    /// The value at an index of the catalogue. What nobody wrote says so (a defect that a test
    /// finds: each identifier has exactly one producer).
    #[must_use]
    pub fn get(&self, index: usize) -> Value {
        self.0
            .get(index)
            .cloned()
            .flatten()
            .unwrap_or_else(|| Value::Missing("not computed by this version".into()))
    }

    /// The number at an index of the catalogue, if measured.
    #[must_use]
    pub fn number(&self, index: usize) -> Option<f64> {
        self.0.get(index)?.as_ref()?.number()
    }

    fn write(&mut self, index: usize, value: Value) {
        debug_assert!(
            self.0[index].is_none(),
            "catalogue index {index} has two producers"
        );
        self.0[index] = Some(match value {
            Value::Measured { value, .. } if !value.is_finite() => {
                Value::Missing("the markers do not support a number here".into())
            }
            Value::Missing(reason) => Value::Missing(places::in_words(&reason)),
            sound => sound,
        });
    }

    /// Indices that no producer wrote.
    #[must_use]
    pub fn unwritten(&self) -> Vec<usize> {
        (0..self.0.len()).filter(|&i| self.0[i].is_none()).collect()
    }
}

impl Default for Values {
    fn default() -> Self {
        Self::new()
    }
}

/// Why nothing is told of address.
pub(super) const NO_ADDRESS: &str =
    "the golfer was not seen standing still before this swing: pause at address";

/// Reads series at the events of one swing.
#[derive(Debug, Clone, Copy)]
pub struct Reader<'a> {
    /// Events.
    pub slots: &'a Slots,
    /// Slots of the quiet stretch at address.
    pub quiet: &'a std::ops::Range<usize>,
}

impl Reader<'_> {
    /// Slot of an event, or the words that it was not found.
    ///
    /// # Errors
    /// Says that the event was not found.
    pub fn slot(&self, event: Event) -> Maybe<f64> {
        self.slots
            .get(event)
            .ok_or_else(|| format!("{} was not found in this swing", event.words()))
    }

    /// A series at an event: the mean of the quiet stretch at address, interpolated elsewhere.
    ///
    /// # Errors
    /// Says that a marker was hidden there, or the event not found.
    pub fn at(&self, series: &Series, event: Event) -> Maybe<f64> {
        let hidden = || format!("a marker it needs was hidden at {}", event.words());
        if event == Event::Address && self.quiet.is_empty() {
            return Err(NO_ADDRESS.to_owned());
        }
        if event == Event::Address {
            return self.reference(series).ok_or_else(hidden);
        }
        let slot = self.slot(event)?;
        series.at(slot).ok_or_else(hidden)
    }

    /// A series as an absolute value with its change since address.
    #[must_use]
    pub fn absolute(&self, series: &Maybe<Series>, event: Event) -> Value {
        let series = match series {
            Ok(series) => series,
            Err(reason) => return Value::Missing(reason.clone()),
        };
        match self.at(series, event) {
            Ok(value) => {
                let change = (event != Event::Address)
                    .then(|| self.reference(series).map(|r| value - r))
                    .flatten();
                Value::Measured {
                    value,
                    change,
                    limited: series.limited.clone(),
                }
            }
            Err(reason) => Value::Missing(reason),
        }
    }

    /// A series' change since address.
    #[must_use]
    pub fn change(&self, series: &Maybe<Series>, event: Event) -> Value {
        let change = series.as_ref().map_err(Clone::clone).and_then(|s| {
            let then = self.at(s, event)?;
            Ok(then - self.at(s, Event::Address)?)
        });
        let limited = series.as_ref().ok().and_then(|s| s.limited.clone());
        Value::limited(change, limited)
    }

    /// One axis of a path relative to address.
    #[must_use]
    pub fn relative(&self, along: &Maybe<Series>, event: Event) -> Value {
        let series = match along {
            Ok(series) => series,
            Err(reason) => return Value::Missing(reason.clone()),
        };
        let Some(reference) = self.reference(series) else {
            let hidden = "a marker it needs was hidden at address";
            return Value::Missing(
                if self.quiet.is_empty() {
                    NO_ADDRESS
                } else {
                    hidden
                }
                .into(),
            );
        };
        match self.at(series, event) {
            Ok(value) => Value::Measured {
                value: value - reference,
                change: None,
                limited: series.limited.clone(),
            },
            Err(reason) => Value::Missing(reason),
        }
    }

    fn reference(&self, series: &Series) -> Option<f64> {
        let places = series.grid.within(self.quiet);
        let known = places.filter(|&i| series.known.get(i).copied().unwrap_or(false));
        let (sum, n) = known.fold((0.0, 0.0), |(s, n), i| (s + series.values[i], n + 1.0));
        (n > 0.0).then(|| sum / n)
    }
}

/// One axis of a path as a series, metres.
#[must_use]
pub fn component(path: &Path, axis: usize) -> Series {
    Series {
        values: path.points.iter().map(|p| p[axis]).collect(),
        grid: path.grid,
        known: path.known.clone(),
        limited: path.limited.clone(),
    }
}
