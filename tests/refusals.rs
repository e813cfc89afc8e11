//! Bad input: a clear message that says what and where, and the daemon keeps running.

use std::net::UdpSocket;
use std::path::Path;

use crate::bay::Bay;
use crate::support::{data, run_whin, scratch};

fn refused(args: &[&str], exit: i32, words: &[&str]) {
    let args: Vec<&std::ffi::OsStr> = args.iter().map(std::ffi::OsStr::new).collect();
    let (code, _, err) = run_whin(&args);
    assert_eq!(code, exit, "{args:?}: {err}");
    for word in words {
        assert!(err.contains(word), "{args:?}: no `{word}` in: {err}");
    }
}

#[tokio::test]
async fn garbage_is_counted_by_reason_and_the_next_swing_is_measured() {
    let Some(data) = data() else { return };
    let bay = Bay::start("club_led", &[]);
    let mut screen = bay.listen().await;
    let socket = UdpSocket::bind("127.0.0.1:0").unwrap();
    let send = |bytes: &[u8]| assert_eq!(socket.send_to(bytes, bay.udp).unwrap(), bytes.len());
    send(b"hello, is this the golf?");
    send(&[]);
    send(&[0xff; 1400]);
    send(b"WHIN\x07\x00\x01\x28 a newer major version, whatever follows it...");
    send(b"WHIN\x01\x00\x01\x28 cut");
    let health = screen
        .health_where(|h| h["refused"].as_array().is_some_and(|r| r.len() >= 4))
        .await;
    let reasons = health["refused"].to_string();
    for word in [
        "not a Whin datagram",
        "major version 7, this program speaks 1",
        "cut",
    ] {
        assert!(reasons.contains(word), "no `{word}` in {reasons}");
    }
    let codes: Vec<&str> = health["findings"]
        .as_array()
        .unwrap()
        .iter()
        .filter_map(|f| f["code"].as_str())
        .collect();
    assert!(
        codes.contains(&"udp.garbage") && codes.contains(&"udp.wrong_version"),
        "{codes:?}"
    );
    bay.send(&data.join("golf_club_107hz.c3d"), "club_led", "10");
    assert_eq!(screen.until_silent().await.0.len(), 1);
}

#[test]
fn a_cut_file_is_refused_with_section_and_byte() {
    let Some(data) = data() else { return };
    let bytes = std::fs::read(data.join("golf_club_107hz.c3d")).unwrap();
    let cut = scratch("cut").join("cut.c3d");
    std::fs::write(&cut, &bytes[..bytes.len() / 2]).unwrap();
    let name = cut.to_str().unwrap();
    for command in [
        vec!["analyze", name, "--markers", "club_led"],
        vec!["send", name, "--to", "127.0.0.1:9"],
    ] {
        refused(&command, 3, &["cut.c3d", "data section", "byte"]);
    }
}

#[test]
fn a_map_with_a_typo_is_refused_with_its_line() {
    let text = std::fs::read_to_string(
        Path::new(env!("CARGO_MANIFEST_DIR")).join("../daemon/maps/whin_32.toml"),
    )
    .unwrap();
    let map = scratch("map").join("typo.toml");
    std::fs::write(&map, text.replace("\"left_knee\"", "\"left_kneee\"")).unwrap();
    let name = map.to_str().unwrap();
    refused(
        &[
            "serve",
            "--markers",
            name,
            "--udp",
            "127.0.0.1:0",
            "--http",
            "127.0.0.1:0",
        ],
        2,
        &["typo.toml", "line", "did you mean `left_knee`"],
    );
    refused(
        &["serve", "--markers", "no_such_map"],
        2,
        &["no_such_map", "whin_32", "club_led"],
    );
}

#[test]
fn a_configuration_with_an_unknown_key_is_refused_with_its_line() {
    let file = scratch("config").join("bay.toml");
    std::fs::write(
        &file,
        "version = 1\n[udp]\nlisten = \"127.0.0.1:0\"\nbufer = 3\n",
    )
    .unwrap();
    refused(
        &["serve", "--config", file.to_str().unwrap()],
        2,
        &["bay.toml", "line 4", "bufer"],
    );
    refused(
        &["serve", "--http", "0.0.0.0:0"],
        2,
        &["0.0.0.0", "whin access set-passphrase"],
    );
}

#[test]
fn files_that_are_not_what_they_are_taken_for_are_refused() {
    let dir = scratch("files");
    let text = dir.join("notes.c3d");
    std::fs::write(&text, "these are only notes").unwrap();
    refused(
        &["analyze", text.to_str().unwrap()],
        3,
        &["notes.c3d", "header"],
    );
    refused(&["analyze", "nowhere.c3d"], 3, &["nowhere.c3d"]);
    let recording = dir.join("notes.mcap");
    std::fs::write(&recording, "these are only notes").unwrap();
    refused(
        &["analyze", recording.to_str().unwrap()],
        3,
        &["notes.mcap"],
    );
}

#[test]
fn a_file_whose_labels_are_in_no_map_says_so() {
    let Some(data) = data() else { return };
    let (code, _, err) = run_whin(&[
        "analyze".as_ref(),
        data.join("golf_club_107hz.c3d").as_os_str(),
    ]);
    assert_ne!(code, 0);
    assert!(
        err.contains("none of its 29 labels") && err.contains("--markers"),
        "{err}"
    );
}
