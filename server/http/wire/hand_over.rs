//! What of a cut list is handed over.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::fix::whole;

/// A cut list in an open format.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct CutFiles {
    /// Mostly one.
    pub files: Vec<CutFile>,
    /// Quotes that are in none of them.
    pub left_out: Vec<LeftOut>,
}

/// A file of a cut list.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct CutFile {
    /// Its name, safe on any file system.
    pub name: String,
    /// Its media type.
    pub media_type: String,
    /// All of it.
    pub text: String,
}

/// A quote that could not be handed over.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct LeftOut {
    /// Its place in the list, from 1.
    pub place: usize,
    /// Why.
    pub reason: String,
}

/// What was said in an event, in an open format.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct SaidFiles {
    /// Mostly one.
    pub files: Vec<CutFile>,
    /// How many moments are in them.
    pub moments: usize,
    /// How many moments of the event are in none because they lie on no common clock.
    pub not_on_clock: i64,
    /// Where on the event clock their clock begins, ms: 0, or earlier where something
    /// was said before that.
    pub from_ms: i64,
    /// Moments without sound to point to; `place` counts those that were asked for.
    pub left_out: Vec<LeftOut>,
}

/// A folder to be made of a cut list.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct CutFolder {
    /// Where, as a whole path of this machine; nothing may be there yet.
    pub folder: String,
    /// The lists in it: `otio`, `edl`, `vtt`, `srt`, `csv`, `markers`, `rttm`, `page`.
    #[serde(default)]
    pub formats: Vec<String>,
    /// Only these quotes, by their ids; all without any.
    #[serde(default)]
    #[schema(max_items = 2000)]
    pub quotes: Vec<String>,
    /// Sound before and after each quote, ms, as far as there is any.
    #[serde(default, deserialize_with = "whole_ms")]
    #[schema(maximum = 60_000)]
    pub handles_ms: u64,
    /// Whether the backups are pulled too.
    #[serde(default)]
    pub backups: bool,
    /// Frames a second, as `25`, `30000/1001` or `29.97df`; the event's if it is left out.
    #[serde(default)]
    pub frame_rate: Option<String>,
    /// The timecode that the cut starts at; 01:00:00:00 if it is left out.
    #[serde(default)]
    pub start: Option<String>,
    /// Whether there is an edit decision list for each recorder.
    #[serde(default)]
    pub per_source: bool,
    /// Whether each word has a marker, and not only each quote.
    #[serde(default)]
    pub word_markers: bool,
}

/// A folder that is being made or was.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct HandOver {
    /// Its id.
    pub id: String,
    /// The cut list, by its id.
    pub cut: String,
    /// Where the folder will be; nothing is there before `done`.
    pub folder: String,
    /// `waiting` for others, `running`, `done`, `failed` or `cancelled`.
    pub state: String,
    /// How many files of sound it is to have.
    pub files: usize,
    /// How many of them were looked at.
    pub looked_at: usize,
    /// What is in it; null before `done`.
    #[schema(required)]
    pub made: Option<CutFolderMade>,
    /// Why it failed; null unless it did.
    #[schema(required)]
    pub problem: Option<String>,
    /// Folders beside it that earlier attempts left half-made when they were stopped by
    /// force: nobody fills them any more, and they may be removed.
    pub left_over: Vec<String>,
}

/// The folders that were made of late, the newest first.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct HandOvers {
    /// At most the last hundred.
    pub hand_overs: Vec<HandOver>,
}

/// A folder that was made.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct CutFolderMade {
    /// How many files of sound are in it.
    pub sound: usize,
    /// The lists, by their paths in it.
    pub lists: Vec<String>,
    /// Quotes that are not in it.
    pub left_out: Vec<LeftOut>,
}

/// A number of ms, also where it is written as `250.0`.
fn whole_ms<'de, D: serde::Deserializer<'de>>(from: D) -> Result<u64, D::Error> {
    let ms: i64 = whole(from)?;
    u64::try_from(ms).map_err(|_| serde::de::Error::custom("handles are no less than 0 ms"))
}
