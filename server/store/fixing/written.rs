//! How is a change written?
//!
//! Whatever a person did, it comes to states before and after. Hearings follow the
//! clock; what models heard is shared out among the moments anew; the index is that of
//! the words, all in one transaction.

use std::collections::BTreeSet;

use serde_json::{Value, json};
use sqlx::{Sqlite, Transaction};

use super::super::listening::{AttemptText, KeptWord};
use super::super::statement::statements;
use super::super::{MomentId, RecordingId, Store, StoreError};
use super::desk::Desk;
use super::{State, Step};

statements! {
    PUT_MOMENTS = "INSERT INTO moment (id, event_id, island, start_ms, end_ms, words_from, model, doubt,
            why, text, word_count, version, by_hand, covers_from_ms, covers_to_ms)
        SELECT value ->> 0, ?1, value ->> 1, value ->> 2, value ->> 3, value ->> 4, value ->> 5,
            value ->> 6, value ->> 7, value ->> 8, value ->> 9, value ->> 10, value ->> 11,
            value ->> 12, value ->> 13
        FROM json_each(?2) WHERE true
        ON CONFLICT (id) DO UPDATE SET island = excluded.island, start_ms = excluded.start_ms,
            end_ms = excluded.end_ms, words_from = excluded.words_from, model = excluded.model,
            doubt = excluded.doubt, why = excluded.why, text = excluded.text,
            word_count = excluded.word_count, version = excluded.version,
            by_hand = excluded.by_hand, covers_from_ms = excluded.covers_from_ms,
            covers_to_ms = excluded.covers_to_ms";
    /// Whoever listens to a stretch that is another now has not heard this one.
    PUT_HEARINGS = "INSERT INTO hearing (moment_id, recording_id, n, start_ms, end_ms, heard,
            level_dbfs, snr_db, clipped, reverb, score, why, wanted, verdict)
        SELECT value ->> 0, value ->> 1, value ->> 2, value ->> 3, value ->> 4, value ->> 5,
            CAST(value ->> 6 AS REAL), CAST(value ->> 7 AS REAL), CAST(value ->> 8 AS REAL),
            CAST(value ->> 9 AS REAL), CAST(value ->> 10 AS REAL), value -> 11, value ->> 12, value ->> 13
        FROM json_each(?1) WHERE true
        ON CONFLICT (moment_id, recording_id) DO UPDATE SET n = excluded.n,
            batch = CASE WHEN (hearing.start_ms, hearing.end_ms) =
                (excluded.start_ms, excluded.end_ms) THEN hearing.batch END,
            start_ms = excluded.start_ms, end_ms = excluded.end_ms, heard = excluded.heard,
            wanted = excluded.wanted";
    DROP_OTHERS = "DELETE FROM hearing
        WHERE moment_id IN (SELECT value ->> 0 FROM json_each(?1))
            AND (moment_id, recording_id) NOT IN
                (SELECT value ->> 0, value ->> 1 FROM json_each(?1))";
    DROP_JOINED = "DELETE FROM moment WHERE id IN (SELECT value FROM json_each(?1))";
    TRIED = "SELECT a.recording_id, a.model, a.words FROM json_each(?1) i
        JOIN attempt a ON a.moment_id = i.value ORDER BY a.recording_id, i.key";
    FORGET_TRIED = "DELETE FROM attempt WHERE moment_id IN (SELECT value FROM json_each(?1))";
    TRIES = "INSERT INTO attempt (moment_id, recording_id, model, words)
        SELECT value ->> 0, value ->> 1, value ->> 2, value -> 3 FROM json_each(?1)";
    CLEAR_WORDS = "DELETE FROM word WHERE moment_id IN (SELECT value FROM json_each(?1))";
    PUT_WORDS = "INSERT INTO word (moment_id, n, text, start_ms, end_ms, confidence, by_hand,
            heard, language)
        SELECT m.value ->> 'moment', w.key, w.value ->> 'text', w.value ->> 'start_ms',
            w.value ->> 'end_ms', CAST(w.value ->> 'confidence' AS REAL), w.value ->> 'by_hand',
            w.value ->> 'heard', w.value ->> 'language'
        FROM json_each(?1) m, json_each(m.value, '$.words') w WHERE w.type = 'object'";
    SHARE_SPEAKER = "UPDATE moment SET (person_id, also_id, certainty, person_why) =
            (SELECT person_id, also_id, certainty, person_why FROM moment WHERE id = ?2)
        WHERE id IN (SELECT value FROM json_each(?1)) AND person_id IS NULL";
    LAST_VERSION = "SELECT coalesce(max(version), 0) FROM changed WHERE moment_id = ?1";
    CHANGE = "INSERT INTO change (event_id, kind, by, at_ms, before, after)
        VALUES (?1, ?2, ?3, ?4, ?5, ?6) RETURNING id";
    CHANGED = "INSERT INTO changed (moment_id, version, change_id)
        SELECT value ->> 0, value ->> 1, ?1 FROM json_each(?2)";
    RECOUNT = "UPDATE recording SET word_count = (SELECT coalesce(sum(m.word_count), 0)
            FROM hearing h JOIN moment m ON m.id = h.moment_id
            WHERE h.recording_id = recording.id AND h.heard = 1)
        WHERE id IN (SELECT value FROM json_each(?1))";
}

