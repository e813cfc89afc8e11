//! Six swings of the synthetic golfer as they are sent, and what can be made of their datagrams.

use std::sync::LazyLock;

use analysis::forward::{CaptureParams, GolferParams, PlateParams, Take, swing};
use daemon::demo;
use daemon::feed::{self, Due, Feed};
use daemon::map::MarkerMap;
use daemon::synthetic;
use protocol::report::Measurement;
use protocol::wire::{self, Body, Header, Source};
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::Rng as _;

use super::impact_s;

pub(super) const RATE_HZ: f64 = 360.0;
pub(super) const SHOTS: u64 = 6;
pub(super) const SECOND_NS: i64 = 1_000_000_000;
pub(super) const HOUR_NS: i64 = 3600 * SECOND_NS;

/// One datagram on its way.
#[derive(Clone)]
pub(super) struct Sent {
    /// When it arrives, nanoseconds.
    pub(super) at_ns: i64,
    pub(super) bytes: Vec<u8>,
}

/// A row of swings as it is sent, and their truth.
#[derive(Clone)]
pub(super) struct Lesson {
    pub(super) sent: Vec<Sent>,
    pub(super) truths: Vec<Measurement>,
}

/// How the sender behaves at one shot.
#[derive(Clone, Copy)]
pub(super) struct Shot {
    pub(super) rate_hz: f64,
    pub(super) epoch: u32,
    pub(super) layout: u32,
    /// Labels and markers in the reverse order.
    pub(super) reversed: bool,
}

pub(super) const USUAL: Shot = Shot {
    rate_hz: RATE_HZ,
    epoch: 1,
    layout: 1,
    reversed: false,
};

pub(super) fn take(seed: u64, shot: u64, rate_hz: f64) -> Take {
    let capture = CaptureParams {
        rate_hz,
        noise_m: 0.0005,
        dropout: 0.0,
        wobble: false,
        plates: Some(PlateParams::USUAL),
    };
    let golfer = GolferParams {
        scatter: 0.5,
        ..demo::golfer(seed, shot)
    };
    swing(&golfer, &capture)
}

/// Six shots in a row; what `of` says of each holds from its first frame on.
pub(super) fn lesson(seed: u64, of: impl Fn(u64) -> Shot) -> Lesson {
    let map = MarkerMap::load("whin_32").unwrap();
    let mut all = Lesson {
        sent: Vec::new(),
        truths: Vec::new(),
    };
    // Sequence numbers go on where nothing began anew.
    let mut next = [0u64; 2];
    let (mut start_ns, mut epoch, mut counts) = (0, 0, [0; 2]);
    for n in 0..SHOTS {
        let shot = of(n);
        let take = take(seed, n, shot.rate_hz);
        let start_s = start_ns as f64 * 1e-9;
        all.truths
            .push(synthetic::truth(&take.truth, shot.rate_hz, (start_s, 0.0)));
        if shot.epoch != epoch {
            (epoch, next, counts) = (shot.epoch, [0; 2], [0; 2]);
        }
        let due = datagrams(&take, &map, shot, (start_ns, &mut counts));
        for Due { time_ns, bytes } in due {
            let bytes = changed(&bytes, |header, body| {
                let sequence = &mut next[header.stream as usize - 1];
                (header.epoch, header.sequence) = (shot.epoch, *sequence);
                *sequence += 1;
                match body {
                    Body::Describe(describe) if header.stream == 1 => {
                        describe.layout = shot.layout;
                    }
                    Body::MarkerFrame(frame) => frame.layout = shot.layout,
                    _ => {}
                }
            });
            let at_ns = time_ns;
            all.sent.push(Sent { at_ns, bytes });
        }
        start_ns += feed::time_ns(take.frames.len(), shot.rate_hz);
    }
    all
}

pub(super) fn datagrams(
    take: &Take,
    map: &MarkerMap,
    shot: Shot,
    (start_ns, counts): (i64, &mut [u64; 2]),
) -> Vec<Due> {
    let source = Source {
        rate_hz: shot.rate_hz,
        meters_per_unit: Some(1.0),
        bay_from_source: None,
        bay_origin: [0.0; 3],
    };
    let plates = take.plates.as_ref().expect("plates were asked for");
    let mut labels = synthetic::labels(take, map);
    if shot.reversed {
        labels.reverse();
    }
    let mut markers = Feed::markers(labels, source, shot.epoch);
    let mut forces = Feed::forces(synthetic::plates(plates, source), shot.epoch);
    let mut due = Vec::new();
    for n in 0..take.frames.len() {
        let time_ns = start_ns + feed::time_ns(n, shot.rate_hz);
        let mut points = synthetic::frame(take, n);
        if shot.reversed {
            points.reverse();
        }
        let [frames, samples] = counts;
        markers.frame(*frames, time_ns, &points, &mut due).unwrap();
        *frames += 1;
        let values = synthetic::samples(take, n);
        forces
            .samples(*samples, time_ns, (12, &values), &mut due)
            .unwrap();
        *samples += values.len() as u64 / 12;
    }
    due
}

