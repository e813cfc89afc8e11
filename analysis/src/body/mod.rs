//! The body's segments from their markers. Club geometry lives in `club`, metrics in `metrics`.

pub mod cluster;
pub mod pose;
pub mod frames;
pub mod calibration;
pub mod tracks;
pub mod segments;
pub mod skeleton;
pub mod trial;
