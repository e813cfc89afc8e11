//! What comes for each datagram is worked off without taking memory, once all that is kept has its size: counted by
//! an allocator, in a process of its own. What may take memory is what happens once in a while, whatever the number
//! of datagrams: a stretch of memory for some hundred of them, a description, a look at the bay's health.

#![expect(clippy::unwrap_used, reason = "a test stops where something fails")]

use std::alloc::System;
use std::collections::BTreeMap;
use std::net::UdpSocket;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, PoisonError};

use analysis::analyzer::{Analyzer, Output};
use analysis::context::Context;
use analysis::forward::{CaptureParams, GolferParams, swing};
use analysis::swing::detector::State;
use bytes::Bytes;
use crossbeam_channel::{Receiver, bounded, never};
use daemon::analyze::{self, Bay, Outgoing, Setup};
use daemon::clock::Clock;
use daemon::decode::Decoder;
use daemon::feed::Feed;
use daemon::gate::Gate;
use daemon::health::HealthBook;
use daemon::map::MarkerMap;
use daemon::pulse::Pulse;
use daemon::receive::{self, Arrival, Dropped, Fed};
use daemon::recent::Recent;
use daemon::recording::{Meta, Recorder};
use protocol::screen::ReceiveBuffer;
use protocol::wire::{Marker, Plate, PlateKind, PlateList, Source};
use stats_alloc::{INSTRUMENTED_SYSTEM, StatsAlloc};

#[global_allocator]
static COUNTED: &StatsAlloc<System> = &INSTRUMENTED_SYSTEM;

/// The count is of the whole process: one test at a time.
static ALONE: Mutex<()> = Mutex::new(());

const RATE_HZ: u64 = 1000;
/// Until then all rings are full: the longest holds 11 s of frames.
const WARM_S: u64 = 14;
/// The stretch in which is counted.
const COUNTED_S: u64 = 10;

/// Device time that a missing datagram is waited for.
const REORDER_NS: i64 = 50_000_000;
/// Datagrams sent before the receiver is waited for, and how often that is done before it is counted.
const AT_ONCE: usize = 100;
const WARM_CHUNKS: usize = 100;

/// How often memory was taken so far, by growing too.
fn taken() -> usize {
    let stats = COUNTED.stats();
    stats.allocations + stats.reallocations
}

/// A golfer who stands at address on two plates: a frame each millisecond with two samples of the plates, each
/// datagram with its time, nanoseconds.
fn standing(map: &MarkerMap) -> Vec<(u64, Vec<u8>)> {
    let capture = CaptureParams {
        rate_hz: RATE_HZ as f64,
        noise_m: 0.0,
        dropout: 0.0,
        wobble: false,
        plates: None,
    };
    let take = swing(&GolferParams::from_seed(3), &capture);
    let labels = take.landmarks.iter();
    let labels = labels.map(|&l| map.label(l).unwrap_or(l.name()).to_owned());
    let source = |rate_hz: f64| Source {
        rate_hz,
        meters_per_unit: Some(1.0),
        bay_from_source: None,
        bay_origin: [0.0; 3],
    };
    let plate = |x: f32| Plate {
        kind: PlateKind::Moments,
        corners: [
            [x, 0.0, 0.6],
            [x + 0.4, 0.0, 0.6],
            [x + 0.4, 0.0, 0.0],
            [x, 0.0, 0.0],
        ],
        origin: [0.0; 3],
    };
    let plates = PlateList {
        source: source(2.0 * RATE_HZ as f64),
        total: 2,
        first: 0,
        plates: vec![plate(-0.41), plate(0.0)],
    };
    let mut markers = Feed::markers(labels.collect(), source(RATE_HZ as f64), 1);
    let mut forces = Feed::forces(plates, 1);
    let (mut due, mut all) = (Vec::new(), Vec::new());
    for n in 0..(WARM_S + COUNTED_S) * RATE_HZ {
        // A tenth of a millimeter to and fro, some newtons: still, but not dead.
        let off = |i: u64| ((n * 37 + i * 11) % 101) as f32 / 101.0 - 0.5;
        let time_ns = (n * 1_000_000_000 / RATE_HZ) as i64;
        let values: Vec<Option<f32>> = (0..24).map(|i| Some(5.0 * off(i))).collect();
        forces
            .samples(2 * n, time_ns, (12, &values), &mut due)
            .unwrap();
        let points = take.frames[0].iter().zip(0..).map(|(p, i)| {
            p.map(|p| Marker {
                position: [p.x, p.y, p.z].map(|v| v as f32 + 2e-4 * off(i)),
                residual: 0.0,
            })
        });
        let points: Vec<Option<Marker>> = points.collect();
        markers.frame(n, time_ns, &points, &mut due).unwrap();
        let arrival_ns = time_ns as u64 + 1_000_000;
        all.extend(due.drain(..).map(|one| (arrival_ns, one.bytes)));
    }
    all
}

