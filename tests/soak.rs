//! The soak: a bay under its real process with an archive that keeps only swings, fed a synthetic lesson faster
//! than life while faults of the network come and go; its own numbers (`/metrics`) are looked at on the way. A
//! short one is an ordinary test, hours are `long/soak`.

use std::net::UdpSocket;
use std::path::Path;
use std::time::{Duration, Instant};

use analysis::forward::{Kind, Lesson, LessonParams};
use daemon::lesson::Sender;
use daemon::map::MarkerMap;
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng as _, SeedableRng as _};
use serde_json::{Value, json};

use crate::bay::Bay;
use crate::http;
use crate::support::{run_whin, scratch};

/// A report is of a label when its impact is this close, seconds.
const MATCH_S: f64 = 0.25;
/// Each state of the network lasts so long, seconds of the wall.
const SPELL_S: f64 = 10.0;
/// A student's lesson lasts so long, seconds of the lesson; then the next one begins.
const LESSON_S: f64 = 3600.0;
/// A shot so soon after a change of lessons, seconds, has its window in neither.
const CHANGE_S: f64 = 15.0;
/// Resident memory before this share of the time fills rings and allocator.
const SETTLED: f64 = 0.25;

/// What is soaked.
pub(crate) struct Soak {
    pub(crate) minutes: f64,
    /// Times faster than life.
    pub(crate) pace: f64,
    pub(crate) seed: u64,
    /// Seconds between two looks at the numbers.
    pub(crate) look_s: f64,
}

/// What was seen.
#[derive(Default)]
struct Looks {
    /// Seconds and resident MB.
    memory: Vec<(f64, f64)>,
    /// Longest that any queue was, as a share of its room is not told: what waits, by name.
    queues: std::collections::BTreeMap<String, f64>,
    behind_s: f64,
    /// Device time of every change of lessons, seconds.
    changes: Vec<f64>,
}

fn archive(args: &[&str]) -> Value {
    let args: Vec<&std::ffi::OsStr> = args.iter().map(AsRef::as_ref).collect();
    let (code, out, err) = run_whin(&args);
    assert_eq!(code, 0, "{err}");
    serde_json::from_str(&out).expect("JSON")
}

/// Values of a metric, with its labels.
fn values<'a>(page: &'a str, name: &'a str) -> impl Iterator<Item = (&'a str, f64)> {
    page.lines().filter_map(move |line| {
        let rest = line.strip_prefix(name)?;
        let (labels, value) = rest.rsplit_once(' ')?;
        let ours = labels.is_empty() || labels.starts_with('{');
        ours.then(|| Some((labels, value.parse().ok()?)))?
    })
}

fn sum(page: &str, name: &str) -> f64 {
    values(page, name).map(|v| v.1).sum()
}

impl Looks {
    fn look(&mut self, at_s: f64, bay: &Bay) -> String {
        let (status, page) = http::text(bay.http, ("GET", "/metrics"), ("", b""));
        assert_eq!(status, 200);
        let mb = sum(&page, "process_resident_memory_bytes") / 1e6;
        self.memory.push((at_s, mb));
        for (labels, waiting) in values(&page, "whin_queue_length") {
            let name = labels
                .split("queue=\"")
                .nth(1)
                .and_then(|l| l.split('"').next());
            let longest = self
                .queues
                .entry(name.unwrap_or("?").to_owned())
                .or_default();
            *longest = longest.max(waiting);
        }
        self.behind_s = self
            .behind_s
            .max(sum(&page, "whin_analysis_behind_seconds"));
        page
    }
}

/// Slope of the line of least squares and its standard error, a second; `None` below three points.
fn slope(points: &[(f64, f64)]) -> Option<(f64, f64)> {
    let n = points.len() as f64;
    let mean = |of: fn(&(f64, f64)) -> f64| points.iter().map(of).sum::<f64>() / n;
    let (x, y) = (mean(|p| p.0), mean(|p| p.1));
    let under: f64 = points.iter().map(|p| (p.0 - x).powi(2)).sum();
    let slope = points.iter().map(|p| (p.0 - x) * (p.1 - y)).sum::<f64>() / under;
    let left: f64 = points
        .iter()
        .map(|p| (p.1 - y - slope * (p.0 - x)).powi(2))
        .sum();
    (points.len() > 2 && under > 0.0).then(|| (slope, (left / (n - 2.0) / under).sqrt()))
}

