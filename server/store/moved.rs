//! Which attempts are of sound that their hearing no longer is?
//!
//! When recordings are placed anew, a moment with words stays where those words
//! were heard, and its other hearings may become other stretches of their files:
//! what was heard there was of something else. Of two moments that turned out to
//! be one, what was heard of the same stretch is of both.

use std::collections::{BTreeSet, HashMap};

use serde_json::json;
use sqlx::{Sqlite, Transaction};

use super::grouping::There;
use super::listening::Fuse;
use super::statement::statements;
use super::{MomentId, NewMoment, RecordingId, Store, StoreError};

/// A hearing whose start or end lies further away than this is another, ms: a short
/// word more or less.
const SAME_MS: i64 = 250;

statements! {
    FORGET_ATTEMPTS = "DELETE FROM attempt WHERE (moment_id, recording_id) IN
            (SELECT value ->> 0, value ->> 1 FROM json_each(?1))";
    MERGE_ATTEMPTS = "UPDATE OR IGNORE attempt SET moment_id = t.value ->> 0 FROM json_each(?1) t
        WHERE attempt.moment_id = t.value ->> 2 AND attempt.recording_id = t.value ->> 1";
    UNWANT = "UPDATE hearing SET wanted = 0, batch = NULL WHERE (moment_id, recording_id) IN
            (SELECT value ->> 0, value ->> 1 FROM json_each(?1))
        AND NOT EXISTS (SELECT 1 FROM attempt a WHERE a.moment_id = hearing.moment_id
            AND a.recording_id = hearing.recording_id)";
    WANTED = "UPDATE hearing SET wanted = 2 WHERE wanted = 0 AND (moment_id, recording_id) IN
            (SELECT value ->> 0, value ->> 1 FROM json_each(?1))";
}

/// Attempts by moment and recording.
#[derive(Default)]
pub(super) struct Moved<'a> {
    /// Of other sound.
    forgotten: BTreeSet<(&'a MomentId, &'a RecordingId)>,
    /// Of the same sound, under the id of a moment that is no more.
    merged: BTreeSet<(&'a MomentId, &'a RecordingId, &'a MomentId)>,
}

impl<'a> Moved<'a> {
    /// `ids` are those of `moments`.
    pub fn of(there: &'a [There], ids: &'a [MomentId], moments: &'a [NewMoment]) -> Self {
        let mut now = HashMap::new();
        let mut survivor: HashMap<&MomentId, &MomentId> = HashMap::new();
        for (id, moment) in ids.iter().zip(moments) {
            survivor.extend(moment.kept.iter().map(|merged| (merged, id)));
            for hearing in &moment.hearings {
                now.insert((id, &hearing.recording), (hearing.start_ms, hearing.end_ms));
            }
        }
        let mut moved = Self::default();
        for row in there.iter().filter(|row| row.tried) {
            let Some(id) = survivor.get(&row.id).copied() else {
                continue;
            };
            let same = now
                .get(&(id, &row.recording_id))
                .is_some_and(|(start_ms, end_ms)| {
                    (start_ms - row.start_ms).abs() <= SAME_MS
                        && (end_ms - row.end_ms).abs() <= SAME_MS
                });
            if *id != row.id {
                if same {
                    moved.merged.insert((id, &row.recording_id, &row.id));
                }
            } else if !same && !row.has_words {
                moved.forgotten.insert((id, &row.recording_id));
            }
        }
        moved
    }

    /// Moments whose attempts are others now.
    fn moments(&self) -> BTreeSet<&MomentId> {
        let forgotten = self.forgotten.iter().map(|(moment, _)| *moment);
        let merged = self.merged.iter().map(|(moment, ..)| *moment);
        forgotten.chain(merged).collect()
    }
}

impl Store {
    /// Forgets attempts of other sound, and gives those of merged moments to the
    /// survivors. To be called while the merged moments are there.
    pub(super) async fn move_attempts(
        &self,
        transaction: &mut Transaction<'static, Sqlite>,
        moved: &Moved<'_>,
    ) -> Result<(), StoreError> {
        for (statement, rows) in [
            (FORGET_ATTEMPTS, json!(moved.forgotten)),
            (MERGE_ATTEMPTS, json!(moved.merged)),
        ] {
            sqlx::query(self.sql(statement))
                .bind(rows.to_string())
                .execute(&mut **transaction)
                .await?;
        }
        Ok(())
    }

    /// Makes the words of the moments concerned of what is left. To be called when
    /// their hearings are those of now.
    pub(super) async fn settle_moved(
        &self,
        transaction: &mut Transaction<'static, Sqlite>,
        moved: &Moved<'_>,
        fuse: &Fuse<'_>,
    ) -> Result<(), StoreError> {
        for (statement, rows) in [
            (UNWANT, json!(moved.forgotten)),
            (WANTED, json!(moved.merged)),
        ] {
            sqlx::query(self.sql(statement))
                .bind(rows.to_string())
                .execute(&mut **transaction)
                .await?;
        }
        let moments = moved.moments();
        if moments.is_empty() {
            return Ok(());
        }
        self.write_words(transaction, &json!(moments).to_string(), fuse)
            .await
    }
}
