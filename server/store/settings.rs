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

impl Store {
    /// Pauses the queue for every process on this folder, or lets it go on.
    /// Running jobs finish, except that `transcribe` is put back between windows.
    ///
    /// # Errors
    /// When the database can't be written.
    pub async fn set_paused(&self, paused: bool) -> Result<(), StoreError> {
        sqlx::query(self.sql(SET))
            .bind(PAUSED)
            .bind(if paused { "1" } else { "0" })
            .execute(&self.write)
            .await?;
        Ok(())
    }

    /// Whether the queue is paused.
    ///
    /// # Errors
    /// When the database can't be read.
    pub async fn paused(&self) -> Result<bool, StoreError> {
        let value: Option<String> = sqlx::query_scalar(self.sql(GET))
            .bind(PAUSED)
            .fetch_optional(&self.read)
            .await?;
        Ok(value.as_deref() == Some("1"))
    }
}
