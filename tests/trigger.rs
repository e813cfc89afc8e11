//! A trigger beside the golfer, from datagram to impact: where the club head is hidden at the ball its
//! pulse is impact; where the collision is seen it only confirms it, and says when it does not.

use analysis::context::Context;
use analysis::forward::{Ball, CaptureParams, GolferParams, Take, swing};
use analysis::landmark::Landmark as L;
use analysis::measure::Measured;
use analysis::swing::event::Event;
use analysis::swing::impact::Method;
use analysis::swing::kind::Kind;
use daemon::map::MarkerMap;
use daemon::receive::Arrival;
use daemon::{feed, offline, synthetic};
use protocol::wire::{self, Body, Header, Pulse, Trigger};

const CAPTURE: CaptureParams = CaptureParams {
    rate_hz: 360.0,
    noise_m: 0.0005,
    dropout: 0.0,
    wobble: false,
    plates: None,
};

/// A take whose club head is hidden for this long on both sides of impact, seconds.
fn golfer(ball: Ball, hidden_s: f64) -> Take {
    let params = GolferParams {
        ball,
        ..GolferParams::from_seed(11)
    };
    let mut take = swing(&params, &CAPTURE);
    let impact = take.truth.event("impact").unwrap();
    let head = [
        L::ClubHeadHeel,
        L::ClubHeadToe,
        L::ClubHeadBack,
        L::ClubShaftLow,
    ];
    for (n, frame) in take.frames.iter_mut().enumerate() {
        let off = n as f64 / take.rate_hz - impact;
        for (point, landmark) in frame.iter_mut().zip(&take.landmarks) {
            if off.abs() < hidden_s && head.contains(landmark) {
                *point = None;
            }
        }
    }
    take
}

/// Measures the take with pulses at these times from its start, seconds, each sent three times.
fn measured(take: &Take, pulses: &[f64]) -> Measured {
    let map = MarkerMap::load("whin_32").unwrap();
    let file = synthetic::c3d(take, &map);
    let mut due = feed::of_c3d(&file, Some(&map), 1).unwrap();
    let mut sequence = 0;
    for &at in pulses {
        for _again in 0..3 {
            let header = Header {
                stream: 9,
                clock: 1,
                epoch: 1,
                sequence,
                device_time_ns: (at * 1e9) as i64,
            };
            sequence += 1;
            let mut bytes = Vec::new();
            let body = Body::Trigger(Trigger {
                pulse: Pulse::Sound,
                strength: None,
            });
            wire::encode(&header, &body, &mut bytes).unwrap();
            due.push(feed::Due {
                time_ns: header.device_time_ns,
                bytes,
            });
        }
    }
    due.sort_by_key(|d| d.time_ns);
    let arrivals = due.into_iter().map(|d| Arrival::Datagram {
        bytes: d.bytes.into(),
        received_ns: 0,
    });
    let mut found = offline::analyze(arrivals, map, Context::default());
    assert_eq!(found.swings.len(), 1, "{:?}", found.remarks);
    found.swings.remove(0)
}

fn off_s(found: &Measured, take: &Take) -> f64 {
    let slot = found.prepared.swing.slots.get(Event::Impact);
    let slot = slot.unwrap_or(found.prepared.swing.impact.slot);
    found.prepared.window.seconds(slot) - take.truth.event("impact").unwrap()
}

#[test]
fn a_pulse_is_impact_where_the_head_is_hidden() {
    let take = golfer(Ball::Centered, 0.012);
    let impact = take.truth.event("impact").unwrap();
    let alone = measured(&take, &[]);
    assert_ne!(alone.prepared.swing.impact.method, Method::SpeedStep);
    assert_ne!(alone.kind, Kind::Shot, "nothing tells of a ball");
    let with = measured(&take, &[impact - 1.0, impact + 0.0004]);
    assert_eq!(with.prepared.swing.impact.method, Method::Trigger);
    assert_eq!(with.kind, Kind::Shot);
    assert!(
        off_s(&with, &take).abs() < 0.0006,
        "{}",
        off_s(&with, &take)
    );
    assert!(
        with.notes.iter().any(|n| n.contains("trigger noticed it")),
        "{:?}",
        with.notes
    );
}

#[test]
fn a_seen_collision_stands_and_the_trigger_is_checked_against_it() {
    let take = golfer(Ball::Centered, 0.0);
    let impact = take.truth.event("impact").unwrap();
    let [alone, near, late, elsewhere] = [
        vec![],
        vec![impact + 0.003],
        vec![impact + 0.018],
        vec![impact + 0.4],
    ]
    .map(|pulses| measured(&take, &pulses));
    for found in [&alone, &near, &late, &elsewhere] {
        assert_eq!(found.prepared.swing.impact.method, Method::SpeedStep);
        assert_eq!(found.values, alone.values);
    }
    let told = |m: &Measured| m.notes.iter().filter(|n| n.contains("trigger")).count();
    assert_eq!([&alone, &near, &late, &elsewhere].map(told), [0, 0, 1, 0]);
    assert!(
        late.notes
            .iter()
            .any(|n| n.contains("18.0 ms after impact") || n.contains("17.9 ms after impact")),
        "{:?}",
        late.notes
    );
}

#[test]
fn a_pulse_from_next_door_makes_no_shot_of_a_rehearsal() {
    let params = GolferParams {
        ball: Ball::Missed,
        ..GolferParams::from_seed(4)
    };
    let take = swing(&params, &CAPTURE);
    let impact = take.truth.event("impact").unwrap();
    let quiet = measured(&take, &[]);
    let found = measured(&take, &[impact + 0.2]);
    assert_eq!(found.kind, quiet.kind);
    assert_ne!(found.kind, Kind::Shot);
    assert_eq!(found.values, quiet.values);
}
