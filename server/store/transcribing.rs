//! How far is the writing down of a recording, and what is written?
//!
//! Words are written window by window. The job's `cursor` counts the windows
//! that are in the database, and moves in the transaction that writes their
//! words: after a kill the next run goes on with the first window that is not
//! there, and no word can be there twice.

use serde_json::json;

use super::statement::statements;
use super::{JobKind, Lease, RecordingRow, SegmentId, Store, StoreError, queue};

/// A word as the model heard it, in file time.
#[derive(Clone, Debug)]
pub struct NewWord {
    /// The segment it belongs to.
    pub segment: SegmentId,
    /// As it is shown; no white space.
    pub text: String,
    /// Start in the file, ms.
    pub start_ms: i64,
    /// End in the file, ms, exclusive.
    pub end_ms: i64,
    /// How sure the model is, 0 to 1.
    pub confidence: f32,
}

/// What one window of sound gave.
#[derive(Clone, Debug)]
pub struct WindowCommit<'a> {
    /// The recording.
    pub recording: &'a RecordingRow,
    /// The window's number from 0; it must be the first that is not written yet.
    pub window: i64,
    /// Every segment the window holds sound of, also those without a word.
    pub segments: &'a [SegmentId],
    /// The words, in order.
    pub words: &'a [NewWord],
}

statements! {
    CURSOR = "SELECT j.cursor, j.windows IS ?3 AND r.model IS ?4 AS same
        FROM job j JOIN recording r ON r.id = j.subject
        WHERE j.id = ?1 AND j.lease_owner = ?2 AND j.state = 'running'";
    FORGET_WORDS = "DELETE FROM word WHERE segment_id IN
        (SELECT id FROM segment WHERE recording_id = ?1)";
    FORGET_TEXT = "UPDATE segment SET text = NULL WHERE recording_id = ?1 AND text IS NOT NULL";
    BEGIN = "UPDATE job SET windows = ?2, cursor = 0, progress = 0, begun = 0 WHERE id = ?1";
    BEGIN_MODEL = "UPDATE recording SET model = ?2, word_count = 0 WHERE id = ?1";
    /// A finished window is progress: the counts that lead to giving up start anew.
    ADVANCE = "UPDATE job SET cursor = ?3 + 1, progress = (?3 + 1.0) / max(windows, 1),
            attempts = 0, interruptions = 0, error = NULL
        WHERE id = ?1 AND lease_owner = ?2 AND state = 'running' AND cursor = ?3";
    /// Words go behind those an earlier window gave the same segment.
    WORDS = "INSERT INTO word (segment_id, n, text, start_ms, end_ms, confidence)
        SELECT value ->> 0,
            (SELECT count(*) FROM word w WHERE w.segment_id = value ->> 0) + (value ->> 1),
            value ->> 2, value ->> 3, value ->> 4, CAST(value ->> 5 AS REAL)
        FROM json_each(?1)";
    TEXTS = "UPDATE segment SET text = coalesce(
            (SELECT group_concat(text, ' ' ORDER BY n) FROM word WHERE segment_id = segment.id), '')
        WHERE id IN (SELECT value FROM json_each(?1))";
    /// What no window holds, such as a segment that overlaps another, has no words.
    SILENT = "UPDATE segment SET text = '' WHERE recording_id = ?1 AND text IS NULL";
    COUNT = "UPDATE recording SET word_count = word_count + ?2 WHERE id = ?1";
    UNINDEX = "DELETE FROM segment_fts WHERE rowid IN
        (SELECT id FROM segment WHERE recording_id = ?1)";
    INDEX = "INSERT INTO segment_fts (rowid, normal)
        SELECT value ->> 0, value ->> 1 FROM json_each(?1)";
}

impl Store {
    /// Begins or goes on with a transcription of `windows` windows by `model`;
    /// returns the first window to work on. Words by another model, or from
    /// another cutting into windows, are dropped first.
    ///
    /// # Errors
    /// [`StoreError::LeaseLost`]; [`StoreError::DiskFull`].
    pub async fn begin_transcript(
        &self,
        lease: &Lease,
        recording: &RecordingRow,
        model: &str,
        windows: i64,
    ) -> Result<i64, StoreError> {
        let mut transaction = self.begin().await?;
        let (cursor, same): (i64, bool) = sqlx::query_as(self.sql(CURSOR))
            .bind(lease.job)
            .bind(&lease.owner)
            .bind(windows)
            .bind(model)
            .fetch_optional(&mut *transaction)
            .await?
            .ok_or(StoreError::LeaseLost(lease.job))?;
        if same {
            return Ok(cursor);
        }
        for statement in [FORGET_WORDS, FORGET_TEXT] {
            sqlx::query(self.sql(statement))
                .bind(&recording.id)
                .execute(&mut *transaction)
                .await?;
        }
        sqlx::query(self.sql(BEGIN))
            .bind(lease.job)
            .bind(windows)
            .execute(&mut *transaction)
            .await?;
        sqlx::query(self.sql(BEGIN_MODEL))
            .bind(&recording.id)
            .bind(model)
            .execute(&mut *transaction)
            .await?;
        transaction.commit().await?;
        Ok(0)
    }

