//! Which recordings are there, and where do they stand?

use sqlx::FromRow;

use super::error::unknown;
use super::statement::statements;
use super::{EventId, RecordingId, RecordingRow, SourceId, StampRow, Store, StoreError};

/// Whether a recording `r` is through: its event's moments were found, it has
/// nothing left to be listened to, and no moment it hears waits for words.
macro_rules! is_ready {
    () => {
        "(r.grouped = 1 AND NOT EXISTS (SELECT 1 FROM job j WHERE j.subject = r.id
                AND j.state IN ('ready', 'running'))
            AND NOT (EXISTS (SELECT 1 FROM job j WHERE j.event_id = r.event_id
                    AND j.kind = 'transcribe' AND j.state IN ('ready', 'running'))
                AND EXISTS (SELECT 1 FROM moment m JOIN hearing h ON h.moment_id = m.id
                    WHERE m.event_id = r.event_id AND m.text IS NULL
                        AND h.recording_id = r.id AND h.heard = 1)))"
    };
}
pub(super) use is_ready;

/// Columns of [`RecordingRow`]; its state is read from its jobs.
macro_rules! select_recording {
    ($rest:literal) => {
        concat!(
            "SELECT r.id, r.event_id, r.source_id, s.label AS source_label,
                s.placement AS source_placement, r.file_hash, f.path, f.name, f.size,
                f.mtime_ns, f.container, f.codec, f.media_type, f.rate_hz,
                f.channels AS file_channels, f.bits, f.frames, f.duration_ms, f.warnings,
                r.pick, r.channels_why, r.take_id, r.take_order, r.take_of,
                r.segment_count, r.speech_ms, r.word_count, r.model,
                CASE
                    WHEN EXISTS (SELECT 1 FROM job j
                                 WHERE j.subject IN (r.id, iif(r.grouped, '', r.event_id))
                                 AND j.state IN ('failed', 'cancelled')) THEN 'failed'
                    WHEN ",
            is_ready!(),
            " THEN 'ready'
                    WHEN EXISTS (SELECT 1 FROM job j WHERE j.subject = r.id
                                 AND j.state IN ('running', 'done')) THEN 'working'
                    ELSE 'waiting' END AS state,
                (SELECT coalesce(j.error, 'cancelled') FROM job j
                    WHERE j.subject IN (r.id, iif(r.grouped, '', r.event_id))
                    AND j.state IN ('failed', 'cancelled') LIMIT 1) AS error
            FROM recording r JOIN file f ON f.hash = r.file_hash
                JOIN source s ON s.id = r.source_id ",
            $rest
        )
    };
}

statements! {
    LIST = select_recording!("WHERE r.event_id = ?1 ORDER BY r.source_id, f.name, r.pick, r.id");
    ONE = select_recording!("WHERE r.id = ?1");
    OF_FILE = select_recording!("WHERE r.event_id = ?1 AND r.file_hash = ?2 ORDER BY r.pick");
    OF_IDS = select_recording!("WHERE r.id IN (SELECT value FROM json_each(?1))");
    STAMPS_OF_EVENT = "SELECT st.file_hash, st.kind, st.at, st.samples, st.rate_hz, st.frame_rate
        FROM stamp st WHERE st.file_hash IN (SELECT file_hash FROM recording WHERE event_id = ?1)
        ORDER BY st.file_hash, st.n";
    STAMPS_OF_FILES = "SELECT st.file_hash, st.kind, st.at, st.samples, st.rate_hz, st.frame_rate
        FROM stamp st WHERE st.file_hash IN (SELECT value FROM json_each(?1))
        ORDER BY st.file_hash, st.n";
    /// Sources whose takes are to be worked out and whose files are all opened.
    STALE = "SELECT s.id FROM source s WHERE s.takes_stale = 1 AND NOT EXISTS (
            SELECT 1 FROM intake i JOIN job j ON j.kind = 'probe' AND j.subject = i.id
            WHERE i.event_id = s.event_id AND i.source_id = s.id AND i.file_hash IS NULL
                AND j.state IN ('ready', 'running'))";
    PIECES = "SELECT r.id, r.pick, f.name, f.size, f.codec, f.rate_hz, f.channels, f.bits, f.frames,
            r.file_hash
        FROM recording r JOIN file f ON f.hash = r.file_hash
        WHERE r.source_id = ?1 ORDER BY f.name, r.pick, r.id";
    SET_TAKE = "UPDATE recording SET take_id = ?2, take_order = ?3, take_of = ?4 WHERE id = ?1";
    FRESH = "UPDATE source SET takes_stale = 0 WHERE id = ?1
        AND ?2 = (SELECT count(*) FROM recording WHERE source_id = ?1)";
}

/// What is needed to see which recordings of a source are pieces of one take.
#[derive(Clone, Debug, FromRow)]
pub struct PieceRow {
    /// The recording.
    pub id: RecordingId,
    /// The channel it holds.
    pub pick: String,
    /// The file's name.
    pub name: String,
    /// The file's bytes.
    pub size: i64,
    /// Name of the codec.
    pub codec: String,
    /// Samples a second.
    pub rate_hz: u32,
    /// Channels in the file.
    pub channels: u16,
    /// Bits a sample, where the codec has such.
    pub bits: Option<u16>,
    /// Frames in the file.
    pub frames: i64,
    /// The file.
    pub file_hash: String,
    /// When the devices say it was made.
    #[sqlx(skip)]
    pub stamps: Vec<StampRow>,
}

