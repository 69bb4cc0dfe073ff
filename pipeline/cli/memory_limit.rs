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

/// Under a limit below this, in MiB, the allocator gives back at once what is free: a fifth less memory for a fifth
/// more time.
const SPARING_BELOW_MB: u64 = 1_024;

/// What the allocator is told then. It reads its options when the process starts, and at no other time.
#[cfg(unix)]
const SPARING: [(&str, &str); 3] = [
    ("MIMALLOC_PURGE_DELAY", "0"),
    ("MIMALLOC_ARENA_EAGER_COMMIT", "0"),
    ("MIMALLOC_ABANDONED_PAGE_PURGE", "1"),
];

/// Starts the program anew in its place with the allocator told to be sparing, unless whoever started it has told the
/// allocator something. Comes back only where that cannot be done, which is no harm.
#[cfg(unix)]
fn start_sparing() {
    use std::os::unix::process::CommandExt;

    if SPARING
        .iter()
        .any(|(name, _)| std::env::var_os(name).is_some())
    {
        return;
    }
    if let Ok(program) = std::env::current_exe() {
        scratch::remove_all();
        let mut arguments = std::env::args_os();
        let mut anew = std::process::Command::new(program);
        if let Some(name) = arguments.next() {
            anew.arg0(name);
        }
        let error = anew.args(arguments).envs(SPARING).exec();
        tracing::debug!(%error, "the allocator is not sparing");
    }
}

/// Looks at the program's memory from now on, where the system tells it, and ends it past the limit. Under a small one
/// the program first starts anew, so this comes before any work.
pub fn watch(limits: &Limits) {
    let most_mb = limits.whole_memory_mb();
    #[cfg(unix)]
    if most_mb < SPARING_BELOW_MB {
        start_sparing();
    }
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
