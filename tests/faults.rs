//! The fault grid: what each fault between a sender and the bay does to six swings of the synthetic golfer
//! (360 Hz, 0.5 mm, two plates), through the thread of the live path (`daemon::analyze`) with its health
//! pages. The table says what is found, how wrong it is, and under which codes it is announced.
//!
//! What is made of datagrams is here; faults of the machine (disk, store, clients, ports) are in
//! `faults_machine`, counting over a real socket in `network` and `refusals`.

mod grid;
mod sender;

use std::collections::BTreeSet;
use std::sync::Arc;

use analysis::context::Context;
use crossbeam_channel::bounded;
use daemon::analyze::{Bay, Outgoing, Outlets, Setup};
use daemon::clock::Clock;
use daemon::health::HealthBook;
use daemon::map::MarkerMap;
use daemon::pulse::Pulse;
use daemon::receive::{Arrival, Dropped, Fed};
use protocol::report::{Measurement, Report, WHOLE};
use protocol::screen::ReceiveBuffer;
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::SeedableRng as _;

use crate::support::is_as_kept;
use grid::GRID;
use sender::{Lesson, SECOND_NS, SHOTS, Sent};

/// A report is of a swing when its impact is this close, seconds.
const MATCH_S: f64 = 0.1;

/// What the bay made of it.
struct Seen {
    reports: Vec<Report>,
    codes: BTreeSet<String>,
}

/// Everything through the thread of the live path, with ticks, to the end of a silence.
fn through(mut sent: Vec<Sent>) -> Seen {
    sent.sort_by_key(|s| s.at_ns);
    let map = MarkerMap::load("whin_32").unwrap();
    // Room for all of it: the datagrams and ten ticks a second before the thread begins, and what it says.
    let last_ns = sent.last().map_or(0, |s| s.at_ns) + SECOND_NS;
    let ticks = usize::try_from(last_ns / 100_000_000).unwrap() + 100;
    let (arrivals_in, arrivals) = bounded(sent.len() + ticks);
    let (outgoing_in, outgoing) = bounded(16 * ticks);
    // Uncertainties are not judged here: nobody takes a swing that would get them.
    let (refine, nobody) = bounded(1);
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
        let bytes = one.bytes.clone().into();
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
            Outgoing::Swing(both) if both.0.revision == WHOLE => {
                let notes = &both.0.measurement.notes;
                if notes.iter().any(|n| n.contains("the times were used")) {
                    seen.codes.insert("(note: rate)".into());
                }
                seen.reports.push(both.0);
            }
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

/// What one fault does, as a row of the table (swings found at their impact; those whose impact was not seen,
/// and so is not given; reports of nothing; the worst errors; what was announced), and whatever of it is not as
/// it must be.
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
    let unseen = |r: &&Report| impact_s(&r.measurement).is_none();
    let blind = seen.reports.iter().filter(unseen).count();
    strange = strange.saturating_sub(blind);
    let mut wrong = Vec::new();
    let codes: Vec<&str> = seen
        .codes
        .iter()
        .map(String::as_str)
        .filter(|code| *code != "map.label_absent")
        .collect();
    if found + blind < fault.least {
        wrong.push(format!("{}: {found} of {SHOTS} found", fault.name));
    }
    if strange > 0 && fault.least > 0 {
        let said: Vec<_> = seen
            .reports
            .iter()
            .map(|r| (impact_s(&r.measurement), &r.measurement.kind))
            .collect();
        wrong.push(format!(
            "{}: {strange} that nobody hit; {said:?}",
            fault.name
        ));
    }
    // Every ball was struck: where that was not seen it is open, never denied.
    let denied = |r: &&Report| r.measurement.kind == "rehearsal";
    let denied = seen.reports.iter().filter(denied).count();
    if denied > 0 && fault.least > 0 {
        wrong.push(format!("{}: {denied} told as without a ball", fault.name));
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
        "{:<42} {found} of {SHOTS} {blind:>6} {strange:>5} {:>7.1} {:>6.1} {:>6.1}  {said}\n",
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
        "{:<42} {:<6} {:>6} {:>5} {:>7} {:>6} {:>6}  {}\n",
        "fault", "found", "blind", "else", "impact", "speed", "pelvis", "announced as"
    );
    table += &format!("{:<42} {:>27} {:>6} {:>6}\n", "", "ms", "m/s", "deg");
    table.extend(rows.iter().map(|row| row.0.as_str()));
    println!("{table}");
    let wrong: Vec<String> = rows.into_iter().flat_map(|row| row.1).collect();
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    is_as_kept("faults", &table);
}
