//! What does the whole data folder remember?

use super::statement::statements;
use super::{Store, StoreError};

statements! {
    SET = "INSERT INTO setting (name, value) VALUES (?1, ?2)
        ON CONFLICT (name) DO UPDATE SET value = excluded.value";
    GET = "SELECT value FROM setting WHERE name = ?1";
}

/// '1' while the queue is paused. Claiming reads it too, see `queue.rs`.
const PAUSED: &str = "paused";

/// '1' where people of one event may be looked for among those of others.
const VOICES_ACROSS: &str = "voices_across_events";

/// '1' while there is a model of meaning; statements of `meaning.rs` read it too.
const MEANING: &str = "meaning";

impl Store {
    /// Says whether there is a model of meaning, for which moments are embedded.
    ///
    /// # Errors
    /// When the database can't be written.
    pub(super) async fn set_meaning(&self, on: bool) -> Result<(), StoreError> {
        self.switch(MEANING, on).await
    }

    /// Whether there was a model of meaning when that was looked at last.
    ///
    /// # Errors
    /// When the database can't be read.
    pub(super) async fn has_meaning(&self) -> Result<bool, StoreError> {
        self.is_on(MEANING).await
    }

    /// Pauses the queue for every process on this folder, or lets it go on.
    /// Running jobs finish, except that `transcribe` is put back between windows.
    ///
    /// # Errors
    /// When the database can't be written.
    pub async fn set_paused(&self, paused: bool) -> Result<(), StoreError> {
        self.switch(PAUSED, paused).await
    }

    /// Whether the queue is paused.
    ///
    /// # Errors
    /// When the database can't be read.
    pub async fn paused(&self) -> Result<bool, StoreError> {
        self.is_on(PAUSED).await
    }

    /// Says whether people of one event may be looked for among those of others, by
    /// voice.
    ///
    /// # Errors
    /// When the database can't be written.
    pub async fn set_voices_across_events(&self, on: bool) -> Result<(), StoreError> {
        self.switch(VOICES_ACROSS, on).await
    }

    /// Whether people of one event may be looked for among those of others: not until
    /// somebody says so.
    ///
    /// # Errors
    /// When the database can't be read.
    pub async fn voices_across_events(&self) -> Result<bool, StoreError> {
        self.is_on(VOICES_ACROSS).await
    }

    async fn switch(&self, name: &str, on: bool) -> Result<(), StoreError> {
        sqlx::query(self.sql(SET))
            .bind(name)
            .bind(if on { "1" } else { "0" })
            .execute(&self.write)
            .await?;
        Ok(())
    }

    async fn is_on(&self, name: &str) -> Result<bool, StoreError> {
        let value: Option<String> = sqlx::query_scalar(self.sql(GET))
            .bind(name)
            .fetch_optional(&self.read)
            .await?;
        Ok(value.as_deref() == Some("1"))
    }
}
