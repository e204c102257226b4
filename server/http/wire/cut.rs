//! Cut lists: words that somebody picked, in an order.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::fix::{whole, whole_or_none};
use super::{EventRef, Matched, RecordingRef, SourceRef};

/// The cut lists of an event.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct CutLists {
    /// The event.
    pub event: EventRef,
    /// The oldest first, without their quotes.
    pub cuts: Vec<CutRef>,
}

/// A cut list, as lists name it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct CutRef {
    /// Its id.
    pub id: String,
    /// What it is called, one of a name an event.
    pub name: String,
    /// What is written about it.
    pub note: String,
    /// Raised by every change to it or a quote of it; a change says of which version it
    /// is one.
    pub version: i64,
    /// How many quotes it has.
    pub quotes: i64,
    /// When it was made, RFC 3339.
    pub created_at: String,
    /// When it was changed last, RFC 3339.
    pub changed_at: String,
}

/// A cut list with its quotes, as everything lies now.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Cut {
    /// The list.
    pub cut: CutRef,
    /// The event.
    pub event: EventRef,
    /// Frames a second of the event; null where it has none.
    #[schema(required)]
    pub frame_rate: Option<String>,
    /// How long all quotes are together, ms.
    pub length_ms: i64,
    /// In order; those that were asked for, with what was asked for.
    pub quotes: Vec<Quote>,
}

/// What became of a cut list.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct CutChanged {
    /// The list.
    pub cut: CutRef,
    /// How long all quotes are together, ms.
    pub length_ms: i64,
    /// The quotes that the change was about and that are there; all that stand after
    /// them may have another place.
    pub quotes: Vec<Quote>,
}

/// Words that somebody picked, with every hearing of them.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Quote {
    /// Its id.
    pub id: String,
    /// Its place in the list, from 1.
    pub place: usize,
    /// The words as they were when they were picked; empty where none stood.
    pub text: String,
    /// The words that stand there now; null where none do.
    #[schema(required)]
    pub text_now: Option<String>,
    /// Who spoke, by the name of when it was picked.
    #[schema(required)]
    pub person: Option<String>,
    /// The moments it is of now, in order of time.
    pub moments: Vec<String>,
    /// Whose clock it lies on: 0 is the event clock; null where nothing is placed.
    #[schema(required)]
    pub island: Option<i64>,
    /// Where it begins on the event clock, ms; null where it is not on it.
    #[schema(required)]
    pub start_ms: Option<i64>,
    /// Where it ends on the event clock, ms.
    #[schema(required)]
    pub end_ms: Option<i64>,
    /// Where it begins in the cut, ms: after all quotes before it.
    pub at_ms: i64,
    /// How long it is, ms.
    pub length_ms: i64,
    /// How much later than the picked words it begins.
    #[serde(rename = "in")]
    pub begin: Nudge,
    /// How much later than the picked words it ends.
    #[serde(rename = "out")]
    pub end: Nudge,
    /// The words that sound in it, at their times in the cut.
    pub words: Vec<CutWord>,
    /// The recording somebody chose, by its id; null for the best.
    #[schema(required)]
    pub hearing: Option<String>,
    /// The hearing to be used; null where no recording has any of it.
    #[schema(required)]
    pub chosen: Option<QuoteHearing>,
    /// The others at the same instant, the best first.
    pub backups: Vec<QuoteHearing>,
    /// So many of `backups` are wanted; null for all.
    #[schema(required)]
    pub backups_wanted: Option<i64>,
    /// What is written about it.
    pub note: String,
    /// What is wrong with it.
    pub problems: Vec<QuoteProblem>,
}

/// How much later something is: the sum of both.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(default)]
pub struct Nudge {
    /// Milliseconds.
    #[serde(deserialize_with = "whole")]
    #[schema(minimum = -86_400_000, maximum = 86_400_000)]
    pub ms: i64,
    /// Frames of the event's rate.
    #[serde(deserialize_with = "whole")]
    #[schema(minimum = -10_368_000, maximum = 10_368_000)]
    pub frames: i64,
}

/// A word of a quote.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct CutWord {
    /// As it is shown.
    pub text: String,
    /// Where it starts in the quote, ms from where that begins; before 0 where it is cut.
    pub start_ms: i64,
    /// Where it ends in the quote, ms.
    pub end_ms: i64,
    /// How sure the model is, 0 to 1.
    pub confidence: f32,
}

