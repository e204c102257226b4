//! What does one thing look like when it is read back?
//!
//! Rows, not wire types: times are numbers, paths are paths. Each field says its
//! unit in its name.

use std::fmt;
use std::path::PathBuf;
use std::str::FromStr;

use serde::{Deserialize, Serialize};
use sqlx::FromRow;

use super::{
    EventId, IntakeId, JobId, PersonId, RecordingId, SegmentId, SourceId, path_from_bytes,
};

/// Declares an enum that is kept as one lower-case word.
macro_rules! word_enum {
    ($(#[$doc:meta])* $name:ident { $($(#[$vdoc:meta])* $variant:ident = $word:literal),+ $(,)? }) => {
        $(#[$doc])*
        #[derive(
            Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, sqlx::Type,
        )]
        #[serde(rename_all = "lowercase")]
        #[sqlx(rename_all = "lowercase")]
        pub enum $name { $($(#[$vdoc])* $variant),+ }

        impl $name {
            /// All of them, in order.
            pub const ALL: &[Self] = &[$(Self::$variant),+];

            /// The word it is known by on the wire and in the database.
            #[must_use]
            pub fn as_str(self) -> &'static str {
                match self { $(Self::$variant => $word),+ }
            }
        }

        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str(self.as_str())
            }
        }

        impl FromStr for $name {
            type Err = String;
            fn from_str(text: &str) -> Result<Self, String> {
                match text {
                    $($word => Ok(Self::$variant),)+
                    other => Err(format!("'{other}' is none of {}", [$($word),+].join(", "))),
                }
            }
        }
    };
}

pub(super) use word_enum;

word_enum!(
    /// How a recorder was placed.
    Placement {
        /// On a person.
        Worn = "worn",
        /// On the output of a mixing desk or receiver.
        Feed = "feed",
        /// On a lectern or stand.
        Stand = "stand",
        /// In the room.
        Ambient = "ambient",
        /// A camera's own microphone.
        Camera = "camera",
    }
);

word_enum!(
    /// A step of the way from file to words.
    JobKind {
        /// Hash, open, decide channels. Its subject is an intake.
        Probe = "probe",
        /// Find the speech. Its subject is a recording.
        Detect = "detect",
        /// Put the recordings on one clock. Its subject is an event.
        Align = "align",
        /// Find who heard the same speech. Its subject is an event.
        Group = "group",
        /// Write down the words. Its subject is a recording.
        Transcribe = "transcribe",
        /// Find who speaks. Its subject is an event.
        Voices = "voices",
        /// Find what is meant. Its subject is an event.
        Meaning = "meaning",
    }
);

word_enum!(
    /// Where a job stands.
    JobState {
        /// Waits for a worker.
        Ready = "ready",
        /// A worker holds it.
        Running = "running",
        /// Finished; its output is written.
        Done = "done",
        /// Given up; the error says why.
        Failed = "failed",
        /// Stopped by a person.
        Cancelled = "cancelled",
    }
);

word_enum!(
    /// Where the clock of an event stands; read from its jobs.
    ClockState {
        /// Nothing has been solved and nothing is to be.
        None = "none",
        /// It will be solved when the files of the event are looked through.
        Waiting = "waiting",
        /// It is being solved.
        Working = "working",
        /// It is solved.
        Solved = "solved",
        /// It could not be solved; the error says why.
        Failed = "failed",
        /// A person stopped the solve.
        Cancelled = "cancelled",
    }
);

word_enum!(
    /// Where a recording stands; read from its jobs.
    RecordingState {
        /// No step after opening has begun.
        Waiting = "waiting",
        /// Some steps are done or running.
        Working = "working",
        /// Its words are findable.
        Ready = "ready",
        /// A step failed or was cancelled.
        Failed = "failed",
    }
);

word_enum!(
    /// Where an added path stands; read from its job.
    IntakeState {
        /// Not opened yet.
        Waiting = "waiting",
        /// Opened: its recordings exist.
        Opened = "opened",
        /// Could not be opened; the reason says why.
        Refused = "refused",
    }
);

