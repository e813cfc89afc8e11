//! A hall at work, in the pace of life: bays with markers at 1000 Hz and two plates at 2000 Hz each, students in all
//! of them, everything archived, a screen before each. How soon a report is on the screen once the last sample that
//! it needs was sent, beside a bare echo over the same kind of socket; what is lost; which share of the cores it
//! takes.

use std::fs;
use std::net::{SocketAddr, UdpSocket};
use std::path::PathBuf;
use std::time::{Duration, Instant};

use analysis::analyzer::{Analyzer, Output};
use analysis::context::Context;
use analysis::forward::{CaptureParams, GolferParams, PlateParams, swing};
use daemon::decode::Decoder;
use daemon::feed;
use daemon::map::MarkerMap;
use daemon::synthetic;
use futures_util::{SinkExt as _, StreamExt as _};
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng as _, SeedableRng as _};
use serde_json::{Value, json};
use tokio::net::{TcpListener, TcpStream};
use tokio_tungstenite::tungstenite::Message;
use tokio_tungstenite::{accept_async, client_async, connect_async};

use super::bay::Bay;
use super::rows::{at_most, quantile, told};
use super::support::scratch;
use super::{cpu, http};

/// Where the epoch stands in a datagram (the layout in `protocol`).
const EPOCH: usize = 16;
/// The order of a stream waits so long for what may have been overtaken, nanoseconds.
const REORDER_NS: i64 = 50_000_000;
/// A bay rests for up to so long before a shot, ms.
const REST_MS: u64 = 8000;
/// A message comes at least this often; four times that without a swing ends the waiting for it.
const AFTER: Duration = Duration::from_secs(6);

pub(crate) fn rows(quick: bool) {
    let echo = tokio::runtime::Runtime::new().unwrap().block_on(echo());
    let (mut shares, shots) = (Vec::new(), if quick { 2 } else { 7 });
    for (bays, shots) in [(1, if quick { 4 } else { 14 }), (8, 2), (16, shots)] {
        let seen = work(bays, shots);
        let p99 = quantile(seen.latencies.iter().copied(), 0.99);
        let beside = format!(
            "{} of {} reports, median {:.1} ms, p99 {p99:.1} ms, echo p99 {echo:.2} ms",
            seen.latencies.len(),
            bays * shots,
            quantile(seen.latencies.iter().copied(), 0.5)
        );
        if bays != 8 {
            at_most(
                &format!("report.{bays}_bays.ms_above_echo"),
                p99 - echo,
                20.0,
                &beside,
            );
        }
        let said = format!("{:.0} datagrams a second", seen.datagrams_a_second);
        at_most(
            &format!("hall.{bays}_bays.datagrams_lost"),
            seen.lost,
            0.0,
            &said,
        );
        told(
            &format!("hall.{bays}_bays.share_of_two_cores"),
            seen.share / 2.0,
            "live path and refining",
        );
        told(
            &format!("hall.{bays}_bays.live_share_of_two_cores"),
            seen.live / 2.0,
            "without refining",
        );
        shares.push(seen.live);
    }
    at_most(
        "growth.bays",
        shares[2] / shares[1],
        2.2,
        "time on a core of 16 bays beside 8, without refining",
    );
}

/// What was seen of a hall.
struct Seen {
    /// From the sending of the last datagram that a report needs to the report, ms.
    latencies: Vec<f64>,
    lost: f64,
    /// Time on a core a second, all of it and what is not refining.
    share: f64,
    live: f64,
    datagrams_a_second: f64,
}

/// A swing as it is sent.
struct Shot {
    /// Time from the first, nanoseconds, and bytes.
    datagrams: Vec<(u64, Vec<u8>)>,
    /// The datagram with which the first report leaves the analysis.
    needed: usize,
}

