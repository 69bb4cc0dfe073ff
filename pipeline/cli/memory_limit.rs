//! The end of a run that takes more memory than it may.
//!
//! Queries have a pool that uses the disk when it is full, and files have limits of their own. What
//! neither sees (one value of a query that is repeated a thousand million times, a workbook's reader)
//! is found by looking at the program's memory from outside. A lake is changed by whole commits only,
//! so ending at any point does it no harm.

use std::time::Duration;

use super::{note, scratch};
use settings::Limits;

/// Time between two looks: a machine fills a hundred MiB or so in it.
const PAUSE: Duration = Duration::from_millis(20);

/// Looks at the program's memory from now on, where the system tells it, and ends it past the limit.
pub fn watch(limits: &Limits) {
    let most_mb = limits.whole_memory_mb();
    if memory_kb().is_none() {
        return;
    }
    let looking = std::thread::Builder::new().name("memory".to_owned());
    let started = looking.spawn(move || {
        loop {
            if memory_kb().is_some_and(|held| held > most_mb << 10) {
                note(format_args!(
                    "voltwane: the run takes more than {most_mb} MiB of memory and was ended; ask for less, or \
                     raise limits.memory_mb in voltwane.toml"
                ));
                scratch::remove_all();
                std::process::exit(2);
            }
            std::thread::sleep(PAUSE);
        }
    });
    if let Err(error) = started {
        tracing::warn!(%error, "the memory of the run is not watched");
    }
}

/// Memory of the program that is no file's, in KiB (Linux, `proc(5)`); none elsewhere.
fn memory_kb() -> Option<u64> {
    let status = std::fs::read_to_string("/proc/self/status").ok()?;
    let line = status.lines().find(|line| line.starts_with("RssAnon:"))?;
    line.split_whitespace().nth(1)?.parse().ok()
}
