//! What did a solve of the clock come to?

use serde_json::json;

use super::statement::statements;
use super::{EventId, JobKind, Lease, NewJob, RecordingId, Store, StoreError};

/// Where a solve put one recording.
#[derive(Clone, Debug)]
pub struct NewPlacement {
    /// The recording.
    pub recording: RecordingId,
    /// Whose clock it is placed on: 0 is the event clock.
    pub island: i64,
    /// A `core::clock::Placement` as JSON.
    pub pieces: serde_json::Value,
    /// A `core::clock::How` as its word.
    pub how: String,
    /// 95 % of it, ms.
    pub uncertainty_ms: Option<f64>,
    /// Share of the measured points that agree, 0 to 1.
    pub agreement: Option<f64>,
    /// Spread of the points about the line, ms.
    pub residual_ms: Option<f64>,
    /// Points measured.
    pub points: i64,
    /// What was odd: an array of `core::clock::Warning` as JSON.
    pub warnings: serde_json::Value,
}

/// What two recordings were found to share.
#[derive(Clone, Debug)]
pub struct NewPair {
    /// The recording it is seen from.
    pub a: RecordingId,
    /// The other.
    pub b: RecordingId,
    /// Which version of the measuring found it.
    pub version: i64,
    /// A `core::clock::Pair` as JSON.
    pub body: serde_json::Value,
}

/// The output of the align step.
#[derive(Clone, Debug)]
pub struct Solved {
    /// The event.
    pub event: EventId,
    /// Whether it was solved from scratch.
    pub anew: bool,
    /// The recordings that were solved, in the order in which warnings count
    /// them.
    pub members: Vec<RecordingId>,
    /// Where they lie.
    pub placements: Vec<NewPlacement>,
    /// What their pairs share.
    pub pairs: Vec<NewPair>,
    /// What was odd about the event as a whole, as JSON.
    pub warnings: serde_json::Value,
}

statements! {
    IS_ANEW = "SELECT coalesce((SELECT anew FROM clock WHERE event_id = ?1), 0)";
    /// So that it is left out should it not be looked through again.
    FORGET_TRACK = "DELETE FROM track WHERE recording_id = ?1";
    FORGET_PAIRS = "DELETE FROM pair WHERE a_id IN (SELECT id FROM recording WHERE event_id = ?1)";
    /// What a person put right is where its sound is, whatever the clock.
    FORGET_MOMENTS = "DELETE FROM moment WHERE event_id = ?1 AND by_hand = 0";
    FORGET_COUNTS = "UPDATE recording SET word_count = 0, grouped = 0 WHERE event_id = ?1";
    FORGET_PLACEMENTS = "DELETE FROM placement
        WHERE recording_id IN (SELECT id FROM recording WHERE event_id = ?1)";
    PLACE = "INSERT INTO placement (recording_id, island, pieces, how, uncertainty_ms, agreement,
            residual_ms, points, warnings)
        VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9)";
    /// A pair that was written in the other order.
    FORGET_TURNED = "DELETE FROM pair WHERE (b_id, a_id) IN
            (SELECT value ->> 0, value ->> 1 FROM json_each(?1)) AND a_id <> b_id";
    PAIR = "INSERT INTO pair (a_id, b_id, version, body) VALUES (?1, ?2, ?3, ?4)
        ON CONFLICT (a_id, b_id) DO UPDATE SET version = excluded.version, body = excluded.body";
    /// What was asked for meanwhile is still to be done.
    SOLVED = "INSERT INTO clock (event_id, solved_at_ms, members, warnings) VALUES (?1, ?2, ?3, ?4)
        ON CONFLICT (event_id) DO UPDATE SET solved_at_ms = excluded.solved_at_ms,
            members = excluded.members, warnings = excluded.warnings,
            anew = CASE WHEN ?5 THEN 0 ELSE anew END";
}

