//! The bay screen in a real browser: after a shot of the real recording, after one of the synthetic
//! golfer, in a lesson, and when the daemon goes away.

use std::io::{BufRead as _, BufReader, Read as _};
use std::path::PathBuf;
use std::process::Stdio;

use daemon::map::MarkerMap;

use crate::bay::Bay;
use crate::browser::{bay_shows, bay_shows_a_lesson, bay_survives_loss};
use crate::support::{data, scratch, whin};

async fn shows(map: &str, file: PathBuf, name: &str) {
    let bay = Bay::start(map, &[]);
    let mut screen = bay.listen().await;
    bay.send(&file, map, "5");
    let (swings, _) = screen.until_silent().await;
    let dir = scratch(name);
    let expected = dir.join("expected.json");
    std::fs::write(&expected, swings.last().expect("a swing").to_string()).unwrap();
    bay_shows(&bay.url(), &expected, &dir.join("bay.png"));
}

#[tokio::test]
async fn a_real_take_is_shown() {
    let Some(data) = data() else { return };
    shows("club_led", data.join("golf_club_107hz.c3d"), "screen-real").await;
}

#[tokio::test]
async fn a_left_handed_golfer_is_shown() {
    use analysis::forward::{CaptureParams, GolferParams, swing};
    let params = GolferParams {
        handed: analysis::handed::Handed::Left,
        ..GolferParams::from_seed(3)
    };
    let capture = CaptureParams {
        rate_hz: 240.0,
        noise_m: 0.0005,
        dropout: 0.0,
        wobble: false,
        plates: None,
    };
    let dir = scratch("screen-left-take");
    daemon::synthetic::write(
        &swing(&params, &capture),
        &MarkerMap::load("whin_32").unwrap(),
        &dir,
    )
    .unwrap();
    shows("whin_32", dir.join("take.c3d"), "screen-left").await;
}

/// The demo has what a lesson needs: students with clubs, an archive, and somebody who keeps hitting.
#[test]
fn a_lesson_is_shown() {
    let dir = scratch("screen-lesson");
    let mut demo = whin()
        .args(["demo", "--http", "127.0.0.1:0", "--pace", "3", "--archive"])
        .arg(dir.join("archive"))
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .expect("the demo starts");
    let mut said = BufReader::new(demo.stdout.take().expect("piped"));
    let mut line = String::new();
    while !line.starts_with("Open ") {
        line.clear();
        let length = said.read_line(&mut line).expect("the demo talks");
        assert!(length > 0, "the demo ended without its address");
    }
    let url = line.split(' ').nth(1).expect("an address").to_owned();
    // What it says of its shots is not read here; nobody must wait for that.
    let rest = std::thread::spawn(move || said.read_to_end(&mut Vec::new()));
    let seen = std::panic::catch_unwind(|| bay_shows_a_lesson(&url, &dir));
    demo.kill().expect("it is ours");
    demo.wait().expect("it has ended");
    rest.join().expect("no panic").expect("readable to its end");
    if let Err(failed) = seen {
        std::panic::resume_unwind(failed);
    }
}

#[test]
fn a_lost_daemon_is_shown_and_found_again() {
    let bay = Bay::start("whin_32", &[]);
    let (url, http) = (bay.url(), bay.http.to_string());
    let mut again = None;
    bay_survives_loss(
        &url,
        || drop(bay),
        || again = Some(Bay::start_at(&http, "whin_32", &[])),
    );
    assert!(again.is_some());
}
