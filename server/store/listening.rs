//! What did the speech model hear?
//!
//! Words are written window by window: what the model heard of each hearing (an
//! attempt), the words of the moments they belong to, and the lines by which they
//! are found, all at once. A hearing with an attempt is done: after a kill the
//! next run goes on with those that have none, and no word can be there twice.

use serde_json::json;
use sqlx::{FromRow, Sqlite, Transaction};

use super::statement::statements;
use super::{Json, Lease, MomentId, RecordingId, RecordingRow, Store, StoreError, queue};

/// A word as the model heard it.
#[derive(Clone, Debug, PartialEq)]
pub struct NewWord {
    /// As it is shown; no white space.
    pub text: String,
    /// Start in the file it was heard in, ms.
    pub start_ms: i64,
    /// End in that file, ms, exclusive.
    pub end_ms: i64,
    /// How sure the model is, 0 to 1.
    pub confidence: f32,
}

/// What the model heard of one hearing.
#[derive(Clone, Debug)]
pub struct Tried {
    /// The moment.
    pub moment: MomentId,
    /// The words, in order.
    pub words: Vec<NewWord>,
}

/// An attempt as it is kept.
#[derive(Clone, Debug, PartialEq)]
pub struct AttemptRow {
    /// The recording that was listened to.
    pub recording_id: RecordingId,
    /// The model.
    pub model: String,
    /// What the hearing is ranked by.
    pub score: f32,
    /// How long the hearing is, ms.
    pub speech_ms: i64,
    /// The words, in the time of that recording's file.
    pub words: Vec<NewWord>,
}

/// The words of a moment, made of all attempts at it.
#[derive(Clone, Debug)]
pub struct MomentWords {
    /// The recording in whose file the word times are.
    pub words_from: RecordingId,
    /// The model that heard most of them.
    pub model: String,
    /// The words, in order.
    pub words: Vec<NewWord>,
    /// Why they should not be trusted as they are.
    pub doubt: Option<String>,
    /// Why these words and not those of another hearing.
    pub why: Option<String>,
    /// Their normal forms, one token a word, joined by single spaces.
    pub normal: String,
}

/// What one window of sound gave.
pub struct WindowCommit<'a> {
    /// The recording.
    pub recording: &'a RecordingRow,
    /// The model.
    pub model: &'a str,
    /// Every hearing the window holds whole, also those without a word.
    pub tried: &'a [Tried],
    /// Makes the words of a moment of all attempts at it, the best hearing first:
    /// quick, and from nothing but what it is given.
    pub fuse: &'a dyn Fn(&MomentId, &[AttemptRow]) -> MomentWords,
}

/// Text, start, end, confidence.
type KeptWord = (String, i64, i64, f32);

#[derive(FromRow)]
struct RawAttempt {
    recording_id: RecordingId,
    model: String,
    score: f32,
    speech_ms: i64,
    #[sqlx(try_from = "String")]
    words: Json<Vec<KeptWord>>,
}

statements! {
    /// A finished window is progress: the counts that lead to giving up start anew.
    ADVANCE = "UPDATE job SET cursor = cursor + 1, progress = (cursor + 1.0) / max(windows, 1),
            attempts = 0, interruptions = 0, error = NULL
        WHERE id = ?1 AND lease_owner = ?2 AND state = 'running'";
    /// Nothing is written where the moment was found to be another meanwhile.
    ATTEMPTS = "INSERT INTO attempt (moment_id, recording_id, model, words)
        SELECT h.moment_id, h.recording_id, ?2, t.value -> 1
        FROM json_each(?3) t JOIN hearing h ON h.moment_id = t.value ->> 0 AND h.recording_id = ?1
        WHERE true ON CONFLICT DO NOTHING";
    ATTEMPTS_AT = "SELECT a.recording_id, a.model, h.score, h.end_ms - h.start_ms AS speech_ms,
            a.words
        FROM attempt a JOIN hearing h ON h.moment_id = a.moment_id
            AND h.recording_id = a.recording_id
        WHERE a.moment_id = ?1 ORDER BY h.n, h.recording_id";
    DROP_WORDS = "DELETE FROM word WHERE moment_id = ?1";
    WORDS = "INSERT INTO word (moment_id, n, text, start_ms, end_ms, confidence)
        SELECT ?1, key, value ->> 0, value ->> 1, value ->> 2, CAST(value ->> 3 AS REAL)
        FROM json_each(?2)";
    SET_WORDS = "UPDATE moment SET words_from = ?2, model = ?3, doubt = ?4, why = ?5, text = ?6,
            word_count = ?7
        WHERE id = ?1";
    UNINDEX = "DELETE FROM moment_fts WHERE rowid = (SELECT no FROM moment WHERE id = ?1)";
    INDEX = "INSERT INTO moment_fts (rowid, normal) SELECT no, ?2 FROM moment WHERE id = ?1";
    COUNT = "UPDATE recording SET word_count = (SELECT coalesce(sum(m.word_count), 0)
            FROM hearing h JOIN moment m ON m.id = h.moment_id
            WHERE h.recording_id = recording.id AND h.heard = 1)
        WHERE id IN (SELECT h.recording_id FROM json_each(?1) i
            JOIN hearing h ON h.moment_id = i.value)";
}

