//! What is the speech model to listen to yet?
//!
//! The hearings of a recording that are listened to together are a batch, which a
//! kill does not change: the next run packs the same windows and goes on with
//! those that hold a hearing without an attempt.

use sayback_core::moments::{SecondTry, second_tries};
use sqlx::{FromRow, Sqlite, Transaction};

use super::statement::statements;
use super::{EventId, Lease, MomentId, RecordingId, RecordingRow, Store, StoreError, queue};

/// A hearing the model is to listen to, or has.
#[derive(Clone, Debug, PartialEq, FromRow)]
pub struct Wanted {
    /// The moment.
    pub moment_id: MomentId,
    /// Start in the file, ms.
    pub start_ms: i64,
    /// End in the file, ms, exclusive.
    pub end_ms: i64,
    /// Whether the model has listened to it.
    pub tried: bool,
}

#[derive(FromRow)]
struct Second {
    moment_id: MomentId,
    recording_id: RecordingId,
    ms: i64,
    sure: Option<f32>,
}

/// A hearing `h` that is to be listened to yet.
macro_rules! pending {
    () => {
        "h.wanted > 0 AND NOT EXISTS (SELECT 1 FROM attempt a
            WHERE a.moment_id = h.moment_id AND a.recording_id = h.recording_id)"
    };
}
pub(super) use pending;

statements! {
    HELD = "SELECT EXISTS (SELECT 1 FROM job WHERE id = ?1 AND lease_owner = ?2
        AND state = 'running')";
    /// Moments whose words another model wrote, from this recording.
    OTHER_MODEL = "SELECT json_group_array(a.moment_id) FROM attempt a
            JOIN moment m ON m.id = a.moment_id
        WHERE a.recording_id = ?1 AND a.model <> ?2 AND m.words_from = ?1";
    FORGET_WORDS_FROM = "UPDATE moment SET words_from = NULL
        WHERE by_hand = 0 AND id IN (SELECT value FROM json_each(?1))";
    FORGET_ATTEMPTS_AT = "DELETE FROM attempt
        WHERE moment_id IN (SELECT value FROM json_each(?1))";
    WANT_HERE = "UPDATE hearing SET wanted = recording_id = ?2, batch = NULL
        WHERE moment_id IN (SELECT value FROM json_each(?1))";
    FORGET_ATTEMPTS = "DELETE FROM attempt WHERE recording_id = ?1 AND model <> ?2";
    REPACK = "UPDATE hearing SET batch = NULL WHERE recording_id = ?1 AND NOT EXISTS (
        SELECT 1 FROM attempt a WHERE a.moment_id = hearing.moment_id
            AND a.recording_id = hearing.recording_id)";
    SET_MODEL = "UPDATE recording SET model = ?2 WHERE id = ?1";
    OPEN_BATCH = concat!("SELECT min(h.batch) FROM hearing h WHERE h.recording_id = ?1 AND ",
        pending!());
    /// First choices before second tries, each packed by themselves: so what lies
    /// in a window does not depend on the order in which recordings are done.
    NEW_BATCH = "UPDATE hearing SET batch = 1 + (SELECT coalesce(max(batch), 0) FROM hearing
            WHERE recording_id = ?1)
        WHERE recording_id = ?1 AND wanted = (
                SELECT min(h.wanted) FROM hearing h WHERE h.recording_id = ?1 AND h.wanted > 0
                    AND NOT EXISTS (SELECT 1 FROM attempt a WHERE a.moment_id = h.moment_id
                        AND a.recording_id = h.recording_id))
            AND NOT EXISTS (SELECT 1 FROM attempt a WHERE a.moment_id = hearing.moment_id
                AND a.recording_id = hearing.recording_id)";
    BATCH = "SELECT h.moment_id, h.start_ms, h.end_ms, EXISTS (SELECT 1 FROM attempt a
            WHERE a.moment_id = h.moment_id AND a.recording_id = h.recording_id) AS tried
        FROM hearing h WHERE h.recording_id = ?1 AND h.batch = ?2 AND h.wanted > 0
        ORDER BY h.start_ms, h.end_ms, h.moment_id";
    PLAN = "UPDATE job SET windows = ?3, cursor = ?4, progress = ?4 * 1.0 / max(?3, 1),
            begun = ?4 * 1.0 / max(?3, 1), audio_ms = ?5
        WHERE id = ?1 AND lease_owner = ?2 AND state = 'running'";
    /// More came while it was listened to, or is of another kind.
    MORE = concat!("UPDATE job SET again = 1, cursor = 0, windows = NULL
        WHERE id = ?1 AND EXISTS (SELECT 1 FROM hearing h WHERE h.recording_id = ?2 AND ",
        pending!(), ")");
    LISTENING = "SELECT EXISTS (SELECT 1 FROM job WHERE event_id = ?1 AND kind = 'transcribe'
        AND state IN ('ready', 'running'))";
    SPENT = "SELECT coalesce((SELECT sum(h.end_ms - h.start_ms) FROM moment m
                JOIN hearing h ON h.moment_id = m.id AND h.wanted > 0 WHERE m.event_id = ?1), 0),
            coalesce((SELECT sum(end_ms - start_ms) FROM moment WHERE event_id = ?1), 0)";
    /// The next best hearing of each doubted moment, and how sure its words are.
    SECONDS = "SELECT moment_id, recording_id, ms,
            (SELECT avg(w.confidence) FROM word w WHERE w.moment_id = s.moment_id) AS sure
        FROM (
            SELECT m.id AS moment_id, h.recording_id, h.end_ms - h.start_ms AS ms, m.island,
                m.start_ms, row_number() OVER (PARTITION BY m.id ORDER BY h.n, h.recording_id) AS k
            FROM moment m JOIN hearing h ON h.moment_id = m.id
            WHERE m.event_id = ?1 AND m.doubt IS NOT NULL AND m.by_hand = 0 AND h.heard = 1 AND h.wanted = 0
                AND NOT EXISTS (SELECT 1 FROM hearing o
                    WHERE o.moment_id = m.id AND o.wanted = 2)
                AND NOT EXISTS (SELECT 1 FROM job j WHERE j.subject = h.recording_id
                    AND j.kind = 'transcribe' AND j.state IN ('failed', 'cancelled'))) s
        WHERE k = 1
        ORDER BY island, start_ms, moment_id";
    WANT_SECOND = "UPDATE hearing SET wanted = 2 WHERE moment_id = ?1 AND recording_id = ?2";
}

