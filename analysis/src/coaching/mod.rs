//! From numbers to what to work on: pure functions over the values of finished shots. Where the values
//! come from (a live bay, an archive), who asks and how it is shown is not here.
//!
//! SI and radians inside, like everywhere in this crate; signs as in the catalogue.

pub mod band;
pub mod budget;
pub mod focus;
pub mod leaks;
pub mod limits;
pub mod load;
pub mod shot;
pub mod suggestion;
pub mod summary;

// Is a change real: from distributions to the verdict.
pub mod chance;
pub mod order;
pub mod scatter;
pub mod plateau;
pub mod block;
pub mod looks;
pub mod power;
pub mod change;
pub mod association;
pub mod retention;

// Beside each other.
pub mod compare;
pub mod curves;
pub mod cohort;

#[cfg(test)]
mod tests;
