//! What are the people, places and pets of an event called, and what is spoken
//! there?

use serde_json::json;
use sqlx::{Executor, Sqlite, Transaction};

use super::error::unknown;
use super::listening::Fuse;
use super::statement::{Statement, statements};
use super::{EventId, Json, Store, StoreError};

statements! {
    GLOSSARY = "SELECT glossary FROM event WHERE id = ?1";
    LANGUAGES = "SELECT languages FROM event WHERE id = ?1";
    SET_GLOSSARY = "UPDATE event SET glossary = ?2 WHERE id = ?1";
    SET_LANGUAGES = "UPDATE event SET languages = ?2 WHERE id = ?1";
    HEARD_MOMENTS = "SELECT coalesce(json_group_array(m.id), '[]') FROM moment m
        WHERE m.event_id = ?1 AND EXISTS (SELECT 1 FROM attempt a WHERE a.moment_id = m.id)";
}

impl Store {
    /// The names of an event in their order.
    ///
    /// # Errors
    /// [`StoreError::Unknown`].
    pub async fn glossary(&self, event: &EventId) -> Result<Vec<String>, StoreError> {
        self.list(GLOSSARY, event, &self.read).await
    }

    /// The same where a transaction has it.
    pub(super) async fn glossary_within(
        &self,
        transaction: &mut Transaction<'_, Sqlite>,
        event: &EventId,
    ) -> Result<Vec<String>, StoreError> {
        self.list(GLOSSARY, event, &mut **transaction).await
    }

    /// The languages that may be spoken in an event; none for all.
    ///
    /// # Errors
    /// [`StoreError::Unknown`].
    pub async fn languages(&self, event: &EventId) -> Result<Vec<String>, StoreError> {
        self.list(LANGUAGES, event, &self.read).await
    }

    async fn list(
        &self,
        statement: &'static Statement,
        event: &EventId,
        from: impl Executor<'_, Database = Sqlite>,
    ) -> Result<Vec<String>, StoreError> {
        let list: String = sqlx::query_scalar(self.sql(statement))
            .bind(event)
            .fetch_one(from)
            .await
            .map_err(unknown("event", event))?;
        let list = Json::try_from(list).map_err(|error| sqlx::Error::Decode(error.into()))?;
        Ok(list.0)
    }

    /// Gives an event other languages, for what is heard from now on.
    ///
    /// # Errors
    /// When the database can't be written.
    pub async fn set_languages(
        &self,
        event: &EventId,
        languages: &[String],
    ) -> Result<(), StoreError> {
        sqlx::query(self.sql(SET_LANGUAGES))
            .bind(event)
            .bind(json!(languages).to_string())
            .execute(&self.write)
            .await?;
        Ok(())
    }

    /// Gives an event other names, and makes the words of its moments anew of what was
    /// heard, as one.
    ///
    /// # Errors
    /// When the database can't be written.
    pub async fn set_glossary(
        &self,
        event: &EventId,
        names: &[String],
        fuse: &Fuse<'_>,
    ) -> Result<(), StoreError> {
        let mut transaction = self.begin().await?;
        sqlx::query(self.sql(SET_GLOSSARY))
            .bind(event)
            .bind(json!(names).to_string())
            .execute(&mut *transaction)
            .await?;
        let moments: String = sqlx::query_scalar(self.sql(HEARD_MOMENTS))
            .bind(event)
            .fetch_one(&mut *transaction)
            .await?;
        self.write_words(&mut transaction, &moments, fuse).await?;
        self.count_words(&mut transaction, &moments).await?;
        transaction.commit().await?;
        Ok(())
    }

    /// Makes the words of moments anew of what was heard.
    ///
    /// # Errors
    /// When the database can't be written.
    pub async fn reword(
        &self,
        moments: &[super::MomentId],
        fuse: &Fuse<'_>,
    ) -> Result<(), StoreError> {
        let moments = json!(moments).to_string();
        let mut transaction = self.begin().await?;
        self.write_words(&mut transaction, &moments, fuse).await?;
        self.count_words(&mut transaction, &moments).await?;
        transaction.commit().await?;
        Ok(())
    }
}
