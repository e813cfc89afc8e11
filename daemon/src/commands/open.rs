//! One bay from its configuration to its threads: what `whin serve` and `whin demo` share.

use std::net::{SocketAddr, UdpSocket};
use std::path::Path;
use std::sync::Arc;

use analysis::context::Context;
use anyhow::Context as _;
use crossbeam_channel::Sender;
use protocol::report::Report;
use tracing::{info, warn};

use crate::analyze::Setup;
use crate::archive::held::Around;
use crate::archive::{Archive, ArchiveError, writer};
use crate::clock::Clock;
use crate::coach::Coach;
use crate::config::Config;
use crate::context;
use crate::gate::Gate;
use crate::hub::{Bay, Hub};
use crate::map::MarkerMap;
use crate::outgoing;
use crate::pipeline::{self, Desk, Keep, Running, Start};
use crate::recording::{Meta, Recorder};
use crate::refine::Turn;
use crate::seat::Seat;
use crate::web::Served;

/// What all bays of the program share.
#[derive(Debug, Clone)]
pub(super) struct Shared {
    pub(super) clock: Clock,
    /// Whose swing is refined.
    pub(super) turn: Turn,
}

/// A bay that runs.
pub(super) struct Opened {
    pub(super) served: Served,
    pub(super) running: Running,
    /// Where its datagrams come in.
    pub(super) udp: SocketAddr,
}

/// The socket of a bay's datagrams.
pub(super) fn socket(config: &Config) -> anyhow::Result<UdpSocket> {
    let listen = config.udp.listen;
    UdpSocket::bind(listen).with_context(|| {
        let bay = config.bay.id.as_str();
        format!("bay {bay} cannot listen on {listen} (UDP)")
    })
}

/// A bay as it is configured.
pub(super) fn open(config: &Config, socket: UdpSocket, shared: &Shared) -> anyhow::Result<Opened> {
    let clock = shared.clock;
    let gate = Gate::new(&config.udp, clock)?;
    let map = MarkerMap::load(&config.markers.map)?;
    let (context, context_text) = match &config.context.file {
        Some(path) => {
            let told = context::load(path, &map)?;
            told.remarks.iter().for_each(|r| info!("{r}"));
            (told.context, Some(told.text))
        }
        None => (Context::default(), None),
    };
    let meta = meta(config, (&map, context_text), clock);
    let kept = keep(config, (meta, &context), clock)?;
    let kept = Kept {
        context: kept.context.or(Some(context)),
        ..kept
    };
    let unkept = config.udp.allow.is_empty() && config.udp.key_file.is_none();
    if unkept && !config.udp.listen.ip().is_loopback() {
        let bay = config.bay.id.as_str();
        warn!(
            bay,
            "anybody on this network can send datagrams: set allow or key_file under [udp]"
        );
    }
    begin(config, (socket, gate, map), (kept, None), shared)
}

/// The threads of a bay.
pub(super) fn begin(
    config: &Config,
    (socket, gate, map): (UdpSocket, Gate, MarkerMap),
    (kept, reports): (Kept, Option<Sender<Report>>),
    shared: &Shared,
) -> anyhow::Result<Opened> {
    let hub = Arc::new(Hub::new(bay(config, &kept.note)));
    let udp = socket.local_addr()?;
    let running = pipeline::start(Start {
        socket,
        gate,
        receive_buffer_bytes: config.udp.receive_buffer_bytes,
        map,
        setup: setup(config, kept.context.unwrap_or_default()),
        keep: kept.keep,
        hub: Arc::clone(&hub),
        coach: kept.desk,
        reports,
        clock: shared.clock,
        turn: shared.turn.clone(),
    })?;
    let served = Served {
        hub,
        coach: kept.coach,
        pulse: running.pulse(),
    };
    Ok(Opened {
        served,
        running,
        udp,
    })
}

