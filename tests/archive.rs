//! The archive with the real program: killed, torn, full, and read by a foreign reader. What is shown
//! as archived must be there.

use std::collections::BTreeSet;
use std::ffi::OsStr;
use std::fs;
use std::net::SocketAddr;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread::JoinHandle;
use std::time::Duration;

use crossbeam_channel::bounded;
use daemon::archive::recover::recover;
use daemon::clock::Clock;
use daemon::demo::{self, Lesson};
use daemon::recording::{Meta, Recorded, Recorder, read};
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng as _, SeedableRng as _};
use serde_json::Value;
use tokio::time::{Instant, timeout_at};

use crate::bay::{Bay, Listener};
use crate::support::{self, run_whin, scratch, whin};

/// Kills of a running bay.
const KILLS: u32 = 25;
/// Times faster than life: a shot every two seconds.
const PACE: f64 = 4.0;

/// `whin archive …` on an archive: exit code and JSON.
pub(crate) fn archive(dir: &Path, args: &[&str]) -> (i32, Value) {
    let mut all: Vec<&OsStr> = vec!["archive".as_ref()];
    all.extend(args.iter().map(OsStr::new));
    all.extend(["--json".as_ref(), "--archive".as_ref(), dir.as_os_str()]);
    let (code, out, err) = run_whin(&all);
    let json = serde_json::from_str(&out).unwrap_or_else(|_| panic!("no JSON: {out} {err}"));
    (code, json)
}

pub(crate) fn enroll(dir: &Path, extra: &[&str]) -> String {
    let mut args = vec!["enroll", "--name", "Ottoline Marsh", "--born", "1965"];
    args.extend(extra);
    let (code, said) = archive(dir, &args);
    assert_eq!(code, 0);
    said["student"].as_str().unwrap().to_owned()
}

pub(crate) fn swing_ids(dir: &Path) -> BTreeSet<(String, String)> {
    let (code, listed) = archive(dir, &["list"]);
    assert_eq!(code, 0);
    let text = |v: &Value| v.as_str().unwrap().to_owned();
    let swings = listed["swings"].as_array().unwrap();
    swings
        .iter()
        .map(|s| (text(&s["session"]), text(&s["id"])))
        .collect()
}

pub(crate) fn assert_verified(dir: &Path) -> Value {
    let (code, found) = archive(dir, &["verify"]);
    assert_eq!(code, 0, "{found:#}");
    found
}

/// The demo's golfer, who streams to an address until dropped.
pub(crate) struct Golfer {
    stop: Arc<AtomicBool>,
    thread: Option<JoinHandle<()>>,
}

impl Golfer {
    pub(crate) fn start(to: SocketAddr) -> Self {
        let stop = Arc::new(AtomicBool::new(false));
        let lesson = Lesson {
            epoch: 1,
            pace: PACE,
            shots: None,
        };
        // Truths that nobody reads are dropped.
        let (truths, _nobody) = bounded(1);
        let golfer = (|shot| demo::golfer(1, shot), lesson);
        let thread = demo::spawn(golfer, to, Clock::start(), truths, Arc::clone(&stop));
        let thread = thread.expect("a thread");
        Self {
            stop,
            thread: Some(std::thread::spawn(move || drop(thread.join()))),
        }
    }
}

impl Drop for Golfer {
    fn drop(&mut self) {
        self.stop.store(true, Ordering::Relaxed);
        drop(self.thread.take().map(JoinHandle::join));
    }
}

/// Takes what the screen is told of the archive until `deadline`, or until the line is cut.
pub(crate) async fn told(
    screen: &mut Listener,
    deadline: Instant,
    take: &mut impl FnMut(&Value) -> bool,
) {
    while let Ok(Some(message)) = timeout_at(deadline, screen.next()).await {
        if take(&message) {
            return;
        }
    }
}

