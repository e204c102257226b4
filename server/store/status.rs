//! How far is the work, and what went wrong?

use sqlx::FromRow;

use super::recordings::is_ready;
use super::statement::statements;
use super::{EventId, IntakeId, JobId, JobKind, Store, StoreError};

/// Jobs by state.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, FromRow)]
pub struct QueueCounts {
    /// Waiting for a worker.
    pub waiting: i64,
    /// Held by a worker.
    pub running: i64,
    /// Finished.
    pub done: i64,
    /// Given up.
    pub failed: i64,
    /// Stopped by a person.
    pub cancelled: i64,
}

/// A job that somebody works on.
#[derive(Clone, Debug, PartialEq, FromRow)]
pub struct RunningRow {
    /// The job.
    pub id: JobId,
    /// The step.
    pub kind: JobKind,
    /// The file's name, or the title of the event whose step it is.
    pub name: String,
    /// Label of the source; empty for a step of a whole event.
    pub source_label: String,
    /// 0 to 1 within the step.
    pub progress: f64,
}

/// Something a person should know about.
#[derive(Clone, Debug, PartialEq, FromRow)]
pub struct Problem {
    /// The job it happened in.
    pub id: JobId,
    /// The step.
    pub kind: JobKind,
    /// The added path or upload, where it is that which can't be opened.
    pub intake: Option<IntakeId>,
    /// The file's name, or the title of the event whose step it is.
    pub name: String,
    /// Whether it will be tried again without anybody asking.
    pub tried_again: bool,
    /// What went wrong and what to do.
    pub reason: String,
}

/// One step's work: what is left and how fast it went lately.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct StepRate {
    /// The step.
    pub kind: JobKind,
    /// Sound left in its queued jobs, ms (`transcribe`: of speech).
    pub left_ms: f64,
    /// Sound worked through lately, by its latest finished jobs and those at
    /// work, ms.
    pub recent_audio_ms: f64,
    /// Time that took, ms.
    pub recent_wall_ms: f64,
}

/// Everything about the queue, of one event or of all.
#[derive(Clone, Debug, PartialEq)]
pub struct StatusRow {
    /// Whether the queue is paused.
    pub paused: bool,
    /// Jobs by state.
    pub jobs: QueueCounts,
    /// Sound in all recordings that did not fail, ms.
    pub audio_ms_total: i64,
    /// Of it, the sound whose words are written, ms.
    pub audio_ms_done: i64,
    /// Sound looked through for speech, ms.
    pub detected_ms: i64,
    /// Speech found in it, ms.
    pub speech_ms: i64,
    /// Of it, the speech whose moments were found, ms: every recorder's.
    pub grouped_ms: i64,
    /// The speech of these moments, each counted once, ms.
    pub distinct_ms: i64,
    /// Recordings that did not fail.
    pub recordings: i64,
    /// Files that wait to be opened: nobody knows how long they are.
    pub unopened: i64,
    /// `detect` and `transcribe`, which take nearly all of the time.
    pub steps: Vec<StepRate>,
    /// What is being worked on.
    pub running: Vec<RunningRow>,
    /// What went wrong, newest first, at most 1000.
    pub problems: Vec<Problem>,
}

/// What there is to do, all at one instant.
#[derive(Clone, Copy, Debug, PartialEq, Eq, FromRow)]
pub struct ToDo {
    /// Somebody works on something.
    pub running: bool,
    /// A light job waits, perhaps for its next attempt; not for words.
    pub light: bool,
    /// A job for the model waits.
    pub model: bool,
    /// Takes are to be worked out.
    pub takes: bool,
    /// The queue is paused.
    pub paused: bool,
}

#[derive(FromRow)]
struct Sums {
    total: i64,
    done: i64,
    detected: i64,
    speech: i64,
    grouped: i64,
    distinct_speech: i64,
    recordings: i64,
}

/// Rates are taken over so many of the latest jobs of a step: enough to even out
/// short files, few enough to follow a change of model or machine.
const RECENT: i64 = 20;

/// The steps whose time is worth telling; the others take a moment a file.
const SLOW: [JobKind; 2] = [JobKind::Detect, JobKind::Transcribe];

