//! Where recordings lie on the clock of their event.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::{EventRef, RecordingRef, SourceRef};

/// The clock of an event.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Clock {
    /// The event.
    pub event: EventRef,
    /// `none`, `waiting` (until its files are looked through), `working`, `solved`,
    /// `failed` or `cancelled`.
    pub state: String,
    /// The job that solves it, to be cancelled or retried.
    #[schema(required)]
    pub job: Option<String>,
    /// Why it failed.
    #[schema(required)]
    pub error: Option<String>,
    /// When it was last solved, RFC 3339.
    #[schema(required)]
    pub solved_at: Option<String>,
    /// From the first to the last sound on the event clock, ms.
    pub length_ms: i64,
    /// Every recording of the event: by source, then by start.
    pub recordings: Vec<ClockRecording>,
    /// What was found for each two recordings.
    pub pairs: Vec<ClockPair>,
    /// What was odd about the event as a whole.
    pub warnings: Vec<String>,
}

/// Where one recording lies.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct ClockRecording {
    /// The recording.
    pub recording: RecordingRef,
    /// The recorder it comes from.
    pub source: SourceRef,
    /// Where its first sample lies on the event clock, ms; null where it is not on
    /// it.
    #[schema(required)]
    pub start_ms: Option<i64>,
    /// Where it ends on the event clock, ms.
    #[schema(required)]
    pub end_ms: Option<i64>,
    /// `start_ms` with three decimals.
    #[schema(required)]
    pub start_exact_ms: Option<f64>,
    /// How much faster its clock runs than the event clock, ppm.
    #[schema(required)]
    pub rate_ppm: Option<f64>,
    /// How its place was found: `sound`, `joined`, `stamp`, `by hand` or
    /// `unplaced`.
    pub how: String,
    /// 95 % of where any instant of it might be, ms, beside the sound's way to the
    /// microphone; null where nothing is known about it.
    #[schema(required)]
    pub uncertainty_ms: Option<f64>,
    /// Share of the measured points that agree, 0 to 1.
    #[schema(required)]
    pub agreement: Option<f64>,
    /// Spread of the points that agree, ms.
    #[schema(required)]
    pub residual_ms: Option<f64>,
    /// Points measured.
    pub points: i64,
    /// Whose clock it lies on: 0 is the event clock; recordings with one number
    /// from 1 share sound among themselves only; null before it was ever solved.
    #[schema(required)]
    pub island: Option<i64>,
    /// Stretches in which its clock runs evenly, in order, on the clock of its
    /// island.
    pub pieces: Vec<ClockPiece>,
    /// What a person said about its place.
    #[schema(required)]
    pub fix: Option<ClockFix>,
    /// What was odd about it.
    pub warnings: Vec<String>,
}

/// A stretch in which a recorder's clock runs evenly, up to the next.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct ClockPiece {
    /// Where it starts in the file, ms.
    pub from_ms: f64,
    /// Where that is on the clock of its island, ms.
    pub start_ms: f64,
    /// How much faster the recorder's clock runs, ppm.
    pub rate_ppm: f64,
}

/// What a person says about the place of a recording: when it starts, or an
/// instant of it that is the same as an instant of another recording.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ClockFix {
    /// Where its first sample lies on the event clock, ms; by itself.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub start_ms: Option<f64>,
    /// An instant of its file, ms; together with `same_as`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub file_ms: Option<f64>,
    /// The same instant in another recording.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub same_as: Option<SameInstant>,
}

/// An instant of a recording.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct SameInstant {
    /// The recording's id.
    pub recording: String,
    /// The instant in its file, ms.
    pub file_ms: f64,
}

/// What was found for two recordings.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct ClockPair {
    /// One.
    pub a: RecordingRef,
    /// The other.
    pub b: RecordingRef,
    /// `shared` sound, `nothing` shared, or a `tie`: several places fit as well.
    pub finding: String,
    /// Where b starts, ms after the start of a, by the longest stretch they share.
    #[schema(required)]
    pub offset_ms: Option<f64>,
    /// How much faster the clock of b runs than that of a, ppm.
    #[schema(required)]
    pub rate_ppm: Option<f64>,
    /// Spread of the points that agree, ms.
    #[schema(required)]
    pub residual_ms: Option<f64>,
    /// 95 % of `offset_ms`, ms.
    #[schema(required)]
    pub uncertainty_ms: Option<f64>,
    /// Share of the points that agree, 0 to 1.
    #[schema(required)]
    pub agreement: Option<f64>,
    /// Points measured.
    pub points: u32,
    /// How long they share sound, ms.
    pub overlap_ms: i64,
    /// Whether the last solve agreed with it.
    pub used: bool,
}

/// What to solve.
#[derive(Clone, Copy, Debug, Default, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Solve {
    /// From scratch: places (except those a person fixed), what pairs share and all
    /// words are forgotten, and the event clock begins at the first sound.
    #[serde(default)]
    pub anew: bool,
}
