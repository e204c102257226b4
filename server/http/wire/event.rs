//! Events and what belongs to them.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// One shoot: a wedding, a party.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Event {
    /// The event's id.
    pub id: String,
    /// The title it was given.
    pub title: String,
    /// Its day, `YYYY-MM-DD`.
    #[schema(required)]
    pub date: Option<String>,
    /// Frames a second, whole or as a fraction such as `30000/1001`, with `df` behind it
    /// where timecode leaves labels out (drop-frame).
    #[schema(required)]
    pub frame_rate: Option<String>,
    /// When it was made, RFC 3339.
    pub created_at: String,
    /// How many names its glossary has.
    pub names: i64,
    /// The languages that may be spoken in it, ISO 639-1; none for all that the model
    /// knows.
    pub languages: Vec<String>,
    /// How much there is in it.
    pub counts: Counts,
}

/// How much there is in an event.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct Counts {
    /// Recorders, as they were placed.
    pub sources: i64,
    /// Files or channels of files.
    pub recordings: i64,
    /// Stretches of speech found.
    pub segments: i64,
    /// Words written down.
    pub words: i64,
}

/// A new event.
#[derive(Clone, Debug, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NewEvent {
    /// Its title.
    #[schema(pattern = "\\S")]
    pub title: String,
    /// Its day, `YYYY-MM-DD`.
    #[serde(default)]
    #[schema(format = Date)]
    pub date: Option<String>,
    /// Frames a second, 1 to 120: `25`, `30000/1001`, `29.97df` …
    #[serde(default)]
    #[schema(pattern = "^[0-9]+([./][0-9]+)?(n?df)?$")]
    pub frame_rate: Option<String>,
}

/// What changes of an event, one thing at least; what is left out stays.
#[derive(Clone, Debug, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct EventChange {
    /// Its title.
    #[serde(default)]
    #[schema(pattern = "\\S")]
    pub title: Option<String>,
    /// Its day, `YYYY-MM-DD`.
    #[serde(default)]
    #[schema(format = Date)]
    pub date: Option<String>,
    /// Frames a second, 1 to 120: `25`, `30000/1001`, `29.97df` …
    #[serde(default)]
    #[schema(pattern = "^[0-9]+([./][0-9]+)?(n?df)?$")]
    pub frame_rate: Option<String>,
}

/// The people, places and pets of an event.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Glossary {
    /// In order: the first matter most. At most 5,000 different ones.
    pub names: Vec<GlossaryName>,
}

/// What somebody or something is called.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(transparent)]
#[schema(value_type = String, max_length = 80)]
pub struct GlossaryName(pub String);

/// What is spoken in an event.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Languages {
    /// None for all that the model knows.
    #[schema(max_items = 100)]
    pub languages: Vec<LanguageCode>,
}

/// A language by its code of ISO 639-1 (of ISO 639-3 where it has none there).
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(transparent)]
#[schema(value_type = String, pattern = "^[a-z]{2,3}$")]
pub struct LanguageCode(pub String);

/// All events.
#[derive(Clone, Debug, Serialize, Deserialize, ToSchema)]
pub struct EventList {
    /// The newest first.
    pub events: Vec<Event>,
}

/// An event with all that belongs to it.
#[derive(Clone, Debug, Serialize, Deserialize, ToSchema)]
pub struct EventDetail {
    /// The event itself.
    #[serde(flatten)]
    pub event: Event,
    /// Its recorders.
    pub sources: Vec<Source>,
    /// Its recordings.
    pub recordings: Vec<Recording>,
    /// What was added and is not a recording yet, or cannot be one.
    pub intakes: Vec<Intake>,
}

/// One recorder as it was placed.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Source {
    /// The source's id.
    pub id: String,
    /// What the crew calls it.
    pub label: String,
    /// `worn`, `feed`, `stand`, `ambient` or `camera`.
    pub placement: String,
    /// Who wears it.
    #[schema(required)]
    pub wearer: Option<Person>,
}

/// Someone who speaks in the event.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Person {
    /// The person's id.
    pub id: String,
    /// Their name.
    pub name: String,
}

/// A source, as recordings and hearings name it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct SourceRef {
    /// The source's id.
    pub id: String,
    /// What the crew calls it.
    pub label: String,
    /// `worn`, `feed`, `stand`, `ambient` or `camera`.
    pub placement: String,
}

/// One file of a source, or one channel of it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Recording {
    /// The recording's id, made from the event, the file's content and the
    /// channel.
    pub id: String,
    /// The file's name.
    pub file: String,
    /// Where the file lies.
    pub path: String,
    /// The recorder it comes from.
    pub source: SourceRef,
    /// `mix`, or the number of the one channel this recording holds.
    pub channels: String,
    /// How that was decided.
    pub channels_why: String,
    /// `waiting`, `working`, `ready` or `failed`.
    pub state: String,
    /// Length, ms.
    pub duration_ms: i64,
    /// Samples a second.
    pub rate_hz: u32,
    /// The file's container.
    pub container: String,
    /// How its sound is coded.
    pub codec: String,
    /// What the file says of when it was made.
    pub stamps: Vec<Stamp>,
    /// Its place in a take that was split over several files.
    #[schema(required)]
    pub take: Option<Take>,
    /// What was odd about the file.
    pub warnings: Vec<String>,
    /// Why it failed.
    #[schema(required)]
    pub error: Option<String>,
    /// Speech found in it, ms.
    pub speech_ms: i64,
    /// Stretches of speech found in it.
    pub segments: i64,
}

