//! Which numbers decide what counts as speech, and why these?

/// Everything the detector can be told, with the reason for each default.
///
/// Weights turn a measure into evidence, in log-odds (see
/// [`super::evidence`]). They come from a logistic regression over generated
/// scenes (a speech synthesiser's voices and a telephone speaker's prompts in
/// noise, hum, music and wind, and those sounds alone), rounded; none of the
/// labelled real recordings took part. The thresholds and lengths were then
/// chosen with the real recordings, and scenes of other texts, in view.
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
    /// How many standard deviations of noise a band must rise above the mean
    /// of the noise to count: 3 is once in 700 frames.
    pub noise_reach: f32,
    /// How far one band can count above its floor, dB, so that a single loud
    /// tone is not taken for a voice.
    pub band_most_db: f32,

    /// The movement of the spectrum's shape is averaged over this time, ms: two
    /// syllables.
    pub movement_ms: u32,
    /// Evidence per dB of movement (0 dB: the bands move by 1 dB in 80 ms).
    pub movement_per_db: f32,
    /// Movement below this is that of steady sound, dB: noise smoothed over
    /// 50 ms has 3 to 4 dB, gusts of wind up to 7 dB, speech 10 to 20 dB. 6 dB
    /// would find a tenth more of the speech drowned in noise as loud as it,
    /// and some gusts.
    pub standing_db: f32,
    /// Evidence per dB that the movement lies below that.
    pub standing_per_db: f32,
    /// Evidence per dB of movement in 40 ms: against, since noise jitters and
    /// articulation takes longer.
    pub jitter_per_db: f32,
    /// The hold of the fine structure is averaged over this time, ms.
    pub hold_ms: u32,
    /// Evidence of partials that hold wholly still: against.
    pub hold_whole: f32,
    /// The loud moments are looked for in this time, ms, eight seconds of it
    /// ahead: a speaker and those who answer.
    pub loud_window_ms: u32,
    /// The level's depth is averaged over this time, ms, so that a soft sound
    /// within a word counts with the word.
    pub depth_ms: u32,
    /// Evidence per dB of depth below the loud moments.
    pub depth_per_db: f32,
    /// Depth below this counts no further, dB: somebody at the other end of
    /// the table is 20 dB below the wearer of the microphone.
    pub depth_most_db: f32,
    /// Excess and ratio are averaged over this time, ms: a short vowel.
    pub excess_ms: u32,
    /// Evidence per dB (10 lg) of the bands' mean excess.
    pub excess_per_db: f32,
    /// Evidence per dB of signal-to-noise ratio.
    pub ratio_per_db: f32,
    /// A ratio above this counts no further, dB: clear is clear.
    pub ratio_most_db: f32,
    /// Evidence before anything is measured.
    pub constant: f32,

    /// Evidence from which a frame may be speech, log-odds: with 1 to 4 against
    /// it, so that a dip within a word does not end it.
    pub likely: f32,
    /// Evidence that a stretch must reach somewhere, log-odds: 0.85 is 7 to 3
    /// for speech. Nearer to 0 finds no more words, and more music.
    pub sure: f32,
    /// A stretch is cut back to its first and last frame with more excess than
    /// this, dB, because the measures above look 250 ms to either side.
    pub edge_db: f32,
    /// Frames this far below the loud moments are no edge, dB: breath and the
    /// room's ring.
    pub edge_depth_db: f32,
    /// A stretch is cut back by at most this at each end, ms: in loud noise
    /// the ends of words drown, though they are there.
    pub edge_most_ms: u32,
    /// Speech kept before the first such frame, ms: soft consonants.
    pub lead_ms: u32,
    /// Speech kept after the last such frame, ms (hang-over): fading ends.
    pub trail_ms: u32,
    /// Shortest stretch that counts, ms: a short 'yes' has about 150 ms, a
    /// click less than 50.
    pub least_speech_ms: u32,
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
            noise_reach: 3.0,
            band_most_db: 20.0,
            movement_ms: 500,
            movement_per_db: 0.33,
            standing_db: 7.5,
            standing_per_db: 3.0,
            jitter_per_db: -0.2,
            hold_ms: 300,
            hold_whole: -7.5,
            loud_window_ms: 30_000,
            depth_ms: 400,
            depth_per_db: 0.25,
            depth_most_db: 20.0,
            excess_ms: 160,
            excess_per_db: 0.1,
            ratio_per_db: 0.08,
            ratio_most_db: 25.0,
            constant: 1.3,
            likely: -1.4,
            sure: 0.85,
            edge_db: 0.8,
            edge_depth_db: 23.0,
            edge_most_ms: 300,
            lead_ms: 30,
            trail_ms: 40,
            least_speech_ms: 80,
            bridge_ms: 180,
        }
    }
}

/// Frames of 10 ms in so many milliseconds, at least `least`.
pub(super) fn frames(ms: u32, least: usize) -> usize {
    usize::try_from(ms / 10).unwrap_or(usize::MAX).max(least)
}
