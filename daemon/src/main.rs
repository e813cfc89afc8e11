//! The program `whin`: reads the command line, runs the command, chooses the exit code.

#![forbid(unsafe_code)]

use std::process::ExitCode;

use clap::Parser as _;
use daemon::cli::Cli;
use daemon::errors::{exit_code, is_closed_pipe};
use daemon::logs;

fn main() -> ExitCode {
    let cli = Cli::parse();
    let ended = logs::start(cli.log).map_err(Into::into);
    match ended.and_then(|()| daemon::commands::run(cli.command)) {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) if is_closed_pipe(&error) => ExitCode::SUCCESS,
        Err(error) => {
            tracing::error!("{error:#}");
            ExitCode::from(exit_code(&error))
        }
    }
}
