//! What an archive costs, measured. Run by `bash tests/long/archive`, which says what is printed.

#![allow(
    clippy::expect_used,
    clippy::panic,
    clippy::unwrap_used,
    clippy::print_stdout,
    clippy::print_stderr,
    dead_code,
    reason = "a campaign that cannot run says so and stops; helpers of the tests are used in part"
)]

#[path = "campaign.rs"]
mod campaign;
#[path = "../bay.rs"]
mod bay;
#[path = "../bench/suite/cpu.rs"]
mod cpu;
#[path = "../support.rs"]
mod support;

use std::fs;
use std::net::UdpSocket;
use std::path::Path;
use std::time::{Duration, Instant};

use analysis::forward::{CaptureParams, GolferParams, LessonParams, PlateParams, swing};
use daemon::archive::Archive;
use daemon::archive::again::{self, Ask};
use daemon::archive::rows::{Session, Which};
use daemon::feed::{self, Due};
use daemon::map::MarkerMap;
use daemon::{lesson, outgoing, synthetic};
use protocol::wire;
use serde_json::json;

use bay::Bay;

fn enroll(archive: &mut Archive) -> String {
    let student = campaign::student();
    let consent = (&["lesson"][..], None);
    archive
        .store
        .enroll(&student, consent, 1_750_000_000_000_000_000)
        .unwrap()
}

/// Lessons of half an hour as sessions until there are so many swings; measured again, the same program
/// a second time. Gives swings, hours, times faster than life, first and second.
fn again(dir: &Path, swings: usize, seed: u64) -> (usize, f64, [f64; 2]) {
    let mut archive = Archive::create(&dir.join("archive")).unwrap();
    let student = enroll(&mut archive);
    let map = MarkerMap::load("whin_32").unwrap();
    let ids = outgoing::value_ids();
    let (mut found, mut recorded_s, mut took_s) = (0, 0.0, 0.0);
    for seed in (seed..).step_by(2) {
        if found >= swings {
            break;
        }
        // Two recordings at a time, so that two cores have work.
        for seed in [seed, seed + 1] {
            let params = LessonParams::usual(seed, 1800.0);
            let made = dir.join(format!("lesson-{seed}"));
            lesson::write(&params, &map, true, &made).unwrap();
            let id = format!("lesson-{seed}");
            let file = format!("{id}.mcap");
            fs::rename(made.join("lesson.mcap"), archive.recording(&file)).unwrap();
            let session = Session {
                id: id.clone(),
                student: student.clone(),
                bay: "lesson".into(),
                zone: "UTC".into(),
                program: "0.1.0".into(),
                began_utc_ns: seed,
                ended_utc_ns: Some(seed),
            };
            archive.store.begin_session(&session).unwrap();
            archive.store.add_recording(&id, &file).unwrap();
        }
        // All that there is so far would be measured again: one session at a time is asked for.
        let begun = Instant::now();
        let ends: Vec<_> = std::thread::scope(|scope| {
            let work = [seed, seed + 1].map(|seed| {
                let place = dir.join("archive");
                let ids = &ids;
                scope.spawn(move || {
                    let mut archive = Archive::open(&place).unwrap();
                    let id = format!("lesson-{seed}");
                    let ask = ask(Which::Session(&id));
                    again::reanalyze(&mut archive, ids, ask, &|| {}).unwrap()
                })
            });
            work.into_iter().map(|w| w.join().unwrap()).collect()
        });
        took_s += begun.elapsed().as_secs_f64();
        recorded_s += ends.iter().map(|m| m.recorded_s).sum::<f64>();
        found += ends.iter().map(|m| m.added.len()).sum::<usize>();
        eprintln!("{found} swings in {:.1} h", recorded_s / 3600.0);
    }
    let begun = Instant::now();
    let moved = again::reanalyze(&mut archive, &ids, ask(Which::All), &|| {}).unwrap();
    assert!(
        moved.swings == found && moved.metrics.is_empty(),
        "the same program"
    );
    let second = moved.recorded_s / begun.elapsed().as_secs_f64();
    (found, recorded_s / 3600.0, [recorded_s / took_s, second])
}