#[test]
fn decoding_and_analyzing_takes_memory_for_descriptions_only() {
    let _alone = ALONE.lock().unwrap_or_else(PoisonError::into_inner);
    let map = MarkerMap::load("whin_32").unwrap();
    let all = standing(&map);
    let mut decoder = Decoder::new(map);
    let mut analyzer = Analyzer::new(Context::default(), REORDER_NS);
    let (mut outputs, mut state, mut poses) = (Vec::new(), State::Waiting, 0);
    let (mut before, mut datagrams) = (None, 0);
    for (arrival_ns, bytes) in &all {
        if *arrival_ns > WARM_S * 1_000_000_000 {
            before.get_or_insert_with(taken);
            datagrams += 1;
        }
        let input = decoder.decode(bytes, *arrival_ns).unwrap();
        analyzer.push(input, &mut outputs);
        for output in outputs.drain(..) {
            match output {
                Output::Pose(_) => poses += 1,
                Output::State { state: now, .. } => state = now,
                other => panic!("nothing moves: {other:?}"),
            }
        }
    }
    let taken = taken() - before.unwrap();
    let frames = (WARM_S + COUNTED_S) * RATE_HZ;
    assert_eq!((state, poses), (State::AtAddress, frames));
    // Two descriptions a second, of 36 labels and of two plates, some 120 times together.
    assert!(
        datagrams > 20_000 && taken * 10 < datagrams,
        "{taken} of {datagrams}"
    );
}

/// With what goes to the screens: live poses 60 times a second, plates twice, health once. The bound is of time and
/// not of datagrams, of which there are 2000 a second.
#[test]
fn the_analysis_of_a_bay_takes_memory_for_what_it_tells_only() {
    let _alone = ALONE.lock().unwrap_or_else(PoisonError::into_inner);
    let map = MarkerMap::load("whin_32").unwrap();
    // Made before, so that nothing is taken for it while it is counted.
    let all: Vec<(u64, Bytes)> = standing(&map)
        .into_iter()
        .map(|(arrival_ns, bytes)| (arrival_ns, bytes.into()))
        .collect();
    // Without room: whoever feeds is never more than one datagram ahead.
    let (fed, arrivals) = bounded(0);
    // Room for all that is told.
    let (outgoing, told) = bounded(2048);
    let outlets = analyze::Outlets {
        outgoing,
        refine: bounded(1).0,
        archive: None,
    };
    let setup = Setup {
        bay: "steady".into(),
        context: Context::default(),
        reorder_window_ns: REORDER_NS,
    };
    let (asked, granted) = (0, 0);
    let book = HealthBook::new("steady".into(), ReceiveBuffer { asked, granted });
    let dropped = Dropped::default();
    let pulse = Arc::new(Pulse::new(Clock::start()));
    let bay = Bay::new(setup, map, book, outlets, (&dropped, pulse));
    let taken = std::thread::scope(|scope| {
        let working = scope.spawn(|| bay.run(&arrivals));
        let mut before = None;
        for (received_ns, bytes) in all {
            if received_ns > WARM_S * 1_000_000_000 {
                before.get_or_insert_with(taken);
            }
            let arrival = Arrival::Datagram { received_ns, bytes };
            fed.send(Fed::Arrival(arrival)).unwrap();
        }
        let taken = taken() - before.unwrap();
        drop(fed);
        working.join().unwrap();
        taken as u64
    });
    let poses = told.iter().filter(|t| matches!(t, Outgoing::Live(_)));
    assert!(poses.count() as u64 > 55 * (WARM_S + COUNTED_S));
    // 120 for descriptions as above, two a pose, the rest for health and plates.
    assert!(taken < 600 * COUNTED_S, "{taken} in {COUNTED_S} s");
}

