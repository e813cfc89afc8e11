//! Entries of a batch to bytes and back. The table is in the module above.

use super::Recorded;

/// Length that marks a tick.
const TICK: u32 = u32::MAX;

/// Adds a datagram. One of 2³² − 1 bytes or more does not exist in UDP and is left out.
pub(super) fn add_datagram(batch: &mut Vec<u8>, arrival_ns: u64, bytes: &[u8]) {
    let length = u32::try_from(bytes.len()).ok().filter(|l| *l != TICK);
    if let Some(length) = length {
        batch.extend(length.to_le_bytes());
        batch.extend(arrival_ns.to_le_bytes());
        batch.extend(bytes);
    }
}

/// Adds a tick.
pub(super) fn add_tick(batch: &mut Vec<u8>, now_ns: u64) {
    batch.extend(TICK.to_le_bytes());
    batch.extend(now_ns.to_le_bytes());
}

/// All entries of a batch, or `None` when it ends inside one.
pub(super) fn entries(mut batch: &[u8]) -> Option<Vec<Recorded>> {
    let mut entries = Vec::new();
    while !batch.is_empty() {
        let (length, rest) = batch.split_first_chunk()?;
        let (time, rest) = rest.split_first_chunk()?;
        let (length, time) = (u32::from_le_bytes(*length), u64::from_le_bytes(*time));
        if length == TICK {
            entries.push(Recorded::Tick { now_ns: time });
            batch = rest;
            continue;
        }
        let (bytes, rest) = rest.split_at_checked(usize::try_from(length).ok()?)?;
        entries.push(Recorded::Datagram {
            arrival_ns: time,
            bytes: bytes.to_vec(),
        });
        batch = rest;
    }
    Some(entries)
}
