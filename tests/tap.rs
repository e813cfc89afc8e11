//! The sync tap from datagram to line of configuration: a club's head strikes two plates whose stream is
//! late, in a take and with clocks apart; what is no tap gives no verdict and says what to do.

use std::collections::BTreeMap;

use daemon::map::MarkerMap;
use daemon::receive::Arrival;
use daemon::{feed, tap};

use protocol::c3d::{Analog, C3d, Channel, Marker, Plate};
use protocol::wire::{self, Body};

const MARKERS_HZ: f64 = 300.0;
const PLATES_HZ: f64 = 1200.0;
/// The plates tell of everything so much later than the markers, seconds.
pub(crate) const LATE_S: f64 = 0.0042;
/// Begin of each blow and the plate that is struck.
const BLOWS: [(f64, usize); 6] = [(1.5, 0), (2.6, 0), (3.7, 0), (4.8, 1), (5.9, 1), (7.0, 1)];
const MASS_KG: f64 = 0.28;
const BLOW_S: f64 = 0.005;

/// Height of the head's lowest marker and force on the plate. A blow is a half sine that turns −0.7 m/s
/// into +0.4 (mechanics of a mass point); the hand brings the head back up and holds it between.
fn height(t: f64) -> f64 {
    let Some((start, _)) = BLOWS.iter().find(|b| (b.0 - 0.3..b.0 + 0.4).contains(&t)) else {
        return 0.2;
    };
    let since = t - start;
    let ease = |u: f64| u * u * (3.0 - 2.0 * u);
    if since < 0.0 {
        let path = 0.7 * -since;
        return path + (0.2 - path) * ease((-since / 0.3).clamp(0.0, 1.0)).powi(3);
    }
    let within = since.min(BLOW_S);
    // Integral of −0.7 + 1.1 (1 − cos(π t ÷ T)) ÷ 2.
    let bend = std::f64::consts::PI / BLOW_S;
    let path = -0.7 * within
        + 0.55 * (within - (bend * within).sin() / bend)
        + 0.4 * (since - BLOW_S).max(0.0);
    path + (0.2 - path) * ease((since / 0.4).clamp(0.0, 1.0)).powi(3)
}

fn force(t: f64, plate: usize) -> f64 {
    let bend = std::f64::consts::PI / BLOW_S;
    let of = |start: f64| {
        let since = t - start;
        let within = (0.0..BLOW_S).contains(&since);
        f64::from(u8::from(within)) * MASS_KG * 0.55 * bend * (bend * since).sin()
    };
    BLOWS.iter().filter(|b| b.1 == plate).map(|b| of(b.0)).sum()
}

fn noise(n: usize) -> f64 {
    let part = |k: f64| (n as f64 * k).fract() - 0.5;
    part(0.754_877) + part(0.569_840) + part(0.618_034)
}

/// The take; `still` holds the club up all the time.
pub(crate) fn take(still: bool) -> C3d {
    let map = map();
    let head = ["club_head_heel", "club_head_toe", "club_head_back"];
    let labels: Vec<String> = head
        .iter()
        .map(|l| {
            map.label(analysis::landmark::Landmark::from_name(l).unwrap())
                .unwrap()
                .to_owned()
        })
        .collect();
    let marker = |n: usize, k: usize| {
        let t = n as f64 / MARKERS_HZ;
        let up = if still { 0.2 } else { height(t) };
        let at = [
            50.0 * k as f64,
            1e3 * up + 0.3 * noise(3 * n + k) + 12.0 * k as f64,
            300.0,
        ];
        Some(Marker {
            position: at.map(|v| v as f32),
            residual: 0.0,
        })
    };
    let frames = (0..(8.0 * MARKERS_HZ) as usize).map(|n| (0..3).map(|k| marker(n, k)).collect());
    let plates = (0..2).map(|n| Plate {
        kind: 2,
        corners: [(1.0, 1.0), (-1.0, 1.0), (-1.0, -1.0), (1.0, -1.0)]
            .map(|(a, b)| [500.0 * n as f64 + 200.0 * a, 0.0, 300.0 * b]),
        origin: [0.0, 0.0, -40.0],
        channels: (6 * n..6 * n + 6).collect(),
        cal_matrix: None,
    });
    let channel = |n: usize| {
        let sample = |s: usize| {
            let t = s as f64 / PLATES_HZ - LATE_S;
            let push = if n % 6 == 2 && !still {
                -force(t, n / 6)
            } else {
                0.0
            };
            (push + noise(7 * s + n)) as f32
        };
        Channel {
            label: format!("c{n}"),
            unit: if n % 6 < 3 { "N" } else { "Nmm" }.into(),
            samples: (0..(8.0 * PLATES_HZ) as usize)
                .map(sample)
                .map(Some)
                .collect(),
        }
    };
    C3d {
        rate_hz: MARKERS_HZ,
        first_frame: 1,
        units: "mm".into(),
        labels,
        frames: frames.collect(),
        plates: plates.collect(),
        analog: Analog {
            rate_hz: PLATES_HZ,
            channels: (0..12).map(channel).collect(),
        },
        ..C3d::default()
    }
}

