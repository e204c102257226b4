//! Which numbers decide about moments, and why these?

/// Everything grouping and choosing can be told.
#[derive(Clone, Debug, PartialEq)]
pub struct MomentParams {
    /// A moment is at least so long where the pauses allow, ms: a sentence.
    pub short_ms: i64,
    /// And at most so long, ms: a few sentences, and well below the 30 s the
    /// speech model hears at once.
    pub long_ms: i64,
    /// A pause of this length always ends a moment, ms.
    pub pause_ms: i64,
    /// What a worse hearing has beside a better one counts as speech of its own
    /// from this length on, ms: shorter is the end of a word, or its ring.
    pub alone_ms: i64,
    /// So much around a better hearing is not speech of its own, ms: clocks, the
    /// way of the sound and the ring of a room.
    pub margin_ms: i64,
    /// Likeness, averaged over [`Self::smooth_ms`], from which two recordings are
    /// at one place.
    pub alike: f32,
    /// Likeness is averaged over this time to either side, ms.
    pub smooth_ms: i64,
    /// Excess above its own noise from which a recording without a segment there
    /// has heard a moment, dB.
    pub heard_db: f32,
    /// How much better another recording must be to be chosen before the one
    /// that the moment before was taken from, dB.
    pub stay_db: f32,
}

impl Default for MomentParams {
    fn default() -> Self {
        Self {
            short_ms: 2_000,
            long_ms: 20_000,
            pause_ms: 1_500,
            alone_ms: 400,
            margin_ms: 200,
            alike: 0.2,
            smooth_ms: 20_000,
            heard_db: 8.0,
            stay_db: 2.0,
        }
    }
}
