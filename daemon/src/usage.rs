//! What the kernel says of this process. Linux only; elsewhere nothing is said.

use std::fs;

/// What Linux counts time in towards programs (USER_HZ), whatever the kernel was built with.
const TICKS_A_SECOND: f64 = 100.0;

/// What the process takes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Usage {
    /// Memory that is in use, bytes.
    pub resident_bytes: u64,
    /// Time on processors since the start, seconds, to a hundredth.
    pub cpu_s: f64,
    /// Open files and sockets.
    pub open_files: u64,
}

/// What it takes now; `None` where the kernel does not say (proc(5)).
#[must_use]
pub fn now() -> Option<Usage> {
    let status = fs::read_to_string("/proc/self/status").ok()?;
    let resident = status
        .lines()
        .find_map(|line| line.strip_prefix("VmRSS:"))?;
    let resident: u64 = resident.trim().strip_suffix("kB")?.trim().parse().ok()?;
    // Fields 14 and 15, counted after the name, which may hold anything.
    let stat = fs::read_to_string("/proc/self/stat").ok()?;
    let fields: Vec<&str> = stat.rsplit_once(')')?.1.split_whitespace().collect();
    let ticks = |at: usize| fields.get(at)?.parse::<u64>().ok();
    Some(Usage {
        resident_bytes: resident * 1024,
        cpu_s: (ticks(11)? + ticks(12)?) as f64 / TICKS_A_SECOND,
        open_files: fs::read_dir("/proc/self/fd").ok()?.count() as u64,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[cfg(target_os = "linux")]
    #[test]
    fn a_process_has_memory_time_and_files() {
        let taken = now().unwrap();
        assert!(
            taken.resident_bytes > 1_000_000 && taken.open_files > 2,
            "{taken:?}"
        );
        let before = taken.cpu_s;
        while now().unwrap().cpu_s <= before {}
    }
}
