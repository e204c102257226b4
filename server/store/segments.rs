//! What was found in a recording by listening through it?

use sayback_core::signal::peaks::Peaks;
use serde_json::json;
use sqlx::FromRow;

use super::peaks::Drawing;
use super::statement::statements;
use super::{
    EventId, JobKind, Lease, NewJob, PathOf, RecordingId, RecordingRow, SegmentRow, Store,
    StoreError,
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
    /// Share of samples at flat tops, 0 to 1.
    pub clipped: f32,
    /// Reverberance, as `core::signal` measures it.
    pub reverb: f32,
}

/// The output of the detect step.
#[derive(Clone, Copy, Debug)]
pub struct Detected<'a> {
    /// The recording.
    pub recording: &'a RecordingRow,
    /// Its speech, in order.
    pub segments: &'a [NewSegment],
    /// Its band levels, as `core::clock::Track` writes them.
    pub track: &'a [u8],
    /// Its levels at its own rate, as `core::quality::Track` writes them.
    pub quality: &'a [u8],
    /// What it looks like.
    pub peaks: &'a Peaks,
    /// What reading the whole file found wrong with it.
    pub warnings: &'a [String],
}

/// A recording of which this version measures more than is known.
#[derive(Clone, Debug, PartialEq, FromRow)]
pub struct Unmeasured {
    /// The recording.
    pub id: RecordingId,
    /// Its event.
    pub event_id: EventId,
    /// Where its file was last seen.
    #[sqlx(try_from = "Vec<u8>")]
    pub path: PathOf,
}

statements! {
    FORGET = "DELETE FROM segment WHERE recording_id = ?1";
    INSERT = "INSERT INTO segment (recording_id, start_ms, end_ms, level_dbfs, snr_db, clipped,
            reverb)
        SELECT ?1, value ->> 0, value ->> 1, CAST(value ->> 2 AS REAL), CAST(value ->> 3 AS REAL),
            CAST(value ->> 4 AS REAL), CAST(value ->> 5 AS REAL)
        FROM json_each(?2)";
    DETECTED = "UPDATE recording SET segment_count = ?2, speech_ms = ?3, grouped = 0
        WHERE id = ?1";
    SET_TRACK = "INSERT INTO track (recording_id, body, quality) VALUES (?1, ?2, ?3)
        ON CONFLICT (recording_id) DO UPDATE
            SET body = excluded.body, quality = excluded.quality";
    QUALITY = "SELECT quality FROM track WHERE recording_id = ?1";
    TRACK = "SELECT body FROM track WHERE recording_id = ?1";
    /// An earlier version listened through it, or measured less.
    UNMEASURED = "SELECT r.id, r.event_id, f.path FROM track t
        JOIN recording r ON r.id = t.recording_id JOIN file f ON f.hash = r.file_hash
        JOIN job j ON j.kind = 'detect' AND j.subject = r.id AND j.state = 'done'
        WHERE t.quality IS NULL
            OR NOT EXISTS (SELECT 1 FROM waveform w WHERE w.recording_id = t.recording_id)
        ORDER BY r.id";
    WARN = "UPDATE file SET warnings = (SELECT json_group_array(value) FROM (
            SELECT value, MIN(place) FROM (
                SELECT value, key AS place FROM json_each(file.warnings)
                UNION ALL SELECT value, 1000000 + key FROM json_each(?2))
            GROUP BY value ORDER BY MIN(place)))
        WHERE hash = (SELECT file_hash FROM recording WHERE id = ?1)";
    LIST = "SELECT id, recording_id, start_ms, end_ms, level_dbfs, snr_db, clipped, reverb
        FROM segment WHERE recording_id = ?1 ORDER BY start_ms";
    OF_EVENT = "SELECT s.id, s.recording_id, s.start_ms, s.end_ms, s.level_dbfs, s.snr_db,
            s.clipped, s.reverb
        FROM recording r JOIN segment s ON s.recording_id = r.id
        WHERE r.event_id = ?1 ORDER BY s.recording_id, s.start_ms";
}

