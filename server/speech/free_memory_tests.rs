use std::path::Path;

use super::*;

const MACHINE: (&str, &str) = (
    "proc/meminfo",
    "MemTotal:       24684284 kB\nMemFree:          222616 kB\nMemAvailable:    8000000 kB\n",
);
const OWN: (&str, &str) = ("proc/self/cgroup", "0::/studio/words\n");

#[test]
fn where_nothing_tells_nothing_is_known() {
    assert_eq!(Made::new(&[]).free(), None);
    let unlimited = "Limit                     Soft Limit           Hard Limit           Units\n\
                     Max address space         unlimited            unlimited            bytes\n";
    let odd = [
        ("proc/meminfo", "MemAvailable: many\n"),
        ("proc/self/limits", unlimited),
        ("proc/self/cgroup", "no colons"),
    ];
    assert_eq!(Made::new(&odd).free(), None);
}

#[test]
fn a_machine_without_limits_has_what_can_be_had() {
    let made = Made::new(&[
        MACHINE,
        OWN,
        ("sys/fs/cgroup/studio/words/memory.max", "max\n"),
    ]);
    assert_eq!(made.free(), Some(8_192_000_000));
}

#[test]
fn the_tightest_group_above_counts_and_its_cache_gives_way() {
    let made = Made::new(&[
        MACHINE,
        OWN,
        ("sys/fs/cgroup/studio/words/memory.max", "3000000000\n"),
        ("sys/fs/cgroup/studio/words/memory.current", "100000000\n"),
        ("sys/fs/cgroup/studio/memory.max", "2000000000\n"),
        ("sys/fs/cgroup/studio/memory.current", "1500000000\n"),
        (
            "sys/fs/cgroup/studio/memory.stat",
            "anon 700000000\ninactive_file 600000000\nactive_file 200000000\n",
        ),
    ]);
    assert_eq!(made.free(), Some(1_300_000_000));
}

#[test]
fn a_container_sees_its_limit_at_the_top() {
    let own = "12:cpuset:/x\n4:cpu,memory:/docker/4f5a\n1:name=systemd:/x\n";
    let made = Made::new(&[
        MACHINE,
        ("proc/self/cgroup", own),
        ("sys/fs/cgroup/memory/memory.limit_in_bytes", "1000000000\n"),
        ("sys/fs/cgroup/memory/memory.usage_in_bytes", "900000000\n"),
        (
            "sys/fs/cgroup/memory/memory.stat",
            "inactive_file 7\ntotal_inactive_file 50000000\ntotal_active_file 0\n",
        ),
    ]);
    assert_eq!(made.free(), Some(150_000_000));
    // Without a limit the first version writes the largest number.
    let made = Made::new(&[
        MACHINE,
        ("proc/self/cgroup", own),
        (
            "sys/fs/cgroup/memory/memory.limit_in_bytes",
            "9223372036854771712\n",
        ),
        ("sys/fs/cgroup/memory/memory.usage_in_bytes", "900000000\n"),
    ]);
    assert_eq!(made.free(), Some(8_192_000_000));
}

#[test]
fn a_full_group_has_nothing() {
    let made = Made::new(&[
        OWN,
        ("sys/fs/cgroup/studio/words/memory.max", "1000\n"),
        ("sys/fs/cgroup/studio/words/memory.current", "2000\n"),
    ]);
    assert_eq!(made.free(), Some(0));
}

#[test]
fn the_address_space_may_be_limited() {
    let made = Made::new(&[
        MACHINE,
        (
            "proc/self/limits",
            "Max address space         3000000000           unlimited            bytes\n",
        ),
        (
            "proc/self/status",
            "VmPeak:   999999 kB\nVmSize:   1000000 kB\n",
        ),
    ]);
    assert_eq!(made.free(), Some(3_000_000_000 - 1_024_000_000));
}

#[test]
#[cfg(target_os = "linux")]
fn this_machine_tells() {
    let free = free().expect("a number");
    let machine = machine(Path::new("/")).expect("a number");
    assert!(free > 0 && free / 2 < machine, "{free} of {machine}");
}

/// A made-up machine: its files below a folder.
struct Made(tempfile::TempDir);

impl Made {
    fn new(files: &[(&str, &str)]) -> Self {
        let made = Self(tempfile::tempdir().expect("a folder"));
        for (name, text) in files {
            let file = made.0.path().join(name);
            std::fs::create_dir_all(file.parent().expect("a folder")).expect("a folder");
            std::fs::write(file, text).expect("a file");
        }
        made
    }

    fn free(&self) -> Option<u64> {
        free_by(self.0.path())
    }
}