impl Store {
    /// Writes a change and that it was made.
    pub(super) async fn write_step(
        &self,
        transaction: &mut Transaction<'static, Sqlite>,
        desk: &Desk,
        mut step: Step,
        by: &str,
        now_ms: i64,
    ) -> Result<(), StoreError> {
        self.write_states(transaction, desk, &mut step).await?;
        self.share_speaker(transaction, desk, &step).await?;
        let change: i64 = sqlx::query_scalar(self.sql(CHANGE))
            .bind(&desk.event)
            .bind(step.kind)
            .bind(by)
            .bind(now_ms)
            .bind(json!(step.before).to_string())
            .bind(json!(step.after).to_string())
            .fetch_one(&mut **transaction)
            .await?;
        let mut versions: Vec<Value> = Vec::new();
        versions.extend(step.after.iter().map(|s| json!([s.moment, s.version])));
        let gone = step.gone();
        versions.extend(gone.iter().map(|s| json!([s.moment, s.version + 1])));
        sqlx::query(self.sql(CHANGED))
            .bind(change)
            .bind(json!(versions).to_string())
            .execute(&mut **transaction)
            .await?;
        Ok(())
    }

    /// What came of one moment is its speaker's until that is looked for again.
    async fn share_speaker(
        &self,
        transaction: &mut Transaction<'static, Sqlite>,
        desk: &Desk,
        step: &Step,
    ) -> Result<(), StoreError> {
        let bounds = |states: &[State]| -> Vec<(i64, i64)> {
            states.iter().map(|s| (s.start_ms, s.end_ms)).collect()
        };
        if bounds(&step.before) == bounds(&step.after) {
            return Ok(());
        }
        let ids: Vec<&MomentId> = step.after.iter().map(|state| &state.moment).collect();
        if let Some(first) = step.after.iter().find(|s| step.was(s).is_some()) {
            sqlx::query(self.sql(SHARE_SPEAKER))
                .bind(json!(ids).to_string())
                .bind(&first.moment)
                .execute(&mut **transaction)
                .await?;
        }
        self.look_for_speakers(transaction, &desk.event).await
    }

    /// Writes moments as they are now, in place of those there were.
    pub(super) async fn write_states(
        &self,
        transaction: &mut Transaction<'static, Sqlite>,
        desk: &Desk,
        step: &mut Step,
    ) -> Result<(), StoreError> {
        let Step { before, after, .. } = step;
        for state in after {
            let was = before.iter().find(|was| was.moment == state.moment);
            state.version = 1 + match was {
                Some(was) => was.version,
                None => self.last_version(transaction, &state.moment).await?,
            };
        }
        let mut rows = Rows::default();
        for state in &step.after {
            rows.add(desk, state)?;
        }
        let stay: BTreeSet<&MomentId> = step.after.iter().map(|state| &state.moment).collect();
        let all: Vec<&MomentId> = step.before.iter().map(|state| &state.moment).collect();
        let gone_ids: Vec<&MomentId> = step.gone().iter().map(|state| &state.moment).collect();
        let tries = match (step.before.len(), step.after.len()) {
            (1, 1) => None,
            _ => Some(
                self.tries(transaction, &json!(all).to_string(), &rows)
                    .await?,
            ),
        };
        let stay = json!(stay).to_string();
        self.run(transaction, DROP_JOINED, &json!(gone_ids).to_string())
            .await?;
        sqlx::query(self.sql(PUT_MOMENTS))
            .bind(&desk.event)
            .bind(json!(rows.moments).to_string())
            .execute(&mut **transaction)
            .await?;
        let hearings = json!(rows.hearings).to_string();
        for (statement, about) in [
            (PUT_HEARINGS, &hearings),
            (DROP_OTHERS, &hearings),
            (CLEAR_WORDS, &stay),
            (PUT_WORDS, &json!(step.after).to_string()),
        ] {
            self.run(transaction, statement, about).await?;
        }
        if let Some(tries) = tries {
            self.run(transaction, FORGET_TRIED, &stay).await?;
            self.run(transaction, TRIES, &json!(tries).to_string())
                .await?;
        }
        let unheard = |state: &&State| state.words.is_none() && !state.by_hand;
        let unheard: Vec<_> = step.after.iter().filter(unheard).collect();
        if !unheard.is_empty() {
            // The model is to be heard again where nobody's words stand.
            let ids: Vec<&MomentId> = unheard.iter().map(|state| &state.moment).collect();
            self.run(transaction, FORGET_TRIED, &json!(ids).to_string())
                .await?;
            self.queue_words(transaction, &desk.event).await?;
        }
        self.index(transaction, &stay).await?;
        let recordings: Vec<&RecordingId> = desk.hearings.keys().collect();
        self.run(transaction, RECOUNT, &json!(recordings).to_string())
            .await?;
        Ok(())
    }