#[tokio::test]
async fn no_swing_shown_as_archived_is_lost_by_a_kill() {
    let dir = scratch("archive-kills").join("archive");
    let student = enroll(&dir, &["--consent", "lesson"]);
    let place = dir.to_str().unwrap();
    let mut chance = ChaCha8Rng::seed_from_u64(6);
    let mut shown = BTreeSet::new();
    for kill in 0..KILLS {
        let mut bay = Bay::start("whin_32", &["--archive", place, "--student", &student]);
        let mut screen = bay.listen().await;
        assert_eq!(screen.hello["recording"], "recorded");
        let golfer = Golfer::start(bay.udp);
        let life = Duration::from_millis(1500 + chance.next_u64() % 6000);
        let mut ids = Vec::new();
        let mut take = |message: &Value| {
            if message["type"] == "archived" {
                assert_eq!(message["archived"], true, "{message}");
                ids.push(message["id"].as_str().unwrap().to_owned());
            }
            false
        };
        told(&mut screen, Instant::now() + life, &mut take).await;
        bay.kill();
        // What was on its way to the screen counts as shown.
        let patience = Instant::now() + Duration::from_secs(5);
        told(&mut screen, patience, &mut take).await;
        drop(golfer);
        let found = assert_verified(&dir);
        assert_eq!(found["sessions"], kill + 1);
        let session = newest_session(&dir);
        shown.extend(ids.into_iter().map(|id| (session.clone(), id)));
        let kept = swing_ids(&dir);
        let lost: Vec<_> = shown.difference(&kept).collect();
        assert!(lost.is_empty(), "after kill {}: {lost:?}", kill + 1);
    }
    println!(
        "{KILLS} kills, {} swings shown as archived, 0 lost",
        shown.len()
    );
    assert!(
        shown.len() as u32 >= KILLS,
        "only {} swings: the kills came too early",
        shown.len()
    );
}

fn newest_session(dir: &Path) -> String {
    let (_, listed) = archive(dir, &["list"]);
    let last = listed["sessions"].as_array().unwrap().last().unwrap();
    last["id"].as_str().unwrap().to_owned()
}

/// A session of two shots, ended properly.
pub(crate) fn demo_archive(name: &str) -> PathBuf {
    let dir = scratch(name).join("archive");
    let pace = PACE.to_string();
    let args = [
        "demo",
        "--shots",
        "2",
        "--pace",
        &pace,
        "--http",
        "127.0.0.1:0",
        "--archive",
    ];
    let mut args: Vec<&OsStr> = args.iter().map(OsStr::new).collect();
    args.push(dir.as_os_str());
    let (code, _, err) = run_whin(&args);
    assert_eq!(code, 0, "{err}");
    dir
}

pub(crate) fn only_recording(dir: &Path) -> PathBuf {
    let mut files = fs::read_dir(dir.join("recordings")).unwrap();
    let file = files.next().unwrap().unwrap().path();
    assert!(files.next().is_none());
    file
}

#[test]
fn a_session_is_found_shown_and_verified_and_damage_is_named() {
    let dir = demo_archive("archive-demo");
    let swings = swing_ids(&dir);
    assert_eq!(swings.len(), 2);
    assert_eq!(assert_verified(&dir)["findings"], serde_json::json!([]));
    for (session, id) in &swings {
        let (code, shown) = archive(&dir, &["show", session, id]);
        assert_eq!(code, 0);
        let report = &shown["results"][0]["report"];
        assert_eq!(report["id"], id.as_str());
        assert!(report["measurement"]["metrics"]["head_speed@impact"]["value"].is_f64());
    }
    // One changed byte in the middle of the recording is a damaged chunk and a damaged swing.
    let file = only_recording(&dir);
    let good = fs::read(&file).unwrap();
    let mut bad = good.clone();
    bad[good.len() / 3] ^= 1;
    fs::write(&file, &bad).unwrap();
    let (code, found) = archive(&dir, &["verify"]);
    assert_eq!(code, 3);
    let texts: Vec<&str> = found["findings"]
        .as_array()
        .unwrap()
        .iter()
        .map(|f| f["text"].as_str().unwrap())
        .collect();
    assert!(
        texts.iter().any(|t| t.contains("bytes at byte")),
        "{texts:?}"
    );
    assert!(texts.iter().any(|t| t.starts_with("swing ")), "{texts:?}");
    fs::remove_file(&file).unwrap();
    assert_eq!(archive(&dir, &["verify"]).0, 3);
    fs::write(&file, &good).unwrap();
    assert_verified(&dir);
}

