//! How much of the processor has this process had?

use std::fs;
use std::time::Duration;

/// Time of the processor that the process has had so far, in the program and in the
/// system (proc(5): fields 14 and 15 of `stat`, in hundredths).
pub fn processor_time() -> Duration {
    let stat = fs::read_to_string("/proc/self/stat").expect("proc(5)");
    // Before them stands the program's name, which may hold anything, in brackets.
    let (_, rest) = stat.rsplit_once(')').expect("a name in brackets");
    let fields: Vec<&str> = rest.split_whitespace().collect();
    let hundredths = |field: usize| fields[field - 3].parse::<u64>().expect("a number");
    Duration::from_millis(10 * (hundredths(14) + hundredths(15)))
}
