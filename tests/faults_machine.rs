//! Faults of the machine under the real program: a halted process, a slow and a read-only disk, a locked store, a
//! client that never reads, five hundred clients, a taken port. (A full disk is in `archive`, faults of the
//! stream in `faults`, a configuration with each kind of mistake in `daemon::config` and `refusals`.)

use std::fs;
use std::io::{Read as _, Write as _};
use std::net::{SocketAddr, TcpListener, TcpStream, UdpSocket};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::Duration;

use serde_json::Value;
use tokio::time::Instant;

use crate::archive::{Golfer, assert_verified, enroll, swing_ids, told};
use crate::bay::Bay;
use crate::http::ask;
use crate::support::{python_command, run_whin, scratch, whin};

fn patience() -> Instant {
    Instant::now() + Duration::from_secs(60)
}

fn is_archived(message: &Value, yes: bool) -> bool {
    message["type"] == "archived" && message["archived"] == yes
}

fn announces(message: &Value, code: &str) -> bool {
    let findings = message["findings"].as_array();
    findings.is_some_and(|f| f.iter().any(|f| f["code"] == code))
}

fn signal(pid: u32, name: &str) {
    let sent = Command::new("kill")
        .args([&format!("-{name}"), &pid.to_string()])
        .status();
    assert!(sent.expect("kill runs").success());
}

/// The program halted for six seconds while a golfer goes on: what the kernel's buffer does not hold is lost, said
/// to be lost, and the next swings are archived.
#[tokio::test]
async fn a_bay_that_was_halted_says_what_it_lost_and_goes_on() {
    let dir = scratch("faults-halted").join("archive");
    let student = enroll(&dir, &["--consent", "lesson"]);
    let place = dir.to_str().unwrap();
    let config = dir.with_file_name("bay.toml");
    // A buffer that six seconds overflow.
    fs::write(
        &config,
        "version = 1\n[udp]\nreceive_buffer_bytes = 65536\n",
    )
    .unwrap();
    let args = [
        "--config",
        config.to_str().unwrap(),
        "--archive",
        place,
        "--student",
        &student,
    ];
    let bay = Bay::start("whin_32", &args);
    let mut screen = bay.listen().await;
    let golfer = Golfer::start(bay.udp);
    let mut before = false;
    told(&mut screen, patience(), &mut |m| {
        before |= is_archived(m, true);
        before
    })
    .await;
    assert!(before);
    signal(bay.pid(), "STOP");
    tokio::time::sleep(Duration::from_secs(6)).await;
    signal(bay.pid(), "CONT");
    let (mut lost, mut after) = (false, 0);
    told(&mut screen, patience(), &mut |m| {
        lost |= announces(m, "stream.lost");
        after += u32::from(lost && is_archived(m, true));
        after >= 2
    })
    .await;
    assert!(
        lost && after >= 2,
        "announced: {lost}, archived after it: {after}"
    );
    drop(golfer);
    assert_eq!(bay.stop(), Some(0));
    assert_verified(&dir);
}

/// Every sync of the disk takes half a second.
#[tokio::test]
async fn a_slow_disk_delays_the_archive_and_loses_nothing() {
    let dir = scratch("faults-slow").join("archive");
    let student = enroll(&dir, &["--consent", "lesson"]);
    let mut command = Command::new("strace");
    command
        .args([
            "-f",
            "-qq",
            "-o",
            "/dev/null",
            "-e",
            "trace=fsync,fdatasync",
        ])
        .args(["-e", "inject=fsync,fdatasync:delay_exit=500000"])
        .arg(whin().get_program());
    let args = ["--archive", dir.to_str().unwrap(), "--student", &student];
    let bay = Bay::start_by(command, "127.0.0.1:0", "whin_32", &args);
    let mut screen = bay.listen().await;
    let golfer = Golfer::start(bay.udp);
    let mut shown = Vec::new();
    let mut refused = 0;
    told(&mut screen, patience(), &mut |m| {
        if is_archived(m, true) {
            shown.push(m["id"].as_str().unwrap_or_default().to_owned());
        }
        // Said, not silent.
        refused += u32::from(is_archived(m, false) && m["reason"].is_string());
        shown.len() >= 3
    })
    .await;
    assert!(
        shown.len() >= 3,
        "{} archived, {refused} said not to be",
        shown.len()
    );
    drop(golfer);
    drop(bay);
    let kept = swing_ids(&dir);
    assert!(
        shown
            .iter()
            .all(|id| kept.iter().any(|(_, kept)| kept == id))
    );
}

