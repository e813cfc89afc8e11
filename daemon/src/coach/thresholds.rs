//! The numbers that decide what counts as a leak, for one student: the defaults with the coach's.

use analysis::coaching::band::Source;
use analysis::coaching::leaks::{Key, Leak, Thresholds};
use protocol::lesson::{About, Said, ThresholdLine, Thresholds as List};

use super::Coach;
use super::shots::Holds;
use crate::archive::ArchiveError;
use crate::outgoing::rounded;

/// The leak's name of the one that all share.
pub(super) const EVERY: &str = "every";

/// Under which leak a number is entered.
fn place(leak: Leak, key: Key) -> &'static str {
    if key == Key::Often {
        EVERY
    } else {
        leak.name()
    }
}

/// The defaults with the coach's numbers.
pub(super) fn of(holds: &Holds<'_>, student: &About) -> Thresholds {
    let mut thresholds = Thresholds::default();
    for (leak, key) in all() {
        let name = format!("threshold:{}:{}", place(leak, key), key.name());
        let Some(entry) = holds.entry(student, &name) else {
            continue;
        };
        if let Some(Said::Threshold(told)) = &entry.said
            && let Some(value) = told.value
        {
            let source = Source::Coach(entry.who.clone());
            // What makes no sense was refused when it was entered.
            let _set = thresholds.set(key, key.unit().inside(value), source);
        }
    }
    thresholds
}

/// Whether a number can be set, in its unit; what is wrong in words.
pub(super) fn check(told: &protocol::lesson::Threshold) -> Result<(), String> {
    let found =
        all().find(|(leak, key)| place(*leak, *key) == told.leak && key.name() == told.name);
    let Some((_, key)) = found else {
        return Err(format!(
            "there is no threshold `{}` of `{}`: see the student's thresholds",
            told.name, told.leak
        ));
    };
    let source = Source::Coach(String::new());
    let fits = |v: f64| Thresholds::default().set(key, key.unit().inside(v), source);
    match told.value {
        Some(v) if !fits(v) => Err(format!(
            "{} is {v}: expected a number not below 0",
            told.name
        )),
        _ => Ok(()),
    }
}

fn all() -> impl Iterator<Item = (Leak, Key)> {
    let often = std::iter::once((Leak::WrongWayFirst, Key::Often));
    let each = |leak: Leak| leak.needs().iter().map(move |key| (leak, *key));
    let own = Leak::ALL.into_iter().flat_map(each);
    often.chain(own.filter(|(_, key)| *key != Key::Often))
}

impl Coach {
    /// The thresholds of a student, with units, defaults and sources.
    ///
    /// # Errors
    /// When there is no such student.
    pub fn thresholds(&self, student: &str) -> Result<List, ArchiveError> {
        self.ask(|archive| {
            archive.store.student(student)?;
            let entries = archive.store.holds(student)?;
            let goes = of(&Holds::new(&entries), &About::Student(student.to_owned()));
            let line = |(leak, key): (Leak, Key)| {
                let shown = |v: f64| rounded(key.unit().shown(v), 1e6);
                let set = goes.get(key);
                ThresholdLine {
                    leak: place(leak, key).to_owned(),
                    name: key.name().to_owned(),
                    words: key.words().to_owned(),
                    unit: key.unit().symbol().to_owned(),
                    value: set.map(|t| shown(t.value)),
                    default: key.default().map(shown),
                    source: set.map_or_else(
                        || "off until the coach sets it".to_owned(),
                        |t| t.source.words(),
                    ),
                }
            };
            Ok(List {
                thresholds: all().map(line).collect(),
            })
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_number_is_listed_once_and_only_these_can_be_set() {
        let mut keys: Vec<Key> = all().map(|(_, key)| key).collect();
        keys.sort_unstable();
        assert_eq!(keys, Key::ALL);
        let told = |leak: &str, name: &str, value| protocol::lesson::Threshold {
            leak: leak.into(),
            name: name.into(),
            value,
        };
        check(&told("standing_up", "straightening", Some(7.0))).unwrap();
        check(&told(EVERY, "often", None)).unwrap();
        for odd in [
            told("standing_up", "often", Some(0.4)),
            told("standing_up", "straightening", Some(-1.0)),
            told("standing_up", "straightening", Some(f64::NAN)),
            told("slouching", "straightening", Some(7.0)),
        ] {
            assert!(check(&odd).is_err(), "{odd:?}");
        }
    }
}
