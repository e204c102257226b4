//! The search answer: the same from the command line and over the network.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::{Person, SourceRef};

/// What was found.
#[derive(Clone, Debug, Serialize, Deserialize, ToSchema)]
pub struct SearchAnswer {
    /// The query as it was asked.
    pub query: String,
    /// How long the search took, ms.
    pub took_ms: u64,
    /// How many hits there are in all; `hits` holds one page of them.
    pub total: usize,
    /// Whether there are more than were counted.
    pub more: bool,
    /// The best first.
    pub hits: Vec<Hit>,
    /// What means the like, if that was asked for.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub by_meaning: Option<ByMeaning>,
    /// All hits counted, if that was asked for.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub facets: Option<Facets>,
}

/// What means the like of a question, whatever its words.
#[derive(Clone, Debug, Serialize, Deserialize, ToSchema)]
pub struct ByMeaning {
    /// Whether the model of meaning is on the shelf.
    pub model: bool,
    /// The likest first; their `match` is `meaning`, their `score` the likeness.
    pub hits: Vec<Hit>,
}

/// Hits counted by what they have in common, those with most first.
#[derive(Clone, Debug, Default, Serialize, Deserialize, ToSchema)]
pub struct Facets {
    /// By event.
    pub events: Vec<Count>,
    /// By part of their event.
    pub parts: Vec<Count>,
    /// By who speaks.
    pub people: Vec<Count>,
    /// By source that heard them.
    pub sources: Vec<Count>,
    /// By how such a source is placed.
    pub placements: Vec<Count>,
    /// By language.
    pub languages: Vec<Count>,
    /// By how they match.
    pub matches: Vec<Count>,
    /// Those that two sources have clean or usable.
    pub backed_up: usize,
    /// Those that no two have.
    pub not_backed_up: usize,
}

/// So many hits have this in common.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct Count {
    /// An id where there is one, else the name.
    pub id: String,
    /// What it is called.
    pub name: String,
    /// How a source is placed.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub placement: Option<String>,
    /// How many hits.
    pub hits: usize,
}

/// Words that begin as was typed.
#[derive(Clone, Debug, Serialize, Deserialize, ToSchema)]
pub struct Suggestions {
    /// Those of most moments first.
    pub words: Vec<Suggestion>,
}

/// A word that was said.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct Suggestion {
    /// In normal form: small letters without accents.
    pub word: String,
    /// In how many moments.
    pub moments: i64,
}

/// How the search index of an event is beside its words.
#[derive(Clone, Debug, Serialize, Deserialize, ToSchema)]
pub struct IndexState {
    /// Moments with words.
    pub moments: usize,
    /// Those that the index has otherwise, or lacks: none when all is well.
    pub wrong: Vec<String>,
}

/// Searches under a name.
#[derive(Clone, Debug, Serialize, Deserialize, ToSchema)]
pub struct SavedSearches {
    /// By name.
    pub searches: Vec<SavedSearch>,
}

/// A search under a name.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct SavedSearch {
    /// Its id.
    pub id: String,
    /// What it is called.
    pub name: String,
    /// Its parameters, as the address of a search has them.
    pub asked: String,
    /// When it was saved, RFC 3339.
    pub created_at: String,
}

/// A stretch of speech whose words match, with every hearing of it.
#[derive(Clone, Debug, Serialize, Deserialize, ToSchema)]
pub struct Hit {
    /// The moment's id.
    pub moment: String,
    /// The moment's version.
    pub version: i64,
    /// Moments before and after it that have the rest of the words.
    pub runs_over: Vec<String>,
    /// The event it belongs to.
    pub event: EventRef,
    /// The part of the event.
    #[schema(required)]
    pub part: Option<String>,
    /// The words that were spoken, of all moments that have some of those asked for.
    pub text: String,
    /// The language of most of them, ISO 639-1; null where it is not known.
    #[schema(required)]
    pub language: Option<String>,
    /// Which words of `text` match.
    pub matched: Vec<Matched>,
    /// `exact`, `close`, `sounds alike`; `meaning` among what was found by meaning.
    #[serde(rename = "match")]
    pub kind: String,
    /// How well it matches, 0 to 1.
    pub score: f32,
    /// Whether it is too little alike to be told as found.
    pub guess: bool,
    /// Who spoke; null where that is not known.
    #[schema(required)]
    pub person: Option<Speaker>,
    /// Who spoke at the same time.
    #[schema(required)]
    pub also: Option<Person>,
    /// Where the matched words start on the event clock, ms; null where no
    /// recording that heard them is on it.
    #[schema(required)]
    pub start_ms: Option<i64>,
    /// Where the matched words end on the event clock, ms.
    #[schema(required)]
    pub end_ms: Option<i64>,
    /// Why the words should not be trusted as they are.
    #[schema(required)]
    pub doubt: Option<String>,
    /// The recordings that heard it, the best first.
    pub heard_on: Vec<Hearing>,
    /// The recorders that ran but did not hear it.
    pub not_heard_on: Vec<NotHeard>,
}

/// An event, as hits name it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct EventRef {
    /// The event's id.
    pub id: String,
    /// Its title.
    pub title: String,
}

/// Words of a text, counted from 0.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct Matched {
    /// The first word.
    pub from: usize,
    /// One past the last word.
    pub to: usize,
}

/// Who spoke, and how sure that is.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Speaker {
    /// The person's id.
    pub id: String,
    /// Their name.
    pub name: String,
    /// 0 to 1.
    pub certainty: f32,
    /// What that rests on, in a few words.
    pub why: String,
}

/// One source's copy of a moment.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Hearing {
    /// The recorder.
    pub source: SourceRef,
    /// The recording.
    pub recording: RecordingRef,
    /// Where the matched words start in that file, ms.
    pub start_ms: i64,
    /// Where the matched words end in that file, ms.
    pub end_ms: i64,
    /// The same place as time of day by the recorder, at the event's frame
    /// rate.
    #[schema(required)]
    pub timecode: Option<String>,
    /// 1 is the best.
    pub rank: u32,
    /// `clean`, `usable`, `poor` or `lost`.
    pub verdict: String,
    /// What that rests on.
    pub why: Vec<String>,
    /// The place as a media fragment of the recording.
    pub play: String,
}

/// A recorder that ran but did not hear a moment above its own noise.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct NotHeard {
    /// The recorder.
    pub source: SourceRef,
    /// The recording.
    pub recording: RecordingRef,
    /// What that rests on.
    pub why: Vec<String>,
}

/// A recording, as hearings name it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct RecordingRef {
    /// The recording's id.
    pub id: String,
    /// The file's name.
    pub file: String,
}
