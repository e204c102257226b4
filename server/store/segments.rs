//! What was found and heard in a recording?

use std::collections::HashMap;

use serde_json::json;

use super::statement::statements;
use super::{
    JobKind, Lease, RecordingId, RecordingRow, SegmentId, SegmentRow, SegmentWordRow, Store,
    StoreError, queue,
};

/// A stretch of speech as the detector found it.
#[derive(Clone, Copy, Debug)]
pub struct NewSegment {
    /// Start in the file, ms.
    pub start_ms: i64,
    /// End in the file, ms, exclusive.
    pub end_ms: i64,
    /// Level, dB relative to full scale.
    pub level_dbfs: f32,
    /// Signal-to-noise ratio, dB.
    pub snr_db: f32,
}

/// A segment with its words.
#[derive(Clone, Debug, PartialEq)]
pub struct Transcript {
    /// The segment.
    pub segment: SegmentRow,
    /// Its words in order; empty until transcribed.
    pub words: Vec<SegmentWordRow>,
}

statements! {
    INSERT = "INSERT INTO segment (recording_id, start_ms, end_ms, level_dbfs, snr_db)
        SELECT ?1, value ->> 0, value ->> 1, CAST(value ->> 2 AS REAL), CAST(value ->> 3 AS REAL)
        FROM json_each(?2)";
    DETECTED = "UPDATE recording SET segment_count = ?2, speech_ms = ?3 WHERE id = ?1";
    WARN = "UPDATE file SET warnings = (SELECT json_group_array(value) FROM (
            SELECT value, MIN(place) FROM (
                SELECT value, key AS place FROM json_each(file.warnings)
                UNION ALL SELECT value, 1000000 + key FROM json_each(?2))
            GROUP BY value ORDER BY MIN(place)))
        WHERE hash = (SELECT file_hash FROM recording WHERE id = ?1)";
    LIST = "SELECT id, recording_id, start_ms, end_ms, level_dbfs, snr_db, text
        FROM segment WHERE recording_id = ?1 ORDER BY start_ms";
    OF_IDS = "SELECT id, recording_id, start_ms, end_ms, level_dbfs, snr_db, text
        FROM segment WHERE id IN (SELECT value FROM json_each(?1))";
    WORDS = "SELECT w.segment_id, w.n, w.text, w.start_ms, w.end_ms, w.confidence
        FROM segment s JOIN word w ON w.segment_id = s.id
        WHERE s.recording_id = ?1 ORDER BY s.start_ms, w.n";
    WORDS_OF_IDS = "SELECT w.segment_id, w.n, w.text, w.start_ms, w.end_ms, w.confidence
        FROM json_each(?1) i JOIN word w ON w.segment_id = i.value ORDER BY w.segment_id, w.n";
}

impl Store {
    /// Writes the segments of a recording and that `detect` is done, as one, and
    /// queues what comes next: `transcribe`, or `index` where nobody speaks.
    /// Warnings are added to the file's, each kept once.
    ///
    /// # Errors
    /// [`StoreError::LeaseLost`]; [`StoreError::DiskFull`].
    pub async fn finish_detect(
        &self,
        lease: &Lease,
        recording: &RecordingRow,
        segments: &[NewSegment],
        warnings: &[String],
        now_ms: i64,
    ) -> Result<(), StoreError> {
        let speech_ms: i64 = segments.iter().map(|s| s.end_ms - s.start_ms).sum();
        let rows: Vec<_> = segments
            .iter()
            .map(|s| json!([s.start_ms, s.end_ms, finite(s.level_dbfs), finite(s.snr_db)]))
            .collect();
        let mut transaction = self.begin().await?;
        self.complete(&mut transaction, lease, None, now_ms).await?;
        sqlx::query(self.sql(INSERT))
            .bind(&recording.id)
            .bind(json!(rows).to_string())
            .execute(&mut *transaction)
            .await?;
        sqlx::query(self.sql(DETECTED))
            .bind(&recording.id)
            .bind(i64::try_from(segments.len()).unwrap_or(i64::MAX))
            .bind(speech_ms)
            .execute(&mut *transaction)
            .await?;
        sqlx::query(self.sql(WARN))
            .bind(&recording.id)
            .bind(json!(warnings).to_string())
            .execute(&mut *transaction)
            .await?;
        let next = queue::NewJob {
            kind: if segments.is_empty() {
                JobKind::Index
            } else {
                JobKind::Transcribe
            },
            subject: recording.id.as_str(),
            event: &recording.event_id,
            audio_ms: Some(speech_ms),
            after: Some(lease),
        };
        self.queue_job(&mut transaction, next).await?;
        transaction.commit().await?;
        Ok(())
    }

    /// The segments of a recording in order.
    ///
    /// # Errors
    /// When the database can't be read.
    pub async fn segments(&self, recording: &RecordingId) -> Result<Vec<SegmentRow>, StoreError> {
        Ok(sqlx::query_as(self.sql(LIST))
            .bind(recording)
            .fetch_all(&self.read)
            .await?)
    }

    /// The segments of a recording in order, with their words.
    ///
    /// # Errors
    /// When the database can't be read.
    pub async fn transcript(&self, recording: &RecordingId) -> Result<Vec<Transcript>, StoreError> {
        let segments = self.segments(recording).await?;
        let words: Vec<SegmentWordRow> = sqlx::query_as(self.sql(WORDS))
            .bind(recording)
            .fetch_all(&self.read)
            .await?;
        let mut words = words.into_iter().peekable();
        Ok(segments
            .into_iter()
            .map(|segment| {
                let mut own = Vec::new();
                while let Some(word) = words.next_if(|word| word.segment_id == segment.id) {
                    own.push(word);
                }
                Transcript {
                    segment,
                    words: own,
                }
            })
            .collect())
    }

    /// Segments with their words, in the order of `ids`; an id that names nothing
    /// is left out.
    pub(super) async fn transcripts_by_ids(
        &self,
        ids: &[SegmentId],
    ) -> Result<Vec<Transcript>, StoreError> {
        let list = json!(ids.iter().map(|id| id.0).collect::<Vec<_>>()).to_string();
        let mut segments: Vec<SegmentRow> = sqlx::query_as(self.sql(OF_IDS))
            .bind(&list)
            .fetch_all(&self.read)
            .await?;
        let words: Vec<SegmentWordRow> = sqlx::query_as(self.sql(WORDS_OF_IDS))
            .bind(&list)
            .fetch_all(&self.read)
            .await?;
        let places: HashMap<SegmentId, usize> = ids.iter().copied().zip(0..).collect();
        segments.sort_by_key(|segment| places.get(&segment.id).copied());
        Ok(segments
            .into_iter()
            .map(|segment| {
                let from = words.partition_point(|word| word.segment_id < segment.id);
                let own = words[from..]
                    .iter()
                    .take_while(|word| word.segment_id == segment.id);
                Transcript {
                    words: own.cloned().collect(),
                    segment,
                }
            })
            .collect())
    }
}

/// A number SQLite can keep: 'not a number' would become NULL.
fn finite(value: f32) -> f32 {
    if value.is_finite() {
        value
    } else {
        sayback_core::units::SILENCE_DBFS
    }
}
