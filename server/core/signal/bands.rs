//! How loud is each part of the speech range?

use crate::units::ANALYSIS_RATE_HZ;

use super::spectrum::{BINS, HOP, WINDOW};

/// Number of bands.
pub const BANDS: usize = 20;

/// Level given to a band that holds less than this, in dBFS. A 16-bit file's
/// rounding noise is −98 dBFS over the whole range (6.02 dB a bit and 1.76 dB)
/// and −111 dBFS in a twentieth of it.
pub const LOWEST_DBFS: f32 = -110.0;

/// Levels of [`BANDS`] bands, in dBFS.
pub type Levels = [f32; BANDS];

/// Bands of equal width on the mel scale (O'Shaughnessy 1987: 2595 lg(1 +
/// f/700)), side by side without overlap.
#[derive(Clone, Debug)]
pub struct BandLayout {
    edges: [usize; BANDS + 1],
}

impl BandLayout {
    /// Bands from `low_hz` to `high_hz`, each at least one bin wide.
    #[must_use]
    pub fn new(low_hz: f32, high_hz: f32) -> Self {
        let mel = |hertz: f32| 2595.0 * (1.0 + hertz / 700.0).log10();
        let hertz = |mel: f32| 700.0 * (10.0_f32.powf(mel / 2595.0) - 1.0);
        let bin_hz = ANALYSIS_RATE_HZ as f32 / WINDOW as f32;
        let (low, high) = (mel(low_hz.max(0.0)), mel(high_hz));
        let mut edges = [0; BANDS + 1];
        let mut least = 0;
        for (n, edge) in edges.iter_mut().enumerate() {
            let at = low + (high - low) * n as f32 / BANDS as f32;
            let bin = (hertz(at) / bin_hz).round() as usize;
            *edge = bin.max(least).min(BINS - 1 - (BANDS - n));
            least = *edge + 1;
        }
        Self { edges }
    }

    /// The bins of band `band`.
    #[must_use]
    pub fn bins(&self, band: usize) -> std::ops::Range<usize> {
        self.edges[band]..self.edges[band + 1]
    }

    /// Standard deviation of steady noise in each band, in dB, when its power
    /// is averaged over `smooth` frames.
    ///
    /// The power of noise in a band of width B averaged over a time T has a
    /// relative deviation of 1/√(BT) (Bendat & Piersol, Random Data,
    /// 'bandwidth-limited white noise'), 4.34 dB of it in level.
    #[must_use]
    pub fn noise_spread_db(&self, smooth: usize) -> Levels {
        // A Hann window of N samples weighs like N/2.
        let samples = WINDOW / 2 + smooth.saturating_sub(1) * HOP;
        let seconds = samples as f32 / ANALYSIS_RATE_HZ as f32;
        std::array::from_fn(|band| {
            let bin_hz = ANALYSIS_RATE_HZ as f32 / WINDOW as f32;
            4.34 / (self.bins(band).len() as f32 * bin_hz * seconds).sqrt()
        })
    }

    /// Power summed over each band.
    #[must_use]
    pub fn powers(&self, spectrum: &[f32; BINS]) -> [f32; BANDS] {
        std::array::from_fn(|band| spectrum[self.bins(band)].iter().sum())
    }
}

/// A power as a level in dBFS, not below [`LOWEST_DBFS`].
#[must_use]
pub fn level_dbfs(power: f32) -> f32 {
    (10.0 * power.max(1e-15).log10()).max(LOWEST_DBFS)
}

/// The power belonging to a level in dBFS.
#[must_use]
pub fn power_of(level_dbfs: f32) -> f32 {
    10.0_f32.powf(level_dbfs / 10.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::signal::sounds;
    use crate::signal::spectrum::Spectrum;

    #[test]
    fn bands_are_side_by_side_and_grow_with_frequency() {
        let layout = BandLayout::new(100.0, 7000.0);
        for band in 1..BANDS {
            assert_eq!(layout.bins(band - 1).end, layout.bins(band).start);
            assert!(!layout.bins(band).is_empty());
        }
        assert_eq!(layout.bins(0).start, 3); // 100 / 31.25 = 3.2
        assert_eq!(layout.bins(BANDS - 1).end, 224); // 7000 / 31.25
        assert!(layout.bins(BANDS - 1).len() > layout.bins(0).len());
    }

    #[test]
    fn the_spread_of_noise_is_as_the_formula_says() {
        let layout = BandLayout::new(100.0, 7000.0);
        let samples: Vec<f32> = sounds::white(9).take(160 * 6000).collect();
        let mut spectrum = Spectrum::new();
        let powers: Vec<[f32; BANDS]> = samples
            .windows(WINDOW)
            .step_by(HOP)
            .map(|window| layout.powers(spectrum.of(window)))
            .collect();
        for (band, expected_db) in layout.noise_spread_db(5).into_iter().enumerate() {
            let levels: Vec<f32> = powers
                .windows(5)
                .map(|five| level_dbfs(five.iter().map(|p| p[band]).sum::<f32>() / 5.0))
                .collect();
            let mean = levels.iter().sum::<f32>() / levels.len() as f32;
            let spread = levels.iter().map(|l| (l - mean).powi(2)).sum::<f32>();
            let spread_db = (spread / levels.len() as f32).sqrt();
            // The formula is for BT well above 1; the narrowest bands have 3,
            // and a Hann window's bins overlap by half.
            assert!(
                (spread_db / expected_db - 1.0).abs() < 0.25,
                "{band}: {spread_db}"
            );
        }
    }

    #[test]
    fn a_strange_range_still_gives_bands_inside_the_spectrum() {
        for (low, high) in [(0.0, 8000.0), (7900.0, 8000.0), (300.0, 100.0)] {
            let layout = BandLayout::new(low, high);
            assert!(layout.bins(BANDS - 1).end < BINS);
            assert!((0..BANDS).all(|band| !layout.bins(band).is_empty()));
        }
    }
}
