//! What holds for every page of the screens (`browser/pages.py`): no serious violation of WCAG by
//! axe-core, nothing wrong in the console, no request off the origin, and a lost daemon is told and found
//! again. What the Rig page says of each fault (`browser/rig.py`), and a left-handed student on all of them, at
//! every size, light and dark (`browser/everywhere.py`). Typed numbers, the Shelf's camera, the keyboard and the
//! choice of bays (`browser/hands.py`).

use std::io::{BufRead, BufReader, Write as _};
use std::path::PathBuf;
use std::process::{Child, Stdio};

use serde_json::Value;

use crate::support::{python, python_command, scratch, top, whin};

/// Path and file of each page.
const PAGES: [(&str, &str); 4] = [
    ("/", "index.html"),
    ("/lesson", "lesson.html"),
    ("/shelf", "shelf.html"),
    ("/rig", "rig.html"),
];

/// The demo, in which somebody swings; ended with its owner.
struct Demo {
    child: Child,
    /// Where its screens are.
    url: String,
}

impl Demo {
    /// Starts it at an address for screens and waits until it says where they are.
    fn start_at(http: &str) -> Self {
        let mut child = whin()
            .args(["demo", "--pace", "2", "--http", http, "--static"])
            .arg(top().join("dashboard-static"))
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .expect("the program starts");
        let mut lines = BufReader::new(child.stdout.take().expect("piped")).lines();
        let url = lines
            .by_ref()
            .map_while(Result::ok)
            .find_map(|line| Some(line.strip_prefix("Open ")?.split(' ').next()?.to_owned()));
        // What it prints afterwards is read, so that it never waits for a reader.
        std::thread::spawn(move || lines.for_each(drop));
        Self {
            child,
            url: url.expect("the demo says where it is"),
        }
    }
}

impl Drop for Demo {
    fn drop(&mut self) {
        // Ended already, or a failed test: either way nothing may stay.
        drop(self.child.kill());
        drop(self.child.wait());
    }
}

/// The file of axe-core that `tests/run` installs.
fn axe() -> PathBuf {
    let told = std::env::var_os("WHIN_AXE").map(PathBuf::from);
    let file = told.unwrap_or_else(|| top().join("target/npm/node_modules/axe-core/axe.min.js"));
    assert!(
        file.is_file(),
        "no axe-core at {}: run `bash tests/run`",
        file.display()
    );
    file
}

#[test]
fn every_page_is_for_everybody_and_says_when_the_daemon_is_gone() {
    let folder = top().join("dashboard-static");
    let pages = PAGES.iter().filter(|(_, file)| folder.join(file).is_file());
    let demo = Demo::start_at("127.0.0.1:0");
    let url = demo.url.clone();
    let http = url.trim_start_matches("http://").trim_end_matches('/');
    let mut script = python_command("browser/pages.py")
        .arg(&url)
        .arg(axe())
        .args(pages.map(|(path, _)| path))
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .expect("Python starts");
    let mut said = BufReader::new(script.stdout.take().expect("piped"));
    let mut next = move || {
        let mut line = String::new();
        said.read_line(&mut line).expect("the script talks");
        line
    };
    let mut answers = script.stdin.take().expect("piped");
    let mut answer = || writeln!(answers, "done").expect("the script listens");
    assert_eq!(next().trim(), "ready");
    drop(demo);
    answer();
    assert_eq!(next().trim(), "lost");
    let _again = Demo::start_at(http);
    answer();
    let verdict = next();
    assert!(script.wait().expect("it ends").success());
    passed(&verdict);
}

#[test]
fn the_rig_page_says_what_is_wrong_and_what_to_do() {
    let demo = Demo::start_at("127.0.0.1:0");
    passed(&python("browser/rig.py", &[demo.url.as_ref()]));
}

#[test]
fn hands_and_keys_get_where_they_want() {
    let demo = Demo::start_at("127.0.0.1:0");
    passed(&python("browser/hands.py", &[demo.url.as_ref()]));
}

#[test]
fn a_left_handed_student_is_left_handed_on_every_page_at_every_size() {
    let demo = Demo::start_at("127.0.0.1:0");
    let axe = axe();
    passed(&python(
        "browser/everywhere.py",
        &[demo.url.as_ref(), axe.as_os_str()],
    ));
}

#[test]
fn the_shelf_shows_two_swings_and_prints_what_is_taken_home() {
    let demo = Demo::start_at("127.0.0.1:0");
    let dir = scratch("screen-shelf");
    passed(&python(
        "browser/shelf.py",
        &[demo.url.as_ref(), dir.as_os_str()],
    ));
}

fn passed(verdict: &str) {
    let verdict: Value = serde_json::from_str(verdict).expect("a verdict in JSON");
    assert_eq!(verdict["ok"], true, "{:#}", verdict["failures"]);
}
