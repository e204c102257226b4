//! What did a person ask of a job?
//!
//! To stop it, to try it again (also by adding its file again), to put it first.

use sqlx::{Sqlite, Transaction};

use super::queue::Ended;
use super::statement::statements;
use super::wanting::pending;
use super::{EventId, JobId, JobKind, JobRow, RecordingId, Store, StoreError};

statements! {
    CANCEL = "UPDATE job SET state = 'cancelled', again = 0, lease_owner = NULL, lease_until_ms = NULL,
            finished_ms = ?2 WHERE id = ?1 AND state IN ('ready', 'running')
        RETURNING state, kind, event_id";
    /// A solve from scratch that was called off is not made up for by the next one.
    NOT_ANEW = "UPDATE clock SET anew = 0 WHERE event_id = ?1";
    RETRY = "UPDATE job SET state = 'ready', attempts = 0, interruptions = 0, not_before_ms = 0,
            error = NULL WHERE id = ?1 AND state IN ('failed', 'cancelled') RETURNING id";
    /// A file that was added again is tried again; what a person cancelled, only
    /// in the event it was added to.
    REVIVE = "UPDATE job SET state = 'ready', attempts = 0, interruptions = 0, not_before_ms = 0,
            error = NULL
        WHERE (state = 'failed' OR (state = 'cancelled' AND event_id = ?2))
            AND subject IN (SELECT id FROM recording WHERE file_hash = ?1)";
    /// What a model heard counts as another's from now on, until that is heard.
    OUTDATE = "UPDATE attempt SET model = model || ', earlier'
        WHERE model = ?2 AND recording_id IN (SELECT id FROM recording WHERE event_id = ?1)";
    /// Recordings in which another model heard something.
    LISTEN_AGAIN = "UPDATE job SET again = state = 'running', attempts = 0, interruptions = 0,
            not_before_ms = 0, error = NULL,
            progress = iif(state = 'running', progress, 0), begun = iif(state = 'running', begun, 0),
            cursor = iif(state = 'running', cursor, 0), windows = iif(state = 'running', windows, NULL),
            state = iif(state = 'running', 'running', 'ready')
        WHERE kind = 'transcribe' AND event_id = ?1 AND state <> 'cancelled'
            AND EXISTS (SELECT 1 FROM attempt a
                WHERE a.recording_id = job.subject AND a.model <> ?2)";
    /// Above everything that waits, also above what was put first before; what is
    /// done remembers it for the words that come later. Next come those it waits
    /// for: the clock of its event needs every file, and what it heard may be
    /// listened to in another.
    FIRST = concat!("UPDATE job SET priority = (SELECT max(priority) FROM job)
            + CASE WHEN subject = ?1 THEN 2 ELSE 1 END
        WHERE subject = ?1 OR (event_id = (SELECT event_id FROM recording WHERE id = ?1)
            AND state IN ('ready', 'running')
            AND (kind IN ('probe', 'detect', 'align', 'group') OR subject IN (
                SELECT h.recording_id FROM hearing own JOIN hearing h ON h.moment_id = own.moment_id
                WHERE own.recording_id = ?1 AND own.heard = 1 AND ", pending!(), ")))");
}

impl Store {
    /// Lets one job wait again if it failed or was cancelled; says whether it had.
    pub(super) async fn revive_job(
        &self,
        transaction: &mut Transaction<'static, Sqlite>,
        job: JobId,
    ) -> Result<bool, StoreError> {
        let revived: Option<JobId> = sqlx::query_scalar(self.sql(RETRY))
            .bind(job)
            .fetch_optional(&mut **transaction)
            .await?;
        Ok(revived.is_some())
    }

    /// Lets failed jobs of a file's recordings wait again, and those that were
    /// cancelled in `event`.
    pub(super) async fn revive(
        &self,
        transaction: &mut Transaction<'static, Sqlite>,
        event: &EventId,
        hash: &str,
    ) -> Result<(), StoreError> {
        sqlx::query(self.sql(REVIVE))
            .bind(hash)
            .bind(event)
            .execute(&mut **transaction)
            .await?;
        Ok(())
    }

    /// Has an event listened to again wherever another model than this one did or, if
    /// `anew`, any; says of how many recordings. What a person called off stays so.
    ///
    /// # Errors
    /// When the database can't be written.
    pub async fn listen_again(
        &self,
        event: &EventId,
        model: &str,
        anew: bool,
    ) -> Result<u64, StoreError> {
        let mut transaction = self.begin().await?;
        if anew {
            sqlx::query(self.sql(OUTDATE))
                .bind(event)
                .bind(model)
                .execute(&mut *transaction)
                .await?;
        }
        let again = sqlx::query(self.sql(LISTEN_AGAIN))
            .bind(event)
            .bind(model)
            .execute(&mut *transaction)
            .await?;
        transaction.commit().await?;
        Ok(again.rows_affected())
    }

    /// Stops a waiting or running job for good. Its worker notices by itself; its
    /// event goes on without it, see [`Store::fail`].
    ///
    /// # Errors
    /// [`StoreError::Unknown`]; [`StoreError::JobState`] if it is over.
    pub async fn cancel_job(&self, id: JobId, now_ms: i64) -> Result<JobRow, StoreError> {
        let mut transaction = self.begin().await?;
        let ended: Option<Ended> = sqlx::query_as(self.sql(CANCEL))
            .bind(id)
            .bind(now_ms)
            .fetch_optional(&mut *transaction)
            .await?;
        if let Some(ended) = &ended {
            if ended.kind == JobKind::Align {
                sqlx::query(self.sql(NOT_ANEW))
                    .bind(&ended.event_id)
                    .execute(&mut *transaction)
                    .await?;
            }
            self.pass_on(&mut transaction, ended).await?;
        }
        transaction.commit().await?;
        self.after_change(id, ended.is_some(), "waiting or running", "cancelled")
            .await
    }

    /// Lets a failed or cancelled job wait again, with all its attempts.
    ///
    /// # Errors
    /// [`StoreError::Unknown`]; [`StoreError::JobState`] otherwise.
    pub async fn retry_job(&self, id: JobId) -> Result<JobRow, StoreError> {
        let changed: Option<JobId> = sqlx::query_scalar(self.sql(RETRY))
            .bind(id)
            .fetch_optional(&self.write)
            .await?;
        self.after_change(id, changed.is_some(), "failed or cancelled", "retried")
            .await
    }

    async fn after_change(
        &self,
        id: JobId,
        changed: bool,
        wanted: &'static str,
        verb: &'static str,
    ) -> Result<JobRow, StoreError> {
        let row = self.job(id).await?;
        if changed {
            return Ok(row);
        }
        Err(StoreError::JobState {
            id,
            state: row.state.as_str(),
            wanted,
            verb,
        })
    }

    /// Lets everything still to do for a recording go before all else.
    ///
    /// # Errors
    /// [`StoreError::Unknown`].
    pub async fn put_first(&self, recording: &RecordingId) -> Result<(), StoreError> {
        self.recording(recording).await?;
        sqlx::query(self.sql(FIRST))
            .bind(recording)
            .execute(&self.write)
            .await?;
        Ok(())
    }
}
