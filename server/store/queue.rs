//! Which job is next, and who holds it?
//!
//! A job is held by a lease: an owner and a time until which the owner is
//! believed to live. Claiming is one statement. Whatever a worker writes later
//! is guarded by the lease, so a worker that lost it (cancelled, or thought dead)
//! can't write anything.

use sqlx::{FromRow, Sqlite, Transaction};

use super::error::unknown;
use super::statement::statements;
use super::{EventId, JobId, JobKind, JobRow, JobState, Store, StoreError};

/// Which workers may take a job.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Lane {
    /// All others: one core's worth of work each.
    Light,
    /// Transcribe: the model, loaded once.
    Model,
}

impl Lane {
    pub(super) fn as_str(self) -> &'static str {
        match self {
            Self::Light => "light",
            Self::Model => "model",
        }
    }
}

/// The right to work on a job and to write its output.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Lease {
    /// The job.
    pub job: JobId,
    /// Who holds it, under which claim; unique for each claim.
    pub owner: String,
}

/// A job just claimed.
#[derive(Clone, Debug, FromRow)]
pub struct Claim {
    /// The job.
    pub id: JobId,
    /// The step.
    pub kind: JobKind,
    /// An intake's id for [`JobKind::Probe`], an event's for [`JobKind::Align`],
    /// [`JobKind::Group`], [`JobKind::Voices`] and [`JobKind::Meaning`], otherwise a
    /// recording's.
    pub subject: String,
    /// The event.
    pub event_id: EventId,
    /// The holder given to [`Store::claim`].
    pub lease_owner: String,
    /// Failures before this claim.
    pub attempts: i64,
}

impl Claim {
    /// The lease that came with the claim.
    #[must_use]
    pub fn lease(&self) -> Lease {
        Lease {
            job: self.id,
            owner: self.lease_owner.clone(),
        }
    }
}

/// A sign of life for one held job.
#[derive(Clone, Debug)]
pub struct Beat {
    /// What is held.
    pub lease: Lease,
    /// 0 to 1.
    pub progress: f64,
}

/// How a step failed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Failure {
    /// For people: names the file, the cause and what to do.
    pub error: String,
    /// When to try again, ms since 1970; `None` if that can't help.
    pub retry_at_ms: Option<i64>,
    /// After how many failures to give up.
    pub max_attempts: i64,
}

/// How a claim ended without a result.
#[derive(FromRow)]
pub(super) struct Ended {
    pub state: JobState,
    pub kind: JobKind,
    pub event_id: EventId,
}

#[derive(FromRow)]
struct Freed {
    id: JobId,
    #[sqlx(flatten)]
    ended: Ended,
}

/// A job to be queued by another method of the store.
pub(super) struct NewJob<'a> {
    pub kind: JobKind,
    pub subject: &'a str,
    pub event: &'a EventId,
    pub audio_ms: Option<i64>,
    /// The job whose priority it takes over.
    pub after: Option<&'a Lease>,
}

impl<'a> NewJob<'a> {
    /// A step of a whole event that a person asked for.
    pub fn of_event(kind: JobKind, event: &'a EventId) -> Self {
        Self {
            kind,
            subject: event.as_str(),
            event,
            audio_ms: None,
            after: None,
        }
    }
}

/// The progress of a job that nobody works on: what is written of it.
macro_rules! written {
    () => {
        "CASE WHEN windows > 0 THEN cursor * 1.0 / windows ELSE 0.0 END"
    };
}
pub(super) use written;

