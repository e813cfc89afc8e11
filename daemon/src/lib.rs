//! The daemon: sockets, threads, time, disk, HTTP and the command line around the pure crates.
//!
//! Live data flows `receive` → `decode` → `analyze` → `outgoing` → `hub` → `web`; `pipeline` makes
//! every thread and queue of it. What is computed is in `analysis`, what bytes mean in `protocol`;
//! types of one become types of the other in `decode` (in), `outgoing` and `synthetic` (out) only.

#![forbid(unsafe_code)]

pub mod cli;
pub mod commands;
pub mod clock;
pub mod config;
pub mod context;
pub mod errors;
pub mod logs;
pub mod lesson;
pub mod map;
pub mod private;
pub mod several;

pub mod seat;
pub mod coach;
pub mod pipeline;
pub mod pulse;
pub mod usage;
pub mod gate;
pub mod receive;
pub mod refine;
pub mod decode;
pub mod analyze;
pub mod outgoing;
pub mod health;
pub mod hub;
pub mod access;
pub mod web;

pub mod recent;
pub mod record;
pub mod recording;
pub mod archive;

pub mod feed;
pub mod send;
pub mod offline;
pub mod trial;
pub mod tap;
pub mod synthetic;
pub mod demo;
pub mod comparison;
pub mod table;
