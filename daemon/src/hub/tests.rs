//! Snapshot and stream join without a gap; a screen that is behind is let go and nobody waits.

use std::collections::BTreeMap;
use std::sync::atomic::{AtomicBool, Ordering};

use protocol::report::{Measurement, Metric, Transport};
use protocol::screen::{ReceiveBuffer, Status, Swing};

use super::*;
use crate::clock::Clock;

fn bay() -> Bay {
    Bay {
        id: "north".into(),
        name: "North".into(),
        zone: "UTC".into(),
        program: "0.1.0".into(),
        recording: "not recorded".into(),
    }
}

fn swing(id: &str, revision: u32) -> Message {
    swing_of(id, revision, 0)
}

/// A swing with so many bytes of a reason.
fn swing_of(id: &str, revision: u32, bytes: usize) -> Message {
    let metric = Metric {
        value: None,
        unit: "m/s".into(),
        change: None,
        reason: Some("x".repeat(bytes)),
        limited: None,
        uncertainty: None,
    };
    let measurement = Measurement {
        kind: "shot".into(),
        confidence: None,
        handed: "right".into(),
        events: BTreeMap::new(),
        metrics: BTreeMap::from([("head_speed".to_owned(), metric)]),
        club_length_m: None,
        markers: Vec::new(),
        notes: Vec::new(),
    };
    let report = Report {
        id: id.into(),
        revision,
        unrefined: None,
        measurement,
        transport: Transport::default(),
    };
    Message::Swing(Swing {
        bay: "north".into(),
        report,
    })
}

fn status(state: BayState) -> Message {
    Message::Status(Status {
        bay: "north".into(),
        state,
        time_s: Some(1.0),
    })
}

fn health(dropped: u64) -> Message {
    Message::Health(Health {
        bay: "north".into(),
        streams: Vec::new(),
        findings: Vec::new(),
        receive_buffer: ReceiveBuffer::default(),
        dropped,
        refused: Vec::new(),
        queues: Vec::new(),
    })
}

fn live(time_s: f64, landmarks: &[&str], points: usize) -> Live {
    let landmarks = landmarks.iter().map(|&l| l.to_owned()).collect();
    Live {
        pelvis_shift: None,
        pelvis_rotation: None,
        bay: "north".into(),
        time_s,
        landmarks,
        points: vec![Some([0.0, 1.0, 2.0]); points],
    }
}

async fn next(subscription: &mut Subscription) -> Message {
    let text = tokio::time::timeout(Duration::from_secs(10), subscription.next()).await;
    serde_json::from_str(&text.expect("nothing came in ten seconds").unwrap()).unwrap()
}

async fn hello(subscription: &mut Subscription) -> Hello {
    let Message::Hello(hello) = next(subscription).await else {
        panic!("no hello first")
    };
    hello
}

fn ids(swings: &[Report]) -> Vec<(&str, u32)> {
    swings.iter().map(|s| (s.id.as_str(), s.revision)).collect()
}

#[tokio::test]
async fn a_late_screen_gets_the_picture_first() {
    let hub = Hub::new(bay());
    hub.publish(status(BayState::InMotion));
    hub.publish(health(7));
    hub.publish(swing("a", 1));
    hub.publish(swing("b", 1));
    hub.publish(swing("a", 2));
    hub.live(live(0.5, &["c7", "t8"], 2));
    let hello = hello(&mut hub.subscribe()).await;
    assert_eq!(
        (
            hello.version.as_str(),
            hello.bay.as_str(),
            hello.bay_name.as_str()
        ),
        (VERSION, "north", "North")
    );
    assert_eq!(hello.state, BayState::InMotion);
    assert_eq!(hello.landmarks, ["c7", "t8"]);
    assert_eq!(ids(&hello.swings), [("a", 2), ("b", 1)]);
    assert_eq!(hello.health.map(Message::Health), Some(health(7)));
}

#[tokio::test]
async fn an_older_revision_changes_nothing() {
    let hub = Hub::new(bay());
    hub.publish(swing("a", 2));
    let mut screen = hub.subscribe();
    assert_eq!(ids(&hello(&mut screen).await.swings), [("a", 2)]);
    hub.publish(swing("a", 1));
    hub.publish(status(BayState::Waiting));
    assert_eq!(next(&mut screen).await, status(BayState::Waiting));
    assert_eq!(hub.swing("a").unwrap().revision, 2);
}

#[tokio::test]
async fn twenty_swings_and_replays_are_kept() {
    let hub = Hub::new(bay());
    for n in 0..23 {
        let id = format!("s{n}");
        let replay = Replay {
            id: id.clone(),
            handed: "right".into(),
            rate_hz: 120.0,
            start_s: 0.0,
            landmarks: Vec::new(),
            frames: Vec::new(),
            ground: None,
        };
        hub.keep_replay(replay);
        hub.publish(swing(&id, 1));
    }
    let newest_first: Vec<_> = hub.swings().iter().map(|s| s.id.clone()).collect();
    assert_eq!(
        (
            newest_first.len(),
            newest_first[0].as_str(),
            newest_first[19].as_str()
        ),
        (20, "s22", "s3")
    );
    assert!(hub.replay("s2").is_none() && hub.replay("s3").is_some());
    assert!(hub.swing("s2").is_none() && hub.swing("s3").is_some());
}

