//! Which written texts belong to an event?
//!
//! Where a text was said is never kept: it follows from the words as they are.

use sqlx::FromRow;

use super::error::unknown;
use super::statement::statements;
use super::{EventId, PartRow, ScriptId, Store, StoreError};

/// A written text: a letter, vows, a reading.
#[derive(Clone, Debug, PartialEq, Eq, FromRow)]
pub struct ScriptRow {
    /// Its id.
    pub id: ScriptId,
    /// The event.
    pub event_id: EventId,
    /// What the crew calls it.
    pub title: String,
    /// As it was written.
    pub text: String,
    /// The name of the part it stands for.
    pub part: Option<String>,
    /// When it came, ms since 1970.
    pub created_at_ms: i64,
    /// Raised by every change.
    pub version: i64,
}

/// A text about to be kept.
#[derive(Clone, Copy, Debug)]
pub struct NewScript<'a> {
    /// What the crew calls it; not blank.
    pub title: &'a str,
    /// As it was written, at most 200,000 characters.
    pub text: &'a str,
    /// The name of the part it stands for.
    pub part: Option<&'a str>,
}

statements! {
    SCRIPTS = "SELECT id, event_id, title, text, part, created_at_ms, version FROM script
        WHERE event_id = ?1 ORDER BY id";
    SCRIPT = "SELECT id, event_id, title, text, part, created_at_ms, version FROM script
        WHERE id = ?1";
    ADD = "INSERT INTO script (id, event_id, title, text, part, created_at_ms)
        SELECT ?1, ?2, ?3, ?4, ?5, ?6
        WHERE (SELECT count(*) FROM script WHERE event_id = ?2) < ?7";
    CHANGE = "UPDATE script SET title = ?3, text = ?4, part = ?5, version = version + 1
        WHERE id = ?1 AND version = ?2";
    DELETE = "DELETE FROM script WHERE id = ?1 RETURNING event_id";
    /// A part of that name is moved; a new one is the last.
    MARK = "INSERT INTO part (event_id, n, name, start_ms, end_ms, required)
        VALUES (?1, (SELECT coalesce(max(n), -1) + 1 FROM part WHERE event_id = ?1), ?2, ?3, ?4, ?5)
        ON CONFLICT (event_id, name) DO UPDATE SET start_ms = excluded.start_ms,
            end_ms = excluded.end_ms, required = excluded.required";
    STANDS_FOR = "UPDATE script SET part = ?2, version = version + 1 WHERE id = ?1";
}

impl Store {
    /// The texts of an event, the oldest first.
    ///
    /// # Errors
    /// When the database can't be read.
    pub async fn scripts(&self, event: &EventId) -> Result<Vec<ScriptRow>, StoreError> {
        Ok(sqlx::query_as(self.sql(SCRIPTS))
            .bind(event)
            .fetch_all(&self.read)
            .await?)
    }

    /// One text.
    ///
    /// # Errors
    /// [`StoreError::Unknown`].
    pub async fn script(&self, id: &ScriptId) -> Result<ScriptRow, StoreError> {
        sqlx::query_as(self.sql(SCRIPT))
            .bind(id)
            .fetch_one(&self.read)
            .await
            .map_err(unknown("script", id))
    }

    /// Keeps a text of an event that has fewer than `most`.
    ///
    /// # Errors
    /// [`StoreError::Unknown`] event; [`StoreError::Invalid`] for a blank title or too
    /// long a text; [`StoreError::Unfit`] when the event has `most` already.
    pub async fn add_script(
        &self,
        event: &EventId,
        new: NewScript<'_>,
        most: u32,
        now_ms: i64,
    ) -> Result<ScriptRow, StoreError> {
        let id = ScriptId::fresh();
        let done = sqlx::query(self.sql(ADD))
            .bind(&id)
            .bind(event)
            .bind(new.title.trim())
            .bind(new.text)
            .bind(new.part)
            .bind(now_ms)
            .bind(most)
            .execute(&self.write)
            .await
            .map_err(unknown("event", event))?;
        if done.rows_affected() == 0 {
            return Err(StoreError::Unfit {
                field: "text",
                reason: format!("an event has at most {most} written texts; remove one first"),
            });
        }
        self.script(&id).await
    }

    /// Puts another text in the place of version `version` of one; `None` when somebody
    /// was quicker.
    ///
    /// # Errors
    /// [`StoreError::Unknown`]; [`StoreError::Invalid`] as [`Store::add_script`].
    pub async fn change_script(
        &self,
        id: &ScriptId,
        version: i64,
        new: NewScript<'_>,
    ) -> Result<Option<ScriptRow>, StoreError> {
        let done = sqlx::query(self.sql(CHANGE))
            .bind(id)
            .bind(version)
            .bind(new.title.trim())
            .bind(new.text)
            .bind(new.part)
            .execute(&self.write)
            .await?;
        let row = self.script(id).await?;
        Ok((done.rows_affected() > 0).then_some(row))
    }

    /// Takes a text away; its event.
    ///
    /// # Errors
    /// [`StoreError::Unknown`].
    pub async fn delete_script(&self, id: &ScriptId) -> Result<EventId, StoreError> {
        sqlx::query_scalar(self.sql(DELETE))
            .bind(id)
            .fetch_one(&self.write)
            .await
            .map_err(unknown("script", id))
    }

    /// Makes a stretch a part of the text's event, in place of one of that name, and
    /// has the text stand for it, as one.
    ///
    /// # Errors
    /// [`StoreError::Unknown`] text; [`StoreError::Invalid`] for a blank name or a part
    /// that ends before it starts.
    pub async fn mark_part(&self, id: &ScriptId, part: &PartRow) -> Result<(), StoreError> {
        let row = self.script(id).await?;
        let mut transaction = self.begin().await?;
        sqlx::query(self.sql(MARK))
            .bind(&row.event_id)
            .bind(part.name.trim())
            .bind(part.start_ms)
            .bind(part.end_ms)
            .bind(part.required)
            .execute(&mut *transaction)
            .await?;
        let done = sqlx::query(self.sql(STANDS_FOR))
            .bind(id)
            .bind(part.name.trim())
            .execute(&mut *transaction)
            .await?;
        if done.rows_affected() == 0 {
            return Err(StoreError::Unknown {
                what: "script",
                id: id.to_string(),
            });
        }
        Ok(transaction.commit().await?)
    }
}
