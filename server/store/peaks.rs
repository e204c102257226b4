//! What does a recording look like from afar?

use sayback_core::signal::peaks::Peaks;
use serde_json::json;
use sqlx::{Sqlite, Transaction};

use super::statement::statements;
use super::{EventId, RecordingId, Store, StoreError};

/// A recording of an event on one level.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct DrawnRow {
    /// The recording.
    pub recording_id: RecordingId,
    /// The level, the finest is 0.
    pub level: u8,
    /// All its bins, as `core::signal::peaks` makes them.
    pub body: Vec<u8>,
}

/// What a recording looks like, made ready so that nobody waits for it who wants to write.
pub(super) struct Drawing {
    bins: i64,
    /// Level and number of each tile, and where it lies in `body`: its first byte, from 1,
    /// and how many; as JSON.
    tiles: String,
    body: Vec<u8>,
}

impl Drawing {
    pub fn of(peaks: &Peaks) -> Self {
        let mut body = Vec::new();
        let mut tiles = Vec::new();
        for tile in peaks.tiles() {
            let place = (body.len() + 1, tile.body.len());
            tiles.push((tile.level, tile.number, place.0, place.1));
            body.extend(tile.body);
        }
        Self {
            bins: i64::try_from(peaks.bins()).unwrap_or(i64::MAX),
            tiles: json!(tiles).to_string(),
            body,
        }
    }
}

statements! {
    FORGET_PEAKS = "DELETE FROM peaks WHERE recording_id = ?1";
    NEW_BINS = "INSERT INTO waveform (recording_id, bins) VALUES (?1, ?2)
        ON CONFLICT (recording_id) DO UPDATE SET bins = excluded.bins";
    /// Ten hours are more than a thousand tiles: handed over as one.
    NEW_TILES = "INSERT INTO peaks (recording_id, level, tile, body)
        SELECT ?1, value ->> 0, value ->> 1, substr(?3, value ->> 2, value ->> 3)
        FROM json_each(?2)";
    PEAK_BINS = "SELECT bins FROM waveform WHERE recording_id = ?1";
    PEAK_BODY = "SELECT body FROM peaks WHERE recording_id = ?1 AND level = ?2 AND tile = ?3";
    PEAK_BINS_OF_EVENT = "SELECT r.id, w.bins FROM recording r JOIN waveform w ON w.recording_id = r.id
        WHERE r.event_id = ?1 ORDER BY r.id";
    /// The tiles of each recording in turn, on the level asked for.
    PEAK_TILES = "SELECT i.key, p.body FROM json_each(?1) i
        CROSS JOIN peaks p ON p.recording_id = i.value ->> 0 AND p.level = i.value ->> 1
        ORDER BY i.key, p.tile";
}

impl Store {
    /// Keeps what a recording looks like, in place of what was kept before.
    pub(super) async fn draw(
        &self,
        transaction: &mut Transaction<'static, Sqlite>,
        recording: &RecordingId,
        drawing: Drawing,
    ) -> Result<(), StoreError> {
        sqlx::query(self.sql(FORGET_PEAKS))
            .bind(recording)
            .execute(&mut **transaction)
            .await?;
        sqlx::query(self.sql(NEW_BINS))
            .bind(recording)
            .bind(drawing.bins)
            .execute(&mut **transaction)
            .await?;
        sqlx::query(self.sql(NEW_TILES))
            .bind(recording)
            .bind(drawing.tiles)
            .bind(drawing.body)
            .execute(&mut **transaction)
            .await?;
        Ok(())
    }

    /// How many bins of 10 ms a recording has; `None` until it was listened through, and
    /// where an earlier version did that.
    ///
    /// # Errors
    /// When the database can't be read.
    pub async fn peak_bins(&self, recording: &RecordingId) -> Result<Option<u64>, StoreError> {
        let bins: Option<i64> = sqlx::query_scalar(self.sql(PEAK_BINS))
            .bind(recording)
            .fetch_optional(&self.read)
            .await?;
        Ok(bins.map(i64::unsigned_abs))
    }

    /// A tile of a level; `None` where there is none.
    ///
    /// # Errors
    /// When the database can't be read.
    pub async fn peak_tile(
        &self,
        recording: &RecordingId,
        level: u8,
        tile: u32,
    ) -> Result<Option<Vec<u8>>, StoreError> {
        Ok(sqlx::query_scalar(self.sql(PEAK_BODY))
            .bind(recording)
            .bind(level)
            .bind(tile)
            .fetch_optional(&self.read)
            .await?)
    }

    /// The recordings of an event that were listened through, by id, each on the level that
    /// `level_for` gives for its number of bins of 10 ms.
    ///
    /// # Errors
    /// When the database can't be read.
    pub async fn peaks_of_event(
        &self,
        event: &EventId,
        level_for: impl Fn(u64) -> u8 + Send,
    ) -> Result<Vec<DrawnRow>, StoreError> {
        // One look at the database, so that tiles fit the numbers.
        let mut look = self.read.begin().await?;
        let known: Vec<(RecordingId, i64)> = sqlx::query_as(self.sql(PEAK_BINS_OF_EVENT))
            .bind(event)
            .fetch_all(&mut *look)
            .await?;
        let mut drawn: Vec<DrawnRow> = known
            .into_iter()
            .map(|(recording_id, bins)| DrawnRow {
                level: level_for(bins.unsigned_abs()),
                recording_id,
                body: Vec::new(),
            })
            .collect();
        let asked: Vec<_> = drawn
            .iter()
            .map(|row| json!([row.recording_id, row.level]))
            .collect();
        let tiles: Vec<(i64, Vec<u8>)> = sqlx::query_as(self.sql(PEAK_TILES))
            .bind(json!(asked).to_string())
            .fetch_all(&mut *look)
            .await?;
        for (n, body) in tiles {
            if let Some(row) = usize::try_from(n).ok().and_then(|n| drawn.get_mut(n)) {
                row.body.extend(body);
            }
        }
        Ok(drawn)
    }
}
