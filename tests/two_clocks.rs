//! The bay live: markers and plates by clocks of their own, over a socket that loses every twentieth
//! datagram, at the pace of life; held against the same take without a network.

use std::net::UdpSocket;
use std::time::{Duration, Instant};

use analysis::context::Context;
use analysis::forward::{CaptureParams, GolferParams, PlateParams, swing};
use daemon::feed::{self, Due};
use daemon::map::MarkerMap;
use daemon::{outgoing, synthetic};
use protocol::report::Measurement;
use protocol::wire;
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng, SeedableRng};
use serde_json::Value;

use crate::bay::Bay;
use crate::support::analyzed_with;

/// The plates' clock: set elsewhere and 40 parts per million fast.
const SET_NS: i64 = -7_200_000_000_000;
const FAST: f64 = 40e-6;
const LOSS: f64 = 0.05;
/// Sent until so long after impact, seconds.
const TAIL_S: f64 = 1.7;

/// The datagrams with the plates' stream on its own clock; a block leaves when its last sample is there.
fn apart(due: Vec<Due>) -> Vec<(i64, Vec<u8>)> {
    let mut out: Vec<(i64, Vec<u8>)> = due
        .into_iter()
        .map(|due| {
            let (mut header, body) = wire::decode(&due.bytes).unwrap();
            let mut ready = due.time_ns;
            if header.stream == 2 {
                if let wire::Body::ForceBlock(block) = &body {
                    ready += (block.samples() as f64 / 1000.0 * 1e9) as i64;
                }
                header.clock = 2;
                header.device_time_ns = (due.time_ns as f64 * (1.0 + FAST)) as i64 + SET_NS;
            }
            let mut bytes = Vec::new();
            wire::encode(&header, &body, &mut bytes).unwrap();
            (ready, bytes)
        })
        .collect();
    out.sort_by_key(|(ready, _)| *ready);
    out
}

#[tokio::test(flavor = "multi_thread")]
async fn live_with_two_clocks_and_loss_measures_what_the_file_gives() {
    let map = MarkerMap::load("whin_32").unwrap();
    let capture = CaptureParams {
        rate_hz: 360.0,
        noise_m: 0.0005,
        dropout: 0.0,
        wobble: false,
        plates: Some(PlateParams::USUAL),
    };
    let take = swing(&GolferParams::from_seed(21), &capture);
    let file = synthetic::c3d(&take, &map);
    let due = feed::of_c3d(&file, Some(&map), 3).unwrap();
    let until = ((take.truth.event("impact").unwrap() + TAIL_S) * 1e9) as i64;
    let offline = analyzed_with(due.clone(), map.clone(), Context::default());
    let offline = outgoing::measurement(&offline.swings[0]);

    let bay = Bay::start("whin_32", &[]);
    let mut screen = bay.listen().await;
    let address = bay.udp;
    let sent = std::thread::spawn(move || {
        let socket = UdpSocket::bind("127.0.0.1:0").unwrap();
        let mut random = ChaCha8Rng::seed_from_u64(5);
        let begun = Instant::now();
        for (ready, bytes) in apart(due)
            .into_iter()
            .take_while(|(ready, _)| *ready < until)
        {
            let at = Duration::from_nanos(ready.max(0) as u64);
            std::thread::sleep(at.saturating_sub(begun.elapsed()));
            if f64::from(random.next_u32()) / f64::from(u32::MAX) >= LOSS {
                socket.send_to(&bytes, address).unwrap();
            }
        }
    });
    let report = loop {
        let message = screen
            .next()
            .await
            .expect("the bay speaks until its refined report");
        if message["type"] == "swing" && message["revision"] == 3 {
            break message;
        }
    };
    sent.join().unwrap();

    let clock_ms = report["measurement"]["metrics"]["clock_uncertainty"]["value"]
        .as_f64()
        .unwrap();
    assert!(clock_ms > 0.0 && clock_ms < 5.0, "{clock_ms} ms");
    compare(&offline, &report);
}

/// Every value that has an uncertainty, against the same of the file.
fn compare(offline: &Measurement, report: &Value) {
    let number = |v: &Value| v.as_f64();
    let mut off = Vec::new();
    let (mut compared, mut of_ground) = (0, 0);
    for (id, clean) in &offline.metrics {
        let live = &report["measurement"]["metrics"][id];
        let standard = number(&live["uncertainty"]["standard"]);
        // What says how the capture went differs by what was lost.
        let quality = [
            "marker_visibility",
            "gap_longest",
            "cluster_residual",
            "frame_loss",
            "clock_",
        ];
        let (Some(a), Some(b), Some(u)) = (clean.value, number(&live["value"]), standard) else {
            continue;
        };
        if quality.iter().any(|q| id.starts_with(q)) {
            continue;
        }
        compared += 1;
        of_ground += usize::from(id.starts_with("vertical_") || id.starts_with("cop_"));
        // Both are noisy readings of one swing: their difference has twice the variance.
        let allowed = 3.3 * 2f64.sqrt() * u + 1e-3 * a.abs();
        if (a - b).abs() > allowed {
            off.push(format!(
                "{id}: file {a:.3}, live {b:.3} ± {u:.3} {}",
                clean.unit
            ));
        }
    }
    println!("{compared} values compared, {of_ground} of the ground; beyond: {off:#?}");
    assert!(compared > 150 && of_ground > 20, "{compared} {of_ground}");
    // Beyond 3.3 standard deviations lies one in a thousand of a normal distribution.
    assert!(off.len() <= compared / 50, "{off:#?}");
}