/// Becomes the program in a mount namespace of its own, with a disk at `$0` and an archive with one student on it
/// whose recordings cannot be written.
const ON_A_READ_ONLY_DISK: &str = r#"
mount -t tmpfs -o size=64m none "$0" || exit 1
student=$("$1" archive enroll --archive "$0/archive" --name "Ivo Brandt" --born 2002 --consent lesson) || exit 1
mount --bind -o ro "$0/archive/recordings" "$0/archive/recordings" || exit 1
exec "$@" --archive "$0/archive" --student "$student"
"#;

fn remount(disk: &Path, pid: u32, how: &str) -> bool {
    let mut command = Command::new("nsenter");
    command.args(["--user", "--mount", "--target", &pid.to_string()]);
    command.args(["mount", "-o", how]).arg(disk);
    command
        .status()
        .expect("nsenter (util-linux) is installed")
        .success()
}

/// Another process holds the write lock of the store: for seconds it is waited for, for longer than the store's
/// patience (10 s, for each of two that may wait one behind the other) a swing is said not to be archived.
#[tokio::test]
async fn a_store_that_is_locked_for_seconds_is_waited_for_and_for_longer_is_told() {
    let dir = scratch("faults-locked").join("archive");
    let student = enroll(&dir, &["--consent", "lesson"]);
    let bay = Bay::start(
        "whin_32",
        &["--archive", dir.to_str().unwrap(), "--student", &student],
    );
    let mut screen = bay.listen().await;
    let golfer = Golfer::start(bay.udp);
    for (seconds, kept) in [(4, true), (26, false)] {
        let mut holder = python_command("reference/hold_store.py");
        let mut holder = holder
            .arg(store(&dir))
            .arg(seconds.to_string())
            .stdout(Stdio::piped())
            .spawn()
            .expect("Python starts");
        let mut said = [0; 5];
        holder.stdout.take().unwrap().read_exact(&mut said).unwrap();
        assert_eq!(&said, b"held\n");
        let (mut yes, mut no) = (0, None);
        let until = match kept {
            true => Instant::now() + Duration::from_secs(seconds + 4),
            // Each of what waits for the store waits its own time.
            false => patience(),
        };
        told(&mut screen, until, &mut |m| {
            yes += u32::from(is_archived(m, true));
            if is_archived(m, false) {
                no = m["reason"].as_str().map(str::to_owned);
            }
            !kept && no.is_some()
        })
        .await;
        assert!(holder.wait().unwrap().success());
        match kept {
            true => assert!(yes > 0 && no.is_none(), "{yes}, {no:?}"),
            // Or, where this machine sends faster than life, what the queue could not hold meanwhile.
            false => {
                let why = no.expect("told as not archived");
                assert!(why.contains("locked") || why.contains("too slow"), "{why}");
            }
        }
    }
    let mut again = false;
    told(&mut screen, patience(), &mut |m| {
        again = is_archived(m, true);
        again
    })
    .await;
    assert!(again, "after the lock swings are archived again");
    drop(golfer);
    assert_eq!(bay.stop(), Some(0));
    assert_verified(&dir);
}

/// The file with the tables.
fn store(dir: &Path) -> PathBuf {
    let files = fs::read_dir(dir).unwrap().map(|f| f.unwrap().path());
    let mut stores = files.filter(|f| {
        let head = fs::read(f).unwrap_or_default();
        head.starts_with(b"SQLite format 3\0")
    });
    stores.next().expect("a store in the archive")
}

