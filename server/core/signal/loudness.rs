//! How loud are the loud moments around here?

use super::bands::{LOWEST_DBFS, level_dbfs};
use super::numbered::Numbered;
use super::quantile::{RunningQuantile, bin_of, level_of};

/// Share of the frames that the loud moments are louder than: in a window with
/// any speech worth hearing, the rest is vowels.
const LOUD_SHARE: f32 = 0.95;

/// Follows the level and the loud moments of a window that ends with the
/// newest frame.
#[derive(Clone, Debug)]
pub struct Loudness {
    window: usize,
    reach: usize,
    powers: Numbered<f32>,
    /// Level over `2 × reach + 1` frames, by its last frame.
    levels_dbfs: Numbered<f32>,
    bins: Numbered<u8>,
    quantile: RunningQuantile,
}

impl Loudness {
    /// Levels over `reach` frames to either side, loud moments of the last
    /// `window` frames.
    #[must_use]
    pub fn new(window: usize, reach: usize) -> Self {
        Self {
            window: window.clamp(1, usize::from(u16::MAX) - 1),
            reach,
            powers: Numbered::from(0),
            levels_dbfs: Numbered::from(0),
            bins: Numbered::from(0),
            quantile: RunningQuantile::new(),
        }
    }

    /// Takes the power of the next frame. `needed_from` is the earliest frame
    /// that will still be asked about.
    pub fn push(&mut self, power: f32, needed_from: usize) {
        let number = self.powers.next();
        self.powers.push(power);
        let from = number.saturating_sub(2 * self.reach);
        self.powers.forget_before(from);
        let (mut sum, mut count) = (0.0, 0.0);
        for power in self.powers.range(from..number + 1) {
            sum += power;
            count += 1.0;
        }
        let level = level_dbfs(sum / count);
        self.levels_dbfs.push(level);
        self.levels_dbfs.forget_before(needed_from);
        let bin = bin_of(level);
        self.quantile.add(bin);
        self.bins.push(bin);
        if let Some(oldest) = number
            .checked_sub(self.window)
            .and_then(|n| self.bins.nearest(n))
        {
            self.quantile.remove(*oldest);
        }
        self.bins
            .forget_before((number + 1).saturating_sub(self.window));
    }

    /// Level of frame `frame` with those around it, dBFS.
    #[must_use]
    pub fn level_dbfs(&self, frame: usize) -> f32 {
        let level = self.levels_dbfs.nearest(frame + self.reach);
        level.copied().unwrap_or(LOWEST_DBFS)
    }

    /// Level of the loud moments of the window that ends now, dBFS.
    pub fn loud_dbfs(&mut self) -> f32 {
        level_of(self.quantile.find(LOUD_SHARE))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_loud_moments_are_those_of_the_window() {
        let mut loudness = Loudness::new(100, 0);
        // A tenth of the frames is loud, at −20 dBFS, the others 30 dB below.
        for n in 0..500 {
            let power = if n % 10 == 0 { 1e-2 } else { 1e-5 };
            loudness.push(power, 0);
        }
        // The histogram's steps are 0.5 dB.
        assert!((loudness.loud_dbfs() + 20.0).abs() <= 0.25);
        assert!((loudness.level_dbfs(490) + 20.0).abs() < 0.01);
        assert!((loudness.level_dbfs(491) + 50.0).abs() < 0.01);
        for _ in 0..96 {
            loudness.push(1e-5, 0);
        }
        assert!(
            (loudness.loud_dbfs() + 50.0).abs() <= 0.25,
            "the loud ones are gone"
        );
    }

    #[test]
    fn the_level_is_the_mean_power_of_the_frames_around() {
        let mut loudness = Loudness::new(100, 1);
        for power in [0.1, 0.2, 0.6, 0.1] {
            loudness.push(power, 0);
        }
        assert!((loudness.level_dbfs(1) - level_dbfs(0.3)).abs() < 1e-4);
        assert!((loudness.level_dbfs(2) - level_dbfs(0.3)).abs() < 1e-4);
    }
}