statements! {
    QUEUE = "INSERT INTO job (kind, subject, event_id, audio_ms, priority)
        VALUES (?1, ?2, ?3, ?4, coalesce((SELECT priority FROM job WHERE id = ?5), 0))
        ON CONFLICT (kind, subject) DO NOTHING";
    /// What runs now runs once more afterwards.
    QUEUE_AGAIN = "INSERT INTO job (kind, subject, event_id, audio_ms, priority)
        VALUES (?1, ?2, ?3, ?4, coalesce((SELECT priority FROM job WHERE id = ?5), 0))
        ON CONFLICT (kind, subject) DO UPDATE SET
            again = state = 'running', priority = max(priority, excluded.priority),
            attempts = CASE state WHEN 'running' THEN attempts ELSE 0 END,
            interruptions = CASE state WHEN 'running' THEN interruptions ELSE 0 END,
            not_before_ms = CASE state WHEN 'running' THEN not_before_ms ELSE 0 END,
            progress = CASE state WHEN 'running' THEN progress ELSE 0 END,
            error = CASE state WHEN 'running' THEN error END,
            audio_ms = coalesce(excluded.audio_ms, audio_ms),
            state = CASE state WHEN 'running' THEN 'running' ELSE 'ready' END";
    BEAT = "UPDATE job SET lease_until_ms = ?3, progress = max(progress, ?4)
        WHERE id = ?1 AND lease_owner = ?2 AND state = 'running'";
    COMPLETE = "UPDATE job SET state = iif(again, 'ready', 'done'), again = 0,
            lease_owner = NULL, lease_until_ms = NULL, progress = iif(again, 0, 1),
            attempts = iif(again, 0, attempts), interruptions = iif(again, 0, interruptions), error = NULL, finished_ms = ?3, audio_ms = coalesce(?4, audio_ms)
        WHERE id = ?1 AND lease_owner = ?2 AND state = 'running'";
    FAIL = concat!("UPDATE job SET attempts = attempts + 1, error = ?3,
            state = CASE WHEN again OR (?4 IS NOT NULL AND attempts + 1 < ?5)
                THEN 'ready' ELSE 'failed' END,
            again = 0, not_before_ms = coalesce(?4, 0), lease_owner = NULL, lease_until_ms = NULL,
            finished_ms = ?6, progress = ", written!(), "
        WHERE id = ?1 AND lease_owner = ?2 AND state = 'running'
        RETURNING state, kind, event_id");
    GIVE_BACK = concat!("UPDATE job SET state = 'ready', again = 0, lease_owner = NULL, lease_until_ms = NULL,
            progress = ", written!(), "
        WHERE id = ?1 AND lease_owner = ?2 AND state = 'running'");
    OWNERS = "SELECT lease_owner, lease_until_ms FROM job WHERE state = 'running'";
    /// Frees what dead owners held. A job that takes the program down again and
    /// again is given up, or it would hold up all others for ever.
    FREE = concat!("UPDATE job SET interruptions = interruptions + 1,
            state = CASE WHEN interruptions + 1 >= ?3 THEN 'failed' ELSE 'ready' END,
            error = CASE WHEN interruptions + 1 >= ?3 THEN 'sayback was stopped '
                || (interruptions + 1) || ' times while working on this; '
                || CASE kind WHEN 'voices' THEN 'have who speaks found again'
                    WHEN 'meaning' THEN 'have who speaks found again'
                    WHEN 'align' THEN 'have the clock of the event solved again'
                    WHEN 'group' THEN 'have the clock of the event solved again'
                    ELSE 'add it again' END || ' to have it tried'
                ELSE error END,
            again = 0, lease_owner = NULL, lease_until_ms = NULL, progress = ", written!(), "
        WHERE state = 'running'
            AND (lease_until_ms < ?1 OR lease_owner IN (SELECT value FROM json_each(?2)))
        RETURNING id, state, kind, event_id");
    JOB = "SELECT id, kind, subject, event_id, state, priority, attempts, interruptions,
            not_before_ms, progress, error FROM job WHERE id = ?1";
    JOBS_OF = "SELECT id, kind, subject, event_id, state, priority, attempts, interruptions,
            not_before_ms, progress, error FROM job WHERE subject = ?1 ORDER BY rank";
}

impl Store {
    pub(super) async fn queue_job(
        &self,
        transaction: &mut Transaction<'static, Sqlite>,
        job: NewJob<'_>,
    ) -> Result<(), StoreError> {
        self.queue(transaction, QUEUE, job).await
    }

    /// Queues a job, also if it was done before; one that is running runs once
    /// more when it is through.
    pub(super) async fn queue_again(
        &self,
        transaction: &mut Transaction<'static, Sqlite>,
        job: NewJob<'_>,
    ) -> Result<(), StoreError> {
        self.queue(transaction, QUEUE_AGAIN, job).await
    }

    async fn queue(
        &self,
        transaction: &mut Transaction<'static, Sqlite>,
        statement: &'static super::statement::Statement,
        job: NewJob<'_>,
    ) -> Result<(), StoreError> {
        sqlx::query(self.sql(statement))
            .bind(job.kind)
            .bind(job.subject)
            .bind(job.event)
            .bind(job.audio_ms)
            .bind(job.after.map(|lease| lease.job))
            .execute(&mut **transaction)
            .await
            .map_err(unknown("event", job.event))?;
        Ok(())
    }

    /// Marks a held job as done, inside the transaction that writes its output.
    pub(super) async fn complete(
        &self,
        transaction: &mut Transaction<'static, Sqlite>,
        lease: &Lease,
        audio_ms: Option<i64>,
        now_ms: i64,
    ) -> Result<(), StoreError> {
        let done = sqlx::query(self.sql(COMPLETE))
            .bind(lease.job)
            .bind(&lease.owner)
            .bind(now_ms)
            .bind(audio_ms)
            .execute(&mut **transaction)
            .await?;
        held(lease, done.rows_affected())?;
        self.meaning_changes(transaction, lease.job).await
    }

    /// Renews leases until `until_ms` and writes progress. Returns the jobs that
    /// are held no longer: somebody cancelled them, or thought their owner dead.
    ///
    /// # Errors
    /// [`StoreError::Busy`], [`StoreError::DiskFull`].
    pub async fn beat(&self, beats: &[Beat], until_ms: i64) -> Result<Vec<JobId>, StoreError> {
        let mut transaction = self.begin().await?;
        let mut lost = Vec::new();
        for beat in beats {
            let renewed = sqlx::query(self.sql(BEAT))
                .bind(beat.lease.job)
                .bind(&beat.lease.owner)
                .bind(until_ms)
                .bind(beat.progress.clamp(0.0, 1.0))
                .execute(&mut *transaction)
                .await?;
            if renewed.rows_affected() == 0 {
                lost.push(beat.lease.job);
            }
        }
        transaction.commit().await?;
        Ok(lost)
    }

    /// Writes that a step failed; says whether it will be tried again
    /// ([`JobState::Ready`]) or not ([`JobState::Failed`]). Words that can't be
    /// heard in one recording are then looked for in others, and without a clock
    /// each recording has its own.
    ///
    /// # Errors
    /// [`StoreError::LeaseLost`].
    pub async fn fail(
        &self,
        lease: &Lease,
        failure: &Failure,
        now_ms: i64,
    ) -> Result<JobState, StoreError> {
        let mut transaction = self.begin().await?;
        let ended: Ended = sqlx::query_as(self.sql(FAIL))
            .bind(lease.job)
            .bind(&lease.owner)
            .bind(&failure.error)
            .bind(failure.retry_at_ms)
            .bind(failure.max_attempts)
            .bind(now_ms)
            .fetch_optional(&mut *transaction)
            .await?
            .ok_or(StoreError::LeaseLost(lease.job))?;
        if ended.state == JobState::Failed {
            self.pass_on(&mut transaction, &ended).await?;
        }
        transaction.commit().await?;
        Ok(ended.state)
    }

    /// Puts a held job back as if it had never been taken: at an orderly shutdown,
    /// or to make room.
    ///
    /// # Errors
    /// When the database can't be written.
    pub async fn give_back(&self, lease: &Lease) -> Result<(), StoreError> {
        sqlx::query(self.sql(GIVE_BACK))
            .bind(lease.job)
            .bind(&lease.owner)
            .execute(&self.write)
            .await?;
        Ok(())
    }

    /// Everyone who holds a job, and until when (ms since 1970) that is believed.
    ///
    /// # Errors
    /// When the database can't be read.
    pub async fn lease_owners(&self) -> Result<Vec<(String, i64)>, StoreError> {
        Ok(sqlx::query_as(self.sql(OWNERS))
            .fetch_all(&self.read)
            .await?)
    }

    /// Frees the jobs whose lease ran out before `now_ms` and those held by
    /// `dead`; a job that was interrupted `max_interruptions` times is given up.
    ///
    /// # Errors
    /// When the database can't be written.
    pub async fn free(
        &self,
        dead: &[String],
        now_ms: i64,
        max_interruptions: i64,
    ) -> Result<Vec<JobId>, StoreError> {
        let mut transaction = self.begin().await?;
        let freed: Vec<Freed> = sqlx::query_as(self.sql(FREE))
            .bind(now_ms)
            .bind(serde_json::json!(dead).to_string())
            .bind(max_interruptions)
            .fetch_all(&mut *transaction)
            .await?;
        for freed in &freed {
            if freed.ended.state == JobState::Failed {
                self.pass_on(&mut transaction, &freed.ended).await?;
            }
        }
        transaction.commit().await?;
        Ok(freed.into_iter().map(|freed| freed.id).collect())
    }

    /// One job.
    ///
    /// # Errors
    /// [`StoreError::Unknown`].
    pub async fn job(&self, id: JobId) -> Result<JobRow, StoreError> {
        sqlx::query_as(self.sql(JOB))
            .bind(id)
            .fetch_one(&self.read)
            .await
            .map_err(unknown("job", id))
    }

    /// The jobs of an intake or a recording, in the order of the steps.
    ///
    /// # Errors
    /// When the database can't be read.
    pub async fn jobs_of(&self, subject: &str) -> Result<Vec<JobRow>, StoreError> {
        Ok(sqlx::query_as(self.sql(JOBS_OF))
            .bind(subject)
            .fetch_all(&self.read)
            .await?)
    }
}

/// Exactly one row must have been touched, or the lease is gone.
pub(super) fn held(lease: &Lease, rows: u64) -> Result<(), StoreError> {
    if rows == 1 {
        Ok(())
    } else {
        Err(StoreError::LeaseLost(lease.job))
    }
}
