//! The written rules of the house, checked: what DEVELOPERS.md says of the tree is so.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use crate::support::top;

/// Source lines a file may have, tests in it included (STYLE: soft 400, hard 700).
const LINES_MAX: usize = 700;

fn rust_files(dir: &str) -> Vec<PathBuf> {
    let mut found = Vec::new();
    let mut open = vec![top().join(dir)];
    while let Some(dir) = open.pop() {
        for entry in fs::read_dir(&dir).unwrap().map(|e| e.unwrap().path()) {
            match entry.extension().and_then(|e| e.to_str()) {
                _ if entry.is_dir() && !entry.ends_with("target") => open.push(entry),
                Some("rs") => found.push(entry),
                _ => {}
            }
        }
    }
    found.sort();
    assert!(!found.is_empty(), "no source in {dir}");
    found
}

fn all_rust_files() -> Vec<PathBuf> {
    ["protocol", "analysis", "daemon", "tests"]
        .into_iter()
        .flat_map(rust_files)
        .collect()
}

fn shown(path: &Path) -> String {
    path.strip_prefix(top())
        .unwrap_or(path)
        .display()
        .to_string()
}

#[test]
fn every_file_says_what_lives_in_it_and_is_not_too_long() {
    for path in all_rust_files() {
        let text = fs::read_to_string(&path).unwrap();
        assert!(
            text.starts_with("//!"),
            "{} has no module comment",
            shown(&path)
        );
        let lines = text.lines().count();
        assert!(
            lines <= LINES_MAX,
            "{} has {lines} lines: which two subjects does it hold?",
            shown(&path)
        );
    }
}

/// DEVELOPERS.md maps every source file, so that the map cannot rot.
#[test]
fn every_source_file_is_in_the_map_of_the_code() {
    let map = fs::read_to_string(top().join("DEVELOPERS.md")).unwrap();
    for dir in ["protocol/src", "analysis/src", "daemon/src"] {
        for path in rust_files(dir) {
            let inside = path.strip_prefix(top().join(dir)).unwrap();
            // A folder is mapped as one; its files speak for themselves.
            let name = inside
                .components()
                .next()
                .unwrap()
                .as_os_str()
                .to_str()
                .unwrap();
            assert!(
                map.contains(&format!("`{name}`"))
                    || map.contains(&format!("`{}`", name.trim_end_matches(".rs"))),
                "{dir}/{name} is not in DEVELOPERS.md"
            );
        }
    }
}

/// Only the fixed names stand at the top.
#[test]
fn the_top_level_is_as_the_design_fixes_it() {
    let listed = Command::new("git")
        .args(["ls-files"])
        .current_dir(top())
        .output()
        .unwrap();
    let listed = String::from_utf8(listed.stdout).unwrap();
    let allowed = [
        "Cargo.toml",
        "Cargo.lock",
        "README.md",
        "DEVELOPERS.md",
        "LICENSE-APACHE",
        "LICENSE-MIT",
        "daemon",
        "analysis",
        "protocol",
        "dashboard-static",
        "tests",
    ];
    for line in listed.lines() {
        let first = line.split('/').next().unwrap();
        assert!(
            first.starts_with('.') || allowed.contains(&first),
            "{first} at the top"
        );
    }
}

/// `protocol` and `analysis` do not touch the world and do not know each other.
#[test]
fn the_pure_crates_depend_on_nothing_that_touches_the_world() {
    for (package, forbidden) in [
        (
            "analysis",
            [
                "tokio",
                "crossbeam",
                "socket2",
                "axum",
                "serde",
                "tracing",
                "protocol",
                "daemon",
            ]
            .as_slice(),
        ),
        (
            "protocol",
            [
                "tokio",
                "crossbeam",
                "socket2",
                "axum",
                "tracing",
                "analysis",
                "daemon",
            ]
            .as_slice(),
        ),
    ] {
        let tree = Command::new(env!("CARGO"))
            .args([
                "tree", "--locked", "-p", package, "-e", "normal", "--prefix", "none", "--format",
                "{p}",
            ])
            .current_dir(top())
            .output()
            .unwrap();
        assert!(
            tree.status.success(),
            "{}",
            String::from_utf8_lossy(&tree.stderr)
        );
        let tree = String::from_utf8(tree.stdout).unwrap();
        assert!(
            tree.starts_with(package),
            "an empty tree proves nothing: {tree:?}"
        );
        for line in tree.lines().skip(1) {
            let name = line.split(' ').next().unwrap_or_default();
            assert!(
                !forbidden.iter().any(|f| name.starts_with(f)),
                "{package} depends on {name}"
            );
        }
    }
}