impl Store {
    /// Whether the next solve of an event is to start from scratch.
    ///
    /// # Errors
    /// When the database can't be read.
    pub async fn is_anew(&self, event: &EventId) -> Result<bool, StoreError> {
        Ok(sqlx::query_scalar(self.sql(IS_ANEW))
            .bind(event)
            .fetch_one(&self.read)
            .await?)
    }

    /// Has recordings listened through again whose band levels can't be used, and
    /// puts `align` back until that is done, as one.
    ///
    /// # Errors
    /// [`StoreError::LeaseLost`]; [`StoreError::DiskFull`].
    pub async fn detect_again(
        &self,
        lease: &Lease,
        event: &EventId,
        recordings: &[RecordingId],
        now_ms: i64,
    ) -> Result<(), StoreError> {
        let mut transaction = self.begin().await?;
        let align = NewJob::of_event(JobKind::Align, event);
        self.queue_again(&mut transaction, align).await?;
        self.complete(&mut transaction, lease, None, now_ms).await?;
        for recording in recordings {
            sqlx::query(self.sql(FORGET_TRACK))
                .bind(recording)
                .execute(&mut *transaction)
                .await?;
            let detect = NewJob {
                kind: JobKind::Detect,
                subject: recording.as_str(),
                event,
                audio_ms: None,
                after: Some(lease),
            };
            self.queue_again(&mut transaction, detect).await?;
        }
        transaction.commit().await?;
        Ok(())
    }

    /// Writes where the recordings of an event lie and that `align` is done, as
    /// one, and has its moments found. A solve from scratch drops all moments but
    /// those that a person put right.
    ///
    /// # Errors
    /// [`StoreError::LeaseLost`]; [`StoreError::DiskFull`].
    pub async fn finish_align(
        &self,
        lease: &Lease,
        solved: &Solved,
        now_ms: i64,
    ) -> Result<(), StoreError> {
        let mut transaction = self.begin().await?;
        self.complete(&mut transaction, lease, None, now_ms).await?;
        let from_scratch = [FORGET_PAIRS, FORGET_MOMENTS, FORGET_COUNTS];
        let drops = if solved.anew { &from_scratch[..] } else { &[] };
        for statement in drops.iter().chain(&[FORGET_PLACEMENTS]) {
            sqlx::query(self.sql(statement))
                .bind(&solved.event)
                .execute(&mut *transaction)
                .await?;
        }
        for place in &solved.placements {
            sqlx::query(self.sql(PLACE))
                .bind(&place.recording)
                .bind(place.island)
                .bind(place.pieces.to_string())
                .bind(&place.how)
                .bind(place.uncertainty_ms)
                .bind(place.agreement)
                .bind(place.residual_ms)
                .bind(place.points)
                .bind(place.warnings.to_string())
                .execute(&mut *transaction)
                .await?;
        }
        let pairs = solved.pairs.iter();
        let pairs: Vec<_> = pairs.map(|pair| json!([pair.a, pair.b])).collect();
        sqlx::query(self.sql(FORGET_TURNED))
            .bind(json!(pairs).to_string())
            .execute(&mut *transaction)
            .await?;
        for pair in &solved.pairs {
            sqlx::query(self.sql(PAIR))
                .bind(&pair.a)
                .bind(&pair.b)
                .bind(pair.version)
                .bind(pair.body.to_string())
                .execute(&mut *transaction)
                .await?;
        }
        sqlx::query(self.sql(SOLVED))
            .bind(&solved.event)
            .bind(now_ms)
            .bind(json!(solved.members).to_string())
            .bind(solved.warnings.to_string())
            .bind(solved.anew)
            .execute(&mut *transaction)
            .await?;
        let next = NewJob {
            after: Some(lease),
            ..NewJob::of_event(JobKind::Group, &solved.event)
        };
        self.queue_again(&mut transaction, next).await?;
        transaction.commit().await?;
        Ok(())
    }
}
