//! Cleaning of series: short gaps, low-pass filtering, local polynomials. No bodies, no clubs.

pub mod gaps;
pub mod local_fit;
pub mod lowpass;
pub mod turning;
