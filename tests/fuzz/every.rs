//! One program for all targets, because each would link the same daemon: `WHIN_FUZZ` names the target. What
//! a target does is in `entries`, which the ordinary tests run on the kept corpus, too.

#![no_main]

use std::sync::OnceLock;

use libfuzzer_sys::fuzz_target;

mod entries;

fuzz_target!(|bytes: &[u8]| {
    static TARGET: OnceLock<entries::Entry> = OnceLock::new();
    let target = TARGET.get_or_init(|| {
        let name = std::env::var("WHIN_FUZZ").expect("WHIN_FUZZ names the target");
        let found = entries::ALL.iter().find(|(of, _)| *of == name);
        found.expect("a target of `entries`").1
    });
    target(bytes);
});
