//! What the Rig page asks the bay for: what a plate reads under a known weight, taps and places read off what
//! came live, archive and disk with the check of everything, and the configuration. By the public API against
//! the running program.

use std::fs;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use analysis::forward::Style;
use protocol::c3d::{self, C3d, Marker};
use serde_json::{Value, json};

use crate::bay::Bay;
use crate::coaching::{hit, lesson_with};
use crate::coaching_seats::{sit, student};
use crate::http::{Api, ask};
use crate::support::scratch;
use crate::tap;

const PLATES: &str = "/api/v1/bays/bay/plates";
const TAP: &str = "/api/v1/bays/bay/tap";
const PLACE: &str = "/api/v1/bays/bay/place";
/// Standard acceleration of free fall, m/s² (3rd CGPM, 1901).
const FREE_FALL: f64 = 9.806_65;
/// How long a state may take to come.
const PATIENCE: Duration = Duration::from_secs(30);

fn bay_with_archive(name: &str) -> (Bay, Api, PathBuf) {
    let dir = scratch(name);
    let at = dir.join("archive");
    let bay = Bay::start("whin_32", &["--archive", at.to_str().unwrap()]);
    let api = Api(bay.http);
    (bay, api, dir)
}

fn file(dir: &Path, name: &str, take: &C3d) -> PathBuf {
    let path = dir.join(name);
    fs::write(&path, c3d::write(take).unwrap()).unwrap();
    path
}

/// Asks until the answer is as it should be.
fn until(api: &Api, path: &str, good: impl Fn(&Value) -> bool) -> Value {
    let since = Instant::now();
    loop {
        let told = api.get(path);
        if good(&told) {
            return told;
        }
        assert!(since.elapsed() < PATIENCE, "{path} stays at {told}");
        std::thread::sleep(Duration::from_millis(100));
    }
}

fn near(value: &Value, wanted: f64, by: f64) -> bool {
    value.as_f64().is_some_and(|v| (v - wanted).abs() <= by)
}

/// Two seconds empty but for an offset of 3 N, then 20 kg at 50 mm along x and −100 mm along y of plate 1
/// (C3D user guide: with z down a load of m g is Fz = −m g, Mx = y Fz, My = −x Fz).
fn weight_on_a_plate() -> C3d {
    let mut take = tap::take(true);
    let rate_hz = take.analog.rate_hz;
    let (x, y) = (50.0, -100.0);
    for (c, per_newton) in [(2, 1.0), (3, y), (4, -x)] {
        for (n, sample) in take.analog.channels[c].samples.iter_mut().enumerate() {
            let load = if n as f64 > 2.0 * rate_hz {
                -20.0 * FREE_FALL
            } else {
                0.0
            };
            let offset = if c == 2 { -3.0 } else { 0.0 };
            *sample = sample.map(|v| v + (offset + per_newton * load) as f32);
        }
    }
    take
}

#[test]
fn a_known_weight_on_an_empty_plate_is_read_with_its_place() {
    let (bay, api, dir) = bay_with_archive("rig-plates");
    assert_eq!(api.get(PLATES)["plates"], json!([]));
    assert_eq!(ask(api.0, "GET", "/api/v1/bays/other/plates", None).0, 404);
    let take = file(&dir, "weight.c3d", &weight_on_a_plate());
    let loaded = std::thread::scope(|scope| {
        scope.spawn(|| bay.send(&take, "whin_32", "1"));
        let empty = until(&api, PLATES, |p| p["plates"][0]["zero"].is_object());
        assert_eq!(empty["plates"][0]["stood_on"], false, "{empty}");
        until(&api, PLATES, |p| {
            near(&p["plates"][0]["force_n"][1], 20.0 * FREE_FALL, 1.0)
        })
    });
    let [one, two] = [&loaded["plates"][0], &loaded["plates"][1]];
    assert_eq!(
        (&one["name"], &one["stood_on"]),
        (&json!("plate 1"), &json!(true))
    );
    // Plate x is bay X, plate y bay Z, the middle of plate 1 the bay's origin.
    for (axis, wanted) in [0.05, 0.0, -0.1].into_iter().enumerate() {
        assert!(near(&one["center"][axis], wanted, 0.004), "{one}");
    }
    assert!(near(&one["zero"]["force_n"][1], 3.0, 0.3), "{one}");
    assert!(near(&one["zero"]["drift_n"], 0.0, 0.5), "{one}");
    assert!(near(&one["corners"][0][0], 0.2, 1e-3), "{one}");
    assert!(
        near(&two["force_n"][1], 0.0, 1.0) && two["stood_on"] == false,
        "{two}"
    );
    assert_eq!(two["center"], Value::Null);
    // A plate whose sender is silent reads nothing.
    let silent = until(&api, PLATES, |p| p["plates"][0]["force_n"].is_null());
    assert_eq!(silent["plates"][0]["stood_on"], false);
    assert_eq!(bay.stop(), Some(0));
}