#[test]
fn receiving_and_recording_take_memory_for_hundreds_of_datagrams_at_once() {
    let _alone = ALONE.lock().unwrap_or_else(PoisonError::into_inner);
    let map = MarkerMap::load("whin_32").unwrap();
    let all = standing(&map);
    let dir = std::env::temp_dir().join(format!("whin-steady-{}", std::process::id()));
    std::fs::create_dir_all(&dir).unwrap();
    let meta = Meta {
        bay: "steady".into(),
        zone: "UTC".into(),
        program: "test".into(),
        clock_zero_utc_ns: 0,
        marker_map: map.text.clone(),
        context: None,
        late_ns: BTreeMap::new(),
        only_swings: false,
    };
    let mut recorder = Recorder::create(&dir.join("steady.mcap"), &meta).unwrap();
    let socket = UdpSocket::bind("127.0.0.1:0").unwrap();
    receive::size_buffer(&socket, 1 << 20).unwrap();
    let to = socket.local_addr().unwrap();
    let (analysis, analyzed) = bounded(1024);
    let (recording, recorded) = bounded(1024);
    let outlets = receive::Outlets {
        analysis,
        recording: Some(recording),
        recent: Some(Arc::new(Recent::default())),
    };
    let (dropped, stop) = (Dropped::default(), AtomicBool::new(false));
    let taken = std::thread::scope(|scope| {
        let receiving = scope.spawn(|| {
            let socket = (&socket, Gate::default());
            let outlets = (&outlets, &never());
            receive::run(socket, Clock::start(), outlets, &dropped, &stop)
        });
        let sender = UdpSocket::bind("127.0.0.1:0").unwrap();
        let mut before = 0;
        for (n, some) in all.chunks(AT_ONCE).enumerate() {
            if n == WARM_CHUNKS {
                before = taken();
            }
            for (_, bytes) in some {
                assert_eq!(sender.send_to(bytes, to).unwrap(), bytes.len());
            }
            for (_, bytes) in some {
                assert_eq!(next(&analyzed).1, bytes);
                let (received_ns, came) = next(&recorded);
                recorder.push(received_ns, &came, 0).unwrap();
            }
        }
        let taken = taken() - before;
        stop.store(true, Ordering::Relaxed);
        receiving.join().unwrap().unwrap();
        taken
    });
    recorder.finish().unwrap();
    std::fs::remove_dir_all(&dir).unwrap();
    let datagrams = all.len() - WARM_CHUNKS * AT_ONCE;
    // Two a stretch of 64 kB of datagrams, as much as the recording's batches take, and the rings that grow.
    assert!(taken * 20 < datagrams, "{taken} of {datagrams}");
}

/// The next datagram of a queue, past the ticks.
fn next(queue: &Receiver<Fed>) -> (u64, Bytes) {
    loop {
        if let Fed::Arrival(Arrival::Datagram { received_ns, bytes }) = queue.recv().unwrap() {
            return (received_ns, bytes);
        }
    }
}
