//! The kept corpus of the fuzz targets as ordinary tests, through the same functions as the fuzzer
//! (`fuzz/entries.rs`). The seeds are valid inputs made here; `WHIN_SNAPSHOTS=write` writes them anew, and what
//! a fuzzer found is put beside them by hand.

use std::fs;
use std::path::{Path, PathBuf};

use analysis::forward::{CaptureParams, GolferParams, PlateParams, swing};
use daemon::config::Config;
use daemon::feed::{self, Due};
use daemon::map::MarkerMap;
use daemon::recording::{Meta, Recorder};
use daemon::synthetic;
use protocol::c3d;
use protocol::wire::{self, Body, Header, Key, Pulse, Trigger};

use crate::support::scratch;

#[path = "fuzz/entries.rs"]
mod entries;

/// Bytes of one file and of a target's all.
const FILE_MAX: u64 = 8 * 1024;
const ALL_MAX: u64 = 300 * 1024;

fn folder(target: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("fuzz/corpus")
        .join(target)
}

/// Half a second of the golfer on plates, with `frames` frames.
fn take(frames: usize) -> c3d::C3d {
    let capture = CaptureParams {
        rate_hz: 120.0,
        noise_m: 0.0005,
        dropout: 0.02,
        wobble: false,
        plates: Some(PlateParams::USUAL),
    };
    let take = swing(&GolferParams::from_seed(6), &capture);
    let map = MarkerMap::load("whin_32").unwrap();
    let mut take = synthetic::c3d(&take, &map);
    let a_frame = (take.analog.rate_hz / take.rate_hz).round() as usize;
    take.frames.truncate(frames);
    for channel in &mut take.analog.channels {
        channel.samples.truncate(frames * a_frame);
    }
    take
}

fn due(frames: usize) -> Vec<Due> {
    feed::of_c3d(&take(frames), None, 1).unwrap()
}

fn trigger() -> Vec<u8> {
    let body = Body::Trigger(Trigger {
        pulse: Pulse::Sound,
        strength: None,
    });
    let header = Header {
        stream: 3,
        ..Header::default()
    };
    let mut bytes = Vec::new();
    wire::encode(&header, &body, &mut bytes).unwrap();
    bytes
}

fn in_a_row(due: &[Due]) -> Vec<u8> {
    let of = |d: &Due| [&(d.bytes.len() as u16).to_le_bytes()[..], &d.bytes].concat();
    due.iter().flat_map(of).collect()
}

fn recorded(whole: bool) -> Vec<u8> {
    let path = scratch("corpus").join("seed.mcap");
    let meta = Meta {
        bay: "south".into(),
        zone: "UTC".into(),
        program: "0.1.0".into(),
        clock_zero_utc_ns: 0,
        marker_map: "version = 1\n".into(),
        context: None,
        late_ns: std::collections::BTreeMap::new(),
        only_swings: false,
    };
    let mut recorder = Recorder::create(&path, &meta).unwrap();
    recorder.push(1_000_000, &trigger(), 0).unwrap();
    recorder.push(2_000_000, &trigger(), 0).unwrap();
    recorder.finish().unwrap();
    let mut bytes = fs::read(path).unwrap();
    if !whole {
        bytes.truncate(bytes.len() * 2 / 3);
    }
    bytes
}

/// A file that tells of two markers and one plate.
fn small_c3d() -> Vec<u8> {
    let mut take = take(3);
    take.labels.truncate(2);
    take.frames.iter_mut().for_each(|f| f.truncate(2));
    take.plates.truncate(1);
    take.analog.channels.truncate(6);
    for channel in &mut take.analog.channels {
        channel.samples.truncate(6);
    }
    take.analog.rate_hz = 2.0 * take.rate_hz;
    c3d::write(&take).unwrap()
}

