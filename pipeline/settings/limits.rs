//! Limits as the numbers they are held against.

use super::Limits;

/// Where the system does not tell how much memory it has, this is taken to be half of it.
const USUAL_MB: u64 = 4_096;

/// A limit as a number of things.
pub fn count(limit: i64) -> u64 {
    u64::try_from(limit).unwrap_or(0)
}

/// A limit in MiB as bytes.
pub fn bytes_of_mb(limit: i64) -> u64 {
    count(limit) << 20
}

impl Limits {
    /// Memory the whole program may hold, in MiB: as given, else half of what there is.
    pub fn whole_memory_mb(&self) -> u64 {
        let half = || machine_kb().map_or(USUAL_MB, |kb| kb / 2 / 1_024);
        self.memory_mb.map_or_else(half, count)
    }

    /// What queries at work may hold before they use the disk, in bytes. What is left beside this and
    /// kept tables is for what they do not count, for fits and for the report.
    pub fn query_memory(&self) -> usize {
        bytes(self.whole_memory_mb() * 3 / 8)
    }

    /// What derived tables may hold before they lie on the disk, in bytes.
    pub fn kept_memory(&self) -> usize {
        bytes(self.whole_memory_mb() / 4)
    }
}

fn bytes(mb: u64) -> usize {
    usize::try_from(mb << 20).unwrap_or(usize::MAX)
}

/// Memory of the machine, or of the group of processes that this one is in where that has less, in KiB
/// (Linux: `proc(5)`, `cgroups(7)`); none elsewhere.
fn machine_kb() -> Option<u64> {
    let all = std::fs::read_to_string("/proc/meminfo").ok()?;
    let all = kb_of_meminfo(&all)?;
    let groups = std::fs::read_to_string("/proc/self/cgroup").unwrap_or_default();
    let limits = files_of_groups(&groups)
        .into_iter()
        .filter_map(|file| {
            std::fs::read_to_string(file)
                .ok()?
                .trim()
                .parse::<u64>()
                .ok()
        })
        .map(|bytes| bytes / 1_024);
    Some(limits.fold(all, u64::min))
}

fn kb_of_meminfo(text: &str) -> Option<u64> {
    let line = text.lines().find(|line| line.starts_with("MemTotal:"))?;
    line.split_whitespace().nth(1)?.parse().ok()
}

/// Files that may hold a limit of the groups named, of either version of control groups: a group's own
/// and those of the groups it is in.
fn files_of_groups(text: &str) -> Vec<String> {
    let mut files = Vec::new();
    for line in text.lines() {
        let mut parts = line.splitn(3, ':').skip(1);
        let (Some(controllers), Some(path)) = (parts.next(), parts.next()) else {
            continue;
        };
        let (root, file) = match controllers {
            "" => ("/sys/fs/cgroup", "memory.max"),
            _ if controllers.split(',').any(|name| name == "memory") => {
                ("/sys/fs/cgroup/memory", "memory.limit_in_bytes")
            }
            _ => continue,
        };
        let mut path = path.trim_end_matches('/');
        loop {
            files.push(format!("{root}{path}/{file}"));
            match path.rfind('/') {
                Some(at) => path = &path[..at],
                None => break,
            }
        }
    }
    files
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn memory_is_half_of_what_there_is_unless_it_is_given() {
        let given = Limits {
            memory_mb: Some(512),
            ..Limits::default()
        };
        assert_eq!(given.whole_memory_mb(), 512);
        assert_eq!(given.query_memory() + given.kept_memory(), 320 << 20);
        let half = Limits::default().whole_memory_mb();
        assert!(half > 0 && machine_kb().is_none_or(|kb| half == kb / 2 / 1_024));
        assert_eq!(
            kb_of_meminfo("MemTotal:       16 kB\nMemFree: 2 kB"),
            Some(16)
        );
    }

    #[test]
    fn a_group_is_held_by_its_own_limit_and_by_those_above_it() {
        assert_eq!(
            files_of_groups("0::/a/b\n"),
            [
                "/sys/fs/cgroup/a/b/memory.max",
                "/sys/fs/cgroup/a/memory.max",
                "/sys/fs/cgroup/memory.max"
            ]
        );
        assert_eq!(
            files_of_groups("4:memory:/x\n3:cpu:/y\n"),
            [
                "/sys/fs/cgroup/memory/x/memory.limit_in_bytes",
                "/sys/fs/cgroup/memory/memory.limit_in_bytes"
            ]
        );
    }
}
