//! How do samples become a [`Track`]?

use std::sync::Arc;

use realfft::num_complex::Complex;
use realfft::{RealFftPlanner, RealToComplex};

use super::track::{EDGES_HZ, FRAME, TRACK_BANDS, Track, TrackLevels, step_of};
use crate::units::ANALYSIS_RATE_HZ;

/// Samples looked at for a frame, around its middle: 64 ms, so that a sound that
/// falls between two frames is seen by both.
const WINDOW: usize = 1024;

/// Samples a window reaches out of its frame, to either side.
const LAP: usize = (WINDOW - FRAME) / 2;

/// Makes a [`Track`] from samples as they come.
pub struct TrackMaker {
    plan: Arc<dyn RealToComplex<f32>>,
    hann: Vec<f32>,
    windowed: Vec<f32>,
    bins: Vec<Complex<f32>>,
    scratch: Vec<Complex<f32>>,
    /// First bin of each band, and one past the last.
    edges: [usize; TRACK_BANDS + 1],
    /// Samples from the start of the next window on.
    waiting: Vec<f32>,
    samples: u64,
    levels: Vec<TrackLevels>,
}

impl TrackMaker {
    /// Plans the transform; nothing heard yet.
    #[must_use]
    pub fn new() -> Self {
        let plan = RealFftPlanner::<f32>::new().plan_fft_forward(WINDOW);
        let hann = |n: usize| 0.5 - 0.5 * (std::f32::consts::TAU * n as f32 / WINDOW as f32).cos();
        Self {
            hann: (0..WINDOW).map(hann).collect(),
            windowed: plan.make_input_vec(),
            bins: plan.make_output_vec(),
            scratch: plan.make_scratch_vec(),
            plan,
            edges: EDGES_HZ
                .map(|hz| (hz * WINDOW as f32 / ANALYSIS_RATE_HZ as f32).round() as usize),
            // Before the first sample there is silence.
            waiting: vec![0.0; LAP],
            samples: 0,
            levels: Vec::new(),
        }
    }

    /// Takes the next samples, 16 kHz mono, in blocks of any size. Samples that
    /// are not finite count as silence.
    pub fn push(&mut self, samples: &[f32]) {
        self.samples += samples.len() as u64;
        let heard = samples.iter().map(|s| if s.is_finite() { *s } else { 0.0 });
        self.waiting.extend(heard);
        let mut start = 0;
        while start + WINDOW <= self.waiting.len() {
            self.frame(start);
            start += FRAME;
        }
        self.waiting.drain(..start);
    }

    /// The track of all samples; after the last one there is silence.
    #[must_use]
    pub fn finish(mut self) -> Track {
        let frames = usize::try_from(self.samples.div_ceil(FRAME as u64)).unwrap_or(usize::MAX);
        while self.levels.len() < frames {
            self.waiting.resize(WINDOW.max(self.waiting.len()), 0.0);
            self.frame(0);
            self.waiting.drain(..FRAME);
        }
        Track::new(self.samples, self.levels)
    }

    fn frame(&mut self, start: usize) {
        let window = &self.waiting[start..start + WINDOW];
        for ((to, sample), weight) in self.windowed.iter_mut().zip(window).zip(&self.hann) {
            *to = sample * weight;
        }
        // The buffers come from the plan, so their lengths are right.
        let done =
            self.plan
                .process_with_scratch(&mut self.windowed, &mut self.bins, &mut self.scratch);
        debug_assert!(done.is_ok());
        // Parseval's theorem for a Hann window, whose mean square is 3/8; twice,
        // because each bin stands for its mirror image too.
        let scale = 2.0 / (0.375 * (WINDOW * WINDOW) as f32);
        self.levels.push(std::array::from_fn(|band| {
            let bins = &self.bins[self.edges[band]..self.edges[band + 1]];
            step_of(bins.iter().map(Complex::norm_sqr).sum::<f32>() * scale)
        }));
    }
}

impl Default for TrackMaker {
    fn default() -> Self {
        Self::new()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::signal::sounds;
    use crate::units::FileMs;

    fn made(samples: &[f32], block: usize) -> Track {
        let mut maker = TrackMaker::new();
        for part in samples.chunks(block) {
            maker.push(part);
        }
        maker.finish()
    }

    #[test]
    fn a_sine_has_its_level_in_its_band_and_little_elsewhere() {
        // 968.75 Hz, bin 62: mean square of a sine of 0.1 is -23 dBFS.
        let turn = std::f32::consts::TAU * 968.75 / 16_000.0;
        let samples: Vec<f32> = (0..16_000).map(|n| 0.1 * (turn * n as f32).sin()).collect();
        let track = made(&samples, 4_096);
        assert_eq!(track.frames(), 25);
        for levels in &track.levels()[1..24] {
            assert!((f32::from(levels[4]) / 2.0 - 120.0 + 23.01).abs() <= 0.5);
            // Side lobes of a Hann window lie below -31 dB from the second bin on
            // (Harris, Proc. IEEE 66(1), 1978); the next band begins 7 bins away.
            assert!(levels.iter().enumerate().all(|(band, level)| band == 4
                || i16::from(*level) < i16::from(levels[4]) - 62));
        }
        assert!((track.level_dbfs(FileMs(100), FileMs(900)) + 23.01).abs() < 0.5);
    }

    #[test]
    fn blocks_of_any_size_give_the_same_track() {
        let samples: Vec<f32> = sounds::white(5).take(20_001).map(|s| s * 0.1).collect();
        let whole = made(&samples, samples.len());
        assert_eq!(whole.frames(), 32, "31.25 frames: the begun one counts");
        assert!((whole.duration_ms() - 20_001.0 / 16.0).abs() < 1e-9);
        for block in [1, 160, 640, 1_023, 7_777] {
            assert_eq!(made(&samples, block), whole, "{block}");
        }
    }

    #[test]
    fn the_frame_of_a_click_is_the_one_it_lies_in() {
        for at in [640 * 7 + 100, 640 * 7 + 320, 640 * 7 + 540] {
            let mut samples = vec![0.0; 16_000];
            samples[at] = 1.0;
            let track = made(&samples, 999);
            let loudest = (0..25).max_by_key(|&n| track.levels()[n][4]);
            assert_eq!(loudest, Some(7), "click at {at}");
        }
    }

    #[test]
    fn nothing_and_nonsense_make_a_track() {
        assert_eq!(made(&[], 1).frames(), 0);
        assert_eq!(made(&[0.5], 1).frames(), 1);
        let mut samples = vec![f32::NAN; 3_000];
        samples.extend([f32::INFINITY, f32::NEG_INFINITY, f32::MAX]);
        let track = made(&samples, 100);
        assert_eq!(track.frames(), 5);
        assert_eq!(track.levels()[0], [0; TRACK_BANDS]);
    }
}