impl Store {
    /// Writes what was found in a recording, in place of what was found before,
    /// and that `detect` is done, as one, and has its event aligned. Warnings are
    /// added to the file's, each kept once.
    ///
    /// # Errors
    /// [`StoreError::LeaseLost`]; [`StoreError::DiskFull`].
    pub async fn finish_detect(
        &self,
        lease: &Lease,
        detected: &Detected<'_>,
        now_ms: i64,
    ) -> Result<(), StoreError> {
        let Detected {
            recording,
            segments,
            ..
        } = detected;
        let speech_ms: i64 = segments.iter().map(|s| s.end_ms - s.start_ms).sum();
        let row = |s: &NewSegment| {
            let (level, snr) = (finite(s.level_dbfs), finite(s.snr_db));
            let (clipped, reverb) = (or_zero(s.clipped), or_zero(s.reverb));
            json!([s.start_ms, s.end_ms, level, snr, clipped, reverb])
        };
        let rows: Vec<_> = segments.iter().map(row).collect();
        let drawing = Drawing::of(detected.peaks);
        let mut transaction = self.begin().await?;
        self.complete(&mut transaction, lease, None, now_ms).await?;
        sqlx::query(self.sql(FORGET))
            .bind(&recording.id)
            .execute(&mut *transaction)
            .await?;
        sqlx::query(self.sql(INSERT))
            .bind(&recording.id)
            .bind(json!(rows).to_string())
            .execute(&mut *transaction)
            .await?;
        sqlx::query(self.sql(SET_TRACK))
            .bind(&recording.id)
            .bind(detected.track)
            .bind(detected.quality)
            .execute(&mut *transaction)
            .await?;
        self.draw(&mut transaction, &recording.id, drawing).await?;
        sqlx::query(self.sql(DETECTED))
            .bind(&recording.id)
            .bind(i64::try_from(segments.len()).unwrap_or(i64::MAX))
            .bind(speech_ms)
            .execute(&mut *transaction)
            .await?;
        sqlx::query(self.sql(WARN))
            .bind(&recording.id)
            .bind(json!(detected.warnings).to_string())
            .execute(&mut *transaction)
            .await?;
        let next = NewJob {
            after: Some(lease),
            ..NewJob::of_event(JobKind::Align, &recording.event_id)
        };
        self.queue_again(&mut transaction, next).await?;
        transaction.commit().await?;
        Ok(())
    }

    /// The band levels of a recording as `core::clock::Track` wrote them; `None`
    /// until it was listened through.
    ///
    /// # Errors
    /// When the database can't be read.
    pub async fn track(&self, recording: &RecordingId) -> Result<Option<Vec<u8>>, StoreError> {
        Ok(sqlx::query_scalar(self.sql(TRACK))
            .bind(recording)
            .fetch_optional(&self.read)
            .await?)
    }

    /// The levels of a recording as `core::quality::Track` wrote them; `None` until
    /// it was listened through, and where an earlier version did that.
    ///
    /// # Errors
    /// When the database can't be read.
    pub async fn quality(&self, recording: &RecordingId) -> Result<Option<Vec<u8>>, StoreError> {
        let found: Option<Option<Vec<u8>>> = sqlx::query_scalar(self.sql(QUALITY))
            .bind(recording)
            .fetch_optional(&self.read)
            .await?;
        Ok(found.flatten())
    }

    /// The recordings that an earlier version listened through, with where their files
    /// were last seen.
    ///
    /// # Errors
    /// When the database can't be read.
    pub async fn unmeasured(&self) -> Result<Vec<Unmeasured>, StoreError> {
        Ok(sqlx::query_as(self.sql(UNMEASURED))
            .fetch_all(&self.read)
            .await?)
    }

    /// Has recordings listened through once more.
    ///
    /// # Errors
    /// [`StoreError::Busy`]; [`StoreError::DiskFull`].
    pub async fn measure_again(&self, recordings: &[Unmeasured]) -> Result<(), StoreError> {
        let mut transaction = self.begin().await?;
        for recording in recordings {
            let job = NewJob {
                kind: JobKind::Detect,
                subject: recording.id.as_str(),
                ..NewJob::of_event(JobKind::Detect, &recording.event_id)
            };
            self.queue_again(&mut transaction, job).await?;
        }
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

    /// The segments of all recordings of an event, by recording and time.
    ///
    /// # Errors
    /// When the database can't be read.
    pub async fn segments_of_event(&self, event: &EventId) -> Result<Vec<SegmentRow>, StoreError> {
        Ok(sqlx::query_as(self.sql(OF_EVENT))
            .bind(event)
            .fetch_all(&self.read)
            .await?)
    }
}

/// A number SQLite can keep: 'not a number' would become NULL.
pub(super) fn finite(value: f32) -> f32 {
    if value.is_finite() {
        value
    } else {
        sayback_core::units::SILENCE_DBFS
    }
}

/// The same for a measure of which 0 is the least.
pub(super) fn or_zero(value: f32) -> f32 {
    if value.is_finite() { value } else { 0.0 }
}
