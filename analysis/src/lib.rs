//! What is computed: order, signals, body, club, swing events, metrics, and the synthetic golfer.
//! Pure functions over plain structs: no IO, no clock, no threads, no globals.
//!
//! Right-handed bay frame (ISB: X toward the target, Y up, Z = X × Y), metres, radians, seconds;
//! device time in integer nanoseconds. Data flows from top to bottom of this list, and
//! [`analyzer`] is the whole flow as one object. What is not here: sockets, files, threads, clocks,
//! units of people (degrees, mph), and JSON.

#![forbid(unsafe_code)]

pub mod landmark;
pub mod handed;
pub mod places;
pub mod context;
pub mod frame;
pub mod clock;
pub mod stream;
pub mod assemble;
pub mod history;
pub mod window;
pub mod signal;
pub mod body;
pub mod club;
pub mod ground;
pub mod swing;
pub mod measure;
pub mod metrics;
pub mod uncertainty;
pub mod coaching;
pub mod markers;
pub mod analyzer;

pub mod forward;
