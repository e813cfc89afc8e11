//! The leaks in CI: five lessons end to end through the datagrams, and 200 lessons resampled from a small
//! library of analyzed shots. The campaign with over 1,000 is `bash tests/long/leaks`.

use analysis::coaching::leaks::{Leak, Status, shown};
use analysis::coaching::shot::Shot;
use analysis::forward::{CaptureParams, GolferParams, PlateParams, Style, swing};
use daemon::map::MarkerMap;
use daemon::synthetic;

use crate::leaks::{self, Tally, as_shot, case};
use crate::support::analyzed;

/// Shots of a lesson end to end.
const SHOTS: u64 = 5;

/// Markers and plates as a file, through the datagrams, to what is put in front of the student.
#[test]
fn five_lessons_end_to_end_find_their_leak() {
    let map = MarkerMap::load("whin_32").unwrap();
    let lessons = [
        (Style::Balanced, None),
        (Style::WrongWayFirst, Some(Leak::WrongWayFirst)),
        (Style::OverRotated, Some(Leak::NotBroughtThrough)),
        (Style::StandingUp, Some(Leak::StandingUp)),
        (Style::TrailFootLate, Some(Leak::TrailFootLate)),
    ];
    for (n, (style, leak)) in (0_u64..).zip(lessons) {
        let case = case(String::new(), style, 300 + n, n);
        let capture = CaptureParams {
            rate_hz: 360.0,
            noise_m: case.noise_m,
            dropout: 0.0,
            wobble: false,
            plates: Some(PlateParams::USUAL),
        };
        let shots: Vec<Shot> = (0..SHOTS)
            .map(|shot| {
                let params = GolferParams {
                    shot,
                    ..case.params.clone()
                };
                let take = swing(&params, &capture);
                let offline = analyzed(&synthetic::c3d(&take, &map), map.clone());
                assert_eq!(offline.swings.len(), 1, "{style:?}");
                let values = &offline.swings[0].values;
                as_shot(|m| values.number(m.index()), |_| None)
            })
            .collect();
        let block: Vec<&Shot> = shots.iter().collect();
        let found = leaks::found(&block, &leaks::thresholds());
        let seen: Vec<Leak> = shown(&found).iter().map(|f| f.leak).collect();
        match leak {
            None => assert_eq!(seen, [], "{found:#?}"),
            Some(leak) => assert!(seen.contains(&leak), "{style:?}: {seen:?}"),
        }
        for finding in shown(&found) {
            assert!(finding.status == Status::Present && finding.shows <= finding.of);
            assert_eq!(finding.bare, finding.shows, "no draws, and it says so");
        }
    }
}

/// 18 golfers, each with five analyzed shots: the confusion table in tenths of the lessons.
#[test]
fn two_hundred_resampled_lessons_find_their_leak() {
    let cases: Vec<_> = (0_u64..18)
        .map(|n| {
            let style = Style::ALL[(n % 9) as usize];
            case(style.name().to_owned(), style, 400 + n, 5 * n)
        })
        .collect();
    let library = leaks::library(&cases, 5, |_| {});
    let tally = Tally::of(&library, 12, 7);
    println!("{}", tally.text());
    let (own, found) = tally.sensitivity();
    assert!(own >= 180 && found * 100 >= own * 95, "{found} of {own}");
    let (clean, any) = tally.clean;
    assert!(clean >= 24 && any * 50 <= clean, "{any} of {clean}");
    // What is clearly so in the truth is found, what is clearly not is not.
    for (leak, [yes, no, _]) in Leak::ALL.iter().zip(&tally.truth) {
        assert!(yes.1 * 100 >= yes.0 * 95, "{leak:?}: {yes:?}");
        assert!(no.1 * 50 <= no.0, "{leak:?}: {no:?}");
    }
    let tenths: Vec<String> = tally
        .rows
        .iter()
        .map(|(row, (n, shows))| {
            let cells = shows.map(|k| match (10 * k + n / 2) / n {
                0 => ".".to_owned(),
                10 => "#".to_owned(),
                tenths => tenths.to_string(),
            });
            format!("{} {row}", cells.concat())
        })
        .collect();
    assert_eq!(tenths.join("\n"), TABLE);
}

/// Columns are the leaks in the order of METRICS; `#` all lessons, `.` none, else tenths.
const TABLE: &str = "\
.....#.. arms-wait
........ balanced
#.....5# no-counter-movement
..#..... over-rotated
...#.... standing-up
.#...... still-legs
....#... stretch-kept
#.....#. trail-foot-late
#.....#. wrong-way-first";