    async fn run(
        &self,
        transaction: &mut Transaction<'static, Sqlite>,
        statement: &'static super::super::statement::Statement,
        about: &str,
    ) -> Result<(), StoreError> {
        sqlx::query(self.sql(statement))
            .bind(about)
            .execute(&mut **transaction)
            .await?;
        Ok(())
    }

    async fn last_version(
        &self,
        transaction: &mut Transaction<'static, Sqlite>,
        moment: &MomentId,
    ) -> Result<i64, StoreError> {
        Ok(sqlx::query_scalar(self.sql(LAST_VERSION))
            .bind(moment)
            .fetch_one(&mut **transaction)
            .await?)
    }

    /// What models heard of moments, shared out among those there are now: each word
    /// goes where its middle is.
    async fn tries(
        &self,
        transaction: &mut Transaction<'static, Sqlite>,
        moments: &str,
        rows: &Rows,
    ) -> Result<Vec<Value>, StoreError> {
        let tried: Vec<AttemptText> = sqlx::query_as(self.sql(TRIED))
            .bind(moments)
            .fetch_all(&mut **transaction)
            .await?;
        let mut shared = Vec::new();
        for of_one in tried.chunk_by(|a, b| a.recording_id == b.recording_id) {
            let (recording, model) = (&of_one[0].recording_id, &of_one[0].model);
            let mut heard: Vec<(i64, &MomentId)> = rows.stretches_of(recording);
            heard.sort_unstable();
            let mut words: Vec<Vec<&KeptWord>> = vec![Vec::new(); heard.len()];
            for word in of_one.iter().flat_map(|one| &one.words.0) {
                let middle = word.1.midpoint(word.2);
                let place = heard.partition_point(|(start_ms, _)| *start_ms <= middle);
                if let Some(own) = words.get_mut(place.saturating_sub(1)) {
                    own.push(word);
                }
            }
            for ((_, moment), mut words) in heard.into_iter().zip(words) {
                words.sort_by_key(|word| (word.1, word.2));
                shared.push(json!([moment, recording, model, words]));
            }
        }
        Ok(shared)
    }
}

/// Rows of moments as they are written.
#[derive(Default)]
struct Rows {
    moments: Vec<Value>,
    hearings: Vec<Value>,
    /// Moment, recording, and where it starts there.
    stretches: Vec<(MomentId, RecordingId, i64)>,
}

impl Rows {
    fn add(&mut self, desk: &Desk, state: &State) -> Result<(), StoreError> {
        let (island, start_ms, end_ms) = desk.on_clock(state);
        let words_from = state.words.is_some().then_some(&state.timed_in);
        let covers = state.covers.unzip();
        let id = &state.moment;
        self.moments.push(json!([
            id,
            island,
            start_ms,
            end_ms,
            words_from,
            state.model,
            state.doubt,
            state.why,
            state.text(),
            state.words.as_ref().map_or(0, Vec::len),
            state.version,
            i64::from(state.by_hand),
            covers.0,
            covers.1
        ]));
        for (n, (row, start_ms, end_ms)) in (1_i64..).zip(desk.heard(state)?) {
            let recording = &row.recording_id;
            self.stretches
                .push((id.clone(), recording.clone(), start_ms));
            self.hearings.push(json!([
                id,
                recording,
                n,
                start_ms,
                end_ms,
                i64::from(row.heard),
                row.level_dbfs,
                row.snr_db,
                row.clipped,
                row.reverb,
                row.score,
                row.why.0,
                row.wanted,
                row.verdict.0
            ]));
        }
        Ok(())
    }

    fn stretches_of(&self, recording: &RecordingId) -> Vec<(i64, &MomentId)> {
        let own = self.stretches.iter().filter(|(_, r, _)| r == recording);
        own.map(|(moment, _, start_ms)| (*start_ms, moment))
            .collect()
    }
}
