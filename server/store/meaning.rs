//! What do the moments of an event mean, and which are near to a question?
//!
//! A moment's direction is kept with a fingerprint of the text it was found for. It goes
//! with the moment and as soon as its words change, by triggers of the schema; `meaning`
//! is queued where words are written or who speaks was found, while there is a model.

use futures_util::TryStreamExt;
use sayback_core::meaning::{Nearest, Question};
use serde_json::json;
use sqlx::{FromRow, Row, Sqlite, Transaction};

use super::queue::NewJob;
use super::statement::statements;
use super::{EventId, JobId, JobKind, Lease, MomentId, PersonId, Store, StoreError};

/// What was said in a moment, and what was found for it.
#[derive(Clone, Debug, PartialEq, Eq, FromRow)]
pub struct MeaningRow {
    /// Its number.
    pub no: i64,
    /// Whose clock its times are on.
    pub island: i64,
    /// Start on it, ms.
    pub start_ms: i64,
    /// End on it, ms, exclusive.
    pub end_ms: i64,
    /// Who speaks.
    pub person_id: Option<PersonId>,
    /// Its words.
    pub text: String,
    /// Of the text that its direction was found for; `None` without one.
    pub fingerprint: Option<Vec<u8>>,
}

/// Where the text of a moment points.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NewMeaning {
    /// The moment's number.
    pub no: i64,
    /// Of model and text, 16 bytes.
    pub fingerprint: Vec<u8>,
    /// As `core::meaning::Meaning::to_bytes` writes it.
    pub vector: Vec<u8>,
}

/// A moment near to a question.
#[derive(Clone, Debug, PartialEq)]
pub struct MeantRow {
    /// The moment.
    pub moment: MomentId,
    /// Its event.
    pub event: EventId,
    /// The cosine between the two, -1 to 1.
    pub likeness: f32,
}

statements! {
    SAID_IN_EVENT = "SELECT m.no, m.island, m.start_ms, m.end_ms, m.person_id, m.text, n.fingerprint
        FROM moment m LEFT JOIN meaning n ON n.moment_no = m.no
        WHERE m.event_id = ?1 AND m.text <> '' ORDER BY m.island, m.start_ms, m.no";
    /// Only of a moment that is still there.
    KEEP_MEANING = "INSERT INTO meaning (moment_no, event_id, fingerprint, vector)
        SELECT no, event_id, ?3, ?4 FROM moment WHERE no = ?1 AND event_id = ?2 AND text <> ''
        ON CONFLICT (moment_no) DO UPDATE SET fingerprint = excluded.fingerprint,
            vector = excluded.vector";
    MEANING_OF_EVENT = "SELECT moment_no, vector FROM meaning WHERE event_id = ?1";
    MEANING_OF_ALL = "SELECT moment_no, vector FROM meaning";
    MEANT = "SELECT m.no, m.id, m.event_id FROM json_each(?1) v JOIN moment m ON m.no = v.value";
    /// Which event's meaning is another when a job is done.
    MEANING_CHANGED_BY = "SELECT event_id FROM job WHERE id = ?1 AND kind IN ('transcribe', 'voices')
        AND EXISTS (SELECT 1 FROM setting WHERE name = 'meaning' AND value = '1')";
    /// Events with words whose meaning was never looked for.
    WITHOUT_MEANING = "SELECT e.id FROM event e WHERE EXISTS (SELECT 1 FROM moment m
        WHERE m.event_id = e.id AND m.text <> ''
            AND NOT EXISTS (SELECT 1 FROM meaning n WHERE n.moment_no = m.no))";
}

impl Store {
    /// What was said in an event, by island and time; moments without words are left out.
    ///
    /// # Errors
    /// When the database can't be read.
    pub async fn to_be_meant(&self, event: &EventId) -> Result<Vec<MeaningRow>, StoreError> {
        Ok(sqlx::query_as(self.sql(SAID_IN_EVENT))
            .bind(event)
            .fetch_all(&self.read)
            .await?)
    }

