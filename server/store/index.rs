//! What is there to be searched?
//!
//! The index is made of the words as they stand and of what else models heard there, in
//! the transaction that writes them. It can be made again from the words, and compared
//! with them.

use std::collections::HashMap;

use sayback_core::text::{indexed, otherwise};
use serde_json::{Value, json};
use sqlx::{FromRow, Sqlite, Transaction};

use super::listening::KeptWord;
use super::statement::statements;
use super::{EventId, Json, MomentId, Store, StoreError};

/// So many moments are put in at once when an event is indexed again.
const BATCH: i64 = 500;

/// What the index of an event is like beside its words.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct IndexCheck {
    /// Moments with words.
    pub moments: usize,
    /// Those that the index has otherwise, or not at all, or that it should not have.
    pub wrong: Vec<MomentId>,
}

#[derive(FromRow)]
struct IndexWord {
    no: i64,
    text: String,
    confidence: f32,
    heard: Option<String>,
}

#[derive(FromRow)]
struct IndexAttempt {
    no: i64,
    #[sqlx(try_from = "String")]
    words: Json<Vec<KeptWord>>,
}

/// As a moment is in the index.
#[derive(Clone, Debug, PartialEq, Eq, FromRow)]
struct Indexed {
    no: i64,
    words: String,
    other: String,
    sure: String,
}

statements! {
    WORDS_TO_INDEX = "SELECT m.no, w.text, w.confidence, w.heard FROM json_each(?1) i
            CROSS JOIN moment m ON m.id = i.value JOIN word w ON w.moment_id = m.id
        ORDER BY m.no, w.n";
    HEARD_TO_INDEX = "SELECT m.no, a.words FROM json_each(?1) i
            CROSS JOIN moment m ON m.id = i.value JOIN attempt a ON a.moment_id = m.id
        ORDER BY m.no, a.recording_id";
    UNINDEX = "DELETE FROM said WHERE no IN (SELECT m.no FROM json_each(?1) i
        CROSS JOIN moment m ON m.id = i.value)";
    INDEX = "INSERT INTO said (no, words, other, sure, facts)
        SELECT f.no, t.value ->> 1, t.value ->> 2, t.value ->> 3, f.facts
        FROM json_each(?1) t CROSS JOIN moment_facts f ON f.no = t.value ->> 0";
    UNINDEXED = "SELECT event_id FROM unindexed ORDER BY event_id";
    IS_INDEXED = "DELETE FROM unindexed WHERE event_id = ?1";
    MOMENTS_FROM = "SELECT id FROM moment WHERE event_id = ?1 AND id > ?2 ORDER BY id LIMIT ?3";
    IN_INDEX = "SELECT s.no, s.words, s.other, s.sure FROM moment m JOIN said s ON s.no = m.no
        WHERE m.event_id = ?1";
    FACTS_WRONG = "SELECT m.id FROM moment m JOIN said s ON s.no = m.no
            JOIN moment_facts f ON f.no = m.no
        WHERE m.event_id = ?1 AND s.facts IS NOT f.facts";
    NUMBERED = "SELECT id, no FROM moment WHERE event_id = ?1";
    /// Fails if the full-text index has other words than the rows it is of.
    FTS_CHECK = "INSERT INTO said_fts (said_fts, rank) VALUES ('integrity-check', 1)";
}

impl Store {
    /// Puts moments, a JSON array of their ids, into the index as they are now.
    pub(super) async fn index(
        &self,
        transaction: &mut Transaction<'static, Sqlite>,
        moments: &str,
    ) -> Result<(), StoreError> {
        let rows = self.to_index(transaction, moments).await?;
        let rows: Vec<Value> = rows
            .into_iter()
            .map(|row| json!([row.no, row.words, row.other, row.sure]))
            .collect();
        sqlx::query(self.sql(UNINDEX))
            .bind(moments)
            .execute(&mut **transaction)
            .await?;
        sqlx::query(self.sql(INDEX))
            .bind(json!(rows).to_string())
            .execute(&mut **transaction)
            .await?;
        Ok(())
    }

    /// Moments as they should be in the index; none for one without words.
    async fn to_index(
        &self,
        transaction: &mut Transaction<'static, Sqlite>,
        moments: &str,
    ) -> Result<Vec<Indexed>, StoreError> {
        let words: Vec<IndexWord> = sqlx::query_as(self.sql(WORDS_TO_INDEX))
            .bind(moments)
            .fetch_all(&mut **transaction)
            .await?;
        let heard: Vec<IndexAttempt> = sqlx::query_as(self.sql(HEARD_TO_INDEX))
            .bind(moments)
            .fetch_all(&mut **transaction)
            .await?;
        let mut attempts: HashMap<i64, Vec<&Vec<KeptWord>>> = HashMap::new();
        for attempt in &heard {
            attempts
                .entry(attempt.no)
                .or_default()
                .push(&attempt.words.0);
        }
        let of_one = words.chunk_by(|a, b| a.no == b.no);
        Ok(of_one
            .map(|words| {
                let attempts = attempts.get(&words[0].no);
                row(words, attempts.map_or(&[], Vec::as_slice))
            })
            .collect())
    }