#[tokio::test]
async fn a_snapshot_stays_below_its_limit_with_the_newest_swings() {
    let hub = Hub::new(bay());
    for n in 0..20 {
        hub.publish(swing_of(&format!("s{n}"), 1, 30 * 1024));
    }
    let text = hub.subscribe().next().await.unwrap();
    assert!(text.len() <= 256 * 1024, "{} bytes", text.len());
    let hello: Hello = serde_json::from_str(&text).unwrap();
    assert_eq!(
        (hello.swings.len(), hello.swings.last().unwrap().id.as_str()),
        (6, "s19")
    );
    assert_eq!(hub.swings().len(), 20, "HTTP has them all");
}

/// Screens join again and again while another thread publishes: hello and stream together show
/// every count once and in order.
#[tokio::test]
async fn nothing_falls_between_snapshot_and_stream() {
    let hub = Arc::new(Hub::new(bay()));
    let enough = Arc::new(AtomicBool::new(false));
    let (publisher, stop) = (hub.clone(), enough.clone());
    let publishing = tokio::task::spawn_blocking(move || {
        let mut count = 0;
        while !stop.load(Ordering::Relaxed) {
            count += 1;
            publisher.publish(health(count));
        }
        count
    });
    let mut last = 0;
    for _ in 0..2000 {
        let mut screen = hub.subscribe();
        let in_hello = hello(&mut screen).await.health.map_or(0, |h| h.dropped);
        for count in in_hello + 1..=in_hello + 4 {
            assert_eq!(next(&mut screen).await, health(count));
        }
        last = in_hello;
    }
    enough.store(true, Ordering::Relaxed);
    let published = publishing.await.unwrap();
    assert!(
        1 < last && last < published,
        "joined at {last} of {published}, not while publishing"
    );
}

#[tokio::test]
async fn a_screen_that_is_behind_is_let_go_and_told() {
    let hub = Hub::new(bay());
    let (mut slow, mut quick) = (hub.subscribe(), hub.subscribe());
    hello(&mut quick).await;
    // One fits in the queue per place; the next finds it full.
    for count in 0..=QUEUE as u64 {
        hub.publish(health(count));
        assert_eq!(next(&mut quick).await, health(count));
    }
    slow.fell_behind().notified().await;
    assert_eq!(hub.screens(), 1);
    hello(&mut slow).await;
    for count in 0..QUEUE as u64 {
        assert_eq!(next(&mut slow).await, health(count));
    }
    assert_eq!(slow.next().await, None);
}

#[tokio::test]
async fn a_screen_that_left_is_forgotten() {
    let hub = Hub::new(bay());
    drop(hub.subscribe());
    assert_eq!(hub.screens(), 0);
    hub.publish(health(1));
    assert!(hub.picture().screens.is_empty());
}

async fn next_live(screen: &mut Subscription) -> Live {
    let Message::Live(live) = next(screen).await else {
        panic!("no pose")
    };
    live
}

#[tokio::test]
async fn only_the_newest_pose_goes_out_with_landmarks_when_they_are_new() {
    let hub = Hub::new(bay());
    let mut screen = hub.subscribe();
    assert_eq!(hello(&mut screen).await.landmarks, Vec::<String>::new());
    let watch = async {
        hub.live(live(0.1, &["c7"], 1));
        let first = next_live(&mut screen).await;
        assert_eq!((first.time_s, first.landmarks.len()), (0.1, 1));
        for n in 0..100 {
            hub.live(live(f64::from(n), &[], 1));
        }
        let newest = next_live(&mut screen).await;
        assert_eq!((newest.time_s, newest.landmarks.len()), (99.0, 0));
        // A pose that the screen never gets brings new landmarks: they must not be lost with it.
        hub.live(live(200.0, &["c7", "t8"], 2));
        hub.live(live(201.0, &[], 2));
        let after = next_live(&mut screen).await;
        assert_eq!((after.time_s, after.landmarks.len()), (201.0, 2));
        hub.live(live(300.0, &[], 5));
        hub.live(live(301.0, &["c7", "t8"], 2));
        let last = next_live(&mut screen).await;
        assert_eq!(
            (last.time_s, last.landmarks.len()),
            (301.0, 0),
            "one with too many points is skipped"
        );
    };
    tokio::select! {
        () = watch => {}
        () = hub.pass_poses_on() => unreachable!("ends with the hub"),
    }
}

/// Only the upper limit is a promise: a busy machine may be slower, never faster.
#[tokio::test]
async fn poses_go_out_at_sixty_a_second_at_most() {
    let hub = Hub::new(bay());
    let clock = Clock::start();
    let mut screen = hub.subscribe();
    hello(&mut screen).await;
    let feed = async {
        for n in 0.. {
            hub.live(live(f64::from(n) / 1000.0, &["c7"], 1));
            tokio::time::sleep(Duration::from_millis(1)).await;
        }
    };
    let watch = async {
        for _ in 0..31 {
            next_live(&mut screen).await;
        }
    };
    tokio::select! {
        () = watch => {}
        () = feed => unreachable!("feeds on"),
        () = hub.pass_poses_on() => unreachable!("ends with the hub"),
    }
    assert!(
        clock.now_ns() >= 490_000_000,
        "31 poses in {} ns",
        clock.now_ns()
    );
}