/// An event with what it holds.
#[derive(Clone, Debug, PartialEq, FromRow)]
pub struct EventRow {
    /// Its id.
    pub id: EventId,
    /// What people call it.
    pub title: String,
    /// The day, as `2026-06-20`.
    pub date: Option<String>,
    /// Frames a second, as `25`, `30000/1001` or `30000/1001df`.
    pub frame_rate: Option<String>,
    /// When it was made, ms since 1970.
    pub created_at_ms: i64,
    /// How many names its glossary has.
    pub names: i64,
    /// The languages that may be spoken in it; none for all.
    #[sqlx(try_from = "String")]
    pub languages: Json<Vec<String>>,
    /// How many sources it has.
    pub sources: i64,
    /// How many recordings.
    pub recordings: i64,
    /// How many segments of speech, over all recordings.
    pub segments: i64,
    /// How many words, over all recordings.
    pub words: i64,
}

/// A source with its wearer.
#[derive(Clone, Debug, PartialEq, FromRow)]
pub struct SourceRow {
    /// Its id.
    pub id: SourceId,
    /// The event it belongs to.
    pub event_id: EventId,
    /// What the crew calls it.
    pub label: String,
    /// How it was placed.
    pub placement: Placement,
    /// Who wears it.
    pub wearer_id: Option<PersonId>,
    /// The wearer's name.
    pub wearer_name: Option<String>,
}

/// An added path or upload.
#[derive(Clone, Debug, PartialEq, FromRow)]
pub struct IntakeRow {
    /// Its id.
    pub id: IntakeId,
    /// The event it was added to.
    pub event_id: EventId,
    /// The source it was added to.
    pub source_id: SourceId,
    /// Label of that source.
    pub source_label: String,
    /// Placement of that source.
    pub source_placement: Placement,
    /// The path as it was added.
    #[sqlx(try_from = "Vec<u8>")]
    pub path: PathOf,
    /// Its last part, for people.
    pub name: String,
    /// The channels asked for: auto, mix, split or a number.
    pub choice: String,
    /// Where it stands.
    pub state: IntakeState,
    /// Why it was refused, or a remark.
    pub reason: Option<String>,
    /// The job that opens it.
    pub job: Option<JobId>,
    /// When it was added, ms since 1970.
    pub created_at_ms: i64,
}

/// A path kept as bytes.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PathOf(pub PathBuf);

impl From<Vec<u8>> for PathOf {
    fn from(bytes: Vec<u8>) -> Self {
        Self(path_from_bytes(bytes))
    }
}

impl std::ops::Deref for PathOf {
    type Target = std::path::Path;
    fn deref(&self) -> &Self::Target {
        &self.0
    }
}

/// Where the bytes of a recording lie, and what they looked like when opened.
#[derive(Clone, Debug, PartialEq, FromRow)]
pub struct FileRow {
    /// BLAKE3 of the content, hexadecimal.
    pub hash: String,
    /// Where it was last seen.
    #[sqlx(try_from = "Vec<u8>")]
    pub path: PathOf,
    /// Its last part, for people.
    pub name: String,
    /// Bytes.
    pub size: i64,
    /// When it was last changed, ns since 1970.
    pub mtime_ns: i64,
    /// Length, ms.
    pub duration_ms: i64,
    /// For `Content-Type`.
    pub media_type: String,
}

/// A recording with its file and its source: everything an answer needs.
#[derive(Clone, Debug, PartialEq, FromRow)]
pub struct RecordingRow {
    /// Its id.
    pub id: RecordingId,
    /// The event it belongs to.
    pub event_id: EventId,
    /// The source that made it.
    pub source_id: SourceId,
    /// Label of that source.
    pub source_label: String,
    /// Placement of that source.
    pub source_placement: Placement,
    /// BLAKE3 of the file's content, hexadecimal.
    pub file_hash: String,
    /// Where the file was last seen.
    #[sqlx(try_from = "Vec<u8>")]
    pub path: PathOf,
    /// The file's name, for people.
    pub name: String,
    /// The file's bytes.
    pub size: i64,
    /// When the file was last changed, ns since 1970.
    pub mtime_ns: i64,
    /// `wav`, `mp4`, …
    pub container: String,
    /// `pcm_s24le`, `aac`, …
    pub codec: String,
    /// For `Content-Type`.
    pub media_type: String,
    /// Samples a second in the file.
    pub rate_hz: u32,
    /// Channels in the file.
    pub file_channels: u16,
    /// Bits a sample, where the codec has such.
    pub bits: Option<u16>,
    /// Frames in the file.
    pub frames: i64,
    /// Length, ms.
    pub duration_ms: i64,
    /// What was odd about the file.
    #[sqlx(try_from = "String")]
    pub warnings: Sentences,
    /// The channel held: `mix` or a number from 1.
    pub pick: String,
    /// Why that channel, in words.
    pub channels_why: String,
    /// The take it is a piece of: the first piece's id.
    pub take_id: Option<RecordingId>,
    /// Its place in the take, from 1.
    pub take_order: Option<i64>,
    /// How many pieces the take has.
    pub take_of: Option<i64>,
    /// Segments found; `None` until looked for.
    pub segment_count: Option<i64>,
    /// Speech found, ms; `None` until looked for.
    pub speech_ms: Option<i64>,
    /// Words of the moments it hears, whoever they were heard from.
    pub word_count: i64,
    /// The model that listened to it last.
    pub model: Option<String>,
    /// Where it stands.
    pub state: RecordingState,
    /// Why it failed.
    pub error: Option<String>,
    /// When the devices say it was made; in order of kind.
    #[sqlx(skip)]
    pub stamps: Vec<StampRow>,
}

