//! What did the speech model hear?
//!
//! Words are written window by window: what the model heard of each hearing (an
//! attempt), the words of the moments they belong to, and the lines by which they
//! are found, all at once. A hearing with an attempt is done: after a kill the
//! next run goes on with those that have none, and no word can be there twice.

use sayback_core::text::HeardText;
use serde::{Deserialize, Serialize};
use serde_json::json;
use sqlx::{FromRow, Sqlite, Transaction};

use super::statement::statements;
use super::{Json, Lease, MomentId, RecordingId, RecordingRow, Store, StoreError, queue};

/// A word as the model heard it.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct NewWord {
    /// As it is shown; no white space.
    pub text: String,
    /// Start in the file it was heard in, ms.
    pub start_ms: i64,
    /// End in that file, ms, exclusive.
    pub end_ms: i64,
    /// How sure the model is, 0 to 1.
    pub confidence: f32,
    /// What the model wrote where this is a name of the glossary: all of it on the
    /// first word of the name, '' on those after it.
    pub heard: Option<String>,
    /// The language it was heard in, as ISO 639-1 has it.
    pub language: Option<String>,
    /// Whether it is an ordinary word of its language.
    pub ordinary: bool,
}

impl<'a> From<&'a NewWord> for HeardText<'a> {
    fn from(word: &'a NewWord) -> Self {
        Self {
            text: &word.text,
            confidence: word.confidence,
            ordinary: word.ordinary,
        }
    }
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
}

/// What one window of sound gave.
pub struct WindowCommit<'a> {
    /// The recording.
    pub recording: &'a RecordingRow,
    /// The model.
    pub model: &'a str,
    /// Every hearing the window holds whole, also those without a word.
    pub tried: &'a [Tried],
    /// Makes the words of its moments.
    pub fuse: &'a Fuse<'a>,
}

/// Makes the words of a moment of all attempts at it, the best hearing first: quick,
/// and from nothing but what it is given.
pub type Fuse<'a> = dyn Fn(&MomentId, &[AttemptRow]) -> MomentWords + 'a;

/// Text, start, end, confidence; language, what was heard and whether it is ordinary,
/// which words of earlier versions do not have.
#[derive(Clone, Debug, PartialEq, Deserialize, Serialize)]
pub(super) struct KeptWord(
    pub String,
    pub i64,
    pub i64,
    pub f32,
    #[serde(default)] pub Option<String>,
    #[serde(default)] pub Option<String>,
    #[serde(default = "ordinary")] pub bool,
);

/// Of what nothing is known, no name is made.
fn ordinary() -> bool {
    true
}

/// What a model made of a hearing.
#[derive(FromRow)]
pub(super) struct AttemptText {
    pub recording_id: RecordingId,
    pub model: String,
    #[sqlx(try_from = "String")]
    pub words: Json<Vec<KeptWord>>,
}

