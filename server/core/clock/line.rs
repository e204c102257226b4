//! How do the times of one recording map to the times of another?

use serde::{Deserialize, Serialize};

/// A straight line from the file time of one recording (*here*) to the file time
/// of another (*there*), both in ms.
///
/// `there = there_ms + (here − here_ms)·(1 + ppm/10⁶)`
///
/// The anchor lies in the middle of the sound the line was measured on, where it
/// is most certain.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Line {
    /// A moment in the first recording, ms.
    pub here_ms: f64,
    /// The same moment in the second, ms.
    pub there_ms: f64,
    /// How much faster the second clock runs than the first, ppm.
    pub ppm: f64,
}

impl Line {
    /// The time there that is `here_ms` here.
    #[must_use]
    pub fn map(&self, here_ms: f64) -> f64 {
        self.there_ms + (here_ms - self.here_ms) * self.slope()
    }

    /// The time here that is `there_ms` there.
    #[must_use]
    pub fn map_back(&self, there_ms: f64) -> f64 {
        self.here_ms + (there_ms - self.there_ms) / self.slope()
    }

    /// The same line seen from the other recording.
    #[must_use]
    pub fn inverse(&self) -> Self {
        Self {
            here_ms: self.there_ms,
            there_ms: self.here_ms,
            ppm: (1.0 / self.slope() - 1.0) * 1e6,
        }
    }

    /// From this line's *here* to the *there* of `next`, which starts where this
    /// one ends.
    #[must_use]
    pub fn then(&self, next: &Self) -> Self {
        Self {
            here_ms: self.here_ms,
            there_ms: next.map(self.there_ms),
            ppm: (self.slope() * next.slope() - 1.0) * 1e6,
        }
    }

    fn slope(&self) -> f64 {
        1.0 + self.ppm / 1e6
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const HOUR_MS: f64 = 3_600_000.0;

    #[test]
    fn twenty_ppm_are_seventy_two_ms_an_hour() {
        // 3.6 ms an hour for each ppm, by arithmetic.
        let line = Line {
            here_ms: 0.0,
            there_ms: 0.0,
            ppm: 20.0,
        };
        assert!((line.map(HOUR_MS) - HOUR_MS - 72.0).abs() < 1e-6);
    }

    #[test]
    fn there_and_back_is_where_one_was() {
        let line = Line {
            here_ms: 90_000.0,
            there_ms: -4_321.5,
            ppm: -87.25,
        };
        let round = line.then(&line.inverse());
        for at in [0.0, 1.0, HOUR_MS, 4.0 * HOUR_MS] {
            assert!((round.map(at) - at).abs() < 1e-6, "{at}");
            assert!((line.map_back(line.map(at)) - at).abs() < 1e-6, "{at}");
        }
    }
}
