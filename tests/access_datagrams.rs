//! Datagrams of others at a bay with a key: forged, changed, repeated, without a tag, from elsewhere. None
//! passes, each is counted by its own code, and the recording of what passed is read as any other.

use std::net::{SocketAddr, UdpSocket};
use std::path::Path;
use std::process::Stdio;
use std::time::{SystemTime, UNIX_EPOCH};

use daemon::send::datagrams;
use protocol::wire::{Key, seal};
use serde_json::Value;

use crate::bay::{Bay, Listener};
use crate::support::{scratch, whin};

fn count(health: &Value, code: &str) -> u64 {
    let findings = health["findings"].as_array().unwrap();
    let found = findings.iter().find(|f| f["code"] == code);
    // "3 datagrams turned away: …"
    let text = found.and_then(|f| f["text"].as_str()).unwrap_or("0");
    text.split(' ').next().unwrap().parse().unwrap()
}

#[allow(
    clippy::disallowed_methods,
    reason = "a sender outside the program has its own date"
)]
fn now_utc_ns() -> u64 {
    SystemTime::now()
        .duration_since(UNIX_EPOCH)
        .unwrap()
        .as_nanos() as u64
}

fn send(socket: &UdpSocket, bytes: &[u8], (to, times): (SocketAddr, usize)) {
    (0..times).for_each(|_| assert_eq!(socket.send_to(bytes, to).unwrap(), bytes.len()));
}

#[tokio::test]
async fn a_bay_with_a_key_takes_nothing_else() {
    let dir = scratch("access-datagrams");
    let made = |args: &[&str]| {
        let done = whin()
            .args(args)
            .current_dir(&dir)
            .stdout(Stdio::null())
            .status();
        done.unwrap().success()
    };
    assert!(made(&["access", "new-key", "udp.key"]));
    assert!(
        !made(&["access", "new-key", "udp.key"]),
        "never over another"
    );
    assert!(made(&[
        "synthesize",
        "--seed",
        "1",
        "--no-plates",
        "--out",
        "take"
    ]));
    let config = dir.join("bay.toml");
    let text = "version = 1\n[udp]\nkey_file = \"udp.key\"\nallow = [\"127.0.0.1\"]\n[recording]\ndir = \"recorded\"\n";
    std::fs::write(&config, text).unwrap();
    let bay = Bay::start("whin_32", &["--config", &config.display().to_string()]);
    let mut screen = bay.listen().await;
    let key = std::fs::read_to_string(dir.join("udp.key")).unwrap();
    let key = Key::from_hex(&key).unwrap();

    attack(&bay, &mut screen, (&dir, &key)).await;

    // The real sender has the key.
    let to = bay.udp.to_string();
    assert!(made(&[
        "send",
        "take/take.c3d",
        "--to",
        &to,
        "--markers",
        "whin_32",
        "--pace",
        "4",
        "--key-file",
        "udp.key"
    ]));
    let (swings, _) = screen.until_silent().await;
    assert_eq!(swings.len(), 1);
    assert_eq!(bay.stop(), Some(0));
    read_again(&dir);
}

/// What was recorded is read without the key, and the key is not in it.
fn read_again(dir: &Path) {
    let recorded = std::fs::read_dir(dir.join("recorded"))
        .unwrap()
        .next()
        .unwrap()
        .unwrap()
        .path();
    let read = whin()
        .args(["analyze", "--json", "--no-uncertainty"])
        .arg(&recorded)
        .output()
        .unwrap();
    let read: Value = serde_json::from_slice(&read.stdout).unwrap();
    assert_eq!(read["swings"].as_array().unwrap().len(), 1);
    let text = String::from_utf8_lossy(&std::fs::read(&recorded).unwrap()).into_owned();
    assert!(!text.contains(&std::fs::read_to_string(dir.join("udp.key")).unwrap()));
}

async fn attack(bay: &Bay, screen: &mut Listener, (dir, key): (&Path, &Key)) {
    // The attacker has heard one real datagram, knows the format, and not the key.
    let plain = datagrams(&dir.join("take/take.c3d"), None, 1)
        .unwrap()
        .swap_remove(0)
        .bytes;
    let sealed = |key: &Key, sent| {
        let mut bytes = plain.clone();
        seal(&mut bytes, key, sent).unwrap();
        bytes
    };
    let heard = sealed(key, now_utc_ns());
    let socket = UdpSocket::bind("127.0.0.1:0").unwrap();
    let elsewhere = UdpSocket::bind("127.0.0.2:0").unwrap();
    let mut changed = heard.clone();
    changed[30] ^= 1;
    for (bytes, times) in [
        (heard.clone(), 1 + 7),
        (plain.clone(), 2),
        (b"garbage".to_vec(), 1),
        (sealed(&Key::new(&[0; 32]), now_utc_ns()), 4),
        (changed, 1),
        (sealed(key, now_utc_ns() - 60_000_000_000), 6),
    ] {
        send(&socket, &bytes, (bay.udp, times));
    }
    send(&elsewhere, &heard, (bay.udp, 9));
    let expected = [
        ("udp.replayed", 7),
        ("udp.unkeyed", 3),
        ("udp.forged", 5),
        ("udp.stale", 6),
        ("udp.source_refused", 9),
    ];
    let all = |h: &Value| expected.iter().all(|(code, n)| count(h, code) == *n);
    let health = screen.health_where(all).await;
    let received: u64 = health["streams"]
        .as_array()
        .unwrap()
        .iter()
        .map(|s| s["received"].as_u64().unwrap())
        .sum();
    assert_eq!(received, 1, "the one that was heard");
}