/// Words for the world that the pure crates must not even spell.
#[test]
fn the_pure_crates_name_no_file_socket_thread_or_clock() {
    let forbidden = [
        "std::fs",
        "std::net",
        "std::thread",
        "std::env",
        "Instant",
        "SystemTime",
        "println!",
        "eprintln!",
    ];
    for path in ["protocol/src", "analysis/src"]
        .into_iter()
        .flat_map(rust_files)
    {
        let text = fs::read_to_string(&path).unwrap();
        let code = text.lines().filter(|l| !l.trim_start().starts_with("//"));
        for (n, line) in code.enumerate() {
            for word in forbidden {
                assert!(
                    !line.contains(word),
                    "{}: code line {n} says {word}",
                    shown(&path)
                );
            }
        }
    }
}

/// Only `decode`, `outgoing`, `synthetic`, the coach's side and what lists or compares reports name both
/// core crates.
#[test]
fn few_files_name_both_core_crates() {
    let both = |path: &PathBuf| {
        let text = fs::read_to_string(path).unwrap();
        let code: String = text
            .lines()
            .filter(|l| !l.trim_start().starts_with("//"))
            .collect::<Vec<_>>()
            .join("\n");
        code.contains("analysis::") && code.contains("protocol::")
    };
    let found: Vec<String> = rust_files("daemon/src")
        .iter()
        .filter(|p| both(p))
        .map(|p| shown(p))
        .collect();
    let allowed = [
        "analyze.rs",
        "decode.rs",
        "outgoing.rs",
        "outgoing/ground.rs",
        "outgoing/curves.rs",
        "export/take.rs",
        "export/window.rs",
        "src/coach.rs",
        "commands/demo.rs",
        "commands/open.rs",
        "synthetic.rs",
        "src/lesson.rs",
        "table.rs",
        "health.rs",
        "health/findings.rs",
        "offline.rs",
        "demo.rs",
        "files.rs",
        "refine.rs",
        "context/tests.rs",
    ];
    for path in found {
        assert!(
            path.contains("/coach/") || allowed.iter().any(|a| path.ends_with(a)),
            "{path} names both core crates"
        );
    }
}

/// Channels are made where their policy is written.
#[test]
fn queues_are_made_in_the_pipeline() {
    let places = [
        "pipeline.rs",
        "commands/demo.rs",
        "hub.rs",
        "subscription.rs",
    ];
    for path in rust_files("daemon/src") {
        let text = fs::read_to_string(&path).unwrap();
        let code = text.split("#[cfg(test)]").next().unwrap_or_default();
        let makes = ["bounded(", "bounded::<", "mpsc::channel("]
            .iter()
            .any(|w| code.contains(w));
        let named = places.iter().any(|p| path.ends_with(p)) || shown(&path).contains("tests");
        assert!(!makes || named, "{} makes a queue", shown(&path));
    }
}

/// Words that belong to one school or program, and real-world traces, stay out of the tree.
#[test]
fn the_tree_speaks_our_own_words() {
    // In halves, so that this list is not what it looks for.
    let avoid = [
        ("x-", "factor"),
        ("smash ", "factor"),
        ("kinematic ", "sequence"),
        ("kinetic ", "sequence"),
        ("early ", "extension"),
        ("reverse ", "spine"),
        ("hanging ", "back"),
        ("one-", "plane"),
        ("two-", "plane"),
        ("crunch ", "factor"),
        ("swing ", "dna"),
        ("tour ", "range"),
        ("spin ", "loft"),
    ]
    .map(|(a, b)| format!("{a}{b}"));
    let listed = Command::new("git")
        .args(["ls-files"])
        .current_dir(top())
        .output()
        .unwrap();
    for name in String::from_utf8(listed.stdout)
        .unwrap()
        .lines()
        .filter(|n| !n.ends_with(".lock"))
    {
        let Ok(text) = fs::read_to_string(top().join(name)) else {
            continue;
        };
        let text = text.to_lowercase();
        for word in &avoid {
            assert!(!text.contains(word.as_str()), "{name} says {word}");
        }
    }
}