impl Store {
    /// The hearings of a recording to be listened to together by `model`, in the
    /// order of the file, some of them perhaps done; none when nothing is wanted.
    /// What another model heard in this recording is dropped first; what a person put
    /// right stays, and is listened to anew all the same.
    ///
    /// # Errors
    /// [`StoreError::LeaseLost`]; [`StoreError::DiskFull`].
    pub async fn begin_listening(
        &self,
        lease: &Lease,
        recording: &RecordingId,
        model: &str,
    ) -> Result<Vec<Wanted>, StoreError> {
        let mut transaction = self.begin().await?;
        let held: bool = sqlx::query_scalar(self.sql(HELD))
            .bind(lease.job)
            .bind(&lease.owner)
            .fetch_one(&mut *transaction)
            .await?;
        queue::held(lease, u64::from(held))?;
        self.forget_other_models(&mut transaction, recording, model)
            .await?;
        let mut batch = self.open_batch(&mut transaction, recording).await?;
        if batch.is_none() {
            sqlx::query(self.sql(NEW_BATCH))
                .bind(recording)
                .execute(&mut *transaction)
                .await?;
            batch = self.open_batch(&mut transaction, recording).await?;
        }
        let wanted = sqlx::query_as(self.sql(BATCH))
            .bind(recording)
            .bind(batch)
            .fetch_all(&mut *transaction)
            .await?;
        transaction.commit().await?;
        Ok(wanted)
    }

    async fn open_batch(
        &self,
        transaction: &mut Transaction<'static, Sqlite>,
        recording: &RecordingId,
    ) -> Result<Option<i64>, StoreError> {
        Ok(sqlx::query_scalar(self.sql(OPEN_BATCH))
            .bind(recording)
            .fetch_one(&mut **transaction)
            .await?)
    }

