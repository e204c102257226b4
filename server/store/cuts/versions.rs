//! What was a cut list before?
//!
//! Each change keeps the list as it was. Of those the newest [`KEPT`] stay, and fewer
//! where they are together more than [`KEPT_BYTES`]; what somebody gave a name stays for
//! good.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};
use sqlx::{FromRow, Sqlite, Transaction};

use super::super::error::unknown;
use super::super::rows::word_enum;
use super::super::statement::statements;
use super::super::{CutId, Store, StoreError};
use super::{CutRow, Quote};

/// So many versions of a list are kept by themselves.
pub(in crate::store) const KEPT: i64 = 100;
/// And together at most so many bytes: eight versions of a list at its bound. The newest
/// is kept whatever its size.
const KEPT_BYTES: i64 = 8 << 20;
/// So many versions of a list may have a name.
const MOST_NAMED: i64 = 100;

word_enum!(
    /// What was about to be done when a list was kept.
    Before {
        /// Quotes were put into it.
        Add = "add",
        /// A quote got other bounds, another hearing or note.
        Change = "change",
        /// A quote was taken out.
        Drop = "drop",
        /// Somebody gave it a name.
        Keep = "keep",
        /// Quotes were put in another order.
        Move = "move",
        /// It got another name or note.
        Name = "name",
        /// A quote was nudged.
        Nudge = "nudge",
        /// An earlier version was put in its place.
        Restore = "restore",
    }
);

/// A version of a list that was kept.
#[derive(Clone, Debug, PartialEq, Eq, FromRow)]
pub struct CutVersion {
    /// Its number.
    pub version: i64,
    /// What somebody called it; `None` for one that was kept by itself.
    pub name: Option<String>,
    /// What was about to be done.
    pub before: Before,
    /// When it was kept, ms since 1970.
    pub at_ms: i64,
    /// How many quotes it has.
    pub quotes: i64,
}

/// A list as a whole.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(super) struct Whole {
    pub name: String,
    pub note: String,
    pub quotes: Vec<Quote>,
}

statements! {
    VERSIONS = "SELECT version, name, before, at_ms, quotes FROM cut_version WHERE cut_id = ?1
        ORDER BY version DESC";
    /// One that has a name keeps it.
    KEEP = "INSERT INTO cut_version (cut_id, version, name, before, at_ms, quotes, body, bytes)
        VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8)
        ON CONFLICT (cut_id, version) DO UPDATE SET name = coalesce(excluded.name, name)";
    NAMED = "SELECT count(*) FROM cut_version WHERE cut_id = ?1 AND name IS NOT NULL
        AND version <> ?2";
    PRUNE = "DELETE FROM cut_version WHERE cut_id = ?1 AND version IN (
        SELECT version FROM (
            SELECT version, row_number() OVER newest AS n, sum(bytes) OVER newest AS bytes
            FROM cut_version WHERE cut_id = ?1 AND name IS NULL
            WINDOW newest AS (ORDER BY version DESC))
        WHERE n > ?2 OR n > 1 AND bytes > ?3)";
    BODY = "SELECT body FROM cut_version WHERE cut_id = ?1 AND version = ?2";
    LAST = "SELECT max(version) FROM cut_version WHERE cut_id = ?1 AND version < ?2";
    FORGET = "DELETE FROM cut_version WHERE cut_id = ?1 AND version = ?2";
}

impl Store {
    /// The versions of a list that are kept, the newest first; not the one that stands,
    /// unless it has a name.
    ///
    /// # Errors
    /// When the database can't be read.
    pub async fn cut_versions(&self, cut: &CutId) -> Result<Vec<CutVersion>, StoreError> {
        Ok(sqlx::query_as(self.sql(VERSIONS))
            .bind(cut)
            .fetch_all(&self.read)
            .await?)
    }