/// What one recording has of a quote.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct QuoteHearing {
    /// The recorder.
    pub source: SourceRef,
    /// The recording.
    pub recording: RecordingRef,
    /// Where the quote starts in that file, ms.
    pub start_ms: i64,
    /// Where it ends in that file, ms.
    pub end_ms: i64,
    /// Whether the file has all of it; else it has what lies from `start_ms` to `end_ms`.
    pub covers: bool,
    /// How much later than the quote begins what the file has of it, ms; 0 where it has
    /// its beginning.
    pub late_ms: i64,
    /// Time of day of its start, where the recorder wrote one.
    #[schema(required)]
    pub timecode: Option<String>,
    /// 1 is the best.
    pub rank: usize,
    /// Whether it is above the recording's own noise there; null where no speech was found.
    #[schema(required)]
    pub heard: Option<bool>,
    /// `clean`, `usable`, `poor` or `lost`; null where no speech was found.
    #[schema(required)]
    pub verdict: Option<String>,
    /// What rank and verdict rest on.
    pub why: Vec<String>,
    /// How far its times may be off beside those of the picked words, ms; null where that
    /// is not known.
    #[schema(required)]
    pub off_ms: Option<f64>,
    /// Whether its file is where it was and as long as it was.
    pub online: bool,
    /// The sound: a W3C media fragment.
    pub play: String,
}

/// Something wrong with a quote.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct QuoteProblem {
    /// `words gone`, `words changed`, `recording removed`, `hearing removed`, `no hearing`,
    /// `out of the file`, `offline`, `not placed`.
    pub kind: String,
    /// What it means, in words.
    pub detail: String,
}

/// A new cut list.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct NewCut {
    /// What it is called, one of a name an event.
    #[schema(pattern = "\\S", max_length = 200)]
    pub name: String,
    /// What is written about it.
    #[serde(default)]
    #[schema(max_length = 10_000)]
    pub note: String,
}

/// What changes of a cut list; what is left out stays.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct CutChange {
    /// The version that was looked at.
    #[serde(deserialize_with = "whole")]
    pub version: i64,
    /// What it is called.
    #[serde(default)]
    #[schema(pattern = "\\S", max_length = 200)]
    pub name: Option<String>,
    /// What is written about it.
    #[serde(default)]
    #[schema(max_length = 10_000)]
    pub note: Option<String>,
}

/// Quotes to be put into a cut list.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct NewQuotes {
    /// The version of the list that was looked at.
    #[serde(deserialize_with = "whole")]
    pub version: i64,
    /// The place of the first, from 1; the end if it is left out.
    #[serde(default, deserialize_with = "whole_or_none")]
    #[schema(minimum = 1)]
    pub place: Option<i64>,
    /// In order.
    #[schema(min_items = 1, max_items = 2000)]
    pub quotes: Vec<NewQuote>,
}

/// What is picked, in one of three ways: words of a moment (all of them, those from `from`
/// to `to`, or `matched` and `runs_over` as a search tells them); a stretch of a
/// recording's file (`recording`, `start_ms`, `end_ms`); a stretch of the event clock
/// (`start_ms`, `end_ms`).
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(default)]
pub struct NewQuote {
    /// A moment's id.
    pub moment: Option<String>,
    /// Its first word, from 0.
    #[serde(deserialize_with = "whole_or_none")]
    #[schema(minimum = 0)]
    pub from: Option<i64>,
    /// One past its last word.
    #[serde(deserialize_with = "whole_or_none")]
    #[schema(minimum = 1)]
    pub to: Option<i64>,
    /// Which words of a hit's `text` match: from the first of these to the last.
    #[schema(max_items = 1000)]
    pub matched: Vec<Matched>,
    /// The other moments of a hit.
    #[schema(max_items = 100)]
    pub runs_over: Vec<String>,
    /// A recording's id.
    pub recording: Option<String>,
    /// Where it begins in that file, or else on the event clock, ms.
    #[serde(deserialize_with = "whole_or_none")]
    pub start_ms: Option<i64>,
    /// Where it ends there, ms, exclusive.
    #[serde(deserialize_with = "whole_or_none")]
    pub end_ms: Option<i64>,
    /// The recording to be heard; the best if it is left out.
    pub hearing: Option<String>,
    /// So many backups are wanted; all if it is left out.
    #[serde(deserialize_with = "whole_or_none")]
    #[schema(minimum = 0, maximum = 100)]
    pub backups_wanted: Option<i64>,
    /// What is written about it.
    #[schema(max_length = 10_000)]
    pub note: String,
}

