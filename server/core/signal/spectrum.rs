//! How is a frame's power spread over frequency?

use std::sync::Arc;

use realfft::num_complex::Complex;
use realfft::{RealFftPlanner, RealToComplex};

/// Samples in a window: 32 ms at 16 kHz, two periods of the lowest voices.
pub const WINDOW: usize = 512;

/// Samples from one frame to the next: 10 ms at 16 kHz.
pub const HOP: usize = 160;

/// Bins of a spectrum, 0 Hz to 8 kHz in steps of 31.25 Hz.
pub const BINS: usize = WINDOW / 2 + 1;

/// Power spectra of single frames.
///
/// Bin powers are scaled so that their sum is the mean square of the windowed
/// samples divided by that of the window: a full-scale sine sums to 0.5, noise
/// of deviation 1 to 1.0 on average (Parseval's theorem).
pub struct Spectrum {
    plan: Arc<dyn RealToComplex<f32>>,
    hann: Vec<f32>,
    windowed: Vec<f32>,
    bins: Vec<Complex<f32>>,
    scratch: Vec<Complex<f32>>,
    power: [f32; BINS],
}

impl Spectrum {
    /// Plans the transform.
    #[must_use]
    pub fn new() -> Self {
        let plan = RealFftPlanner::<f32>::new().plan_fft_forward(WINDOW);
        let hann: Vec<f32> = (0..WINDOW)
            .map(|n| {
                let turn = n as f32 / WINDOW as f32;
                0.5 - 0.5 * (std::f32::consts::TAU * turn).cos()
            })
            .collect();
        Self {
            hann,
            windowed: plan.make_input_vec(),
            bins: plan.make_output_vec(),
            scratch: plan.make_scratch_vec(),
            power: [0.0; BINS],
            plan,
        }
    }

    /// Power per bin of one window of [`WINDOW`] samples; missing samples
    /// count as 0, further ones are not looked at.
    pub fn of(&mut self, samples: &[f32]) -> &[f32; BINS] {
        self.windowed.fill(0.0);
        for ((to, sample), weight) in self.windowed.iter_mut().zip(samples).zip(&self.hann) {
            *to = sample * weight;
        }
        // The buffers come from the plan, so their lengths are right.
        let done =
            self.plan
                .process_with_scratch(&mut self.windowed, &mut self.bins, &mut self.scratch);
        debug_assert!(done.is_ok());
        // Mean square of a Hann window: 3/8. The bins between the two ends
        // stand for their mirror images too.
        let scale = 2.0 / (0.375 * (WINDOW * WINDOW) as f32);
        for (power, bin) in self.power.iter_mut().zip(&self.bins) {
            *power = bin.norm_sqr() * scale;
        }
        self.power[0] *= 0.5;
        self.power[BINS - 1] *= 0.5;
        &self.power
    }
}

impl Default for Spectrum {
    fn default() -> Self {
        Self::new()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::signal::sounds;

    /// The definition, in double precision.
    fn naive(samples: &[f32]) -> Vec<f64> {
        let hann = |n: usize| 0.5 - 0.5 * (std::f64::consts::TAU * n as f64 / 512.0).cos();
        (0..BINS)
            .map(|k| {
                let (mut re, mut im) = (0.0, 0.0);
                for (n, sample) in samples.iter().enumerate() {
                    let turn = -std::f64::consts::TAU * (k * n) as f64 / 512.0;
                    re += f64::from(*sample) * hann(n) * turn.cos();
                    im += f64::from(*sample) * hann(n) * turn.sin();
                }
                let once = (re * re + im * im) / (0.375 * 512.0 * 512.0);
                if k == 0 || k == BINS - 1 {
                    once
                } else {
                    2.0 * once
                }
            })
            .collect()
    }

    #[test]
    fn the_spectrum_is_the_definition() {
        let samples: Vec<f32> = sounds::white(3).take(WINDOW).collect();
        let expected = naive(&samples);
        let total: f64 = expected.iter().sum();
        for (got, want) in Spectrum::new().of(&samples).iter().zip(&expected) {
            // f32 keeps 24 bits; a transform of 512 loses a few (log2 512 = 9).
            assert!((f64::from(*got) - want).abs() < total * 1e-5);
        }
    }

    #[test]
    fn a_full_scale_sine_has_power_one_half() {
        let sine: Vec<f32> = (0..WINDOW)
            .map(|n| (std::f32::consts::TAU * 40.0 * n as f32 / 512.0).sin())
            .collect();
        let sum: f32 = Spectrum::new().of(&sine).iter().sum();
        assert!((sum - 0.5).abs() < 1e-4, "{sum}");
    }
}
