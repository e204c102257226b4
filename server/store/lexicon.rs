//! Which words are in the index?
//!
//! They are kept in memory, for what may be meant by a word is found by comparing it with
//! them; new ones are read when there are any.

use sayback_core::text::Lexicon;
use serde::Serialize;
use sqlx::FromRow;

use super::statement::statements;
use super::{EventId, Store, StoreError};

/// How many words are suggested at most of all those that begin so.
const MOST_SUGGESTED: i64 = 200;

/// The words, and how far they are read.
#[derive(Debug, Default)]
pub(super) struct Words {
    pub words: Lexicon,
    /// The newest word and the last moment when they were read.
    newest: i64,
    last: i64,
}

/// A word of the index.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, FromRow)]
pub struct TermRow {
    id: i64,
    /// In normal form.
    pub text: String,
    /// In how many moments it is.
    pub moments: i64,
}

statements! {
    NEWEST = "SELECT coalesce((SELECT max(id) FROM term), 0), coalesce((SELECT max(no) FROM said), 0)";
    TERMS = "SELECT id, text, moments FROM term WHERE id > ?1 ORDER BY id";
    SUGGEST = "SELECT id, text, moments FROM term WHERE text >= ?1 AND text < ?2
        ORDER BY moments DESC, text LIMIT ?3";
    IS_SAID = "SELECT EXISTS (SELECT 1 FROM said_fts WHERE said_fts MATCH ?1)";
}

impl Store {
    /// Reads words that came into the index since they were last read, and all of them
    /// anew when there is so much more that their numbers say little.
    pub(super) async fn refresh_lexicon(&self) -> Result<(), StoreError> {
        let (newest, last): (i64, i64) = sqlx::query_as(self.sql(NEWEST))
            .fetch_one(&self.read)
            .await?;
        let (known, anew) = {
            let words = self.lexicon.read().unwrap_or_else(|gone| gone.into_inner());
            let more = last > words.last + words.last / 10 + 20;
            (words.newest, more || newest < words.newest)
        };
        if newest == known && !anew {
            return Ok(());
        }
        let from = if anew { 0 } else { known };
        let terms: Vec<TermRow> = sqlx::query_as(self.sql(TERMS))
            .bind(from)
            .fetch_all(&self.read)
            .await?;
        let mut words = self
            .lexicon
            .write()
            .unwrap_or_else(|gone| gone.into_inner());
        if anew {
            *words = Words::default();
            words.last = last;
            words
                .words
                .set_moments(u32::try_from(last).unwrap_or(u32::MAX));
        }
        for term in terms {
            let moments = u32::try_from(term.moments).unwrap_or(u32::MAX);
            words.words.put(&term.text, moments);
            words.newest = words.newest.max(term.id);
        }
        words.newest = words.newest.max(newest);
        Ok(())
    }

    /// Words of the index that begin so, those of most moments first; of one event if it
    /// is told.
    ///
    /// # Errors
    /// When the database can't be read.
    pub async fn suggestions(
        &self,
        start: &str,
        event: Option<&EventId>,
        most: usize,
    ) -> Result<Vec<TermRow>, StoreError> {
        let found: Vec<TermRow> = sqlx::query_as(self.sql(SUGGEST))
            .bind(start)
            .bind(format!("{start}\u{10FFFF}"))
            .bind(MOST_SUGGESTED)
            .fetch_all(&self.read)
            .await?;
        let mut suggested = Vec::new();
        for term in found {
            if suggested.len() == most {
                break;
            }
            let here = match event {
                Some(event) => {
                    let event = event.as_str().replace(['-', '"'], "");
                    let asked = format!("facts : \"e{event}\" AND words : \"{}\"", term.text);
                    sqlx::query_scalar(self.sql(IS_SAID))
                        .bind(asked)
                        .fetch_one(&self.read)
                        .await?
                }
                None => true,
            };
            if here {
                suggested.push(term);
            }
        }
        Ok(suggested)
    }
}
