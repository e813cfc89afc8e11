//! What a person sees on the screens: headless Chromium looks at the Bay (`browser/bay.py`), at a lesson on
//! it (`browser/lesson_bay.py`) and at the loss and return of its line to the daemon (`browser/lost.py`),
//! and teaches a lesson on the Lesson page (`browser/lesson.py`). Starting the daemon and hitting a shot is
//! the business of the tests that call this.

use std::io::{BufRead, BufReader, Write};
use std::path::Path;
use std::process::{Child, Stdio};

use serde_json::Value;

use crate::support;

/// Opens the bay screen at `url` and compares it with the report it must show (a file with a `swing`
/// message or one swing of `--json`); leaves a picture at `screenshot`.
///
/// # Panics
/// When what is seen is not what the report says, with every difference.
pub(crate) fn bay_shows(url: &str, expected: &Path, screenshot: &Path) {
    let out = support::python(
        "browser/bay.py",
        &[url.as_ref(), expected.as_os_str(), screenshot.as_os_str()],
    );
    passed("bay.py", &out);
    let size = std::fs::metadata(screenshot)
        .expect("the picture is there")
        .len();
    assert!(
        size > 10_000,
        "the picture holds {size} bytes: hardly more than one color"
    );
}

/// Walks a short lesson at the bay of `url`, where somebody keeps hitting, and looks at its screen
/// meanwhile; leaves pictures in `folder`.
///
/// # Panics
/// When what is seen is not what the lesson says, with every difference.
pub(crate) fn bay_shows_a_lesson(url: &str, folder: &Path) {
    let out = support::python("browser/lesson_bay.py", &[url.as_ref(), folder.as_os_str()]);
    passed("lesson_bay.py", &out);
}

/// Opens the bay screen at `url`, calls `take_away` once it is linked and `bring_back` once it says
/// "no signal"; the screen must find the daemon again by itself.
///
/// # Panics
/// When the loss is not shown or explained, or the screen does not come back.
pub(crate) fn bay_survives_loss(url: &str, take_away: impl FnOnce(), bring_back: impl FnOnce()) {
    let mut running = support::python_command("browser/lost.py")
        .arg(url)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .expect("Python starts");
    let mut said = BufReader::new(running.stdout.take().expect("piped"));
    expect_line(&mut said, "ready");
    take_away();
    answer(&mut running);
    expect_line(&mut said, "lost");
    bring_back();
    answer(&mut running);
    let mut verdict = String::new();
    said.read_line(&mut verdict).expect("a verdict");
    assert!(running.wait().expect("it ends").success());
    passed("lost.py", &verdict);
}

/// Walks a whole lesson on the Lesson page at `url` of a bay that is hit in all the while: a student, a club,
/// blocks, a band by dragging, a shot taken out and back.
///
/// # Panics
/// When a person would not see what is so.
pub(crate) fn lesson_is_taught(url: &str) {
    let out = support::python("browser/lesson.py", &[url.as_ref()]);
    passed("lesson.py", &out);
}

fn expect_line(said: &mut impl BufRead, word: &str) {
    let mut line = String::new();
    said.read_line(&mut line).expect("the script talks");
    assert_eq!(line.trim(), word);
}

fn answer(script: &mut Child) {
    writeln!(script.stdin.as_mut().expect("piped"), "done").expect("the script listens");
}

fn passed(script: &str, verdict: &str) {
    let verdict: Value =
        serde_json::from_str(verdict).unwrap_or_else(|e| panic!("{script}: {e} in {verdict:?}"));
    assert_eq!(verdict["ok"], true, "{script}: {:#}", verdict["failures"]);
}