impl Store {
    pub(super) async fn count_words(
        &self,
        transaction: &mut Transaction<'static, Sqlite>,
        moments: &str,
    ) -> Result<(), StoreError> {
        sqlx::query(self.sql(COUNT))
            .bind(moments)
            .execute(&mut **transaction)
            .await?;
        Ok(())
    }

    /// Writes what one window gave, the words of its moments, and that it is
    /// finished, as one.
    ///
    /// # Errors
    /// [`StoreError::LeaseLost`]; [`StoreError::DiskFull`].
    pub async fn commit_window(
        &self,
        lease: &Lease,
        commit: &WindowCommit<'_>,
    ) -> Result<(), StoreError> {
        let mut transaction = self.begin().await?;
        let advanced = sqlx::query(self.sql(ADVANCE))
            .bind(lease.job)
            .bind(&lease.owner)
            .execute(&mut *transaction)
            .await?;
        queue::held(lease, advanced.rows_affected())?;
        let rows = commit.tried.iter();
        let rows: Vec<_> = rows.map(|t| json!([t.moment, kept(&t.words)])).collect();
        sqlx::query(self.sql(ATTEMPTS))
            .bind(&commit.recording.id)
            .bind(commit.model)
            .bind(json!(rows).to_string())
            .execute(&mut *transaction)
            .await?;
        for tried in commit.tried {
            self.write_words(&mut transaction, &tried.moment, commit.fuse)
                .await?;
        }
        let moments: Vec<&MomentId> = commit.tried.iter().map(|t| &t.moment).collect();
        self.count_words(&mut transaction, &json!(moments).to_string())
            .await?;
        transaction.commit().await?;
        Ok(())
    }

    async fn write_words(
        &self,
        transaction: &mut Transaction<'static, Sqlite>,
        moment: &MomentId,
        fuse: &dyn Fn(&MomentId, &[AttemptRow]) -> MomentWords,
    ) -> Result<(), StoreError> {
        let raw: Vec<RawAttempt> = sqlx::query_as(self.sql(ATTEMPTS_AT))
            .bind(moment)
            .fetch_all(&mut **transaction)
            .await?;
        if raw.is_empty() {
            return Ok(());
        }
        let attempts: Vec<AttemptRow> = raw.into_iter().map(attempt).collect();
        let fused = fuse(moment, &attempts);
        for statement in [DROP_WORDS, UNINDEX] {
            sqlx::query(self.sql(statement))
                .bind(moment)
                .execute(&mut **transaction)
                .await?;
        }
        sqlx::query(self.sql(WORDS))
            .bind(moment)
            .bind(json!(kept(&fused.words)).to_string())
            .execute(&mut **transaction)
            .await?;
        let texts: Vec<&str> = fused.words.iter().map(|word| word.text.as_str()).collect();
        sqlx::query(self.sql(SET_WORDS))
            .bind(moment)
            .bind(&fused.words_from)
            .bind(&fused.model)
            .bind(&fused.doubt)
            .bind(&fused.why)
            .bind(texts.join(" "))
            .bind(i64::try_from(texts.len()).unwrap_or(i64::MAX))
            .execute(&mut **transaction)
            .await?;
        sqlx::query(self.sql(INDEX))
            .bind(moment)
            .bind(&fused.normal)
            .execute(&mut **transaction)
            .await?;
        Ok(())
    }
}

fn attempt(raw: RawAttempt) -> AttemptRow {
    let word = |(text, start_ms, end_ms, confidence)| NewWord {
        text,
        start_ms,
        end_ms,
        confidence,
    };
    AttemptRow {
        recording_id: raw.recording_id,
        model: raw.model,
        score: raw.score,
        speech_ms: raw.speech_ms,
        words: raw.words.0.into_iter().map(word).collect(),
    }
}

/// Rows of text, start, end, confidence. Times out of order and confidences out of
/// range, which a model may give, are set right.
fn kept(words: &[NewWord]) -> Vec<serde_json::Value> {
    let row = |word: &NewWord| {
        let start_ms = word.start_ms.max(0);
        let sure = if word.confidence.is_finite() {
            word.confidence.clamp(0.0, 1.0)
        } else {
            0.0
        };
        json!([word.text, start_ms, word.end_ms.max(start_ms), sure])
    };
    words.iter().map(row).collect()
}
