//! A bad network between sender and bay, seeded: loss, reordering, duplicates. The swing is still
//! found and the loss is shown.

use std::net::UdpSocket;
use std::time::Duration;

use daemon::feed::{self, Due};
use daemon::map::MarkerMap;
use daemon::offline::read_c3d;
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng, SeedableRng};

use crate::bay::Bay;
use crate::support::{analyzed_datagrams, data};

/// What the network does to the datagrams.
struct Faults {
    loss: f64,
    duplicates: f64,
    /// Each datagram is delayed by up to this, device nanoseconds.
    jitter_ns: i64,
}

fn unit(random: &mut ChaCha8Rng) -> f64 {
    f64::from(random.next_u32()) / f64::from(u32::MAX)
}

/// The datagrams in the order in which they arrive, and how many were lost.
fn through(due: Vec<Due>, faults: &Faults, seed: u64) -> (Vec<Due>, u64) {
    let mut random = ChaCha8Rng::seed_from_u64(seed);
    let mut arrivals = Vec::new();
    let mut lost = 0;
    for datagram in due {
        if unit(&mut random) < faults.loss {
            lost += 1;
            continue;
        }
        let copies = 1 + usize::from(unit(&mut random) < faults.duplicates);
        for _ in 0..copies {
            let delay = (unit(&mut random) * faults.jitter_ns as f64) as i64;
            arrivals.push((datagram.time_ns + delay, datagram.clone()));
        }
    }
    arrivals.sort_by_key(|a| a.0);
    (arrivals.into_iter().map(|a| a.1).collect(), lost)
}

async fn swing_through(faults: Faults, seed: u64) {
    let Some(data) = data() else { return };
    let map = MarkerMap::load("club_led").unwrap();
    let take = read_c3d(&data.join("golf_club_107hz.c3d")).unwrap();
    let (arrivals, lost) = through(feed::of_c3d(&take, Some(&map), 7).unwrap(), &faults, seed);
    let bay = Bay::start("club_led", &[]);
    let mut screen = bay.listen().await;
    let socket = UdpSocket::bind("127.0.0.1:0").unwrap();
    for (n, datagram) in arrivals.iter().enumerate() {
        socket.send_to(&datagram.bytes, bay.udp).unwrap();
        if n % 20 == 19 {
            tokio::time::sleep(Duration::from_millis(10)).await;
        }
    }
    let (swings, _) = screen.until_silent().await;
    assert_eq!(swings.len(), 1, "seed {seed}");
    let impact = swings[0]["measurement"]["events"]["impact"]["time_s"]
        .as_f64()
        .unwrap();
    assert!(
        (impact - 2.966).abs() < 0.0093,
        "seed {seed}: impact at {impact}"
    );
    let top = swings[0]["measurement"]["events"]["top"]["time_s"]
        .as_f64()
        .unwrap();
    assert!((top - 2.539).abs() < 0.0093, "seed {seed}: top at {top}");
    let health = screen
        .health_where(|h| h["streams"][0]["received"].as_u64() == Some(arrivals.len() as u64))
        .await;
    let stream = &health["streams"][0];
    // What was lost at either end of the take leaves no gap to count.
    let counted = stream["lost"].as_u64().unwrap();
    assert!(
        counted <= lost && counted + 3 >= lost,
        "{lost} lost, {counted} counted"
    );
    assert_eq!(
        stream["duplicate"].as_u64().unwrap() > 0,
        faults.duplicates > 0.0
    );
    assert_eq!(
        stream["reordered"].as_u64().unwrap() > 0,
        faults.jitter_ns > 0
    );
    assert_eq!(
        stream["late"], 0,
        "reordering inside the window is not lateness"
    );
}

/// 5 % loss, reordering within 5 ms, duplicates: three seeds. (At 107 Hz a frame is 9.3 ms, so that
/// 5 ms alone reorder nothing; the jitter here spans frames.)
#[tokio::test]
async fn a_swing_survives_loss_reordering_and_duplicates() {
    for seed in [1, 2, 3] {
        swing_through(
            Faults {
                loss: 0.05,
                duplicates: 0.05,
                jitter_ns: 20_000_000,
            },
            seed,
        )
        .await;
    }
}

#[tokio::test]
async fn a_clean_network_counts_nothing() {
    swing_through(
        Faults {
            loss: 0.0,
            duplicates: 0.0,
            jitter_ns: 0,
        },
        4,
    )
    .await;
}

/// The synthetic golfer at 360 Hz with reordering within 5 ms, as analysed without a socket: the
/// network's faults must not show in what is measured beyond the lost frames.
#[test]
fn reordering_and_duplicates_alone_change_no_byte() {
    let map = MarkerMap::load("whin_32").unwrap();
    let take = daemon::synthetic::c3d(&daemon::demo::take(&daemon::demo::golfer(5, 0)), &map);
    let clean = feed::of_c3d(&take, Some(&map), 7).unwrap();
    let faults = Faults {
        loss: 0.0,
        duplicates: 0.1,
        jitter_ns: 5_000_000,
    };
    let (shaken, _) = through(clean.clone(), &faults, 11);
    assert_ne!(clean, shaken);
    let measure = |due: Vec<Due>| {
        let found = analyzed_datagrams(due, map.clone());
        assert_eq!(found.swings.len(), 1);
        serde_json::to_string(&daemon::outgoing::measurement(&found.swings[0])).unwrap()
    };
    assert_eq!(measure(clean), measure(shaken));
}