    /// Keeps where texts point; of moments that are gone nothing.
    ///
    /// # Errors
    /// [`StoreError::DiskFull`].
    pub async fn keep_meaning(
        &self,
        event: &EventId,
        rows: &[NewMeaning],
    ) -> Result<(), StoreError> {
        let mut transaction = self.begin().await?;
        for row in rows {
            sqlx::query(self.sql(KEEP_MEANING))
                .bind(row.no)
                .bind(event)
                .bind(&row.fingerprint)
                .bind(&row.vector)
                .execute(&mut *transaction)
                .await?;
        }
        transaction.commit().await?;
        Ok(())
    }

    /// Writes that `meaning` is done.
    ///
    /// # Errors
    /// [`StoreError::LeaseLost`]; [`StoreError::DiskFull`].
    pub async fn finish_meaning(&self, lease: &Lease, now_ms: i64) -> Result<(), StoreError> {
        let mut transaction = self.begin().await?;
        self.complete(&mut transaction, lease, None, now_ms).await?;
        transaction.commit().await?;
        Ok(())
    }

    /// The moments nearest to a question, the likest first: of one event or of all, at
    /// most so many. Every direction is looked at, one at a time: it computes for long
    /// (1 µs a moment and more) and is no call for an async thread.
    ///
    /// # Errors
    /// When the database can't be read.
    pub async fn nearest(
        &self,
        question: &Question,
        event: Option<&EventId>,
        most: usize,
    ) -> Result<Vec<MeantRow>, StoreError> {
        let mut nearest: Nearest<i64> = Nearest::new(most);
        let asked = match event {
            Some(event) => sqlx::query(self.sql(MEANING_OF_EVENT)).bind(event),
            None => sqlx::query(self.sql(MEANING_OF_ALL)),
        };
        let mut rows = asked.fetch(&self.read);
        while let Some(row) = rows.try_next().await? {
            if let Some(likeness) = question.likeness(row.try_get::<&[u8], _>(1)?) {
                nearest.offer(likeness, row.try_get(0)?);
            }
        }
        drop(rows);
        let nearest = nearest.finish();
        let numbers: Vec<i64> = nearest.iter().map(|(_, no)| *no).collect();
        let named: Vec<(i64, MomentId, EventId)> = sqlx::query_as(self.sql(MEANT))
            .bind(json!(numbers).to_string())
            .fetch_all(&self.read)
            .await?;
        let meant = nearest.into_iter().filter_map(|(likeness, no)| {
            let (_, moment, event) = named.iter().find(|(number, ..)| *number == no)?;
            Some(MeantRow {
                moment: moment.clone(),
                event: event.clone(),
                likeness,
            })
        });
        Ok(meant.collect())
    }

    /// Says whether there is a model of meaning. Where there was none before, what was
    /// said in all events until now is looked at.
    ///
    /// # Errors
    /// When the database can't be written.
    pub async fn look_for_meaning(&self, there: bool) -> Result<bool, StoreError> {
        let before = self.has_meaning().await?;
        if before == there {
            return Ok(false);
        }
        self.set_meaning(there).await?;
        if !there {
            return Ok(false);
        }
        let mut transaction = self.begin().await?;
        let events: Vec<EventId> = sqlx::query_scalar(self.sql(WITHOUT_MEANING))
            .fetch_all(&mut *transaction)
            .await?;
        for event in &events {
            self.meaning_of(&mut transaction, event).await?;
        }
        transaction.commit().await?;
        Ok(!events.is_empty())
    }

    /// Queues `meaning` if what a job did makes it another.
    pub(super) async fn meaning_changes(
        &self,
        transaction: &mut Transaction<'static, Sqlite>,
        job: JobId,
    ) -> Result<(), StoreError> {
        let event: Option<EventId> = sqlx::query_scalar(self.sql(MEANING_CHANGED_BY))
            .bind(job)
            .fetch_optional(&mut **transaction)
            .await?;
        match event {
            Some(event) => self.meaning_of(transaction, &event).await,
            None => Ok(()),
        }
    }

    /// Has what is meant in an event found again.
    pub(super) async fn meaning_of(
        &self,
        transaction: &mut Transaction<'static, Sqlite>,
        event: &EventId,
    ) -> Result<(), StoreError> {
        let meaning = NewJob::of_event(JobKind::Meaning, event);
        self.queue_again(transaction, meaning).await
    }
}
