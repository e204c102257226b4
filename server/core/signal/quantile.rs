//! Which level does a share of the last frames stay below?

use super::bands::LOWEST_DBFS;

/// Step of the histogram, dB.
const STEP_DB: f32 = 0.5;
/// Bins of the histogram: −110 to +17.5 dBFS.
const BINS: usize = 256;

/// A level as a bin of the histogram.
pub(super) fn bin_of(level_dbfs: f32) -> u8 {
    // The cast saturates, also for values that are not numbers.
    ((level_dbfs - LOWEST_DBFS) / STEP_DB).round() as u8
}

/// The level in the middle of a bin, dBFS.
pub(super) fn level_of(bin: u8) -> f32 {
    LOWEST_DBFS + STEP_DB * f32::from(bin)
}

/// A histogram of levels that knows its quantile as values come and go.
#[derive(Clone, Debug)]
pub(super) struct RunningQuantile {
    counts: [u16; BINS],
    held: u32,
    /// The answer: the bin that holds the wanted rank.
    at: usize,
    /// How many values lie in bins below it.
    below: u32,
}

impl RunningQuantile {
    pub fn new() -> Self {
        Self {
            counts: [0; BINS],
            held: 0,
            at: 0,
            below: 0,
        }
    }

    /// Counts a value; at most 65,535 may be held.
    pub fn add(&mut self, bin: u8) {
        self.counts[usize::from(bin)] += 1;
        self.held += 1;
        self.below += u32::from(usize::from(bin) < self.at);
    }

    /// Forgets a value that was added.
    pub fn remove(&mut self, bin: u8) {
        self.counts[usize::from(bin)] -= 1;
        self.held -= 1;
        self.below -= u32::from(usize::from(bin) < self.at);
    }

    /// The bin in which the value of rank `share` × held lies.
    pub fn find(&mut self, share: f32) -> u8 {
        let rank = ((share * self.held as f32) as u32).min(self.held.saturating_sub(1));
        while self.below > rank {
            self.at -= 1;
            self.below -= u32::from(self.counts[self.at]);
        }
        while self.at + 1 < BINS && self.below + u32::from(self.counts[self.at]) <= rank {
            self.below += u32::from(self.counts[self.at]);
            self.at += 1;
        }
        self.at as u8
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::signal::sounds::Random;

    #[test]
    fn the_running_quantile_is_the_sorted_one() {
        let mut random = Random::new(1);
        let values: Vec<u8> = (0..3000)
            .map(|n| (60.0 + 20.0 * random.gauss() + n as f32 / 50.0) as u8)
            .collect();
        for share in [0.0, 0.1, 0.95, 1.0] {
            let mut running = RunningQuantile::new();
            for n in 0..values.len() {
                running.add(values[n]);
                if n >= 200 {
                    running.remove(values[n - 200]);
                }
                let mut sorted = values[n.saturating_sub(199)..=n].to_vec();
                sorted.sort_unstable();
                let rank = (share * sorted.len() as f32) as usize;
                assert_eq!(running.find(share), sorted[rank.min(sorted.len() - 1)]);
            }
        }
    }
}