#[test]
fn the_reference_library_opens_an_archived_session() {
    let dir = demo_archive("archive-foreign");
    let file = only_recording(&dir);
    let listed = support::python("reference/mcap_list.py", &[file.as_os_str()]);
    let listed: Value = serde_json::from_str(&listed).unwrap();
    assert_eq!(listed[0]["torn"], Value::Null);
    assert_eq!(listed[0]["channel"][0], "datagrams");
    let entries = listed[0]["entries"].as_array().unwrap();
    let datagrams = entries.iter().filter(|e| !e[1].is_null()).count();
    let found = assert_verified(&dir);
    assert_eq!(found["datagrams"], datagrams);
    let raw: usize = entries
        .iter()
        .filter_map(|e| Some(e[1].as_str()?.len() / 2))
        .sum();
    let share = fs::metadata(&file).unwrap().len() as f64 / raw as f64;
    println!("recording: {share:.3} of {raw} raw bytes");
    assert!(share <= 0.85, "{share}");
}

/// Where each chunk of an MCAP file ends (record: opcode u8, length u64; mcap.dev, "Records").
fn chunk_ends(file: &[u8]) -> Vec<usize> {
    let mut ends = Vec::new();
    let mut at = 8;
    while let Some((head, _)) = file
        .get(at..)
        .and_then(|rest| rest.split_first_chunk::<9>())
    {
        let length = u64::from_le_bytes(head[1..].try_into().unwrap());
        at += 9 + usize::try_from(length).unwrap();
        if head[0] == 6 {
            ends.push(at);
        }
    }
    ends
}

#[test]
fn every_whole_chunk_of_a_cut_file_is_recovered() {
    let dir = scratch("archive-cut");
    let whole = dir.join("whole.mcap");
    let meta = Meta {
        bay: "south".into(),
        zone: "UTC".into(),
        program: "0.1.0".into(),
        clock_zero_utc_ns: 0,
        marker_map: String::new(),
        context: None,
        late_ns: std::collections::BTreeMap::new(),
        only_swings: false,
    };
    let mut chance = ChaCha8Rng::seed_from_u64(7);
    let mut recorder = Recorder::create(&whole, &meta).unwrap();
    for n in 0..1500 {
        let datagram: Vec<u8> = (0..300).map(|_| chance.next_u32() as u8).collect();
        recorder.push(n * 2_000_000, &datagram, 0).unwrap();
    }
    recorder.finish().unwrap();
    let bytes = fs::read(&whole).unwrap();
    let ends = chunk_ends(&bytes);
    assert!(ends.len() > 8, "{} chunks", ends.len());
    // What is in the chunks up to each end, by the reference library.
    let prefixes: Vec<PathBuf> = ends
        .iter()
        .map(|&end| {
            let path = dir.join(format!("{end}.mcap"));
            fs::write(&path, &bytes[..end]).unwrap();
            path
        })
        .collect();
    let args: Vec<&OsStr> = prefixes.iter().map(|p| p.as_os_str()).collect();
    let listed: Value =
        serde_json::from_str(&support::python("reference/mcap_list.py", &args)).unwrap();
    let counts: Vec<usize> = listed
        .as_array()
        .unwrap()
        .iter()
        .map(|f| f["entries"].as_array().unwrap().len())
        .collect();
    let all: Vec<Recorded> = read(&whole).unwrap().collect();
    let (torn, saved) = (dir.join("torn.mcap"), dir.join("saved.mcap"));
    for _ in 0..200 {
        let cut = (chance.next_u64() as usize) % bytes.len();
        fs::write(&torn, &bytes[..cut]).unwrap();
        let chunks = ends.iter().filter(|&&end| end <= cut).count();
        let Ok(said) = recover(&torn, &saved) else {
            assert_eq!(chunks, 0, "cut at {cut}");
            continue;
        };
        let expected = if chunks == 0 { 0 } else { counts[chunks - 1] };
        assert_eq!(said.datagrams as usize, expected, "cut at {cut}");
        let lost_from = if chunks == 0 { 0 } else { ends[chunks - 1] };
        assert!(
            said.lost_bytes as usize <= cut - lost_from,
            "cut at {cut}: {said:?}"
        );
        let mut again = read(&saved).unwrap();
        let kept: Vec<Recorded> = again.by_ref().collect();
        assert!(kept == all[..expected] && again.losses().is_empty());
        fs::remove_file(&saved).unwrap();
    }
}

