//! Which parts has an event, and which of its speech has a backup?

use serde_json::json;
use sqlx::FromRow;

use super::error::unknown;
use super::statement::statements;
use super::{EventId, Store, StoreError};

/// A named stretch of an event, on the event clock.
#[derive(Clone, Debug, PartialEq, Eq, FromRow)]
pub struct PartRow {
    /// What the crew calls it; one of a name an event.
    pub name: String,
    /// Where it starts, ms.
    pub start_ms: i64,
    /// Where it ends, ms, exclusive.
    pub end_ms: i64,
    /// Whether what is said in it can't be repeated.
    pub required: bool,
}

/// What is not known yet of who heard what in an event.
#[derive(Clone, Copy, Debug, PartialEq, Eq, FromRow)]
pub struct Unsettled {
    /// Steps before words that wait or are at work.
    pub open: i64,
    /// Files that could not be opened or listened through.
    pub failed: i64,
}

statements! {
    PARTS = "SELECT name, start_ms, end_ms, required FROM part WHERE event_id = ?1 ORDER BY n";
    FORGET = "DELETE FROM part WHERE event_id = ?1";
    INSERT = "INSERT INTO part (event_id, n, name, start_ms, end_ms, required)
        SELECT ?1, key, value ->> 0, value ->> 1, value ->> 2, value ->> 3 FROM json_each(?2)";
    UNSETTLED = "SELECT
        (SELECT count(*) FROM job j WHERE j.event_id = ?1 AND j.kind IN ('probe', 'detect', 'align', 'group')
            AND j.state IN ('ready', 'running')) AS open,
        (SELECT count(*) FROM job j WHERE j.event_id = ?1 AND j.kind IN ('probe', 'detect')
            AND j.state IN ('failed', 'cancelled')) AS failed";
}

impl Store {
    /// The parts of an event in the order given.
    ///
    /// # Errors
    /// When the database can't be read.
    pub async fn parts(&self, event: &EventId) -> Result<Vec<PartRow>, StoreError> {
        Ok(sqlx::query_as(self.sql(PARTS))
            .bind(event)
            .fetch_all(&self.read)
            .await?)
    }

    /// Gives an event its parts, in place of those it had.
    ///
    /// # Errors
    /// [`StoreError::Unknown`] event; [`StoreError::Invalid`] for a blank name, one that
    /// stands there twice, or a part that ends before it starts.
    pub async fn set_parts(&self, event: &EventId, parts: &[PartRow]) -> Result<(), StoreError> {
        let rows: Vec<_> = parts
            .iter()
            .map(|part| json!([part.name.trim(), part.start_ms, part.end_ms, part.required]))
            .collect();
        let mut transaction = self.begin().await?;
        sqlx::query(self.sql(FORGET))
            .bind(event)
            .execute(&mut *transaction)
            .await?;
        sqlx::query(self.sql(INSERT))
            .bind(event)
            .bind(json!(rows).to_string())
            .execute(&mut *transaction)
            .await
            .map_err(unknown("event", event))?;
        transaction.commit().await.map_err(unknown("event", event))
    }

    /// What is not known yet of who heard what.
    ///
    /// # Errors
    /// When the database can't be read.
    pub async fn unsettled(&self, event: &EventId) -> Result<Unsettled, StoreError> {
        Ok(sqlx::query_as(self.sql(UNSETTLED))
            .bind(event)
            .fetch_one(&self.read)
            .await?)
    }
}
