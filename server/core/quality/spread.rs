//! How is the power of a tenth of a second spread over frequency?

use std::sync::Arc;

use realfft::num_complex::Complex;
use realfft::{RealFftPlanner, RealToComplex};

/// Bands that are told apart.
pub(super) const BANDS: usize = 8;
/// From and to, Hz. Between some there is room, so that what ends at one does not reach
/// into the next.
pub(super) const BANDS_HZ: [(f32, f32); BANDS] = [
    // Rumble and wind: below the lowest voices.
    (20.0, 80.0),
    (80.0, 300.0),
    // The band of a telephone, which carries the words: two halves.
    (300.0, 1_000.0),
    (1_000.0, 3_400.0),
    (4_200.0, 5_500.0),
    (5_800.0, 8_000.0),
    (8_400.0, 12_000.0),
    (12_500.0, 20_000.0),
];

/// Least length of a window, s: longer than two periods of the lowest band.
const WINDOW_S: f32 = 0.064;

/// Power spectra at a recording's own rate.
pub(super) struct Spread {
    plan: Arc<dyn RealToComplex<f32>>,
    hann: Vec<f32>,
    windowed: Vec<f32>,
    bins: Vec<Complex<f32>>,
    scratch: Vec<Complex<f32>>,
    /// First and last bin, exclusive, of each band.
    bands: [(usize, usize); BANDS],
}

impl Spread {
    /// For samples at this rate.
    pub fn new(rate_hz: u32) -> Self {
        let rate = rate_hz as f32;
        let window = ((rate * WINDOW_S) as usize).max(16).next_power_of_two();
        let plan = RealFftPlanner::<f32>::new().plan_fft_forward(window);
        let turn = |n: usize| std::f32::consts::TAU * n as f32 / window as f32;
        let bin = |hz: f32| ((hz * window as f32 / rate).ceil() as usize).min(window / 2);
        Self {
            hann: (0..window).map(|n| 0.5 - 0.5 * turn(n).cos()).collect(),
            windowed: plan.make_input_vec(),
            bins: plan.make_output_vec(),
            scratch: plan.make_scratch_vec(),
            bands: BANDS_HZ.map(|(from, to)| (bin(from), bin(to))),
            plan,
        }
    }

    /// Mean squares in each band, of a window in the middle of the samples.
    pub fn of(&mut self, samples: &[f32]) -> [f64; BANDS] {
        let skipped = samples.len().saturating_sub(self.hann.len()) / 2;
        self.windowed.fill(0.0);
        let middle = samples.get(skipped..).unwrap_or_default();
        for ((to, sample), weight) in self.windowed.iter_mut().zip(middle).zip(&self.hann) {
            *to = sample * weight;
        }
        // The buffers come from the plan, so their lengths are right.
        let done =
            self.plan
                .process_with_scratch(&mut self.windowed, &mut self.bins, &mut self.scratch);
        debug_assert!(done.is_ok());
        // Parseval's theorem; the mean square of a Hann window is 3/8.
        let window = self.hann.len() as f64;
        let scale = 2.0 / (0.375 * window * window);
        self.bands.map(|(from, to)| {
            let own = self.bins.get(from..to).unwrap_or_default();
            scale * own.iter().map(|bin| f64::from(bin.norm_sqr())).sum::<f64>()
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_tone_is_in_its_band_at_its_level() {
        for rate_hz in [8_000, 16_000, 44_100, 48_000, 96_000] {
            let mut spread = Spread::new(rate_hz);
            for (band, hz) in [
                (0, 50.0),
                (1, 200.0),
                (2, 600.0),
                (3, 2_000.0),
                (4, 5_000.0),
            ] {
                if hz > rate_hz as f32 * 0.45 {
                    continue;
                }
                let wave =
                    |n: u32| (std::f32::consts::TAU * hz * n as f32 / rate_hz as f32).sin() * 0.1;
                let samples: Vec<f32> = (0..rate_hz / 10).map(wave).collect();
                let found = spread.of(&samples);
                let db = 10.0 * (found[band] / 0.005).log10();
                assert!(db.abs() < 1.0, "{rate_hz} Hz, {hz} Hz: {db} dB off");
                let others: f64 = (0..BANDS).filter(|&n| n != band).map(|n| found[n]).sum();
                assert!(
                    others < 0.05 * found[band],
                    "{rate_hz} Hz, {hz} Hz: {others}"
                );
            }
        }
    }

    #[test]
    fn any_rate_and_length_will_do() {
        for rate_hz in [16, 100, 11_025, 2_000_000] {
            let mut spread = Spread::new(rate_hz);
            for length in [0, 1, 7, 5_000] {
                let found = spread.of(&vec![0.5; length]);
                assert!(found.iter().all(|power| power.is_finite()));
            }
        }
    }
}
