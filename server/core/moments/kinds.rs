//! What goes in and what comes out?

use crate::clock::Placement;
use crate::quality::{Frame, Measures, Verdict};
use crate::signal::SpeechSegment;
use crate::units::{EventMs, FileMs};

/// Where a recorder was put.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum PlacedAs {
    /// On a person.
    Worn,
    /// On the mixing desk.
    Feed,
    /// On a lectern or stand.
    Stand,
    /// Somewhere in the room.
    Ambient,
    /// In a camera.
    Camera,
}

/// A word that names no place for a recorder.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct NotAPlace;

impl std::fmt::Display for NotAPlace {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("a placement is one of worn, feed, stand, ambient, camera")
    }
}

impl std::error::Error for NotAPlace {}

impl std::str::FromStr for PlacedAs {
    type Err = NotAPlace;

    fn from_str(word: &str) -> Result<Self, NotAPlace> {
        Ok(match word {
            "worn" => Self::Worn,
            "feed" => Self::Feed,
            "stand" => Self::Stand,
            "ambient" => Self::Ambient,
            "camera" => Self::Camera,
            _ => return Err(NotAPlace),
        })
    }
}

/// A recording that may have heard something.
#[derive(Clone, Copy, Debug)]
pub struct Hearer<'a> {
    /// Where it lies on the clock of its island.
    pub placement: &'a Placement,
    /// Whose clock that is; 0 is the event clock.
    pub island: u32,
    /// Recordings of one recorder have one number.
    pub source: usize,
    /// Where the recorder was put.
    pub placed_as: PlacedAs,
    /// Length, ms.
    pub duration_ms: i64,
    /// The speech found in it, in order, apart from each other.
    pub segments: &'a [SpeechSegment],
}

/// What the recordings sound like. Recordings are named by their position in the
/// list of hearers.
pub trait Sound {
    /// How far the loud moments of a stretch lie above the recording's noise
    /// there, dB; 0 where there is none of it.
    fn excess_db(&self, hearer: usize, from: FileMs, to: FileMs) -> f32;

    /// How loud a stretch is, noise and all, dBFS; [`SILENCE_DBFS`] where there is
    /// none of it.
    ///
    /// [`SILENCE_DBFS`]: crate::units::SILENCE_DBFS
    fn level_dbfs(&self, hearer: usize, from: FileMs, to: FileMs) -> f32;

    /// Is it the same sound? Normalised correlation of what the two have of a
    /// stretch that is at `a_from..a_to` in one and starts at `b_from` in the
    /// other, whose clock runs `rate` times as fast, −1 to 1; `None` where one of
    /// them has none of it.
    fn alike(
        &self,
        a: usize,
        a_from: FileMs,
        a_to: FileMs,
        b: usize,
        b_from: FileMs,
        rate: f64,
    ) -> Option<f32>;

    /// The middle of the quietest fifth of a second of a stretch; `None` where
    /// there is none of it.
    fn quietest(&self, hearer: usize, from: FileMs, to: FileMs) -> Option<FileMs>;

    /// Band levels at instants of the file, ms; `None` where there is none of it.
    fn levels(&self, _hearer: usize, instants: &[f64]) -> Vec<Option<Frame>> {
        vec![None; instants.len()]
    }

    /// What was measured of a stretch at the recording's own rate; `None` where
    /// nothing was.
    fn measures(&self, _hearer: usize, _from: FileMs, _to: FileMs) -> Option<Measures> {
        None
    }
}

/// A moment that exists and has words: it keeps its bounds, which are anchored to
/// the sound of the recording its words are of.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Kept {
    /// The caller's name for it.
    pub key: usize,
    /// The recording its words are of.
    pub from: usize,
    /// Where it starts in that file.
    pub from_start: FileMs,
    /// Where it ends in that file, exclusive.
    pub from_end: FileMs,
    /// What of that file it stands for, its own bounds included: a person made it
    /// shorter, and what was cut off is no speech of its own.
    pub covers: (FileMs, FileMs),
    /// Whether a person put it right: it becomes no other's.
    pub by_hand: bool,
}

/// A stretch of speech.
#[derive(Clone, Debug, PartialEq)]
pub struct Moment {
    /// Keys of the moments that existed and are this one; the first survives with
    /// its words. Empty for a new one.
    pub kept: Vec<usize>,
    /// Whose clock its times are on.
    pub island: u32,
    /// Start.
    pub start: EventMs,
    /// End, exclusive.
    pub end: EventMs,
    /// Who heard it, best first; those who did not come last. Never empty, and
    /// the first has heard it.
    pub hearings: Vec<Hearing>,
}

/// One recording's copy of a moment.
#[derive(Clone, Debug, PartialEq)]
pub struct Hearing {
    /// The recording.
    pub hearer: usize,
    /// Start in its file.
    pub start: FileMs,
    /// End in its file, exclusive.
    pub end: FileMs,
    /// Whether it is above the recording's own noise there.
    pub heard: bool,
    /// RMS level of the speech, dBFS; where the detector found none, that of all
    /// there is.
    pub level_dbfs: f32,
    /// Speech over noise, dB.
    pub snr_db: f32,
    /// Share of the samples at flat tops, 0 to 1.
    pub clipped: f32,
    /// How long the room rings on, see [`SpeechSegment::reverb`], s.
    pub reverb: f32,
    /// How clear it is beside the other copies, −1 to 1; `None` where there is no other.
    pub clarity: Option<f32>,
    /// What it is ranked by, in dB of signal-to-noise ratio that would be as good.
    pub score: f32,
    /// In a word, how usable it is.
    pub verdict: Verdict,
    /// The reasons for its rank, in short plain sentences.
    pub why: Vec<String>,
}
