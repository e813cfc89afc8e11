//! When things happen: the live state of the bay, the swing in a window, its events and its kind.

pub mod event;
pub mod series;
pub mod kind;
pub mod refusal;
pub mod impact;
pub mod found;
pub mod phases;
mod through;
mod glimpse;
pub mod detector;
mod passes;