    /// Makes the index of an event again from its words, some hundred moments at a time.
    ///
    /// # Errors
    /// When the database can't be read or written.
    pub async fn rebuild_index(&self, event: &EventId) -> Result<(), StoreError> {
        let mut after = String::new();
        loop {
            let mut transaction = self.begin().await?;
            let ids: Vec<MomentId> = sqlx::query_scalar(self.sql(MOMENTS_FROM))
                .bind(event)
                .bind(&after)
                .bind(BATCH)
                .fetch_all(&mut *transaction)
                .await?;
            let Some(last) = ids.last() else {
                sqlx::query(self.sql(IS_INDEXED))
                    .bind(event)
                    .execute(&mut *transaction)
                    .await?;
                transaction.commit().await?;
                return Ok(());
            };
            self.index(&mut transaction, &json!(ids).to_string())
                .await?;
            transaction.commit().await?;
            after = last.as_str().to_owned();
        }
    }

    /// Events whose words an earlier version wrote, which are not in the index yet.
    ///
    /// # Errors
    /// When the database can't be read.
    pub async fn unindexed(&self) -> Result<Vec<EventId>, StoreError> {
        Ok(sqlx::query_scalar(self.sql(UNINDEXED))
            .fetch_all(&self.read)
            .await?)
    }

    /// Compares the index of an event with its words, and the full-text index with the
    /// rows it is of.
    ///
    /// # Errors
    /// When the database can't be read; [`StoreError::Database`] also when the full-text
    /// index is damaged.
    pub async fn check_index(&self, event: &EventId) -> Result<IndexCheck, StoreError> {
        // Under the right to write, so that nothing changes between the two looks; it is
        // given back without a change.
        let mut transaction = self.begin().await?;
        sqlx::query(self.sql(FTS_CHECK))
            .execute(&mut *transaction)
            .await?;
        let numbered: Vec<(MomentId, i64)> = sqlx::query_as(self.sql(NUMBERED))
            .bind(event)
            .fetch_all(&mut *transaction)
            .await?;
        let ids: Vec<&MomentId> = numbered.iter().map(|(id, _)| id).collect();
        let should = self
            .to_index(&mut transaction, &json!(ids).to_string())
            .await?;
        let is: Vec<Indexed> = sqlx::query_as(self.sql(IN_INDEX))
            .bind(event)
            .fetch_all(&mut *transaction)
            .await?;
        let mut wrong: Vec<MomentId> = sqlx::query_scalar(self.sql(FACTS_WRONG))
            .bind(event)
            .fetch_all(&mut *transaction)
            .await?;
        transaction.rollback().await?;
        let should: HashMap<i64, Indexed> = should.into_iter().map(|row| (row.no, row)).collect();
        let is: HashMap<i64, Indexed> = is.into_iter().map(|row| (row.no, row)).collect();
        let differs = |(_, no): &&(MomentId, i64)| should.get(no) != is.get(no);
        wrong.extend(numbered.iter().filter(differs).map(|(id, _)| id.clone()));
        wrong.sort();
        wrong.dedup();
        Ok(IndexCheck {
            moments: should.len(),
            wrong,
        })
    }
}

fn row(words: &[IndexWord], attempts: &[&Vec<KeptWord>]) -> Indexed {
    let texts: Vec<&str> = words.iter().map(|word| word.text.as_str()).collect();
    let mut others: Vec<Vec<&str>> = attempts
        .iter()
        .map(|attempt| attempt.iter().map(|word| word.0.as_str()).collect())
        .collect();
    if words.iter().any(|word| word.heard.is_some()) {
        // What the model wrote before the names were put in.
        let before = words.iter().flat_map(|word| match &word.heard {
            Some(heard) => heard.split_whitespace().collect::<Vec<_>>(),
            None => vec![word.text.as_str()],
        });
        others.push(before.collect());
    }
    Indexed {
        no: words.first().map_or(0, |word| word.no),
        words: indexed(texts.iter().copied()),
        other: otherwise(&texts, &others),
        sure: words.iter().map(|word| sign(word.confidence)).collect(),
    }
}

/// Confidence in whole tenths, never more than it is, as a sign from '0' to ':'.
fn sign(confidence: f32) -> char {
    let tenths = (confidence.clamp(0.0, 1.0) * 10.0).floor() as u8;
    char::from(b'0' + tenths)
}
