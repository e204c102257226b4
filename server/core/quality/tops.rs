//! Is the wave cut off below full scale?
//!
//! A recording that was clipped and then made quieter has flat tops below full scale:
//! samples that stand still while the wave is at its highest. A smooth wave stands
//! still at its top, too, but comes there slowly; a cut wave has corners.

/// Samples within so much stand still: less than a step of 16 bits.
const STILL: f32 = 2e-5;
/// So many of them are a flat top.
const LEAST: u32 = 3;
/// The wave comes and goes by at least so much from one sample to the next.
const CORNER: f32 = 3e-4;
/// Nothing is cut off that low.
const FAINT: f32 = 0.02;

/// Watches one channel.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Tops {
    /// The sample before the run, and the last of the run.
    before: f32,
    still: f32,
    run: u32,
}

/// A flat top that is over.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Top {
    /// How high, full scale 1.
    pub height: f32,
    /// Samples.
    pub samples: u32,
}

impl Tops {
    /// Takes the next sample.
    pub fn push(&mut self, sample: f32) -> Option<Top> {
        if self.run > 0 && (sample - self.still).abs() <= STILL {
            self.run = self.run.saturating_add(1);
            return None;
        }
        let height = self.still.abs();
        // Towards zero on both sides, by a corner.
        let falls = |other: f32| (self.still - other) * self.still.signum() >= CORNER;
        let top = (self.run >= LEAST && height >= FAINT && falls(self.before) && falls(sample))
            .then_some(Top {
                height,
                samples: self.run,
            });
        (self.before, self.still, self.run) = (self.still, sample, 1);
        top
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn flat(samples: impl Iterator<Item = f32>) -> u32 {
        let mut tops = Tops::default();
        samples
            .filter_map(|s| tops.push(s))
            .map(|top| top.samples)
            .sum()
    }

    fn sine(hz: f32, peak: f32) -> impl Iterator<Item = f32> {
        (0..48_000).map(move |n| peak * (std::f32::consts::TAU * hz * n as f32 / 48_000.0).sin())
    }

    fn in_16_bits(sample: f32) -> f32 {
        (sample * 32_768.0).round() / 32_768.0
    }

    #[test]
    fn what_was_clipped_and_made_quieter_is_counted() {
        for (hz, gain) in [(100.0, 0.5), (440.0, 0.3), (1_000.0, 0.05)] {
            let cut = || sine(hz, 1.5).map(|s| s.clamp(-1.0, 1.0) * gain);
            // 1.5 sin(x) is above 1 for 53.5 % of the time.
            for found in [flat(cut()), flat(cut().map(in_16_bits))] {
                let share = f64::from(found) / 48_000.0;
                assert!((0.47..0.56).contains(&share), "{hz} Hz at {gain}: {share}");
            }
        }
    }

    #[test]
    fn whole_waves_and_steps_are_not() {
        for hz in [20.0, 55.0, 100.0, 1_000.0, 12_000.0, 16_000.0] {
            for peak in [0.03, 0.3, 0.999] {
                assert_eq!(flat(sine(hz, peak)), 0, "{hz} Hz at {peak}");
                assert_eq!(flat(sine(hz, peak).map(in_16_bits)), 0, "{hz} Hz at {peak}");
            }
        }
        assert_eq!(flat((0..1_000).map(|_| 0.5)), 0, "an offset is no top");
        assert_eq!(flat((0..100).map(|n| if n < 50 { 0.1 } else { 0.9 })), 0);
        assert_eq!(flat((0..100).map(|_| 0.0)), 0);
    }
}
