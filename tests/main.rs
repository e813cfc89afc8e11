//! End-to-end tests: one binary, one module a subject. `support` finds what the tests need (the
//! program, the recordings, the Python with the reference libraries) and says what is missing.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::print_stdout,
    clippy::print_stderr,
    reason = "tests: a failed step is a failed test, and what was skipped is said"
)]

mod c3d;
mod support;
mod wire;