fn ask(which: Which<'_>) -> Ask<'_> {
    Ask {
        which,
        swing: None,
        uncertainty: false,
        now_utc_ns: 1_750_000_000_000_000_000,
    }
}

/// The golfer at 1000 Hz with two plates at 2000 Hz.
fn busy() -> Vec<Due> {
    let plates = PlateParams {
        rate_hz: 2000.0,
        ..PlateParams::USUAL
    };
    let capture = CaptureParams {
        rate_hz: 1000.0,
        noise_m: 0.0005,
        dropout: 0.0,
        wobble: false,
        plates: Some(plates),
    };
    let map = MarkerMap::load("whin_32").unwrap();
    let take = swing(&GolferParams::from_seed(1), &capture);
    feed::of_c3d(&synthetic::c3d(&take, &map), Some(&map), 1).unwrap()
}

/// Share of one core that the archive's thread takes, bytes a second and the share of the disk's bytes.
fn cost(dir: &Path, seconds: f64) -> (f64, f64, f64) {
    let place = dir.join("busy");
    let student = enroll(&mut Archive::create(&place).unwrap());
    let args = ["--archive", place.to_str().unwrap(), "--student", &student];
    let bay = Bay::start("whin_32", &args);
    let socket = UdpSocket::bind("127.0.0.1:0").unwrap();
    let due = busy();
    let length_ns = due.last().unwrap().time_ns + 1_000_000;
    let (begun, mut bytes, mut epoch) = (Instant::now(), 0, 1);
    let mut begins_ns = 0;
    let before = cpu::of(bay.pid(), Some("archive"));
    while begun.elapsed().as_secs_f64() < seconds {
        for datagram in &due {
            let at = Duration::from_nanos((begins_ns + datagram.time_ns) as u64);
            std::thread::sleep(at.saturating_sub(begun.elapsed()));
            let (mut header, body) = wire::decode(&datagram.bytes).unwrap();
            header.epoch = epoch;
            let mut out = Vec::new();
            wire::encode(&header, &body, &mut out).unwrap();
            bytes += socket.send_to(&out, bay.udp).unwrap();
        }
        begins_ns += length_ns;
        epoch += 1;
    }
    let took_s = begun.elapsed().as_secs_f64();
    let share = (cpu::of(bay.pid(), Some("archive")) - before) / took_s;
    assert_eq!(bay.stop(), Some(0));
    let files = fs::read_dir(place.join("recordings")).unwrap();
    let kept: u64 = files.map(|f| f.unwrap().metadata().unwrap().len()).sum();
    (share, bytes as f64 / took_s, kept as f64 / bytes as f64)
}

fn main() {
    let (mut swings, mut seed, mut seconds) = (500, 1, 30.0);
    campaign::flags(|flag, number| {
        match flag {
            "--swings" => swings = number() as usize,
            "--seed" => seed = number() as u64,
            "--seconds" => seconds = number(),
            _ => return false,
        }
        true
    });
    let dir = support::scratch("archive-cost");
    let (share, rate, kept) = cost(&dir, seconds);
    eprintln!(
        "archive's thread: {:.2} % of a core, {:.2} MB/s in, {kept:.3} of it on the disk",
        share * 100.0,
        rate * 1e-6
    );
    let (found, hours, ratio) = again(&dir, swings, seed);
    let said = json!({
        "archive_share_of_a_core": share, "megabytes_a_second": rate * 1e-6, "share_of_raw": kept,
        "swings": found, "hours": hours, "reanalyze_times_life": ratio, "seed": seed,
    });
    println!("{said}");
    fs::remove_dir_all(&dir).unwrap();
}