#[test]
fn taps_are_read_from_what_has_just_come() {
    let (bay, api, dir) = bay_with_archive("rig-tap");
    let still = file(&dir, "still.c3d", &tap::take(true));
    bay.send(&still, "whin_32", "4");
    let none = api.post(TAP, &json!({}));
    assert_eq!(
        (&none["lines"], &none["streams"]),
        (&Value::Null, &json!([]))
    );
    assert!(
        none["words"].as_str().unwrap().contains("five times"),
        "{none}"
    );
    let struck = file(&dir, "struck.c3d", &tap::take(false));
    bay.send(&struck, "whin_32", "1");
    let heard = api.post(TAP, &json!({ "seconds": 9.5 }));
    let stream = &heard["streams"][0];
    assert_eq!(
        (&stream["stream"], &stream["sure"]),
        (&json!(2), &json!(true)),
        "{heard}"
    );
    // tests/tap.rs: the plates tell of everything 4.2 ms late.
    assert!(near(&stream["late_ms"], 1e3 * tap::LATE_S, 0.5), "{heard}");
    let line = heard["lines"].as_str().unwrap();
    assert!(line.starts_with("[late_millis]\n2 = 4."), "{line}");
    let (status, refused) = ask(api.0, "POST", TAP, Some(&json!({ "seconds": 900 })));
    assert_eq!(status, 422, "{refused}");
    assert_eq!(bay.stop(), Some(0));
}

/// Three seconds of the club's head at rest, its face (middle of heel and toe) at this place, millimetres.
fn head_at(x: f32, z: f32) -> C3d {
    let mut take = tap::take(true);
    let places = [
        [x, 30.0, z - 40.0],
        [x, 30.0, z + 40.0],
        [x - 60.0, 30.0, z],
    ];
    let frame: Vec<Option<Marker>> = places
        .map(|position| {
            Some(Marker {
                position,
                residual: 0.0,
            })
        })
        .to_vec();
    let frames = (3.0 * take.rate_hz) as usize;
    take.frames = vec![frame; frames];
    let samples = (3.0 * take.analog.rate_hz) as usize;
    let channels = take.analog.channels.iter_mut();
    channels.for_each(|channel| channel.samples.truncate(samples));
    take
}

#[test]
fn the_ball_and_the_target_line_are_where_the_club_is_put_down() {
    let (bay, api, dir) = bay_with_archive("rig-place");
    let (status, refused) = ask(api.0, "POST", PLACE, Some(&json!({})));
    assert_eq!(status, 422, "{refused}");
    assert!(
        refused["detail"].as_str().unwrap().contains("no frame"),
        "{refused}"
    );
    bay.send(&file(&dir, "high.c3d", &tap::take(true)), "whin_32", "2");
    let (status, refused) = ask(api.0, "POST", PLACE, Some(&json!({})));
    assert_eq!(status, 422, "{refused}");
    assert!(
        refused["detail"]
            .as_str()
            .unwrap()
            .contains("above the floor"),
        "{refused}"
    );

    bay.send(
        &file(&dir, "ball.c3d", &head_at(10.0, 20.0)),
        "whin_32",
        "1",
    );
    let ball = api.post(PLACE, &json!({}));
    // Half of 42.67 mm before the face (Rules of Golf, equipment rules).
    for (axis, wanted) in [0.0313, 0.0213, 0.02].into_iter().enumerate() {
        assert!(near(&ball["ball"][axis], wanted, 2e-4), "{ball}");
    }
    assert!(
        near(&ball["ball_off_mm"], 31.3, 0.2),
        "whin_32 has it at the origin: {ball}"
    );
    assert_eq!(ball["line_off_deg"], Value::Null);

    // A meter on, 3 degrees to the left of X; Z points to the right.
    let angle = 3f32.to_radians();
    let there = head_at(10.0 + 1000.0 * angle.cos(), 20.0 - 1000.0 * angle.sin());
    let at = json!({ "ball": ball["ball"] });
    let (status, refused) = ask(api.0, "POST", PLACE, Some(&at));
    assert_eq!(status, 422, "still at the ball: {refused}");
    bay.send(&file(&dir, "line.c3d", &there), "whin_32", "1");
    let line = api.post(PLACE, &at);
    assert!(near(&line["line_off_deg"], 3.0, 0.05), "{line}");
    let text = line["lines"].as_str().unwrap();
    let wanted = format!("target = [{:.4}, 0.0000, {:.4}]", angle.cos(), -angle.sin());
    assert!(text.contains(&wanted), "{text} instead of {wanted}");
    assert_eq!(bay.stop(), Some(0));
}

