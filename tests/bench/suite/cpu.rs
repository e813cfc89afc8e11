//! Time on a core, as Linux counts it.

use std::fs;
use std::path::Path;

/// Of one thread, seconds (`schedstat`: nanoseconds on a core).
fn of_task(task: &Path) -> f64 {
    let stat = fs::read_to_string(task.join("schedstat")).unwrap_or_default();
    let on_core = stat.split(' ').next().and_then(|ns| ns.parse::<f64>().ok());
    on_core.unwrap_or(0.0) * 1e-9
}

/// Of a process' threads that bear a name, or of all, seconds.
pub(crate) fn of(pid: u32, name: Option<&str>) -> f64 {
    let tasks = fs::read_dir(format!("/proc/{pid}/task")).unwrap();
    let tasks = tasks.map(|t| t.unwrap().path());
    let bears = |task: &Path| {
        let said = fs::read_to_string(task.join("comm")).unwrap_or_default();
        name.is_none_or(|name| said.trim() == name)
    };
    tasks.filter(|t| bears(t)).map(|t| of_task(&t)).sum()
}

/// Of the calling thread, seconds.
pub(crate) fn own() -> f64 {
    of_task(Path::new("/proc/thread-self"))
}