impl Store {
    /// The recordings of an event by source and file name, with their stamps.
    ///
    /// # Errors
    /// When the database can't be read.
    pub async fn recordings(&self, event: &EventId) -> Result<Vec<RecordingRow>, StoreError> {
        let mut rows: Vec<RecordingRow> = sqlx::query_as(self.sql(LIST))
            .bind(event)
            .fetch_all(&self.read)
            .await?;
        let stamps: Vec<StampRow> = sqlx::query_as(self.sql(STAMPS_OF_EVENT))
            .bind(event)
            .fetch_all(&self.read)
            .await?;
        hand_out(&mut rows, &stamps);
        Ok(rows)
    }

    /// One recording with its stamps.
    ///
    /// # Errors
    /// [`StoreError::Unknown`].
    pub async fn recording(&self, id: &RecordingId) -> Result<RecordingRow, StoreError> {
        let row: RecordingRow = sqlx::query_as(self.sql(ONE))
            .bind(id)
            .fetch_one(&self.read)
            .await
            .map_err(unknown("recording", id))?;
        let mut rows = [row];
        let stamps = self.stamps_of(&rows).await?;
        hand_out(&mut rows, &stamps);
        let [row] = rows;
        Ok(row)
    }

    /// The recordings of one file in an event, without their stamps.
    ///
    /// # Errors
    /// When the database can't be read.
    pub async fn recordings_of_file(
        &self,
        event: &EventId,
        hash: &str,
    ) -> Result<Vec<RecordingRow>, StoreError> {
        Ok(sqlx::query_as(self.sql(OF_FILE))
            .bind(event)
            .bind(hash)
            .fetch_all(&self.read)
            .await?)
    }

    /// The recordings with these ids, in any order, with their stamps.
    ///
    /// # Errors
    /// When the database can't be read.
    pub async fn recordings_by_ids(
        &self,
        ids: &[RecordingId],
    ) -> Result<Vec<RecordingRow>, StoreError> {
        let ids = serde_json::json!(ids).to_string();
        let mut rows: Vec<RecordingRow> = sqlx::query_as(self.sql(OF_IDS))
            .bind(ids)
            .fetch_all(&self.read)
            .await?;
        let stamps = self.stamps_of(&rows).await?;
        hand_out(&mut rows, &stamps);
        Ok(rows)
    }

    async fn stamps_of(&self, rows: &[RecordingRow]) -> Result<Vec<StampRow>, StoreError> {
        let hashes: Vec<&str> = rows.iter().map(|row| row.file_hash.as_str()).collect();
        self.stamps_of_hashes(&hashes).await
    }

    async fn stamps_of_hashes(&self, hashes: &[&str]) -> Result<Vec<StampRow>, StoreError> {
        let hashes = serde_json::json!(hashes).to_string();
        Ok(sqlx::query_as(self.sql(STAMPS_OF_FILES))
            .bind(hashes)
            .fetch_all(&self.read)
            .await?)
    }

    /// Sources that got recordings since their takes were worked out, and have no
    /// file left to open.
    ///
    /// # Errors
    /// When the database can't be read.
    pub async fn sources_with_stale_takes(&self) -> Result<Vec<SourceId>, StoreError> {
        Ok(sqlx::query_scalar(self.sql(STALE))
            .fetch_all(&self.read)
            .await?)
    }

    /// The recordings of a source by file name.
    ///
    /// # Errors
    /// When the database can't be read.
    pub async fn pieces(&self, source: &SourceId) -> Result<Vec<PieceRow>, StoreError> {
        let mut rows: Vec<PieceRow> = sqlx::query_as(self.sql(PIECES))
            .bind(source)
            .fetch_all(&self.read)
            .await?;
        let hashes: Vec<&str> = rows.iter().map(|row| row.file_hash.as_str()).collect();
        let stamps = self.stamps_of_hashes(&hashes).await?;
        for row in &mut rows {
            row.stamps = own(&stamps, &row.file_hash);
        }
        Ok(rows)
    }

    /// Writes which recordings of a source belong to which take, in order. If a
    /// recording came in since, the takes stay marked as stale.
    ///
    /// # Errors
    /// When the database can't be written.
    pub async fn set_takes(
        &self,
        source: &SourceId,
        takes: &[Vec<RecordingId>],
    ) -> Result<(), StoreError> {
        let mut transaction = self.begin().await?;
        let mut seen = 0_i64;
        for take in takes {
            for (at, id) in (1_i64..).zip(take) {
                sqlx::query(self.sql(SET_TAKE))
                    .bind(id)
                    .bind(&take[0])
                    .bind(at)
                    .bind(i64::try_from(take.len()).unwrap_or(i64::MAX))
                    .execute(&mut *transaction)
                    .await?;
                seen += 1;
            }
        }
        sqlx::query(self.sql(FRESH))
            .bind(source)
            .bind(seen)
            .execute(&mut *transaction)
            .await?;
        transaction.commit().await?;
        Ok(())
    }
}

/// Gives each row the stamps of its file; `stamps` is sorted by file.
fn hand_out(rows: &mut [RecordingRow], stamps: &[StampRow]) {
    for row in rows {
        row.stamps = own(stamps, &row.file_hash);
    }
}

/// The stamps of one file out of stamps sorted by file.
fn own(stamps: &[StampRow], hash: &str) -> Vec<StampRow> {
    let from = stamps.partition_point(|stamp| stamp.file_hash.as_str() < hash);
    stamps[from..]
        .iter()
        .take_while(|stamp| stamp.file_hash == hash)
        .cloned()
        .collect()
}