/// The folder of the recordings takes nothing, as a disk that the kernel has found errors on: a read-only mount.
#[tokio::test]
async fn a_read_only_disk_is_told_and_got_over() {
    let disk = scratch("faults-read-only");
    let mut command = Command::new("unshare");
    command
        .args(["--user", "--map-root-user", "--mount", "sh", "-c"])
        .arg(ON_A_READ_ONLY_DISK)
        .arg(&disk)
        .arg(whin().get_program());
    let bay = Bay::start_by(command, "127.0.0.1:0", "whin_32", &[]);
    let mut screen = bay.listen().await;
    let recordings = disk.join("archive/recordings");
    let golfer = Golfer::start(bay.udp);
    let (mut announced, mut refused) = (false, false);
    told(&mut screen, patience(), &mut |m| {
        announced |= announces(m, "archive.stopped");
        refused |= is_archived(m, false);
        announced && refused
    })
    .await;
    assert!(
        announced && refused,
        "announced {announced}, refused {refused}"
    );
    assert!(remount(&recordings, bay.pid(), "remount,rw,bind"));
    let mut again = false;
    told(&mut screen, patience(), &mut |m| {
        again = is_archived(m, true);
        again
    })
    .await;
    assert!(again, "recording goes on by itself");
    drop(golfer);
    assert_eq!(bay.stop(), Some(0));
}

/// A socket to the screens' messages; nothing is read of it beyond the answer's head.
fn socket(to: SocketAddr) -> (TcpStream, String) {
    let mut stream = TcpStream::connect(to).expect("the bay listens");
    stream
        .set_read_timeout(Some(Duration::from_secs(20)))
        .unwrap();
    write!(
        stream,
        "GET /ws HTTP/1.1\r\nHost: {to}\r\nConnection: Upgrade\r\nUpgrade: websocket\r\n\
         Sec-WebSocket-Version: 13\r\nSec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==\r\n\r\n"
    )
    .unwrap();
    let mut first = [0; 12];
    stream.read_exact(&mut first).expect("an answer");
    let status = String::from_utf8_lossy(&first[9..]).into_owned();
    (stream, status)
}

/// One screen that never reads and five hundred more: the first is let go, as many as are allowed look on, the
/// rest are told that there is no place, and the one that reads gets every swing.
#[tokio::test]
async fn screens_that_do_not_read_or_are_too_many_disturb_nobody() {
    let bay = Bay::start("whin_32", &[]);
    let mut screen = bay.listen().await;
    let crowd: Vec<_> = (0..500).map(|_| socket(bay.http)).collect();
    let of = |wanted: &str| crowd.iter().filter(|(_, s)| s == wanted).count();
    let (looking, refused) = (of("101"), of("503"));
    assert_eq!(looking + refused, 500, "every one is answered");
    assert!(
        looking > 0 && refused > 0,
        "{looking} look on, {refused} refused"
    );
    let golfer = Golfer::start(bay.udp);
    let (mut swings, mut queues) = (0, 0);
    told(&mut screen, patience(), &mut |m| {
        swings += u32::from(m["type"] == "swing" && m["revision"] == 2);
        for queue in m["queues"].as_array().into_iter().flatten() {
            let (waiting, room) = (queue["waiting"].as_u64(), queue["room"].as_u64());
            if queue["name"] == "outgoing" && waiting == room {
                queues += 1;
            }
        }
        swings >= 3
    })
    .await;
    assert!(
        swings >= 3 && queues == 0,
        "{swings} swings, {queues} full queues"
    );
    let (status, _) = ask(bay.http, "GET", "/healthz", None);
    assert_eq!(status, 200);
    drop(crowd);
    drop(golfer);
    assert_eq!(bay.stop(), Some(0));
}

#[test]
fn a_taken_port_is_told_with_what_has_it() {
    let http = TcpListener::bind("127.0.0.1:0").unwrap();
    let udp = UdpSocket::bind("127.0.0.1:0").unwrap();
    let (http, udp) = (
        http.local_addr().map(|a| (a, http)),
        udp.local_addr().map(|a| (a, udp)),
    );
    let (http, udp) = (http.unwrap(), udp.unwrap());
    for (http, udp) in [
        (http.0.to_string(), "127.0.0.1:0".to_owned()),
        ("127.0.0.1:0".to_owned(), udp.0.to_string()),
    ] {
        let args = ["serve", "--http", &http, "--udp", &udp];
        let (code, _, err) = run_whin(&args.map(AsRef::as_ref));
        assert_eq!(code, 4, "{err}");
        let taken = if udp.ends_with(":0") { &http } else { &udp };
        assert!(err.contains(taken.as_str()), "no {taken} in: {err}");
    }
}
