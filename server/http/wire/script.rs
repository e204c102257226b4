//! Written texts, and where they were said.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::fix::whole;
use super::{EventRef, Hearing, Person, RecordingRef, SourceRef};

/// The written texts of an event.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct ScriptList {
    /// The event.
    pub event: EventRef,
    /// The oldest first, without what is in them.
    pub scripts: Vec<ScriptRef>,
}

/// A written text, as lists name it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct ScriptRef {
    /// Its id.
    pub id: String,
    /// What the crew calls it.
    pub title: String,
    /// The name of the part it stands for.
    #[schema(required)]
    pub part: Option<String>,
    /// When it came, RFC 3339.
    pub created_at: String,
    /// Raised by every change; a change says of which version it is one.
    pub version: i64,
    /// How many words it has.
    pub words: usize,
}

/// A written text: a letter, vows, a reading.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Script {
    /// Its id.
    pub id: String,
    /// The event.
    pub event: EventRef,
    /// What the crew calls it.
    pub title: String,
    /// As it was written.
    pub text: String,
    /// The name of the part it stands for.
    #[schema(required)]
    pub part: Option<String>,
    /// When it came, RFC 3339.
    pub created_at: String,
    /// Raised by every change; a change says of which version it is one.
    pub version: i64,
    /// Its sentences, as they are looked for.
    pub sentences: Vec<String>,
}

/// A written text to be kept.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct NewScript {
    /// What the crew calls it.
    #[schema(pattern = "\\S", max_length = 200)]
    pub title: String,
    /// As it was written; a sentence ends by its punctuation, a blank line, or, where a
    /// poem or vows stand in lines, by a line's end.
    #[schema(pattern = "\\S", max_length = 200_000)]
    pub text: String,
    /// The name of the part it stands for.
    #[serde(default)]
    #[schema(pattern = "\\S", max_length = 80)]
    pub part: Option<String>,
}

/// What a written text is to be.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct ScriptChange {
    /// The version that was looked at.
    #[serde(deserialize_with = "whole")]
    pub version: i64,
    /// What the crew calls it.
    #[schema(pattern = "\\S", max_length = 200)]
    pub title: String,
    /// As it was written.
    #[schema(pattern = "\\S", max_length = 200_000)]
    pub text: String,
    /// The name of the part it stands for.
    #[serde(default)]
    #[schema(pattern = "\\S", max_length = 80)]
    pub part: Option<String>,
}

/// A part to be marked by a pass.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct ScriptPart {
    /// What the crew calls it; a part of that name is moved.
    #[schema(pattern = "\\S", max_length = 80)]
    pub name: String,
    /// Which pass, from 1.
    #[serde(deserialize_with = "whole")]
    #[schema(minimum = 1, maximum = 1_000_000)]
    pub pass: i64,
    /// Whether what is said in it can't be repeated, so that two sources must have it.
    #[serde(default = "required")]
    pub required: bool,
}

fn required() -> bool {
    true
}

/// Every time a written text was read.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct ScriptPasses {
    /// The text.
    pub script: ScriptRef,
    /// The event.
    pub event: EventRef,
    /// Its sentences; all numbers of sentences count these from 0.
    pub sentences: Vec<String>,
    /// In the order of the event clock; those that are not on it last.
    pub passes: Vec<ScriptPass>,
    /// The pass that has most of the text, from 1; null where it was never read.
    #[schema(required)]
    pub most_complete: Option<usize>,
    /// How many words of the event were looked through.
    pub words_looked_at: usize,
    /// How many moments nobody has listened to yet: what is said there is not known.
    pub moments_unwritten: usize,
    /// How long it took to find them, ms.
    pub took_ms: u64,
}

/// One time a text was read, in part or as a whole.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct ScriptPass {
    /// From 1.
    pub pass: usize,
    /// Where it starts on the event clock, ms; null where it is not on it.
    #[schema(required)]
    pub start_ms: Option<i64>,
    /// Where it ends, ms.
    #[schema(required)]
    pub end_ms: Option<i64>,
    /// Who speaks most of it.
    #[schema(required)]
    pub person: Option<Person>,
    /// Share of the written words in whose place something was said, 0 to 1.
    pub completeness: f32,
    /// How well what was said agrees with what is written, over the sentences that were
    /// said, 0 to 1.
    pub agreement: f32,
    /// For each sentence of the text what became of it.
    pub sentences: Vec<PassSentence>,
    /// The numbers of the sentences that were not said, as far as can be told.
    pub left_out: Vec<usize>,
    /// What was said between sentences and is not of the text.
    pub added: Vec<PassAdded>,
    /// The source that has it best as a whole; null where nobody heard it.
    #[schema(required)]
    pub best: Option<PassSource>,
}

/// What became of a sentence in a pass.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct PassSentence {
    /// Its number, from 0.
    pub sentence: usize,
    /// Where it was said; null where that is not certain.
    #[schema(required)]
    pub said: Option<SentenceSaid>,
    /// Other times it was said or begun in the same pass.
    pub again: Vec<SentenceSaid>,
}

/// A sentence where it was said.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct SentenceSaid {
    /// Where it starts on the event clock, ms; null where it is not on it.
    #[schema(required)]
    pub start_ms: Option<i64>,
    /// Where it ends, ms.
    #[schema(required)]
    pub end_ms: Option<i64>,
    /// The ids of the moments it lies in.
    pub moments: Vec<String>,
    /// How well it agrees with what is written, 0 to 1.
    pub agreement: f32,
    /// What was heard.
    pub text: String,
    /// What became of each written word, and what was added, in order.
    pub words: Vec<SaidWords>,
    /// The hearing that has it best; null where nobody heard it whole, and for other
    /// times it was said.
    #[schema(required)]
    pub best: Option<Hearing>,
}

/// What became of some words.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct SaidWords {
    /// `kept`; `alike`: the same word written down otherwise, by sound and spelling;
    /// `changed`; `left out`; `added`.
    pub kind: String,
    /// As written; empty for what was added.
    pub written: String,
    /// As heard; empty for what was left out.
    pub said: String,
    /// How alike the two are, 0 to 1.
    pub likeness: f32,
}

/// What was said between sentences and is not of the text.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct PassAdded {
    /// The number of the sentence before it.
    pub after: usize,
    /// What was heard.
    pub text: String,
    /// The moment's id.
    pub moment: String,
    /// Where it starts on the event clock, ms; null where it is not on it.
    #[schema(required)]
    pub start_ms: Option<i64>,
    /// Where it ends, ms.
    #[schema(required)]
    pub end_ms: Option<i64>,
    /// Whether somebody else than the reader is known to say it.
    pub by_another: bool,
}

/// A source over a whole pass.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct PassSource {
    /// The recorder.
    pub source: SourceRef,
    /// Its recording that has most of it.
    pub recording: RecordingRef,
    /// Where the pass starts in that file, ms.
    pub start_ms: i64,
    /// Where it ends in that file, ms.
    pub end_ms: i64,
    /// Its verdict over most of the pass: `clean`, `usable`, `poor` or `lost`.
    pub verdict: String,
    /// What that rests on.
    pub why: Vec<String>,
    /// The place as a media fragment of the recording.
    pub play: String,
}
