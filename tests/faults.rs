//! The fault grid: what each fault between a sender and the bay does to six swings of the synthetic golfer
//! (360 Hz, 0.5 mm, two plates), through the thread of the live path (`daemon::analyze`) with its health
//! pages. The table says what is found, how wrong it is, and under which codes it is announced.
//!
//! What is made of datagrams is here; faults of the machine (disk, store, clients, ports) are in
//! `faults_machine`, counting over a real socket in `network` and `refusals`.

use std::collections::BTreeSet;
use std::sync::Arc;
use std::sync::LazyLock;

use analysis::context::Context;
use analysis::forward::{CaptureParams, GolferParams, PlateParams, Take, swing};
use crossbeam_channel::unbounded;
use daemon::analyze::{Bay, Outgoing, Outlets, Setup};
use daemon::clock::Clock;
use daemon::demo;
use daemon::feed::{self, Due, Feed};
use daemon::health::HealthBook;
use daemon::map::MarkerMap;
use daemon::pulse::Pulse;
use daemon::receive::{Arrival, Dropped, Fed};
use daemon::synthetic;
use protocol::report::{Measurement, Report, WHOLE};
use protocol::screen::ReceiveBuffer;
use protocol::wire::{self, Body, Content, Header, Source};
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng as _, SeedableRng as _};

use crate::support::is_as_kept;

const RATE_HZ: f64 = 360.0;
const SHOTS: u64 = 6;
const SECOND_NS: i64 = 1_000_000_000;
const HOUR_NS: i64 = 3600 * SECOND_NS;
/// A report is of a swing when its impact is this close, seconds.
const MATCH_S: f64 = 0.1;

/// One datagram on its way.
#[derive(Clone)]
struct Sent {
    /// When it arrives, nanoseconds.
    at_ns: i64,
    bytes: Vec<u8>,
}

/// A row of swings as it is sent, and their truth.
#[derive(Clone)]
struct Lesson {
    sent: Vec<Sent>,
    truths: Vec<Measurement>,
}

/// What the bay made of it.
struct Seen {
    reports: Vec<Report>,
    codes: BTreeSet<String>,
}

/// How the sender behaves at one shot.
#[derive(Clone, Copy)]
struct Shot {
    rate_hz: f64,
    epoch: u32,
    layout: u32,
    /// Labels and markers in the reverse order.
    reversed: bool,
}

const USUAL: Shot = Shot {
    rate_hz: RATE_HZ,
    epoch: 1,
    layout: 1,
    reversed: false,
};

