//! Which numbers decide what counts as speech, and why these?

/// Everything the detector can be told, with the reason for each default.
#[derive(Clone, Debug, PartialEq)]
pub struct DetectorParams {
    /// Lowest frequency looked at, Hz. Wind and handling noise live below
    /// about 100 Hz; no voice needs its fundamental to be heard.
    pub low_hz: f32,
    /// Highest frequency looked at, Hz. Fricatives reach 7 kHz and more; the
    /// resampler's edge lies just below 8 kHz.
    pub high_hz: f32,
    /// Smoothing of the band levels, ms: short enough for a stop's burst, long
    /// enough that noise in a narrow band stays within a few dB.
    pub smooth_ms: u32,
    /// Length of the window whose quiet share gives the noise floor, ms. Longer
    /// than a breath group, so that fluent reading holds some pauses.
    pub floor_window_ms: u32,
    /// The quiet share: the level that this fraction of a window stays below.
    pub floor_quantile: f32,
    /// A band's floor is never above what the band fell to within this time
    /// to either side, ms: keeps speech that comes just before a noise starts.
    pub floor_reach_ms: u32,
    /// How far one band can count above its floor, dB, so that a single loud
    /// tone is not taken for a voice.
    pub band_most_db: f32,
    /// Mean over the bands above the floor at which speech starts, dB.
    pub on_db: f32,
    /// Mean over the bands above the floor below which speech ends, dB.
    pub off_db: f32,
    /// Shortest stretch above the threshold that counts, ms: a short 'yes' has
    /// about 150 ms, a click less than 50.
    pub least_speech_ms: u32,
    /// Speech kept before the first frame above the threshold, ms: soft
    /// consonants.
    pub lead_ms: u32,
    /// Speech kept after the last frame above the threshold, ms (hang-over):
    /// fading ends of words.
    pub trail_ms: u32,
    /// Stretches closer than this are one segment, ms: a stop's closure or the
    /// gap between two words of a phrase.
    pub bridge_ms: u32,
}

impl Default for DetectorParams {
    fn default() -> Self {
        Self {
            low_hz: 100.0,
            high_hz: 7000.0,
            smooth_ms: 50,
            floor_window_ms: 8000,
            floor_quantile: 0.1,
            floor_reach_ms: 250,
            band_most_db: 20.0,
            on_db: 3.5,
            off_db: 1.8,
            least_speech_ms: 80,
            lead_ms: 50,
            trail_ms: 80,
            bridge_ms: 250,
        }
    }
}

/// Frames of 10 ms in so many milliseconds, at least `least`.
pub(super) fn frames(ms: u32, least: usize) -> usize {
    usize::try_from(ms / 10).unwrap_or(usize::MAX).max(least)
}
