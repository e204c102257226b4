//! What was said once, and every copy of it.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::{EventRef, Person, Recording, RecordingRef, SourceRef, Speaker};

/// A page of the moments of an event.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct MomentList {
    /// The event.
    pub event: EventRef,
    /// How many moments there are in all; `moments` holds one page of them.
    pub total: i64,
    /// In the order of the event clock; those that are not on it last.
    pub moments: Vec<Moment>,
}

/// A stretch of speech, said once.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Moment {
    /// The moment's id.
    pub id: String,
    /// Raised when the text becomes another, and by what people do to it; a change
    /// says of which version it is one.
    pub version: i64,
    /// Whether a person has changed it.
    pub by_hand: bool,
    /// Whose clock it lies on: 0 is the event clock.
    pub island: i64,
    /// Where it starts on the event clock, ms; null where it is not on it.
    #[schema(required)]
    pub start_ms: Option<i64>,
    /// Where it ends on the event clock, ms.
    #[schema(required)]
    pub end_ms: Option<i64>,
    /// Its words; null until somebody has listened.
    #[schema(required)]
    pub text: Option<String>,
    /// The language of most of them, ISO 639-1; null where it is not known.
    #[schema(required)]
    pub language: Option<String>,
    /// Why the words should not be trusted as they are.
    #[schema(required)]
    pub doubt: Option<String>,
    /// Why these words and not those of another recording.
    #[schema(required)]
    pub why: Option<String>,
    /// The recording whose sound the words were heard in.
    #[schema(required)]
    pub words_from: Option<RecordingRef>,
    /// Who speaks; null where that is not known.
    #[schema(required)]
    pub person: Option<Speaker>,
    /// Who speaks at the same time.
    #[schema(required)]
    pub also: Option<Person>,
    /// Every copy of it, the best first; those not heard last.
    pub hearings: Vec<MomentHearing>,
}

/// One recording's copy of a moment.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct MomentHearing {
    /// The recorder.
    pub source: SourceRef,
    /// The recording.
    pub recording: RecordingRef,
    /// Where it starts in that file, ms.
    pub start_ms: i64,
    /// Where it ends in that file, ms.
    pub end_ms: i64,
    /// Whether it is above the recording's own noise there.
    pub heard: bool,
    /// 1 is the best.
    pub rank: i64,
    /// Its level, dB relative to full scale.
    pub level_dbfs: f32,
    /// Its level above the noise around it, dB.
    pub snr_db: f32,
    /// Share of samples at flat tops, 0 to 1.
    pub clipped: f32,
    /// How much the room rings in it.
    pub reverb: f32,
    /// What it is ranked by; larger is better.
    pub score: f32,
    /// `clean`, `usable`, `poor` or `lost`.
    pub verdict: String,
    /// What rank and verdict rest on.
    pub why: Vec<String>,
    /// Whether the speech model has listened to it.
    pub listened: bool,
}

/// A recording with all words that are said in it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Transcript {
    /// The recording.
    pub recording: Recording,
    /// Its copy of each moment, in order of its file.
    pub hearings: Vec<HeardWords>,
}

/// A recording's copy of a moment, with the words at its own times.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct HeardWords {
    /// The moment's id.
    pub moment: String,
    /// The moment's version.
    pub version: i64,
    /// Whether a person has changed it.
    pub by_hand: bool,
    /// Where it starts in the file, ms.
    pub start_ms: i64,
    /// Where it ends in the file, ms.
    pub end_ms: i64,
    /// Whether it is above the recording's own noise there.
    pub heard: bool,
    /// Rank among the copies of the moment; 1 is the best.
    pub rank: i64,
    /// Its level, dB relative to full scale.
    pub level_dbfs: f32,
    /// Its level above the noise around it, dB.
    pub snr_db: f32,
    /// The recording whose sound the words were heard in; null without words.
    #[schema(required)]
    pub words_from: Option<RecordingRef>,
    /// Why the words should not be trusted as they are.
    #[schema(required)]
    pub doubt: Option<String>,
    /// The words that lie in this file; null until somebody has listened.
    #[schema(required)]
    pub text: Option<String>,
    /// The language of most of them, ISO 639-1; null where it is not known.
    #[schema(required)]
    pub language: Option<String>,
    /// Who speaks; null where that is not known.
    #[schema(required)]
    pub person: Option<Speaker>,
    /// Who speaks at the same time.
    #[schema(required)]
    pub also: Option<Person>,
    /// Whether these are all words of the moment: who puts it right writes all.
    pub whole: bool,
    /// Word by word.
    pub words: Vec<Word>,
}

/// One word as it was heard.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Word {
    /// The word as written.
    pub text: String,
    /// Where it starts in the file, ms.
    pub start_ms: i64,
    /// Where it ends in the file, ms.
    pub end_ms: i64,
    /// How sure the recogniser is, 0 to 1; 1 for what a person wrote.
    pub confidence: f32,
    /// Whether a person wrote it.
    pub by_hand: bool,
    /// What the recogniser wrote where this is a name of the glossary: all of it on
    /// the first word of the name, "" on those after it; null for other words.
    #[schema(required)]
    pub heard: Option<String>,
    /// The language it was heard in, ISO 639-1.
    #[schema(required)]
    pub language: Option<String>,
}