    async fn forget_other_models(
        &self,
        transaction: &mut Transaction<'static, Sqlite>,
        recording: &RecordingId,
        model: &str,
    ) -> Result<(), StoreError> {
        let moments: String = sqlx::query_scalar(self.sql(OTHER_MODEL))
            .bind(recording)
            .bind(model)
            .fetch_one(&mut **transaction)
            .await?;
        if moments != "[]" {
            for statement in [FORGET_WORDS_FROM, FORGET_ATTEMPTS_AT] {
                sqlx::query(self.sql(statement))
                    .bind(&moments)
                    .execute(&mut **transaction)
                    .await?;
            }
            sqlx::query(self.sql(WANT_HERE))
                .bind(&moments)
                .bind(recording)
                .execute(&mut **transaction)
                .await?;
            self.count_words(transaction, &moments).await?;
        }
        let forgotten = sqlx::query(self.sql(FORGET_ATTEMPTS))
            .bind(recording)
            .bind(model)
            .execute(&mut **transaction)
            .await?;
        if moments != "[]" || forgotten.rows_affected() > 0 {
            sqlx::query(self.sql(REPACK))
                .bind(recording)
                .execute(&mut **transaction)
                .await?;
        }
        sqlx::query(self.sql(SET_MODEL))
            .bind(recording)
            .bind(model)
            .execute(&mut **transaction)
            .await?;
        Ok(())
    }

    /// Writes into how many windows the hearings of [`Store::begin_listening`]
    /// went, how many of these are done, and how much speech they hold.
    ///
    /// # Errors
    /// [`StoreError::LeaseLost`]; [`StoreError::DiskFull`].
    pub async fn plan_windows(
        &self,
        lease: &Lease,
        windows: i64,
        done: i64,
        speech_ms: i64,
    ) -> Result<(), StoreError> {
        let planned = sqlx::query(self.sql(PLAN))
            .bind(lease.job)
            .bind(&lease.owner)
            .bind(windows)
            .bind(done)
            .bind(speech_ms)
            .execute(&self.write)
            .await?;
        queue::held(lease, planned.rows_affected())
    }

    /// Writes that the hearings of [`Store::begin_listening`] are done. What is
    /// wanted beyond them keeps the job waiting. When no recording of the event
    /// is left, doubted moments get a second try at their next best hearing, as
    /// far as that fits what the model may listen to in all.
    ///
    /// # Errors
    /// [`StoreError::LeaseLost`]; [`StoreError::DiskFull`].
    pub async fn finish_listening(
        &self,
        lease: &Lease,
        recording: &RecordingRow,
        now_ms: i64,
    ) -> Result<(), StoreError> {
        let mut transaction = self.begin().await?;
        sqlx::query(self.sql(MORE))
            .bind(lease.job)
            .bind(&recording.id)
            .execute(&mut *transaction)
            .await?;
        self.complete(&mut transaction, lease, None, now_ms).await?;
        self.try_seconds(&mut transaction, &recording.event_id)
            .await?;
        transaction.commit().await?;
        Ok(())
    }

    /// Once no recording of an event is left to be listened to, has doubted moments
    /// listened to a second time.
    pub(super) async fn try_seconds(
        &self,
        transaction: &mut Transaction<'static, Sqlite>,
        event: &EventId,
    ) -> Result<(), StoreError> {
        let listening: bool = sqlx::query_scalar(self.sql(LISTENING))
            .bind(event)
            .fetch_one(&mut **transaction)
            .await?;
        if listening {
            return Ok(());
        }
        self.want_seconds(transaction, event).await?;
        self.queue_words(transaction, event).await
    }

    async fn want_seconds(
        &self,
        transaction: &mut Transaction<'static, Sqlite>,
        event: &EventId,
    ) -> Result<(), StoreError> {
        let (spent, distinct): (i64, i64) = sqlx::query_as(self.sql(SPENT))
            .bind(event)
            .fetch_one(&mut **transaction)
            .await?;
        let seconds: Vec<Second> = sqlx::query_as(self.sql(SECONDS))
            .bind(event)
            .fetch_all(&mut **transaction)
            .await?;
        let tries: Vec<SecondTry> = seconds
            .iter()
            .map(|second| SecondTry {
                sure: second.sure,
                ms: second.ms,
            })
            .collect();
        for n in second_tries(&tries, spent, distinct) {
            sqlx::query(self.sql(WANT_SECOND))
                .bind(&seconds[n].moment_id)
                .bind(&seconds[n].recording_id)
                .execute(&mut **transaction)
                .await?;
        }
        Ok(())
    }
}
