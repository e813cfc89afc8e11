//! The bay screen in a real browser: after a shot of the real recording, after one of the synthetic
//! golfer, and when the daemon goes away.

use std::path::PathBuf;

use daemon::map::MarkerMap;

use crate::bay::Bay;
use crate::browser::{bay_shows, bay_survives_loss};
use crate::support::{data, scratch};

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
