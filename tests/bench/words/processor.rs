//! How much of the processor has this process had?

use std::fs;
use std::time::Duration;

/// User time of the process so far (proc(5): fields 14 and 15 of `stat`, in
/// hundredths).
pub fn user_time() -> Duration {
    let stat = fs::read_to_string("/proc/self/stat").unwrap_or_default();
    let ticks = stat
        .rsplit(')')
        .next()
        .and_then(|rest| rest.split_whitespace().nth(11)?.parse().ok());
    Duration::from_millis(10 * ticks.unwrap_or(0_u64))
}
