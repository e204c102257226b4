//! Where do the recordings of an event lie on its clock?

use sayback_core::clock::{How, Placement};
use sqlx::FromRow;

use super::error::unknown;
use super::statement::statements;
use super::{
    ClockState, EventId, JobId, JobKind, Json, NewJob, RecordingId, Store, StoreError, Word,
};

/// The clock of an event.
#[derive(Clone, Debug, PartialEq, FromRow)]
pub struct ClockRow {
    /// The event.
    pub event_id: EventId,
    /// Where it stands.
    pub state: ClockState,
    /// When it was last solved, ms since 1970.
    pub solved_at_ms: Option<i64>,
    /// The recordings that were solved then: warnings name them by their place
    /// in this list.
    #[sqlx(try_from = "String")]
    pub members: Json<Vec<RecordingId>>,
    /// What was odd about the event as a whole: an array of
    /// `sayback_core::clock::Warning`.
    #[sqlx(try_from = "String")]
    pub warnings: Json<serde_json::Value>,
    /// The job that solves it, to be waited for or cancelled.
    pub job: Option<JobId>,
    /// Why it failed.
    pub error: Option<String>,
}

/// Where one recording lies.
#[derive(Clone, Debug, PartialEq, FromRow)]
pub struct PlacementRow {
    /// The recording.
    pub recording_id: RecordingId,
    /// Whose clock it is placed on: 0 is the event clock.
    pub island: i64,
    /// Where it lies on that clock.
    #[sqlx(try_from = "String", rename = "pieces")]
    pub placement: Json<Placement>,
    /// How that was found.
    #[sqlx(try_from = "String")]
    pub how: Word<How>,
    /// 95 % of it, ms.
    pub uncertainty_ms: Option<f64>,
    /// Share of the measured points that agree, 0 to 1.
    pub agreement: Option<f64>,
    /// Spread of the points about the line, ms.
    pub residual_ms: Option<f64>,
    /// Points measured.
    pub points: i64,
    /// What was odd: an array of `sayback_core::clock::Warning`; see
    /// [`ClockRow::members`].
    #[sqlx(try_from = "String")]
    pub warnings: Json<serde_json::Value>,
}

/// What two recordings share.
#[derive(Clone, Debug, PartialEq, FromRow)]
pub struct PairRow {
    /// The recording it is seen from.
    pub a_id: RecordingId,
    /// The other.
    pub b_id: RecordingId,
    /// Which version of the measuring found it.
    pub version: i64,
    /// A `sayback_core::clock::Pair`.
    #[sqlx(try_from = "String")]
    pub body: Json<serde_json::Value>,
}

/// What a person says about the place of a recording.
#[derive(Clone, Debug, PartialEq)]
pub enum ClockFix {
    /// It starts then.
    Start {
        /// On the event clock, ms.
        event_ms: f64,
    },
    /// An instant of it is an instant of another recording.
    Same {
        /// In this file, ms.
        file_ms: f64,
        /// The other recording, of the same event.
        other: RecordingId,
        /// In the other's file, ms.
        other_ms: f64,
    },
}

/// A recording a person has placed.
#[derive(Clone, Debug, PartialEq)]
pub struct FixRow {
    /// The recording.
    pub recording_id: RecordingId,
    /// What is said about it.
    pub fix: ClockFix,
}

#[derive(FromRow)]
struct RawFix {
    recording_id: RecordingId,
    event_ms: Option<f64>,
    file_ms: Option<f64>,
    other_id: Option<RecordingId>,
    other_ms: Option<f64>,
}

impl From<RawFix> for FixRow {
    fn from(raw: RawFix) -> Self {
        // The schema has exactly one of the two.
        let fix = match raw.other_id {
            Some(other) => ClockFix::Same {
                file_ms: raw.file_ms.unwrap_or_default(),
                other,
                other_ms: raw.other_ms.unwrap_or_default(),
            },
            None => ClockFix::Start {
                event_ms: raw.event_ms.unwrap_or_default(),
            },
        };
        Self {
            recording_id: raw.recording_id,
            fix,
        }
    }
}

statements! {
    CLOCK = "SELECT e.id AS event_id, c.solved_at_ms, coalesce(c.members, '[]') AS members,
            coalesce(c.warnings, '[]') AS warnings, j.id AS job, j.error,
            CASE WHEN j.state = 'running' THEN 'working'
                WHEN j.state = 'ready' THEN 'waiting'
                WHEN j.state IN ('failed', 'cancelled') THEN j.state
                WHEN EXISTS (SELECT 1 FROM job x WHERE x.event_id = e.id
                    AND x.kind IN ('probe', 'detect') AND x.state IN ('ready', 'running'))
                    THEN 'waiting'
                WHEN c.solved_at_ms IS NOT NULL THEN 'solved'
                ELSE 'none' END AS state
        FROM event e LEFT JOIN clock c ON c.event_id = e.id
            LEFT JOIN job j ON j.kind = 'align' AND j.subject = e.id
        WHERE e.id = ?1";
    PLACEMENTS = "SELECT p.recording_id, p.island, p.pieces, p.how, p.uncertainty_ms, p.agreement,
            p.residual_ms, p.points, p.warnings
        FROM recording r JOIN placement p ON p.recording_id = r.id
        WHERE r.event_id = ?1 ORDER BY p.recording_id";
    PAIRS = "SELECT p.a_id, p.b_id, p.version, p.body
        FROM recording r JOIN pair p ON p.a_id = r.id
        WHERE r.event_id = ?1 ORDER BY p.a_id, p.b_id";
    FIXES = "SELECT f.recording_id, f.event_ms, f.file_ms, f.other_id, f.other_ms
        FROM recording r JOIN clock_fix f ON f.recording_id = r.id
        WHERE r.event_id = ?1 ORDER BY f.recording_id";
    /// Nothing is written when the other recording is not of the same event.
    SET_FIX = "INSERT INTO clock_fix (recording_id, event_ms, file_ms, other_id, other_ms)
        SELECT r.id, ?2, ?3, ?4, ?5 FROM recording r
        WHERE r.id = ?1 AND (?4 IS NULL OR EXISTS
            (SELECT 1 FROM recording o WHERE o.id = ?4 AND o.event_id = r.event_id))
        ON CONFLICT (recording_id) DO UPDATE SET event_ms = excluded.event_ms,
            file_ms = excluded.file_ms, other_id = excluded.other_id, other_ms = excluded.other_ms";
    CLEAR_FIX = "DELETE FROM clock_fix WHERE recording_id = ?1";
    ANEW = "INSERT INTO clock (event_id, anew) VALUES (?1, ?2)
        ON CONFLICT (event_id) DO UPDATE SET anew = max(anew, excluded.anew)";
}

