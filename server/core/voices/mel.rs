//! How is power spread over the mel scale?
//!
//! The spectrogram the voice model was taught with: 25 ms Hann windows each 10 ms,
//! centred, with silence before and behind; 40 triangular bands from 0 to 8 kHz, each
//! of the same area (Slaney, *Auditory Toolbox*, 1998: linear below 1 kHz,
//! logarithmic above). Powers, not their logarithms.

use std::sync::Arc;

use realfft::num_complex::Complex;
use realfft::{RealFftPlanner, RealToComplex};

/// Bands of a frame.
pub(super) const BANDS: usize = 40;
/// Samples from one frame to the next: 10 ms at 16 kHz.
pub(super) const HOP: usize = 160;
/// Samples in a window: 25 ms.
const WINDOW: usize = 400;
const BINS: usize = WINDOW / 2 + 1;

/// Powers of the bands of one frame.
pub(super) type MelFrame = [f32; BANDS];

/// Where the scale turns from linear to logarithmic: 1 kHz, 15 mel.
const TURN_HZ: f64 = 1000.0;
const TURN_MEL: f64 = 15.0;
/// Mel for each factor e above it: 27 steps to 6.4 kHz.
const MEL_PER_NEPER: f64 = 27.0 / 1.856_297_990_365_626;

fn hz(mel: f64) -> f64 {
    if mel < TURN_MEL {
        mel * TURN_HZ / TURN_MEL
    } else {
        TURN_HZ * ((mel - TURN_MEL) / MEL_PER_NEPER).exp()
    }
}

fn mel(hz: f64) -> f64 {
    if hz < TURN_HZ {
        hz * TURN_MEL / TURN_HZ
    } else {
        TURN_MEL + (hz / TURN_HZ).ln() * MEL_PER_NEPER
    }
}

/// Makes mel frames of samples.
pub(super) struct Mel {
    plan: Arc<dyn RealToComplex<f32>>,
    hann: Vec<f32>,
    windowed: Vec<f32>,
    bins: Vec<Complex<f32>>,
    scratch: Vec<Complex<f32>>,
    /// Of each band, its first bin and the weights from there on.
    bands: Vec<(usize, Vec<f32>)>,
}

impl Mel {
    /// Plans the transform.
    pub fn new() -> Self {
        let plan = RealFftPlanner::<f32>::new().plan_fft_forward(WINDOW);
        let hann = |n: usize| 0.5 - 0.5 * (std::f32::consts::TAU * n as f32 / WINDOW as f32).cos();
        Self {
            hann: (0..WINDOW).map(hann).collect(),
            windowed: plan.make_input_vec(),
            bins: plan.make_output_vec(),
            scratch: plan.make_scratch_vec(),
            plan,
            bands: (0..BANDS).map(band).collect(),
        }
    }

    /// The frames of samples at 16 kHz, one more than there are whole hops. What is
    /// not finite counts as silence.
    pub fn frames(&mut self, samples: &[f32]) -> Vec<MelFrame> {
        (0..=samples.len() / HOP)
            .map(|n| self.frame(samples, n * HOP))
            .collect()
    }

    fn frame(&mut self, samples: &[f32], middle: usize) -> MelFrame {
        for (n, (to, weight)) in self.windowed.iter_mut().zip(&self.hann).enumerate() {
            let at = (middle + n).checked_sub(WINDOW / 2);
            let sample = at.and_then(|at| samples.get(at)).copied().unwrap_or(0.0);
            *to = if sample.is_finite() {
                sample * weight
            } else {
                0.0
            };
        }
        // The buffers come from the plan, so their lengths are right.
        let done =
            self.plan
                .process_with_scratch(&mut self.windowed, &mut self.bins, &mut self.scratch);
        debug_assert!(done.is_ok());
        std::array::from_fn(|band| {
            let Some((first, weights)) = self.bands.get(band) else {
                return 0.0;
            };
            let bins = self.bins.iter().skip(*first);
            bins.zip(weights).map(|(bin, w)| bin.norm_sqr() * w).sum()
        })
    }
}

/// Weights of a band, from its first bin on.
fn band(number: usize) -> (usize, Vec<f32>) {
    let edge = |n: usize| hz(mel(8_000.0) * n as f64 / (BANDS + 1) as f64);
    let (low, top, high) = (edge(number), edge(number + 1), edge(number + 2));
    let weight = |bin: usize| {
        let at = bin as f64 * 16_000.0 / WINDOW as f64;
        let side = ((at - low) / (top - low)).min((high - at) / (high - top));
        (side.max(0.0) * 2.0 / (high - low)) as f32
    };
    let first = (0..BINS).find(|bin| weight(*bin) > 0.0).unwrap_or(0);
    let weights: Vec<f32> = (first..BINS).map(weight).take_while(|w| *w > 0.0).collect();
    (first, weights)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_tone_is_in_its_band() {
        let turn = std::f32::consts::TAU * 1_000.0 / 16_000.0;
        let tone: Vec<f32> = (0..16_000).map(|n| (turn * n as f32).sin()).collect();
        let frames = Mel::new().frames(&tone);
        assert_eq!(frames.len(), 101);
        let loudest = |frame: &MelFrame| {
            (0..BANDS)
                .max_by(|a, b| frame[*a].total_cmp(&frame[*b]))
                .unwrap()
        };
        // 8 kHz is 45.2 mel, 1 kHz 15: the band whose middle is nearest is number
        // 15·41/45.2 − 1 = 12.6.
        for frame in &frames[2..99] {
            assert!((12..=13).contains(&loudest(frame)));
        }
    }

    #[test]
    fn inverted_polarity_is_the_same_voice() {
        let rise: Vec<f32> = (0..8_000)
            .map(|n| (n as f32 * n as f32 * 1e-5).sin())
            .collect();
        let inverted: Vec<f32> = rise.iter().map(|sample| -sample).collect();
        let (frames, same) = (Mel::new().frames(&rise), Mel::new().frames(&inverted));
        let pairs = frames.as_flattened().iter().zip(same.as_flattened());
        assert!(
            pairs
                .into_iter()
                .all(|(a, b)| (a - b).abs() <= 1e-4 * a.abs())
        );
    }

    #[test]
    fn the_scale_goes_there_and_back() {
        for at in [0.0, 250.0, 999.0, 1_000.0, 1_001.0, 6_400.0, 8_000.0] {
            assert!((hz(mel(at)) - at).abs() < 1e-6, "{at}");
        }
        // The published marks of the scale.
        assert!((mel(1_000.0) - 15.0).abs() < 1e-9);
        assert!((mel(6_400.0) - 42.0).abs() < 1e-9);
    }

    #[test]
    fn what_is_no_number_is_silence() {
        let frames = Mel::new().frames(&[f32::NAN; 1_600]);
        assert!(frames.as_flattened().iter().all(|power| *power == 0.0));
        assert_eq!(Mel::new().frames(&[]).len(), 1);
    }
}
