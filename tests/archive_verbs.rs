//! What is done with an archive later: measured again, exported, copied, erased. The real program; the
//! files are checked by `sha256sum` and Python's SQLite.

use std::ffi::OsStr;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::time::Duration;

use serde_json::{Value, json};
use tokio::time::Instant;

use crate::archive::{Golfer, archive, assert_verified, demo_archive, enroll, swing_ids, told};
use crate::bay::Bay;
use crate::support;

/// Results of a swing, newest first.
fn results(dir: &Path, (session, id): &(String, String)) -> Vec<Value> {
    let (code, shown) = archive(dir, &["show", session, id]);
    assert_eq!(code, 0);
    shown["results"].as_array().unwrap().clone()
}

/// Every file under a folder.
fn files(dir: &Path) -> Vec<PathBuf> {
    let entries = fs::read_dir(dir).unwrap().map(|e| e.unwrap().path());
    entries
        .flat_map(|path| {
            if path.is_dir() {
                files(&path)
            } else {
                vec![path]
            }
        })
        .collect()
}

fn holds(dir: &Path, word: &str) -> bool {
    let found = |file: &PathBuf| {
        let bytes = fs::read(file).unwrap();
        bytes.windows(word.len()).any(|w| w == word.as_bytes())
    };
    files(dir).iter().any(found)
}

/// A bay with a student until one swing of it is archived.
async fn one_swing(dir: &Path, student: &str) -> (Bay, Golfer) {
    let place = dir.to_str().unwrap();
    let bay = Bay::start("whin_32", &["--archive", place, "--student", student]);
    let mut screen = bay.listen().await;
    let golfer = Golfer::start(bay.udp);
    let mut seen = false;
    let patience = Instant::now() + Duration::from_secs(30);
    told(&mut screen, patience, &mut |message| {
        seen = message["type"] == "archived" && message["archived"] == true;
        seen
    })
    .await;
    assert!(seen, "a swing is archived in time");
    (bay, golfer)
}

#[test]
fn measured_again_the_same_program_finds_the_same_and_another_version_stays_beside() {
    let dir = demo_archive("archive-again");
    let swings = swing_ids(&dir);
    let before: Vec<_> = swings.iter().map(|s| results(&dir, s)).collect();
    let (code, again) = archive(&dir, &["reanalyze", "--no-uncertainty"]);
    assert_eq!(code, 0);
    assert_eq!(again["moved"]["swings"], 2);
    assert_eq!(again["moved"]["metrics"], json!({}), "the same program");
    for (swing, before) in swings.iter().zip(&before) {
        let now = results(&dir, swing);
        assert_eq!(now.len(), 1, "the same version takes its own place");
        assert_eq!(now[0]["report"]["id"], before[0]["report"]["id"]);
        assert_eq!(
            now[0]["report"]["transport"], before[0]["report"]["transport"],
            "recorded arrivals are the live ones"
        );
        let (now, before) = (
            &now[0]["report"]["measurement"],
            &before[0]["report"]["measurement"],
        );
        for (id, metric) in before["metrics"].as_object().unwrap() {
            assert_eq!(now["metrics"][id]["value"], metric["value"], "{id}");
        }
        for (name, event) in before["events"].as_object().unwrap() {
            assert_eq!(now["events"][name]["time_s"], event["time_s"], "{name}");
        }
    }
    let store = dir.join("store.db");
    let older = support::python("reference/archive_older.py", &[store.as_os_str()]);
    let older: Value = serde_json::from_str(&older).unwrap();
    assert_eq!(older["version"], 5);
    let last = swings.iter().last().unwrap();
    let value = &results(&dir, last)[0]["report"]["measurement"]["metrics"]["backswing_time"];
    assert_eq!(
        older["seen"][0], value["value"],
        "the first of the catalogue"
    );

    let (session, id) = swings.iter().next().unwrap();
    let args = ["reanalyze", "--session", session, "--swing", id];
    let (code, again) = archive(&dir, &args);
    assert_eq!(code, 0);
    assert_eq!(again["moved"]["swings"], 1);
    let moved = again["moved"]["metrics"].as_object().unwrap();
    assert_eq!(moved.keys().collect::<Vec<_>>(), ["backswing_time"]);
    let by = moved["backswing_time"]["largest"].as_f64().unwrap();
    assert!((by - 1.0).abs() < 1e-9, "{by}");
    let kept = results(&dir, &(session.clone(), id.clone()));
    let versions: Vec<_> = kept.iter().map(|r| r["analysis"].clone()).collect();
    assert_eq!(versions, [env!("CARGO_PKG_VERSION"), "0.0.9"]);
    assert_verified(&dir);
    assert_eq!(archive_code(&dir, &["reanalyze", "--session", "none"]), 2);
}