impl Store {
    /// The clock of an event.
    ///
    /// # Errors
    /// [`StoreError::Unknown`] event.
    pub async fn clock(&self, event: &EventId) -> Result<ClockRow, StoreError> {
        sqlx::query_as(self.sql(CLOCK))
            .bind(event)
            .fetch_one(&self.read)
            .await
            .map_err(unknown("event", event))
    }

    /// Where the recordings of an event lie, by recording; those that were never
    /// part of a solve are not in it.
    ///
    /// # Errors
    /// When the database can't be read.
    pub async fn placements(&self, event: &EventId) -> Result<Vec<PlacementRow>, StoreError> {
        Ok(sqlx::query_as(self.sql(PLACEMENTS))
            .bind(event)
            .fetch_all(&self.read)
            .await?)
    }

    /// What was found for each pair of recordings of an event.
    ///
    /// # Errors
    /// When the database can't be read.
    pub async fn pairs(&self, event: &EventId) -> Result<Vec<PairRow>, StoreError> {
        Ok(sqlx::query_as(self.sql(PAIRS))
            .bind(event)
            .fetch_all(&self.read)
            .await?)
    }

    /// What people said about the recordings of an event.
    ///
    /// # Errors
    /// When the database can't be read.
    pub async fn fixes(&self, event: &EventId) -> Result<Vec<FixRow>, StoreError> {
        let raw: Vec<RawFix> = sqlx::query_as(self.sql(FIXES))
            .bind(event)
            .fetch_all(&self.read)
            .await?;
        Ok(raw.into_iter().map(FixRow::from).collect())
    }

    /// Fixes the place of a recording, in place of an earlier fix, and has the
    /// event solved again, as one.
    ///
    /// # Errors
    /// [`StoreError::Unknown`] recording, or other recording in its event;
    /// [`StoreError::Invalid`] if the other is the recording itself.
    pub async fn set_fix(&self, recording: &RecordingId, fix: &ClockFix) -> Result<(), StoreError> {
        let event = self.recording(recording).await?.event_id;
        let (event_ms, file_ms, other, other_ms) = match fix {
            ClockFix::Start { event_ms } => (Some(*event_ms), None, None, None),
            ClockFix::Same {
                file_ms,
                other,
                other_ms,
            } => (None, Some(*file_ms), Some(other), Some(*other_ms)),
        };
        let mut transaction = self.begin().await?;
        let set = sqlx::query(self.sql(SET_FIX))
            .bind(recording)
            .bind(event_ms)
            .bind(file_ms)
            .bind(other)
            .bind(other_ms)
            .execute(&mut *transaction)
            .await?;
        if set.rows_affected() == 0 {
            return Err(StoreError::Unknown {
                what: "recording of this event",
                id: other.unwrap_or(recording).to_string(),
            });
        }
        self.queue_again(&mut transaction, NewJob::of_event(JobKind::Align, &event))
            .await?;
        transaction.commit().await?;
        Ok(())
    }

    /// Takes back what was said about the place of a recording and has the event
    /// solved again, as one; says whether anything had been said.
    ///
    /// # Errors
    /// [`StoreError::Unknown`] recording.
    pub async fn clear_fix(&self, recording: &RecordingId) -> Result<bool, StoreError> {
        let event = self.recording(recording).await?.event_id;
        let mut transaction = self.begin().await?;
        let cleared = sqlx::query(self.sql(CLEAR_FIX))
            .bind(recording)
            .execute(&mut *transaction)
            .await?;
        if cleared.rows_affected() == 0 {
            return Ok(false);
        }
        self.queue_again(&mut transaction, NewJob::of_event(JobKind::Align, &event))
            .await?;
        transaction.commit().await?;
        Ok(true)
    }

    /// Has an event solved again. `anew` forgets where recordings lie (except
    /// where people put them), what pairs share, and all moments with their
    /// words.
    ///
    /// # Errors
    /// [`StoreError::Unknown`] event.
    pub async fn ask_solve(&self, event: &EventId, anew: bool) -> Result<(), StoreError> {
        let mut transaction = self.begin().await?;
        sqlx::query(self.sql(ANEW))
            .bind(event)
            .bind(anew)
            .execute(&mut *transaction)
            .await
            .map_err(unknown("event", event))?;
        self.queue_again(&mut transaction, NewJob::of_event(JobKind::Align, event))
            .await?;
        transaction.commit().await?;
        Ok(())
    }
}