fn shot(seed: u64) -> Shot {
    let plates = PlateParams {
        rate_hz: 2000.0,
        ..PlateParams::USUAL
    };
    let capture = CaptureParams {
        rate_hz: 1000.0,
        noise_m: 0.0005,
        dropout: 0.01,
        wobble: true,
        plates: Some(plates),
    };
    let map = || MarkerMap::load("whin_32").unwrap();
    let take = synthetic::c3d(&swing(&GolferParams::from_seed(seed), &capture), &map());
    let due = feed::of_c3d(&take, Some(&map()), 1).unwrap();
    let (mut decoder, mut analyzer) = (
        Decoder::new(map()),
        Analyzer::new(Context::default(), REORDER_NS),
    );
    let (mut out, mut needed) = (Vec::new(), None);
    for (n, one) in due.iter().enumerate() {
        if let Some(input) = decoder.decode(&one.bytes, one.time_ns as u64) {
            analyzer.push(input, &mut out);
        }
        let reported = |o: &Output| matches!(o, Output::First { .. } | Output::Swing { .. });
        if needed.is_none() && out.iter().any(reported) {
            needed = Some(n);
        }
        out.clear();
    }
    let datagrams = due
        .into_iter()
        .map(|d| (d.time_ns as u64, d.bytes))
        .collect();
    Shot {
        datagrams,
        needed: needed.expect("a swing within its take"),
    }
}

/// Places a student of the scenario with consent in a bay, by the API.
pub(crate) fn seat(to: SocketAddr, bay: &str) {
    let api = http::Api(to);
    let student = json!({ "name": format!("Visitor {bay}"), "side": "right", "born": 1985, "consents": ["lesson"] });
    let student = api.post("/api/v1/students", &student)["id"].clone();
    let seat = json!({ "mode": "student", "student": student });
    api.put(&format!("/api/v1/bays/{bay}/seat"), &seat);
}

/// A running hall with a student in each bay.
struct Hall {
    program: Bay,
    /// Where the datagrams of each bay go.
    sockets: Vec<SocketAddr>,
    folder: PathBuf,
}

impl Hall {
    fn open(bays: usize) -> Self {
        let folder = scratch("bench-hall");
        let config = folder.join("hall.toml");
        let further = |n| format!("[[bays]]\nid = \"bay-{n}\"\nlisten = \"127.0.0.1:0\"\n");
        let text: String = (1..bays).map(further).collect();
        fs::write(
            &config,
            format!("version = 1\n[bay]\nid = \"bay-0\"\n{text}"),
        )
        .unwrap();
        let archive = folder.join("archive");
        let [config, archive] = [&config, &archive].map(|path| path.to_str().unwrap());
        let mut program = Bay::start("whin_32", &["--config", config, "--archive", archive]);
        let mut sockets = vec![program.udp];
        sockets.extend((1..bays).map(|_| program.next_udp()));
        (0..bays).for_each(|n| seat(program.http, &format!("bay-{n}")));
        Self {
            program,
            sockets,
            folder,
        }
    }

    /// Time on a core of the program so far: all of it, and refining.
    fn cpu_s(&self) -> (f64, f64) {
        let pid = self.program.pid();
        (cpu::of(pid, None), cpu::of(pid, Some("refine")))
    }

    /// Datagrams that never came or were dropped.
    fn lost(&self) -> f64 {
        let (_, page) = http::text(self.program.http, ("GET", "/metrics"), ("", b""));
        let lost = [
            "whin_datagrams_lost_total{",
            "whin_datagrams_dropped_total{",
        ];
        let lines = page
            .lines()
            .filter(|l| lost.iter().any(|name| l.starts_with(name)));
        let value = |line: &str| line.rsplit(' ').next().unwrap().parse::<f64>().unwrap();
        lines.map(value).sum()
    }

    fn close(self) {
        let ended = self.program.stop_within(Duration::from_secs(60));
        assert_eq!(ended, Some(0));
        fs::remove_dir_all(&self.folder).unwrap();
    }
}

