//! The program `whin`: reads the command line, runs the command, chooses the exit code.

#![forbid(unsafe_code)]

use std::io::IsTerminal as _;
use std::process::ExitCode;

use clap::Parser as _;
use daemon::cli::Cli;
use daemon::errors::{exit_code, is_closed_pipe};
use tracing_subscriber::EnvFilter;

fn main() -> ExitCode {
    let cli = Cli::parse();
    let filter =
        EnvFilter::try_from_env("WHIN_LOG").unwrap_or_else(|_unset| EnvFilter::new("info"));
    tracing_subscriber::fmt()
        .with_env_filter(filter)
        .with_ansi(std::io::stderr().is_terminal())
        .with_writer(std::io::stderr)
        .init();
    match daemon::commands::run(cli.command) {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) if is_closed_pipe(&error) => ExitCode::SUCCESS,
        Err(error) => {
            tracing::error!("{error:#}");
            ExitCode::from(exit_code(&error))
        }
    }
}
