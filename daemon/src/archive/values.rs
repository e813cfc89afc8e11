//! The metric values of one swing as bytes: what a row of results holds beside the report, so that a
//! question over thousands of swings need not read their reports.
//!
//! # Format 1, little-endian
//!
//! | type | field | |
//! |---|---|---|
//! | u8 | format | 1 |
//! | u16 | count | values, in the order of the catalogue at that time |
//! | f64 × count | value | in the unit of reports; NaN: none |
//! | f64 × count | uncertainty | standard, same unit; of a code the share that agrees; NaN: not known |
//! | u16 × count | reason | which of the texts says why there is no value or what limits it; 0: none |
//! | u8 × count | quality | 0 measured, 1 limited, 2 missing |
//! | u16 | texts | how many follow; the first is number 1 |
//! | u16, bytes | text | length, UTF-8 |
//!
//! The catalogue is append-only: a list that is shorter than today's is of an earlier version and
//! every further value reads [`Packed::NotThen`].

use protocol::report::{Measurement, Uncertainty};

/// Written first.
const FORMAT: u8 = 1;
const MEASURED: u8 = 0;
const LIMITED: u8 = 1;
const MISSING: u8 = 2;

/// A value as it was packed.
#[derive(Debug, Clone, PartialEq)]
pub enum Packed {
    /// There is one.
    Value {
        /// In the unit of reports.
        value: f64,
        /// Standard uncertainty, where known.
        uncertainty: Option<f64>,
        /// What limits it, where something does.
        limited: Option<String>,
    },
    /// There is none, and why.
    Missing(String),
    /// Not computed by that version.
    NotThen,
}

/// Packs the values of a report; `ids` are the catalogue's, in its order.
#[must_use]
pub fn pack(ids: &[String], measurement: &Measurement) -> Vec<u8> {
    let mut texts: Vec<&str> = Vec::new();
    let mut columns = (Vec::new(), Vec::new(), Vec::new(), Vec::new());
    let ids = ids.get(..usize::from(u16::MAX)).unwrap_or(ids);
    for id in ids {
        let metric = measurement.metrics.get(id);
        let value = metric.and_then(|m| m.value);
        let said = metric.and_then(|m| m.reason.as_deref().or(m.limited.as_deref()));
        let standard = match metric.and_then(|m| m.uncertainty.as_ref()) {
            Some(Uncertainty::Interval { standard, .. }) => *standard,
            Some(Uncertainty::Agreement { agreement }) => *agreement,
            Some(Uncertainty::None { .. }) | None => f64::NAN,
        };
        let quality = match (value, said) {
            (None, _) => MISSING,
            (Some(_), Some(_)) => LIMITED,
            (Some(_), None) => MEASURED,
        };
        columns.0.extend(value.unwrap_or(f64::NAN).to_le_bytes());
        columns.1.extend(standard.to_le_bytes());
        let number = said.map_or(0, |said| number(&mut texts, said));
        columns.2.extend(number.to_le_bytes());
        columns.3.push(quality);
    }
    let mut blob = vec![FORMAT];
    blob.extend((ids.len() as u16).to_le_bytes());
    for column in [columns.0, columns.1, columns.2, columns.3] {
        blob.extend(column);
    }
    blob.extend((texts.len() as u16).to_le_bytes());
    for text in texts {
        let bytes = text.as_bytes();
        let length = u16::try_from(bytes.len()).unwrap_or(u16::MAX);
        blob.extend(length.to_le_bytes());
        blob.extend(&bytes[..usize::from(length)]);
    }
    blob
}

/// The number of a text, which is added when it is new.
fn number<'a>(texts: &mut Vec<&'a str>, said: &'a str) -> u16 {
    let at = texts.iter().position(|t| *t == said).unwrap_or_else(|| {
        texts.push(said);
        texts.len() - 1
    });
    u16::try_from(at + 1).unwrap_or(0)
}

/// Unpacks values for today's catalogue of `count`. `None` when the bytes are no values.
#[must_use]
pub fn unpack(blob: &[u8], count: usize) -> Option<Vec<Packed>> {
    let columns = Columns::of(blob)?;
    let texts = texts(columns.texts)?;
    let one = |n: usize| -> Option<Packed> {
        let Some((quality, value)) = columns.value(n)? else {
            return Some(Packed::NotThen);
        };
        let reason = u16::from_le_bytes(*columns.reasons.get(2 * n..)?.first_chunk()?);
        let said = match usize::from(reason).checked_sub(1) {
            Some(at) => Some(String::from_utf8_lossy(texts.get(at)?).into_owned()),
            None => None,
        };
        Some(match quality {
            MEASURED | LIMITED => Packed::Value {
                value,
                uncertainty: Some(float(columns.standards, n)?).filter(|v| !v.is_nan()),
                limited: said,
            },
            MISSING => Packed::Missing(said.unwrap_or_default()),
            _ => return None,
        })
    };
    (0..count.max(columns.qualities.len())).map(one).collect()
}