/// A job that waits for words, which may wait for their model.
macro_rules! behind_words {
    () => {
        "(kind IN ('voices', 'meaning') AND EXISTS (SELECT 1 FROM job o WHERE o.event_id = job.event_id
            AND o.kind = 'transcribe' AND o.state IN ('ready', 'running')))"
    };
}

statements! {
    COUNTS = "SELECT coalesce(sum(state = 'ready'), 0) AS waiting,
            coalesce(sum(state = 'running'), 0) AS running,
            coalesce(sum(state = 'done'), 0) AS done,
            coalesce(sum(state = 'failed'), 0) AS failed,
            coalesce(sum(state = 'cancelled'), 0) AS cancelled
        FROM job WHERE ?1 IS NULL OR event_id = ?1";
    /// One statement, so that no job can pass from one place to another between
    /// two looks.
    TO_DO = concat!("SELECT EXISTS (SELECT 1 FROM job WHERE state = 'running') AS running,
            EXISTS (SELECT 1 FROM job INDEXED BY job_ready
                WHERE lane = 'light' AND state = 'ready' AND NOT ", behind_words!(), ") AS light,
            EXISTS (SELECT 1 FROM job INDEXED BY job_ready
                WHERE lane = 'model' AND state = 'ready') AS model,
            EXISTS (SELECT 1 FROM source WHERE takes_stale = 1) AS takes,
            EXISTS (SELECT 1 FROM setting WHERE name = 'paused' AND value = '1') AS paused");
    /// What a recording hears may be written down from another: its moments count.
    SUMS = concat!("SELECT coalesce(sum(f.duration_ms), 0) AS total,
            coalesce(sum(CASE WHEN ", is_ready!(), " THEN f.duration_ms
                ELSE CAST(f.duration_ms * coalesce((SELECT avg(m.text IS NOT NULL)
                    FROM hearing h JOIN moment m ON m.id = h.moment_id
                    WHERE h.recording_id = r.id AND h.heard = 1), 0) AS INTEGER)
                END), 0) AS done,
            coalesce(sum(CASE WHEN r.speech_ms IS NOT NULL THEN f.duration_ms END), 0) AS detected,
            coalesce(sum(r.speech_ms), 0) AS speech,
            coalesce(sum(CASE WHEN r.grouped THEN r.speech_ms END), 0) AS grouped,
            coalesce((SELECT sum(m.end_ms - m.start_ms) FROM moment m
                WHERE ?1 IS NULL OR m.event_id = ?1), 0) AS distinct_speech,
            count(*) AS recordings
        FROM recording r JOIN file f ON f.hash = r.file_hash
        WHERE (?1 IS NULL OR r.event_id = ?1) AND NOT EXISTS (
            SELECT 1 FROM job x WHERE x.subject = r.id AND x.state IN ('failed', 'cancelled'))");
    UNOPENED = "SELECT count(*) FROM job
        WHERE kind = 'probe' AND state IN ('ready', 'running') AND (?1 IS NULL OR event_id = ?1)";
    LEFT = "SELECT coalesce(sum(coalesce(audio_ms, 0) * (1.0 - progress)), 0.0) FROM job
        WHERE kind = ?2 AND state IN ('ready', 'running') AND (?1 IS NULL OR event_id = ?1)";
    /// What was done since the last claim, and in what time: of the latest finished
    /// jobs, and of those at work.
    RATE = "SELECT coalesce(sum(audio_ms), 0.0) + 0.0, coalesce(sum(wall_ms), 0.0) + 0.0 FROM (
            SELECT * FROM (
                SELECT audio_ms * (1.0 - begun) AS audio_ms, finished_ms - started_ms AS wall_ms
                FROM job WHERE kind = ?1 AND state = 'done' AND audio_ms IS NOT NULL
                ORDER BY finished_ms DESC LIMIT ?2)
            UNION ALL
            SELECT audio_ms * (progress - begun), ?3 - started_ms FROM job
            WHERE kind = ?1 AND state = 'running' AND audio_ms IS NOT NULL AND progress > begun)";
    RUNNING = "SELECT j.id, j.kind, coalesce(i.name, f.name, e.title) AS name,
            coalesce(s.label, '') AS source_label, j.progress
        FROM job j JOIN event e ON e.id = j.event_id
            LEFT JOIN intake i ON j.kind = 'probe' AND i.id = j.subject
            LEFT JOIN recording r ON j.kind <> 'probe' AND r.id = j.subject
            LEFT JOIN file f ON f.hash = r.file_hash
            LEFT JOIN source s ON s.id = coalesce(i.source_id, r.source_id)
        WHERE j.state = 'running' AND (?1 IS NULL OR j.event_id = ?1) ORDER BY j.id";
    PROBLEMS = "SELECT j.id, j.kind, i.id AS intake, coalesce(i.name, f.name, e.title) AS name,
            j.state = 'ready' AS tried_again, j.error AS reason
        FROM job j JOIN event e ON e.id = j.event_id
            LEFT JOIN intake i ON j.kind = 'probe' AND i.id = j.subject
            LEFT JOIN recording r ON j.kind <> 'probe' AND r.id = j.subject
            LEFT JOIN file f ON f.hash = r.file_hash
        WHERE j.error IS NOT NULL AND j.state IN ('ready', 'failed')
            AND (?1 IS NULL OR j.event_id = ?1)
        ORDER BY j.finished_ms DESC, j.id LIMIT 1000";
}

impl Store {
    /// Jobs by state, of one event or of all.
    ///
    /// # Errors
    /// When the database can't be read.
    pub async fn queue_counts(&self, event: Option<&EventId>) -> Result<QueueCounts, StoreError> {
        Ok(sqlx::query_as(self.sql(COUNTS))
            .bind(event)
            .fetch_one(&self.read)
            .await?)
    }

    /// What there is to do in the whole data folder.
    ///
    /// # Errors
    /// When the database can't be read.
    pub async fn to_do(&self) -> Result<ToDo, StoreError> {
        Ok(sqlx::query_as(self.sql(TO_DO))
            .fetch_one(&self.read)
            .await?)
    }

    /// How far the work is at `now_ms`, of one event or of all.
    ///
    /// # Errors
    /// When the database can't be read.
    pub async fn status(
        &self,
        event: Option<&EventId>,
        now_ms: i64,
    ) -> Result<StatusRow, StoreError> {
        let jobs = self.queue_counts(event).await?;
        let sums: Sums = sqlx::query_as(self.sql(SUMS))
            .bind(event)
            .fetch_one(&self.read)
            .await?;
        let unopened: i64 = sqlx::query_scalar(self.sql(UNOPENED))
            .bind(event)
            .fetch_one(&self.read)
            .await?;
        let mut steps = Vec::new();
        for kind in SLOW {
            steps.push(self.step_rate(event, kind, now_ms).await?);
        }
        Ok(StatusRow {
            paused: self.paused().await?,
            jobs,
            audio_ms_total: sums.total,
            audio_ms_done: sums.done,
            detected_ms: sums.detected,
            speech_ms: sums.speech,
            grouped_ms: sums.grouped,
            distinct_ms: sums.distinct_speech,
            recordings: sums.recordings,
            unopened,
            steps,
            running: sqlx::query_as(self.sql(RUNNING))
                .bind(event)
                .fetch_all(&self.read)
                .await?,
            problems: sqlx::query_as(self.sql(PROBLEMS))
                .bind(event)
                .fetch_all(&self.read)
                .await?,
        })
    }

    async fn step_rate(
        &self,
        event: Option<&EventId>,
        kind: JobKind,
        now_ms: i64,
    ) -> Result<StepRate, StoreError> {
        let left_ms: f64 = sqlx::query_scalar(self.sql(LEFT))
            .bind(event)
            .bind(kind)
            .fetch_one(&self.read)
            .await?;
        let (recent_audio_ms, recent_wall_ms): (f64, f64) = sqlx::query_as(self.sql(RATE))
            .bind(kind)
            .bind(RECENT)
            .bind(now_ms)
            .fetch_one(&self.read)
            .await?;
        Ok(StepRate {
            kind,
            left_ms,
            recent_audio_ms,
            recent_wall_ms,
        })
    }
}