/// The exit code of a verb that prints no JSON.
fn archive_code(dir: &Path, args: &[&str]) -> i32 {
    let mut all: Vec<&OsStr> = vec!["archive".as_ref()];
    all.extend(args.iter().map(OsStr::new));
    all.extend(["--archive".as_ref(), dir.as_os_str()]);
    support::run_whin(&all).0
}

#[test]
fn an_export_is_what_its_manifest_says_and_of_those_who_consented_to_it() {
    let dir = demo_archive("archive-export");
    let out = |name: &str| dir.with_file_name(name);
    for shape in ["json", "csv"] {
        let to = out(shape);
        let args = ["export", "--as", shape, "--to", to.to_str().unwrap()];
        let (code, done) = archive(&dir, &args);
        assert_eq!((code, done["swings"].as_u64()), (0, Some(2)));
        let checked = Command::new("sha256sum")
            .args(["--check", "--strict", "SHA256SUMS"])
            .current_dir(&to)
            .output()
            .unwrap();
        assert!(checked.status.success());
        let listed = fs::read_to_string(to.join("SHA256SUMS")).unwrap();
        assert_eq!(
            listed.lines().count() + 1,
            files(&to).len(),
            "every file is in it"
        );
        assert!(!holds(&to, "Ottoline"), "pseudonyms only");
        assert_eq!(
            archive_code(&dir, &args),
            3,
            "never into a folder that is there"
        );
    }
    let table = fs::read_to_string(out("csv").join("metrics.csv")).unwrap();
    let speeds = table.lines().filter(|l| l.contains(",head_speed@impact,"));
    assert_eq!(speeds.count(), 2);
    let research = out("research");
    let (code, done) = archive(
        &dir,
        &[
            "export",
            "--as",
            "csv",
            "--scope",
            "research",
            "--to",
            research.to_str().unwrap(),
        ],
    );
    assert_eq!((code, done["swings"].as_u64()), (0, Some(0)));
    assert_eq!(done["left_out"].as_array().unwrap().len(), 1);
}

#[tokio::test]
async fn a_copy_made_while_the_bay_runs_is_whole_and_an_erased_student_is_gone() {
    let dir = demo_archive("archive-erase");
    let listed = archive(&dir, &["list"]).1;
    // The demo knows three students; one of them swung.
    let demo_student = listed["sessions"][0]["student"].as_str().unwrap();
    let other = enroll(&dir, &["--consent", "lesson"]);
    // Same name, another person: the pseudonym tells them apart, so the search looks for that.
    let (bay, golfer) = one_swing(&dir, &other).await;
    let copy = dir.with_file_name("copy");
    let shown = swing_ids(&dir);
    let (code, _) = archive(&dir, &["backup", "--to", copy.to_str().unwrap()]);
    assert_eq!(code, 0);
    drop(golfer);
    assert_eq!(bay.stop(), Some(0));
    assert!(swing_ids(&copy).is_superset(&shown));
    assert_verified(&copy);

    assert!(holds(&dir, demo_student), "the search finds what is there");
    let (code, done) = archive(&dir, &["erase", demo_student]);
    assert_eq!(
        (code, &done["still_in"]),
        (0, &json!([])),
        "a namesake is no trace"
    );
    assert_eq!(
        (&done["swings"], &done["recordings"]),
        (&json!(2), &json!(1))
    );
    assert!(!holds(&dir, demo_student));
    let kept = swing_ids(&dir);
    assert!(!kept.is_empty() && kept.len() + 2 >= shown.len());
    assert_verified(&dir);
    let (code, done) = archive(&dir, &["erase", &other]);
    assert_eq!((code, &done["still_in"]), (0, &json!([])));
    assert!(!holds(&dir, "Ottoline"));
    assert!(files(&dir.join("recordings")).is_empty());
    assert_verified(&dir);
}