/// What a file says of when it was made.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct Stamp {
    /// `bext`, `ixml`, `container` or `file`.
    pub kind: String,
    /// RFC 3339; without a zone where the file has none.
    pub at: String,
    /// Samples since midnight.
    #[schema(required)]
    pub samples: Option<u64>,
    /// The rate those samples are counted at, Hz.
    #[schema(required)]
    pub rate_hz: Option<u32>,
}

/// A recording's place in a take.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct Take {
    /// The take's id.
    pub id: String,
    /// Which piece this is, from 1.
    pub order: i64,
    /// How many pieces there are.
    pub of: i64,
}

/// Something that was added: a path or an upload.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Intake {
    /// The intake's id.
    pub id: String,
    /// The file's name.
    pub file: String,
    /// Where the file lies.
    pub path: String,
    /// The recorder it comes from.
    pub source: SourceRef,
    /// `waiting`, `opened` or `refused`.
    pub state: String,
    /// Why it was refused.
    #[schema(required)]
    pub reason: Option<String>,
}

/// Files and folders to take in.
#[derive(Clone, Debug, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Add {
    /// The recorder's label; without it every folder is a recorder of its own.
    #[serde(default)]
    #[schema(pattern = "\\S")]
    pub source: Option<String>,
    /// `worn`, `feed`, `stand`, `ambient` or `camera`.
    #[serde(default)]
    #[schema(pattern = "^(worn|feed|stand|ambient|camera)$")]
    pub placement: Option<String>,
    /// Who wears it.
    #[serde(default)]
    #[schema(pattern = "\\S")]
    pub person: Option<String>,
    /// `auto`, `mix`, `split`, or a channel's number from 1.
    #[serde(default)]
    #[schema(pattern = "^(auto|mix|split|[1-8])$")]
    pub channels: Option<String>,
    /// Files, and folders that are walked.
    pub paths: Vec<WirePath>,
}

/// A path: text, or its bytes where they are not UTF-8.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(untagged)]
pub enum WirePath {
    /// A path that is UTF-8, from the root.
    Text(String),
    /// Any other path.
    Bytes {
        /// The path's bytes, two hexadecimal digits each.
        bytes_hex: String,
    },
}

/// What became of the paths of one `add`.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct Added {
    /// Files that are taken in.
    pub accepted: Vec<Accepted>,
    /// Files that were here already.
    pub already: Vec<Already>,
    /// Files that cannot be taken in.
    pub refused: Vec<Refused>,
}

/// A file that is taken in.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct Accepted {
    /// The file.
    pub file: String,
    /// The intake under which it is worked on.
    pub intake: String,
}

/// A file that was here already.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct Already {
    /// The file.
    pub file: String,
    /// The (first) recording that holds it.
    pub recording: String,
}

/// A file that cannot be taken in.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct Refused {
    /// The file.
    pub file: String,
    /// Why, and what to do.
    pub reason: String,
}

/// The bytes of a file, at least one.
#[derive(Clone, Debug, ToSchema)]
#[schema(value_type = String, format = Binary, min_length = 1)]
pub struct FileBytes(pub Vec<u8>);

/// An upload that arrived whole.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct Uploaded {
    /// The intake under which it is worked on.
    pub intake: String,
}

/// What is put right of a source; what is left out stays.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct SourceChange {
    /// What the crew calls it.
    #[serde(default)]
    #[schema(pattern = "\\S")]
    pub label: Option<String>,
    /// `worn`, `feed`, `stand`, `ambient` or `camera`.
    #[serde(default)]
    #[schema(pattern = "^(worn|feed|stand|ambient|camera)$")]
    pub placement: Option<String>,
}

/// The folders that may be added from.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct RootList {
    /// In the order they were given.
    pub roots: Vec<Root>,
}

/// A folder that may be added from.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct Root {
    /// Its number, from 1.
    pub number: usize,
    /// Its name.
    pub name: String,
    /// Where it lies.
    pub path: String,
}

/// What lies in a folder.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct Folder {
    /// Its path below its root.
    pub path: String,
    /// The folders in it.
    pub folders: Vec<FolderEntry>,
    /// The recordings in it, by their names' endings.
    pub files: Vec<FolderFile>,
    /// Whether there is more in it than is told.
    pub cut_short: bool,
}

/// A folder in a folder.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct FolderEntry {
    /// Its name.
    pub name: String,
    /// Its whole path, to add it by.
    pub path: WirePath,
}

/// A recording in a folder.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct FolderFile {
    /// Its name.
    pub name: String,
    /// Its size.
    pub bytes: i64,
    /// When it was last changed, ms since 1970.
    pub modified_ms: i64,
    /// Its whole path, to add it by.
    pub path: WirePath,
}