fn map() -> MarkerMap {
    MarkerMap::load("whin_32").unwrap()
}

/// What is heard; `apart` gives the plates a clock of their own that is 30 ppm fast, and jitter.
fn heard(take: &C3d, apart: bool, late_ns: BTreeMap<u32, i64>) -> tap::Heard {
    let due = feed::of_c3d(take, Some(&map()), 1).unwrap();
    let mut arrivals: Vec<(u64, Vec<u8>)> = Vec::new();
    for (n, due) in due.into_iter().enumerate() {
        let (mut header, body) = wire::decode(&due.bytes).unwrap();
        let mut ready = due.time_ns;
        if let Body::ForceBlock(block) = &body {
            ready += ((block.samples() - 1) as f64 * 1e9 / PLATES_HZ) as i64;
        }
        if apart && header.stream == 2 {
            header.clock = 7;
            header.device_time_ns = (due.time_ns as f64 * (1.0 + 30e-6)) as i64 + 55_000_000_000;
        }
        let mut bytes = Vec::new();
        wire::encode(&header, &body, &mut bytes).unwrap();
        let jitter = (n * 7919 % 997) as f64 / 997.0;
        let delay = 0.3e6 + jitter.powi(4) * 12e6;
        arrivals.push((ready as u64 + 1_000_000_000 + delay as u64, bytes));
    }
    arrivals.sort_by_key(|(at, _)| *at);
    let arrivals = arrivals
        .into_iter()
        .map(|(received_ns, bytes)| Arrival::Datagram {
            received_ns: if apart { received_ns } else { 0 },
            bytes: bytes.into(),
        });
    tap::listen(arrivals, map(), late_ns)
}

#[test]
fn taps_tell_how_late_the_plates_are_with_one_clock_and_with_two() {
    let take = take(false);
    for apart in [false, true] {
        let heard = heard(&take, apart, BTreeMap::new());
        let plates: Vec<usize> = heard.taps.iter().map(|(_, t)| t.index).collect();
        // With a clock of its own the first second only learns that clock.
        assert_eq!(plates, BLOWS.map(|b| b.1), "{apart}: {heard:?}");
        assert!(heard.taps.iter().all(|(stream, _)| *stream == 2));
        let taps: Vec<_> = heard.taps.into_iter().map(|(_, t)| t).collect();
        let verdict = analysis::ground::tap::verdict(&taps).unwrap();
        println!(
            "apart {apart}: {:.2} ± {:.2} ms",
            1e3 * verdict.late_s,
            1e3 * verdict.uncertainty_s
        );
        assert!((verdict.late_s - LATE_S).abs() < 0.5e-3, "{verdict:?}");
    }
    // Told to the bay, nothing is left.
    let told = BTreeMap::from([(2, (LATE_S * 1e9) as i64)]);
    let taps = heard(&take, true, told).taps;
    assert!(taps.iter().all(|(_, t)| t.late_s.abs() < 1e-3), "{taps:?}");
}

#[test]
fn the_command_prints_the_line_and_refuses_what_is_no_tap() {
    let folder = crate::support::scratch("tap");
    let path = folder.join("tap.c3d");
    std::fs::write(&path, protocol::c3d::write(&take(false)).unwrap()).unwrap();
    let said = tap::read(&path, None).unwrap();
    assert!(said.contains("[late_millis]:\n2 = 4."), "{said}");
    let still = folder.join("still.c3d");
    std::fs::write(&still, protocol::c3d::write(&take(true)).unwrap()).unwrap();
    let refused = tap::read(&still, None).unwrap_err().to_string();
    assert!(
        refused.contains("still.c3d") && refused.contains("strike each plate"),
        "{refused}"
    );
}
