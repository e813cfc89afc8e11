//! A suggestion to move in some way. It cannot be made without its cautions, nor for a student whose limits
//! name the movement.

use std::borrow::Cow;

use super::limits::{Area, Limits};

/// What stands under every suggestion.
pub const CAUTIONS: [&str; 4] = [
    "Warm up first.",
    "Stop on pain, and see a licensed clinician before you go on.",
    "This is coaching and not medical advice.",
    "Follow the local rules and the equipment maker's instructions.",
];

/// A cue or drill with its cautions.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Suggestion {
    text: Cow<'static, str>,
    cautions: &'static [&'static str],
}

/// What a suggestion asks of the body.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Asks<'a> {
    /// Movements it needs.
    pub areas: &'a [Area],
    /// Whether it asks for a swing with full effort.
    pub full_effort: bool,
}

impl Suggestion {
    /// A suggestion for a student; `None` where the limits forbid what it asks for. Its text may be the
    /// coach's own: the cautions come with it all the same.
    #[must_use]
    pub fn for_student(
        text: impl Into<Cow<'static, str>>,
        asks: Asks<'_>,
        limits: &Limits,
    ) -> Option<Self> {
        if limits.on_areas(asks.areas).is_some() || (asks.full_effort && !limits.full_effort()) {
            return None;
        }
        Some(Self {
            text: text.into(),
            cautions: &CAUTIONS,
        })
    }

    /// What to do.
    #[must_use]
    pub fn text(&self) -> &str {
        &self.text
    }

    /// What is shown with it.
    #[must_use]
    pub const fn cautions(&self) -> &'static [&'static str] {
        self.cautions
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::coaching::limits::{Age, Limit};

    #[test]
    fn it_comes_with_cautions_or_not_at_all() {
        let asks = Asks {
            areas: &[Area::Rotation],
            full_effort: false,
        };
        let free = Limits::default();
        let made = Suggestion::for_student("Let it flow.".to_owned(), asks, &free).unwrap();
        assert_eq!(made.cautions(), CAUTIONS);
        let limited = Limits {
            each: vec![Limit {
                areas: vec![Area::Rotation],
                note: String::new(),
            }],
            ..Limits::default()
        };
        assert_eq!(
            Suggestion::for_student("Let it flow.", asks, &limited),
            None
        );
    }

    #[test]
    fn nobody_of_the_young_and_old_is_told_to_swing_with_full_effort() {
        let asks = Asks {
            areas: &[],
            full_effort: true,
        };
        let of = |age| Limits {
            age,
            ..Limits::default()
        };
        assert!(Suggestion::for_student("Three fast ones.", asks, &of(Age::Adult)).is_some());
        assert_eq!(
            Suggestion::for_student("Three fast ones.", asks, &of(Age::Junior)),
            None
        );
        assert_eq!(
            Suggestion::for_student("Three fast ones.", asks, &of(Age::Senior)),
            None
        );
    }
}
