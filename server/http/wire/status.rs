//! How far the work is, and whether the server is well.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// Whether the server is well.
#[derive(Clone, Debug, Serialize, Deserialize, ToSchema)]
pub struct Health {
    /// `ok`.
    pub status: String,
    /// The server's version.
    pub version: String,
    /// What is there to do.
    pub queue: QueueHealth,
    /// The speech model in use.
    pub model: ModelHealth,
}

/// What is there to do.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct QueueHealth {
    /// Steps that wait.
    pub waiting: i64,
    /// Steps at work.
    pub running: i64,
    /// Steps given up.
    pub failed: i64,
    /// Whether the queue rests.
    pub paused: bool,
}

/// The speech model in use.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct ModelHealth {
    /// Its name or file.
    pub name: String,
    /// Whether it is there.
    pub present: bool,
}

/// How far the work is.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Status {
    /// Whether the queue rests.
    pub paused: bool,
    /// Steps by state.
    pub jobs: JobCounts,
    /// Length of all recordings, ms.
    pub audio_ms_total: i64,
    /// How much of that is done, ms.
    pub audio_ms_done: i64,
    /// Speed as a multiple of real time; null before it is known.
    #[schema(required)]
    pub rate: Option<f64>,
    /// Time left at that speed, ms; null before it is known.
    #[schema(required)]
    pub time_left_ms: Option<i64>,
    /// Steps at work.
    pub running: Vec<RunningJob>,
    /// What went wrong.
    pub problems: Vec<WorkProblem>,
}

/// Steps by state.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct JobCounts {
    /// Steps that wait.
    pub waiting: i64,
    /// Steps at work.
    pub running: i64,
    /// Steps done.
    pub done: i64,
    /// Steps given up.
    pub failed: i64,
}

/// A step at work.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct RunningJob {
    /// The job's id.
    pub job: String,
    /// `probe`, `detect`, `align`, `group` or `transcribe`.
    pub step: String,
    /// The file it works on.
    pub file: String,
    /// The recorder's label.
    pub source: String,
    /// How far it is, 0 to 1.
    pub progress: f32,
}

/// Something that went wrong.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct WorkProblem {
    /// The job to retry, where a retry can help.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub job: Option<String>,
    /// The intake, where it is a file that can't be opened.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub intake: Option<String>,
    /// The file.
    pub file: String,
    /// The step that failed.
    pub step: String,
    /// Why, and what to do.
    pub reason: String,
}

/// The speech models that can be used.
#[derive(Clone, Debug, Serialize, Deserialize, ToSchema)]
pub struct ModelList {
    /// All that are known.
    pub models: Vec<Model>,
}

/// A speech model.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct Model {
    /// Its name.
    pub name: String,
    /// The languages it writes down.
    pub languages: String,
    /// Its size.
    pub bytes: u64,
    /// Whether it is there.
    pub present: bool,
}
