//! Moments marked in a take: the EVENT group, or the short list in the header.

use super::number::{ByteOrder, array};
use super::parameter::{Parameters, trimmed};

/// A marked moment.
#[derive(Debug, Clone, PartialEq)]
pub struct Event {
    /// What happened, trimmed; may be empty.
    pub label: String,
    /// Whom or which side it concerns, trimmed; empty for events of the header.
    pub context: String,
    /// Seconds from the first stored frame.
    pub time_s: f64,
}

/// Says that header labels have four characters.
pub(super) const FOUR_LETTER_KEY: u16 = 12_345;
const KEY_AT: usize = 298;
const COUNT_AT: usize = 300;
const TIMES_AT: usize = 304;
const LABELS_AT: usize = 396;
const MOST: usize = 18;

/// The header's events: seconds from the first stored frame, four letters each.
pub(super) fn from_header(header: &[u8], order: ByteOrder) -> Vec<Event> {
    let word = |at: usize| header.get(at..at + 2).and_then(array).map(|b| order.u16(b));
    if word(KEY_AT) != Some(FOUR_LETTER_KEY) {
        return Vec::new();
    }
    let count = usize::from(word(COUNT_AT).unwrap_or(0)).min(MOST);
    let times = header.get(TIMES_AT..).unwrap_or_default().chunks_exact(4);
    let labels = header.get(LABELS_AT..).unwrap_or_default().chunks_exact(4);
    times
        .zip(labels)
        .take(count)
        .filter_map(|(time, label)| {
            let time_s = f64::from(order.f32(array(time)?));
            let event = Event {
                label: trimmed(label),
                context: String::new(),
                time_s,
            };
            time_s.is_finite().then_some(event)
        })
        .collect()
}

/// Seconds from frame 1, where the EVENT group counts from, to the first stored frame.
pub(super) fn first_frame_s(first_frame: u32, rate_hz: f64) -> f64 {
    f64::from(first_frame.saturating_sub(1)) / rate_hz
}

/// The EVENT group's events; `None` when it has none. Its times are minutes and seconds from frame
/// 1, whether or not that frame is stored (c3d.org, EVENT:TIMES), and become seconds from the
/// first stored frame.
pub(super) fn from_group(parameters: &Parameters, start_s: f64) -> Option<Vec<Event>> {
    let used = parameters
        .get("EVENT", "USED")?
        .count(0)
        .filter(|n| *n > 0)?;
    let times = parameters.get("EVENT", "TIMES")?;
    let labels = parameters.texts("EVENT", "LABELS");
    let contexts = parameters.texts("EVENT", "CONTEXTS");
    let events = (0..used.min(times.data.len() / 2)).filter_map(|i| {
        let (minutes, seconds) = (times.signed(2 * i)?, times.signed(2 * i + 1)?);
        Some(Event {
            label: labels.get(i).cloned().unwrap_or_default(),
            context: contexts.get(i).cloned().unwrap_or_default(),
            time_s: 60.0 * minutes + seconds - start_s,
        })
    });
    Some(events.collect())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::c3d::parameter::{Data, Group, Parameter};

    fn group(times: Vec<f32>) -> Parameters {
        let parameters = vec![
            Parameter::new("USED", &[], Data::Integers(vec![2])),
            Parameter::new("LABELS", &[3, 2], Data::Text(b"On Off".to_vec())),
            Parameter::new("TIMES", &[2, 2], Data::Reals(times)),
        ];
        Parameters {
            groups: vec![Group {
                name: "EVENT".into(),
                parameters,
                ..Group::default()
            }],
        }
    }

    #[test]
    fn group_times_are_minutes_and_seconds_from_frame_one() {
        let start_s = first_frame_s(51, 50.0);
        let events = from_group(&group(vec![0.0, 2.05, 1.0, 0.5]), start_s).unwrap();
        // c3d.org, header event times: at 50 Hz from frame 51 on, 2.05 s after frame 1 is 1.05 s
        // of recorded data.
        assert!((events[0].time_s - 1.05).abs() < 1e-6, "{events:?}");
        assert!((events[1].time_s - 59.5).abs() < 1e-6, "{events:?}");
        assert_eq!(events[1].label, "Off");
    }

    #[test]
    fn a_short_or_broken_times_array_gives_fewer_events() {
        assert_eq!(from_group(&group(vec![0.0, 2.05]), 0.0).unwrap().len(), 1);
        assert_eq!(
            from_group(&group(vec![0.0, f32::NAN, 0.0, 1.0]), 0.0)
                .unwrap()
                .len(),
            1
        );
        assert_eq!(from_group(&Parameters::default(), 0.0), None);
    }
}
