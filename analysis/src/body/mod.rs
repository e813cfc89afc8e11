//! The body's segments from their markers. Club geometry lives in `club`, metrics in `metrics`.

pub mod arm;
pub mod calibration;
pub mod cluster;
pub mod frames;
pub mod grid;
pub mod inertia;
pub mod lanes;
pub mod leg;
pub mod likeness;
pub mod live;
pub mod mass;
pub mod pose;
pub mod rotation;
pub mod segments;
pub mod skeleton;
pub mod tracks;
pub mod trial;
