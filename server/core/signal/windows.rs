//! Which samples belong to each 10 ms?
//!
//! In: samples as they come. Out: one window of [`WINDOW`] samples per
//! [`HOP`], centred on it; at both ends of the recording the nearest window
//! that lies whole inside it, so that the end of the sound is not heard as a
//! change.

use super::spectrum::{HOP, WINDOW};

/// Samples by which a window begins before its 10 ms.
const BEFORE: usize = (WINDOW - HOP) / 2;

/// Cuts a stream into overlapping windows. Samples that are not numbers count
/// as 0.
#[derive(Clone, Debug, Default)]
pub struct Windows {
    held: Vec<f32>,
    /// Number of the first sample held.
    first: usize,
    /// Samples taken so far.
    taken: usize,
    /// Frames given so far.
    frames: usize,
}

impl Windows {
    /// Before the first sample.
    #[must_use]
    pub fn new() -> Self {
        Self::default()
    }

    /// Samples taken so far.
    #[must_use]
    pub fn taken(&self) -> usize {
        self.taken
    }

    /// Takes samples, gives the windows they complete.
    pub fn push(&mut self, samples: &[f32], mut give: impl FnMut(&[f32])) {
        for piece in samples.chunks(4096) {
            let numbers = piece.iter().map(|s| if s.is_finite() { *s } else { 0.0 });
            self.held.extend(numbers);
            self.taken += piece.len();
            loop {
                let from = (self.frames * HOP).saturating_sub(BEFORE);
                if from + WINDOW > self.taken {
                    break;
                }
                give(&self.held[from - self.first..][..WINDOW]);
                self.frames += 1;
            }
            // The last whole window stays: it may have to serve at the end.
            let keep = self
                .taken
                .saturating_sub(WINDOW)
                .min((self.frames * HOP).saturating_sub(BEFORE));
            if keep > self.first {
                self.held.drain(..keep - self.first);
                self.first = keep;
            }
        }
    }

    /// Gives the windows of the last frames. A recording shorter than a window
    /// is filled up with zeros.
    pub fn finish(mut self, mut give: impl FnMut(&[f32])) {
        let frames = self.taken.div_ceil(HOP);
        if self.held.len() < WINDOW {
            self.held.resize(WINDOW, 0.0);
        }
        let last = &self.held[self.held.len() - WINDOW..];
        for _ in self.frames..frames {
            give(last);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn run(samples: &[f32], piece: usize) -> Vec<Vec<f32>> {
        let mut windows = Windows::new();
        let mut given = Vec::new();
        for piece in samples.chunks(piece) {
            windows.push(piece, |window| given.push(window.to_vec()));
        }
        windows.finish(|window| given.push(window.to_vec()));
        given
    }

    proptest! {
        #[test]
        fn each_frame_has_the_nearest_whole_window(
            length in 0usize..3000, piece in 1usize..700
        ) {
            let samples: Vec<f32> = (0..length).map(|n| n as f32).collect();
            let given = run(&samples, piece);
            prop_assert_eq!(given.len(), length.div_ceil(HOP));
            for (n, window) in given.iter().enumerate() {
                let wanted = (n * HOP) as i64 - BEFORE as i64;
                let last = length as i64 - WINDOW as i64;
                let from = wanted.min(last).max(0) as usize;
                for (k, sample) in window.iter().enumerate() {
                    let expected = samples.get(from + k).copied().unwrap_or(0.0);
                    prop_assert_eq!(*sample, expected);
                }
            }
        }
    }

    #[test]
    fn samples_that_are_not_numbers_count_as_zero() {
        let given = run(&[f32::NAN, f32::INFINITY, -f32::INFINITY, 0.5], 4);
        assert_eq!(given.len(), 1);
        assert_eq!(given[0][..5], [0.0, 0.0, 0.0, 0.5, 0.0]);
    }
}
