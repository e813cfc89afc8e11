//! The Lesson page in a real browser, on the demo as a new user starts it.

use std::io::{BufRead as _, BufReader};
use std::process::{Child, Stdio};

use crate::browser::lesson_is_taught;
use crate::support::{top, whin};

/// The demo, ended with its owner.
struct Demo(Child);

impl Drop for Demo {
    fn drop(&mut self) {
        self.0.kill().ok();
        self.0.wait().ok();
    }
}

/// Its address, once it says it.
fn demo() -> (Demo, String) {
    let mut child = whin()
        .args(["demo", "--http", "127.0.0.1:0", "--pace", "4", "--static"])
        .arg(top().join("dashboard-static"))
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .expect("the program starts");
    let mut lines = BufReader::new(child.stdout.take().expect("piped")).lines();
    let demo = Demo(child);
    let url = lines
        .by_ref()
        .map_while(Result::ok)
        .find_map(|line| Some(line.strip_prefix("Open ")?.split(' ').next()?.to_owned()))
        .expect("the demo says where it is");
    // What it prints afterwards is read, so that it never waits for a reader.
    std::thread::spawn(move || lines.for_each(drop));
    (demo, url)
}

#[test]
fn a_lesson_is_taught_on_a_tablet_and_on_a_desk() {
    let (_demo, url) = demo();
    lesson_is_taught(&format!("{url}lesson"));
}