/// Sentences kept as a JSON array.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Sentences(pub Vec<String>);

impl TryFrom<String> for Sentences {
    type Error = serde_json::Error;
    fn try_from(json: String) -> Result<Self, Self::Error> {
        serde_json::from_str(&json).map(Self)
    }
}

/// A value kept as JSON.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Json<T>(pub T);

impl<T: serde::de::DeserializeOwned> TryFrom<String> for Json<T> {
    type Error = serde_json::Error;
    fn try_from(json: String) -> Result<Self, Self::Error> {
        serde_json::from_str(&json).map(Self)
    }
}

impl<T> std::ops::Deref for Json<T> {
    type Target = T;
    fn deref(&self) -> &T {
        &self.0
    }
}

/// A value kept as the one word that serde writes for it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Word<T>(pub T);

impl<T: serde::de::DeserializeOwned> TryFrom<String> for Word<T> {
    type Error = serde_json::Error;
    fn try_from(word: String) -> Result<Self, Self::Error> {
        serde_json::from_value(word.into()).map(Self)
    }
}

impl<T> std::ops::Deref for Word<T> {
    type Target = T;
    fn deref(&self) -> &T {
        &self.0
    }
}

/// When a device says a file was recorded.
#[derive(Clone, Debug, PartialEq, FromRow)]
pub struct StampRow {
    /// The file.
    pub file_hash: String,
    /// `bext`, `ixml`, `container` or `file`.
    pub kind: String,
    /// RFC 3339, without a zone where unknown.
    pub at: String,
    /// Samples since midnight.
    pub samples: Option<i64>,
    /// The rate those samples are counted in, Hz.
    pub rate_hz: Option<u32>,
    /// Frames a second as the device wrote it.
    pub frame_rate: Option<String>,
}

/// A stretch of speech in one recording.
#[derive(Clone, Debug, PartialEq, FromRow)]
pub struct SegmentRow {
    /// Its id.
    pub id: SegmentId,
    /// The recording.
    pub recording_id: RecordingId,
    /// Start in the file, ms.
    pub start_ms: i64,
    /// End in the file, ms, exclusive.
    pub end_ms: i64,
    /// Level, dB relative to full scale.
    pub level_dbfs: f32,
    /// Signal-to-noise ratio, dB.
    pub snr_db: f32,
    /// Share of samples at flat tops, 0 to 1.
    pub clipped: f32,
    /// Reverberance, as `core::signal` measures it.
    pub reverb: f32,
}

/// A job of the queue.
#[derive(Clone, Debug, PartialEq, FromRow)]
pub struct JobRow {
    /// Its id.
    pub id: JobId,
    /// The step.
    pub kind: JobKind,
    /// An intake's id for [`JobKind::Probe`], an event's for [`JobKind::Align`],
    /// [`JobKind::Group`], [`JobKind::Voices`] and [`JobKind::Meaning`], otherwise a
    /// recording's.
    pub subject: String,
    /// The event.
    pub event_id: EventId,
    /// Where it stands.
    pub state: JobState,
    /// Higher goes first.
    pub priority: i64,
    /// Failures so far.
    pub attempts: i64,
    /// Times a process died with it.
    pub interruptions: i64,
    /// Not to be tried before, ms since 1970.
    pub not_before_ms: i64,
    /// 0 to 1.
    pub progress: f64,
    /// The last error in words.
    pub error: Option<String>,
}
