//! What of a cut list is handed over.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

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

/// A folder to be made of a cut list.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct CutFolder {
    /// Where, as a whole path of this machine; nothing may be there yet.
    pub folder: String,
    /// The lists in it: `otio`, `edl`, `vtt`, `srt`, `csv`, `markers`, `rttm`, `page`.
    #[serde(default)]
    pub formats: Vec<String>,
    /// Sound before and after each quote, ms, as far as there is any.
    #[serde(default)]
    #[schema(maximum = 60_000)]
    pub handles_ms: u64,
    /// Whether the backups are pulled too.
    #[serde(default)]
    pub backups: bool,
    /// Frames a second, as `25`, `30000/1001` or `29.97df`; the event's if it is left out.
    pub frame_rate: Option<String>,
    /// The timecode that the cut starts at; 01:00:00:00 if it is left out.
    pub start: Option<String>,
    /// Whether there is an edit decision list for each recorder.
    #[serde(default)]
    pub per_source: bool,
    /// Whether each word has a marker, and not only each quote.
    #[serde(default)]
    pub word_markers: bool,
}

/// A folder that was made.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct CutFolderMade {
    /// Where it is.
    pub folder: String,
    /// How many files of sound are in it.
    pub sound: usize,
    /// The lists, by their paths in it.
    pub lists: Vec<String>,
    /// Quotes that are not in it.
    pub left_out: Vec<LeftOut>,
}
