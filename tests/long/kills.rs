//! The long campaign of kills and power cuts. Run by `bash tests/long/kills`, which says what it does; how
//! the disk is built again from a log of system calls is in `disk`.

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
#[path = "disk.rs"]
mod disk;
#[path = "../support.rs"]
mod support;

use std::collections::BTreeSet;
use std::fs;
use std::path::Path;
use std::process::Command;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use crossbeam_channel::bounded;
use daemon::archive::rows::Which;
use daemon::archive::{Archive, verify};
use daemon::clock::Clock;
use daemon::demo::{self, Lesson};
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng as _, SeedableRng as _};
use serde_json::Value;
use tokio::time::{Instant, timeout_at};

use bay::{Bay, Listener};
use disk::Disk;

/// An archive takes this many kills before a new one is begun: `verify` reads all of it each time.
const KILLS_AN_ARCHIVE: u64 = 10;
/// System calls that change files, and those by which screens are told.
const CALLS: &str =
    "trace=openat,write,writev,pwrite64,lseek,ftruncate,fsync,fdatasync,rename,unlink,sendto";

/// The identifier of a swing that a message tells as archived.
fn acknowledged(message: &Value) -> Option<String> {
    let archived = message["type"] == "archived" && message["archived"] == true;
    archived.then(|| message["id"].as_str().unwrap().to_owned())
}

async fn listen(screen: &mut Listener, until: Instant, ids: &mut BTreeSet<String>) {
    while let Ok(Some(message)) = timeout_at(until, screen.next()).await {
        ids.extend(acknowledged(&message));
    }
}

/// What is wrong with an archive that should be whole and have these swings.
fn wrong(dir: &Path, shown: &BTreeSet<String>) -> Option<String> {
    let archive = match Archive::open(dir) {
        Ok(archive) => archive,
        Err(why) => return Some(why.to_string()),
    };
    let found = verify::verify(&archive).map_err(|why| why.to_string());
    let swings = archive.store.swings(Which::All);
    match (found, swings) {
        (Ok(found), Ok(swings)) => {
            let kept: BTreeSet<String> = swings.into_iter().map(|s| s.id).collect();
            let lost: Vec<&String> = shown.difference(&kept).collect();
            let damaged = found.damaged() || !lost.is_empty();
            damaged.then(|| format!("missing {lost:?}; {:?}", found.findings))
        }
        (Err(why), _) => Some(why),
        (_, Err(why)) => Some(why.to_string()),
    }
}

/// One life of a bay under strace: what its screen was told.
async fn life(
    dir: &Path,
    student: &str,
    log: &Path,
    (seed, pace): (u64, f64),
    life: Duration,
) -> BTreeSet<String> {
    let mut command = Command::new("strace");
    command.args(["-f", "-qq", "--seccomp-bpf", "-y", "-xx", "-s", "100000000"]);
    command.args(["-e", CALLS, "-o"]).arg(log);
    command.arg(support::whin().get_program());
    let place = dir.to_str().unwrap();
    let args = ["--archive", place, "--student", student];
    let bay = Bay::start_by(command, "127.0.0.1:0", "whin_32", &args);
    let mut screen = bay.listen().await;
    let stop = Arc::new(AtomicBool::new(false));
    let lesson = Lesson {
        epoch: 1,
        pace,
        shots: None,
    };
    let (truths, _nobody) = bounded(1);
    let golfer = (move |shot| demo::golfer(seed, shot), lesson);
    let golfer = demo::spawn(golfer, bay.udp, Clock::start(), truths, Arc::clone(&stop)).unwrap();
    let mut ids = BTreeSet::new();
    listen(&mut screen, Instant::now() + life, &mut ids).await;
    let children = fs::read_to_string(format!("/proc/{0}/task/{0}/children", bay.pid())).unwrap();
    let killed = Command::new("kill")
        .args(["-9", children.trim()])
        .status()
        .unwrap();
    assert!(killed.success());
    // What was on its way to the screen counts as shown.
    listen(
        &mut screen,
        Instant::now() + Duration::from_secs(5),
        &mut ids,
    )
    .await;
    stop.store(true, Ordering::Relaxed);
    drop(golfer.join());
    // strace ends with what it watched, once its log is whole.
    while Path::new(&format!("/proc/{}/fd/1", bay.pid())).exists() {
        std::thread::sleep(Duration::from_millis(5));
    }
    ids
}

#[tokio::main]
async fn main() {
    let (mut seed, mut count, mut pace, mut sound) = (1_u64, 1000_u64, 4.0, false);
    campaign::flags(|flag, number| {
        match flag {
            "--seed" => seed = number() as u64,
            "--count" => count = number() as u64,
            "--pace" => pace = number(),
            "--sound" => sound = true,
            _ => return false,
        }
        true
    });
    let mut chance = ChaCha8Rng::seed_from_u64(seed);
    let top = support::scratch("kills");
    let (dir, log, rebuilt) = (top.join("archive"), top.join("calls"), top.join("rebuilt"));
    let (mut shown, mut faults) = (BTreeSet::new(), Vec::new());
    let (mut acknowledged, mut cuts) = (0, 0);
    let mut student = String::new();
    for kill in 0..count {
        if kill % KILLS_AN_ARCHIVE == 0 {
            if dir.exists() {
                fs::remove_dir_all(&dir).unwrap();
            }
            shown.clear();
            student = enroll(&dir);
        }
        let before = Disk::of(&dir);
        let length =
            Duration::from_millis(((1500 + chance.next_u64() % 6000) as f64 * 4.0 / pace) as u64);
        let told = life(&dir, &student, &log, (seed + kill, pace), length).await;
        let mut base = shown.clone();
        shown.extend(told.iter().cloned());
        acknowledged += told.len();
        faults.extend(wrong(&dir, &shown).map(|why| format!("kill {kill}: {why}")));
        // The same life again, call by call, cut at each acknowledged swing.
        let mut cut = |disk: &Disk, id: &str| {
            base.insert(id.to_owned());
            cuts += 1;
            disk.write(&rebuilt, sound);
            faults.extend(wrong(&rebuilt, &base).map(|why| format!("cut at {id}: {why}")));
        };
        disk::replay(before, &fs::read_to_string(&log).unwrap(), &mut cut);
        let unseen: Vec<&String> = shown.difference(&base).collect();
        assert!(
            unseen.is_empty(),
            "told, but not in the log of calls: {unseen:?}"
        );
        if (kill + 1) % 10 == 0 {
            eprintln!(
                "{} kills, {acknowledged} swings told as archived, {cuts} cuts, {} faults",
                kill + 1,
                faults.len()
            );
        }
    }
    faults.iter().for_each(|fault| println!("{fault}"));
    let said = serde_json::json!({
        "seed": seed, "kills": count, "pace": pace, "told_as_archived": acknowledged, "power_cuts": cuts,
        "faults": faults.len(),
    });
    println!("{said}");
    fs::remove_dir_all(&top).unwrap();
    assert!(acknowledged > 0 && cuts >= acknowledged);
    assert_eq!(faults.is_empty(), !sound, "see above");
}

fn enroll(dir: &Path) -> String {
    let student = campaign::student();
    let mut archive = Archive::create(dir).unwrap();
    let now = Clock::start().zero_utc_ns();
    archive
        .store
        .enroll(&student, (&["lesson"], None), now)
        .unwrap()
}
