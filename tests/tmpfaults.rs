#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::print_stdout,
    clippy::print_stderr,
    dead_code,
    unused
)]
mod corpus;
mod faults;
mod faults_machine;
mod support;
mod bay;
mod archive;
mod http;
mod soak;