/// The datagram with something else in it.
pub(super) fn changed(bytes: &[u8], change: impl FnOnce(&mut Header, &mut Body<'_>)) -> Vec<u8> {
    let (mut header, mut body) = wire::decode(bytes).expect("a good datagram");
    change(&mut header, &mut body);
    let mut out = Vec::new();
    wire::encode(&header, &body, &mut out).expect("still a good one");
    out
}

pub(super) fn stream_of(sent: &Sent) -> u32 {
    wire::open(&sent.bytes).map_or(0, |d| d.header.stream)
}

pub(super) static CLEAN: LazyLock<Lesson> = LazyLock::new(|| lesson(6, |_| USUAL));

pub(super) fn unit(random: &mut ChaCha8Rng) -> f64 {
    f64::from(random.next_u32()) / f64::from(u32::MAX)
}

/// The clean lesson with its datagrams changed one by one: each becomes as many as are pushed.
pub(super) fn each(mut change: impl FnMut(&Sent, &mut Vec<Sent>)) -> Lesson {
    let mut sent = Vec::new();
    CLEAN.sent.iter().for_each(|one| change(one, &mut sent));
    Lesson {
        sent,
        truths: CLEAN.truths.clone(),
    }
}

pub(super) fn lossy(random: &mut ChaCha8Rng, share: f64) -> Lesson {
    each(|one, out| {
        if unit(random) >= share {
            out.push(one.clone());
        }
    })
}

pub(super) fn delayed(random: &mut ChaCha8Rng, share: f64, by_ms: f64) -> Lesson {
    each(|one, out| {
        let late = unit(random) < share;
        let by_ns = if late {
            unit(random) * by_ms * 1e6
        } else {
            0.0
        };
        out.push(Sent {
            at_ns: one.at_ns + by_ns as i64,
            ..one.clone()
        });
    })
}

/// A share of the datagrams goes through `damage`.
pub(super) fn damaged(
    random: &mut ChaCha8Rng,
    share: f64,
    damage: fn(&mut ChaCha8Rng, &mut Vec<u8>),
) -> Lesson {
    each(|one, out| {
        let mut one = one.clone();
        if unit(random) < share {
            damage(random, &mut one.bytes);
        }
        out.push(one);
    })
}

/// All datagrams but those that arrive in a stretch around each impact, seconds from it.
pub(super) fn without(around: (f64, f64)) -> Lesson {
    let holes: Vec<f64> = CLEAN.truths.iter().filter_map(impact_s).collect();
    each(|one, out| {
        let since = |hole: &f64| one.at_ns as f64 * 1e-9 - hole;
        if !holes
            .iter()
            .any(|hole| (around.0..around.1).contains(&since(hole)))
        {
            out.push(one.clone());
        }
    })
}

/// The second half of a lesson, from its fourth shot on.
pub(super) fn half_ns() -> i64 {
    let before = impact_s(&CLEAN.truths[2]).unwrap_or_default();
    let after = impact_s(&CLEAN.truths[3]).unwrap_or_default();
    ((before + 1.5 + (after - before - 1.5) * 0.2) * 1e9) as i64
}

pub(super) fn later(truths: &mut [Measurement], by_ns: i64) {
    for truth in truths {
        for event in truth.events.values_mut() {
            event.time_s = event.time_s.map(|t| t + by_ns as f64 * 1e-9);
        }
    }
}

/// From the middle of the lesson on: device time and arrival go on so much later.
pub(super) fn shifted(device_ns: i64, arrival_ns: i64) -> Lesson {
    let half = half_ns();
    let mut lesson = each(|one, out| {
        let mut one = one.clone();
        if one.at_ns >= half {
            one.bytes = changed(&one.bytes, |header, _| header.device_time_ns += device_ns);
            one.at_ns += arrival_ns;
        }
        out.push(one);
    });
    later(&mut lesson.truths[3..], device_ns);
    lesson
}

/// The clean lesson with another one of another golfer under the same stream ids.
pub(super) fn with_another(epoch: u32, sequence: u64) -> Lesson {
    let mut both = CLEAN.clone();
    let other = lesson(9, |_| USUAL);
    both.sent.extend(other.sent.iter().map(|one| Sent {
        at_ns: one.at_ns + 3_000_000,
        bytes: changed(&one.bytes, |header, _| {
            header.epoch = epoch;
            header.sequence += sequence;
        }),
    }));
    both
}

/// Force plates through a change of their numbers, from the middle of the lesson on; `None` drops a block.
pub(super) fn plates(change: fn(&mut [Option<f32>])) -> Lesson {
    let half = half_ns();
    each(|one, out| {
        let mut one = one.clone();
        if stream_of(&one) == 2 && one.at_ns >= half {
            let (header, body) = wire::decode(&one.bytes).unwrap();
            if let Body::ForceBlock(block) = body {
                let mut values: Vec<Option<f32>> = block.values.iter().collect();
                change(&mut values);
                let block = wire::ForceBlock {
                    values: values.as_slice().into(),
                    ..block
                };
                wire::encode(&header, &Body::ForceBlock(block), &mut one.bytes).unwrap();
            }
        }
        out.push(one);
    })
}