#[derive(FromRow)]
struct RawAttempt {
    moment_id: MomentId,
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
    /// Nothing is written where the moment was found to be another meanwhile, or a person
    /// gave it other bounds, which takes it out of its batch: it is listened to again. The
    /// order of the join is said, or every hearing of the recording is looked at for each.
    ATTEMPTS = "INSERT INTO attempt (moment_id, recording_id, model, words)
        SELECT h.moment_id, h.recording_id, ?2, t.value -> 1
        FROM json_each(?3) t CROSS JOIN hearing h
            ON h.moment_id = t.value ->> 0 AND h.recording_id = ?1
            JOIN moment m ON m.id = h.moment_id
        WHERE m.by_hand = 0 OR h.batch IS NOT NULL ON CONFLICT DO NOTHING";
    ATTEMPTS_AT = "SELECT a.moment_id, a.recording_id, a.model, h.score, h.end_ms - h.start_ms AS speech_ms,
            a.words
        FROM json_each(?1) i JOIN attempt a ON a.moment_id = i.value
            JOIN hearing h ON h.moment_id = a.moment_id AND h.recording_id = a.recording_id
        ORDER BY i.key, h.n, h.recording_id";
    /// A person's words are not written over.
    NOT_BY_HAND = "SELECT coalesce(json_group_array(m.id), '[]') FROM json_each(?1) i
            JOIN moment m ON m.id = i.value
        WHERE m.by_hand = 0";
    DROP_WORDS = "DELETE FROM word WHERE moment_id IN (SELECT value ->> 0 FROM json_each(?1))";
    /// A moment is taken apart once, not for each of its words.
    WORDS = "WITH m AS MATERIALIZED
            (SELECT value ->> 0 AS id, value -> 1 AS words FROM json_each(?1))
        INSERT INTO word (moment_id, n, text, start_ms, end_ms, confidence, language, heard)
        SELECT m.id, w.key, w.value ->> 0, w.value ->> 1, w.value ->> 2,
            CAST(w.value ->> 3 AS REAL), w.value ->> 4, w.value ->> 5
        FROM m, json_each(m.words) w";
    SET_WORDS = "UPDATE moment SET words_from = t.value ->> 2, model = t.value ->> 3,
            doubt = t.value ->> 4, why = t.value ->> 5, text = t.value ->> 6,
            version = version + (text IS NOT t.value ->> 6),
            word_count = json_array_length(t.value, '$[1]')
        FROM json_each(?1) t WHERE moment.id = t.value ->> 0";
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
        let moments: Vec<&MomentId> = commit.tried.iter().map(|t| &t.moment).collect();
        let moments = json!(moments).to_string();
        self.write_words(&mut transaction, &moments, commit.fuse)
            .await?;
        self.count_words(&mut transaction, &moments).await?;
        transaction.commit().await?;
        Ok(())
    }

    /// Makes the words of moments, a JSON array of their ids, of all attempts, but
    /// those of moments that a person put right. A moment without attempts keeps what
    /// it has: it may have gone back to words of a model whose attempts are forgotten.
    pub(super) async fn write_words(
        &self,
        transaction: &mut Transaction<'static, Sqlite>,
        moments: &str,
        fuse: &Fuse<'_>,
    ) -> Result<(), StoreError> {
        let moments: String = sqlx::query_scalar(self.sql(NOT_BY_HAND))
            .bind(moments)
            .fetch_one(&mut **transaction)
            .await?;
        let raw: Vec<RawAttempt> = sqlx::query_as(self.sql(ATTEMPTS_AT))
            .bind(&moments)
            .fetch_all(&mut **transaction)
            .await?;
        let of_one = raw.chunk_by(|a, b| a.moment_id == b.moment_id);
        let fused: Vec<_> = of_one
            .map(|raw| {
                let id = &raw[0].moment_id;
                let attempts: Vec<AttemptRow> = raw.iter().map(attempt).collect();
                row(id, &fuse(id, &attempts))
            })
            .collect();
        let fused = json!(fused).to_string();
        for statement in [DROP_WORDS, WORDS, SET_WORDS] {
            sqlx::query(self.sql(statement))
                .bind(&fused)
                .execute(&mut **transaction)
                .await?;
        }
        self.index(transaction, &moments).await
    }
}

/// Id, words, whose, by which model, doubt, why, text.
fn row(id: &MomentId, words: &MomentWords) -> serde_json::Value {
    let texts: Vec<&str> = words.words.iter().map(|word| word.text.as_str()).collect();
    json!([
        id,
        kept(&words.words),
        words.words_from,
        words.model,
        words.doubt,
        words.why,
        texts.join(" ")
    ])
}

fn attempt(raw: &RawAttempt) -> AttemptRow {
    let word = |kept: &KeptWord| {
        let KeptWord(text, start_ms, end_ms, confidence, language, heard, ordinary) = kept.clone();
        NewWord {
            text,
            start_ms,
            end_ms,
            confidence,
            heard,
            language,
            ordinary,
        }
    };
    AttemptRow {
        recording_id: raw.recording_id.clone(),
        model: raw.model.clone(),
        score: raw.score,
        speech_ms: raw.speech_ms,
        words: raw.words.iter().map(word).collect(),
    }
}

/// Rows of text, start, end, confidence, language, what was heard, whether it is
/// ordinary. Times out of order and confidences out of range, which a model may give,
/// are set right.
fn kept(words: &[NewWord]) -> Vec<serde_json::Value> {
    let row = |word: &NewWord| {
        let start_ms = word.start_ms.max(0);
        let sure = if word.confidence.is_finite() {
            word.confidence.clamp(0.0, 1.0)
        } else {
            0.0
        };
        let end_ms = word.end_ms.max(start_ms);
        json!([
            word.text,
            start_ms,
            end_ms,
            sure,
            word.language,
            word.heard,
            word.ordinary
        ])
    };
    words.iter().map(row).collect()
}