#[tokio::test]
async fn without_a_consent_nothing_is_recorded() {
    let dir = scratch("archive-consent").join("archive");
    let student = enroll(&dir, &[]);
    let place = dir.to_str().unwrap();
    for extra in [vec![], vec!["--student", student.as_str()]] {
        let args: Vec<&str> = ["--archive", place].into_iter().chain(extra).collect();
        let bay = Bay::start("whin_32", &args);
        let screen = bay.listen().await;
        let said = screen.hello["recording"].as_str().unwrap();
        assert!(said.starts_with("not recorded"), "{said}");
        assert_eq!(bay.stop(), Some(0));
    }
    assert_eq!(fs::read_dir(dir.join("recordings")).unwrap().count(), 0);
    let minor = [
        "enroll",
        "--name",
        "Tamsin Okafor-Lee",
        "--born",
        "2011",
        "--consent",
        "lesson",
    ];
    let mut args: Vec<&OsStr> = vec!["archive".as_ref()];
    args.extend(minor.iter().map(OsStr::new));
    args.extend(["--archive".as_ref(), dir.as_os_str()]);
    let (code, _, err) = run_whin(&args);
    assert_eq!(code, 2);
    assert!(err.contains("guardian"), "{err}");
}

/// Becomes the program in a mount namespace of its own, with a disk of 12 MiB at `$0` and an archive
/// with one student on it.
const ON_A_SMALL_DISK: &str = r#"
mount -t tmpfs -o size=12m none "$0" || exit 1
student=$("$1" archive enroll --archive "$0/archive" --name "Ivo Brandt" --born 2002 --consent lesson) || exit 1
exec "$@" --archive "$0/archive" --student "$student"
"#;

/// Verifies the archive on the small disk, from inside the namespace of a process, and counts its swings.
fn kept_on(disk: &Path, pid: u32) -> u64 {
    let out = Command::new("nsenter")
        .args(["--user", "--mount", "--target", &pid.to_string()])
        .arg(whin().get_program())
        .args(["archive", "verify", "--json", "--archive"])
        .arg(disk.join("archive"))
        .output()
        .expect("nsenter (util-linux) is installed");
    let said = String::from_utf8_lossy(&out.stderr);
    assert!(out.status.success(), "{said}");
    let found: Value = serde_json::from_slice(&out.stdout).unwrap();
    found["swings"].as_u64().unwrap()
}

#[tokio::test]
async fn a_full_disk_is_announced_harms_nothing_and_is_got_over() {
    let disk = scratch("archive-full");
    // Without user namespaces this fails: a full disk is not skipped.
    let mut command = Command::new("unshare");
    command
        .args(["--user", "--map-root-user", "--mount", "sh", "-c"])
        .arg(ON_A_SMALL_DISK)
        .arg(&disk)
        .arg(whin().get_program());
    let bay = Bay::start_by(command, "127.0.0.1:0", "whin_32", &[]);
    let inside = PathBuf::from(format!("/proc/{}/root{}", bay.pid(), disk.display()));
    let mut screen = bay.listen().await;
    let golfer = Golfer::start(bay.udp);
    let archived =
        |message: &Value, yes: bool| message["type"] == "archived" && message["archived"] == yes;
    let patience = || Instant::now() + Duration::from_secs(40);
    let mut seen = false;
    let mut until = |message: &Value| {
        seen = archived(message, true);
        seen
    };
    told(&mut screen, patience(), &mut until).await;
    assert!(seen, "the first swing is archived");

    let filler = inside.join("filler");
    fs::write(&filler, vec![0xa5; 6 * 1024 * 1024]).unwrap();
    let (mut announced, mut refused) = (false, None);
    told(&mut screen, patience(), &mut |message| {
        let findings = message["findings"].as_array();
        announced |= findings.is_some_and(|f| f.iter().any(|f| f["code"] == "disk.full"));
        if archived(message, false) {
            refused = message["reason"].as_str().map(str::to_owned);
        }
        announced && refused.is_some()
    })
    .await;
    assert!(announced, "the rig page says that the disk is full");
    assert!(refused.unwrap().contains("full"));
    let kept = kept_on(&disk, bay.pid());
    assert!(kept > 0);

    fs::remove_file(&filler).unwrap();
    let mut again = false;
    told(&mut screen, patience(), &mut |message| {
        again = archived(message, true);
        again
    })
    .await;
    assert!(again, "recording goes on by itself");
    assert!(kept_on(&disk, bay.pid()) > kept);
    drop(golfer);
    assert_eq!(bay.stop(), Some(0));
}
