//! Which clock is this number on, and in which unit?
//!
//! Mixing a time in a file with a time of the event is *the* mistake of this
//! product, so they are two types with no conversion between them but a
//! placement.

use serde::{Deserialize, Serialize};

/// Sample rate of everything the detector and the speech model see, in Hz.
pub const ANALYSIS_RATE_HZ: u32 = 16_000;

/// A position in one recording, in milliseconds from its first sample.
#[derive(
    Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize,
)]
#[serde(transparent)]
pub struct FileMs(pub i64);

/// A position on the event clock, in milliseconds from the event's first sound.
#[derive(
    Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize,
)]
#[serde(transparent)]
pub struct EventMs(pub i64);

impl FileMs {
    /// The sample at this position, rounded down, at `rate_hz`; before the
    /// first sample counts as the first.
    ///
    /// ```
    /// use sayback_core::units::FileMs;
    /// assert_eq!(FileMs(1_500).to_sample(48_000), 72_000);
    /// assert_eq!(FileMs(-3).to_sample(48_000), 0);
    /// ```
    #[must_use]
    pub fn to_sample(self, rate_hz: u32) -> u64 {
        let ms = u128::from(self.0.max(0).unsigned_abs());
        u64::try_from(ms * u128::from(rate_hz) / 1000).unwrap_or(u64::MAX)
    }

    /// The position of a sample at `rate_hz`, rounded down to the millisecond.
    ///
    /// ```
    /// use sayback_core::units::FileMs;
    /// assert_eq!(FileMs::from_sample(72_000, 48_000), FileMs(1_500));
    /// ```
    #[must_use]
    pub fn from_sample(sample: u64, rate_hz: u32) -> Self {
        let ms = u128::from(sample) * 1000 / u128::from(rate_hz.max(1));
        Self(i64::try_from(ms).unwrap_or(i64::MAX))
    }
}

/// Level of an amplitude in dB relative to full scale (1.0); silence is
/// [`SILENCE_DBFS`].
///
/// ```
/// use sayback_core::units::dbfs;
/// assert!((dbfs(0.5) + 6.02).abs() < 0.01);
/// ```
#[must_use]
pub fn dbfs(amplitude: f32) -> f32 {
    if amplitude > 0.0 {
        (20.0 * amplitude.log10()).max(SILENCE_DBFS)
    } else {
        SILENCE_DBFS
    }
}

/// The level reported for digital silence, in dBFS: below the noise floor of
/// 24-bit sound (6.02 dB a bit).
pub const SILENCE_DBFS: f32 = -150.0;
