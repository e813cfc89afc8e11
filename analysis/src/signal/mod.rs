//! Cleaning of series: short gaps, low-pass filtering, local polynomials, what noise is made of. No
//! bodies, no clubs.

pub mod gaps;
pub mod local_fit;
pub mod lowpass;
pub mod noise;
