//! The parts of an event, and what of them has a backup.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::{EventRef, RecordingRef, SourceRef};

/// The parts of an event.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Parts {
    /// In the order given; they may overlap, and what is said belongs to the shortest
    /// around it.
    #[schema(max_items = 200)]
    pub parts: Vec<Part>,
}

/// A named stretch of an event.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Part {
    /// What the crew calls it: letters, vows, toasts.
    #[schema(pattern = "\\S", max_length = 80)]
    pub name: String,
    /// Where it starts on the event clock, ms.
    #[schema(minimum = -31_622_400_000_i64, maximum = 31_622_400_000_i64)]
    pub start_ms: i64,
    /// Where it ends, ms, exclusive; later than it starts.
    #[schema(minimum = -31_622_400_000_i64, maximum = 31_622_400_000_i64)]
    pub end_ms: i64,
    /// Whether what is said in it can't be repeated, so that two sources must have it.
    #[serde(default = "required")]
    pub required: bool,
}

fn required() -> bool {
    true
}

/// What of an event has a backup: two sources that have it clean or usable.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Coverage {
    /// The event.
    pub event: EventRef,
    /// Whether everything that was added was listened through and placed; until then
    /// more may have a backup than is told here.
    pub finished: bool,
    /// Files that could not be opened or listened through, and count for nothing.
    pub failed: i64,
    /// Whether it is finished and every part that is marked as required has a backup.
    pub backed_up: bool,
    /// Part by part, in the order given.
    pub parts: Vec<CoveredPart>,
    /// What is said outside of all parts.
    pub elsewhere: CoveredPart,
    /// Recordings that do not lie on the event clock: what they heard counts for
    /// nothing here.
    pub off_clock: Vec<OffClock>,
}

/// How well the speech of a part is backed up.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct CoveredPart {
    /// What it is called; null for what lies in no part.
    #[schema(required)]
    pub name: Option<String>,
    /// Whether it is marked as required.
    pub required: bool,
    /// Where it starts on the event clock, ms; null for what lies in no part.
    #[schema(required)]
    pub start_ms: Option<i64>,
    /// Where it ends, ms.
    #[schema(required)]
    pub end_ms: Option<i64>,
    /// Moments in it.
    pub moments: usize,
    /// Speech in it, ms.
    pub speech_ms: i64,
    /// Of it, what no source has clean or usable, ms.
    pub none_ms: i64,
    /// What one source has, ms.
    pub one_ms: i64,
    /// What two or more have, ms.
    pub more_ms: i64,
    /// Whether all of it has a backup; a part in which nothing was heard has none.
    pub backed_up: bool,
    /// What has none, in order of time.
    pub gaps: Vec<CoverageGap>,
}

/// A stretch of speech that one source has clean or usable, or none.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct CoverageGap {
    /// Where it starts on the event clock, ms.
    pub start_ms: i64,
    /// Where it ends, ms.
    pub end_ms: i64,
    /// The moments in it.
    pub moments: Vec<String>,
    /// Its first words, as far as they are written down.
    pub text: String,
    /// The one source that has it; null where none has.
    #[schema(required)]
    pub only: Option<SourceRef>,
    /// Who else was there, the best first, and why that is no backup; of the longest
    /// of its moments.
    pub others: Vec<NoBackup>,
}

/// A recorder that has a stretch, but not well enough.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct NoBackup {
    /// The recorder.
    pub source: SourceRef,
    /// `poor` or `lost`.
    pub verdict: String,
    /// What that rests on.
    pub why: Vec<String>,
}

/// A recording that does not lie on the event clock.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct OffClock {
    /// The recording.
    pub recording: RecordingRef,
    /// The recorder.
    pub source: SourceRef,
    /// Speech in it, ms.
    pub speech_ms: i64,
}