/// What changes of a quote; what is left out stays.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct QuoteChange {
    /// The version of the list that was looked at.
    #[serde(deserialize_with = "whole")]
    pub version: i64,
    /// How much later than the picked words it begins.
    #[serde(default, rename = "in")]
    pub begin: Option<Nudge>,
    /// How much later than the picked words it ends.
    #[serde(default, rename = "out")]
    pub end: Option<Nudge>,
    /// Where it begins on the event clock, ms; instead of `in`.
    #[serde(default, deserialize_with = "whole_or_none")]
    pub start_ms: Option<i64>,
    /// Where it ends on the event clock, ms; instead of `out`.
    #[serde(default, deserialize_with = "whole_or_none")]
    pub end_ms: Option<i64>,
    /// The recording to be heard; null for the best.
    #[serde(default, deserialize_with = "said")]
    #[schema(value_type = Option<String>)]
    pub hearing: Option<Option<String>>,
    /// So many backups are wanted; null for all.
    #[serde(default, deserialize_with = "said_whole")]
    #[schema(value_type = Option<i64>, minimum = 0, maximum = 100)]
    pub backups_wanted: Option<Option<i64>>,
    /// What is written about it.
    #[serde(default)]
    #[schema(max_length = 10_000)]
    pub note: Option<String>,
}

/// How much later a quote begins and ends than it does.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct QuoteNudge {
    /// The version of the list that was looked at.
    #[serde(deserialize_with = "whole")]
    pub version: i64,
    /// How much later it begins.
    #[serde(default, rename = "in")]
    pub begin: Nudge,
    /// How much later it ends.
    #[serde(default, rename = "out")]
    pub end: Nudge,
}

/// Where a quote is to stand.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct QuotePlace {
    /// The version of the list that was looked at.
    #[serde(deserialize_with = "whole")]
    pub version: i64,
    /// Its place, from 1.
    #[serde(deserialize_with = "whole")]
    #[schema(minimum = 1)]
    pub place: i64,
}

/// The order of all quotes of a list.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct CutOrder {
    /// The version of the list that was looked at.
    #[serde(deserialize_with = "whole")]
    pub version: i64,
    /// The ids of all its quotes.
    #[schema(max_items = 2000)]
    pub quotes: Vec<String>,
}

/// The versions of a cut list that are kept.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct CutVersions {
    /// The list as it stands.
    pub cut: CutRef,
    /// The newest first; the one that stands only if it has a name.
    pub versions: Vec<CutVersion>,
}

/// A cut list as it was.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct CutVersion {
    /// Its number.
    pub version: i64,
    /// What somebody called it, by which it is kept for good; null where it was kept by
    /// itself.
    #[schema(required)]
    pub name: Option<String>,
    /// What was about to be done to it: `add`, `change`, `drop`, `keep`, `move`, `name`,
    /// `nudge` or `restore`.
    pub before: String,
    /// When, RFC 3339.
    pub at: String,
    /// How many quotes it has.
    pub quotes: i64,
}

/// A name for the version of a list that stands.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct NewCutVersion {
    /// The version that was looked at.
    #[serde(deserialize_with = "whole")]
    pub version: i64,
    /// What to call it.
    #[schema(pattern = "\\S", max_length = 200)]
    pub name: String,
}

/// A version to go back to.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct CutRestore {
    /// The version that was looked at.
    #[serde(deserialize_with = "whole")]
    pub version: i64,
    /// The version to go back to; the last one before this if it is left out.
    #[serde(default, deserialize_with = "whole_or_none")]
    pub to: Option<i64>,
}

/// Tells null from what is left out.
fn said<'de, D: serde::Deserializer<'de>>(from: D) -> Result<Option<Option<String>>, D::Error> {
    Option::deserialize(from).map(Some)
}

fn said_whole<'de, D: serde::Deserializer<'de>>(from: D) -> Result<Option<Option<i64>>, D::Error> {
    whole_or_none(from).map(Some)
}
