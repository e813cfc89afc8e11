//! Logs: to standard error, as lines for people or as JSON for machines, no more than ten in ten seconds of
//! one code, so that a stream of bad datagrams fills no disk. What is left out is counted where it happens
//! (`/metrics`, the Rig page). What is said, and where, is the business of whoever says it.

use std::collections::BTreeMap;
use std::fmt;
use std::io::IsTerminal as _;
use std::sync::{Mutex, PoisonError};

use tracing::field::{Field, Visit};
use tracing::{Event, Subscriber};
use tracing_subscriber::layer::{Context, Layer, SubscriberExt as _};
use tracing_subscriber::util::{SubscriberInitExt as _, TryInitError};
use tracing_subscriber::{EnvFilter, fmt as lines};

use crate::cli::LogFormat;
use crate::clock::Clock;

/// As many lines of one code …
const LINES: u32 = 10;
/// … in this time, nanoseconds.
const SPAN_NS: u64 = 10_000_000_000;

/// Logs from here on; `WHIN_LOG` says which (such as `debug` or `daemon::hub=trace`).
///
/// # Errors
/// When the process logs already.
pub fn start(format: LogFormat) -> Result<(), TryInitError> {
    let filter =
        EnvFilter::try_from_env("WHIN_LOG").unwrap_or_else(|_unset| EnvFilter::new("info"));
    let all = tracing_subscriber::registry()
        .with(filter)
        .with(Limit::new(Clock::start()));
    let out = lines::layer().with_writer(std::io::stderr);
    match format {
        LogFormat::Text => all
            .with(out.with_ansi(std::io::stderr().is_terminal()))
            .try_init(),
        LogFormat::Json => all.with(out.json()).try_init(),
    }
}

/// Lets through so many lines of each code.
struct Limit {
    clock: Clock,
    /// By code: begin of the span, lines in it.
    seen: Mutex<BTreeMap<String, (u64, u32)>>,
}

impl Limit {
    fn new(clock: Clock) -> Self {
        Self {
            clock,
            seen: Mutex::default(),
        }
    }

    fn lets(&self, code: String, now_ns: u64) -> bool {
        let mut seen = self.seen.lock().unwrap_or_else(PoisonError::into_inner);
        let (begun_ns, lines) = seen.entry(code).or_insert((now_ns, 0));
        if now_ns.saturating_sub(*begun_ns) >= SPAN_NS {
            (*begun_ns, *lines) = (now_ns, 0);
        }
        *lines = lines.saturating_add(1);
        *lines <= LINES
    }
}

impl<S: Subscriber> Layer<S> for Limit {
    fn event_enabled(&self, event: &Event<'_>, _context: Context<'_, S>) -> bool {
        let mut code = Coded(None);
        event.record(&mut code);
        code.0
            .is_none_or(|code| self.lets(code, self.clock.now_ns()))
    }
}

/// The code of a line, one of a fixed list.
struct Coded(Option<String>);

impl Visit for Coded {
    fn record_debug(&mut self, field: &Field, value: &dyn fmt::Debug) {
        if field.name() == "code" {
            self.0 = Some(format!("{value:?}"));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_code_has_its_own_ten_lines_in_ten_seconds() {
        let limit = Limit::new(Clock::start());
        let lets =
            |code: &str, n: u64, now_ns| (0..n).filter(|_| limit.lets(code.into(), now_ns)).count();
        assert_eq!(lets("udp.garbage", 100, 5), 10);
        assert_eq!(lets("swing.missed", 3, 6), 3);
        assert_eq!(lets("udp.garbage", 5, SPAN_NS + 4), 0);
        assert_eq!(lets("udp.garbage", 100, SPAN_NS + 5), 10);
    }
}