/// What the network does to one datagram in the spell of this moment.
fn weather(
    bytes: &[u8],
    at_s: f64,
    random: &mut ChaCha8Rng,
    held: &mut Option<Vec<u8>>,
) -> Vec<Vec<u8>> {
    let chance = f64::from(random.next_u32()) / f64::from(u32::MAX);
    let mut out = Vec::new();
    match (at_s / SPELL_S) as u64 % 6 {
        // Lost.
        1 if chance < 0.02 => {}
        // Doubled.
        2 if chance < 0.1 => out.extend([bytes.to_vec(), bytes.to_vec()]),
        // Overtaken by the next one.
        3 if chance < 0.2 && held.is_none() => *held = Some(bytes.to_vec()),
        // A foreign program's beside it.
        4 if chance < 0.05 => out.extend([bytes.to_vec(), vec![0xa5; 300]]),
        // A newer sender's, and a cut one.
        5 if chance < 0.05 => {
            let mut newer = bytes.to_vec();
            newer[4] = 9;
            out.extend([bytes.to_vec(), newer, bytes[..bytes.len() / 2].to_vec()]);
        }
        _ => out.push(bytes.to_vec()),
    }
    if !out.is_empty() {
        out.extend(held.take());
    }
    out
}

/// A bay that records around swings of somebody who has agreed to it.
fn opened(dir: &Path, place: &str) -> (Bay, String) {
    let who = ["--name", "Soaked", "--born", "1970", "--consent", "lesson"];
    let enrolled = archive(
        &[
            &["archive", "enroll"],
            &who[..],
            &["--json", "--archive", place],
        ]
        .concat(),
    );
    let student = enrolled["student"].as_str().expect("a pseudonym");
    let config = dir.join("bay.toml");
    std::fs::write(&config, "version = 1\n[archive]\nrecord = \"swings\"\n").expect("a folder");
    let config = config.to_str().expect("a plain path");
    let args = ["--config", config, "--archive", place, "--student", student];
    (Bay::start("whin_32", &args), student.to_owned())
}

/// The student's lesson ends, and another one begins.
fn next_lesson(bay: &Bay, student: &str) {
    for seat in [
        json!({ "mode": "nobody" }),
        json!({ "mode": "student", "student": student }),
    ] {
        http::Api(bay.http).put("/api/v1/bays/bay/seat", &seat);
    }
}

/// Plays a lesson at the bay through all kinds of weather, looking at it now and then; seconds it took.
fn play(
    lesson: &mut Lesson,
    (bay, student): (&Bay, &str),
    params: &Soak,
    looks: &mut Looks,
) -> f64 {
    let map = MarkerMap::load("whin_32").expect("a shipped map");
    let mut sender = Sender::new(lesson, &map, true);
    let socket = UdpSocket::bind("127.0.0.1:0").expect("a socket");
    let mut random = ChaCha8Rng::seed_from_u64(params.seed);
    let (mut held, mut due) = (None, Vec::new());
    let (began, mut look_s) = (Instant::now(), 0.0);
    for frame in lesson.by_ref() {
        let at = Duration::from_nanos((frame.real_ns as f64 / params.pace) as u64);
        let early = at.saturating_sub(began.elapsed());
        if early > Duration::from_millis(2) {
            std::thread::sleep(early);
        }
        let at_s = began.elapsed().as_secs_f64();
        sender.frame(&frame, &mut due).expect("a frame that fits");
        for one in due.drain(..) {
            for bytes in weather(&one.bytes, at_s, &mut random, &mut held) {
                // Nobody listens any more: the next look says so.
                drop(socket.send_to(&bytes, bay.udp));
            }
        }
        if at_s >= look_s {
            look_s = at_s + params.look_s;
            looks.look(at_s, bay);
        }
        if frame.real_ns as f64 * 1e-9 >= LESSON_S * (looks.changes.len() + 1) as f64 {
            looks.changes.push(frame.time_ns as f64 * 1e-9);
            next_lesson(bay, student);
        }
    }
    began.elapsed().as_secs_f64()
}

