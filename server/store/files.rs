//! What did opening a file give?

use std::path::{Path, PathBuf};

use sqlx::{Sqlite, Transaction};

use super::statement::statements;
use super::{
    EventId, FileRow, IntakeId, JobKind, Lease, RecordingId, Store, StoreError, path_from_bytes,
    path_to_bytes, queue, shown_name,
};

/// A file as it was found.
#[derive(Clone, Debug)]
pub struct NewFile {
    /// BLAKE3 of the content, hexadecimal.
    pub hash: String,
    /// Where it lies.
    pub path: PathBuf,
    /// Bytes.
    pub size: i64,
    /// When it was last changed, ns since 1970.
    pub mtime_ns: i64,
    /// `wav`, `mp4`, …
    pub container: String,
    /// `pcm_s24le`, `aac`, …
    pub codec: String,
    /// For `Content-Type`.
    pub media_type: String,
    /// Samples a second.
    pub rate_hz: u32,
    /// Channels.
    pub channels: u16,
    /// Bits a sample, where the codec has such.
    pub bits: Option<u16>,
    /// Frames.
    pub frames: i64,
    /// Length, ms.
    pub duration_ms: i64,
    /// What was odd about it.
    pub warnings: Vec<String>,
    /// When the devices say it was made.
    pub stamps: Vec<NewStamp>,
}

/// When a device says a file was recorded.
#[derive(Clone, Debug)]
pub struct NewStamp {
    /// `bext`, `ixml`, `container` or `file`.
    pub kind: &'static str,
    /// RFC 3339, without a zone where unknown.
    pub at: String,
    /// Samples since midnight.
    pub samples: Option<i64>,
    /// The rate those samples are counted in, Hz.
    pub rate_hz: Option<u32>,
    /// Frames a second as the device wrote it.
    pub frame_rate: Option<String>,
}

/// A recording that a file holds.
#[derive(Clone, Debug)]
pub struct OpenedRecording {
    /// `mix` or a channel number from 1.
    pub pick: String,
    /// Why, in words.
    pub channels_why: String,
}

/// The output of the probe step.
#[derive(Clone, Debug)]
pub struct Opened {
    /// The intake that was opened.
    pub intake: IntakeId,
    /// The event it belongs to.
    pub event: EventId,
    /// The file.
    pub file: NewFile,
    /// What it holds; empty if it adds nothing to what is there.
    pub recordings: Vec<OpenedRecording>,
    /// A remark for people.
    pub note: Option<String>,
}

statements! {
    BY_HASH = "SELECT hash, path, name, size, mtime_ns, duration_ms, media_type FROM file WHERE hash = ?1";
    UPSERT = "INSERT INTO file (hash, path, name, size, mtime_ns, container, codec, media_type,
            rate_hz, channels, bits, frames, duration_ms, warnings)
        VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13, ?14)
        ON CONFLICT (hash) DO UPDATE SET path = excluded.path, name = excluded.name,
            size = excluded.size, mtime_ns = excluded.mtime_ns";
    IN_USE = "SELECT path FROM file UNION ALL
        SELECT i.path FROM intake i JOIN job j ON j.kind = 'probe' AND j.subject = i.id
        WHERE i.file_hash IS NULL AND j.state IN ('ready', 'running')";
    STAMP = "INSERT INTO stamp (file_hash, n, kind, at, samples, rate_hz, frame_rate)
        VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7) ON CONFLICT DO NOTHING";
    OPENED = "UPDATE intake SET file_hash = ?2, note = ?3 WHERE id = ?1";
    RECORDING = "INSERT INTO recording (id, event_id, source_id, file_hash, pick, channels_why)
        SELECT ?1, event_id, source_id, ?2, ?3, ?4 FROM intake WHERE id = ?5
        ON CONFLICT DO NOTHING";
    STALE = "UPDATE source SET takes_stale = 1
        WHERE id = (SELECT source_id FROM intake WHERE id = ?1)";
}

