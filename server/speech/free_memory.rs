//! How much memory may this process still take?
//!
//! The least of what the machine has left, what the limits of its control
//! groups leave (a container's limit is one) and what its own address space
//! may still grow by. All by Linux's files; elsewhere nothing is known.

use std::fs;
use std::path::{Path, PathBuf};

/// Bytes that are free for this process, none if nothing tells.
pub(super) fn free() -> Option<u64> {
    free_by(Path::new("/"))
}

/// The same by the files below `root`.
fn free_by(root: &Path) -> Option<u64> {
    [machine(root), groups(root), address_space(root)]
        .into_iter()
        .flatten()
        .min()
}

/// proc_meminfo(5): what can be had without swapping.
fn machine(root: &Path) -> Option<u64> {
    let text = fs::read_to_string(root.join("proc/meminfo")).ok()?;
    kilobytes(&text, "MemAvailable:")
}

/// `ulimit -v`, less what is taken.
fn address_space(root: &Path) -> Option<u64> {
    let limits = fs::read_to_string(root.join("proc/self/limits")).ok()?;
    let limit = limits
        .lines()
        .find_map(|line| line.strip_prefix("Max address space"))?;
    let limit: u64 = limit.split_whitespace().next()?.parse().ok()?;
    let status = fs::read_to_string(root.join("proc/self/status")).ok()?;
    Some(limit.saturating_sub(kilobytes(&status, "VmSize:")?))
}

fn kilobytes(text: &str, name: &str) -> Option<u64> {
    let line = text.lines().find_map(|line| line.strip_prefix(name))?;
    let kb: u64 = line.split_whitespace().next()?.parse().ok()?;
    kb.checked_mul(1024)
}

/// The files of a control group's memory: limit, use, and in `memory.stat` what
/// of the use is cache that gives way.
struct Version {
    folder: &'static str,
    limit: &'static str,
    used: &'static str,
    cache: [&'static str; 2],
}

/// cgroup-v2.rst, "memory.max".
const SECOND: Version = Version {
    folder: "sys/fs/cgroup",
    limit: "memory.max",
    used: "memory.current",
    cache: ["inactive_file ", "active_file "],
};

/// cgroup-v1/memory.rst. No limit is a number as large as can be.
const FIRST: Version = Version {
    folder: "sys/fs/cgroup/memory",
    limit: "memory.limit_in_bytes",
    used: "memory.usage_in_bytes",
    cache: ["total_inactive_file ", "total_active_file "],
};

/// cgroups(7): each group of this process and all above it.
fn groups(root: &Path) -> Option<u64> {
    let text = fs::read_to_string(root.join("proc/self/cgroup")).ok()?;
    let least = |line: &str| {
        let (_, rest) = line.split_once(':')?;
        let (controllers, path) = rest.split_once(':')?;
        let version = match controllers {
            "" => &SECOND,
            _ if controllers.split(',').any(|name| name == "memory") => &FIRST,
            _ => return None,
        };
        let top = root.join(version.folder);
        let own = top.join(path.trim_start_matches('/'));
        // In a container the path may be that of the host and lead nowhere;
        // the top is then the container's own.
        let all = own
            .ancestors()
            .take_while(|folder| folder.starts_with(&top));
        all.filter_map(|folder| version.free(folder)).min()
    };
    text.lines().filter_map(least).min()
}

impl Version {
    fn free(&self, folder: &Path) -> Option<u64> {
        let number =
            |file: PathBuf| -> Option<u64> { fs::read_to_string(file).ok()?.trim().parse().ok() };
        let limit = number(folder.join(self.limit))?;
        let used = number(folder.join(self.used))?;
        let stat = fs::read_to_string(folder.join("memory.stat")).unwrap_or_default();
        let cache = |name: &&str| -> Option<u64> {
            let line = stat.lines().find_map(|line| line.strip_prefix(name))?;
            line.trim().parse().ok()
        };
        let gives_way: u64 = self.cache.iter().filter_map(cache).sum();
        Some(limit.saturating_sub(used.saturating_sub(gives_way)))
    }
}

#[cfg(test)]
#[path = "free_memory_tests.rs"]
mod tests;
