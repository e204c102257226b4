//! Rows of the store as they travel, and refusals of the rooms as problems.

use std::io;
use std::path::PathBuf;

use axum::http::StatusCode;

use super::problem::Problem;
use super::wire;
use crate::jobs::{AddReport, JobsError, Status};
use crate::store::{
    self, EventRow, IntakeRow, RecordingRow, RunningRow, SourceRow, StampRow, StoreError,
};

/// Now, ms since 1970.
pub fn now_ms() -> i64 {
    jiff::Timestamp::now().as_millisecond()
}

/// A time since 1970 as RFC 3339.
pub fn rfc3339(ms: i64) -> String {
    jiff::Timestamp::from_millisecond(ms)
        .unwrap_or(jiff::Timestamp::UNIX_EPOCH)
        .to_string()
}

impl From<EventRow> for wire::Event {
    fn from(row: EventRow) -> Self {
        Self {
            id: row.id.0,
            title: row.title,
            date: row.date,
            frame_rate: row.frame_rate,
            created_at: rfc3339(row.created_at_ms),
            names: row.names,
            languages: row.languages.0,
            counts: wire::Counts {
                sources: row.sources,
                recordings: row.recordings,
                segments: row.segments,
                words: row.words,
            },
        }
    }
}

impl From<SourceRow> for wire::Source {
    fn from(row: SourceRow) -> Self {
        Self {
            id: row.id.0,
            label: row.label,
            placement: row.placement.to_string(),
            wearer: row
                .wearer_id
                .zip(row.wearer_name)
                .map(|(id, name)| wire::Person { id: id.0, name }),
        }
    }
}

/// The source of a recording, as answers name it.
pub fn source_of(row: &RecordingRow) -> wire::SourceRef {
    wire::SourceRef {
        id: row.source_id.0.clone(),
        label: row.source_label.clone(),
        placement: row.source_placement.to_string(),
    }
}

/// A recording, as answers name it.
pub fn reference(row: &RecordingRow) -> wire::RecordingRef {
    wire::RecordingRef {
        id: row.id.0.clone(),
        file: row.name.clone(),
    }
}

impl From<RecordingRow> for wire::Recording {
    fn from(row: RecordingRow) -> Self {
        let take = match (&row.take_id, row.take_order, row.take_of) {
            (Some(id), Some(order), Some(of)) => Some(wire::Take {
                id: id.0.clone(),
                order,
                of,
            }),
            _ => None,
        };
        Self {
            source: source_of(&row),
            id: row.id.0,
            file: row.name,
            path: row.path.to_string_lossy().into_owned(),
            channels: row.pick,
            channels_why: row.channels_why,
            state: row.state.to_string(),
            duration_ms: row.duration_ms,
            rate_hz: row.rate_hz,
            container: row.container,
            codec: row.codec,
            stamps: row.stamps.into_iter().map(Into::into).collect(),
            take,
            warnings: row.warnings.0,
            error: row.error,
            speech_ms: row.speech_ms.unwrap_or(0),
            segments: row.segment_count.unwrap_or(0),
        }
    }
}

impl From<StampRow> for wire::Stamp {
    fn from(row: StampRow) -> Self {
        Self {
            kind: row.kind,
            at: row.at,
            samples: row.samples.and_then(|n| u64::try_from(n).ok()),
            rate_hz: row.rate_hz,
        }
    }
}

impl From<IntakeRow> for wire::Intake {
    fn from(row: IntakeRow) -> Self {
        Self {
            id: row.id.0,
            file: row.name,
            path: row.path.to_string_lossy().into_owned(),
            source: wire::SourceRef {
                id: row.source_id.0,
                label: row.source_label,
                placement: row.source_placement.to_string(),
            },
            state: row.state.to_string(),
            reason: row.reason,
        }
    }
}

impl From<store::WordRow> for wire::Word {
    fn from(row: store::WordRow) -> Self {
        Self {
            text: row.text,
            start_ms: row.start_ms,
            end_ms: row.end_ms,
            confidence: row.confidence,
            by_hand: row.by_hand,
            heard: row.heard,
            language: row.language,
        }
    }
}

