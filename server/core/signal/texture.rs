//! Does the fine structure of the spectrum hold still?
//!
//! The partials of a note stay where they are for as long as it sounds; those
//! of a voice move with its pitch, and noise has none. In: power spectra. Out:
//! the correlation of a frame's fine structure with that of a frame before, 1
//! for a held note, near 0 for noise, between for a voice.

use super::spectrum::{BINS, WINDOW};
use crate::units::ANALYSIS_RATE_HZ;

/// First bin and number of bins looked at: 125 to 4125 Hz, where partials of
/// voices and instruments lie.
const FIRST: usize = 4;
const COUNT: usize = 128;
/// Bins to either side whose mean is taken off, so that the envelope
/// (formants, slope) does not count: 4 × 31 Hz, two notes' partials apart.
const AROUND: usize = 4;
/// Added to the power of a bin: the rounding noise of a 16-bit file in one of
/// 257 bins is −122 dBFS.
const LEAST_POWER: f32 = 1e-13;

const _: () = assert!(FIRST + COUNT + AROUND <= BINS && FIRST >= AROUND);
const _: () = assert!(ANALYSIS_RATE_HZ as usize / WINDOW == 31);

/// The fine structure of one frame, of length 1 (or 0 without any).
pub type Texture = [f32; COUNT];

/// The logarithm of each bin less the mean of its neighbourhood, scaled to a
/// vector of length 1.
#[must_use]
pub fn texture(power: &[f32; BINS]) -> Texture {
    let mut logs = [0.0; COUNT + 2 * AROUND];
    for (log, bin) in logs.iter_mut().zip(&power[FIRST - AROUND..]) {
        *log = (bin + LEAST_POWER).log2();
    }
    let width = (2 * AROUND + 1) as f32;
    let mut fine = [0.0; COUNT];
    let mut square = 0.0;
    for (n, fine) in fine.iter_mut().enumerate() {
        let mean = logs[n..=n + 2 * AROUND].iter().sum::<f32>() / width;
        *fine = logs[n + AROUND] - mean;
        square += *fine * *fine;
    }
    // Silence leaves rounding only, far below 0.01 octaves a bin.
    let scale = if square > 0.01 {
        1.0 / square.sqrt()
    } else {
        0.0
    };
    fine.map(|value| value * scale)
}

/// Correlation of two textures, −1 to 1.
#[must_use]
pub fn likeness(one: &Texture, other: &Texture) -> f32 {
    one.iter().zip(other).map(|(a, b)| a * b).sum()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::signal::sounds;
    use crate::signal::spectrum::Spectrum;

    /// Likeness of windows 60 ms apart, mean over one second.
    fn hold(sound: impl Iterator<Item = f32>) -> f32 {
        let samples: Vec<f32> = sound.take(17_600).collect();
        let mut spectrum = Spectrum::new();
        let textures: Vec<Texture> = (0..100)
            .map(|n| texture(spectrum.of(&samples[n * 160..n * 160 + WINDOW])))
            .collect();
        let sum: f32 = (6..100)
            .map(|n| likeness(&textures[n], &textures[n - 6]))
            .sum();
        sum / 94.0
    }

    #[test]
    fn a_chord_holds_and_noise_does_not() {
        assert!(hold(sounds::chord(1)) > 0.8, "{}", hold(sounds::chord(1)));
        // 128 bins, of which the window leaves some 85 independent: the mean
        // of 94 correlations of deviation 1/√85, a third of them independent.
        assert!(hold(sounds::pink(1)).abs() < 4.0 * 0.108 / 31.0_f32.sqrt());
    }

    #[test]
    fn a_gliding_voice_holds_less_than_a_note() {
        // Harmonics of a tone that rises a fifth in a second.
        let mut phase = 0.0_f32;
        let glide = (0..).map(move |n| {
            let hertz = 150.0 * 1.5_f32.powf(n as f32 / 16_000.0);
            phase = (phase + hertz / 16_000.0).fract();
            (1..=20)
                .map(|k| (std::f32::consts::TAU * phase * k as f32).sin() / k as f32)
                .sum()
        });
        assert!(hold(glide) < 0.7);
    }

    #[test]
    fn silence_has_no_texture() {
        let nothing = texture(&[0.0; BINS]);
        assert_eq!(likeness(&nothing, &nothing), 0.0);
    }
}
