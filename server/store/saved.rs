//! Which searches does somebody want to make again?

use sqlx::FromRow;

use super::error::unknown;
use super::statement::statements;
use super::{Store, StoreError};

/// A search under a name.
#[derive(Clone, Debug, PartialEq, Eq, FromRow)]
pub struct SavedSearch {
    /// Its id, a UUIDv7.
    pub id: String,
    /// What it is called; no other is.
    pub name: String,
    /// Its parameters as an address has them: `q=kettle&person=Ines`.
    pub asked: String,
    /// When it was saved, ms since 1970.
    pub created_at_ms: i64,
}

statements! {
    SAVED = "SELECT id, name, asked, created_at_ms FROM saved_search ORDER BY name";
    SAVE = "INSERT INTO saved_search (id, name, asked, created_at_ms) SELECT ?1, ?2, ?3, ?4
        WHERE (SELECT count(*) FROM saved_search) < ?5";
    SAVED_CALLED = "SELECT id, name, asked, created_at_ms FROM saved_search
        WHERE id = ?1 OR name = ?1 ORDER BY id = ?1 DESC LIMIT 1";
    UNSAVE = "DELETE FROM saved_search WHERE id = ?1";
}

impl Store {
    /// All saved searches, by name.
    ///
    /// # Errors
    /// When the database can't be read.
    pub async fn saved_searches(&self) -> Result<Vec<SavedSearch>, StoreError> {
        Ok(sqlx::query_as(self.sql(SAVED))
            .fetch_all(&self.read)
            .await?)
    }

    /// Keeps a search under a name at `now_ms`, where there are fewer than `most`.
    ///
    /// # Errors
    /// [`StoreError::Exists`] for a name that is taken, [`StoreError::Invalid`] for a
    /// blank one, [`StoreError::Unfit`] where there are `most` already.
    pub async fn save_search(
        &self,
        name: &str,
        asked: &str,
        most: u32,
        now_ms: i64,
    ) -> Result<SavedSearch, StoreError> {
        let saved = SavedSearch {
            id: uuid::Uuid::now_v7().to_string(),
            name: name.trim().to_owned(),
            asked: asked.to_owned(),
            created_at_ms: now_ms,
        };
        let done = sqlx::query(self.sql(SAVE))
            .bind(&saved.id)
            .bind(&saved.name)
            .bind(&saved.asked)
            .bind(saved.created_at_ms)
            .bind(most)
            .execute(&self.write)
            .await?;
        if done.rows_affected() == 0 {
            return Err(StoreError::Unfit {
                field: "name",
                reason: format!("at most {most} searches are kept; forget one first"),
            });
        }
        Ok(saved)
    }

    /// The saved search with this id or name.
    ///
    /// # Errors
    /// [`StoreError::Unknown`].
    pub async fn saved_search(&self, id_or_name: &str) -> Result<SavedSearch, StoreError> {
        sqlx::query_as(self.sql(SAVED_CALLED))
            .bind(id_or_name.trim())
            .fetch_one(&self.read)
            .await
            .map_err(unknown("saved search", id_or_name))
    }

    /// Forgets a saved search.
    ///
    /// # Errors
    /// [`StoreError::Unknown`].
    pub async fn forget_search(&self, id_or_name: &str) -> Result<(), StoreError> {
        let saved = self.saved_search(id_or_name).await?;
        sqlx::query(self.sql(UNSAVE))
            .bind(&saved.id)
            .execute(&self.write)
            .await?;
        Ok(())
    }
}