/// The bare values for today's catalogue of `count`, for questions over thousands of swings: `None` where there is
/// none. The whole is `None` exactly where [`unpack`] refuses the bytes.
#[must_use]
pub fn numbers(blob: &[u8], count: usize) -> Option<Vec<Option<f64>>> {
    let columns = Columns::of(blob)?;
    let said = texts(columns.texts)?.len();
    let (reasons, _) = columns.reasons.as_chunks();
    if reasons
        .iter()
        .any(|r| usize::from(u16::from_le_bytes(*r)) > said)
    {
        return None;
    }
    let one = |n: usize| -> Option<Option<f64>> {
        match columns.value(n)? {
            None | Some((MISSING, _)) => Some(None),
            Some((MEASURED | LIMITED, value)) => Some(Some(value)),
            Some(_) => None,
        }
    };
    (0..count.max(columns.qualities.len())).map(one).collect()
}

/// The parts of format 1.
struct Columns<'a> {
    values: &'a [u8],
    standards: &'a [u8],
    reasons: &'a [u8],
    qualities: &'a [u8],
    texts: &'a [u8],
}

impl<'a> Columns<'a> {
    fn of(blob: &'a [u8]) -> Option<Self> {
        let (&format, rest) = blob.split_first()?;
        if format != FORMAT {
            return None;
        }
        let (count, rest) = rest.split_first_chunk()?;
        let count = usize::from(u16::from_le_bytes(*count));
        let (values, rest) = rest.split_at_checked(8 * count)?;
        let (standards, rest) = rest.split_at_checked(8 * count)?;
        let (reasons, rest) = rest.split_at_checked(2 * count)?;
        let (qualities, texts) = rest.split_at_checked(count)?;
        Some(Self {
            values,
            standards,
            reasons,
            qualities,
            texts,
        })
    }

    /// Quality and value of the n-th; inner `None` beyond the list.
    fn value(&self, n: usize) -> Option<Option<(u8, f64)>> {
        let Some(&quality) = self.qualities.get(n) else {
            return Some(None);
        };
        Some(Some((quality, float(self.values, n)?)))
    }
}

fn float(column: &[u8], n: usize) -> Option<f64> {
    Some(f64::from_le_bytes(*column.get(8 * n..)?.first_chunk()?))
}

fn texts(bytes: &[u8]) -> Option<Vec<&[u8]>> {
    let (count, mut rest) = bytes.split_first_chunk()?;
    let mut texts = Vec::new();
    for _ in 0..u16::from_le_bytes(*count) {
        let (length, after) = rest.split_first_chunk()?;
        let (text, after) = after.split_at_checked(usize::from(u16::from_le_bytes(*length)))?;
        texts.push(text);
        rest = after;
    }
    rest.is_empty().then_some(texts)
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeMap;

    use protocol::report::Metric;

    use super::*;

    fn metric(value: Option<f64>, reason: Option<&str>, limited: Option<&str>) -> Metric {
        Metric {
            value,
            unit: "deg".into(),
            change: None,
            reason: reason.map(Into::into),
            limited: limited.map(Into::into),
            uncertainty: value.map(|v| Uncertainty::Interval {
                standard: v / 10.0,
                low: 0.0,
                high: 0.0,
            }),
        }
    }

    fn packed() -> Vec<u8> {
        let ids = ["a", "b", "c"].map(String::from);
        let metrics = BTreeMap::from([
            ("a".to_owned(), metric(Some(1.5), None, None)),
            ("b".to_owned(), metric(None, Some("hidden"), None)),
            ("c".to_owned(), metric(Some(-2.0), None, Some("hidden"))),
        ]);
        let measurement = Measurement {
            kind: "shot".into(),
            confidence: None,
            handed: "right".into(),
            events: BTreeMap::new(),
            metrics,
            club_length_m: None,
            markers: Vec::new(),
            notes: Vec::new(),
        };
        pack(&ids, &measurement)
    }

    #[test]
    fn what_is_packed_comes_back_and_later_metrics_read_not_then() {
        let value = |value: f64, limited: Option<&str>| Packed::Value {
            value,
            uncertainty: Some(value / 10.0),
            limited: limited.map(Into::into),
        };
        let wanted = [
            value(1.5, None),
            Packed::Missing("hidden".into()),
            value(-2.0, Some("hidden")),
            Packed::NotThen,
        ];
        assert_eq!(unpack(&packed(), 4).unwrap(), wanted);
        let bare = [Some(1.5), None, Some(-2.0), None];
        assert_eq!(numbers(&packed(), 4).unwrap(), bare);
        // A later program's list is longer than this one's catalogue: nothing is cut off.
        assert_eq!(unpack(&packed(), 1).unwrap(), wanted[..3]);
    }

    #[test]
    fn the_bytes_are_as_the_table_says() {
        let blob = packed();
        assert_eq!(blob[..3], [1, 3, 0]);
        assert_eq!(blob[3..11], 1.5f64.to_le_bytes());
        assert_eq!(blob[3 + 24..][..8], 0.15f64.to_le_bytes());
        assert_eq!(blob[3 + 48..][..6], [0, 0, 1, 0, 1, 0]);
        assert_eq!(blob[3 + 54..][..3], [0, 2, 1]);
        assert_eq!(&blob[3 + 57..], b"\x01\0\x06\0hidden");
    }

    #[test]
    fn damaged_bytes_are_refused_and_never_panic() {
        let blob = packed();
        for cut in 0..blob.len() {
            assert_eq!(unpack(&blob[..cut], 3), None, "cut at {cut}");
        }
        for at in 0..blob.len() {
            let mut odd = blob.clone();
            odd[at] ^= 0xff;
            assert_eq!(
                unpack(&odd, 3).is_none(),
                numbers(&odd, 3).is_none(),
                "{at}"
            );
        }
    }
}