fn setup(config: &Config, context: Context) -> Setup {
    let reorder_window_ns = i64::from(config.markers.reorder_window_millis) * 1_000_000;
    let context = Context {
        late_ns: config.late_millis.nanoseconds(),
        ..context
    };
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

/// What a recording of this bay says about itself.
pub(super) fn meta(
    config: &Config,
    (map, context): (&MarkerMap, Option<String>),
    clock: Clock,
) -> Meta {
    Meta {
        bay: config.bay.id.as_str().to_owned(),
        zone: config.bay.zone.as_str().to_owned(),
        program: env!("CARGO_PKG_VERSION").into(),
        clock_zero_utc_ns: clock.zero_utc_ns(),
        marker_map: map.text.clone(),
        context,
        late_ns: config.late_millis.nanoseconds(),
        only_swings: config.archive.around().is_some(),
    }
}

/// What the bay keeps.
pub(super) struct Kept {
    pub(super) keep: Keep,
    /// How the screen says so.
    pub(super) note: String,
    /// The coach's side, with what its thread hears.
    pub(super) coach: Option<Arc<Coach>>,
    pub(super) desk: Option<Desk>,
    /// What is told about whoever stands in the bay first, where the archive knows.
    pub(super) context: Option<Context>,
}

impl Kept {
    fn only(keep: Keep, note: &str) -> Self {
        Self {
            keep,
            note: note.into(),
            coach: None,
            desk: None,
            context: None,
        }
    }
}

/// A bay with an archive: students take their seats by the API, the first one may be told.
pub(super) fn keep_archive(
    dir: &Path,
    (student, around): (Option<&str>, Option<Around>),
    (meta, context): (Meta, &Context),
    clock: Clock,
) -> anyhow::Result<Kept> {
    let (wake, bell) = pipeline::bell();
    let (orders, seats) = pipeline::seats();
    let goes_on = student.is_none();
    let outlets = (orders, wake.clone());
    let told = (meta.context.clone(), context);
    let (coach, seat) = match Coach::start(dir, (meta.clone(), clock), outlets.clone(), student) {
        Err(why @ ArchiveError::NotConsented(_)) => {
            warn!(code = %why.code(), "not recorded: {why}");
            Coach::start(dir, (meta.clone(), clock), outlets, None)?
        }
        started => started?,
    };
    // A context file that was named on purpose beats what the archive knows of the first student.
    let seat = match told {
        (Some(text), context) => Arc::new(Seat::new(
            seat.session.clone(),
            (context.clone(), Some(text)),
            seat.note.clone(),
        )),
        (None, _) => seat,
    };
    let coach = Arc::new(coach);
    let writer = writer::Start {
        archive: Archive::create(dir)?,
        seat: Arc::clone(&seat),
        meta,
        clock,
        ids: outgoing::value_ids(),
        around,
        goes_on,
        filed: wake,
    };
    Ok(Kept {
        keep: Keep::Archive(Box::new(writer)),
        note: seat.note.clone(),
        coach: Some(Arc::clone(&coach)),
        desk: Some(Desk { coach, bell, seats }),
        context: Some(seat.context.clone()),
    })
}

fn keep(config: &Config, (meta, context): (Meta, &Context), clock: Clock) -> anyhow::Result<Kept> {
    if let Some(dir) = &config.archive.dir {
        let student = config.archive.student.as_deref();
        let around = config.archive.around();
        return keep_archive(dir, (student, around), (meta, context), clock);
    }
    let Some(dir) = config.recording.dir.as_deref() else {
        return Ok(Kept::only(Keep::Nothing, "not recorded"));
    };
    std::fs::create_dir_all(dir)
        .with_context(|| format!("cannot make folder {}", dir.display()))?;
    let path = dir.join(format!(
        "{}-{}.mcap",
        meta.bay,
        meta.clock_zero_utc_ns / 1_000_000
    ));
    let recorder = Recorder::create(&path, &meta)?;
    Ok(Kept::only(
        Keep::Recording(Box::new(recorder)),
        "recording datagrams",
    ))
}
