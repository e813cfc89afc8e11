//! What each subcommand does: put the parts together, run them, print. Standard output is for
//! results, standard error for logs. Bays are in `serve` and `demo` (`open` is one of them, `scenario` the demo's people),
//! files are in `files`, the archive in
//! `archive`, passphrases in `access`.

mod access;
mod archive;
mod demo;
mod files;
mod open;
mod scenario;
mod serve;

use std::io::Write as _;
use std::path::Path;

use analysis::metrics::catalogue::CATALOGUE;

use crate::access::Access;
use crate::cli::{Check, Command, Metrics};
use crate::clock::Clock;
use crate::config::{Config, Flags};
use crate::gate::Gate;
use crate::map::MarkerMap;
use crate::{context, tap};

/// Runs one command.
///
/// # Errors
/// Whatever ends the command; `main` prints it and chooses the exit code.
pub fn run(command: Command) -> anyhow::Result<()> {
    match command {
        Command::Demo(args) => demo::run(&args),
        Command::Serve(args) => serve::run(args),
        Command::Send(args) => files::send(&args),
        Command::Analyze(args) => files::analyze(&args),
        Command::Calibrate(args) => files::calibrate(&args),
        Command::Synthesize(args) => files::synthesize(&args),
        Command::Metrics(args) => run_metrics(&args),
        Command::Access(args) => access::run(&args.verb),
        Command::Archive(args) => archive::run(&args.verb),
        Command::Check(args) => run_check(&args),
    }
}

/// A line of result. A reader that has gone away (a closed pipe) ends the program quietly.
fn print(text: &str) -> anyhow::Result<()> {
    let mut out = std::io::stdout().lock();
    writeln!(out, "{text}")?;
    Ok(out.flush()?)
}

fn config(path: Option<&Path>, flags: Flags) -> anyhow::Result<Config> {
    let config = path.map_or_else(|| Ok(Config::defaults()), Config::load)?;
    Ok(config.with(flags))
}

fn run_metrics(args: &Metrics) -> anyhow::Result<()> {
    if args.json {
        let rows = CATALOGUE
            .iter()
            .flat_map(|f| (0..f.len()).map(move |n| (f, n)));
        let rows: Vec<_> = rows
            .map(|(f, n)| {
                serde_json::json!({
                    "id": f.value_id(n), "index": f.first + n, "unit": f.unit.symbol(),
                    "sign": f.sign, "definition": f.definition, "source": f.source,
                })
            })
            .collect();
        return print(&serde_json::to_string_pretty(
            &serde_json::json!({ "metrics": rows }),
        )?);
    }
    for family in CATALOGUE {
        let events: Vec<&str> = family.events.iter().map(|e| e.name()).collect();
        let at = if events.is_empty() {
            String::new()
        } else {
            format!(" @ {}", events.join(", "))
        };
        print(&format!(
            "{}{at}\n    {} [{}; {}]\n    source: {}",
            family.id,
            family.definition,
            family.unit.symbol(),
            family.sign,
            family.source
        ))?;
    }
    Ok(())
}

fn run_check(args: &Check) -> anyhow::Result<()> {
    if args.print_defaults {
        return print(Config::defaults().to_toml().trim_end());
    }
    if let Some(file) = &args.tap {
        return print(tap::read(file, args.markers.as_deref())?.trim_end());
    }
    let config = config(args.config.as_deref(), Flags::default())?;
    drop(Access::new(&config, Clock::start())?);
    drop(Gate::new(&config.udp, Clock::start())?);
    let map = MarkerMap::load(&config.markers.map)?;
    if let Some(path) = &config.context.file {
        for remark in context::load(path, &map)?.remarks {
            print(&remark)?;
        }
    }
    print(&format!(
        "configuration good: bay {}, marker map `{}` ({})",
        config.bay.id.as_str(),
        map.name,
        map.description
    ))
}