    /// Gives the version of a list that stands a name, by which it is kept for good.
    ///
    /// # Errors
    /// [`StoreError::Unknown`] list; [`StoreError::Outdated`] when another version
    /// stands; [`StoreError::Unfit`] when too many have a name; [`StoreError::Invalid`]
    /// for a blank one.
    pub async fn name_cut_version(
        &self,
        id: &CutId,
        version: i64,
        name: &str,
        now_ms: i64,
    ) -> Result<CutVersion, StoreError> {
        let mut transaction = self.begin().await?;
        let (cut, quotes) = self.read_cut(&mut transaction, id).await?;
        if cut.version != version {
            return Err(StoreError::Outdated {
                what: "cut list",
                id: id.0.clone(),
                version: cut.version,
            });
        }
        let named: i64 = sqlx::query_scalar(self.sql(NAMED))
            .bind(id)
            .bind(version)
            .fetch_one(&mut *transaction)
            .await?;
        if named >= MOST_NAMED {
            return Err(StoreError::Unfit {
                field: "name",
                reason: format!("at most {MOST_NAMED} versions have a name; forget one first"),
            });
        }
        let kept = CutVersion {
            version,
            name: Some(name.trim().to_owned()),
            before: Before::Keep,
            at_ms: now_ms,
            quotes: cut.quotes,
        };
        let whole = Whole {
            name: cut.name,
            note: cut.note,
            quotes,
        };
        self.keep(&mut transaction, id, &kept, &whole).await?;
        transaction.commit().await?;
        Ok(kept)
    }

    /// Forgets a version that was kept.
    ///
    /// # Errors
    /// [`StoreError::Unknown`] version.
    pub async fn forget_cut_version(&self, cut: &CutId, version: i64) -> Result<(), StoreError> {
        let done = sqlx::query(self.sql(FORGET))
            .bind(cut)
            .bind(version)
            .execute(&self.write)
            .await?;
        match done.rows_affected() {
            0 => Err(no_version(version)),
            _ => Ok(()),
        }
    }

    /// Keeps a list as it was before a change, and forgets what is too old.
    pub(super) async fn keep_before(
        &self,
        transaction: &mut Transaction<'static, Sqlite>,
        cut: &CutRow,
        was: &Whole,
        before: Before,
        now_ms: i64,
    ) -> Result<(), StoreError> {
        let kept = CutVersion {
            version: cut.version,
            name: None,
            before,
            at_ms: now_ms,
            quotes: cut.quotes,
        };
        self.keep(transaction, &cut.id, &kept, was).await?;
        sqlx::query(self.sql(PRUNE))
            .bind(&cut.id)
            .bind(KEPT)
            .bind(KEPT_BYTES)
            .execute(&mut **transaction)
            .await?;
        Ok(())
    }

    async fn keep(
        &self,
        transaction: &mut Transaction<'static, Sqlite>,
        cut: &CutId,
        kept: &CutVersion,
        whole: &Whole,
    ) -> Result<(), StoreError> {
        let body = serde_json::json!(whole).to_string();
        sqlx::query(self.sql(KEEP))
            .bind(cut)
            .bind(kept.version)
            .bind(&kept.name)
            .bind(kept.before)
            .bind(kept.at_ms)
            .bind(kept.quotes)
            .bind(&body)
            .bind(i64::try_from(body.len()).unwrap_or(i64::MAX))
            .execute(&mut **transaction)
            .await?;
        Ok(())
    }

    /// A list as a version of it was; the last before the one that stands without one.
    pub(super) async fn kept_before(
        &self,
        transaction: &mut Transaction<'static, Sqlite>,
        cut: &CutRow,
        to: Option<i64>,
    ) -> Result<Whole, StoreError> {
        let to = match to {
            Some(to) => to,
            None => {
                let last: Option<i64> = sqlx::query_scalar(self.sql(LAST))
                    .bind(&cut.id)
                    .bind(cut.version)
                    .fetch_one(&mut **transaction)
                    .await?;
                last.ok_or_else(|| StoreError::Unfit {
                    field: "to",
                    reason: "nothing was done to this list that could be undone".into(),
                })?
            }
        };
        let body: Option<String> = sqlx::query_scalar(self.sql(BODY))
            .bind(&cut.id)
            .bind(to)
            .fetch_optional(&mut **transaction)
            .await?;
        let body = body.ok_or_else(|| no_version(to))?;
        serde_json::from_str(&body).map_err(|e| StoreError::Database(sqlx::Error::Decode(e.into())))
    }
}

fn no_version(version: i64) -> StoreError {
    unknown("version", version)(sqlx::Error::RowNotFound)
}
