//! Which quotes did somebody collect, and in which order?
//!
//! A cut list is read and written as a whole: [`edit`] works out what it becomes, and all
//! its quotes with their places are written in one transaction beside the list as it was
//! ([`versions`]). At its bound of 2,000 quotes that is some milliseconds, and neither
//! gaps nor neighbours' numbers have to be kept right.
//!
//! Where a quote lies now is never kept: it follows from where it lies in files and where
//! these are on the clock.

mod edit;
mod quote;
mod versions;

use sayback_core::timecode::FrameRate;
use serde_json::json;
use sqlx::{FromRow, Sqlite, Transaction};

pub use edit::{CutEdit, CutEdited, QuoteChange};
pub use quote::{Lie, Nudge, Quote};
#[cfg(test)]
pub(in crate::store) use versions::{ALL as VERSIONS_ALL, KEPT};
pub use versions::{Before, CutVersion};

use super::error::unknown;
use super::statement::statements;
use super::{CutId, EventId, MomentId, RecordingId, Store, StoreError};

/// Most quotes of a list: three hours of lines of five seconds.
pub const MOST_QUOTES: usize = 2_000;

/// A cut list without its quotes.
#[derive(Clone, Debug, PartialEq, Eq, FromRow)]
pub struct CutRow {
    /// Its id.
    pub id: CutId,
    /// The event.
    pub event_id: EventId,
    /// What it is called, one of a name an event.
    pub name: String,
    /// What somebody wrote about it.
    pub note: String,
    /// Raised by every change to it or a quote of it.
    pub version: i64,
    /// When it was made, ms since 1970.
    pub created_at_ms: i64,
    /// When it was changed last, ms since 1970.
    pub changed_at_ms: i64,
    /// Frames a second of the event, as `25` or `30000/1001df`.
    pub frame_rate: Option<String>,
    /// How many quotes it has.
    pub quotes: i64,
}

impl CutRow {
    /// The event's rate, if it has one; what is no rate of pictures is none.
    #[must_use]
    pub fn rate(&self) -> Option<FrameRate> {
        self.frame_rate.as_deref()?.parse().ok()
    }
}

/// A moment that a stretch of a file is of.
#[derive(Clone, Debug, PartialEq, Eq, FromRow)]
pub struct TouchedRow {
    /// The number of the stretch among those asked for.
    pub n: i64,
    /// The moment.
    pub moment_id: MomentId,
}

macro_rules! select_cut {
    ($rest:literal) => {
        concat!(
            "SELECT c.id, c.event_id, c.name, c.note, c.version, c.created_at_ms, c.changed_at_ms,
                e.frame_rate || iif(e.drop_frame, 'df', '') AS frame_rate,
                (SELECT count(*) FROM quote q WHERE q.cut_id = c.id) AS quotes
            FROM cut c JOIN event e ON e.id = c.event_id ",
            $rest
        )
    };
}

statements! {
    CUTS = select_cut!("WHERE c.event_id = ?1 ORDER BY c.id");
    CUT = select_cut!("WHERE c.id = ?1");
    BY_NAME = "SELECT id FROM cut WHERE id = ?1 OR name = ?1 ORDER BY id = ?1 DESC, id LIMIT 20";
    ADD = "INSERT INTO cut (id, event_id, name, note, created_at_ms, changed_at_ms)
        SELECT ?1, ?2, ?3, ?4, ?5, ?5
        WHERE (SELECT count(*) FROM cut WHERE event_id = ?2) < ?6";
    DELETE = "DELETE FROM cut WHERE id = ?1 RETURNING event_id";
    QUOTES = "SELECT id, moment_id, text, person, lies, island, start_ms, end_ms, in_ms, in_frames,
            out_ms, out_frames, hearing_id, hearing_name, backups, note
        FROM quote WHERE cut_id = ?1 ORDER BY place";
    FORGET_QUOTES = "DELETE FROM quote WHERE cut_id = ?1";
    WRITE_QUOTES = "INSERT INTO quote (id, cut_id, place, moment_id, text, person, lies, island,
            start_ms, end_ms, in_ms, in_frames, out_ms, out_frames, hearing_id, hearing_name,
            backups, note)
        SELECT value ->> 'id', ?1, key + 1, value ->> 'moment_id', value ->> 'text',
            value ->> 'person', value -> 'lies', value ->> 'island', value ->> 'start_ms',
            value ->> 'end_ms', value ->> 'in_ms', value ->> 'in_frames', value ->> 'out_ms',
            value ->> 'out_frames', value ->> 'hearing_id', value ->> 'hearing_name',
            value ->> 'backups', value ->> 'note'
        FROM json_each(?2)";
    WRITE_CUT = "UPDATE cut SET name = ?2, note = ?3, version = version + 1, changed_at_ms = ?4
        WHERE id = ?1";
    /// How long the longest hearing of a recording is bounds how far before a stretch one
    /// may begin that reaches into it.
    TOUCHED = "WITH longest AS MATERIALIZED (
            SELECT h.recording_id, max(h.end_ms - h.start_ms) AS ms
            FROM (SELECT DISTINCT value ->> 0 AS id FROM json_each(?1)) r
                CROSS JOIN hearing h ON h.recording_id = r.id
            GROUP BY h.recording_id)
        SELECT s.key AS n, h.moment_id FROM json_each(?1) s
            CROSS JOIN longest l ON l.recording_id = s.value ->> 0
            CROSS JOIN hearing h ON h.recording_id = l.recording_id
                AND h.start_ms < s.value ->> 2 AND h.start_ms > s.value ->> 1 - l.ms
        WHERE h.end_ms > s.value ->> 1
        ORDER BY s.key, h.start_ms, h.moment_id";
}