impl From<StoreError> for Problem {
    fn from(error: StoreError) -> Self {
        let told = error.to_string();
        match error {
            StoreError::Unknown { what, id } => Self::missing(what, &id),
            StoreError::Ambiguous { ids, .. } => Self::of(
                StatusCode::CONFLICT,
                "ambiguous",
                "Several things have that name",
                told,
            )
            .with("ids", ids),
            StoreError::Outdated { version, .. } => Self::of(
                StatusCode::CONFLICT,
                "changed-meanwhile",
                "Somebody was quicker",
                told,
            )
            .with("version", version),
            StoreError::Exists { .. } => Self::new(StatusCode::CONFLICT, told),
            StoreError::Invalid { .. } => Self::of(
                StatusCode::UNPROCESSABLE_ENTITY,
                "bad-value",
                "A value is not usable",
                told,
            ),
            StoreError::Unfit { field, .. } => Self::field(field, told),
            StoreError::JobState { .. } => Self::new(StatusCode::CONFLICT, told),
            StoreError::DiskFull => Self::disk_full(told),
            StoreError::Busy => Self::new(StatusCode::SERVICE_UNAVAILABLE, told),
            _ => Self::internal(told),
        }
    }
}

impl From<JobsError> for Problem {
    fn from(error: JobsError) -> Self {
        match error {
            JobsError::Store(error) => error.into(),
            JobsError::UploadName { .. } => Self::field("file_name", error.to_string()),
            JobsError::Root { .. } => Self::new(StatusCode::CONFLICT, error.to_string()),
            JobsError::Upload { cause, .. } if cause.kind() == io::ErrorKind::StorageFull => {
                Self::disk_full("the disk filled up while the file was put in its place")
            }
            other => Self::internal(other),
        }
    }
}

impl From<AddReport> for wire::Added {
    fn from(report: AddReport) -> Self {
        let shown = |path: PathBuf| path.to_string_lossy().into_owned();
        let accepted = report.accepted.into_iter().map(|accepted| wire::Accepted {
            file: shown(accepted.file),
            intake: accepted.intake.0,
        });
        let already = report.already.into_iter().map(|already| wire::Already {
            file: shown(already.file),
            recording: already.recording.0,
        });
        let refused = report.refused.into_iter().map(|refused| wire::Refused {
            file: shown(refused.file),
            reason: refused.reason,
        });
        Self {
            accepted: accepted.collect(),
            already: already.collect(),
            refused: refused.collect(),
        }
    }
}

impl From<Status> for wire::Status {
    fn from(status: Status) -> Self {
        let row = status.row;
        // What keeps all work waiting comes first; it is no file's fault.
        let troubles = status.troubles.into_iter().map(|reason| wire::WorkProblem {
            job: None,
            intake: None,
            file: String::new(),
            step: String::new(),
            reason,
        });
        let problems = troubles.chain(row.problems.into_iter().map(Into::into));
        Self {
            paused: row.paused,
            jobs: wire::JobCounts {
                waiting: row.jobs.waiting,
                running: row.jobs.running,
                done: row.jobs.done,
                failed: row.jobs.failed,
            },
            audio_ms_total: row.audio_ms_total,
            audio_ms_done: row.audio_ms_done,
            rate: status.rate,
            time_left_ms: status.time_left_ms,
            running: row.running.into_iter().map(Into::into).collect(),
            problems: problems.collect(),
        }
    }
}

impl From<RunningRow> for wire::RunningJob {
    fn from(row: RunningRow) -> Self {
        Self {
            job: row.id.to_string(),
            step: row.kind.to_string(),
            file: row.name,
            source: row.source_label,
            progress: row.progress as f32,
        }
    }
}

impl From<store::Problem> for wire::WorkProblem {
    fn from(row: store::Problem) -> Self {
        Self {
            job: (!row.tried_again).then(|| row.id.to_string()),
            intake: row.intake.map(|id| id.to_string()),
            file: row.name,
            step: row.kind.to_string(),
            reason: row.reason,
        }
    }
}