    /// Writes the words of one window and that it is finished, as one.
    ///
    /// # Errors
    /// [`StoreError::LeaseLost`], also when the window is written already;
    /// [`StoreError::DiskFull`].
    pub async fn commit_window(
        &self,
        lease: &Lease,
        commit: &WindowCommit<'_>,
    ) -> Result<(), StoreError> {
        let mut transaction = self.begin().await?;
        let advanced = sqlx::query(self.sql(ADVANCE))
            .bind(lease.job)
            .bind(&lease.owner)
            .bind(commit.window)
            .execute(&mut *transaction)
            .await?;
        queue::held(lease, advanced.rows_affected())?;
        sqlx::query(self.sql(WORDS))
            .bind(words_json(commit.words))
            .execute(&mut *transaction)
            .await?;
        let segments: Vec<i64> = commit.segments.iter().map(|id| id.0).collect();
        sqlx::query(self.sql(TEXTS))
            .bind(json!(segments).to_string())
            .execute(&mut *transaction)
            .await?;
        sqlx::query(self.sql(COUNT))
            .bind(&commit.recording.id)
            .bind(i64::try_from(commit.words.len()).unwrap_or(i64::MAX))
            .execute(&mut *transaction)
            .await?;
        transaction.commit().await?;
        Ok(())
    }

    /// Writes that all windows are done and queues `index`.
    ///
    /// # Errors
    /// [`StoreError::LeaseLost`]; [`StoreError::DiskFull`].
    pub async fn finish_transcript(
        &self,
        lease: &Lease,
        recording: &RecordingRow,
        now_ms: i64,
    ) -> Result<(), StoreError> {
        let mut transaction = self.begin().await?;
        self.complete(&mut transaction, lease, None, now_ms).await?;
        sqlx::query(self.sql(SILENT))
            .bind(&recording.id)
            .execute(&mut *transaction)
            .await?;
        let next = queue::NewJob {
            kind: JobKind::Index,
            subject: recording.id.as_str(),
            event: &recording.event_id,
            audio_ms: recording.speech_ms,
            after: Some(lease),
        };
        self.queue_job(&mut transaction, next).await?;
        transaction.commit().await?;
        Ok(())
    }

    /// Makes the segments of a recording findable by the normal forms of their
    /// words (one token a word, joined by single spaces), in place of what was
    /// there before, and writes that `index` is done, as one.
    ///
    /// # Errors
    /// [`StoreError::LeaseLost`]; [`StoreError::DiskFull`].
    pub async fn finish_index(
        &self,
        lease: &Lease,
        recording: &RecordingRow,
        normals: &[(SegmentId, String)],
        now_ms: i64,
    ) -> Result<(), StoreError> {
        let rows: Vec<_> = normals
            .iter()
            .map(|(id, normal)| json!([id.0, normal]))
            .collect();
        let mut transaction = self.begin().await?;
        self.complete(&mut transaction, lease, None, now_ms).await?;
        sqlx::query(self.sql(UNINDEX))
            .bind(&recording.id)
            .execute(&mut *transaction)
            .await?;
        sqlx::query(self.sql(INDEX))
            .bind(json!(rows).to_string())
            .execute(&mut *transaction)
            .await?;
        transaction.commit().await?;
        Ok(())
    }
}

/// Rows of `[segment, place among the new words of that segment, …]`. Times out
/// of order and confidences out of range, which a model may give, are set right.
fn words_json(words: &[NewWord]) -> String {
    let mut places = std::collections::HashMap::new();
    let rows: Vec<_> = words
        .iter()
        .map(|word| {
            let place = places.entry(word.segment).or_insert(0_i64);
            let n = *place;
            *place += 1;
            let start_ms = word.start_ms.max(0);
            let sure = if word.confidence.is_finite() {
                word.confidence
            } else {
                0.0
            };
            json!([
                word.segment.0,
                n,
                word.text,
                start_ms,
                word.end_ms.max(start_ms),
                sure.clamp(0.0, 1.0)
            ])
        })
        .collect();
    json!(rows).to_string()
}
