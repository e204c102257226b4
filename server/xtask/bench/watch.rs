//! What did a program use while it ran? Read from `/proc`, so on Linux only.

use crate::process::shown;
use anyhow::{Context, Result, bail};
use std::fs::File;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

/// How often a program is looked at. What it takes in the last of these before
/// it ends is missed; its peak of memory is kept by the system meanwhile.
const EVERY: Duration = Duration::from_millis(20);
/// Clock ticks a second in `/proc/PID/stat`: 100 on every Linux, proc(5).
const TICKS: f64 = 100.0;

/// What a program used.
#[derive(Clone, Copy, Default, Debug)]
pub(super) struct Used {
    /// Wall clock.
    pub took: Duration,
    /// Processor time of its own code and libraries, seconds, over all threads.
    pub user_s: f64,
    /// Processor time of the system on its behalf, seconds.
    pub system_s: f64,
    /// The most memory that was resident at once, bytes.
    pub peak_bytes: u64,
}

/// Runs the command with its standard error going to `log`.
pub(super) fn run(command: &mut Command, log: &std::path::Path) -> Result<Used> {
    println!("$ {}", shown(command));
    let log = File::create(log).with_context(|| format!("could not make {}", log.display()))?;
    let begun = Instant::now();
    let mut child = command
        .stdin(Stdio::null())
        .stderr(log)
        .spawn()
        .with_context(|| format!("could not start: {}", shown(command)))?;
    let folder = format!("/proc/{}", child.id());
    let mut used = Used::default();
    let status = loop {
        if let Some(status) = child.try_wait()? {
            break status;
        }
        let read = |name: &str| std::fs::read_to_string(format!("{folder}/{name}"));
        if let Some(peak) = read("status").ok().as_deref().and_then(peak) {
            used.peak_bytes = used.peak_bytes.max(peak);
        }
        if let Some((user_s, system_s)) = read("stat").ok().as_deref().and_then(processor) {
            (used.user_s, used.system_s) = (user_s, system_s);
        }
        std::thread::sleep(EVERY);
    };
    used.took = begun.elapsed();
    if !status.success() {
        bail!("failed ({status}): {}", shown(command));
    }
    if used.peak_bytes == 0 {
        bail!(
            "could not read the memory of {}: is this Linux?",
            shown(command)
        );
    }
    Ok(used)
}

/// `VmHWM` of `/proc/PID/status`, in bytes.
fn peak(status: &str) -> Option<u64> {
    let line = status
        .lines()
        .find_map(|line| line.strip_prefix("VmHWM:"))?;
    let kibibytes: u64 = line.trim().strip_suffix("kB")?.trim().parse().ok()?;
    Some(kibibytes * 1024)
}

/// Fields 14 and 15 of `/proc/PID/stat`, in seconds. The second field, the
/// program's name, may hold anything, so counting begins after it.
fn processor(stat: &str) -> Option<(f64, f64)> {
    let (_, rest) = stat.rsplit_once(')')?;
    let mut fields = rest.split_whitespace().skip(11);
    let mut seconds = || Some(fields.next()?.parse::<f64>().ok()? / TICKS);
    Some((seconds()?, seconds()?))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_peak_is_read_in_bytes() {
        assert_eq!(
            peak("Name:\tx\nVmHWM:\t    2048 kB\nVmRSS:\t 1 kB\n"),
            Some(2_097_152)
        );
        assert_eq!(peak("Name:\tx\n"), None);
    }

    #[test]
    fn a_name_with_brackets_and_blanks_moves_no_field() {
        let stat = "7 (a) b) S 1 7 7 0 -1 4194560 1 0 0 0 250 50 0 0 20 0 1 0";
        assert_eq!(processor(stat), Some((2.5, 0.5)));
    }

    #[test]
    #[cfg(target_os = "linux")]
    fn memory_that_was_taken_is_seen() {
        // 64 MiB of nothing, held for a while.
        let script = "x=$(head -c 67108864 /dev/zero | tr '\\0' a); sleep 0.3";
        let log = std::env::temp_dir().join(format!("watch-{}.log", std::process::id()));
        let used = run(Command::new("sh").args(["-c", script]), &log).expect("sh runs");
        std::fs::remove_file(log).expect("the log was made");
        assert!(used.peak_bytes > 64 << 20, "{used:?}");
        assert!(used.took >= Duration::from_millis(300), "{used:?}");
    }
}
