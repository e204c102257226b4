//! How many threads may one recogniser have?

use std::num::NonZero;
use std::thread;

/// More than this gains little: several recognisers of 4 beat one of 8
/// (encoder times of ggml-org/whisper.cpp#89: 8 threads 1.2 to 1.5 times 4).
const MOST: usize = 4;

/// Threads for one recogniser on this machine: one core fewer than there are,
/// at least 1 and at most 4.
///
/// The library's threads spin where they wait for one another. With as many as
/// there are cores, anything else that wants one (decoding, the server) makes
/// all of them wait: 65 s of sound took 4 s alone and 127 s on two busy cores.
#[must_use]
pub fn default_threads() -> usize {
    let cores = thread::available_parallelism().map_or(1, NonZero::get);
    threads_for(cores)
}

fn threads_for(cores: usize) -> usize {
    (cores - 1).clamp(1, MOST)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_core_stays_free_for_the_rest() {
        assert_eq!(
            [1, 2, 3, 4, 5, 8, 64].map(threads_for),
            [1, 1, 2, 3, 4, 4, 4]
        );
    }
}