/// Soaks a bay; what was found as JSON.
pub(crate) fn soak(params: &Soak) -> Value {
    let dir = scratch("soak");
    let place = dir.join("archive");
    let place = place.to_str().expect("a plain path");
    let (bay, student) = opened(&dir, place);
    let length_s = 60.0 * params.minutes * params.pace;
    let mut lesson = Lesson::new(&LessonParams::usual(params.seed, length_s));
    let mut looks = Looks::default();
    let taken_s = play(&mut lesson, (&bay, &student), params, &mut looks);
    // The last swing's window and its way to the disk.
    std::thread::sleep(Duration::from_secs(5));
    let page = looks.look(taken_s + 5.0, &bay);
    assert_eq!(bay.stop_within(Duration::from_secs(120)), Some(0));
    let listed = archive(&["archive", "list", "--json", "--archive", place]);
    let impacts: Vec<f64> = listed["swings"]
        .as_array()
        .expect("swings")
        .iter()
        .filter_map(impact_s)
        .collect();
    let labels = lesson.labels();
    let shots = labels.iter().filter(|l| l.kind == Kind::Shot);
    let all: Vec<f64> = shots.filter_map(|l| l.impact_s).collect();
    let cut = |t: &f64| {
        let mut changes = looks.changes.iter();
        changes.any(|c| (c - CHANGE_S..c + CHANGE_S).contains(t))
    };
    let (at_changes, times): (Vec<f64>, Vec<f64>) = all.into_iter().partition(cut);
    let near = |t: &&f64| impacts.iter().any(|i| (i - **t).abs() < MATCH_S);
    let archived = times.iter().filter(near).count();
    let settled: Vec<_> = looks
        .memory
        .iter()
        .copied()
        .filter(|p| p.0 >= SETTLED * taken_s)
        .collect();
    let hourly = slope(&settled).map(|(slope, error)| [3600.0 * slope, 3600.0 * error]);
    let verified = archive(&["archive", "verify", "--json", "--archive", place]);
    drop(std::fs::remove_dir_all(&dir));
    json!({
        "minutes": taken_s / 60.0,
        "lesson_hours": length_s / 3600.0,
        "datagrams": sum(&page, "whin_datagrams_received_total"),
        "dropped": sum(&page, "whin_datagrams_dropped_total"),
        "lost": sum(&page, "whin_datagrams_lost_total"),
        "refused": sum(&page, "whin_datagrams_refused_total"),
        "lessons": looks.changes.len() + 1,
        "shots_at_changes": at_changes.len(),
        "shots": times.len(),
        "shots_archived": archived,
        "swings_archived": impacts.len(),
        "swings_not_archived": values(&page, "whin_swings_archived_total")
            .filter(|v| v.0.contains("false")).map(|v| v.1).sum::<f64>(),
        "damaged": verified["findings"].as_array().map_or(0, Vec::len),
        "findings": verified["findings"],
        "resident_mb": [settled.first().map(|p| p.1), settled.last().map(|p| p.1)],
        "slope_mb_an_hour": hourly.map(|h| h[0]),
        "slope_error": hourly.map(|h| h[1]),
        "longest_queues": looks.queues,
        "behind_s": looks.behind_s,
    })
}

/// Device time of impact as a swing's identifier has it, seconds.
fn impact_s(swing: &Value) -> Option<f64> {
    let micros = swing["id"].as_str()?.rsplit('-').next()?;
    Some(micros.parse::<f64>().ok()? * 1e-6)
}

/// A minute at a pace that a busy machine keeps. Memory has not settled yet: its bound here is a wide one.
#[test]
fn a_minute_of_faults_leaves_nothing_behind() {
    let found = soak(&Soak {
        minutes: 1.0,
        pace: 8.0,
        seed: 41,
        look_s: 2.0,
    });
    println!("{found}");
    let number = |key: &str| found[key].as_f64().unwrap_or(f64::NAN);
    assert!(number("refused") > 0.0 && number("lost") > 0.0, "{found}");
    assert!(number("shots") >= 4.0, "{found}");
    assert!((number("damaged") - 0.0).abs() < 0.5, "{found}");
    // What a machine under load drops is counted, and only then may a shot be missing.
    let missing = number("shots") - number("shots_archived");
    assert!(missing < 0.5 || number("dropped") > 0.0, "{found}");
    assert!(
        found["resident_mb"][1]
            .as_f64()
            .is_some_and(|mb| mb < 400.0),
        "{found}"
    );
}