/// A hall of so many bays at work, so many shots in each.
fn work(bays: usize, shots: usize) -> Seen {
    let hall = Hall::open(bays);
    let takes: Vec<Shot> = (0..bays.min(4)).map(|n| shot(n as u64)).collect();
    let http = hall.program.http;
    let (before, began) = (hall.cpu_s(), Instant::now());
    let (mut latencies, mut sent) = (Vec::new(), 0);
    std::thread::scope(|scope| {
        let watching = |n| scope.spawn(move || watch(http, n, shots));
        let screens: Vec<_> = (0..bays).map(watching).collect();
        let sending = |(n, &to): (usize, &SocketAddr)| {
            let take = &takes[n % takes.len()];
            scope.spawn(move || play(take, to, (n as u64, shots)))
        };
        let senders: Vec<_> = hall.sockets.iter().enumerate().map(sending).collect();
        for (screen, sender) in screens.into_iter().zip(senders) {
            let played = sender.join().unwrap();
            sent += played.iter().map(|p| p.1).sum::<usize>();
            for (epoch, at) in screen.join().unwrap() {
                let waited = at.saturating_duration_since(played[epoch - 1].0);
                latencies.push(waited.as_secs_f64() * 1e3);
            }
        }
    });
    let (after, took_s) = (hall.cpu_s(), began.elapsed().as_secs_f64());
    let (all, refining) = (after.0 - before.0, after.1 - before.1);
    let lost = hall.lost();
    hall.close();
    Seen {
        latencies,
        lost,
        share: all / took_s,
        live: (all - refining) / took_s,
        datagrams_a_second: sent as f64 / took_s,
    }
}

/// Sends a take over and over, each time from a sender that began anew and after a rest of its own, as bays do not
/// swing in step: when the datagram that the report needs was sent, and how many were.
fn play(shot: &Shot, to: SocketAddr, (seed, shots): (u64, usize)) -> Vec<(Instant, usize)> {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let socket = UdpSocket::bind("127.0.0.1:0").unwrap();
    socket.connect(to).unwrap();
    let mut once = |epoch: usize| {
        std::thread::sleep(Duration::from_millis(rng.next_u64() % REST_MS));
        let (began, mut needed) = (Instant::now(), None);
        for (n, (at_ns, bytes)) in shot.datagrams.iter().enumerate() {
            let early = Duration::from_nanos(*at_ns).saturating_sub(began.elapsed());
            if early > Duration::from_micros(200) {
                std::thread::sleep(early);
            }
            let mut bytes = bytes.clone();
            bytes[EPOCH..EPOCH + 4].copy_from_slice(&(epoch as u32).to_le_bytes());
            socket.send(&bytes).unwrap();
            if n == shot.needed {
                needed = Some(Instant::now());
            }
        }
        (needed.unwrap(), shot.datagrams.len())
    };
    (1..=shots).map(&mut once).collect()
}

/// When the first report of each shot came, by the epoch of its sender, until all have come or nothing does.
fn watch(http: SocketAddr, bay: usize, shots: usize) -> Vec<(usize, Instant)> {
    let mut came: Vec<(usize, Instant)> = Vec::new();
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .unwrap();
    runtime.block_on(async {
        let address = format!("ws://{http}/ws?bay=bay-{bay}");
        let (mut socket, _) = connect_async(address).await.unwrap();
        let mut heard = Instant::now();
        while came.len() < shots && heard.elapsed() < 4 * AFTER {
            let Ok(Some(Ok(message))) = tokio::time::timeout(AFTER, socket.next()).await else {
                break;
            };
            let at = Instant::now();
            let Ok(text) = message.into_text() else {
                continue;
            };
            if !text.starts_with("{\"type\":\"swing\"") {
                continue;
            }
            heard = at;
            let swing: Value = serde_json::from_str(&text).unwrap();
            let id = swing["id"].as_str().unwrap();
            let epoch = id.rsplit('-').nth(1).unwrap();
            let epoch = usize::from_str_radix(epoch, 16).unwrap();
            if !came.iter().any(|(known, _)| *known == epoch) {
                came.push((epoch, at));
            }
        }
    });
    came
}

/// 99 of 100 echoes of a text as long as a report come back within, ms.
async fn echo() -> f64 {
    let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let to = listener.local_addr().unwrap();
    tokio::spawn(async move {
        let (stream, _) = listener.accept().await.unwrap();
        let mut socket = accept_async(stream).await.unwrap();
        while let Some(Ok(message)) = socket.next().await {
            if socket.send(message).await.is_err() {
                break;
            }
        }
    });
    let stream = TcpStream::connect(to).await.unwrap();
    let (mut socket, _) = client_async(format!("ws://{to}/"), stream).await.unwrap();
    let text = "x".repeat(20_000);
    let mut took = Vec::new();
    for _ in 0..500 {
        let began = Instant::now();
        socket.send(Message::text(text.clone())).await.unwrap();
        socket.next().await.unwrap().unwrap();
        took.push(began.elapsed().as_secs_f64() * 1e3);
    }
    quantile(took, 0.99)
}
