//! Which events are there?

use std::path::PathBuf;

use sayback_core::timecode::FrameRate;

use super::error::unknown;
use super::statement::statements;
use super::{EventId, EventRow, Store, StoreError, path_from_bytes};

/// An event about to be made.
#[derive(Clone, Debug, Default)]
pub struct NewEvent {
    /// What people call it; not blank.
    pub title: String,
    /// The day, as `2026-06-20`.
    pub date: Option<String>,
    /// Frames a second of the edit.
    pub frame_rate: Option<FrameRate>,
}

/// What changes of an event; what is `None` stays.
#[derive(Clone, Debug, Default)]
pub struct EventChange {
    /// What people call it; not blank.
    pub title: Option<String>,
    /// The day, as `2026-06-20`.
    pub date: Option<String>,
    /// Frames a second of the edit.
    pub frame_rate: Option<FrameRate>,
}

statements! {
    INSERT = "INSERT INTO event (id, title, date, frame_rate, drop_frame, created_at_ms)
        VALUES (?, ?, ?, ?, ?, ?)";
    CHANGE = "UPDATE event SET title = coalesce(?2, title), date = coalesce(?3, date),
            frame_rate = coalesce(?4, frame_rate), drop_frame = coalesce(?5, drop_frame)
        WHERE id = ?1";
    /// Counts come from the few rows of sources and recordings, never from words.
    LIST = "SELECT e.id, e.title, e.date,
            e.frame_rate || iif(e.drop_frame, 'df', '') AS frame_rate, e.created_at_ms,
            json_array_length(e.glossary) AS names, e.languages,
            (SELECT count(*) FROM source s WHERE s.event_id = e.id) AS sources,
            count(r.id) AS recordings,
            coalesce(sum(r.segment_count), 0) AS segments,
            coalesce((SELECT sum(m.word_count) FROM moment m WHERE m.event_id = e.id), 0) AS words
        FROM event e LEFT JOIN recording r ON r.event_id = e.id
        WHERE ?1 IS NULL OR e.id = ?1
        GROUP BY e.id ORDER BY e.id";
    REMOVE = "DELETE FROM event WHERE id = ?1";
    FILES_OF_EVENT = "SELECT json_group_array(hash) FROM (
        SELECT file_hash AS hash FROM recording WHERE event_id = ?1
        UNION SELECT file_hash FROM intake WHERE event_id = ?1 AND file_hash IS NOT NULL)";
    PATHS_OF_EVENT = "SELECT path FROM intake WHERE event_id = ?1";
    /// Of these files those that no event has any more.
    FORGET_FILES = "DELETE FROM file WHERE hash IN (SELECT i.value FROM json_each(?1) i)
            AND NOT EXISTS (SELECT 1 FROM recording r WHERE r.file_hash = file.hash)
            AND NOT EXISTS (SELECT 1 FROM intake i WHERE i.file_hash = file.hash)
        RETURNING path";
    BY_NAME = "SELECT id FROM event WHERE id = ?1 OR title = ?1 ORDER BY id = ?1 DESC, id LIMIT 20";
}

impl Store {
    /// Makes an event at `now_ms`.
    ///
    /// # Errors
    /// [`StoreError::Invalid`] when title or date break their rule.
    pub async fn create_event(&self, new: NewEvent, now_ms: i64) -> Result<EventRow, StoreError> {
        let id = EventId::fresh();
        sqlx::query(self.sql(INSERT))
            .bind(&id)
            .bind(new.title.trim())
            .bind(new.date)
            .bind(new.frame_rate.map(fraction))
            .bind(new.frame_rate.is_some_and(FrameRate::is_drop))
            .bind(now_ms)
            .execute(&self.write)
            .await?;
        self.event(&id).await
    }

    /// Gives an event another title, day or rate. Quotes that are nudged by frames go by
    /// the new rate.
    ///
    /// # Errors
    /// [`StoreError::Unknown`]; [`StoreError::Invalid`] when title or date break their
    /// rule.
    pub async fn change_event(
        &self,
        id: &EventId,
        change: EventChange,
    ) -> Result<EventRow, StoreError> {
        sqlx::query(self.sql(CHANGE))
            .bind(id)
            .bind(change.title.as_deref().map(str::trim))
            .bind(change.date)
            .bind(change.frame_rate.map(fraction))
            .bind(change.frame_rate.map(FrameRate::is_drop))
            .execute(&self.write)
            .await?;
        self.event(id).await
    }

    /// All events, oldest first.
    ///
    /// # Errors
    /// When the database can't be read.
    pub async fn events(&self) -> Result<Vec<EventRow>, StoreError> {
        let all: Option<&EventId> = None;
        Ok(sqlx::query_as(self.sql(LIST))
            .bind(all)
            .fetch_all(&self.read)
            .await?)
    }

    /// One event.
    ///
    /// # Errors
    /// [`StoreError::Unknown`].
    pub async fn event(&self, id: &EventId) -> Result<EventRow, StoreError> {
        sqlx::query_as(self.sql(LIST))
            .bind(Some(id))
            .fetch_one(&self.read)
            .await
            .map_err(unknown("event", id))
    }

    /// Removes an event with everything known of it, and of files that no other event
    /// has. Nothing on disk is touched; says where its files lie or lay.
    ///
    /// # Errors
    /// [`StoreError::Unknown`].
    pub async fn remove_event(&self, id: &EventId) -> Result<Vec<PathBuf>, StoreError> {
        let mut transaction = self.begin().await?;
        let files: String = sqlx::query_scalar(self.sql(FILES_OF_EVENT))
            .bind(id)
            .fetch_one(&mut *transaction)
            .await?;
        let mut paths: Vec<Vec<u8>> = sqlx::query_scalar(self.sql(PATHS_OF_EVENT))
            .bind(id)
            .fetch_all(&mut *transaction)
            .await?;
        let removed = sqlx::query(self.sql(REMOVE))
            .bind(id)
            .execute(&mut *transaction)
            .await?;
        if removed.rows_affected() == 0 {
            return Err(unknown("event", id)(sqlx::Error::RowNotFound));
        }
        let forgotten: Vec<Vec<u8>> = sqlx::query_scalar(self.sql(FORGET_FILES))
            .bind(files)
            .fetch_all(&mut *transaction)
            .await?;
        transaction.commit().await?;
        paths.extend(forgotten);
        paths.sort();
        paths.dedup();
        Ok(paths.into_iter().map(path_from_bytes).collect())
    }

    /// The event with this id, or else the one event with this title.
    ///
    /// # Errors
    /// [`StoreError::Unknown`], [`StoreError::Ambiguous`] when several events
    /// have the title.
    pub async fn find_event(&self, id_or_title: &str) -> Result<EventRow, StoreError> {
        let ids: Vec<EventId> = sqlx::query_scalar(self.sql(BY_NAME))
            .bind(id_or_title.trim())
            .fetch_all(&self.read)
            .await?;
        match ids.as_slice() {
            [] => Err(StoreError::Unknown {
                what: "event",
                id: id_or_title.to_owned(),
            }),
            [first, rest @ ..] if rest.is_empty() || first.as_str() == id_or_title.trim() => {
                self.event(first).await
            }
            several => Err(StoreError::Ambiguous {
                what: "events",
                title: id_or_title.to_owned(),
                ids: several.iter().map(|id| id.0.clone()).collect(),
            }),
        }
    }
}

/// A rate without how its frames are counted, which is a column of its own.
fn fraction(rate: FrameRate) -> String {
    rate.exact().trim_end_matches("df").to_owned()
}