impl Store {
    /// The cut lists of an event, the oldest first.
    ///
    /// # Errors
    /// When the database can't be read.
    pub async fn cuts(&self, event: &EventId) -> Result<Vec<CutRow>, StoreError> {
        Ok(sqlx::query_as(self.sql(CUTS))
            .bind(event)
            .fetch_all(&self.read)
            .await?)
    }

    /// The list with this id, or else the one list of this name.
    ///
    /// # Errors
    /// [`StoreError::Unknown`]; [`StoreError::Ambiguous`] when lists of several events
    /// have the name.
    pub async fn find_cut(&self, id_or_name: &str) -> Result<CutRow, StoreError> {
        let ids: Vec<CutId> = sqlx::query_scalar(self.sql(BY_NAME))
            .bind(id_or_name.trim())
            .fetch_all(&self.read)
            .await?;
        match ids.as_slice() {
            [first, rest @ ..] if rest.is_empty() || first.as_str() == id_or_name.trim() => {
                self.cut(first).await
            }
            [] => Err(no_cut(id_or_name)),
            several => Err(StoreError::Ambiguous {
                what: "cut lists",
                title: id_or_name.to_owned(),
                ids: several.iter().map(|id| id.0.clone()).collect(),
            }),
        }
    }

    /// One list, without its quotes.
    ///
    /// # Errors
    /// [`StoreError::Unknown`].
    pub async fn cut(&self, id: &CutId) -> Result<CutRow, StoreError> {
        sqlx::query_as(self.sql(CUT))
            .bind(id)
            .fetch_one(&self.read)
            .await
            .map_err(unknown("cut", id))
    }

    /// One list and its quotes in order, as one look at the database sees them.
    ///
    /// # Errors
    /// [`StoreError::Unknown`].
    pub async fn whole_cut(&self, id: &CutId) -> Result<(CutRow, Vec<Quote>), StoreError> {
        let mut look = self.read.begin().await?;
        self.read_cut(&mut look, id).await
    }

    async fn read_cut(
        &self,
        look: &mut Transaction<'static, Sqlite>,
        id: &CutId,
    ) -> Result<(CutRow, Vec<Quote>), StoreError> {
        let row = sqlx::query_as(self.sql(CUT))
            .bind(id)
            .fetch_one(&mut **look)
            .await
            .map_err(unknown("cut", id))?;
        let quotes = sqlx::query_as(self.sql(QUOTES))
            .bind(id)
            .fetch_all(&mut **look)
            .await?;
        Ok((row, quotes))
    }

    /// Makes an empty list in an event that has fewer than `most`.
    ///
    /// # Errors
    /// [`StoreError::Unknown`] event; [`StoreError::Invalid`] for a blank name or too long
    /// a note; [`StoreError::Exists`]; [`StoreError::Unfit`] when the event has `most`.
    pub async fn add_cut(
        &self,
        event: &EventId,
        name: &str,
        note: &str,
        most: u32,
        now_ms: i64,
    ) -> Result<CutRow, StoreError> {
        let id = CutId::fresh();
        let done = sqlx::query(self.sql(ADD))
            .bind(&id)
            .bind(event)
            .bind(name.trim())
            .bind(note)
            .bind(now_ms)
            .bind(most)
            .execute(&self.write)
            .await
            .map_err(unknown("event", event))?;
        if done.rows_affected() == 0 {
            return Err(StoreError::Unfit {
                field: "name",
                reason: format!("an event has at most {most} cut lists; remove one first"),
            });
        }
        self.cut(&id).await
    }

    /// Takes a list away with all its versions; its event.
    ///
    /// # Errors
    /// [`StoreError::Unknown`].
    pub async fn delete_cut(&self, id: &CutId) -> Result<EventId, StoreError> {
        sqlx::query_scalar(self.sql(DELETE))
            .bind(id)
            .fetch_one(&self.write)
            .await
            .map_err(unknown("cut", id))
    }

    /// Which moments stretches of files, in ms, are of; by stretch and time.
    ///
    /// # Errors
    /// When the database can't be read.
    pub async fn touched(
        &self,
        stretches: &[(RecordingId, f64, f64)],
    ) -> Result<Vec<TouchedRow>, StoreError> {
        Ok(sqlx::query_as(self.sql(TOUCHED))
            .bind(json!(stretches).to_string())
            .fetch_all(&self.read)
            .await?)
    }
}

fn no_cut(id: &str) -> StoreError {
    unknown("cut", id)(sqlx::Error::RowNotFound)
}
