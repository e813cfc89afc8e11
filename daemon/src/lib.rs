//! The daemon: sockets, threads, time, disk, HTTP and the command line around the pure crates.
//!
//! Live data flows `receive` → `decode` → `analyze` → `outgoing` → `hub` → `web`; `pipeline` makes
//! every thread and queue of it. What is computed is in `analysis`, what bytes mean in `protocol`;
//! only `decode` (in), `outgoing` and `synthetic` (out) name types of both.

pub mod cli;
pub mod clock;
pub mod commands;
pub mod config;
pub mod context;
pub mod errors;
pub mod map;

pub mod analyze;
pub mod decode;
pub mod health;
pub mod hub;
pub mod outgoing;
pub mod pipeline;
pub mod receive;
pub mod web;

pub mod record;
pub mod recording;

pub mod comparison;
pub mod demo;
pub mod feed;
pub mod offline;
pub mod send;
pub mod synthetic;
pub mod table;