#[test]
fn archive_and_disk_are_told_and_a_damaged_recording_is_found() {
    let (bay, api, dir) = bay_with_archive("rig-archive");
    let before = api.get("/api/v1/archive");
    assert_eq!(
        (&before["recording"], &before["verified"]),
        (&Value::Null, &Value::Null)
    );
    assert!(before["free_bytes"].as_u64().unwrap() > 0, "{before}");
    let (id, club) = student(&api, "Ottoline Marsh", &json!({ "name": "driver" }));
    sit(&api, &id, &club);
    api.post("/api/v1/bays/bay/blocks", &json!({ "purpose": "practice" }));
    hit(bay.udp, Style::Balanced, 1, 0);
    lesson_with(&api, 1);
    let running = until(&api, "/api/v1/archive", |a| a["recording"].is_object());
    let name = running["recording"]["file"].as_str().unwrap().to_owned();
    let whole = checked(&api);
    assert_eq!(whole["damaged"], false, "{whole}");
    assert_eq!(
        (&whole["recordings"], &whole["swings"]),
        (&json!(1), &json!(1))
    );
    assert_eq!(bay.stop(), Some(0));

    let recording = dir.join("archive/recordings").join(name);
    let mut bytes = fs::read(&recording).unwrap();
    let middle = bytes.len() / 2;
    bytes[middle] ^= 0x55;
    fs::write(&recording, bytes).unwrap();
    let at = dir.join("archive");
    let again = Bay::start("whin_32", &["--archive", at.to_str().unwrap()]);
    let damaged = checked(&Api(again.http));
    assert_eq!(damaged["damaged"], true, "{damaged}");
    assert!(!damaged["findings"].as_array().unwrap().is_empty());
    assert_eq!(again.stop(), Some(0));
}

/// The check, begun and waited for.
fn checked(api: &Api) -> Value {
    api.post("/api/v1/archive/verify", &json!({}));
    let done = until(api, "/api/v1/archive", |a| a["verifying"] == false);
    done["verified"].clone()
}

#[test]
fn the_configuration_in_force_is_shown_with_its_file_and_no_secret() {
    let dir = scratch("rig-config");
    let key = dir.join("senders.key");
    let made = crate::support::run_whin(&["access".as_ref(), "new-key".as_ref(), key.as_os_str()]);
    assert_eq!(made.0, 0, "{made:?}");
    let path = dir.join("bay.toml");
    let text = "version = 1\n[bay]\nname = \"North\"\n[udp]\nkey_file = \"senders.key\"\n[late_millis]\n2 = 3.5\n";
    fs::write(&path, text).unwrap();
    let bay = Bay::start("whin_32", &["--config", path.to_str().unwrap()]);
    let shown = Api(bay.http).get("/api/v1/config");
    assert_eq!(shown["path"], path.to_str().unwrap());
    let text = shown["text"].as_str().unwrap();
    // What the command line says beats the file; what neither says is the default.
    for part in [
        "name = \"North\"",
        "2 = 3.5",
        "listen = \"127.0.0.1:0\"",
        "reorder_window_millis = 50",
    ] {
        assert!(text.contains(part), "{part} is not in {text}");
    }
    let secret = fs::read_to_string(&key).unwrap();
    assert!(!text.contains(secret.trim()));
    assert_eq!(bay.stop(), Some(0));
    let bay = Bay::start("whin_32", &[]);
    let api = Api(bay.http);
    assert_eq!(api.get("/api/v1/config")["path"], Value::Null);
    // Without an archive the page is told so.
    assert_eq!(ask(api.0, "GET", "/api/v1/archive", None).0, 409);
    assert_eq!(bay.stop(), Some(0));
}