/// The seeds of a target, all valid unless their name says otherwise.
fn seeds(target: &str) -> Vec<Vec<u8>> {
    let text = |all: &[&str]| all.iter().map(|t| t.as_bytes().to_vec()).collect();
    match target {
        "datagram" => {
            let mut all: Vec<_> = due(1).into_iter().map(|d| d.bytes).collect();
            all.push(trigger());
            all
        }
        "stream" => {
            let due = due(2);
            vec![in_a_row(&due[..due.len().min(5)]), in_a_row(&due[..2])]
        }
        "keyed" => {
            let mut bytes = trigger();
            wire::seal(&mut bytes, &Key::new(&entries::KEY), entries::SENT_NS).unwrap();
            vec![bytes, trigger()]
        }
        "c3d" => vec![small_c3d()],
        "recording" => vec![recorded(true), recorded(false)],
        "map" => {
            let maps = Path::new(env!("CARGO_MANIFEST_DIR")).join("../daemon/maps");
            ["whin_32", "club_led"]
                .map(|name| fs::read(maps.join(format!("{name}.toml"))).unwrap())
                .into()
        }
        "config" => vec![
            Config::defaults().to_toml().into_bytes(),
            b"version = 1\n[udp]\nallow = [\"192.0.2.0/24\"]\n".to_vec(),
        ],
        "context" => text(&[
            "version = 1\nhanded = \"left\"\nheight_m = 1.8\nmass_kg = 70.5\nsex = \"female\"\n",
            "version = 1\n[club]\nlength_m = 0.94\nmass_kg = 0.31\nbalance_m = 0.86\ninertia_kg_m2 = 0.055\n",
        ]),
        "api" => text(&[
            r#"b{"purpose":"check","planned":10}"#,
            r#"k{"from":"last","seconds":20.0}"#,
            r#"m{"student":"s-1","block":3,"club":null}"#,
            r#"s{"mode":"student","student":"s-1","club":"c-2"}"#,
            r#"n{"id":"","name":"Ivo Brandt","born":2002,"side":"left","consents":["lesson"],"guardian":null}"#,
            r#"a{"about":{"swing":"a"},"key":"tags","value":["low"]}"#,
        ]),
        "screen" => text(&[
            r#"{"type":"status","bay":"bay","state":"waiting","time_s":1.5}"#,
            r#"{"type":"archived","bay":"bay","id":"x","archived":false,"reason":"full"}"#,
        ]),
        other => panic!("no seeds of {other}"),
    }
}

#[test]
fn the_corpus_goes_through_every_target() {
    for (target, entry) in entries::ALL {
        let dir = folder(target);
        if std::env::var("WHIN_SNAPSHOTS").is_ok_and(|v| v == "write") {
            fs::create_dir_all(&dir).unwrap();
            for (n, seed) in seeds(target).iter().enumerate() {
                fs::write(dir.join(format!("seed_{n}")), seed).unwrap();
            }
        }
        let files = fs::read_dir(&dir).unwrap_or_else(|e| panic!("{target}: {e}"));
        let mut files: Vec<_> = files.map(|f| f.unwrap().path()).collect();
        files.sort();
        let (mut taken, mut all) = (0, 0);
        for file in &files {
            let bytes = fs::read(file).unwrap();
            assert!(bytes.len() as u64 <= FILE_MAX, "{}", file.display());
            all += bytes.len() as u64;
            taken += usize::from(entry(&bytes));
        }
        println!("{target}: {} files, {taken} taken", files.len());
        assert!(taken > 0, "{target}: nothing gets past the first check");
        assert!(all <= ALL_MAX, "{target}: {all} bytes");
    }
}

/// Every seed cut at every byte, and with every byte changed: no fuzzer, but each check meets its edges.
#[test]
fn cut_and_changed_seeds_crash_nothing() {
    for (target, entry) in entries::ALL {
        for seed in seeds(target) {
            let step = (seed.len() / 400).max(1);
            for at in (0..seed.len()).step_by(step) {
                entry(&seed[..at]);
                for bit in [0x01, 0x80, 0xff] {
                    let mut bytes = seed.clone();
                    bytes[at] ^= bit;
                    entry(&bytes);
                }
            }
        }
    }
}
