//! The faults of the grid: what is done, what must be found all the same, and how it must be announced.

use protocol::wire::{self, Body, Content};
use rand_chacha::rand_core::Rng as _;

use super::Fault;
use super::impact_s;
use super::sender::{
    CLEAN, HOUR_NS, RATE_HZ, SECOND_NS, Sent, Shot, USUAL, changed, damaged, delayed, each,
    half_ns, lesson, lossy, plates, shifted, stream_of, unit, with_another, without,
};

pub(super) const GRID: &[Fault] = &[
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
        least: 5,
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
        least: 5,
        announced: &[
            "udp.malformed",
            "udp.garbage",
            "stream.strange",
            "stream.lost",
        ],
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
        announced: &["(note: rate)"],
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
