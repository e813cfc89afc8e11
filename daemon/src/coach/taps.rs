//! What was heard of sync taps, for the Rig page: verdicts in milliseconds, lines for the configuration, words.
//! How taps are heard is in `crate::tap`.

use std::collections::BTreeMap;

use analysis::ground::tap::{self, Tap};
use protocol::rig::{TapHeard, TappedStream, Taps};

use crate::outgoing::rounded;
use crate::tap::{Heard, SURE_S, WHAT_TO_DO, by_stream};

/// The verdicts; `late_ns` is what was told when they were heard: the lines for the configuration are whole.
pub(super) fn told(heard: &Heard, late_ns: &BTreeMap<u32, i64>) -> Taps {
    let mut streams = Vec::new();
    let mut late_ms: BTreeMap<u32, f64> = late_ns
        .iter()
        .map(|(stream, ns)| (*stream, *ns as f64 * 1e-6))
        .collect();
    let mut open = heard.taps.is_empty();
    for (stream, taps) in by_stream(heard) {
        let verdict = tap::verdict(&taps);
        let sure = verdict.as_ref().is_some_and(|v| v.uncertainty_s <= SURE_S);
        let told_ms = late_ms.get(&stream).copied().unwrap_or_default();
        let found_ms = verdict.as_ref().map(|v| 1e3 * v.late_s);
        if let Some(found_ms) = found_ms.filter(|_| sure) {
            late_ms.insert(stream, told_ms + found_ms);
        }
        open |= !sure;
        streams.push(TappedStream {
            stream,
            taps: taps.iter().map(one).collect(),
            late_ms: found_ms.map(|ms| rounded(ms, 1e2)),
            uncertainty_ms: verdict.map(|v| rounded(1e3 * v.uncertainty_s, 1e2)),
            told_ms,
            sure,
        });
    }
    let sure = streams.iter().any(|s| s.sure);
    let lines = late_ms
        .iter()
        .map(|(stream, ms)| format!("\n{stream} = {ms:.1}"));
    Taps {
        lines: sure.then(|| format!("[late_millis]{}", lines.collect::<String>())),
        beside: heard.beside as u64,
        words: match (sure, open) {
            (true, false) => "Put these lines into bay.toml in the place of its [late_millis], and start the bay anew.".into(),
            (true, true) => format!("Not every stream is known; for the others {WHAT_TO_DO}."),
            (false, _) if heard.taps.is_empty() => format!("No tap was heard: {WHAT_TO_DO}."),
            (false, _) => format!("No verdict yet: {WHAT_TO_DO}."),
        },
        streams,
    }
}

fn one(tap: &Tap) -> TapHeard {
    TapHeard {
        plate: tap.plate.clone(),
        time_s: tap.time_ns as f64 * 1e-9,
        late_ms: rounded(1e3 * tap.late_s, 1e2),
    }
}
