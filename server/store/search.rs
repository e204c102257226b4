//! Which moments might hold these words?

use std::collections::HashMap;
use std::sync::Arc;

use sayback_core::text::{Query, Term};
use sqlx::FromRow;

use super::moments::own;
use super::statement::statements;
use super::{EventId, EventRow, MomentId, MomentRow, Store, StoreError, WordRow};

/// A moment that holds every term of a query.
#[derive(Clone, Debug)]
pub struct Candidate {
    /// BM25 of SQLite FTS5: the smaller, the better; comparable within one query.
    pub bm25: f64,
    /// The moment.
    pub moment: MomentRow,
    /// Its words in order.
    pub words: Vec<WordRow>,
    /// Its event.
    pub event: Arc<EventRow>,
}

#[derive(FromRow)]
struct FoundMoment {
    id: MomentId,
    bm25: f64,
}

statements! {
    FIND = "SELECT m.id, bm25(moment_fts) AS bm25
        FROM moment_fts JOIN moment m ON m.no = moment_fts.rowid
        WHERE moment_fts MATCH ?1 AND (?2 IS NULL OR m.event_id = ?2)
        ORDER BY bm25(moment_fts), m.no LIMIT ?3";
}

impl Store {
    /// The moments that hold every term of `query`, best first, at most `limit`,
    /// of one event or of all. A query without terms finds nothing.
    ///
    /// # Errors
    /// When the database can't be read; never because of what the query says.
    pub async fn search(
        &self,
        query: &Query,
        event: Option<&EventId>,
        limit: u32,
    ) -> Result<Vec<Candidate>, StoreError> {
        let expression = fts_expression(query);
        if expression.is_empty() {
            return Ok(Vec::new());
        }
        // One look at the database, so that words are those of the moment; it is
        // over before anything else is asked of the readers.
        let mut look = self.read.begin().await?;
        let found: Vec<FoundMoment> = sqlx::query_as(self.sql(FIND))
            .bind(expression)
            .bind(event)
            .bind(limit)
            .fetch_all(&mut *look)
            .await?;
        let ids: Vec<MomentId> = found.iter().map(|found| found.id.clone()).collect();
        let ranks: HashMap<&MomentId, f64> =
            found.iter().map(|found| (&found.id, found.bm25)).collect();
        let moments = self.moments_at(&mut *look, &ids).await?;
        let words = self.words_at(&mut *look, &ids).await?;
        drop(look);
        let mut words = words.into_iter().peekable();
        let mut events: HashMap<EventId, Arc<EventRow>> = HashMap::new();
        let mut candidates = Vec::with_capacity(moments.len());
        for moment in moments {
            let event = match events.get(&moment.event_id) {
                Some(event) => event.clone(),
                None => {
                    let event = Arc::new(self.event(&moment.event_id).await?);
                    events.insert(moment.event_id.clone(), event.clone());
                    event
                }
            };
            candidates.push(Candidate {
                bm25: ranks.get(&moment.id).copied().unwrap_or_default(),
                words: own(&mut words, &moment.id),
                moment,
                event,
            });
        }
        Ok(candidates)
    }
}

/// The query in the language of FTS5: every term a quoted string, so that
/// nothing in it is taken for an operator.
fn fts_expression(query: &Query) -> String {
    let terms: Vec<String> = query.terms.iter().filter_map(fts_term).collect();
    terms.join(" AND ")
}

fn fts_term(term: &Term) -> Option<String> {
    match term {
        Term::Word(word) => quoted([word]),
        Term::Prefix(start) => quoted([start]).map(|text| text + " *"),
        Term::Phrase(words) => quoted(words),
    }
}

/// `"one two"`, or `None` when nothing is left to look for.
fn quoted<'a>(words: impl IntoIterator<Item = &'a String>) -> Option<String> {
    let words: Vec<String> = words
        .into_iter()
        .map(|word| word.replace('\0', "").replace('"', "\"\""))
        .filter(|word| !word.trim().is_empty())
        .collect();
    if words.is_empty() {
        None
    } else {
        Some(format!("\"{}\"", words.join(" ")))
    }
}

#[cfg(test)]
mod unit {
    use super::*;

    #[test]
    fn operators_and_quotes_are_literal() {
        let query = Query {
            terms: vec![
                Term::Word("and".into()),
                Term::Prefix("ket\"tle".into()),
                Term::Phrase(vec!["near".into(), "(x".into()]),
                Term::Word(String::new()),
            ],
        };
        assert_eq!(
            fts_expression(&query),
            "\"and\" AND \"ket\"\"tle\" * AND \"near (x\""
        );
    }
}