impl Store {
    /// The file with this content, if it was opened before.
    ///
    /// # Errors
    /// When the database can't be read.
    pub async fn file(&self, hash: &str) -> Result<Option<FileRow>, StoreError> {
        Ok(sqlx::query_as(self.sql(BY_HASH))
            .bind(hash)
            .fetch_optional(&self.read)
            .await?)
    }

    /// Where every file lies that is known or waits to be opened.
    ///
    /// # Errors
    /// When the database can't be read.
    pub async fn paths_in_use(&self) -> Result<Vec<PathBuf>, StoreError> {
        let paths: Vec<Vec<u8>> = sqlx::query_scalar(self.sql(IN_USE))
            .fetch_all(&self.read)
            .await?;
        Ok(paths.into_iter().map(path_from_bytes).collect())
    }

    /// Writes what opening a file gave, and that the job is done, as one: the
    /// file at its path of now, its recordings, and a `detect` job for each new
    /// one. Jobs that failed on the same sound before, or were cancelled in this
    /// event, are tried again. Returns
    /// the new recordings.
    ///
    /// # Errors
    /// [`StoreError::LeaseLost`]; [`StoreError::DiskFull`].
    pub async fn finish_probe(
        &self,
        lease: &Lease,
        opened: &Opened,
        now_ms: i64,
    ) -> Result<Vec<RecordingId>, StoreError> {
        let mut transaction = self.begin().await?;
        self.complete(
            &mut transaction,
            lease,
            Some(opened.file.duration_ms),
            now_ms,
        )
        .await?;
        self.write_file(&mut transaction, &opened.file, &opened.file.path)
            .await?;
        sqlx::query(self.sql(OPENED))
            .bind(&opened.intake)
            .bind(&opened.file.hash)
            .bind(&opened.note)
            .execute(&mut *transaction)
            .await?;
        self.revive(&mut transaction, &opened.event, &opened.file.hash)
            .await?;
        let mut new = Vec::new();
        for recording in &opened.recordings {
            let id = RecordingId::of(&opened.event, &opened.file.hash, &recording.pick);
            let inserted = sqlx::query(self.sql(RECORDING))
                .bind(&id)
                .bind(&opened.file.hash)
                .bind(&recording.pick)
                .bind(&recording.channels_why)
                .bind(&opened.intake)
                .execute(&mut *transaction)
                .await?;
            if inserted.rows_affected() == 1 {
                let next = queue::NewJob {
                    kind: JobKind::Detect,
                    subject: id.as_str(),
                    event: &opened.event,
                    audio_ms: Some(opened.file.duration_ms),
                    after: Some(lease),
                };
                self.queue_job(&mut transaction, next).await?;
                new.push(id);
            }
        }
        if !new.is_empty() {
            sqlx::query(self.sql(STALE))
                .bind(&opened.intake)
                .execute(&mut *transaction)
                .await?;
        }
        transaction.commit().await?;
        Ok(new)
    }

    async fn write_file(
        &self,
        transaction: &mut Transaction<'static, Sqlite>,
        file: &NewFile,
        path: &Path,
    ) -> Result<(), StoreError> {
        sqlx::query(self.sql(UPSERT))
            .bind(&file.hash)
            .bind(path_to_bytes(path))
            .bind(shown_name(path))
            .bind(file.size)
            .bind(file.mtime_ns)
            .bind(&file.container)
            .bind(&file.codec)
            .bind(&file.media_type)
            .bind(file.rate_hz)
            .bind(file.channels)
            .bind(file.bits)
            .bind(file.frames)
            .bind(file.duration_ms)
            .bind(serde_json::json!(file.warnings).to_string())
            .execute(&mut **transaction)
            .await?;
        for (n, stamp) in (0_i64..).zip(&file.stamps) {
            sqlx::query(self.sql(STAMP))
                .bind(&file.hash)
                .bind(n)
                .bind(stamp.kind)
                .bind(&stamp.at)
                .bind(stamp.samples)
                .bind(stamp.rate_hz)
                .bind(&stamp.frame_rate)
                .execute(&mut **transaction)
                .await?;
        }
        Ok(())
    }
}
