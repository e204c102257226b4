//! Which job is next, and when should a worker make room?
//!
//! Steps of an event wait for each other here, in the statement that claims: no
//! order of events, kills or workers can let one begin too early.

use super::queue::written;
use super::statement::statements;
use super::{Claim, JobId, Lane, Store, StoreError};

/// A waiting job that may be taken as far as the others of its event are
/// concerned: the clock waits for every file, moments for the clock and for words
/// that are being written, words for moments, who speaks for everything before it, since
/// moments are cut between words, and what is meant for all. What failed holds up nothing.
macro_rules! free {
    ($job:literal) => {
        concat!(
            "CASE ", $job, ".kind
            WHEN 'align' THEN NOT EXISTS (SELECT 1 FROM job o WHERE o.event_id = ", $job, ".event_id
                AND o.kind IN ('probe', 'detect') AND o.state IN ('ready', 'running'))
            WHEN 'group' THEN NOT EXISTS (SELECT 1 FROM job o WHERE o.event_id = ", $job, ".event_id
                AND ((o.kind IN ('probe', 'detect', 'align') AND o.state IN ('ready', 'running'))
                    OR (o.kind = 'transcribe' AND o.state = 'running')))
            WHEN 'transcribe' THEN NOT ", grouping!($job), "
            WHEN 'voices' THEN NOT EXISTS (SELECT 1 FROM job o WHERE o.event_id = ", $job, ".event_id
                AND o.kind NOT IN ('voices', 'meaning') AND o.state IN ('ready', 'running'))
            WHEN 'meaning' THEN NOT EXISTS (SELECT 1 FROM job o WHERE o.event_id = ", $job, ".event_id
                AND o.kind <> 'meaning' AND o.state IN ('ready', 'running'))
            ELSE true END"
        )
    };
}

/// Whether the moments of the event of a job are being found, or could be at once
/// if nobody wrote words.
macro_rules! grouping {
    ($job:literal) => {
        concat!(
            "EXISTS (SELECT 1 FROM job g WHERE g.kind = 'group' AND g.subject = ",
            $job,
            ".event_id
                AND (g.state = 'running' OR (g.state = 'ready' AND g.not_before_ms <= ?2
                    AND NOT EXISTS (SELECT 1 FROM job o WHERE o.event_id = g.event_id
                        AND o.kind IN ('probe', 'detect', 'align')
                        AND o.state IN ('ready', 'running')))))"
        )
    };
}

statements! {
    /// The most urgent job of each event, those that took a process down last; of
    /// these the most urgent; of equals, the event that was served longest ago.
    CLAIM = concat!("UPDATE job SET state = 'running', lease_owner = ?1, lease_until_ms = ?2 + ?3,
            started_ms = ?2, finished_ms = NULL, progress = ", written!(), ",
            begun = ", written!(), "
        WHERE id = (
            SELECT j.id FROM event e JOIN job j ON j.id = (
                SELECT h.id FROM job h
                WHERE h.lane = ?4 AND h.event_id = e.id AND h.state = 'ready'
                    AND h.not_before_ms <= ?2 AND ", free!("h"), "
                ORDER BY h.priority DESC, h.interruptions, h.rank DESC, h.id LIMIT 1)
            WHERE NOT EXISTS (SELECT 1 FROM setting WHERE name = 'paused' AND value = '1')
            ORDER BY j.priority DESC,
                (SELECT max(s.started_ms) FROM job s WHERE s.lane = ?4 AND s.event_id = e.id)
                    ASC NULLS FIRST,
                j.id
            LIMIT 1)
        RETURNING id, kind, subject, event_id, lease_owner, attempts");
    /// When the next waiting job of a lane may be taken; read before claiming, so
    /// that an idle worker takes no write lock. All waiting rows are looked at only
    /// if none of them may be taken now; finished ones never.
    NEXT = "SELECT CASE
            WHEN EXISTS (SELECT 1 FROM setting WHERE name = 'paused' AND value = '1') THEN NULL
            ELSE coalesce(
                (SELECT ?2 FROM job INDEXED BY job_ready
                    WHERE lane = ?1 AND state = 'ready' AND not_before_ms <= ?2 LIMIT 1),
                (SELECT min(not_before_ms) FROM job INDEXED BY job_ready
                    WHERE lane = ?1 AND state = 'ready'))
            END";
    /// Whether a held job should make room: the queue is paused, something more
    /// urgent waits, another event has waited long enough, or moments are to be
    /// found before more words are written.
    YIELD = concat!("SELECT EXISTS (SELECT 1 FROM setting WHERE name = 'paused' AND value = '1')
        OR EXISTS (SELECT 1 FROM job h JOIN job w INDEXED BY job_ready
            ON w.lane = h.lane AND w.state = 'ready' AND w.not_before_ms <= ?2
            WHERE h.id = ?1 AND (w.priority > h.priority
                OR (w.priority = h.priority AND w.event_id <> h.event_id
                    AND ?2 - h.started_ms > ?3)))
        OR EXISTS (SELECT 1 FROM job h WHERE h.id = ?1 AND h.kind = 'transcribe' AND ",
            grouping!("h"), ")");
}

impl Store {
    /// Takes the next job of a lane for `owner`, which must be new for each
    /// claim, until `now_ms + lease_ms`. `None` if nothing waits or the queue is
    /// paused.
    ///
    /// # Errors
    /// [`StoreError::Busy`], [`StoreError::DiskFull`].
    pub async fn claim(
        &self,
        lane: Lane,
        owner: &str,
        now_ms: i64,
        lease_ms: i64,
    ) -> Result<Option<Claim>, StoreError> {
        Ok(sqlx::query_as(self.sql(CLAIM))
            .bind(owner)
            .bind(now_ms)
            .bind(lease_ms)
            .bind(lane.as_str())
            .fetch_optional(&self.write)
            .await?)
    }

    /// When the next waiting job of a lane may be taken, ms since 1970: `now_ms`
    /// if at once; `None` if none waits or the queue is paused.
    ///
    /// # Errors
    /// When the database can't be read.
    pub async fn next_at_ms(&self, lane: Lane, now_ms: i64) -> Result<Option<i64>, StoreError> {
        Ok(sqlx::query_scalar(self.sql(NEXT))
            .bind(lane.as_str())
            .bind(now_ms)
            .fetch_one(&self.read)
            .await?)
    }

    /// Whether the holder of a job should give it back for now, at a place from
    /// which it can go on: the queue is paused, a job of the same lane with a
    /// higher priority waits, or one of another event does and this one was held
    /// for more than `turn_ms`.
    ///
    /// # Errors
    /// When the database can't be read.
    pub async fn should_yield(
        &self,
        job: JobId,
        now_ms: i64,
        turn_ms: i64,
    ) -> Result<bool, StoreError> {
        Ok(sqlx::query_scalar(self.sql(YIELD))
            .bind(job)
            .bind(now_ms)
            .bind(turn_ms)
            .fetch_one(&self.read)
            .await?)
    }
}
