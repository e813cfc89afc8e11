//! The body's segments from their markers. Club geometry lives in `club`, metrics in `metrics`.

pub mod cluster;
pub mod inertia;
pub mod pose;
pub mod rotation;
pub mod segments;
pub mod tracks;
