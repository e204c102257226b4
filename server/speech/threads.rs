//! How many recognisers may a machine have, and how many threads each?

use std::num::NonZero;
use std::thread;

/// Threads of one recogniser: more gain little. Twelve windows of a tiny model a
/// minute by one of 8 are fourteen by two of 4 (`SEVERAL=1 cargo bench --bench sizes`).
const MOST_THREADS: usize = 4;
/// Each takes the memory of a window: some 130 MB (tiny) to several GB (large).
const MOST_RECOGNISERS: usize = 4;

/// Threads for one recogniser on this machine: together with the others one core fewer
/// than there are, at least 1 and at most 4.
///
/// The library's threads spin where they wait for one another. With as many as
/// there are cores, anything else that wants one (decoding, the server) makes
/// all of them wait: 65 s of sound took 4 s alone and 127 s on two busy cores.
#[must_use]
pub fn default_threads() -> usize {
    crew(cores()).1
}

/// How many recognisers of [`default_threads`] keep this machine busy, 1 to 4; one
/// where a graphics card does the work.
#[must_use]
pub fn default_recognisers() -> usize {
    let on_a_card = cfg!(any(feature = "cuda", feature = "vulkan", feature = "metal"));
    if on_a_card { 1 } else { crew(cores()).0 }
}

fn cores() -> usize {
    thread::available_parallelism().map_or(1, NonZero::get)
}

/// Recognisers, and threads of each.
fn crew(cores: usize) -> (usize, usize) {
    let free = cores.saturating_sub(1).max(1);
    let recognisers = ((free + 2) / MOST_THREADS).clamp(1, MOST_RECOGNISERS);
    (recognisers, (free / recognisers).min(MOST_THREADS))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_core_stays_free_for_the_rest() {
        let cores = [1, 2, 3, 4, 5, 6, 7, 8, 12, 16, 64];
        let crews = [
            (1, 1),
            (1, 1),
            (1, 2),
            (1, 3),
            (1, 4),
            (1, 4),
            (2, 3),
            (2, 3),
            (3, 3),
            (4, 3),
            (4, 4),
        ];
        assert_eq!(cores.map(crew), crews);
    }
}
