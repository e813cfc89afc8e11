//! End-to-end tests: one binary, one module a subject. `support` finds what the tests need (the
//! recordings, the Python with the reference libraries, the program) and says what is missing;
//! `bay` runs the program and listens to it.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::print_stdout,
    clippy::print_stderr,
    reason = "tests: a failed step is a failed test, and what was skipped is said"
)]

mod access;
mod access_datagrams;
mod access_displays;
mod accuracy;
mod archive;
mod archive_anonymous;
mod archive_erase;
mod archive_files;
mod archive_replay;
mod archive_verbs;
mod archive_windows;
mod audit;
mod bad_input;
mod bay;
mod browser;
mod browser_pages;
mod c3d;
mod change;
mod change_judge;
mod coaching;
mod coaching_seats;
mod coaching_shots;
mod cohorts;
mod corpus;
mod demo;
mod faults;
mod faults_machine;
mod first_report;
mod gait;
mod golfer;
mod guarded;
mod ground;
mod hall;
mod honesty;
mod http;
mod invariance;
mod leak_lessons;
mod leaks;
mod lesson;
mod lesson_hours;
mod lesson_page;
mod lessons;
mod live;
mod network;
mod no_golf;
mod operations;
mod plates;
mod real_take;
mod recording;
mod reference;
mod refusals;
mod rig;
mod rotations;
mod screen;
mod soak;
mod supply;
mod support;
mod statistics;
mod swaps;
mod tap;
mod tidy;
mod told_club;
mod trigger;
mod two_clocks;
mod uncertainty;
mod whose_trial;
mod wire;