fn take(seed: u64, shot: u64, rate_hz: f64) -> Take {
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
fn lesson(seed: u64, of: impl Fn(u64) -> Shot) -> Lesson {
    let map = MarkerMap::load("whin_32").unwrap();
    let mut all = Lesson {
        sent: Vec::new(),
        truths: Vec::new(),
    };
    // Sequence numbers go on where nothing began anew.
    let mut next = [0u64; 2];
    let (mut start_ns, mut epoch, mut samples) = (0, 0, 0);
    for n in 0..SHOTS {
        let shot = of(n);
        let take = take(seed, n, shot.rate_hz);
        let start_s = start_ns as f64 * 1e-9;
        all.truths
            .push(synthetic::truth(&take.truth, shot.rate_hz, (start_s, 0.0)));
        if shot.epoch != epoch {
            (epoch, next, samples) = (shot.epoch, [0; 2], 0);
        }
        let due = datagrams(&take, &map, shot, (start_ns, &mut samples));
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

fn datagrams(
    take: &Take,
    map: &MarkerMap,
    shot: Shot,
    (start_ns, samples): (i64, &mut u64),
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
        markers.frame(n as u64, time_ns, &points, &mut due).unwrap();
        let values = synthetic::samples(take, n);
        forces
            .samples(*samples, time_ns, (12, &values), &mut due)
            .unwrap();
        *samples += values.len() as u64 / 12;
    }
    due
}

/// The datagram with something else in it.
fn changed(bytes: &[u8], change: impl FnOnce(&mut Header, &mut Body<'_>)) -> Vec<u8> {
    let (mut header, mut body) = wire::decode(bytes).expect("a good datagram");
    change(&mut header, &mut body);
    let mut out = Vec::new();
    wire::encode(&header, &body, &mut out).expect("still a good one");
    out
}

fn stream_of(sent: &Sent) -> u32 {
    wire::open(&sent.bytes).map_or(0, |d| d.header.stream)
}

/// Everything through the thread of the live path, with ticks, to the end of a silence.
fn through(mut sent: Vec<Sent>) -> Seen {
    sent.sort_by_key(|s| s.at_ns);
    let map = MarkerMap::load("whin_32").unwrap();
    let (arrivals_in, arrivals) = unbounded();
    let (outgoing_in, outgoing) = unbounded();
    // Uncertainties are not judged here: nobody takes a swing that would get them.
    let (refine, nobody) = unbounded();
    drop(nobody);
    let buffer = ReceiveBuffer {
        asked: 1,
        granted: 1,
    };
    let outlets = Outlets {
        outgoing: outgoing_in,
        refine,
        archive: None,
    };
    let setup = Setup {
        bay: "grid".into(),
        context: Context::default(),
        reorder_window_ns: 50_000_000,
    };
    let dropped = Dropped::default();
    let pulse = Arc::new(Pulse::new(Clock::start()));
    let book = HealthBook::new("grid".into(), buffer);
    let bay = Bay::new(setup, map, book, outlets, (&dropped, pulse));
    let mut now_ns = 0;
    let feed = |arrival| arrivals_in.send(Fed::Arrival(arrival)).unwrap();
    for one in &sent {
        let received_ns = u64::try_from(one.at_ns + SECOND_NS).unwrap();
        while now_ns < received_ns {
            feed(Arrival::Tick { now_ns });
            now_ns += 100_000_000;
        }
        let bytes = one.bytes.as_slice().into();
        feed(Arrival::Datagram { received_ns, bytes });
    }
    for _ in 0..50 {
        feed(Arrival::Tick { now_ns });
        now_ns += 100_000_000;
    }
    drop(arrivals_in);
    bay.run(&arrivals);
    let mut seen = Seen {
        reports: Vec::new(),
        codes: BTreeSet::new(),
    };
    for message in outgoing {
        match message {
            Outgoing::Swing(both) if both.0.revision == WHOLE => seen.reports.push(both.0),
            Outgoing::Health(page) => {
                let found = page.findings.into_iter();
                seen.codes.extend(found.map(|f| f.code));
            }
            _ => {}
        }
    }
    seen
}

fn impact_s(of: &Measurement) -> Option<f64> {
    of.events.get("impact")?.time_s
}

fn value(of: &Measurement, id: &str) -> Option<f64> {
    of.metrics.get(id)?.value
}

/// One fault of the grid, seeded.
struct Fault {
    name: &'static str,
    /// What it makes of the lesson.
    make: fn(&mut ChaCha8Rng) -> Lesson,
    /// Swings that must be found at least, of six.
    least: usize,
    /// Under one of which codes the screen must announce it; empty where nothing is lost.
    announced: &'static [&'static str],
}

static CLEAN: LazyLock<Lesson> = LazyLock::new(|| lesson(6, |_| USUAL));

fn unit(random: &mut ChaCha8Rng) -> f64 {
    f64::from(random.next_u32()) / f64::from(u32::MAX)
}

/// The clean lesson with its datagrams changed one by one: each becomes as many as are pushed.
fn each(mut change: impl FnMut(&Sent, &mut Vec<Sent>)) -> Lesson {
    let mut sent = Vec::new();
    CLEAN.sent.iter().for_each(|one| change(one, &mut sent));
    Lesson {
        sent,
        truths: CLEAN.truths.clone(),
    }
}

fn lossy(random: &mut ChaCha8Rng, share: f64) -> Lesson {
    each(|one, out| {
        if unit(random) >= share {
            out.push(one.clone());
        }
    })
}

fn delayed(random: &mut ChaCha8Rng, share: f64, by_ms: f64) -> Lesson {
    each(|one, out| {
        let late = unit(random) < share;
        let by_ns = if late { unit(random) * by_ms * 1e6 } else { 0.0 };
        out.push(Sent {
            at_ns: one.at_ns + by_ns as i64,
            ..one.clone()
        });
    })
}

/// A share of the datagrams goes through `damage`.
fn damaged(random: &mut ChaCha8Rng, share: f64, damage: fn(&mut ChaCha8Rng, &mut Vec<u8>)) -> Lesson {
    each(|one, out| {
        let mut one = one.clone();
        if unit(random) < share {
            damage(random, &mut one.bytes);
        }
        out.push(one);
    })
}

/// All datagrams but those that arrive in a stretch around each impact, seconds from it.
fn without(around: (f64, f64)) -> Lesson {
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
fn half_ns() -> i64 {
    let before = impact_s(&CLEAN.truths[2]).unwrap_or_default();
    let after = impact_s(&CLEAN.truths[3]).unwrap_or_default();
    ((before + 1.5 + (after - before - 1.5) * 0.2) * 1e9) as i64
}

fn later(truths: &mut [Measurement], by_ns: i64) {
    for truth in truths {
        for event in truth.events.values_mut() {
            event.time_s = event.time_s.map(|t| t + by_ns as f64 * 1e-9);
        }
    }
}

/// From the middle of the lesson on: device time and arrival go on so much later.
fn shifted(device_ns: i64, arrival_ns: i64) -> Lesson {
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
fn with_another(epoch: u32, sequence: u64) -> Lesson {
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
fn plates(change: fn(&mut [Option<f32>])) -> Lesson {
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

const GRID: &[Fault] = &[
    Fault {
        name: "none",
        make: |_| CLEAN.clone(),
        least: 6,
        announced: &[],
    },
    Fault {
        name: "loss of 1 %",
        make: |r| lossy(r, 0.01),
        least: 6,
        announced: &["stream.lost"],
    },
    Fault {
        name: "loss of 5 %",
        make: |r| lossy(r, 0.05),
        least: 6,
        announced: &["stream.lost"],
    },
    Fault {
        name: "loss of 10 %",
        make: |r| lossy(r, 0.10),
        least: 6,
        announced: &["stream.lost"],
    },
    Fault {
        name: "loss of 20 %",
        make: |r| lossy(r, 0.20),
        least: 6,
        announced: &["stream.lost"],
    },
    Fault {
        name: "30 % reordered within 5 ms",
        make: |r| delayed(r, 0.3, 5.0),
        least: 6,
        announced: &[],
    },
    Fault {
        name: "jitter of 40 ms",
        make: |r| delayed(r, 1.0, 40.0),
        least: 6,
        announced: &[],
    },
    Fault {
        name: "5 % up to 500 ms late",
        make: |r| delayed(r, 0.05, 500.0),
        least: 6,
        announced: &["stream.late"],
    },
    Fault {
        name: "20 % came twice",
        make: |r| {
            each(|one, out| {
                out.push(one.clone());
                if unit(r) < 0.2 {
                    out.push(one.clone());
                }
            })
        },
        least: 6,
        announced: &[],
    },
    Fault {
        name: "bursts: 30 ms of each second lost",
        make: |_| {
            each(|one, out| {
                if one.at_ns.rem_euclid(SECOND_NS) >= 30_000_000 {
                    out.push(one.clone());
                }
            })
        },
        least: 6,
        announced: &["stream.lost"],
    },
    Fault {
        name: "30 ms through each impact lost",
        make: |_| without((-0.015, 0.015)),
        least: 6,
        announced: &["stream.lost"],
    },
    Fault {
        name: "each downswing lost (0.3 s)",
        make: |_| without((-0.28, 0.02)),
        least: 0,
        announced: &["stream.lost"],
    },
    Fault {
        name: "1 % with one byte changed",
        make: |r| {
            damaged(r, 0.01, |r, bytes| {
                let at = r.next_u32() as usize % bytes.len();
                bytes[at] ^= 1 << (r.next_u32() % 8);
            })
        },
        least: 6,
        announced: &["udp.malformed"],
    },
    Fault {
        name: "5 % cut",
        make: |r| {
            damaged(r, 0.05, |r, bytes| {
                bytes.truncate(r.next_u32() as usize % bytes.len());
            })
        },
        least: 6,
        announced: &["udp.malformed"],
    },
    Fault {
        name: "5 % longer than allowed",
        make: |r| {
            damaged(r, 0.05, |_, bytes| {
                bytes.resize(protocol::MAX_DATAGRAM + 1, 0);
            })
        },
        least: 6,
        announced: &["udp.malformed"],
    },
    Fault {
        name: "5 % of a foreign version",
        make: |r| damaged(r, 0.05, |_, bytes| bytes[4] = 7),
        least: 6,
        announced: &["udp.wrong_version"],
    },
    Fault {
        name: "a sender of a foreign version beside",
        make: |_| {
            each(|one, out| {
                out.push(one.clone());
                let mut foreign = one.clone();
                foreign.bytes[4] = 7;
                out.push(foreign);
            })
        },
        least: 6,
        announced: &["udp.wrong_version"],
    },
    Fault {
        name: "another program's datagrams beside",
        make: |r| {
            each(|one, out| {
                out.push(one.clone());
                if unit(r) < 0.1 {
                    let noise = (0..200).map(|_| r.next_u32() as u8).collect();
                    out.push(Sent {
                        bytes: noise,
                        ..one.clone()
                    });
                }
            })
        },
        least: 6,
        announced: &["udp.garbage"],
    },
    Fault {
        name: "two senders, one stream id, numbers apart",
        make: |_| with_another(1, 10_000_000),
        least: 6,
        announced: &["stream.strange"],
    },
    Fault {
        name: "two senders, one stream id, same numbers",
        make: |_| with_another(1, 0),
        least: 0,
        announced: &["stream.doubled"],
    },
    Fault {
        name: "two senders, one stream id, other start",
        make: |_| with_another(2, 0),
        least: 0,
        announced: &["stream.strange"],
    },
    Fault {
        name: "seventeen more streams",
        make: |_| {
            each(|one, out| {
                out.push(one.clone());
                for stream in 10..27 {
                    let bytes = changed(&one.bytes, |header, _| header.stream = stream);
                    if wire::open(&bytes).is_ok_and(|d| !d.is_marker_frame()) {
                        out.push(Sent {
                            bytes,
                            ..one.clone()
                        });
                    }
                }
            })
        },
        least: 6,
        announced: &["stream.refused"],
    },
    Fault {
        name: "sender restarts after the third shot",
        make: |_| {
            lesson(6, |n| Shot {
                epoch: 1 + u32::from(n > 2),
                ..USUAL
            })
        },
        least: 6,
        announced: &["stream.restarted"],
    },
    Fault {
        name: "sender restarts 0.1 s before an impact",
        make: |_| {
            let at = impact_s(&CLEAN.truths[2]).map(|t| (t * 1e9) as i64 - 100_000_000);
            let mut first: [Option<u64>; 2] = [None; 2];
            each(|one, out| {
                let mut one = one.clone();
                if at.is_some_and(|at| one.at_ns >= at) {
                    one.bytes = changed(&one.bytes, |header, _| {
                        let place = &mut first[header.stream as usize - 1];
                        header.epoch = 2;
                        header.sequence -= *place.get_or_insert(header.sequence);
                    });
                }
                out.push(one);
            })
        },
        least: 5,
        announced: &["stream.restarted"],
    },
    Fault {
        name: "rate from 360 to 240 Hz, sender anew",
        make: |_| {
            lesson(6, |n| match n {
                0..3 => USUAL,
                _ => Shot {
                    rate_hz: 240.0,
                    epoch: 2,
                    ..USUAL
                },
            })
        },
        least: 6,
        announced: &["stream.restarted"],
    },
    Fault {
        name: "rate from 360 to 240 Hz in flight",
        make: |_| {
            lesson(6, |n| match n {
                0..3 => USUAL,
                _ => Shot {
                    rate_hz: 240.0,
                    layout: 2,
                    ..USUAL
                },
            })
        },
        least: 6,
        announced: &[],
    },
    Fault {
        name: "rate changed, description not",
        make: |_| {
            let mut lesson = lesson(6, |n| match n {
                0..3 => USUAL,
                _ => Shot {
                    rate_hz: 240.0,
                    ..USUAL
                },
            });
            for one in &mut lesson.sent {
                one.bytes = changed(&one.bytes, |_, body| {
                    if let Body::Describe(describe) = body
                        && let Content::Markers(list) = &mut describe.content
                    {
                        list.source.rate_hz = RATE_HZ;
                    }
                });
            }
            lesson
        },
        least: 6,
        announced: &["stream.rate"],
    },
    Fault {
        name: "labels in another order in flight",
        make: |_| {
            lesson(6, |n| match n {
                0..3 => USUAL,
                _ => Shot {
                    layout: 2,
                    reversed: true,
                    ..USUAL
                },
            })
        },
        least: 6,
        announced: &[],
    },
    Fault {
        name: "the same under the same layout number",
        make: |_| {
            lesson(6, |n| Shot {
                reversed: n > 2,
                ..USUAL
            })
        },
        least: 6,
        announced: &[],
    },
    Fault {
        name: "descriptions never come",
        make: |_| {
            each(|one, out| {
                let is_frame = wire::open(&one.bytes).is_ok_and(|d| d.is_marker_frame());
                if is_frame || stream_of(one) == 2 {
                    out.push(one.clone());
                }
            })
        },
        least: 0,
        announced: &["stream.undescribed"],
    },
    Fault {
        name: "sender's clock jumps an hour ahead",
        make: |_| shifted(HOUR_NS, 0),
        least: 6,
        announced: &["clock.set"],
    },
    Fault {
        name: "sender's clock jumps an hour back",
        make: |_| shifted(-HOUR_NS, 0),
        least: 6,
        announced: &["clock.set"],
    },
    Fault {
        name: "sender asleep for 5 s between shots",
        make: |_| shifted(5 * SECOND_NS, 5 * SECOND_NS),
        least: 6,
        announced: &["stream.paused"],
    },
    Fault {
        name: "sender asleep through the third impact",
        make: |_| {
            let at = impact_s(&CLEAN.truths[2]).unwrap_or_default();
            let mut gone: [u64; 2] = [0; 2];
            each(|one, out| {
                let since = one.at_ns as f64 * 1e-9 - at;
                let lost = &mut gone[stream_of(one) as usize - 1];
                if (-0.2..3.0).contains(&since) {
                    *lost += 1;
                } else {
                    let bytes = changed(&one.bytes, |header, _| header.sequence -= *lost);
                    out.push(Sent {
                        bytes,
                        ..one.clone()
                    });
                }
            })
        },
        least: 5,
        announced: &["stream.paused"],
    },
    Fault {
        name: "bay asleep for 4 s, all at once then",
        make: |_| {
            let half = half_ns();
            each(|one, out| {
                let asleep = (half - 4 * SECOND_NS..half).contains(&one.at_ns);
                out.push(Sent {
                    at_ns: if asleep { half } else { one.at_ns },
                    ..one.clone()
                });
            })
        },
        least: 6,
        announced: &[],
    },
    Fault {
        name: "plates unplugged after the third shot",
        make: |_| {
            let half = half_ns();
            each(|one, out| {
                if stream_of(one) == 1 || one.at_ns < half {
                    out.push(one.clone());
                }
            })
        },
        least: 6,
        announced: &["stream.silent"],
    },
    Fault {
        name: "one plate reads nothing from then on",
        make: |_| {
            plates(|values| {
                for sample in values.chunks_mut(12) {
                    sample.iter_mut().skip(6).for_each(|v| *v = Some(0.0));
                }
            })
        },
        least: 6,
        announced: &["plate.odd", "rig.disagrees"],
    },
    Fault {
        name: "one plate's values are not measured",
        make: |_| {
            plates(|values| {
                for sample in values.chunks_mut(12) {
                    sample.iter_mut().skip(6).for_each(|v| *v = None);
                }
            })
        },
        least: 6,
        announced: &["plate.odd", "rig.disagrees"],
    },
];

/// What one fault does, as a row of the table and whatever of it is not as it must be.
fn row(fault: &Fault) -> (String, Vec<String>) {
    let mut random = ChaCha8Rng::seed_from_u64(9);
    let lesson = (fault.make)(&mut random);
    let seen = through(lesson.sent);
    let (mut found, mut strange) = (0, seen.reports.len());
    let mut worst = [0.0f64; 3];
    for truth in &lesson.truths {
        let of = |report: &&Report| {
            let both = impact_s(&report.measurement).zip(impact_s(truth));
            both.is_some_and(|(a, b)| (a - b).abs() < MATCH_S)
        };
        let Some(report) = seen.reports.iter().find(of) else {
            continue;
        };
        (found, strange) = (found + 1, strange.saturating_sub(1));
        let got = &report.measurement;
        let off = |a: Option<f64>, b: Option<f64>| a.zip(b).map_or(0.0, |(a, b)| (a - b).abs());
        let of = |id| off(value(got, id), value(truth, id));
        worst[0] = worst[0].max(1e3 * off(impact_s(got), impact_s(truth)));
        worst[1] = worst[1].max(of("head_speed@impact"));
        worst[2] = worst[2].max(of("pelvis_rotation@top"));
    }
    let mut wrong = Vec::new();
    let codes: Vec<&str> = seen
        .codes
        .iter()
        .map(String::as_str)
        .filter(|code| *code != "map.label_absent")
        .collect();
    if found < fault.least {
        wrong.push(format!("{}: {found} of {SHOTS} found", fault.name));
    }
    if strange > 0 && fault.least > 0 {
        wrong.push(format!("{}: {strange} that nobody hit", fault.name));
    }
    let heard = fault.announced.iter().any(|code| codes.contains(code));
    if !fault.announced.is_empty() && !heard {
        wrong.push(format!("{}: only {codes:?} announced", fault.name));
    }
    if found < lesson.truths.len() && codes.is_empty() {
        wrong.push(format!("{}: a swing is lost in silence", fault.name));
    }
    let said = if codes.is_empty() {
        "-".to_owned()
    } else {
        codes.join(" ")
    };
    let text = format!(
        "{:<42} {found} of {SHOTS} {strange:>5} {:>7.1} {:>6.1} {:>6.1}  {said}\n",
        fault.name, worst[0], worst[1], worst[2]
    );
    (text, wrong)
}

#[test]
fn every_fault_is_survived_and_every_loss_announced() {
    let rows = std::thread::scope(|scope| {
        let all: Vec<_> = GRID
            .iter()
            .map(|fault| scope.spawn(move || row(fault)))
            .collect();
        let done = all.into_iter().map(|one| one.join().expect("no crash"));
        done.collect::<Vec<_>>()
    });
    let mut table = format!(
        "{:<42} {:<6} {:>5} {:>7} {:>6} {:>6}  {}\n",
        "fault", "found", "else", "impact", "speed", "pelvis", "announced as"
    );
    table += &format!("{:<42} {:>20} {:>6} {:>6}\n", "", "ms", "m/s", "deg");
    table.extend(rows.iter().map(|row| row.0.as_str()));
    println!("{table}");
    let wrong: Vec<String> = rows.into_iter().flat_map(|row| row.1).collect();
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    is_as_kept("faults", &table);
}
