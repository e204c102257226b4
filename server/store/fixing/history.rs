//! Who changed a moment, when, and what do models say beside it?

use sqlx::{FromRow, Sqlite, Transaction};

use super::super::listening::AttemptText;
use super::super::statement::statements;
use super::super::{ChangeKind, Json, MomentId, RecordingId, Store, StoreError};
use super::{LastChange, State};

/// Something a person did.
#[derive(Clone, Debug, PartialEq, FromRow)]
pub struct ChangeRow {
    /// The version that the moment got by it.
    pub version: i64,
    /// What was done.
    pub kind: ChangeKind,
    /// By whom.
    pub by: String,
    /// When, ms since 1970.
    pub at_ms: i64,
    /// The moments it was about, as they were.
    #[sqlx(try_from = "String")]
    pub before: Json<Vec<State>>,
    /// And as it left them.
    #[sqlx(try_from = "String")]
    pub after: Json<Vec<State>>,
}

/// What a model heard of a moment in one recording.
#[derive(Clone, Debug, PartialEq)]
pub struct HeardText {
    /// The recording.
    pub recording_id: RecordingId,
    /// The model.
    pub model: String,
    /// The words joined by spaces.
    pub text: String,
}

statements! {
    HISTORY = "SELECT d.version, c.kind, c.by, c.at_ms, c.before, c.after
        FROM changed d JOIN change c ON c.id = d.change_id
        WHERE d.moment_id = ?1 ORDER BY d.version DESC LIMIT ?2 OFFSET ?3";
    HOW_MANY = "SELECT count(*) FROM changed WHERE moment_id = ?1";
    EVER = "SELECT EXISTS (SELECT 1 FROM changed WHERE moment_id = ?1)";
    BEFORE = "SELECT d.version, c.kind, c.by, c.at_ms, c.before, c.after
        FROM changed d JOIN change c ON c.id = d.change_id
        WHERE d.moment_id = ?1 AND d.version BETWEEN ?2 AND ?3
        ORDER BY d.version DESC LIMIT 1";
    LAST = "SELECT c.kind, c.by, c.at_ms FROM changed d JOIN change c ON c.id = d.change_id
        WHERE d.moment_id = ?1 AND d.version >= ?2 ORDER BY d.version DESC LIMIT 1";
    /// Where a moment went that was joined to others, which may have been joined too.
    NOW_IN = "WITH RECURSIVE part (id) AS (
            VALUES (?1)
            UNION
            SELECT a.value ->> 'moment' FROM part
                JOIN changed d ON d.moment_id = part.id AND d.version =
                    (SELECT max(version) FROM changed WHERE moment_id = part.id)
                JOIN change c ON c.id = d.change_id
                JOIN json_each(c.after) a
            WHERE NOT EXISTS (SELECT 1 FROM moment m WHERE m.id = part.id))
        SELECT part.id FROM part JOIN moment m ON m.id = part.id ORDER BY m.start_ms";
    HEARD = "SELECT a.recording_id, a.model, a.words FROM attempt a
            JOIN hearing h ON h.moment_id = a.moment_id AND h.recording_id = a.recording_id
        WHERE a.moment_id = ?1 ORDER BY h.n, h.recording_id";
}

impl Store {
    /// What people did to a moment, the newest first, at most `limit` of it from
    /// `offset` on; also of one that is no more.
    ///
    /// # Errors
    /// When the database can't be read.
    pub async fn changes(
        &self,
        moment: &MomentId,
        limit: u32,
        offset: u32,
    ) -> Result<Vec<ChangeRow>, StoreError> {
        Ok(sqlx::query_as(self.sql(HISTORY))
            .bind(moment)
            .bind(limit)
            .bind(offset)
            .fetch_all(&self.read)
            .await?)
    }

    /// How often people changed a moment.
    ///
    /// # Errors
    /// When the database can't be read.
    pub async fn change_count(&self, moment: &MomentId) -> Result<i64, StoreError> {
        Ok(sqlx::query_scalar(self.sql(HOW_MANY))
            .bind(moment)
            .fetch_one(&self.read)
            .await?)
    }

    /// Whether a person ever changed a moment, which may be no more.
    ///
    /// # Errors
    /// When the database can't be read.
    pub async fn was_changed(&self, moment: &MomentId) -> Result<bool, StoreError> {
        Ok(sqlx::query_scalar(self.sql(EVER))
            .bind(moment)
            .fetch_one(&self.read)
            .await?)
    }

    /// The last change that gave a moment a version from `since` to `until`.
    pub(super) async fn change_before(
        &self,
        transaction: &mut Transaction<'static, Sqlite>,
        moment: &MomentId,
        since: i64,
        until: i64,
    ) -> Result<Option<ChangeRow>, StoreError> {
        Ok(sqlx::query_as(self.sql(BEFORE))
            .bind(moment)
            .bind(since)
            .bind(until)
            .fetch_optional(&mut **transaction)
            .await?)
    }

    /// The last thing a person did to a moment, if that gave it this version or a later
    /// one.
    pub(super) async fn last_change(
        &self,
        transaction: &mut Transaction<'static, Sqlite>,
        moment: &MomentId,
        since: i64,
    ) -> Result<Option<LastChange>, StoreError> {
        Ok(sqlx::query_as(self.sql(LAST))
            .bind(moment)
            .bind(since)
            .fetch_optional(&mut **transaction)
            .await?)
    }

    pub(super) async fn now_in(
        &self,
        transaction: &mut Transaction<'static, Sqlite>,
        moment: &MomentId,
    ) -> Result<Vec<MomentId>, StoreError> {
        Ok(sqlx::query_scalar(self.sql(NOW_IN))
            .bind(moment)
            .fetch_all(&mut **transaction)
            .await?)
    }

    /// What models heard of a moment, whatever its words are now, in rank order of the
    /// recordings they listened to.
    ///
    /// # Errors
    /// When the database can't be read.
    pub async fn heard_of(&self, moment: &MomentId) -> Result<Vec<HeardText>, StoreError> {
        let rows: Vec<AttemptText> = sqlx::query_as(self.sql(HEARD))
            .bind(moment)
            .fetch_all(&self.read)
            .await?;
        let texts = rows.into_iter().map(|row| {
            let words: Vec<&str> = row.words.0.iter().map(|word| word.0.as_str()).collect();
            HeardText {
                text: words.join(" "),
                recording_id: row.recording_id,
                model: row.model,
            }
        });
        Ok(texts.collect())
    }
}
