//! Cleaning of series: short gaps, low-pass filtering, local polynomials, what noise is made of, order statistics, tracks that
//! jump. No bodies, no clubs.

pub mod cutoff;
pub mod gaps;
pub mod local_fit;
pub mod lowpass;
pub mod noise;
pub mod order;
pub mod reading;
pub mod swaps;
pub mod turning;
