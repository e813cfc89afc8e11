//! Blocks of shots by their role, and what a block must be to stand as the baseline or as the check of a
//! change. How they are compared is in `change`.

use super::looks::FEWEST_CHECK;
use super::plateau::{self, FEWEST_SETTLED, Plateau};
use super::shot::{Metric, Shot};

/// What a block is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Role {
    /// Before anything is worked on.
    Baseline,
    /// While it is worked on.
    Practice,
    /// Afterwards, with all feedback hidden.
    Check,
}

/// Consecutive shots with one purpose.
#[derive(Debug, Clone)]
pub struct Stretch<'a> {
    /// Its purpose.
    pub role: Role,
    /// Whether what was to be worked on was chosen by looking at this block.
    pub chose_focus: bool,
    /// Number of the session (one visit to the bay).
    pub session: u64,
    /// Number of the marking: markers put on again, or a new calibration, are another one.
    pub marking: u64,
    /// How many shots of the session come before its first.
    pub first: usize,
    /// Its shots in order, without excluded ones.
    pub shots: Vec<&'a Shot>,
}

impl Stretch<'_> {
    /// What it says of one metric.
    #[must_use]
    pub fn block(&self, metric: Metric) -> Block {
        let (places, values) = self
            .shots
            .iter()
            .enumerate()
            .filter_map(|(n, shot)| Some(((self.first + n) as f64, shot.value(metric)?)))
            .unzip();
        Block {
            role: self.role,
            chose_focus: self.chose_focus,
            session: self.session,
            marking: self.marking,
            places,
            values,
        }
    }
}

/// One metric over a block.
#[derive(Debug, Clone, PartialEq)]
pub struct Block {
    /// Its purpose.
    pub role: Role,
    /// Whether the focus was chosen by looking at it.
    pub chose_focus: bool,
    /// Number of the session.
    pub session: u64,
    /// Number of the marking.
    pub marking: u64,
    /// Which shot of its session each value is of, counted from 0; as long as `values`.
    pub places: Vec<f64>,
    /// Measured values in the metric's inside unit.
    pub values: Vec<f64>,
}

/// Why a block does not do for what it is to show.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Unfit {
    /// It has another role.
    Role(Role),
    /// It chose the focus, so it cannot confirm it.
    ChoseTheFocus,
    /// Too few measured values.
    TooFew {
        /// Measured.
        measured: usize,
        /// Needed.
        needed: usize,
    },
    /// The warm-up has not ended in it.
    NotSettled,
}

/// A baseline after the warm-up's plateau was reached: what `change` takes as before.
#[derive(Debug, Clone, PartialEq)]
pub struct Baseline(Block);

impl Baseline {
    /// The part of a baseline block after the warm-up. A baseline may have chosen the focus, but then the
    /// question has to say so (`Scope::ChosenFromBaseline`), because what was picked for being extreme
    /// comes back toward the middle by itself.
    ///
    /// # Errors
    /// [`Unfit`] by role, number of shots, or a warm-up that goes on.
    pub fn of(block: &Block) -> Result<Self, Unfit> {
        if block.role != Role::Baseline {
            return Err(Unfit::Role(block.role));
        }
        match plateau::find(&block.values) {
            Plateau::From(start) => Ok(Self(Block {
                places: block.places[start.min(block.places.len())..].to_vec(),
                values: block.values[start..].to_vec(),
                ..block.clone()
            })),
            Plateau::TooShort => Err(Unfit::TooFew {
                measured: block.values.len(),
                needed: FEWEST_SETTLED,
            }),
            Plateau::NotYet => Err(Unfit::NotSettled),
        }
    }

    /// The settled part.
    #[must_use]
    pub const fn block(&self) -> &Block {
        &self.0
    }
}

/// A check block that may confirm: what `change` takes as after.
#[derive(Debug, Clone, PartialEq)]
pub struct Check(Block);

impl Check {
    /// A check block.
    ///
    /// # Errors
    /// [`Unfit`] by role, number of shots, or because it chose the focus.
    pub fn of(block: &Block) -> Result<Self, Unfit> {
        if block.role != Role::Check {
            return Err(Unfit::Role(block.role));
        }
        if block.chose_focus {
            return Err(Unfit::ChoseTheFocus);
        }
        if block.values.len() < FEWEST_CHECK {
            return Err(Unfit::TooFew {
                measured: block.values.len(),
                needed: FEWEST_CHECK,
            });
        }
        Ok(Self(block.clone()))
    }

    /// Its values.
    #[must_use]
    pub const fn block(&self) -> &Block {
        &self.0
    }
}
