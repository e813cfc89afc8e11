//! What each subcommand does: put the parts together, run them, print. Standard output is for
//! results, standard error for logs.

use std::io::Write as _;
use std::net::{SocketAddr, UdpSocket};
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use analysis::context::Context;
use analysis::forward::{CaptureParams, GolferParams, swing};
use analysis::metrics::catalogue::CATALOGUE;
use anyhow::{Context as _, bail};
use crossbeam_channel::{RecvTimeoutError, bounded};
use protocol::report::Measurement;

use crate::analyze::Setup;
use crate::cli::{Analyze, Check, Command, Demo, Metrics, Send, Serve, Synthesize};
use crate::clock::Clock;
use crate::config::{Config, Flags};
use crate::demo::{self, Lesson};
use crate::hub::{Bay, Hub};
use crate::map::MarkerMap;
use crate::pipeline::{self, Running, Start};
use crate::recording::{Meta, Recorder};
use crate::web::{self, Statics};
use crate::{context, offline, outgoing, send, synthetic, table};

/// Runs one command.
///
/// # Errors
/// Whatever ends the command; `main` prints it and chooses the exit code.
pub fn run(command: Command) -> anyhow::Result<()> {
    match command {
        Command::Demo(args) => run_demo(&args),
        Command::Serve(args) => run_serve(args),
        Command::Send(args) => run_send(&args),
        Command::Analyze(args) => run_analyze(&args),
        Command::Synthesize(args) => run_synthesize(&args),
        Command::Metrics(args) => run_metrics(&args),
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

fn run_serve(args: Serve) -> anyhow::Result<()> {
    let flags = Flags {
        udp: args.udp,
        http: args.http,
        markers: args.markers,
        context: args.context,
        recording: args.record,
    };
    let config = config(args.config.as_deref(), flags)?;
    web::require_loopback(config.http.listen)?;
    let clock = Clock::start();
    let map = MarkerMap::load(&config.markers.map)?;
    let (context, context_text) = match &config.context.file {
        Some(path) => context::load(path).map(|(c, text)| (c, Some(text)))?,
        None => (Context::default(), None),
    };
    let recorder = config
        .recording
        .dir
        .as_deref()
        .map(|dir| recorder(dir, &config, (&map, context_text), clock))
        .transpose()?;
    let note = if recorder.is_some() {
        "recording datagrams"
    } else {
        "not recorded"
    };
    let hub = Arc::new(Hub::new(bay(&config, note)));
    let socket = UdpSocket::bind(config.udp.listen)
        .with_context(|| format!("cannot listen on {} (UDP)", config.udp.listen))?;
    let listener = listen(config.http.listen)?;
    print(&format!(
        "screen http://{}/  datagrams udp://{}  bay {}",
        listener.local_addr()?,
        socket.local_addr()?,
        config.bay.id.as_str()
    ))?;
    let running = pipeline::start(Start {
        socket,
        receive_buffer_bytes: config.udp.receive_buffer_bytes,
        map,
        setup: setup(&config, context),
        recorder,
        hub: Arc::clone(&hub),
        reports: None,
        clock,
    })?;
    serve_until(listener, hub, statics(args.statics), running, signal())
}

fn setup(config: &Config, context: Context) -> Setup {
    let reorder_window_ns = i64::from(config.markers.reorder_window_millis) * 1_000_000;
    Setup {
        bay: config.bay.id.as_str().to_owned(),
        context,
        reorder_window_ns,
    }
}

fn bay(config: &Config, recording: &str) -> Bay {
    Bay {
        id: config.bay.id.as_str().to_owned(),
        name: config.bay.name.clone(),
        zone: config.bay.zone.as_str().to_owned(),
        program: env!("CARGO_PKG_VERSION").into(),
        recording: recording.into(),
    }
}

fn recorder(
    dir: &Path,
    config: &Config,
    (map, context): (&MarkerMap, Option<String>),
    clock: Clock,
) -> anyhow::Result<Recorder> {
    std::fs::create_dir_all(dir)
        .with_context(|| format!("cannot make folder {}", dir.display()))?;
    let meta = Meta {
        bay: config.bay.id.as_str().to_owned(),
        zone: config.bay.zone.as_str().to_owned(),
        program: env!("CARGO_PKG_VERSION").into(),
        clock_zero_utc_ns: clock.zero_utc_ns(),
        marker_map: map.text.clone(),
        context,
    };
    let path = dir.join(format!(
        "{}-{}.mcap",
        config.bay.id.as_str(),
        clock.zero_utc_ns() / 1_000_000
    ));
    Ok(Recorder::create(&path, &meta)?)
}

fn statics(dir: Option<std::path::PathBuf>) -> Statics {
    dir.map_or(Statics::Embedded, Statics::Folder)
}

fn listen(address: SocketAddr) -> anyhow::Result<std::net::TcpListener> {
    let listener = std::net::TcpListener::bind(address)
        .with_context(|| format!("cannot listen on {address} (HTTP): choose another port"))?;
    listener.set_nonblocking(true)?;
    Ok(listener)
}

/// Ends when the process is asked to (Ctrl-C, SIGTERM).
async fn signal() {
    use tokio::signal::unix::{SignalKind, signal};
    let Ok(mut terminate) = signal(SignalKind::terminate()) else {
        return std::future::pending().await;
    };
    tokio::select! {
        _ = tokio::signal::ctrl_c() => {}
        _ = terminate.recv() => {}
    }
}

/// Serves the screens until `stop`, then closes the bay: the source first, the screens last.
fn serve_until(
    listener: std::net::TcpListener,
    hub: Arc<Hub>,
    statics: Statics,
    running: Running,
    stop: impl Future<Output = ()> + std::marker::Send + 'static,
) -> anyhow::Result<()> {
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .worker_threads(2)
        .enable_all()
        .build()?;
    runtime.block_on(async {
        let listener = tokio::net::TcpListener::from_std(listener)?;
        let (closing, closed) = tokio::sync::oneshot::channel::<()>();
        let server = tokio::spawn(web::serve(listener, hub, statics, async {
            drop(closed.await)
        }));
        tokio::pin!(stop);
        let mut watch = tokio::time::interval(Duration::from_millis(500));
        loop {
            tokio::select! {
                () = &mut stop => break,
                _ = watch.tick() => if running.has_failed() || server.is_finished() { break },
            }
        }
        let ended = tokio::task::spawn_blocking(move || running.stop()).await;
        // The server may have ended by itself: then nobody waits for this.
        drop(closing.send(()));
        server.await??;
        ended?
    })
}

fn run_demo(args: &Demo) -> anyhow::Result<()> {
    web::require_loopback(args.http)?;
    let clock = Clock::start();
    let mut config = Config::defaults();
    config.bay.id = "north".to_owned().try_into().map_err(anyhow::Error::msg)?;
    config.bay.name = "Whin Hollow Studio, bay North".into();
    let hub = Arc::new(Hub::new(bay(&config, "demo, not recorded")));
    let socket = UdpSocket::bind("127.0.0.1:0").context("cannot open a UDP socket on loopback")?;
    let to = socket.local_addr()?;
    // A demo with a number of shots is a test of the machine: it needs no particular port.
    let listener = listen(args.http).or_else(|e| {
        if args.shots.is_some() {
            listen(SocketAddr::from(([127, 0, 0, 1], 0)))
        } else {
            Err(e)
        }
    })?;
    tracing::info!("datagrams on {to}");
    let address = listener.local_addr()?;
    if !args.json {
        print(&format!(
            "Open http://{address}/ — a shot every {:.0} s. {}",
            9.0 / args.pace,
            table::CAUTION
        ))?;
    }
    let (reports_in, reports) = bounded(64);
    let running = pipeline::start(Start {
        socket,
        receive_buffer_bytes: config.udp.receive_buffer_bytes,
        map: MarkerMap::load("whin_32")?,
        setup: setup(&config, Context::default()),
        recorder: None,
        hub: Arc::clone(&hub),
        reports: Some(reports_in),
        clock,
    })?;
    let (truths_in, truths) = bounded(64);
    let stop = Arc::new(AtomicBool::new(false));
    let lesson = Lesson {
        seed: args.seed,
        pace: args.pace,
        shots: args.shots,
    };
    let golfer = demo::spawn(lesson, to, clock, truths_in, Arc::clone(&stop))?;
    let json = args.json;
    let (done_in, done) = tokio::sync::oneshot::channel();
    let printer = std::thread::Builder::new()
        .name("print".into())
        .spawn(move || {
            let printed = print_shots(&reports, &truths, lesson.shots, json);
            drop(done_in.send(()));
            printed
        })?;
    serve_until(
        listener,
        hub,
        statics(args.statics.clone()),
        running,
        async {
            tokio::select! {
                () = signal() => {}
                _ = done => {}
            }
        },
    )?;
    stop.store(true, Ordering::Relaxed);
    golfer
        .join()
        .map_err(|_panic| anyhow::anyhow!("the golfer's thread panicked"))??;
    printer
        .join()
        .map_err(|_panic| anyhow::anyhow!("the printing thread panicked"))?
}

/// Prints one report a shot beside its truth. Ends after `shots`, or when the bay has closed.
fn print_shots(
    reports: &crossbeam_channel::Receiver<protocol::report::Report>,
    truths: &crossbeam_channel::Receiver<Measurement>,
    shots: Option<u32>,
    json: bool,
) -> anyhow::Result<()> {
    let mut printed = 0;
    while shots.is_none_or(|n| printed < n) {
        let report = match reports.recv_timeout(Duration::from_secs(60)) {
            Ok(report) => report,
            Err(RecvTimeoutError::Disconnected) => break,
            Err(RecvTimeoutError::Timeout) => {
                bail!("no report for a minute: shot {} was not found", printed + 1)
            }
        };
        let truth = truths.recv().context("a report without a shot")?;
        printed += 1;
        let text = if json {
            serde_json::json!({ "shot": printed, "report": report, "truth": truth }).to_string()
        } else {
            demo::shot_text(printed, &report, &truth)
        };
        print(&text)?;
    }
    Ok(())
}

fn run_send(args: &Send) -> anyhow::Result<()> {
    let clock = Clock::start();
    let map = args.markers.as_deref().map(MarkerMap::load).transpose()?;
    // The epoch tells one start of this sender from the next.
    let epoch = (clock.zero_utc_ns() / 1_000_000) as u32;
    let due = send::datagrams(&args.file, map.as_ref(), epoch)?;
    let sent = send::send(&due, args.to, args.pace, clock)?;
    print(&format!(
        "{sent} of {} datagrams sent to {}",
        due.len(),
        args.to
    ))
}

fn run_analyze(args: &Analyze) -> anyhow::Result<()> {
    let told = args
        .context
        .as_deref()
        .map(context::load)
        .transpose()?
        .map(|(context, _)| context);
    let with_side = |context: Context| Context {
        handed: args.handed.handed().or(context.handed),
        ..context
    };
    let found = if send::is_recording(&args.file) {
        let map = args.markers.as_deref().map(MarkerMap::load).transpose()?;
        offline::analyze_recording(&args.file, map, told, args.handed.handed())?
    } else {
        let map = MarkerMap::load(args.markers.as_deref().unwrap_or("whin_32"))?;
        offline::analyze_c3d(&args.file, map, with_side(told.unwrap_or_default()))?
    };
    let swings: Vec<Measurement> = found.swings.iter().map(outgoing::measurement).collect();
    if args.json {
        return print(&serde_json::to_string_pretty(
            &serde_json::json!({ "swings": swings, "remarks": found.remarks }),
        )?);
    }
    for remark in &found.remarks {
        print(&format!("note: {remark}"))?;
    }
    for (n, swing) in swings.iter().enumerate() {
        print(&table::swing(n + 1, swing))?;
    }
    print(&if swings.is_empty() {
        "No swing found.".to_owned()
    } else {
        table::CAUTION.to_owned()
    })
}

fn run_synthesize(args: &Synthesize) -> anyhow::Result<()> {
    let mut params = GolferParams {
        style: args.style,
        ball: args.ball.ball(),
        ..GolferParams::from_seed(args.seed)
    };
    if let Some(club) = args.club {
        params = params.with_club(club);
    }
    params.handed = args.side.handed().unwrap_or(params.handed);
    params.head_speed_mps = args.speed.unwrap_or(params.head_speed_mps);
    let within = |name: &str, value: f64, range: std::ops::RangeInclusive<f64>| {
        if range.contains(&value) {
            Ok(())
        } else {
            bail!(
                "{name} is {value}: {} to {} is possible",
                range.start(),
                range.end()
            )
        }
    };
    within("--speed", params.head_speed_mps, 15.0..=60.0)?;
    within("--rate", args.rate, 25.0..=4000.0)?;
    within("--noise-mm", args.noise_mm, 0.0..=50.0)?;
    within("--dropouts", args.dropouts, 0.0..=90.0)?;
    let capture = CaptureParams {
        rate_hz: args.rate,
        noise_m: args.noise_mm * 1e-3,
        dropout: args.dropouts * 1e-2,
        wobble: false,
    };
    let take = swing(&params, &capture);
    synthetic::write(&take, &MarkerMap::load("whin_32")?, &args.out)?;
    print(&format!(
        "take.c3d and truth.json written to {}",
        args.out.display()
    ))
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
    let config = config(args.config.as_deref(), Flags::default())?;
    web::require_loopback(config.http.listen)?;
    let map = MarkerMap::load(&config.markers.map)?;
    if let Some(path) = &config.context.file {
        context::load(path)?;
    }
    print(&format!(
        "configuration good: bay {}, marker map `{}` ({})",
        config.bay.id.as_str(),
        map.name,
        map.description
    ))
}
