//! What the program is made of, by the lock file and without a tool: licences, where crates come from, and that
//! our crates forbid unsafe code. `supply/run` adds what needs tools (cargo-deny, a bill of materials).

use std::collections::BTreeSet;
use std::fs;
use std::process::Command;

use serde_json::Value;

use crate::support::top;

/// The same list as in `supply/deny.toml` (held by a test): permissive licences only.
fn allowed() -> BTreeSet<String> {
    let text = fs::read_to_string(top().join("tests/supply/deny.toml")).unwrap();
    let list = text
        .split("\nallow = [")
        .nth(1)
        .and_then(|l| l.split(']').next());
    let list = list.expect("licences that are allowed");
    list.lines()
        .filter_map(|line| line.trim().strip_prefix('"')?.split('"').next())
        .map(str::to_owned)
        .collect()
}

/// Whether an SPDX expression (SPDX specification, annex "SPDX license expressions") can be met by the list. The
/// old slash means OR.
fn met(expression: &str, allowed: &BTreeSet<String>) -> bool {
    let spaced = expression
        .replace('/', " OR ")
        .replace('(', " ( ")
        .replace(')', " ) ");
    let words: Vec<&str> = spaced.split_whitespace().collect();
    let mut rest = words.as_slice();
    let met = any(&mut rest, allowed);
    met && rest.is_empty()
}

fn any(rest: &mut &[&str], allowed: &BTreeSet<String>) -> bool {
    let mut met = all(rest, allowed);
    while let [word, after @ ..] = *rest
        && *word == "OR"
    {
        *rest = after;
        met |= all(rest, allowed);
    }
    met
}

fn all(rest: &mut &[&str], allowed: &BTreeSet<String>) -> bool {
    let mut met = one(rest, allowed);
    while let [word, after @ ..] = *rest
        && *word == "AND"
    {
        *rest = after;
        met &= one(rest, allowed);
    }
    met
}

fn one(rest: &mut &[&str], allowed: &BTreeSet<String>) -> bool {
    let [first, after @ ..] = *rest else {
        return false;
    };
    *rest = after;
    if *first == "(" {
        let met = any(rest, allowed);
        *rest = rest.strip_prefix(&[")"]).unwrap_or_default();
        return met;
    }
    if let ["WITH", exception, after @ ..] = *rest {
        *rest = after;
        return allowed.contains(&format!("{first} WITH {exception}"));
    }
    allowed.contains(*first)
}

#[test]
fn licence_expressions_are_read_as_the_standard_has_them() {
    let allowed = ["MIT", "ISC", "Apache-2.0 WITH LLVM-exception"]
        .map(str::to_owned)
        .into();
    for good in [
        "MIT",
        "GPL-3.0/MIT",
        "MIT AND ISC",
        "(GPL-2.0 OR MIT) AND ISC",
        "Apache-2.0 WITH LLVM-exception",
    ] {
        assert!(met(good, &allowed), "{good}");
    }
    for bad in [
        "GPL-3.0",
        "MIT AND GPL-3.0",
        "(MIT OR ISC) AND Zlib",
        "Apache-2.0",
        "",
        "MIT MIT",
    ] {
        assert!(!met(bad, &allowed), "{bad}");
    }
}

#[test]
fn every_crate_is_from_the_public_registry_under_a_licence_of_the_list() {
    let cargo = std::env::var_os("CARGO").unwrap_or_else(|| "cargo".into());
    let out = Command::new(cargo)
        .args(["metadata", "--format-version", "1", "--locked", "--offline"])
        .current_dir(top())
        .output()
        .expect("cargo runs");
    assert!(
        out.status.success(),
        "{}",
        String::from_utf8_lossy(&out.stderr)
    );
    let found: Value = serde_json::from_slice(&out.stdout).unwrap();
    let packages = found["packages"].as_array().unwrap();
    assert!(packages.len() > 100);
    let allowed = allowed();
    let mut wrong = Vec::new();
    for package in packages {
        let name = format!("{} {}", package["name"], package["version"]);
        let own = package["source"].is_null();
        let source = package["source"].as_str().unwrap_or_default();
        if !own && source != "registry+https://github.com/rust-lang/crates.io-index" {
            wrong.push(format!("{name} comes from {source}"));
        }
        let licence = package["license"].as_str().unwrap_or_default();
        if !met(licence, &allowed) {
            wrong.push(format!("{name} is under `{licence}`"));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn our_crates_forbid_unsafe_code() {
    for root in [
        "protocol/src/lib.rs",
        "analysis/src/lib.rs",
        "daemon/src/lib.rs",
        "daemon/src/main.rs",
    ] {
        let text = fs::read_to_string(top().join(root)).unwrap();
        assert!(text.contains("\n#![forbid(unsafe_code)]\n"), "{root}");
    }
}
