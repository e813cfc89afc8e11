//! Where the tests find the outside: recordings, the reference Python, the program under test.
//! `tests/run` sets the variables; a bare `cargo test` falls back to sensible places.

use std::path::{Path, PathBuf};
use std::process::Command;

/// Top of the checkout.
pub(crate) fn top() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("..")
}

/// The folder of real recordings (`WHIN_DATA`, default `../shared/data`), or `None` with a plain
/// word on standard error. In CI its absence is a failure.
pub(crate) fn data() -> Option<PathBuf> {
    let dir =
        std::env::var_os("WHIN_DATA").map_or_else(|| top().join("../shared/data"), PathBuf::from);
    if dir.is_dir() {
        return Some(dir);
    }
    assert!(
        std::env::var_os("CI").is_none(),
        "recordings absent in CI: {}",
        dir.display()
    );
    eprintln!(
        "SKIPPED: no recordings at {} (set WHIN_DATA)",
        dir.display()
    );
    None
}

/// Runs a Python script of `tests/` with the reference libraries and returns its standard output.
pub(crate) fn python(script: &str, args: &[&std::ffi::OsStr]) -> String {
    let python = std::env::var_os("WHIN_PYTHON")
        .map_or_else(|| top().join("target/venv/bin/python"), PathBuf::from);
    let out = Command::new(&python)
        .arg(Path::new(env!("CARGO_MANIFEST_DIR")).join(script))
        .args(args)
        .output()
        .unwrap_or_else(|e| {
            panic!(
                "{} does not start ({e}): run `bash tests/run`",
                python.display()
            )
        });
    assert!(
        out.status.success(),
        "{script}: {}",
        String::from_utf8_lossy(&out.stderr)
    );
    String::from_utf8_lossy(&out.stdout).into_owned()
}
